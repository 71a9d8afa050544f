//! Places: members and their sites, and which weather station suits one.

pub mod completeness;
pub mod globe;
pub mod site;
pub mod station_rank;
pub mod years;
