//! Vetting: what is looked at before a file's values count. Pure.
//!
//! A file is held against what is possible (`possible_values`), what is stored of the station and of
//! others (`stored_days`), and, its new days, against what they are expected to be like (`new_days`,
//! `expected_days`); what contradicts them is refused whole. All that a file is held against is in
//! `yardstick`. One that passes is held against the last good file
//! (`last_file`, with `header` for its columns): what is odd is told, and merged all the same. Single
//! values that `screening` doubts are held out of sums (`holding`). A file that no
//! longer grows is `frozen`. What of all this begins and is over is decided in
//! [`crate::domain::telling::feed_trouble`].

use super::Rejection;
use crate::domain::weather::extremes::Unit;
use crate::station_feed::dialect::{Binding, in_words};
use crate::station_feed::parsed::Parsed;
use chrono::NaiveDate;
use stored_days::Shared;

mod changes;
mod expected_days;
mod frozen;
mod header;
mod holding;
#[cfg(test)]
mod holding_tests;
mod last_file;
mod median;
mod moved_days;
mod new_days;
#[cfg(test)]
mod possible_value_tests;
mod possible_values;
pub mod screening;
mod stored_days;
#[cfg(test)]
mod tests;
mod time_of_year;
#[cfg(test)]
mod whole_file_tests;
mod yardstick;

pub use changes::FileChanges;
pub use frozen::frozen;
pub use holding::{HeldOut, by_reason, finding, held_words, hold_out, leave_out_refused};
pub use last_file::{FileComparison, compare};
pub use stored_days::unit_was_corrected;
pub use yardstick::{OtherStation, WantedDays, Yardstick, wanted_of_others};

/// Holds a parsed file of a station against what is possible, what is stored of it and of the other
/// stations, and what its days are expected to be like: one way for feeds, imports and neighbours.
///
/// # Errors
/// [`Rejection`] naming what does not fit and what to do.
pub fn vet(parsed: &Parsed, binding: &Binding, known: &Yardstick) -> Result<(), Rejection> {
    if unit_was_corrected(parsed, binding, known) {
        return vet_alone(parsed, binding);
    }
    let shared = Shared::of(&parsed.readings, &known.stored);
    let new = new_days::new_days(parsed, known);
    stored_days::refuse_other_unit(parsed, &shared, binding, known)?;
    vet_alone(parsed, binding)
        .map_err(|rejection| new_days::with_unit_that_fits(rejection, &new, binding, known))?;
    stored_days::refuse_other_days(parsed, &shared, binding, known)?;
    stored_days::refuse_other_station(parsed, &shared, known)?;
    new_days::refuse_unexpected(&new, binding, known)?;
    moved_days::refuse_moved(&new, known)
}

/// Holds a parsed file against what is possible alone: of a forecast, of a file of no station yet,
/// or where somebody has decided that it counts whatever is stored.
///
/// # Errors
/// [`Rejection`] naming what does not fit and what to do.
pub fn vet_alone(parsed: &Parsed, binding: &Binding) -> Result<(), Rejection> {
    possible_values::refuse_impossible(parsed, binding)
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
