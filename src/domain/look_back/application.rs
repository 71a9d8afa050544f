//! What an application met of the hatch, and whether it came in time.

use super::hatch_span::NotKnown;
use crate::domain::journal::amount::{Area, Rate};
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::treatment::coverage::{Share, Window};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::planned::planned;
use crate::domain::treatment::served::Target;
use crate::domain::treatment::watering::{Watering, WateringState};
use chrono::{Days, NaiveDate};

/// Outside its window an application still counts as a late or an early one, not as one that comes
/// too late or too early, if it meets at least this share of what the best day does. A choice.
const HALF: f64 = 0.5;

/// An option counts as active while at least this share of its highest strength is at work in the
/// root zone. A choice, for drawing.
const ACTIVE: f64 = 0.5;

/// Longest activity looked at, days.
const LONGEST_DAYS: u64 = 366;

/// Something that was applied.
#[derive(Debug, Clone, PartialEq)]
pub struct Applied {
    /// Its number in the journal.
    pub number: i64,
    /// The day it was spread.
    pub day: NaiveDate,
    /// The option's identifier.
    pub option: String,
    /// Its name, the identifier where the option is not configured any more.
    pub name: String,
    /// What it is for, if the option is configured.
    pub purpose: Option<Purpose>,
    /// The turf it went on.
    pub area: Area,
    /// The rate.
    pub rate: Option<Rate>,
    /// Share of the site's turf, if that is known.
    pub share_of_site: Option<f64>,
    /// How it was watered in, if the option is configured.
    pub watering: Option<Watering>,
    /// From when to when it is at work in the root zone, see [`active_span`].
    pub active: Option<(NaiveDate, NaiveDate)>,
    /// What it met of each species, or why that is not known.
    pub met: Vec<(String, Result<Met, NotKnown>)>,
    /// Whether a count of the site was logged on its day or before it in the season.
    pub counted_before: bool,
}

impl Applied {
    /// Whether the water is on record; `None` if nothing tells.
    pub fn is_watered(&self) -> Option<bool> {
        let watering = self.watering.as_ref()?;
        match watering.state {
            WateringState::Done(_) => Some(true),
            WateringState::Due | WateringState::Waiting => None,
            // A station that sends no rain tells nothing, and irrigation may not have been logged.
            WateringState::Missed => watering.rain_through.map(|_| false),
        }
    }
}

/// How the day of an application lies to the days worth it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timing {
    /// Before them, and met less than half of what was possible.
    TooEarly,
    /// Before them, and met half of what was possible or more.
    Early,
    /// On one of them.
    InTime,
    /// After them, and met half of what was possible or more.
    Late,
    /// After them, and met less than half of what was possible.
    TooLate,
}

impl Timing {
    /// Every timing with its name.
    pub const NAMED: [(&'static str, Timing); 5] = [
        ("too-early", Timing::TooEarly),
        ("early", Timing::Early),
        ("in-time", Timing::InTime),
        ("late", Timing::Late),
        ("too-late", Timing::TooLate),
    ];

    /// The name.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Of a day that meets so much, where the best day meets `best`.
    fn of(day: NaiveDate, met: f64, window: Window, best: f64) -> Self {
        let half = met >= best * HALF;
        if (window.first..=window.last).contains(&day) {
            Timing::InTime
        } else if day < window.first {
            if half {
                Timing::Early
            } else {
                Timing::TooEarly
            }
        } else if half {
            Timing::Late
        } else {
            Timing::TooLate
        }
    }
}

/// What an application met of one species.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Met {
    /// The day it counts from: the day the water it needs had come, or the day it was spread where
    /// that is not known.
    pub from: NaiveDate,
    /// Share of the hatching larvae it met.
    pub share: Share,
    /// What the best day of the same option would have met, mean.
    pub best: f64,
    /// The days worth it.
    pub window: Window,
    /// How it lies to them.
    pub timing: Timing,
    /// When half of it was in the root zone.
    pub arrived: NaiveDate,
    /// Share of the larvae that had hatched by then, 0 to 1.
    pub hatched: f64,
    /// Share that had entered the third instar by then, 0 to 1.
    pub grown: f64,
}

impl Met {
    /// Days from the best day; above 0 if it was later.
    pub fn days_from_best(&self) -> i64 {
        (self.from - self.window.best).num_days()
    }
}

/// What came of an application, given the hatch of a species and the soil of its season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// It met this.
    Met(Met),
    /// On no day would the option have met anything.
    Nothing,
    /// Its day lies outside the days that the model follows.
    Outside,
}

/// What an application of an option met.
///
/// # Method
/// The share that the planning model gives for the day ([`crate::domain::treatment::hatching::Hatching::coverage`]), against the
/// option's best day and the days worth it ([`planned`]). The model takes what is spread to be
/// watered in on the same day, so it counts from the day the water had come where that is known.
///
/// # Units
/// Shares 0 to 1, and days.
///
/// # Valid range
/// As [`crate::domain::treatment::hatching::Hatching::coverage`]. An application that was not watered in meets less than is said here.
///
/// # References
/// As [`crate::domain::treatment::hatching::Hatching::coverage`]; the words for timings are ours.
pub fn outcome(
    option: &TreatmentOption,
    target: Target<'_>,
    soil: &SoilCourse,
    spread: NaiveDate,
    watering: Option<&Watering>,
) -> Outcome {
    let from = match watering.map(|watering| watering.state) {
        Some(WateringState::Done(on)) => on,
        _ => spread,
    };
    let Some(planned) = planned(option, option.purpose, &[target], Some(soil)) else {
        return Outcome::Nothing;
    };
    let window = planned.window;
    let shares = (planned.share_on(from), planned.share_on(window.best));
    let (Some(share), Some(best)) = shares else {
        return Outcome::Outside;
    };
    let arrived = planned.arrives(from);
    Outcome::Met(Met {
        from,
        share,
        best: best.mean,
        window,
        timing: Timing::of(from, share.mean, window, best.mean),
        arrived,
        hatched: planned.reached(0.0, arrived),
        grown: planned.reached(2.0, arrived),
    })
}

/// From when to when what was watered in on a day is at work in the root zone: the days on which at
/// least half of its highest strength is; `None` if it never is.
pub fn active_span(option: &TreatmentOption, from: NaiveDate) -> Option<(NaiveDate, NaiveDate)> {
    let strength = |day: u64| option.at_work_after(day as f64);
    let highest = (0..=LONGEST_DAYS).map(strength).fold(0.0, f64::max);
    if highest <= 0.0 {
        return None;
    }
    let is_active = |day: &u64| strength(*day) >= highest * ACTIVE;
    let first = (0..=LONGEST_DAYS).find(is_active)?;
    let last = (first..=LONGEST_DAYS).take_while(is_active).last()?;
    Some((from + Days::new(first), from + Days::new(last)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_day_is_judged_by_the_days_worth_it_and_by_half_of_what_was_possible() {
        let window = Window {
            first: day("2026-06-01"),
            best: day("2026-06-12"),
            last: day("2026-06-20"),
        };
        for (on, met, timing) in [
            ("2026-05-01", 0.2, Timing::TooEarly),
            ("2026-05-31", 0.7, Timing::Early),
            ("2026-06-01", 0.73, Timing::InTime),
            ("2026-06-20", 0.73, Timing::InTime),
            ("2026-06-21", 0.4, Timing::Late),
            ("2026-07-20", 0.39, Timing::TooLate),
        ] {
            assert_eq!(Timing::of(day(on), met, window, 0.8), timing, "{on}");
        }
    }
}
