//! Evaluating: where every site stands, what to record, whom to tell. The decisions are the
//! domain's; this only brings it what is stored and writes down what it says.

use super::{Engine, Report};
use crate::config::{Config, StationFeed};
use crate::domain::alert::{Notice, NoticeKind, bundles, decide, is_stale};
use crate::domain::milestone::{Milestone, Standing, standing};
use crate::domain::series::Readings;
use crate::domain::site;
use crate::domain::species::Species;
use crate::notify::wording::message;
use crate::store::milestones::{Entry, Pair};
use crate::store::outbox::Draft;
use crate::store::{Store, StoreError};
use chrono::{DateTime, Days, NaiveDate, Utc};
use std::collections::BTreeMap;
use tracing::info;

/// Days of readings that a season and the bridging of its first days can need.
const DAYS_LOOKED_AT: u64 = 366 + 62;

/// Where a site stands with one of its species.
pub struct Site<'c> {
    /// Whose it is.
    pub member: &'c site::Member,
    /// The site.
    pub site: &'c site::Site,
    /// Its station.
    pub feed: &'c StationFeed,
    /// The species.
    pub species: &'c Species,
    /// Where it stands.
    pub standing: Standing,
}

/// Where every site stands with each of its species on `today`, by what is stored.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_standings<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Vec<Site<'c>>, StoreError> {
    let mut readings: BTreeMap<&str, Readings> = BTreeMap::new();
    let mut sites = Vec::new();
    for (member, site) in config.sites() {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        if !readings.contains_key(site.station.as_str()) {
            let since = today - Days::new(DAYS_LOOKED_AT);
            readings.insert(&site.station, store.readings_since(&site.station, since)?);
        }
        let station = &readings[site.station.as_str()];
        for species in site.species.iter().filter_map(|id| config.species.get(id)) {
            sites.push(Site {
                member,
                site,
                feed,
                species,
                standing: standing(species, site.latitude, station, today, config.limits),
            });
        }
    }
    Ok(sites)
}

impl Engine {
    pub(super) fn evaluate(
        &mut self,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let today = now.date_naive();
        let sites = site_standings(&self.config, &self.store, today)?;
        let mut entries = Vec::new();
        let mut notices = Vec::new();
        for site in &sites {
            decide_site(&self.store, site, today, &mut entries, &mut notices)?;
        }
        for feed in &self.config.stations {
            decide_station(
                &self.config,
                &self.store,
                feed,
                today,
                &mut entries,
                &mut notices,
            )?;
        }
        let bundles = bundles(&self.config.members, &notices);
        let drafts: Vec<Draft<'_>> = bundles
            .iter()
            .map(|bundle| {
                let message = message(&self.config.service.name, bundle);
                Draft {
                    recipient: &bundle.recipient.id,
                    channel: bundle.channel,
                    title: message.title,
                    body: message.body,
                }
            })
            .collect();
        if entries.is_empty() && drafts.is_empty() {
            return Ok(());
        }
        self.store.record(&entries, &drafts, now)?;
        report.milestones = entries
            .iter()
            .filter(|entry| matches!(entry, Entry::Passed { .. }))
            .count();
        report.messages = drafts.len();
        Ok(())
    }
}

fn decide_site<'c>(
    store: &Store,
    here: &Site<'c>,
    today: NaiveDate,
    entries: &mut Vec<Entry<'c>>,
    notices: &mut Vec<Notice<'c>>,
) -> Result<(), StoreError> {
    let pair = Pair {
        site: &here.site.id,
        species: &here.species.id,
    };
    let standing = &here.standing;
    let season = standing.season;
    let recorded = store.recorded(pair, season.year)?;
    let watched_from = store.watched_from(pair)?;
    let decision = decide(standing, &recorded, watched_from, today);
    let notice = |kind| Notice {
        member: here.member,
        site: here.site,
        station: &here.feed.station,
        kind,
    };
    if let Some(from) = decision.watch_from {
        entries.push(Entry::Watch { pair, from });
    }
    for (crossing, told) in decision.record {
        info!(
            site = pair.site,
            species = pair.species,
            milestone = crossing.milestone.name(),
            on = %crossing.on,
            told,
            "milestone passed"
        );
        entries.push(Entry::Passed {
            pair,
            season: season.year,
            crossing,
            data_through: standing.data_through,
            told,
        });
        if told {
            notices.push(notice(NoticeKind::Passed {
                species: here.species,
                season,
                crossing,
                data_through: standing.data_through,
                next: standing
                    .next
                    .filter(|next| next.milestone > crossing.milestone),
                passed: passed(standing),
            }));
        }
    }
    for (known, crossing) in decision.correct {
        entries.push(Entry::Corrected {
            pair,
            season: season.year,
            milestone: known.milestone,
            to: crossing.on,
        });
        notices.push(notice(NoticeKind::Moved {
            species: here.species,
            told: known.on,
            crossing,
            data_through: standing.data_through,
        }));
    }
    Ok(())
}

fn passed(standing: &Standing) -> Vec<Milestone> {
    standing
        .crossings
        .iter()
        .map(|crossing| crossing.milestone)
        .collect()
}

fn decide_station<'c>(
    config: &'c Config,
    store: &Store,
    feed: &'c StationFeed,
    today: NaiveDate,
    entries: &mut Vec<Entry<'c>>,
    notices: &mut Vec<Notice<'c>>,
) -> Result<(), StoreError> {
    let station = &feed.station;
    let newest = store.newest_day(&station.id)?;
    let state = store.feed(&station.id)?;
    let stale = is_stale(station, newest, today);
    if stale == state.stale_told {
        return Ok(());
    }
    let kind = match newest {
        Some(newest) if !stale => NoticeKind::Fresh { newest },
        _ => NoticeKind::Stale {
            newest,
            problem: state.problem,
        },
    };
    let mut sites = config
        .sites()
        .filter(|(_, site)| site.station == station.id)
        .peekable();
    if sites.peek().is_none() {
        return Ok(());
    }
    entries.push(Entry::Stale {
        station: &station.id,
        quiet: stale,
    });
    notices.extend(sites.map(|(member, site)| Notice {
        member,
        site,
        station,
        kind: kind.clone(),
    }));
    Ok(())
}
