//! Holding a parsed file against the days that are stored.

use super::another_unit;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::Readings;
use crate::feed::Rejection;
use crate::station_feed::dialect::{Binding, in_words};
use crate::station_feed::parsed::Parsed;

/// Days in common needed to compare with what is stored.
const DAYS_FOR_OVERLAP: usize = 10;
/// Median difference to the stored maxima, or minima where a file has only them, °C, beyond which the file is of another unit or place.
const MOST_MEDIAN_STEP_C: f64 = 4.0;
/// Common days needed to recognise a unit that fits what is stored.
const DAYS_FOR_UNIT: usize = 3;
/// Median difference, °C, up to which two files of one station are in the same unit; whole degrees
/// Fahrenheit are within 0.3 °C of what they were rounded from.
const SAME_UNIT_C: f64 = 0.6;
/// Median difference, °C, from which a file is in another unit or of another place.
const OTHER_UNIT_C: f64 = 4.0;

/// Refuses a file that is far from what is stored.
///
/// # Errors
/// [`Rejection`] with the difference.
pub(super) fn refuse_step(
    parsed: &Parsed,
    stored: &Readings,
    binding: &Binding,
) -> Result<(), Rejection> {
    let mut steps: Vec<f64> = parsed
        .readings
        .iter()
        .filter_map(|(day, new)| {
            let known = stored.get(day)?;
            let both = new.max.zip(known.max).or(new.min.zip(known.min));
            both.map(|(new, known)| (new - known).abs())
        })
        .collect();
    if steps.len() < DAYS_FOR_OVERLAP {
        return Ok(());
    }
    steps.sort_by(f64::total_cmp);
    let median = steps[steps.len() / 2];
    if median <= MOST_MEDIAN_STEP_C {
        return Ok(());
    }
    Err(Rejection::whole(
        format!(
            "on the {} days that are stored already the maxima (or minima) differ by {median:.1} °C (median)",
            steps.len()
        ),
        format!(
            "the feed has changed its unit or its station: {}, or give a new station its own id; if it is the stored days that are wrong, import the right ones with --replace",
            another_unit(binding)
        ),
    ))
}

/// Refuses a file that agrees with what is stored once it is read in another unit than the bound
/// one: the service has changed its unit. Steps that no unit explains are left to [`refuse_step`].
///
/// # Errors
/// [`Rejection`] naming the unit that fits.
pub(super) fn refuse_unit_step(
    parsed: &Parsed,
    stored: &Readings,
    binding: &Binding,
) -> Result<(), Rejection> {
    let common: Vec<(f64, f64)> = parsed
        .readings
        .iter()
        .filter_map(|(day, new)| Some((new, stored.get(day)?)))
        .flat_map(|(new, known)| [new.max.zip(known.max), new.min.zip(known.min)])
        .flatten()
        .collect();
    if common.len() < 2 * DAYS_FOR_UNIT
        || median_difference(&common, |celsius| celsius) <= OTHER_UNIT_C
    {
        return Ok(());
    }
    let fits = Unit::NAMED
        .iter()
        .map(|(_, unit)| *unit)
        .filter(|unit| *unit != binding.unit)
        .find(|unit| {
            let reread = |celsius| unit.to_celsius(as_published(binding.unit, celsius));
            median_difference(&common, reread) <= SAME_UNIT_C
        });
    let Some(unit) = fits else {
        return Ok(());
    };
    Err(Rejection::whole(
        format!(
            "the whole file has stepped: read as {unit} it agrees with what is stored, read as {} it does not",
            binding.unit
        ),
        if binding.dialect.units.contains(&unit) {
            format!(
                "the service has changed its unit: look at the file, then set unit = \"{unit}\" for this station"
            )
        } else {
            format!(
                "the service has changed its unit: look at the file; if it stays so, a dialect of your own with units = [\"{unit}\"] reads it, because {} files come in {} only",
                binding.dialect.name,
                in_words(&binding.dialect.units)
            )
        },
    ))
}

/// What a feed wrote for a value.
pub(super) fn as_published(unit: Unit, celsius: f64) -> f64 {
    match unit {
        Unit::Celsius => celsius,
        Unit::Fahrenheit => celsius * 1.8 + 32.0,
        Unit::TenthsCelsius => celsius * 10.0,
    }
}

fn median_difference(pairs: &[(f64, f64)], reread: impl Fn(f64) -> f64) -> f64 {
    let mut differences: Vec<f64> = pairs
        .iter()
        .map(|(new, known)| (reread(*new) - known).abs())
        .collect();
    differences.sort_by(f64::total_cmp);
    differences[differences.len() / 2]
}
