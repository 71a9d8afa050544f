//! What a count says of the turf it was dug from.

use super::{Count, Density, Verdict};
use crate::domain::scouting::Found;
use crate::domain::scouting::verdict;

/// How much more would have to be dug.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// So many further samples tell, if the mean stays as it is.
    Samples(u32),
    /// No number of samples within reason tells: the mean is too close to what turf tolerates.
    TooClose,
    /// The mean lies within the range; how the turf stands decides, not more digging.
    Condition,
    /// Nothing is known of the samples.
    Unknown,
}

/// What a count says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountReading {
    /// Mean, larvae per m².
    pub mean_per_m2: f64,
    /// With its range; `None` if only a density was noted.
    pub density: Option<Density>,
    /// On which side it lies of what the turf tolerates.
    pub verdict: Verdict,
    /// What else to dig if it cannot tell.
    pub more: Option<More>,
}

impl CountReading {
    /// What was found, held against the larvae per m² that the turf tolerates: the numbers of
    /// [`tolerance`](fn@crate::domain::scouting::tolerance), one twice or the ends of a range.
    ///
    /// # Method
    /// The side by [`verdict`]. What else to dig is counted against the nearer end; a mean within a
    /// range is never told by digging.
    ///
    /// # Units
    /// Larvae per m².
    ///
    /// # Valid range
    /// As [`verdict`].
    ///
    /// # References
    /// As [`Count::density`] and [`verdict`].
    ///
    /// # Examples
    /// ```
    /// use hatchbell::domain::scouting::Found;
    /// use hatchbell::domain::scouting::{CountReading, SampleArea, Verdict};
    ///
    /// let area = SampleArea::from_ft2(1.0).unwrap();
    /// let clean = Found::of_samples(10, area, 2, None).unwrap();
    /// assert_eq!(CountReading::of(&clean, (86.0, 161.0)).verdict, Verdict::Below);
    /// ```
    pub fn of(found: &Found, tolerance: (f64, f64)) -> Self {
        let verdict = verdict(found, tolerance);
        let (density, more) = match found {
            Found::Samples(count) => (Some(count.density()), more_after(count, tolerance)),
            Found::Density(_) => (None, More::Unknown),
        };
        Self {
            mean_per_m2: found.mean_per_m2(),
            density,
            verdict,
            more: (verdict == Verdict::Near).then_some(more),
        }
    }
}

/// What else to dig after a count that cannot tell.
fn more_after(count: &Count, (low, high): (f64, f64)) -> More {
    let mean_per_m2 = count.mean_per_sample() / count.area().m2();
    let end = if mean_per_m2 < low {
        low
    } else if mean_per_m2 > high {
        high
    } else if low < high {
        return More::Condition;
    } else {
        return More::TooClose;
    };
    match count.more_samples_to_tell(end) {
        // The two sums differ in rounding: one more sample is then enough.
        Some(more) => More::Samples(more.max(1)),
        None => More::TooClose,
    }
}

#[cfg(test)]
mod tests {
    use super::super::SampleArea;
    use super::*;

    const RANGE: (f64, f64) = (86.0, 161.0);

    fn flaps(samples: u32, larvae: u32) -> Found {
        let area = SampleArea::from_ft2(1.0).unwrap();
        Found::of_samples(samples, area, larvae, None).unwrap()
    }

    #[test]
    fn few_larvae_in_many_samples_are_below_and_many_above() {
        assert_eq!(
            CountReading::of(&flaps(20, 20), RANGE).verdict,
            Verdict::Below
        );
        assert_eq!(
            CountReading::of(&flaps(20, 800), RANGE).verdict,
            Verdict::Above
        );
    }

    #[test]
    fn a_count_that_cannot_tell_says_how_much_more_to_dig() {
        // 4 per ft² are 43 per m², half the low end.
        let reading = CountReading::of(&flaps(3, 12), RANGE);
        let Some(More::Samples(more)) = reading.more else {
            panic!("{reading:?}");
        };
        let told = CountReading::of(&flaps(3 + more, 4 * (3 + more)), RANGE);
        assert_eq!(told.verdict, Verdict::Below, "{more} more");
    }

    #[test]
    fn within_the_range_the_condition_decides_and_not_more_digging() {
        // 12 per ft² are 129 per m².
        let reading = CountReading::of(&flaps(10, 120), RANGE);
        assert_eq!(reading.more, Some(More::Condition));
        let known = CountReading::of(&flaps(10, 120), (161.0, 161.0));
        assert!(matches!(known.more, Some(More::Samples(_))), "{known:?}");
    }

    #[test]
    fn a_mean_on_the_limit_cannot_be_told_by_digging() {
        let area = SampleArea::from_m2(0.1).unwrap();
        let found = Found::of_samples(10, area, 86, None).unwrap();
        let reading = CountReading::of(&found, (86.0, 86.0));
        assert_eq!(reading.more, Some(More::TooClose));
    }

    #[test]
    fn a_density_alone_has_no_range_and_is_told_apart_only_far_from_what_turf_tolerates() {
        for (per_m2, verdict, more) in [
            (42.0, Verdict::Below, None),
            (60.0, Verdict::Near, Some(More::Unknown)),
            (300.0, Verdict::Near, Some(More::Unknown)),
            (330.0, Verdict::Above, None),
        ] {
            let reading = CountReading::of(&Found::of_density(per_m2).unwrap(), RANGE);
            assert_eq!((reading.verdict, reading.more), (verdict, more), "{per_m2}");
            assert_eq!(reading.density, None);
        }
    }
}
