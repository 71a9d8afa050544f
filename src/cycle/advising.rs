//! Treatment: what to tell of it, when to count, how applications are watered in. The decisions are
//! the domain's; this only brings it what is stored.

use super::cases::{Case, Considered};
use super::site_states::SiteState;
use crate::config::Config;
use crate::domain::journal::{Application, Entry as Journal, JournalAction};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::place::site;
use crate::domain::telling::notice::{Instead, Notice, NoticeKind, TreatmentNotice};
use crate::domain::treatment::need::{Brood, Broods, Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::plan::{Advice, Step, ToldStep, advise};
use crate::domain::treatment::watering::{
    FOLLOWED_DAYS, Watering, WateringState, Wet, watering, wet,
};
use crate::domain::weather::rain::Rain;
use crate::store::advised::{Advised, COUNTING, HOLD_BACK, NOTHING_LEFT};
use crate::store::milestones::{Pair, Recording};
use crate::store::{Store, StoreError};
use chrono::{DateTime, Datelike, Days, NaiveDate, Utc};
use std::collections::BTreeMap;

/// What there is to tell of treatments and counting at a site.
pub(super) fn advise_site<'s>(
    config: &'s Config,
    store: &Store,
    (here, case, hatching): &'s Considered<'s>,
    today: NaiveDate,
    entries: &mut Vec<Recording<'s>>,
    notices: &mut Vec<Notice<'s>>,
) -> Result<(), StoreError> {
    let pair = here.pair();
    let season = here.state.season.year;
    let told = store.advised(pair, season)?;
    let mut tell = |subject: &str, step: &str, due| {
        entries.push(Recording::Advised {
            pair,
            season,
            advised: Advised {
                subject: subject.to_owned(),
                step: step.to_owned(),
                due,
            },
        });
    };
    if let Some(hatching) = hatching.as_ref().filter(|_| case.need.purpose().is_some()) {
        let last_told = |option: &str| {
            told.iter().rev().find_map(|(_, told)| {
                let step = Step::from_name(&told.step)?;
                let due = told.due?;
                (told.subject == option).then_some(ToldStep { step, due })
            })
        };
        let ranked = case.ranked(config, here, hatching, today);
        let advice = advise(&ranked, hatching, &case.need, last_told, today);
        let is_hopeless = matches!(case.need, Need::Curative { .. })
            && !ranked.iter().any(|planned| planned.in_time(today))
            && !told.iter().any(|(_, told)| told.subject == NOTHING_LEFT);
        for one in &advice {
            tell(&one.option.id, one.step.name(), Some(one.due()));
        }
        if is_hopeless {
            tell(NOTHING_LEFT, NOTHING_LEFT, None);
        }
        if !advice.is_empty() || is_hopeless {
            let instead = ranked
                .iter()
                .filter(|planned| planned.in_time(today))
                .map(|planned| Instead {
                    name: planned.option.name.clone(),
                    window: planned.window,
                    share: planned.still(today),
                })
                .collect();
            notices.push(treatment(
                config,
                store,
                (here, case),
                today,
                advice,
                instead,
            )?);
        }
    } else if is_overtaken(&told, case, today) {
        tell(HOLD_BACK, HOLD_BACK, None);
        notices.push(treatment(
            config,
            store,
            (here, case),
            today,
            Vec::new(),
            Vec::new(),
        )?);
    }
    let is_told = told.iter().any(|(_, told)| told.subject == COUNTING);
    if !is_told && case.evidence.this_brood.is_none() {
        let told_of_the_end = store
            .recorded(pair, season)?
            .iter()
            .any(|known| known.milestone == Milestone::WindowEnd && known.told);
        if is_time_to_count(here, told_of_the_end, today) {
            tell(COUNTING, COUNTING, None);
            notices.push(here.notice(NoticeKind::CountNow {
                species: &here.species,
                tolerance: case.tolerance,
            }));
        }
    }
    Ok(())
}

/// Advice older than this is not taken back any more, days.
const TAKEN_BACK_DAYS: i64 = 30;

/// Whether people were told to treat with something that is not too late, and a count or a correction
/// since then says otherwise. That they did treat is no reason to write to them.
fn is_overtaken(told: &[(DateTime<Utc>, Advised)], case: &Case, today: NaiveDate) -> bool {
    if case.need.purpose().is_some() || matches!(case.need, Need::Nothing(Reason::Treated { .. })) {
        return false;
    }
    // What was told last of each option, since advice was last taken back.
    let mut open: BTreeMap<&str, (NaiveDate, Step)> = BTreeMap::new();
    for (at, told) in told {
        if told.subject == HOLD_BACK {
            open.clear();
        } else if let Some(step) = Step::from_name(&told.step) {
            open.insert(&told.subject, (at.date_naive(), step));
        }
    }
    open.values()
        .any(|(on, step)| *step != Step::TooLate && (today - *on).num_days() <= TAKEN_BACK_DAYS)
}

/// A notice of treatments.
fn treatment<'s>(
    config: &'s Config,
    store: &Store,
    (here, case): (&'s SiteState<'s>, &Case),
    today: NaiveDate,
    advice: Vec<Advice>,
    instead: Vec<Instead>,
) -> Result<Notice<'s>, StoreError> {
    Ok(here.notice(NoticeKind::Treatment(Box::new(TreatmentNotice {
        species: &here.species,
        need: case.need,
        advice,
        instead,
        spread: case.spread(config, here, today),
        wet: wet_here(store, here.site, today)?,
    }))))
}

/// Days after which counting is not asked for any more, counted from the date cap. A choice: in
/// cooling soil larvae go down.
const COUNTED_AFTER_CAP: u64 = 14;

/// Whether larvae hatched and can be counted now. Who was told that the window has ended was told to
/// count with it; who began to watch later was not.
fn is_time_to_count(here: &SiteState<'_>, told_of_the_end: bool, today: NaiveDate) -> bool {
    let latitude = here.site.latitude;
    let cap = here.species.window_cap(&here.state.season, latitude);
    let broods = Broods::of(&here.species, latitude, &here.state);
    here.state.hold.is_none()
        && here.state.passed(Milestone::Hatch).is_some()
        && broods.on(today) == Brood::This
        && !told_of_the_end
        && today <= cap + Days::new(COUNTED_AFTER_CAP)
}

/// What the weather at a site says against spreading or watering today.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn wet_here(
    store: &Store,
    site: &site::Site,
    today: NaiveDate,
) -> Result<Option<Wet>, StoreError> {
    let since = today - Days::new(FOLLOWED_DAYS);
    let measured = rain_at(store, site, since)?;
    Ok(wet(&measured, &store.forecast_rain(&site.station)?, today))
}

/// The rain at a site: of its first station that has the day.
pub(super) fn rain_at(
    store: &Store,
    site: &site::Site,
    since: NaiveDate,
) -> Result<Rain, StoreError> {
    let mut rain = Rain::new();
    for station in site.stations() {
        for (day, mm) in store.rain_since(station, since)? {
            rain.entry(day).or_insert(mm);
        }
    }
    Ok(rain)
}

/// What there is to tell of how the applications of all sites are watered in.
pub(super) fn follow_watering<'c>(
    config: &'c Config,
    store: &Store,
    today: NaiveDate,
    entries: &mut Vec<Recording<'c>>,
    notices: &mut Vec<Notice<'c>>,
) -> Result<(), StoreError> {
    for (member, site) in config.sites() {
        let Some(feed) = config.station(&site.station) else {
            continue;
        };
        for followed in waterings(config, store, site, today)? {
            let pair = Pair {
                site: &site.id,
                species: "",
            };
            let season = followed.watering.spread.year();
            // An edited entry goes on under its first number.
            let subject = store.first_number(followed.number)?.to_string();
            let told: Vec<String> = store
                .advised(pair, season)?
                .into_iter()
                .filter(|(_, told)| told.subject == subject)
                .map(|(_, told)| told.step)
                .collect();
            let was_told = |step: &str| told.iter().any(|told| told == step);
            let step = match followed.watering.state {
                // Water that was told of has been taken back.
                WateringState::Due | WateringState::Missed if was_told("done") => "lacking-again",
                WateringState::Due if told.is_empty() => "due",
                WateringState::Done(_) => "done",
                WateringState::Missed => "missed",
                WateringState::Due | WateringState::Waiting => continue,
            };
            if was_told(step) {
                continue;
            }
            entries.push(Recording::Advised {
                pair,
                season,
                advised: Advised {
                    subject,
                    step: step.to_owned(),
                    due: Some(followed.watering.deadline),
                },
            });
            notices.push(Notice {
                member,
                site,
                station: &feed.station,
                parts: &[],
                need: None,
                kind: NoticeKind::Water {
                    option: followed.option,
                    watering: followed.watering,
                    wet: wet_here(store, site, today)?,
                },
            });
        }
    }
    Ok(())
}

/// An application whose watering in is followed.
pub struct Followed<'c> {
    /// Its number in the journal.
    pub number: i64,
    /// What was spread.
    pub option: &'c TreatmentOption,
    /// How it stands with its water.
    pub watering: Watering,
}

/// How the applications of a site's last weeks stand with their water.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn waterings<'c>(
    config: &'c Config,
    store: &Store,
    site: &site::Site,
    today: NaiveDate,
) -> Result<Vec<Followed<'c>>, StoreError> {
    let since = today - Days::new(FOLLOWED_DAYS);
    let entries = store.entries(&site.id)?;
    let spread: Vec<(&Journal, &Application)> = entries
        .iter()
        .filter(|entry| (since..=today).contains(&entry.day))
        .filter_map(|entry| match &entry.action {
            JournalAction::Application(application) => Some((entry, application)),
            _ => None,
        })
        .collect();
    if spread.is_empty() {
        return Ok(Vec::new());
    }
    let rain = rain_at(store, site, since)?;
    let irrigation: Vec<(NaiveDate, f64)> = entries
        .iter()
        .filter_map(|entry| match entry.action {
            JournalAction::Irrigation { depth } => Some((entry.day, depth.mm())),
            _ => None,
        })
        .collect();
    Ok(spread
        .into_iter()
        .filter_map(|(entry, application)| {
            let option = config.options.get(&application.option)?;
            let how = &option.watering_in;
            Some(Followed {
                number: entry.number,
                option,
                watering: watering(how, entry.day, &rain, &irrigation, today),
            })
        })
        .collect())
}
