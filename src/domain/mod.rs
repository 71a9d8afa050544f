//! The pure core: data and a date in, values or decisions out. No I/O, no clock, no async.
//!
//! From the small to the whole: [`temperature`] → [`degree_day`] → [`season`] and [`series`] →
//! [`species`] → [`milestone`] → [`alert`]; [`site`] says who looks after what. [`scouting`] judges
//! what was dug up against a species' action threshold, and [`station_rank`]
//! says which weather station suits a site.

pub mod alert;
pub mod amount;
pub mod biofix;
pub mod blend;
pub mod choice;
pub mod completeness;
pub mod coverage;
pub mod degree_day;
pub mod figure;
pub mod foretell;
pub mod gaps;
pub mod globe;
pub mod hindcast;
pub mod journal;
pub mod look_back;
pub mod milestone;
pub mod need;
pub mod observation_day;
pub mod outlook;
pub mod plan;
pub mod rain;
pub mod scouting;
pub mod season;
pub mod series;
pub mod site;
pub mod species;
pub mod station_rank;
pub mod temperature;
pub mod treatment;
pub mod watering;

/// The configuration name of a value in a `NAMED` list.
pub(crate) fn name_of<T: PartialEq>(named: &[(&'static str, T)], value: T) -> &'static str {
    named
        .iter()
        .find(|(_, candidate)| *candidate == value)
        .map(|(name, _)| *name)
        .expect("the list names every value")
}

/// The value a configuration name stands for in a `NAMED` list.
pub(crate) fn named<T: Copy>(named: &[(&'static str, T)], name: &str) -> Option<T> {
    named
        .iter()
        .find(|(candidate, _)| *candidate == name)
        .map(|(_, value)| *value)
}
