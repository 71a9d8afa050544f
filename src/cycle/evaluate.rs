//! Evaluating: where every site stands, what to record, whom to tell. The decisions are the
//! domain's; this only brings it what is stored and writes down what it says.

use super::advising::{advise_site, follow_watering, steps_today};
use super::cases::{SiteCase, SpeciesCase, consider};
use super::data_notices::data_notices;
use super::digests::digests;
use super::site_states::SiteState;
use super::{Engine, Report};
use crate::config::Config;
use crate::domain::telling::counting_notice::{Countable, counted_notice, counting_notice};
use crate::domain::telling::hold_notice::hold_notice;
use crate::domain::telling::milestone_decision::{Decision, Recorded, decide};
use crate::domain::telling::milestone_notice::milestone_notices;
use crate::domain::telling::milestones_soon::{came_as_told, milestones_soon};
use crate::domain::telling::notice::{Notice, NoticeKind, bundles};
use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice};
use crate::domain::telling::season_letter::{SpeciesAhead, foretold, is_near, moved};
use crate::domain::telling::season_span::is_under_way;
use crate::domain::telling::treatment_notice::in_time;
use crate::domain::treatment::need::Need;
use crate::domain::treatment::site_plan::PlanScope;
use crate::domain::treatment::steps::StepsToday;
use crate::notify::wording::message;
use crate::store::milestones::Recording;
use crate::store::outbox::{About, Draft};
use crate::store::{Store, StoreError};
use chrono::{DateTime, Utc};
use tracing::info;

impl Engine {
    pub(super) fn evaluate(
        &mut self,
        now: DateTime<Utc>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let considered = consider(&self.config, &self.store, now.date_naive())?;
        let mut entries = Vec::new();
        let mut notices = Vec::new();
        for of_member in considered.chunk_by(|a, b| a.member.id == b.member.id) {
            let steps = steps_today(&self.config, &self.store, of_member, now)?;
            let told_before = notices.len();
            for one in of_member {
                evaluate_site(
                    (&self.config, &self.store),
                    (one, &steps),
                    now,
                    &mut entries,
                    &mut notices,
                )?;
            }
            let told = &notices[told_before..];
            let (is_passed, is_counted) =
                (told.iter().any(is_passed), told.iter().any(asks_for_count));
            if is_passed {
                tell_what_is_soon(&self.store, of_member, now, &mut entries, &mut notices)?;
            }
            if is_counted {
                ask_for_other_counts(&self.store, of_member, now, &mut entries, &mut notices)?;
            }
        }
        season_letters(
            &self.config,
            &self.store,
            &considered,
            now,
            &mut entries,
            &mut notices,
        )?;
        follow_watering(&self.config, &self.store, now, &mut entries, &mut notices)?;
        data_notices(
            &self.config,
            &self.store,
            &considered,
            now,
            &mut entries,
            &mut notices,
        )?;
        let bundles = bundles(&self.config.members, &notices);
        let mut drafts: Vec<Draft<'_>> = bundles
            .iter()
            .map(|bundle| {
                let answer_to = bundle
                    .notices
                    .first()
                    .map_or("", |notice| self.config.answer_to(notice.member));
                let message = message(&self.config.service.name, answer_to, bundle);
                Draft {
                    recipient: &bundle.recipient.id,
                    member: bundle
                        .notices
                        .first()
                        .map_or("", |notice| &notice.member.id),
                    channel: bundle.channel,
                    title: message.title,
                    body: message.body,
                    urgent: bundle.is_urgent(),
                    about: About {
                        kinds: bundle.kinds(),
                        places: bundle.site_ids(),
                    },
                }
            })
            .collect();
        digests(
            &self.config,
            &self.store,
            &considered,
            now,
            &mut entries,
            &mut drafts,
        )?;
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

fn is_passed(notice: &Notice<'_>) -> bool {
    matches!(notice.kind, NoticeKind::Passed { .. })
}

fn asks_for_count(notice: &Notice<'_>) -> bool {
    matches!(notice.kind, NoticeKind::CountNow { .. })
}

/// Asks the people of a member, who are to count at a site today, for the counts at others that can be made
/// soon.
fn ask_for_other_counts<'s>(
    store: &Store,
    of_member: &'s [SiteCase<'s>],
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    for case in of_member {
        let asked = |notice: &Notice<'_>| asks_for_count(notice) && notice.site.id == case.site.id;
        if notices.iter().any(asked) {
            continue;
        }
        let mut recorded = Vec::with_capacity(case.species.len());
        for species in &case.species {
            let here = &species.here;
            recorded.push(store.recorded(here.pair(), here.state.season.year)?);
        }
        let log = store.notices_of_season(&case.site.id, case.season())?;
        if let Some((kind, logged)) = counting_notice(&countable(case, &recorded), &log, true, now)
        {
            entries.push(Recording::Told(logged));
            notices.push(case.species[0].here.notice(kind));
        }
    }
    Ok(())
}

/// The species of a site with what decides whether to dig for them.
fn countable<'s, 'r>(
    case: &'s SiteCase<'s>,
    recorded: &'r [Vec<Recorded>],
) -> Vec<Countable<'s, 'r>>
where
    's: 'r,
{
    let species = case.species.iter().zip(recorded);
    species
        .map(|(species, recorded)| Countable {
            here: species.here.site_species(),
            evidence: &species.evidence,
            tolerance: species.tolerance,
            recorded,
        })
        .collect()
}

/// Tells the people of a member, who hear of a milestone today, of those that are likely within two
/// weeks, so that several sites or species make few messages.
fn tell_what_is_soon<'s>(
    store: &Store,
    of_member: &'s [SiteCase<'s>],
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let pairs = || of_member.iter().flat_map(|case| &case.species);
    if pairs().count() < 2 {
        return Ok(());
    }
    for SpeciesCase { here, .. } in pairs() {
        let log = store.notices_of_pair(here.pair(), here.state.season.year)?;
        if let Some((kind, logged)) = milestones_soon(&here.site_species(), &log, now) {
            entries.extend(logged.into_iter().map(Recording::Told));
            notices.push(here.notice(kind));
        }
    }
    Ok(())
}

/// A site: what there is to tell of each of its species, of treatments and of counting.
fn evaluate_site<'s>(
    (config, store): (&'s Config, &Store),
    (case, steps): (&'s SiteCase<'s>, &StepsToday),
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let need = case.need().need;
    let mut recorded = Vec::with_capacity(case.species.len());
    for species in &case.species {
        let here = &species.here;
        recorded.push(evaluate_species(
            config, store, here, need, now, entries, notices,
        )?);
    }
    let log = store.notices_of_season(&case.site.id, case.season())?;
    let countable = countable(case, &recorded);
    let first = &case.species[0].here;
    let mut tell = |kind| {
        notices.push(Notice {
            need: Some(need),
            ..first.notice(kind)
        });
    };
    if let Some((kind, logged)) = advise_site(config, store, case, (&log, steps), now)? {
        entries.extend(logged.into_iter().map(Recording::Told));
        tell(kind);
    } else if let Some((kind, logged)) = counted_notice(&countable, need, &log, now) {
        entries.push(Recording::Told(logged));
        tell(kind);
    }
    if let Some((kind, logged)) = counting_notice(&countable, &log, false, now) {
        entries.push(Recording::Told(logged));
        tell(kind);
    }
    Ok(())
}

/// A site and one of its species: milestones and holds. What was recorded of it before is
/// given back.
fn evaluate_species<'s>(
    config: &Config,
    store: &Store,
    here: &'s SiteState<'s>,
    need: Need,
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<Vec<Recorded>, StoreError> {
    let (pair, season, today) = (here.pair(), here.state.season.year, now.date_naive());
    let recorded = store.recorded(pair, season)?;
    let log = store.notices_of_pair(pair, season)?;
    let mut tell = |kind| {
        notices.push(Notice {
            need: Some(need),
            ..here.notice(kind)
        });
    };

    let watched_from = store.watched_from(pair)?;
    let decision = decide(&here.state, &recorded, watched_from, today);
    write_down(&decision, here, entries);
    let is_known = |crossing: &_| came_as_told(crossing, &log, &config.notices);
    for kind in milestone_notices(&decision, &here.species, &here.state, is_known, today) {
        tell(kind);
    }
    if let Some((kind, logged)) = hold_notice(
        &here.site_species(),
        &log,
        is_under_way(&here.site_species(), &config.notices, today),
        now,
    ) {
        entries.push(Recording::Told(logged));
        tell(kind);
    }
    let told = store.foretold(pair, season)?;
    let moved = moved(&here.state, &told, &config.notices, today).into_iter();
    entries.extend(moved.map(|(foretold, range)| Recording::Foretold {
        pair,
        season,
        foretold,
        range,
    }));
    Ok(recorded)
}

/// The season's letter to the people of each member of whose sites a first milestone comes near: about
/// all of them that had none this season.
fn season_letters<'s>(
    config: &'s Config,
    store: &Store,
    cases: &'s [SiteCase<'s>],
    now: DateTime<Utc>,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let today = now.date_naive();
    for of_member in cases.chunk_by(|a, b| a.member.id == b.member.id) {
        let mut without = Vec::new();
        for case in of_member {
            let log = store.notices_of_season(&case.site.id, case.season())?;
            if !log.has(LoggedKind::SeasonLetter) {
                without.push(case);
            }
        }
        let near = |species: &SpeciesCase<'_>| is_near(&species.here.state, &config.notices, today);
        if !without.iter().any(|case| case.species.iter().any(near)) {
            continue;
        }
        for case in without {
            let ahead = case.species.iter().map(|species| SpeciesAhead {
                species: &species.here.species,
                ahead: species.here.state.ahead.clone(),
            });
            let plan = case.plan(config, today, PlanScope::CalledFor);
            let ready = plan.options.iter().map(|one| &one.planned);
            let kind = NoticeKind::SeasonAhead {
                species: ahead.collect(),
                ready: in_time(ready, today),
            };
            entries.push(Recording::Told(LoggedNotice {
                season: Some(case.season()),
                ..LoggedNotice::of_site(LoggedKind::SeasonLetter, &case.site.id, now)
            }));
            for species in &case.species {
                let (pair, season) = (species.here.pair(), species.here.state.season.year);
                let told = foretold(&species.here.state, today);
                entries.extend(
                    told.into_iter()
                        .map(|(foretold, range)| Recording::Foretold {
                            pair,
                            season,
                            foretold,
                            range,
                        }),
                );
            }
            notices.push(Notice {
                need: Some(plan.need.need),
                ..case.species[0].here.notice(kind)
            });
        }
    }
    Ok(())
}

/// Writes down what was decided of milestones.
fn write_down<'s>(decision: &Decision, here: &'s SiteState<'s>, entries: &mut Vec<Recording<'s>>) {
    let (pair, season) = (here.pair(), here.state.season.year);
    if let Some(from) = decision.watch_from {
        entries.push(Recording::Watch { pair, from });
    }
    for (crossing, told) in &decision.record {
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
            season,
            crossing: *crossing,
            data_through: here.state.data_through,
            told: *told,
        });
    }
    for known in &decision.withdraw {
        entries.push(Recording::Withdrawn {
            pair,
            season,
            milestone: known.milestone,
        });
    }
    for (known, crossing) in &decision.correct {
        entries.push(Recording::Corrected {
            pair,
            season,
            milestone: known.milestone,
            to: crossing.on,
        });
    }
}
