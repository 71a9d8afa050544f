//! Finding the best of many days and the ends of a window without looking at every day: what days
//! meet rises to the best one and falls after it.

use std::ops::RangeInclusive;

/// Days between those that are looked at first.
const STRIDE: usize = 16;

/// The first step of a climb from a guess, days.
const FIRST_STEP: usize = 4;

/// A guess at the day with the highest value: every [`STRIDE`] days first, then ever closer around
/// the best of those.
pub(super) fn guess_best(value: impl Fn(usize) -> f64, days: RangeInclusive<usize>) -> usize {
    let (earliest, latest) = days.clone().into_inner();
    let coarse = days.step_by(STRIDE).chain([latest]);
    let mut best = highest(&value, coarse).unwrap_or((earliest, 0.0));
    let mut step = STRIDE / 2;
    while step > 0 {
        best = climbed(&value, best, step, earliest..=latest);
        step /= 2;
    }
    best.0
}

/// The day with the highest value, climbed from a guess.
pub(super) fn best_day(
    value: impl Fn(usize) -> f64,
    guess: usize,
    days: RangeInclusive<usize>,
) -> usize {
    let mut best = (guess, value(guess));
    let mut step = FIRST_STEP;
    while step > 0 {
        let higher = climbed(&value, best, step, days.clone());
        if higher.0 == best.0 {
            step /= 2;
        }
        best = higher;
    }
    best.0
}

/// The highest of a day and those a step to both sides of it; of equal ones the last.
fn climbed(
    value: &impl Fn(usize) -> f64,
    from: (usize, f64),
    step: usize,
    days: RangeInclusive<usize>,
) -> (usize, f64) {
    let (earliest, latest) = days.into_inner();
    let before = from.0.saturating_sub(step).max(earliest);
    let after = (from.0 + step).min(latest);
    let beside = |day: usize| (day != from.0).then(|| (day, value(day)));
    let around = [beside(before), Some(from), beside(after)];
    let by_value = |a: &(usize, f64), b: &(usize, f64)| a.1.total_cmp(&b.1);
    around
        .into_iter()
        .flatten()
        .max_by(by_value)
        .unwrap_or(from)
}

fn highest(
    value: &impl Fn(usize) -> f64,
    days: impl Iterator<Item = usize>,
) -> Option<(usize, f64)> {
    days.map(|day| (day, value(day)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// The last day in a row that fulfils a condition, from a day that does towards `end`, looked for
/// from a guess on.
pub(super) fn end_of_run(
    holds: impl Fn(usize) -> bool,
    from: usize,
    end: usize,
    guess: usize,
) -> usize {
    // Days counted from `from` on towards the end.
    let length = from.abs_diff(end);
    let day = |distance: usize| {
        if end < from {
            from - distance
        } else {
            from + distance
        }
    };
    let holds = |distance: usize| distance == 0 || holds(day(distance));
    let guess = from.abs_diff(guess).min(length);
    let (mut good, mut bad, mut step) = (0, length + 1, 1);
    if holds(guess) {
        good = guess;
        while good < length {
            let next = (good + step).min(length);
            if !holds(next) {
                bad = next;
                break;
            }
            good = next;
            step *= 2;
        }
    } else {
        bad = guess;
        while bad > 0 {
            let next = bad.saturating_sub(step);
            if holds(next) {
                good = next;
                break;
            }
            bad = next;
            step *= 2;
        }
    }
    while bad - good > 1 {
        let middle = good.midpoint(bad);
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    day(good)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rises to a plateau and falls after it; the plateau leans a little.
    fn hill(day: usize, (top, width, lean): (usize, usize, f64)) -> f64 {
        let distance = day.abs_diff(top);
        let beyond = distance.saturating_sub(width) as f64;
        1.0 - 0.01 * beyond - lean * distance as f64
    }

    proptest! {
        #[test]
        fn the_best_day_is_found_from_whatever_guess(
            top in 0usize..300,
            width in 0usize..120,
            guess in 0usize..300,
        ) {
            let value = |day| hill(day, (top, width, 1e-6));
            prop_assert_eq!(best_day(value, guess, 0..=299), top);
            prop_assert_eq!(guess_best(value, 0..=299), top);
        }

        #[test]
        fn the_end_of_a_run_is_found_from_whatever_guess_and_on_both_sides(
            first in 0usize..=100,
            last in 100usize..300,
            guess in 0usize..300,
        ) {
            let holds = |day| (first..=last).contains(&day);
            prop_assert_eq!(end_of_run(holds, 100, 299, guess.max(100)), last);
            prop_assert_eq!(end_of_run(holds, 100, 0, guess.min(100)), first);
        }
    }
}
