//! The season of a species: its stages and thresholds, where a site stands with it, the dates ahead,
//! what a trap catch moves, and how good past dates would have been.

pub mod biofix;
mod date_sample;
pub mod hindcast;
pub mod milestone;
pub mod outlook;
pub mod past_season;
pub mod remainder;
pub mod season;
pub mod season_course;
pub mod season_days;
pub mod season_state;
pub mod soil_course;
pub mod species;
pub mod trend;
