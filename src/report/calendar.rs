//! What a calendar shows of a site: milestones as ranges, the days of the options that are called for and
//! their last one, the day by which something is watered in, and the days to count on.

use super::outlook::{MilestoneDates, MilestoneOutlook, SpeciesOutlook};
use super::plan::{HELD_BACK, OptionPlan, PlanReport, WateringStatus};
use crate::config::Config;
use crate::cycle::site_case;
use crate::domain::notation::Notation;
use crate::domain::place::site::{Member, Site};
use crate::domain::telling::calendar::{CalendarEvent, CalendarToday};
use crate::store::{Store, StoreError};
use chrono::{Datelike, NaiveDate};

/// The events of a site as seen on `today`.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_calendar(
    config: &Config,
    store: &Store,
    of: (&Member, &Site),
    today: NaiveDate,
) -> Result<CalendarToday, StoreError> {
    let (_, site) = of;
    let notation = &config.service.notation;
    let Some(case) = site_case(config, store, today, &site.id)? else {
        return Ok(CalendarToday::default());
    };
    let mut calendar = CalendarToday::default();
    for species in &case.species {
        let is_held = species.here.state.hold.is_some();
        let outlook = SpeciesOutlook::of(&species.here, None, notation);
        for milestone in &outlook.milestones {
            take_milestone(
                &mut calendar,
                (site, &outlook, is_held),
                milestone,
                notation,
            );
        }
    }
    let plan = PlanReport::of(config, store, of, today)?;
    let season = plan.species.first().map_or(today.year(), |one| one.season);
    for option in plan.options.iter().filter(|one| !one.too_late) {
        if !plan.is_for_information {
            calendar.events.extend(option_events(&plan, option, season));
        }
    }
    calendar.events.extend(counting(&plan, season));
    let name = |id: &str| {
        let option = config.options.get(id);
        option.map_or(id, |option| option.name.as_str()).to_owned()
    };
    let due = plan.watering.iter().filter(|one| one.state == "due");
    let water = due.map(|one| water(&plan, one, &name(&one.option)));
    calendar.events.extend(water);
    Ok(calendar)
}

/// Takes in a milestone, which may have no days.
fn take_milestone(
    calendar: &mut CalendarToday,
    (site, outlook, is_held): (&Site, &SpeciesOutlook, bool),
    milestone: &MilestoneOutlook,
    notation: &Notation,
) {
    let id = format!(
        "{}.{}.{}",
        outlook.season, outlook.species, milestone.milestone
    );
    let (first, last, words) = match milestone.dates {
        MilestoneDates::NotThisSeason => return,
        MilestoneDates::AheadWithoutDates => return calendar.unknown.push(id),
        MilestoneDates::Passed { on, .. } => (on, on, "It has come.".to_owned()),
        MilestoneDates::Ahead(ahead) => {
            let Some(first) = ahead.early else {
                return calendar.unknown.push(id);
            };
            let likely = ahead.likely.map_or(String::new(), |day| {
                format!("Likely {}. ", notation.day(day))
            });
            let last = ahead.late.unwrap_or(outlook.season_end).max(first);
            let words = format!("{likely}An estimate: 8 of 10 seasons fall within these days.");
            (first, last, words)
        }
    };
    let held = if is_held { HELD_BACK } else { "" };
    calendar.events.push(CalendarEvent {
        id,
        species: Some(outlook.species.clone()),
        first,
        last,
        title: format!("{}: {}, {}", site.name, outlook.name, milestone.title),
        words: format!("{words} {held}").trim_end().to_owned(),
    });
}

/// The days of an option, and its last one.
fn option_events(plan: &PlanReport, option: &OptionPlan, season: i32) -> [CalendarEvent; 2] {
    let words = format!("{} {}", plan.decision, plan.cautions.join(" "));
    let event = |kind: &str, first, title: String| CalendarEvent {
        id: format!("{season}.{kind}.{}", option.option),
        species: None,
        first,
        last: option.last,
        title: format!("{}: {title}", plan.site_name),
        words: words.clone(),
    };
    [
        event(
            "days",
            option.first,
            format!("days to apply {}", option.name),
        ),
        event(
            "last-day",
            option.last,
            format!("last day to apply {}", option.name),
        ),
    ]
}

/// The days to count on, where that is what comes next.
fn counting(plan: &PlanReport, season: i32) -> Option<CalendarEvent> {
    let (days, words) = (plan.counting_days?, plan.counting.as_ref()?);
    Some(CalendarEvent {
        id: format!("{season}.count"),
        species: None,
        first: days.from,
        last: days.until,
        title: format!("{}: count grubs", plan.site_name),
        words: words.clone(),
    })
}

/// The day by which an application must be watered in.
fn water(plan: &PlanReport, watering: &WateringStatus, option: &str) -> CalendarEvent {
    CalendarEvent {
        id: format!("{}.water.{}", watering.spread.year(), watering.number),
        species: None,
        first: watering.deadline,
        last: watering.deadline,
        title: format!("{}: water in {option}", plan.site_name),
        words: watering.in_words.clone(),
    }
}
