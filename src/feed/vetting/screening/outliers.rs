//! Values, weeks and months far outside the station's own climate.

use super::climate::Climate;
use super::doubts::{Doubts, ValueAt};
use super::series::DenseDays;
use crate::station_feed::memory::HoldReason;
use chrono::Datelike;

/// How far, °C, beyond all other values of its time of year a value is in doubt, by how many of
/// these there are at least; with fewer nothing is.
///
/// Durre et al. 2010 ask for 10 °C within a calendar month. 31 days around the date are narrower, so
/// less is asked for; 300 values are ten years with ten days of each missing. Two years, then one: at
/// 73 stations of Wisconsin, Illinois and Indiana 140 of 1.34 million values were farther from the two
/// years before them, and 203 of 1.41 million from the one year, bad values among them.
const MARGINS_C: [(usize, f64); 3] = [(FULL_RECORD, 5.0), (50, 12.0), (25, 15.0)];
/// Values of the time of year from which a record is long enough to be sure.
const FULL_RECORD: usize = 300;
/// Spreads from the mean from which a value is in doubt: six in Durre et al. 2010.
const OUTLIER_SPREADS: f64 = 6.0;
/// Weeks and months: days, how many of them must be known, and the mean in spreads from which they
/// are in doubt. Our choice, from what clean years of real stations reach.
const LEVELS: [(usize, usize, f64); 2] = [(7, 6, 3.5), (28, 22, 3.0)];

/// Days of a month in doubt from which the whole month is, and their share of those known.
const FEWEST_IN_DOUBT: usize = 8;
const SHARE_IN_DOUBT: f64 = 0.25;

/// Values beyond all others of their time of year.
///
/// # Method
/// The least and greatest of all other values within 15 days of the date in all years, and a margin
/// that is wider where the record is short.
///
/// # Units
/// °C.
///
/// # References
/// The gap check of Durre et al. 2010, with a window instead of the calendar month.
///
/// # Examples
/// 33 °C on a day whose time of year has had -5 to 27 °C in thirty years is in doubt.
pub(super) fn gaps(climate: &Climate<'_>, series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    for &(index, slot) in new {
        let Some(value) = series.value(index, slot) else {
            continue;
        };
        let Some(known) = climate.extremes_without(index, slot) else {
            continue;
        };
        let Some((_, margin)) = MARGINS_C.iter().find(|(least, _)| known.count >= *least) else {
            continue;
        };
        if value >= known.least - margin && value <= known.greatest + margin {
            continue;
        }
        let expected = (known.least, known.greatest);
        if known.count >= FULL_RECORD {
            found.doubt((index, slot), HoldReason::Gap, Some(expected));
        } else {
            found.doubt_thinly((index, slot), HoldReason::Gap, expected);
        }
    }
}

/// Values many spreads from the mean of their time of year.
///
/// # Method
/// |x − mean| ≥ 6 standard deviations, both biweight, of the 15 days around the date in all years.
///
/// # Units
/// °C.
///
/// # Valid range
/// From 100 values on.
///
/// # References
/// Climatological outlier check of Durre et al. 2010; six deviations and 15 days also stand in the
/// public list of checks of GHCN-Daily.
pub(super) fn outliers(climate: &Climate<'_>, new: &[ValueAt], found: &mut Doubts) {
    for &(index, slot) in new {
        if climate
            .score(index, slot)
            .is_some_and(|score| score.abs() >= OUTLIER_SPREADS)
        {
            let expected = within(climate, index, slot, OUTLIER_SPREADS);
            found.doubt((index, slot), HoldReason::Outlier, expected);
        }
    }
}

/// Weeks and months of which every day is possible and their mean is not.
///
/// # Method
/// The mean of the scores of 7 or 28 days; where it is far out, the new days of them that lie at least half as
/// far to the same side are in doubt.
///
/// # Units
/// Spreads of the time of year.
///
/// # References
/// Our own: what is left of a month in another unit when its wildest days are out.
pub(super) fn levels(climate: &Climate<'_>, new: &[ValueAt], found: &mut Doubts) {
    for &(index, slot) in new {
        for (days, fewest, most) in LEVELS {
            let from = (index + 1).saturating_sub(days);
            let scores: Vec<(usize, f64)> = (from..=index)
                .filter_map(|at| Some((at, climate.score(at, slot)?)))
                .collect();
            if scores.len() < fewest {
                continue;
            }
            let mean = scores.iter().map(|(_, score)| score).sum::<f64>() / scores.len() as f64;
            if mean.abs() < most {
                continue;
            }
            for (at, score) in scores {
                let as_far = score * mean.signum() >= most / 2.0;
                if as_far && new.binary_search(&(at, slot)).is_ok() {
                    let expected = within(climate, at, slot, most);
                    found.doubt((at, slot), HoldReason::Level, expected);
                }
            }
        }
    }
}

/// Months of which so much is in doubt that all of it is.
///
/// # Method
/// Of the days of a calendar month at least eight, and a quarter of those known, are in doubt: so are
/// all its new values.
///
/// # References
/// Our own: a month in another unit has days that are possible, and they are as wrong.
pub(super) fn months(series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    let month_of = |index: usize| {
        let day = series.day(index);
        (day.year(), day.month())
    };
    let new_months = new.chunk_by(|a, b| a.0 == b.0 || month_of(a.0) == month_of(b.0));
    for month in new_months {
        let is_known = |index: &usize| series.pair(*index).iter().any(|value| !value.is_nan());
        let (first, last) = (month[0].0, month[month.len() - 1].0);
        let of = month_of(first);
        let before = (0..first).rev().take_while(|index| month_of(*index) == of);
        let after = (last + 1..series.len()).take_while(|index| month_of(*index) == of);
        let known = before.chain(first..=last).chain(after).filter(is_known);
        let known = known.count();
        let in_doubt = (first..=last)
            .filter(|index| found.has((*index, 0)) || found.has((*index, 1)))
            .count();
        if in_doubt < FEWEST_IN_DOUBT || (in_doubt as f64) < SHARE_IN_DOUBT * known as f64 {
            continue;
        }
        for place in month {
            found.doubt(*place, HoldReason::Level, None);
        }
    }
}

/// What lies within so many spreads.
fn within(climate: &Climate<'_>, index: usize, slot: usize, spreads: f64) -> Option<(f64, f64)> {
    let spread = climate.spread(index, slot)?;
    let far = spreads * spread.deviation;
    Some((spread.mean - far, spread.mean + far))
}
