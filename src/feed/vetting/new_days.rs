//! Holding the days that a file adds against what they are expected to be like.

use super::expected_days::{Departure, ExpectedDays, Opinion};
use super::full_date;
use super::stored_days::how_to_set;
use super::yardstick::{DAYS_TO_COMPARE, Yardstick};
use crate::domain::weather::reading::Readings;
use crate::feed::Rejection;
use crate::station_feed::dialect::Binding;
use crate::station_feed::parsed::Parsed;

/// Refuses a file of which the new days, `days`, fit another unit, or no such station.
///
/// # Errors
/// [`Rejection`] naming the unit that fits, or how far the days are off.
pub(super) fn refuse_unexpected(
    days: &Readings,
    binding: &Binding,
    known: &Yardstick,
) -> Result<(), Rejection> {
    let span = || {
        let ends = days.first_key_value().zip(days.last_key_value());
        ends.map_or(String::new(), |((first, _), (last, _))| {
            format!("{} to {}", full_date(*first), full_date(*last))
        })
    };
    match opinion(days, binding, known) {
        Some((source, Opinion::Unit(unit, departure))) => Err(Rejection::whole(
            format!(
                "{}, {}, against {source}; read as {unit} they fit better",
                off(&departure, binding),
                span()
            ),
            how_to_set(unit, binding, known),
        )),
        Some((source, Opinion::Strange(departure))) => Err(Rejection::whole(
            format!("{}, {}, against {source}", off(&departure, binding), span()),
            format!(
                "check whose file this is and in which unit; if it is right as it is, {} takes it",
                known.command
            ),
        )),
        _ => Ok(()),
    }
}

/// A rejection of impossible values, with the unit in which the new days are as expected, if there is one.
pub(super) fn with_unit_that_fits(
    rejection: Rejection,
    days: &Readings,
    binding: &Binding,
    known: &Yardstick,
) -> Rejection {
    match opinion(days, binding, known) {
        Some((_, Opinion::Unit(unit, _))) => Rejection {
            what: format!("{}; read as {unit} they fit better", rejection.what),
            remedy: how_to_set(unit, binding, known),
            ..rejection
        },
        _ => rejection,
    }
}

/// The days of a file that are not stored.
pub(super) fn new_days(parsed: &Parsed, known: &Yardstick) -> Readings {
    let days = parsed.readings.iter();
    days.filter(|(day, _)| !known.stored.contains_key(day))
        .map(|(day, reading)| (*day, *reading))
        .collect()
}

/// What is thought of new days, and by what. The station's own climate and its neighbours' same days
/// are asked first: where one of them is content, so is the file, and latitude is asked only where they
/// say nothing.
fn opinion(
    days: &Readings,
    binding: &Binding,
    known: &Yardstick,
) -> Option<(&'static str, Opinion)> {
    if days.len() < DAYS_TO_COMPARE {
        return None;
    }
    let climate = || ExpectedDays::of_climate(days, &known.stored);
    let neighbours = || ExpectedDays::of_neighbours(days, &known.others, known.elevation_m);
    let mut worst = None;
    for expected in [&climate as &dyn Fn() -> ExpectedDays, &neighbours] {
        let expected = expected();
        match expected.opinion(days, binding.unit) {
            None => {}
            Some(Opinion::Fits) => return Some((expected.source, Opinion::Fits)),
            Some(opinion) => {
                if matches!(worst, None | Some((_, Opinion::Open))) {
                    worst = Some((expected.source, opinion));
                }
            }
        }
    }
    worst.or_else(|| {
        let expected = ExpectedDays::of_latitude(days, binding.latitude?, known.elevation_m);
        Some((expected.source, expected.opinion(days, binding.unit)?))
    })
}

/// How far days are off, in words.
fn off(departure: &Departure, binding: &Binding) -> String {
    let range = departure.range_share.map_or(String::new(), |share| {
        format!(" and their daily range is {share:.1} times the usual")
    });
    let warmer = if departure.warmer_c < 0.0 {
        "colder"
    } else {
        "warmer"
    };
    format!(
        "read as {}, the {} new days are {:.1} °C {warmer} (median){range}",
        binding.unit,
        departure.days,
        departure.warmer_c.abs()
    )
}
