//! Watering in: how much of the water an application needs has fallen or been given, and in time.

use crate::domain::treatment::option::WateringIn;
use crate::domain::weather::rain::{Rain, sum, sum_of_last};
use chrono::{Days, NaiveDate};

/// Applications older than this are not followed any more, days.
pub const FOLLOWED_DAYS: u64 = 21;

/// Rain counts as unknown for good when it has not arrived so many days after the deadline.
const WAITED_DAYS: i64 = 7;

/// How an application stands with its water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watering {
    /// Depth that carries it in, mm.
    pub needed_mm: f64,
    /// The day it was spread.
    pub spread: NaiveDate,
    /// The last day on which it should be done.
    pub deadline: NaiveDate,
    /// Rain counted so far, mm.
    pub rain_mm: f64,
    /// Irrigation counted so far, mm.
    pub irrigation_mm: f64,
    /// The last day whose rain is known, from the day it was spread on.
    pub rain_through: Option<NaiveDate>,
    /// Where it stands.
    pub state: WateringState,
}

/// Where an application stands with its water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WateringState {
    /// It lacks water and there is time.
    Due,
    /// It had enough on this day.
    Done(NaiveDate),
    /// The deadline is over, and its water may not be known yet.
    Waiting,
    /// The deadline is over and the water counted is not enough.
    Missed,
}

impl Watering {
    /// Depth still lacking, mm.
    pub fn lacking_mm(&self) -> f64 {
        (self.needed_mm - self.rain_mm - self.irrigation_mm).max(0.0)
    }

    /// Whether it was done after the deadline.
    pub fn is_late(&self) -> bool {
        matches!(self.state, WateringState::Done(on) if on > self.deadline)
    }
}

/// How an application of a day stands with its water on `today`.
///
/// # Method
/// Irrigation counts from the day it was spread on, rain from the day after: of the day itself
/// nobody knows whether it rained before or after. It is done on the day on which both together
/// reach the depth the option's file gives.
///
/// # Units
/// mm and days.
///
/// # Valid range
/// Rain of the site's weather station, which may be a mile of showers away: what is seen at the
/// site goes first. Unknown days count as dry.
///
/// # References
/// Depth and days are the option's, with their sources; the rest is arithmetic.
pub fn watering(
    how: &WateringIn,
    spread: NaiveDate,
    rain: &Rain,
    irrigation: &[(NaiveDate, f64)],
    today: NaiveDate,
) -> Watering {
    let needed_mm = how.depth_mm.value;
    let deadline = spread + Days::new(how.within_days.value.round() as u64);
    let next = spread + Days::new(1);
    let given = |to: NaiveDate| -> f64 {
        irrigation
            .iter()
            .filter(|(day, _)| (spread..=to).contains(day))
            .fold(0.0, |sum, (_, mm)| sum + mm)
    };
    let end = today.min(spread + Days::new(FOLLOWED_DAYS));
    // Half a millimetre is below what a rain gauge or a sprinkler tells.
    let enough = |day: &NaiveDate| sum(rain, next, *day) + given(*day) + 0.5 >= needed_mm;
    let done = spread
        .iter_days()
        .take_while(|day| *day <= end)
        .find(enough);
    let rain_through = rain.range(spread..=end).next_back().map(|(day, _)| *day);
    // Only rain of days before the deadline's end could still change the answer.
    let rain_may_come = deadline > spread
        && rain_through.is_none_or(|through| through < deadline)
        && (today - deadline).num_days() <= WAITED_DAYS;
    let state = match done {
        Some(on) => WateringState::Done(on),
        None if today <= deadline => WateringState::Due,
        // Evening's water is logged the next day.
        None if rain_may_come || today == deadline + Days::new(1) => WateringState::Waiting,
        None => WateringState::Missed,
    };
    let counted_to = done.unwrap_or(end);
    Watering {
        needed_mm,
        spread,
        deadline,
        rain_mm: sum(rain, next, counted_to),
        irrigation_mm: given(counted_to),
        rain_through,
        state,
    }
}

/// Why this is no day to spread or to water in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wet {
    /// Much rain has fallen: the turf may be saturated.
    Saturated {
        /// Rain of the last known days, mm.
        mm: f64,
        /// Known through this day.
        through: NaiveDate,
    },
    /// Heavy rain is forecast.
    HeavyRainAhead {
        /// Forecast for the day, mm.
        mm: f64,
        /// The day.
        on: NaiveDate,
    },
}

/// Rain of [`WET_DAYS`] days from which turf counts as saturated, mm. Our choice: common practice
/// has no number.
pub const SATURATED_MM: f64 = 40.0;

/// Days whose rain makes turf wet.
pub const WET_DAYS: u64 = 3;

/// Forecast rain of a day that washes out or runs off, mm. Our choice, as above.
pub const HEAVY_MM: f64 = 25.0;

/// Days ahead that are looked at.
const AHEAD_DAYS: u64 = 2;

/// Rain known through an older day than this says nothing of the turf today, days. Our choice: it
/// drains within a day or two.
const FRESH_DAYS: i64 = 2;

/// Whether the turf may be saturated, or else heavy rain is forecast.
pub fn wet(measured: &Rain, forecast: &Rain, today: NaiveDate) -> Option<Wet> {
    saturated(measured, today).or_else(|| heavy_rain_ahead(forecast, today))
}

/// Whether the turf may be saturated: much rain fell, and it is known up to a day near `today`.
pub fn saturated(measured: &Rain, today: NaiveDate) -> Option<Wet> {
    let (through, _) = measured.range(..=today).next_back()?;
    let through = *through;
    let mm = sum_of_last(measured, through, WET_DAYS);
    (mm >= SATURATED_MM && (today - through).num_days() <= FRESH_DAYS)
        .then_some(Wet::Saturated { mm, through })
}

/// Whether heavy rain is forecast for one of the next days.
pub fn heavy_rain_ahead(forecast: &Rain, today: NaiveDate) -> Option<Wet> {
    forecast
        .range(today..=today + Days::new(AHEAD_DAYS))
        .find(|(_, mm)| **mm >= HEAVY_MM)
        .map(|(on, mm)| Wet::HeavyRainAhead { mm: *mm, on: *on })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::sourced_value::{EvidenceGrade, SourcedValue};

    fn day(n: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 6, n).unwrap()
    }

    fn how(depth_mm: f64, within_days: f64) -> WateringIn {
        let sourced_value = |value| SourcedValue {
            value,
            range: None,
            grade: EvidenceGrade::Practice,
            source: String::new(),
        };
        WateringIn {
            depth_mm: sourced_value(depth_mm),
            within_days: sourced_value(within_days),
        }
    }

    fn rain(days: &[(u32, f64)]) -> Rain {
        days.iter().map(|(n, mm)| (day(*n), *mm)).collect()
    }

    fn state(rain_days: &[(u32, f64)], given: &[(u32, f64)], today: u32) -> WateringState {
        let given: Vec<(NaiveDate, f64)> = given.iter().map(|(n, mm)| (day(*n), *mm)).collect();
        watering(
            &how(13.0, 2.0),
            day(8),
            &rain(rain_days),
            &given,
            day(today),
        )
        .state
    }

    #[test]
    fn rain_and_irrigation_count_together_and_the_day_they_reach_it_is_the_day() {
        assert_eq!(state(&[], &[], 8), WateringState::Due);
        assert_eq!(state(&[(9, 6.0)], &[], 10), WateringState::Due);
        let both = state(&[(9, 6.0)], &[(10, 7.0)], 10);
        assert_eq!(both, WateringState::Done(day(10)));
    }

    #[test]
    fn half_a_millimetre_less_is_enough_and_six_tenths_less_are_not() {
        assert_eq!(state(&[(9, 12.5)], &[], 9), WateringState::Done(day(9)));
        assert_eq!(state(&[(9, 12.4)], &[], 9), WateringState::Due);
    }

    #[test]
    fn rain_of_the_day_it_was_spread_on_does_not_count_and_irrigation_does() {
        assert_eq!(state(&[(8, 30.0)], &[], 9), WateringState::Due);
        assert_eq!(state(&[], &[(8, 13.0)], 8), WateringState::Done(day(8)));
        assert_eq!(state(&[], &[(7, 13.0)], 8), WateringState::Due);
    }

    #[test]
    fn after_the_deadline_it_waits_for_rain_that_is_not_known_yet_and_then_is_missed() {
        assert_eq!(state(&[(8, 0.0)], &[], 11), WateringState::Waiting);
        assert_eq!(
            state(&[(9, 0.0), (10, 2.0)], &[], 12),
            WateringState::Missed
        );
        assert_eq!(state(&[], &[], 17), WateringState::Waiting);
        assert_eq!(state(&[], &[], 18), WateringState::Missed);
    }

    #[test]
    fn what_must_be_in_on_the_same_day_waits_for_no_rain() {
        let state = |today| watering(&how(10.0, 0.0), day(8), &Rain::new(), &[], day(today)).state;
        assert_eq!(state(8), WateringState::Due);
        assert_eq!(
            state(9),
            WateringState::Waiting,
            "it may have been watered in the evening"
        );
        assert_eq!(state(10), WateringState::Missed);
    }

    #[test]
    fn rain_after_the_deadline_makes_it_done_and_late() {
        let days = rain(&[(9, 0.0), (10, 0.0), (11, 20.0)]);
        let found = watering(&how(13.0, 2.0), day(8), &days, &[], day(12));
        assert_eq!(found.state, WateringState::Done(day(11)));
        assert!(found.is_late());
        assert_eq!((found.rain_mm, found.lacking_mm()), (20.0, 0.0));
    }

    #[test]
    fn turf_is_saturated_after_much_rain_and_heavy_rain_ahead_is_seen() {
        let wetted = rain(&[(6, 15.0), (7, 15.0), (8, 12.0)]);
        let dry = Rain::new();
        assert!(matches!(
            wet(&wetted, &dry, day(9)),
            Some(Wet::Saturated { mm, .. }) if mm == 42.0
        ));
        assert!(wet(&wetted, &dry, day(10)).is_some());
        assert_eq!(
            wet(&wetted, &dry, day(11)),
            None,
            "nobody knows of the days since"
        );
        let ahead = rain(&[(9, 3.0), (11, 30.0)]);
        let measured = rain(&[(8, 0.0)]);
        assert_eq!(
            wet(&measured, &ahead, day(9)),
            Some(Wet::HeavyRainAhead {
                mm: 30.0,
                on: day(11)
            })
        );
        assert_eq!(wet(&measured, &ahead, day(8)), None);
        assert!(
            wet(&dry, &ahead, day(11)).is_some(),
            "a forecast needs no gauge"
        );
    }
}
