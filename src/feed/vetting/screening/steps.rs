//! A value against the days beside it: spikes and dips, and the range of neighbouring days.

use super::doubts::{Doubts, ValueAt};
use super::seasonal::SeasonalSpread;
use super::series::DenseDays;
use crate::station_feed::memory::HoldReason;

/// A step up and one down (or down and up) of so much, °C, is a spike: 25 in Durre et al. 2010 (from
/// memory).
const SPIKE_C: f64 = 25.0;
/// The same in spreads of the station's own steps of the time of year: our own, since summers are
/// steadier than winters.
const SPIKE_SPREADS: f64 = 5.0;
/// … if it is at least so much, °C.
const LEAST_SPIKE_C: f64 = 10.0;
/// Days to either side whose steps count.
const WITHIN: usize = 15;
/// Fewest steps of which a spread is taken.
const FEWEST_STEPS: usize = 100;
/// A maximum so much, °C, above the warmest minimum of the three days around, or a minimum so much
/// below the coldest maximum, is in doubt (Durre et al. 2010, from memory).
const LAGGED_RANGE_C: f64 = 40.0;

/// The spreads of a station's steps from day to day, reckoned where they are asked for.
pub(super) struct Steps<'s> {
    series: &'s DenseDays,
    spreads: SeasonalSpread,
}

impl<'s> Steps<'s> {
    /// Of a record.
    pub fn of(series: &'s DenseDays) -> Self {
        Self {
            series,
            spreads: SeasonalSpread::new(WITHIN, FEWEST_STEPS),
        }
    }

    fn spread(&self, index: usize, slot: usize) -> Option<f64> {
        let series = self.series;
        let step = |at| Some(series.value(at, slot)? - series.near(at, -1, slot)?);
        let spread = self.spreads.at(series.place(index), slot, series, step)?;
        Some(spread.deviation)
    }

    /// Values far above or below both days beside them.
    ///
    /// # Method
    /// The smaller of the two steps, if both go the same way, is at least 25 °C, or five robust
    /// spreads of the station's own steps of the time of year and 10 °C. Values in doubt are passed
    /// over, so that a spike does not make its neighbours dips.
    ///
    /// # Units
    /// °C.
    ///
    /// # References
    /// Spike/dip check of Durre et al. 2010; the second bound is ours.
    pub fn spikes(&self, new: &[ValueAt], found: &mut Doubts) {
        let series = self.series;
        for &(index, slot) in new {
            let beside = |step: isize| {
                let at = index.checked_add_signed(step)?;
                series.value(at, slot).filter(|_| !found.has((at, slot)))
            };
            let (Some(value), Some(before), Some(after)) =
                (series.value(index, slot), beside(-1), beside(1))
            else {
                continue;
            };
            let (up, down) = (value - before, value - after);
            if up * down <= 0.0 {
                continue;
            }
            let own = self.spread(index, slot).map_or(SPIKE_C, |spread| {
                (SPIKE_SPREADS * spread).max(LEAST_SPIKE_C)
            });
            let least = own.min(SPIKE_C);
            if up.abs().min(down.abs()) >= least {
                let expected = (before.min(after) - least, before.max(after) + least);
                found.doubt((index, slot), HoldReason::Spike, Some(expected));
            }
        }
    }
}

/// Maxima and minima too far apart.
///
/// # Method
/// A maximum 40 °C or more above the warmest minimum of the day and the two beside it, or a minimum
/// as far below the coldest of their maxima. (A minimum above its maximum is refused where the file
/// is read.)
///
/// # Units
/// °C.
///
/// # References
/// Lagged range check of Durre et al. 2010 (from memory).
pub(super) fn lagged_ranges(series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    for &(index, slot) in new {
        let Some(value) = series.value(index, slot) else {
            continue;
        };
        let others = (-1..=1).filter_map(|step| series.near(index, step, 1 - slot));
        if slot == 0 {
            let warmest = others.fold(f64::NEG_INFINITY, f64::max);
            if value - warmest >= LAGGED_RANGE_C && warmest.is_finite() {
                let expected = (warmest, warmest + LAGGED_RANGE_C);
                found.doubt((index, slot), HoldReason::Range, Some(expected));
            }
        } else {
            let coldest = others.fold(f64::INFINITY, f64::min);
            if coldest - value >= LAGGED_RANGE_C && coldest.is_finite() {
                let expected = (coldest - LAGGED_RANGE_C, coldest);
                found.doubt((index, slot), HoldReason::Range, Some(expected));
            }
        }
    }
}
