//! What a file of a station is held against, and which days of other stations it takes.

use super::moved_days::DAYS_BEFORE;
use super::stored_days::{Shared, changed_too_much};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::Readings;
use crate::station_feed::StationFeed;
use crate::station_feed::dialect::Binding;
use crate::station_feed::parsed::Parsed;
use chrono::{Days, NaiveDate};

/// Days needed to compare a file with anything.
pub(super) const DAYS_TO_COMPARE: usize = 10;
/// Days of a file, back from its newest one, that are held against other stations.
const DAYS_OF_OTHERS: u64 = 730;

/// Another station of the configuration and what is stored of it.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherStation {
    /// Its identifier.
    pub id: String,
    /// Whether it stands in for missing days of the station in question.
    pub is_neighbour: bool,
    /// Height above sea level, m.
    pub elevation_m: Option<f64>,
    /// Its stored days.
    pub readings: Readings,
}

/// What a file is held against.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Yardstick {
    /// The station's own stored days.
    pub stored: Readings,
    /// The unit they were read in, where it has been changed in the configuration since, and nothing
    /// else about the feed has.
    pub stored_unit: Option<Unit>,
    /// Days of other stations, as [`wanted_of_others`] asks for them.
    pub others: Vec<OtherStation>,
    /// The station's height above sea level, m.
    pub elevation_m: Option<f64>,
    /// The command that takes the file all the same.
    pub command: String,
}

impl Yardstick {
    /// Stored days of a station and nothing else.
    pub fn of(feed: &StationFeed, stored: Readings) -> Self {
        Self {
            stored,
            elevation_m: feed.station.elevation_m,
            command: format!(
                "hatchbell import --station {} --replace FILE",
                feed.station.id
            ),
            ..Self::default()
        }
    }
}

/// Days of other stations that a file is to be held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WantedDays {
    /// The first.
    pub first: NaiveDate,
    /// The last.
    pub last: NaiveDate,
    /// Whether neighbours are enough.
    pub neighbours_only: bool,
}

/// Which days of other stations a file is to be held against: none where its days are stored already
/// and say the same, those of neighbours where it brings new ones, those of all stations where it may
/// be another's.
pub fn wanted_of_others(
    parsed: &Parsed,
    binding: &Binding,
    stored: &Readings,
) -> Option<WantedDays> {
    let readings = &parsed.readings;
    let last = *readings.last_key_value()?.0;
    let earliest = last - Days::new(DAYS_OF_OTHERS);
    // Days before show how the station lies to others.
    let first = (*readings.first_key_value()?.0).max(earliest) - Days::new(DAYS_BEFORE);
    let shared = Shared::of(readings, stored);
    let is_named = binding.code.is_some() && binding.dialect.columns.station.exists();
    let neighbours_only = if changed_too_much(&shared) {
        false
    } else if readings.len() - shared.days() < DAYS_TO_COMPARE {
        return None;
    } else {
        shared.days() >= DAYS_TO_COMPARE || is_named
    };
    Some(WantedDays {
        first,
        last,
        neighbours_only,
    })
}
