//! What a station's own record says of a time of year.

use super::series::DenseDays;
use super::spread::{RobustSpread, biweight};
use crate::feed::vetting::time_of_year::YEAR;
use std::cell::OnceCell;

/// Days to either side of a date whose values are its climate; Durre et al. 2010 take 15 days in
/// all as well.
const WITHIN: usize = 7;
/// Places of the year from one reckoned mean to the next; between them lies a straight line.
const STEP: usize = 4;
/// Reckoned places of a year.
const KNOTS: usize = YEAR.div_ceil(STEP);
/// Fewest values that make a climate (Durre et al. 2010, from memory).
const FEWEST_VALUES: usize = 100;
/// No spread is taken for smaller, °C: records in whole degrees, and made-up ones, would have every
/// value stand out.
const LEAST_SPREAD_C: f64 = 1.5;

/// Days to either side of a date whose extremes it is held against.
const EXTREMES_WITHIN: usize = 15;

/// Least and greatest values of the time of year, °C, without the one in question, and how many
/// there are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct KnownRange {
    pub least: f64,
    pub greatest: f64,
    pub count: usize,
}

/// The two least and two greatest values of a place in the year.
#[derive(Debug, Clone, Copy)]
struct Ends {
    least: [f64; 2],
    greatest: [f64; 2],
    count: usize,
}

impl Ends {
    const NONE: Self = Self {
        least: [f64::INFINITY; 2],
        greatest: [f64::NEG_INFINITY; 2],
        count: 0,
    };

    fn add(&mut self, value: f64) {
        let (least, greatest) = (value.min(self.least[1]), value.max(self.greatest[1]));
        self.least = [least.min(self.least[0]), least.max(self.least[0])];
        self.greatest = [
            greatest.max(self.greatest[0]),
            greatest.min(self.greatest[0]),
        ];
        self.count += 1;
    }
}

/// A station's climate, reckoned where it is asked for.
pub(super) struct Climate<'s> {
    series: &'s DenseDays,
    knots: [Vec<OnceCell<Option<RobustSpread>>>; 2],
    ends: [Vec<OnceCell<Ends>>; 2],
}

impl<'s> Climate<'s> {
    /// Of a record.
    pub fn of(series: &'s DenseDays) -> Self {
        Self {
            series,
            knots: [vec![OnceCell::new(); KNOTS], vec![OnceCell::new(); KNOTS]],
            ends: [vec![OnceCell::new(); YEAR], vec![OnceCell::new(); YEAR]],
        }
    }

    fn knot(&self, knot: usize, slot: usize) -> Option<RobustSpread> {
        let of = || {
            let mut values = self.series.around(knot * STEP, WITHIN, slot);
            biweight(&mut values).filter(|spread| spread.count >= FEWEST_VALUES)
        };
        *self.knots[slot][knot].get_or_init(of)
    }

    /// Mean and spread of an extreme at a day's time of year, if there are enough values.
    pub fn spread(&self, index: usize, slot: usize) -> Option<RobustSpread> {
        let place = self.series.place(index);
        let knot = place / STEP;
        let before = self.knot(knot, slot)?;
        let after = self.knot((knot + 1) % KNOTS, slot)?;
        let share = (place % STEP) as f64 / STEP as f64;
        let between = |a: f64, b: f64| a + (b - a) * share;
        Some(RobustSpread {
            mean: between(before.mean, after.mean),
            deviation: between(before.deviation, after.deviation).max(LEAST_SPREAD_C),
            count: before.count.min(after.count),
        })
    }

    /// How many spreads a value lies from the mean of its time of year.
    pub fn score(&self, index: usize, slot: usize) -> Option<f64> {
        let value = self.series.value(index, slot)?;
        let spread = self.spread(index, slot)?;
        Some((value - spread.mean) / spread.deviation)
    }

    /// The extremes of a day's time of year in all other values.
    pub fn extremes_without(&self, index: usize, slot: usize) -> Option<KnownRange> {
        let value = self.series.value(index, slot)?;
        let ends = self.ends[slot][self.series.place(index)].get_or_init(|| {
            let mut ends = Ends::NONE;
            let place = self.series.place(index);
            self.series.each_around(place, EXTREMES_WITHIN, |at| {
                if let Some(value) = self.series.value(at, slot) {
                    ends.add(value);
                }
            });
            ends
        });
        let beside = |ends: [f64; 2]| if ends[0] == value { ends[1] } else { ends[0] };
        Some(KnownRange {
            least: beside(ends.least),
            greatest: beside(ends.greatest),
            count: ends.count.saturating_sub(1),
        })
    }
}
