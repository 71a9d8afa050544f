//! A value against the same days of neighbouring stations.

use super::doubts::{Doubts, ValueAt};
use super::seasonal::SeasonalSpread;
use super::series::DenseDays;
use super::spread::RobustSpread;
use crate::station_feed::memory::HoldReason;

/// A value at least so far, °C, from what every neighbour makes of it is in doubt, …
const APART_C: f64 = 12.0;
/// … if that is as many spreads of the usual difference. Durre et al. 2010 (from memory) have 8 °C
/// and four deviations of a regression on three to seven stations; with three neighbours of any kind
/// these held one clean day in 3,200, and 10 °C one in 15,000.
const APART_SPREADS: f64 = 5.0;
/// A neighbour this near, °C, speaks for a value.
const AGREES_C: f64 = 5.0;
/// Days to either side of a time of year that a usual difference is of.
const WITHIN: usize = 45;
/// Fewest common days for a usual difference.
const FEWEST_COMMON: usize = 60;
/// No usual difference is taken to vary less, standard deviation, °C.
const LEAST_DEVIATION_C: f64 = 0.5;

/// A neighbour and how it usually differs.
pub(super) struct Beside<'s> {
    own: &'s DenseDays,
    other: &'s DenseDays,
    usual: SeasonalSpread,
}

impl<'s> Beside<'s> {
    /// A station and one of its neighbours.
    pub fn of(own: &'s DenseDays, other: &'s DenseDays) -> Self {
        Self {
            own,
            other,
            usual: SeasonalSpread::new(WITHIN, FEWEST_COMMON),
        }
    }

    /// Where the neighbour has a day.
    fn there(&self, index: usize) -> Option<usize> {
        self.other.index(self.own.day(index))
    }

    /// The usual difference, own minus neighbour's, of a time of year.
    fn usual(&self, index: usize, slot: usize) -> Option<RobustSpread> {
        let difference = |there| {
            let here = self.own.index(self.other.day(there))?;
            Some(self.own.value(here, slot)? - self.other.value(there, slot)?)
        };
        let place = self.own.place(index);
        let spread = self.usual.at(place, slot, self.other, difference)?;
        Some(RobustSpread {
            deviation: spread.deviation.max(LEAST_DEVIATION_C),
            ..spread
        })
    }

    /// How far a value is from the nearest of the neighbour's values of the day and the two beside
    /// it (observers read at different hours), with the usual difference, if the neighbour knows the
    /// day.
    fn apart(&self, index: usize, slot: usize) -> Option<(f64, RobustSpread)> {
        let value = self.own.value(index, slot)?;
        let usual = self.usual(index, slot)?;
        let there = self.there(index)?;
        self.other.value(there, slot)?;
        let apart = (-1..=1)
            .filter_map(|step| self.other.near(there, step, slot))
            .map(|there| value - there - usual.mean)
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        Some((apart, usual))
    }

    /// Whether the neighbour speaks for a value: by its usual difference, or as it stands where
    /// none is known.
    fn agrees(&self, index: usize, slot: usize) -> bool {
        let Some(value) = self.own.value(index, slot) else {
            return false;
        };
        let usual = self.usual(index, slot).map_or(0.0, |usual| usual.mean);
        let same = self.there(index);
        let same = same.and_then(|there| self.other.value(there, slot));
        same.is_some_and(|there| (value - there - usual).abs() <= AGREES_C)
    }
}

/// Whether any neighbour speaks for a value.
pub(super) fn speak_for(beside: &[Beside<'_>], (index, slot): ValueAt) -> bool {
    beside.iter().any(|beside| beside.agrees(index, slot))
}

/// Values that no neighbour is near.
///
/// # Method
/// Each neighbour that has the day estimates the value by its own, the nearest of the three days
/// around, and the usual difference of the time of year (biweight mean). Where all estimates lie on
/// one side, at least 12 °C and five spreads of that difference away, the value is in doubt.
///
/// # Units
/// °C.
///
/// # Valid range
/// 60 common days within 45 days of the date in all years.
///
/// # References
/// Spatial regression and corroboration of Durre et al. 2010 (thresholds from memory), with mean
/// differences in the place of regressions, as missing days are estimated here.
pub(super) fn apart(
    beside: &[Beside<'_>],
    series: &DenseDays,
    new: &[ValueAt],
    found: &mut Doubts,
) {
    for &(index, slot) in new {
        let estimates: Vec<(f64, RobustSpread)> = beside
            .iter()
            .filter_map(|beside| beside.apart(index, slot))
            .collect();
        let Some((first, _)) = estimates.first() else {
            continue;
        };
        let all_far = estimates.iter().all(|(apart, usual)| {
            apart * first.signum() >= APART_C.max(APART_SPREADS * usual.deviation)
        });
        if all_far && let Some(value) = series.value(index, slot) {
            let made: Vec<f64> = estimates.iter().map(|(apart, _)| value - apart).collect();
            let least = made.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = made.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let expected = Some((least - APART_C, greatest + APART_C));
            found.doubt((index, slot), HoldReason::Neighbours, expected);
        }
    }
}
