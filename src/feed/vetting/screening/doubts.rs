//! What the checks have found so far.

use crate::station_feed::memory::HoldReason;
use std::collections::BTreeMap;

/// A value by its place in the record: the day's, and which extreme.
pub(super) type ValueAt = (usize, usize);

/// Why a value stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Doubt {
    pub reason: HoldReason,
    /// What would have been expected, °C from and to.
    pub expected: Option<(f64, f64)>,
    /// Whether the record is too short for the check to be sure.
    pub thin: bool,
}

/// Doubts by the values they are of.
#[derive(Debug, Default)]
pub(super) struct Doubts(BTreeMap<ValueAt, Doubt>);

impl Doubts {
    /// Notes a doubt; the first one of a value stays.
    pub fn doubt(&mut self, place: ValueAt, reason: HoldReason, expected: Option<(f64, f64)>) {
        self.0.entry(place).or_insert(Doubt {
            reason,
            expected,
            thin: false,
        });
    }

    /// Notes a doubt from a short record.
    pub fn doubt_thinly(&mut self, place: ValueAt, reason: HoldReason, expected: (f64, f64)) {
        self.0.entry(place).or_insert(Doubt {
            reason,
            expected: Some(expected),
            thin: true,
        });
    }

    /// Whether a value is in doubt.
    pub fn has(&self, place: ValueAt) -> bool {
        self.0.contains_key(&place)
    }

    /// Lets go of the doubts that `keep` does not keep.
    pub fn retain(&mut self, mut keep: impl FnMut(ValueAt, &Doubt) -> bool) {
        self.0.retain(|place, doubt| keep(*place, doubt));
    }

    /// All of them in order of day.
    pub fn iter(&self) -> impl Iterator<Item = (ValueAt, Doubt)> + '_ {
        self.0.iter().map(|(place, doubt)| (*place, *doubt))
    }
}
