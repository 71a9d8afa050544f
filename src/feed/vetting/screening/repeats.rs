//! Values that repeat: a sensor that is stuck, a form filled with nought, days copied from elsewhere.

use super::doubts::{Doubts, ValueAt};
use super::series::DenseDays;
use crate::station_feed::memory::HoldReason;

/// An extreme that is the same so many days running is stuck. Durre et al. 2010 begin at 20 (their
/// public list of checks says 15 to 20). Of 722,000 days of 72 stations in whole °F, seven runs reached 7
/// and two of them, 13 and 21 days long, 8.
const STUCK_DAYS: usize = 8;
/// Both extremes together the same so many days running: of the same days four runs, of 5, 5, 5, 6
/// and 13 days.
const STUCK_PAIR_DAYS: usize = 6;
/// Days in a row that are no chance when they are found again: of the same days two pieces, of 13
/// and 29 days, and none by chance.
const WEEK: usize = 7;
/// Different days that a week must have, else it is a streak.
const FEWEST_DIFFERENT: usize = 3;
/// What is there so often is no copying error: a made-up record repeats every year.
const MOST_COPIES: usize = 2;
/// Where more than this share of all weeks is found again, nobody can say what is the copy, and the
/// record is made up or a matter of the whole file.
const MOST_COPIED: f64 = 0.5;
/// Equal days beyond this share of all common ones: the neighbour is the same station.
const SAME_STATION: f64 = 0.2;

/// 0 °C, and 0 °F in °C: what both extremes are where a form was filled with noughts.
const NOUGHTS_C: [f64; 2] = [0.0, -17.8];
/// Rounding of that.
const NOUGHT_NEAR_C: f64 = 0.06;

/// Days whose maximum and minimum are both nought, in °C or °F.
///
/// # References
/// The naught check of Durre et al. 2010; the list of checks at
/// `ncdc.noaa.gov/oa/climate/ghcn-daily/index.php?name=quality` gives 0 °C and -17.8 °C.
pub(super) fn noughts(series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    for place in new {
        let [max, min] = series.pair(place.0);
        let is_nought = |nought: &f64| {
            (max - nought).abs() < NOUGHT_NEAR_C && (min - nought).abs() < NOUGHT_NEAR_C
        };
        if NOUGHTS_C.iter().any(is_nought) {
            found.doubt(*place, HoldReason::Nought, None);
        }
    }
}

/// Runs of equal days. Unknown days are passed over by neither published check nor this one: a run
/// ends there.
///
/// # Method
/// A new value is in doubt where its extreme is the same for eight days running, or both extremes
/// are for six.
///
/// # Units
/// °C; equal to the last digit.
///
/// # References
/// Streak check of Durre et al. 2010, with shorter runs that were counted on real stations, because a
/// week of one value is already worth days.
pub(super) fn streaks(series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    let stuck: Vec<ValueAt> = new
        .iter()
        .copied()
        .filter(|(index, slot)| is_stuck(series, *index, *slot))
        .collect();
    if stuck.is_empty() {
        return;
    }
    let stands = |index: &usize| is_stuck(series, *index, 0) || is_stuck(series, *index, 1);
    let standing = (0..series.len()).filter(stands).count();
    if standing as f64 > MOST_STANDING * series.len() as f64 {
        return;
    }
    for place in stuck {
        found.doubt(place, HoldReason::Streak, None);
    }
}

fn is_stuck(series: &DenseDays, index: usize, slot: usize) -> bool {
    run(series, index, |a, b| a[slot] == b[slot]) >= STUCK_DAYS
        || run(series, index, |a, b| a == b) >= STUCK_PAIR_DAYS
}

/// A record that stands still on more than this share of its days is made up, or of a kind that the
/// check knows nothing of.
const MOST_STANDING: f64 = 0.03;
/// No run needs to be counted further.
const COUNTED: usize = STUCK_DAYS;

/// How many days in a row around one are the same.
fn run(series: &DenseDays, index: usize, same: impl Fn([f64; 2], [f64; 2]) -> bool) -> usize {
    let day = series.pair(index);
    let is_same = |at: &usize| same(series.pair(*at), day);
    if !is_same(&index) {
        return 0;
    }
    let before = (0..index).rev().take(COUNTED).take_while(is_same);
    let after = (index + 1..series.len()).take(COUNTED);
    1 + before.count() + after.take_while(is_same).count()
}

/// Weeks, and with them months and years, that are found again elsewhere in the record.
///
/// # Method
/// Seven days in a row with both extremes known, three different days among them, equal to seven
/// others: all new ones of both are in doubt, since nobody knows which is the copy. What is found
/// three times or more is no copying error.
///
/// # References
/// Duplicate checks of Durre et al. 2010, which look at whole months and years; a week is enough
/// where both extremes must agree (counted on 722,000 real days: no chance finding).
pub(super) fn duplicates(series: &DenseDays, new: &[ValueAt], found: &mut Doubts) {
    let key = |index: usize| series.pair(index).map(f64::to_bits);
    let mut ends: Vec<([u64; 2], usize)> = Vec::new();
    let mut last = None;
    for (index, _) in new {
        if last.replace(*index) == Some(*index) {
            continue;
        }
        // Windows that end up to six days later hold the new day as well.
        for end in *index..(*index + WEEK).min(series.len()) {
            if is_week(series, end) {
                ends.push((key(end), end));
            }
        }
    }
    ends.sort_unstable();
    ends.dedup();
    if ends.is_empty() {
        return;
    }
    let mut twins: Vec<(usize, usize)> = Vec::new();
    for other in WEEK - 1..series.len() {
        let wanted = key(other);
        let from = ends.partition_point(|(end, _)| *end < wanted);
        let equal = ends[from..].iter().take_while(|(end, _)| *end == wanted);
        for (_, end) in equal {
            let apart = end.abs_diff(other) >= WEEK;
            if apart && (0..WEEK).all(|back| series.pair(end - back) == series.pair(other - back)) {
                twins.push((*end, other));
            }
        }
    }
    if twins.is_empty() || copied(series) > MOST_COPIED {
        return;
    }
    twins.sort_unstable();
    let is_new = |place: &ValueAt| new.binary_search(place).is_ok();
    for same in twins.chunk_by(|a, b| a.0 == b.0) {
        if same.len() >= MOST_COPIES {
            continue;
        }
        for (end, _) in same {
            let places = (end + 1 - WEEK..=*end).flat_map(|index| [(index, 0), (index, 1)]);
            for place in places.filter(is_new) {
                found.doubt(place, HoldReason::Duplicate, None);
            }
        }
    }
}

/// Which share of a record's weeks is found elsewhere in it.
fn copied(series: &DenseDays) -> f64 {
    let mut weeks: Vec<[[u64; 2]; WEEK]> = (WEEK - 1..series.len())
        .filter(|end| is_week(series, *end))
        .map(|end| std::array::from_fn(|back| series.pair(end - back).map(f64::to_bits)))
        .collect();
    weeks.sort_unstable();
    let all = weeks.len();
    let same = weeks.chunk_by(|a, b| a == b).filter(|same| same.len() > 1);
    same.map(<[_]>::len).sum::<usize>() as f64 / all.max(1) as f64
}

/// Weeks that are a neighbour's, day by day.
///
/// # Method
/// As [`duplicates`], against the same dates of a neighbour. One that is equal on more than a fifth
/// of all common days is the same station under another name.
pub(super) fn a_neighbour_s(
    series: &DenseDays,
    neighbour: &DenseDays,
    new: &[ValueAt],
    found: &mut Doubts,
) {
    let is_equal = |index: usize| {
        let there = neighbour.index(series.day(index));
        there.is_some_and(|there| series.pair(index) == neighbour.pair(there))
    };
    let mut candidates = Vec::new();
    let mut last = None;
    for (index, _) in new {
        if last.replace(*index) != Some(*index) && is_equal(*index) {
            candidates.push(*index);
        }
    }
    let mut weeks = Vec::new();
    for index in candidates {
        for end in index..(index + WEEK).min(series.len()) {
            if is_week(series, end) && (0..WEEK).all(|back| is_equal(end - back)) {
                weeks.push(end);
            }
        }
    }
    if weeks.is_empty() || is_same_station(series, neighbour) {
        return;
    }
    let is_new = |place: &ValueAt| new.binary_search(place).is_ok();
    for end in weeks {
        let places = (end + 1 - WEEK..=end).flat_map(|index| [(index, 0), (index, 1)]);
        for place in places.filter(is_new) {
            found.doubt(place, HoldReason::Duplicate, None);
        }
    }
}

fn is_same_station(series: &DenseDays, neighbour: &DenseDays) -> bool {
    let (mut common, mut equal) = (0usize, 0usize);
    for index in 0..series.len() {
        let Some(there) = neighbour.index(series.day(index)) else {
            continue;
        };
        let (own, other) = (series.pair(index), neighbour.pair(there));
        if own.iter().chain(&other).all(|value| !value.is_nan()) {
            common += 1;
            equal += usize::from(own == other);
        }
    }
    equal as f64 > SAME_STATION * common as f64
}

/// Whether the seven days up to one are known and differ enough.
fn is_week(series: &DenseDays, end: usize) -> bool {
    let Some(start) = (end + 1).checked_sub(WEEK) else {
        return false;
    };
    let mut different: Vec<[f64; 2]> = Vec::with_capacity(WEEK);
    for index in start..=end {
        let pair = series.pair(index);
        if pair.iter().any(|value| value.is_nan()) {
            return false;
        }
        if !different.contains(&pair) {
            different.push(pair);
        }
    }
    different.len() >= FEWEST_DIFFERENT
}
