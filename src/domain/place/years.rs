//! The span of years a station has data for.

/// The years from the first to the last one with a value; what is missing between is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Years {
    /// The first year with a value.
    pub first: i32,
    /// The last one.
    pub last: i32,
}

impl Years {
    /// The years both span, if there are any.
    pub fn both(self, other: Self) -> Option<Self> {
        let years = Self {
            first: self.first.max(other.first),
            last: self.last.min(other.last),
        };
        (years.first <= years.last).then_some(years)
    }

    /// How many there are, both ends included.
    pub fn count(self) -> u32 {
        self.last.abs_diff(self.first) + 1
    }
}
