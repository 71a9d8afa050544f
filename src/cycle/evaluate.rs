//! Evaluating: where every site stands, what to record, whom to tell. The decisions are the
//! domain's; this only brings it what is stored and writes down what it says.

use super::advising::{advise_site, follow_watering};
use super::cases::consider;
use super::site_states::{SiteState, newest_day_of};
use super::{Engine, Report};
use crate::config::Config;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Hold, SeasonState};
use crate::domain::telling::early_notice::{Foretold, Policy, foretell};
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::telling::milestone_decision::decide;
use crate::domain::telling::notice::{Notice, NoticeKind, bundles};
use crate::notify::wording::message;
use crate::store::milestones::Recording;
use crate::store::outbox::Draft;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use tracing::info;

impl Engine {
    pub(super) fn evaluate(
        &mut self,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let today = now.date_naive();
        let considered = consider(&self.config, &self.store, today)?;
        let mut entries = Vec::new();
        let mut notices = Vec::new();
        for one in &considered {
            let (site, case, _) = one;
            let before = notices.len();
            decide_site(&self.store, site, today, &mut entries, &mut notices)?;
            hold_site(&self.store, site, &mut entries, &mut notices)?;
            foretell_site(
                &self.store,
                site,
                &self.config.notices,
                today,
                &mut entries,
                &mut notices,
            )?;
            for notice in &mut notices[before..] {
                notice.need = Some(case.need);
            }
            advise_site(
                &self.config,
                &self.store,
                one,
                today,
                &mut entries,
                &mut notices,
            )?;
        }
        follow_watering(&self.config, &self.store, today, &mut entries, &mut notices)?;
        decide_data(&self.config, &self.store, today, &mut entries, &mut notices)?;
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
            .filter(|entry| matches!(entry, Recording::Passed { .. }))
            .count();
        report.messages += drafts.len();
        Ok(())
    }
}

fn decide_site<'s>(
    store: &Store,
    here: &'s SiteState<'s>,
    today: NaiveDate,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let pair = here.pair();
    let state = &here.state;
    let season = state.season;
    let recorded = store.recorded(pair, season.year)?;
    let watched_from = store.watched_from(pair)?;
    let decision = decide(state, &recorded, watched_from, today);
    let notice = |kind| here.notice(kind);
    if let Some(from) = decision.watch_from {
        entries.push(Recording::Watch { pair, from });
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
        entries.push(Recording::Passed {
            pair,
            season: season.year,
            crossing,
            data_through: state.data_through,
            told,
        });
        if told {
            notices.push(notice(NoticeKind::Passed {
                species: &here.species,
                crossing,
                data_through: state.data_through,
                next: state
                    .next()
                    .filter(|next| next.milestone > crossing.milestone),
                passed: passed(state),
                days_ago: (today - crossing.on).num_days(),
            }));
        }
    }
    for known in decision.withdraw {
        entries.push(Recording::Withdrawn {
            pair,
            season: season.year,
            milestone: known.milestone,
        });
        notices.push(notice(NoticeKind::Withdrawn {
            species: &here.species,
            milestone: known.milestone,
            told: known.on,
            data_through: state.data_through,
        }));
    }
    for (known, crossing) in decision.correct {
        entries.push(Recording::Corrected {
            pair,
            season: season.year,
            milestone: known.milestone,
            to: crossing.on,
        });
        notices.push(notice(NoticeKind::Moved {
            species: &here.species,
            told: known.on,
            crossing,
            data_through: state.data_through,
        }));
    }
    Ok(())
}

/// Tells once that milestones are held back, and once that they are not any more. Before the
/// season's first day arrives there is nothing to hold.
fn hold_site<'s>(
    store: &Store,
    here: &'s SiteState<'s>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let pair = here.pair();
    let season = here.state.season.year;
    let hold = here.state.hold.filter(|hold| *hold != Hold::NoData);
    let over = here.state.next().is_none();
    let known = store.is_held(pair, season)?;
    let kind = match hold {
        Some(hold) if !known && !over => NoticeKind::Held {
            species: &here.species,
            hold,
        },
        None if known => NoticeKind::Released {
            species: &here.species,
        },
        _ => return Ok(()),
    };
    entries.push(Recording::Held {
        pair,
        season,
        held: hold.is_some(),
    });
    notices.push(here.notice(kind));
    Ok(())
}

/// Milestones to tell of before they happen.
fn foretell_site<'s>(
    store: &Store,
    here: &'s SiteState<'s>,
    policy: &Policy,
    today: NaiveDate,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let pair = here.pair();
    let season = here.state.season.year;
    let recorded = store.recorded(pair, season)?;
    let told = store.foretold(pair, season)?;
    for early in foretell(&here.state, &recorded, &told, policy, today) {
        entries.push(Recording::Foretold {
            pair,
            season,
            foretold: Foretold {
                milestone: early.milestone,
                lead_days: early.lead_days,
                likely: early.likely,
            },
            range: (early.outlook.early, early.outlook.late),
        });
        notices.push(here.notice(NoticeKind::Foretold {
            species: &here.species,
            early,
        }));
    }
    Ok(())
}

fn passed(state: &SeasonState) -> Vec<Milestone> {
    state
        .crossings
        .iter()
        .map(|crossing| crossing.milestone)
        .collect()
}

/// Tells the people of each site once that no days arrive, and once that they do again.
fn decide_data<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    entries: &mut Vec<Recording<'c>>,
    notices: &mut Vec<Notice<'c>>,
) -> Result<(), StoreError> {
    for (member, site) in config.sites() {
        let Some(station) = config.quickest_station(site) else {
            continue;
        };
        let newest = newest_day_of(store, site)?;
        let quiet = is_stale(station, newest, today);
        if store.is_quiet(&site.id)? == quiet {
            continue;
        }
        let kind = match newest {
            Some(newest) if !quiet => NoticeKind::Fresh { newest },
            _ => NoticeKind::Stale { newest },
        };
        entries.push(Recording::Quiet {
            site: &site.id,
            quiet,
        });
        notices.push(Notice {
            member,
            site,
            station,
            parts: &[],
            need: None,
            kind,
        });
    }
    Ok(())
}
