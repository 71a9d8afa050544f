//! Holding the days that a file adds against what they are expected to be like.

use super::expected_days::{Departure, ExpectedDays, Opinion};
use super::full_date;
use super::stored_days::how_to_set;
use super::yardstick::{DAYS_TO_COMPARE, Yardstick};
use crate::domain::weather::reading::Readings;
use crate::feed::Rejection;
use crate::station_feed::dialect::Binding;
use crate::station_feed::parsed::Parsed;

/// Refuses a file whose new days fit another unit, or no such station. The station's own climate and
/// its neighbours' same days are asked first: where one of them is content, so is the file, and
/// latitude is asked only where they say nothing.
///
/// # Errors
/// [`Rejection`] naming the unit that fits, or how far the days are off.
pub(super) fn refuse_unexpected(
    parsed: &Parsed,
    binding: &Binding,
    known: &Yardstick,
) -> Result<(), Rejection> {
    let is_new = |day| !known.stored.contains_key(day);
    if parsed.readings.keys().filter(|day| is_new(day)).count() < DAYS_TO_COMPARE {
        return Ok(());
    }
    let days: Readings = parsed
        .readings
        .iter()
        .filter(|(day, _)| is_new(day))
        .map(|(day, reading)| (*day, *reading))
        .collect();
    let climate = || ExpectedDays::of_climate(&days, &known.stored);
    let neighbours = || ExpectedDays::of_neighbours(&days, &known.others, known.elevation_m);
    let mut worst = None;
    for expectation in [&climate as &dyn Fn() -> ExpectedDays, &neighbours] {
        let expectation = expectation();
        match expectation.opinion(&days, binding.unit) {
            None => {}
            Some(Opinion::Fits) => return Ok(()),
            Some(opinion) => {
                let known_worse = !matches!(worst, None | Some((_, Opinion::Open)));
                if !known_worse {
                    worst = Some((expectation.source, opinion));
                }
            }
        }
    }
    if worst.is_none()
        && let Some(latitude) = binding.latitude
    {
        let expectation = ExpectedDays::of_latitude(&days, latitude, known.elevation_m);
        let opinion = expectation.opinion(&days, binding.unit);
        worst = opinion.map(|opinion| (expectation.source, opinion));
    }
    let span = format!(
        "{} to {}",
        days.keys().next().copied().map_or(String::new(), full_date),
        days.keys()
            .next_back()
            .copied()
            .map_or(String::new(), full_date)
    );
    match worst {
        Some((source, Opinion::Unit(unit, departure))) => Err(Rejection::whole(
            format!(
                "{}, {span}, against {source}; read as {unit} they fit better",
                off(&departure, binding)
            ),
            how_to_set(unit, binding, known),
        )),
        Some((source, Opinion::Strange(departure))) => Err(Rejection::whole(
            format!("{}, {span}, against {source}", off(&departure, binding)),
            format!(
                "check whose file this is and in which unit; if it is right as it is, {} takes it",
                known.command
            ),
        )),
        _ => Ok(()),
    }
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
