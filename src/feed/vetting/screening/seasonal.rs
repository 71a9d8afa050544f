//! Spreads that change with the time of year.

use super::series::DenseDays;
use super::spread::{RobustSpread, biweight};
use crate::feed::vetting::time_of_year::YEAR;
use std::cell::OnceCell;

/// Places of the year that share a spread.
const STEP: usize = 15;
/// Parts of a year.
const PARTS: usize = YEAR.div_ceil(STEP);

/// The spread of something about a record's days in each part of the year, for either extreme,
/// reckoned where it is asked for.
pub(super) struct SeasonalSpread {
    parts: [Vec<OnceCell<Option<RobustSpread>>>; 2],
    /// Days to either side of a part's middle that it is of.
    within: usize,
    /// Fewest values of which it is taken.
    fewest: usize,
}

impl SeasonalSpread {
    /// Of the days `within` so many of each part's middle, from `fewest` values on.
    pub fn new(within: usize, fewest: usize) -> Self {
        Self {
            parts: [vec![OnceCell::new(); PARTS], vec![OnceCell::new(); PARTS]],
            within,
            fewest,
        }
    }

    /// The spread at a place of the year, if there are enough values; `value` is of a day of `days`
    /// by its index.
    pub fn at(
        &self,
        place: usize,
        slot: usize,
        days: &DenseDays,
        value: impl Fn(usize) -> Option<f64>,
    ) -> Option<RobustSpread> {
        let part = place / STEP;
        *self.parts[slot][part].get_or_init(|| {
            let mut values = Vec::new();
            let middle = part * STEP + STEP / 2;
            days.each_around(middle, self.within, |index| values.extend(value(index)));
            biweight(&mut values).filter(|spread| spread.count >= self.fewest)
        })
    }
}
