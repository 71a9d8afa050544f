//! What a station's feed is and says: the values that configuration, feeds and store share. They know
//! the domain alone.
//!
//! [`StationFeed`] is what is configured: where the file is ([`origin`]) and how it is laid out
//! ([`dialect`]); [`fingerprint`] tells whether that is still as it was. [`parsed`] is what a file said,
//! with what was refused of it row by row ([`refusal`]). [`version`] and [`memory`] are what is
//! remembered of the last file; [`station_year`] is how the values of every station are kept.

use crate::domain::place::site::Station;
use dialect::Binding;
use origin::Origin;
use std::path::PathBuf;

pub mod dialect;
pub mod fingerprint;
pub mod memory;
pub mod origin;
pub mod parsed;
pub mod quote;
pub mod refusal;
pub mod station_year;
pub mod version;

/// A station with its feed.
#[derive(Debug, Clone)]
pub struct StationFeed {
    /// The station.
    pub station: Station,
    /// Where its file is.
    pub origin: Origin,
    /// How to read it.
    pub binding: Binding,
    /// A model's forecast for the days the station has not measured yet.
    pub forecast: Option<ForecastFeed>,
    /// The file of daily normals that stands for its past while it has none.
    pub normals: Option<PathBuf>,
}

/// A forecast for a station's place: a model's numbers.
#[derive(Debug, Clone)]
pub struct ForecastFeed {
    /// Where its file is.
    pub origin: Origin,
    /// How to read it.
    pub binding: Binding,
}
