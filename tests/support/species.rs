//! Built-in species, and readings that make sums easy to foresee.

use chrono::{Datelike, Days, NaiveDate};
use hatchbell::config::species_file;
use hatchbell::domain::phenology::species::Species;
use hatchbell::domain::weather::reading::{Reading, Readings};

/// A built-in species.
pub fn species(id: &str) -> Species {
    let (file, text) = species_file::BUILT_IN
        .iter()
        .find(|(file, _)| file.ends_with(&format!("/{id}.toml")))
        .expect("a built-in species");
    species_file::read(file, text).expect("it loads")
}

pub fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Days that each add `gain` °C·d over base 10 by the simple average, from `from` through `to`.
pub fn steady(from: &str, to: &str, gain: f64) -> Readings {
    let (from, to) = (date(from), date(to));
    (0..=(to - from).num_days())
        .map(|index| {
            // The mean stays; days are not the very same for weeks, as of a stuck sensor.
            let day = from + Days::new(index as u64);
            let half_range = if day.day().is_multiple_of(2) {
                5.0
            } else {
                5.5
            };
            let reading = Reading {
                min: Some(10.0 + gain - half_range),
                max: Some(10.0 + gain + half_range),
            };
            (day, reading)
        })
        .collect()
}
