//! Holding a parsed file against what is possible.
//!
//! Nothing in a file says which unit it is in, and services have changed theirs in mid-life, so the
//! bound unit is checked against the values: their bounds, their fractions, the daily range, and the
//! warmest day of a whole year.

use super::another_unit;
use crate::domain::weather::extremes::{Extremes, Unit};
use crate::domain::weather::reading::Readings;
use crate::feed::Rejection;
use crate::station_feed::dialect::Binding;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::Why;
use chrono::Datelike;

/// More out-of-bounds values than this share of all mean a wrong unit or an undeclared "no value".
const MOST_OUT_OF_BOUNDS: f64 = 0.01;
/// … if they are at least this many; one wild value is refused alone.
const FEW_OUT_OF_BOUNDS: usize = 3;
/// Refused rows beyond this share mean that the file is not what it should be.
const MOST_REFUSED: f64 = 0.25;
/// … if they are at least this many.
const FEW_REFUSED: usize = 8;
/// Days needed before a mean daily range says anything.
const DAYS_FOR_RANGE: usize = 30;
/// Least mean daily range, °C. Stations on land have 5 to 15 (common practice, no source).
const LEAST_RANGE_C: f64 = 2.0;
/// Days needed before the warmest one says anything about the unit.
const DAYS_FOR_WARMEST: usize = 330;
/// A year whose warmest day stays below this, °C, grows no turf to look after.
const LEAST_WARMEST_C: f64 = 15.0;
/// Beyond this latitude, degrees, winters and summers differ enough to tell a unit by them.
const TROPICS_END: f64 = 32.0;
/// Days of a month needed for its mean.
const DAYS_FOR_MONTH: u32 = 10;
/// No winter month beyond the tropics has a warmer mean, °C (common practice, no source).
const WARMEST_WINTER_C: f64 = 20.0;
/// No summer month where turf is kept has a colder mean, °C (common practice, no source).
const COLDEST_SUMMER_C: f64 = 5.0;

/// Looks at a parsed file as a whole.
///
/// # Errors
/// [`Rejection`] naming what does not fit and what to do.
pub(super) fn refuse_impossible(parsed: &Parsed, binding: &Binding) -> Result<(), Rejection> {
    some_rows(parsed)?;
    bounds(parsed, binding)?;
    refused_share(parsed)?;
    fractions(parsed, binding)?;
    let days: Vec<Extremes> = parsed
        .readings
        .values()
        .filter_map(|reading| reading.extremes())
        .collect();
    daily_range(&days, binding)?;
    warmest(&days, binding)?;
    months(&parsed.readings, binding)
}

fn some_rows(parsed: &Parsed) -> Result<(), Rejection> {
    if parsed.rows > 0 || !parsed.refused.is_empty() {
        return Ok(());
    }
    Err(Rejection::whole(
        "there is a first line but no rows",
        "check the station's code and dates in the address; services answer unknown stations like this",
    ))
}

fn bounds(parsed: &Parsed, binding: &Binding) -> Result<(), Rejection> {
    let out: Vec<_> = parsed
        .refused
        .iter()
        .filter(|row| row.why == Why::OutOfBounds)
        .collect();
    let share = out.len() as f64 / parsed.values.max(1) as f64;
    if out.len() < FEW_OUT_OF_BOUNDS || share <= MOST_OUT_OF_BOUNDS {
        return Ok(());
    }
    Err(Rejection::at(
        out[0].line,
        format!(
            "{} of {} values are no air temperatures when read as {} (first: {})",
            out.len(),
            parsed.values,
            binding.unit,
            out[0].field
        ),
        format!(
            "{}, or declare the code that stands for \"no value\"",
            another_unit(binding)
        ),
    ))
}

fn refused_share(parsed: &Parsed) -> Result<(), Rejection> {
    let refused: Vec<_> = parsed
        .refused
        .iter()
        .filter(|row| {
            !matches!(
                row.why,
                Why::Flagged | Why::Future | Why::OtherKind | Why::Rain
            )
        })
        .collect();
    let share = refused.len() as f64 / parsed.rows.max(refused.len()).max(1) as f64;
    if refused.len() < FEW_REFUSED || share <= MOST_REFUSED {
        return Ok(());
    }
    Err(Rejection::at(
        refused[0].line,
        format!(
            "{} of {} rows make no sense (first: {} ({}))",
            refused.len(),
            parsed.rows.max(refused.len()),
            refused[0].why,
            refused[0].field
        ),
        "this is not a daily file of this dialect, or it is damaged; look at it by hand",
    ))
}

fn fractions(parsed: &Parsed, binding: &Binding) -> Result<(), Rejection> {
    match (&parsed.first_fraction, binding.unit) {
        (Some((line, text)), Unit::TenthsCelsius) => Err(Rejection::at(
            *line,
            format!("{text} has a fraction, but raw tenths of a degree are whole numbers"),
            another_unit(binding),
        )),
        _ => Ok(()),
    }
}

fn daily_range(days: &[Extremes], binding: &Binding) -> Result<(), Rejection> {
    if days.len() < DAYS_FOR_RANGE {
        return Ok(());
    }
    let mean = days.iter().map(|day| day.max() - day.min()).sum::<f64>() / days.len() as f64;
    if mean >= LEAST_RANGE_C {
        return Ok(());
    }
    Err(Rejection::whole(
        format!(
            "maximum and minimum lie only {mean:.1} °C apart on average when read as {}",
            binding.unit
        ),
        another_unit(binding),
    ))
}

fn warmest(days: &[Extremes], binding: &Binding) -> Result<(), Rejection> {
    let warmest = days.iter().map(|day| day.max()).fold(f64::MIN, f64::max);
    if days.len() < DAYS_FOR_WARMEST || warmest >= LEAST_WARMEST_C {
        return Ok(());
    }
    Err(Rejection::whole(
        format!(
            "the warmest of {} days reaches only {warmest:.1} °C when read as {}",
            days.len(),
            binding.unit
        ),
        another_unit(binding),
    ))
}

/// Away from the tropics a winter month is no summer and a summer month no winter: this shows a
/// wrong unit in a file of a few weeks.
fn months(readings: &Readings, binding: &Binding) -> Result<(), Rejection> {
    let Some(latitude) = binding
        .latitude
        .filter(|latitude| latitude.abs() >= TROPICS_END)
    else {
        return Ok(());
    };
    let means = monthly_means(readings);
    let Some((month, mean, season)) = impossible_month(&means, latitude) else {
        return Ok(());
    };
    // A slip of the sign is likelier than a file in another unit.
    let remedy = match impossible_month(&means, -latitude) {
        None => format!(
            "first check the sign of the site's latitude (it is negative in the southern hemisphere; {} would fit); if it is right, {}",
            -latitude,
            another_unit(binding)
        ),
        Some(_) => another_unit(binding),
    };
    Err(Rejection::whole(
        format!(
            "the mean of month {month} is {mean:.1} °C when read as {}, which no {season} is at latitude {latitude}",
            binding.unit
        ),
        remedy,
    ))
}

/// The means of the months, °C, of those with days enough.
fn monthly_means(readings: &Readings) -> [Option<f64>; 12] {
    let mut sums = [(0.0, 0u32); 12];
    for (day, reading) in readings {
        if let Some(extremes) = reading.extremes() {
            let month = &mut sums[day.month0() as usize];
            month.0 += (extremes.min() + extremes.max()) / 2.0;
            month.1 += 1;
        }
    }
    sums.map(|(sum, count)| (count >= DAYS_FOR_MONTH).then(|| sum / f64::from(count)))
}

/// The first month, from 1, that cannot be at a latitude, with its mean and its season there.
fn impossible_month(
    means: &[Option<f64>; 12],
    latitude: f64,
) -> Option<(usize, f64, &'static str)> {
    means.iter().enumerate().find_map(|(month, mean)| {
        let mean = (*mean)?;
        // Half a year on, south of the equator.
        let season = match latitude < 0.0 {
            true => (month + 6) % 12,
            false => month,
        };
        match season {
            11 | 0 | 1 if mean > WARMEST_WINTER_C => Some((month + 1, mean, "winter")),
            5..=7 if mean < COLDEST_SUMMER_C => Some((month + 1, mean, "summer")),
            _ => None,
        }
    })
}
