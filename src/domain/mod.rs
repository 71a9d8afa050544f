//! The pure core: data and a date in, values or decisions out. No I/O, no clock, no async.
//!
//! From the small to the whole: [`weather`] → [`phenology`] → [`scouting`], [`journal`] and
//! [`treatment`] → [`telling`] and [`look_back`]; [`place`] says who looks after what and where.

pub mod journal;
pub mod look_back;
pub mod notation;
pub mod phenology;
pub mod place;
pub mod scouting;
pub mod sourced_value;
pub mod telling;
pub mod treatment;
pub mod weather;

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
