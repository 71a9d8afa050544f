//! Vetting: what is looked at before a file's values count. Pure.
//!
//! A file is held against what is possible (`possible_values`) and what is stored (`stored_days`);
//! what contradicts them is refused whole. One that passes is held against the last good file
//! (`last_file`, with `header` for its columns): what is odd is told, and merged all the same. Single
//! values that `screening` doubts are held out of sums (`holding`). A file that no
//! longer grows is `frozen`. What of all this begins and is over is decided in
//! [`crate::domain::telling::feed_trouble`].

use super::Rejection;
use super::parse::parse;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::Readings;
use crate::station_feed::dialect::{Binding, in_words};
use crate::station_feed::parsed::Parsed;
use chrono::NaiveDate;

mod frozen;
mod header;
mod holding;
#[cfg(test)]
mod holding_tests;
mod last_file;
#[cfg(test)]
mod possible_value_tests;
mod possible_values;
pub mod screening;
mod stored_days;
#[cfg(test)]
mod tests;

pub use frozen::frozen;
pub use holding::{HeldOut, by_reason, finding, held_words, hold_out, leave_out_refused};
pub use last_file::{FileComparison, compare};

/// Parses a file of a station's feed and vets it, against a switch of the unit as well.
///
/// # Errors
/// [`Rejection`] naming what does not fit and what to do.
pub fn parse_and_vet(
    bytes: &[u8],
    binding: &Binding,
    stored: &Readings,
    today: NaiveDate,
) -> Result<Parsed, Rejection> {
    let parsed = parse(bytes, binding, today)?;
    stored_days::refuse_unit_step(&parsed, stored, binding)?;
    vet(&parsed, binding, stored)?;
    Ok(parsed)
}

/// Holds a parsed file against what is possible and what is stored.
///
/// # Errors
/// [`Rejection`] naming what does not fit and what to do.
pub fn vet(parsed: &Parsed, binding: &Binding, stored: &Readings) -> Result<(), Rejection> {
    possible_values::refuse_impossible(parsed, binding)?;
    stored_days::refuse_step(parsed, stored, binding)
}

fn another_unit(binding: &Binding) -> String {
    let units = &binding.dialect.units;
    let others: Vec<Unit> = units
        .iter()
        .copied()
        .filter(|unit| *unit != binding.unit)
        .collect();
    if others.is_empty() {
        return format!(
            "look at the file: {} files come in {} only, so if this is another unit, it needs a dialect of your own",
            binding.dialect.name,
            in_words(units)
        );
    }
    format!(
        "check the station's unit (it is bound to {}; others are {})",
        binding.unit,
        in_words(&others)
    )
}

fn full_date(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}
