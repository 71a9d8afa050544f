//! Digests: whose is due, and what goes into it. What is told is the domain's; this brings it what is
//! stored.

use super::advising::waterings;
use super::cases::SiteCase;
use super::site_states::{newest_day_of, newest_station};
use crate::config::Config;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::place::site::Recipient;
use crate::domain::telling::digest::{Digest, DigestItem};
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::telling::notice_log::LoggedKind;
use crate::domain::treatment::site_plan::PlanScope;
use crate::domain::treatment::watering::WateringState;
use crate::notify::wording::digest_message;
use crate::store::milestones::Recording;
use crate::store::outbox::{About, Draft};
use crate::store::{Store, StoreError};
use chrono::{DateTime, Utc};
use std::collections::HashMap;

/// Writes the digests that are due, and notes for each recipient from when on the next one gathers.
pub(super) fn digests<'c>(
    config: &'c Config,
    store: &Store,
    cases: &[SiteCase<'c>],
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'c>>,
    drafts: &mut Vec<Draft<'c>>,
) -> Result<(), StoreError> {
    let by_site: HashMap<&str, &SiteCase<'c>> = cases
        .iter()
        .map(|case| (case.site.id.as_str(), case))
        .collect();
    for member in &config.members {
        for recipient in member.recipients.iter().filter(|one| one.gathers()) {
            let last = store.last_digest(&recipient.id)?;
            let due = recipient.reception.digest_due(last, now);
            if last.is_none() || due.is_some() {
                entries.push(Recording::Digest {
                    recipient: &recipient.id,
                });
            }
            let Some(since) = due else {
                continue;
            };
            let mut of_sites = Vec::new();
            let mut places = Vec::new();
            for case in told_of(recipient, cases, &by_site) {
                let told = items(config, store, case, since, now)?;
                if !told.is_empty() {
                    places.push(case.site.id.as_str());
                }
                let name = if recipient.coordinates() {
                    &case.member.name
                } else {
                    &case.site.name
                };
                of_sites.push((name.clone(), told));
            }
            let digest = Digest::of(of_sites.into_iter());
            if digest.has_no_news() {
                continue;
            }
            drafts.extend(recipient.channels.iter().map(|channel| {
                let message = digest_message(
                    &config.service.name,
                    config.answer_to(member),
                    (recipient, *channel),
                    &digest,
                );
                Draft {
                    recipient: &recipient.id,
                    member: &member.id,
                    channel: *channel,
                    title: message.title,
                    body: message.body,
                    urgent: false,
                    about: About {
                        kinds: vec!["digest"],
                        places: places.clone(),
                        ..About::default()
                    },
                }
            }));
        }
    }
    Ok(())
}

/// The sites of a recipient's digest: all there are for who coordinates, else their own.
fn told_of<'r, 'c>(
    recipient: &'r Recipient,
    cases: &'r [SiteCase<'c>],
    by_site: &HashMap<&str, &'r SiteCase<'c>>,
) -> Vec<&'r SiteCase<'c>> {
    if recipient.coordinates() {
        return cases.iter().collect();
    }
    let sites = recipient.sites.iter();
    sites
        .filter_map(|id| by_site.get(id.as_str()).copied())
        .collect()
}

/// What there is to tell of a site since an instant.
fn items(
    config: &Config,
    store: &Store,
    case: &SiteCase<'_>,
    since: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Vec<DigestItem>, StoreError> {
    let (site, today) = (case.site, now.date_naive());
    let mut items = Vec::new();
    let plan = case.plan(config, today, PlanScope::CalledFor);
    let open = plan.options.iter().map(|one| &one.planned);
    let open = open.filter(|one| one.in_time(today) && one.window.first <= today);
    items.extend(open.take(1).map(|one| DigestItem::Apply {
        by: one.window.last,
        option: one.option.name.clone(),
    }));
    for followed in waterings(config, store, site, today)? {
        if matches!(
            followed.watering.state,
            WateringState::Due | WateringState::Missed
        ) {
            items.push(DigestItem::Water {
                by: followed.watering.deadline,
                option: followed.option.name.clone(),
            });
        }
    }
    let log = store.notices_of_season(&site.id, case.season())?;
    let is_counted = case
        .species
        .iter()
        .any(|one| one.evidence.this_brood.is_some());
    let can_still = plan.counting.is_none_or(|(_, until)| today <= until);
    if log.has(LoggedKind::CountNow) && !is_counted && can_still {
        let asked = log
            .notices()
            .iter()
            .rfind(|one| one.kind == LoggedKind::CountNow);
        items.push(DigestItem::Count {
            is_new: asked.is_some_and(|one| one.told_at > since),
        });
    }
    for species in &case.species {
        let here = &species.here;
        let name = || here.species.name.clone();
        for (milestone, on, by_calendar) in store.passed_since(here.pair(), since)? {
            items.push(DigestItem::Passed {
                species: name(),
                milestone,
                on,
                by_calendar,
            });
        }
        let foretold = store.foretellings(here.pair(), here.state.season.year)?;
        for milestone in Milestone::ALL {
            let mut told = foretold
                .iter()
                .filter(|one| one.milestone == milestone)
                .rev();
            if let (Some(newest), Some(before)) = (told.next(), told.next())
                && newest.told_on > since.date_naive()
            {
                items.push(DigestItem::Moved {
                    species: name(),
                    milestone,
                    from: before.likely,
                    to: newest.likely,
                });
            }
        }
    }
    let station = config.quickest_station(site);
    let newest = newest_day_of(store, site)?;
    if let Some(station) = station.filter(|station| is_stale(station, newest, today)) {
        let station = newest_station(config, store, site)?.unwrap_or(station);
        items.push(DigestItem::Stale {
            station: station.name.clone(),
            newest,
        });
    }
    Ok(items)
}
