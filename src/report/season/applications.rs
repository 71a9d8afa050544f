//! What was applied in a season, how it was watered in, and how much of the hatch it met.

use super::counts::change;
use crate::domain::look_back::{Applied, LookBack, Met, NotKnown, Timing};
use crate::domain::notation::Notation;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::watering::{Watering, WateringState};
use crate::report::words::{capitalised, days, percent};
use chrono::NaiveDate;

/// An application.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApplicationReport {
    /// Its day.
    pub day: String,
    /// What was applied, on how much turf.
    pub what: String,
    /// How it was watered in.
    pub watered: String,
    /// Each species' verdict with what stands behind it.
    pub verdicts: Vec<(String, Vec<String>)>,
    /// What is to be said beside its timing.
    pub notes: Vec<String>,
}

impl ApplicationReport {
    pub(super) fn of(applied: &Applied, season: &LookBack, notation: &Notation) -> Self {
        let is_settled = |name: &str| {
            let species = season.species.iter().find(|one| one.name == name);
            species.is_some_and(|one| one.is_settled)
        };
        let behind = |name: &str, found: &Result<Met, NotKnown>| match found {
            Ok(found) => met(found, applied.day, is_settled(name), notation),
            Err(why) => vec![format!("{}.", capitalised(&why.to_string()))],
        };
        let mut notes = beside(applied);
        for species in &season.species {
            let across = species.counts.across(applied.day);
            notes.extend(
                across.map(|across| format!("Counts around it: {}", change(&across, notation))),
            );
        }
        Self {
            day: notation.day(applied.day),
            what: what(applied),
            watered: applied.watering.as_ref().map_or_else(
                || "How it is watered in is not known: it is not configured any more.".to_owned(),
                |watering| watered(watering, notation),
            ),
            verdicts: applied
                .met
                .iter()
                .map(|(name, met)| {
                    let verdict = capitalised(&verdict(applied, name, met, notation));
                    (verdict, behind(name, met))
                })
                .collect(),
            notes,
        }
    }
}

/// What was applied, on how much turf.
fn what(applied: &Applied) -> String {
    let rate = applied.rate.map_or(String::new(), |rate| {
        format!(", at {rate}, that is {}", rate.on(applied.area))
    });
    let share = match applied.share_of_site {
        Some(share) if (share - 1.0).abs() < 0.005 => " (the whole site)".to_owned(),
        Some(share) => format!(" ({} of the site)", percent(share)),
        None => String::new(),
    };
    format!("{} on {}{share}{rate}", applied.name, applied.area)
}

/// How it was watered in.
fn watered(watering: &Watering, notation: &Notation) -> String {
    let needed = watering.needed_mm;
    let counted = format!(
        "{:.0} mm of rain and {:.0} mm of logged irrigation",
        watering.rain_mm, watering.irrigation_mm
    );
    let due = notation.day(watering.deadline);
    match watering.state {
        WateringState::Done(on) if watering.is_late() => format!(
            "Watered in late: the {needed:.0} mm it needs had come on {}, {} after {due} ({counted}).",
            notation.day(on),
            days((on - watering.deadline).num_days()),
        ),
        WateringState::Done(on) => format!(
            "Watered in in time: the {needed:.0} mm it needs had come on {}, due by {due} ({counted}).",
            notation.day(on)
        ),
        WateringState::Due => format!(
            "Watering in is due by {due}: {:.0} of {needed:.0} mm are lacking ({counted}).",
            watering.lacking_mm()
        ),
        WateringState::Waiting => format!(
            "Whether it was watered in by {due} is not known yet: rain of these days has not arrived ({counted})."
        ),
        WateringState::Missed if watering.rain_through.is_none() => format!(
            "Whether it was watered in is not known: {:.0} of the {needed:.0} mm due by {due} are logged as irrigation, and the station sent no rain.",
            watering.irrigation_mm
        ),
        WateringState::Missed => format!(
            "Not watered in, by the record: {:.0} of the {needed:.0} mm due by {due} are lacking ({counted}).",
            watering.lacking_mm()
        ),
    }
}

/// The verdict on an application, in two or three words.
fn timing(timing: Timing) -> &'static str {
    match timing {
        Timing::TooEarly => "too early",
        Timing::Early => "early",
        Timing::InTime => "in time",
        Timing::Late => "late",
        Timing::TooLate => "too late",
    }
}

/// The verdict on an application against a species, in a sentence.
pub(super) fn verdict(
    applied: &Applied,
    species: &str,
    met: &Result<Met, NotKnown>,
    notation: &Notation,
) -> String {
    let name = &applied.name;
    let on = notation.day(applied.day);
    let Ok(met) = met else {
        return format!("Whether {name} of {on} was in time against {species} is not known.");
    };
    let window = met.window;
    let (first, last) = (notation.day(window.first), notation.day(window.last));
    let why = match met.timing {
        Timing::InTime => format!("within the days worth it, {first} to {last}"),
        Timing::TooEarly | Timing::Early => format!(
            "{} before the first day worth it, {first}",
            days((window.first - met.from).num_days())
        ),
        Timing::Late | Timing::TooLate => format!(
            "{} after the last day worth it, {last}",
            days((met.from - window.last).num_days())
        ),
    };
    let but = match applied.is_watered() {
        Some(false) => {
            ", but the water it needs is not on record: if it did not get it, it did little"
        }
        _ => "",
    };
    let water = match applied
        .watering
        .as_ref()
        .map(|water| (water.state, water.is_late()))
    {
        Some((WateringState::Done(done), true)) => {
            format!(", watered in late on {},", notation.day(done))
        }
        _ => String::new(),
    };
    let part = match applied.share_of_site {
        Some(share) if share < 0.995 => format!(" on {} of the site", percent(share)),
        _ => String::new(),
    };
    format!(
        "{name} of {on}{part}{water} was {} against {species}, {why}; it met {} of the hatch there{but}.",
        timing(met.timing),
        percent(met.share.mean),
    )
}

/// What an application met of a species.
fn met(met: &Met, spread: NaiveDate, is_settled: bool, notation: &Notation) -> Vec<String> {
    let outlook = if is_settled { "" } else { " (partly outlook)" };
    let away = match met.days_from_best() {
        0 => "that day".to_owned(),
        late if late > 0 => format!("{} before", days(late)),
        early => format!("{} later", days(early)),
    };
    let mut lines = vec![format!(
        "It met {} ({} to {}) of the hatching larvae while they were open to it{outlook}; the best day of this option, {} ({away}), would have met {}.",
        percent(met.share.mean),
        percent(met.share.low),
        percent(met.share.high),
        notation.day(met.window.best),
        percent(met.best),
    )];
    if met.from != spread {
        lines.push(format!(
            "This counts from {}, when the water it needs had come.",
            notation.day(met.from)
        ));
    }
    lines.push(format!(
        "Half of it was in the root zone about {}; by then {} of the larvae had hatched and {} were in their third instar.",
        notation.day(met.arrived),
        percent(met.hatched),
        percent(met.grown)
    ));
    lines
}

/// What is to be said of an application beside its timing.
fn beside(applied: &Applied) -> Vec<String> {
    let uncalled = applied.purpose == Some(Purpose::Curative) && !applied.counted_before;
    let late = applied.watering.is_some_and(|water| water.is_late());
    let notes = [
        (
            uncalled,
            "No count of this season's larvae was logged before it, so nothing on record called for it.",
        ),
        (
            late,
            "What lay on the leaves until the water came may have lost some of its strength; the shares do not allow for that.",
        ),
    ];
    let due = notes.iter().filter(|(is_due, _)| *is_due);
    due.map(|(_, note)| (*note).to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::treatment::coverage::{Share, Window};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn watering(state: WateringState, rain_through: Option<&str>) -> Watering {
        Watering {
            needed_mm: 13.0,
            spread: day("2026-06-01"),
            deadline: day("2026-06-02"),
            rain_mm: 4.0,
            irrigation_mm: 5.0,
            rain_through: rain_through.map(day),
            state,
        }
    }

    fn applied(watering: Option<Watering>, share_of_site: Option<f64>) -> Applied {
        Applied {
            number: 1,
            day: day("2026-06-01"),
            option: "clothianidin".to_owned(),
            name: "Clothianidin".to_owned(),
            purpose: Some(Purpose::Preventive),
            area: "45 m2".parse().unwrap(),
            rate: None,
            share_of_site,
            watering,
            active: None,
            met: Vec::new(),
            counted_before: false,
        }
    }

    fn found(from: &str, timing: Timing) -> Met {
        Met {
            from: day(from),
            share: Share {
                mean: 0.87,
                low: 0.7,
                high: 0.95,
            },
            best: 0.99,
            window: Window {
                first: day("2026-05-20"),
                best: day("2026-06-11"),
                last: day("2026-07-10"),
            },
            timing,
            arrived: day("2026-06-20"),
            hatched: 0.004,
            grown: 0.0,
        }
    }

    #[test]
    fn a_verdict_counts_the_days_to_those_worth_it() {
        let said = |from, timing| {
            let met = Ok(found(from, timing));
            verdict(&applied(None, None), "Beetle", &met, &Notation::default())
        };
        assert_eq!(
            said("2026-06-01", Timing::InTime),
            "Clothianidin of 1 June was in time against Beetle, within the days worth it, 20 May to 10 July; it met 87 % of the hatch there."
        );
        assert!(
            said("2026-05-19", Timing::Early)
                .contains("was early against Beetle, 1 day before the first day worth it, 20 May;")
        );
        assert!(
            said("2026-07-13", Timing::TooLate).contains(
                "was too late against Beetle, 3 days after the last day worth it, 10 July;"
            )
        );
    }

    #[test]
    fn a_verdict_tells_of_part_of_the_site_and_of_missing_water() {
        let met = Ok(found("2026-06-01", Timing::InTime));
        let dry = applied(
            Some(watering(WateringState::Missed, Some("2026-06-02"))),
            Some(0.1),
        );
        let said = verdict(&dry, "Beetle", &met, &Notation::default());
        assert!(said.starts_with("Clothianidin of 1 June on 10 % of the site was in time"));
        assert!(
            said.ends_with("if it did not get it, it did little."),
            "{said}"
        );
        let late = applied(
            Some(watering(WateringState::Done(day("2026-06-05")), None)),
            Some(1.0),
        );
        let said = verdict(&late, "Beetle", &met, &Notation::default());
        assert!(said.starts_with("Clothianidin of 1 June, watered in late on 5 June, was in time"));
    }

    #[test]
    fn how_it_was_watered_in_is_told_by_what_is_known() {
        let said =
            |state, rain_through| watered(&watering(state, rain_through), &Notation::default());
        let counted = "(4 mm of rain and 5 mm of logged irrigation).";
        assert_eq!(
            said(WateringState::Done(day("2026-06-02")), Some("2026-06-02")),
            format!(
                "Watered in in time: the 13 mm it needs had come on 2 June, due by 2 June {counted}"
            )
        );
        assert_eq!(
            said(WateringState::Done(day("2026-06-03")), Some("2026-06-03")),
            format!(
                "Watered in late: the 13 mm it needs had come on 3 June, 1 day after 2 June {counted}"
            )
        );
        assert_eq!(
            said(WateringState::Due, None),
            format!("Watering in is due by 2 June: 4 of 13 mm are lacking {counted}")
        );
        assert!(
            said(WateringState::Missed, Some("2026-06-02"))
                .starts_with("Not watered in, by the record:")
        );
        assert!(said(WateringState::Missed, None).ends_with("and the station sent no rain."));
    }

    #[test]
    fn what_it_met_is_held_against_the_best_day() {
        let lines = met(
            &found("2026-06-01", Timing::InTime),
            day("2026-06-01"),
            true,
            &Notation::default(),
        );
        assert_eq!(
            lines,
            [
                "It met 87 % (70 % to 95 %) of the hatching larvae while they were open to it; the best day of this option, 11 June (10 days later), would have met 99 %.",
                "Half of it was in the root zone about 20 June; by then under 1 % of the larvae had hatched and 0 % were in their third instar.",
            ]
        );
        let late = met(
            &found("2026-06-13", Timing::InTime),
            day("2026-06-01"),
            false,
            &Notation::default(),
        );
        assert!(late[0].contains(
            "open to it (partly outlook); the best day of this option, 11 June (2 days before)"
        ));
        assert_eq!(
            late[1],
            "This counts from 13 June, when the water it needs had come."
        );
    }

    #[test]
    fn a_curative_without_a_count_before_it_is_told_of() {
        let curative = |counted_before| Applied {
            purpose: Some(Purpose::Curative),
            counted_before,
            ..applied(None, None)
        };
        assert!(beside(&curative(false))[0].starts_with("No count of this season's larvae"));
        assert!(beside(&curative(true)).is_empty());
        assert!(beside(&applied(None, None)).is_empty());
    }
}
