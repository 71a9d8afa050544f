//! Holding the days that a file adds against neighbours' days around them: a file whose days have moved by
//! one fits them better a day off, and the station's own days before did not. Maxima and minima must both
//! have moved, and against two neighbours at least: observers change the hour of one of them now and then, and that is no wrong file.

use super::median::median;
use super::yardstick::{OtherStation, Yardstick};
use crate::domain::weather::reading::Readings;
use crate::feed::Rejection;
use crate::station_feed::parsed::Element;
use chrono::{NaiveDate, TimeDelta};

/// Days that both need for an opinion, of the file and of the time before it. A choice.
const DAYS_FOR_OPINION: usize = 25;
/// A lag is clear where the differences scatter at most this share of what they do at any other. A choice;
/// stations some tens of kilometres apart lie at about a half.
const CLEAR: f64 = 0.7;
/// Days by which a file may have moved.
const LAGS: [i64; 3] = [0, -1, 1];
/// Days before a file that show how a station lies to its neighbours.
pub(super) const DAYS_BEFORE: u64 = 90;

/// Refuses a file whose new days fit the neighbours' a day off, where the station's days before did not.
///
/// # Errors
/// [`Rejection`] naming the neighbour and the way it has moved.
pub(super) fn refuse_moved(new: &Readings, known: &Yardstick) -> Result<(), Rejection> {
    let Some((first, _)) = new.first_key_value() else {
        return Ok(());
    };
    let since = *first - TimeDelta::days(DAYS_BEFORE as i64);
    let before: Readings = known
        .stored
        .range(since..*first)
        .map(|(day, reading)| (*day, *reading))
        .collect();
    let moved: Vec<(&OtherStation, i64)> = known
        .others
        .iter()
        .filter(|other| other.is_neighbour)
        .filter_map(|other| {
            let by = |element| {
                let now = clear_lag(new, &other.readings, element)?;
                let then = clear_lag(&before, &other.readings, element)?;
                Some(now - then)
            };
            let (max, min) = (by(Element::Max)?, by(Element::Min)?);
            Some((other, if max == min { max } else { 0 }))
        })
        .collect();
    let Some((neighbour, days)) = moved.first() else {
        return Ok(());
    };
    // Of two stations either may have moved.
    if moved.len() < 2 || *days == 0 || moved.iter().any(|(_, other)| other != days) {
        return Ok(());
    }
    let way = if *days < 0 { "late" } else { "early" };
    Err(Rejection::whole(
        format!(
            "against station {}, the new days are put down a day {way}; the days before were not",
            neighbour.id
        ),
        format!(
            "the service or its observer has changed the day that a value is put under: look at the file; if it is right as it is, {} takes it",
            known.command
        ),
    ))
}

/// By how many days another station's values lie off a station's, where that is clear: -1 is the
/// other's day before.
fn clear_lag(readings: &Readings, other: &Readings, element: Element) -> Option<i64> {
    let scatter = |lag: i64| scatter(readings, other, element, lag).map(|by| (lag, by));
    let mut lags = LAGS.map(scatter).into_iter().collect::<Option<Vec<_>>>()?;
    lags.sort_by(|(_, one), (_, two)| one.total_cmp(two));
    let (lag, least) = lags[0];
    (least <= CLEAR * lags[1].1).then_some(lag)
}

/// How far the differences to another station's values so many days later lie from their median, as a
/// median, °C.
fn scatter(readings: &Readings, other: &Readings, element: Element, lag: i64) -> Option<f64> {
    let difference = |day: &NaiveDate, here: f64| {
        let there = element.of(other.get(&(*day + TimeDelta::days(lag)))?)?;
        Some(here - there)
    };
    let mut differences: Vec<f64> = readings
        .iter()
        .filter_map(|(day, reading)| difference(day, element.of(reading)?))
        .collect();
    if differences.len() < DAYS_FOR_OPINION {
        return None;
    }
    let middle = median(&mut differences)?;
    for by in &mut differences {
        *by = (*by - middle).abs();
    }
    median(&mut differences)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::Reading;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Weather that changes from day to day, the same everywhere but for a few tenths and so many days.
    fn weather(first: &str, last: &str, later_by: i64, place: f64) -> Readings {
        day(first)
            .iter_days()
            .take_while(|one| *one <= day(last))
            .map(|one| {
                let at = ((one - day("2020-01-01")).num_days() + later_by) as f64;
                let max = 15.0 + 6.0 * (at * 1.7).sin() + 3.0 * (at * 0.61).cos() + place;
                let own = 0.3 * (at * 2.9 + place).sin();
                let reading = Reading {
                    min: Some(max - 9.0 - own),
                    max: Some(max + own),
                };
                (one, reading)
            })
            .collect()
    }

    fn vetted(new_later_by: i64, stored_later_by: i64) -> Result<(), Rejection> {
        let new = weather("2026-04-01", "2026-04-30", new_later_by, 0.0);
        let known = Yardstick {
            stored: weather("2026-01-01", "2026-03-31", stored_later_by, 0.0),
            others: ["orchard", "weir"]
                .map(|id| OtherStation {
                    id: id.into(),
                    is_neighbour: true,
                    elevation_m: None,
                    readings: weather("2025-12-01", "2026-05-30", 0, 2.0),
                })
                .into(),
            command: "the command".into(),
            ..Yardstick::default()
        };
        refuse_moved(&new, &known)
    }

    #[test]
    fn new_days_that_have_moved_by_one_against_a_neighbour_are_refused_with_the_way() {
        let late = vetted(-1, 0).unwrap_err().what;
        assert!(
            late.contains("orchard") && late.contains("days are put down a day late"),
            "{late}"
        );
        let early = vetted(1, 0).unwrap_err().what;
        assert!(early.contains("a day early"), "{early}");
    }

    #[test]
    fn a_station_that_always_lay_a_day_off_its_neighbour_goes_on() {
        assert_eq!(vetted(0, 0), Ok(()));
        assert_eq!(vetted(-1, -1), Ok(()));
    }

    #[test]
    fn where_nothing_is_known_of_the_days_before_nothing_is_said() {
        let new = weather("2026-04-01", "2026-04-30", -1, 0.0);
        assert_eq!(refuse_moved(&new, &Yardstick::default()), Ok(()));
    }
}
