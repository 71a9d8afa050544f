//! What a count says of the turf it was dug from.

use super::{ActionThreshold, Count, Density, TurfCondition, Verdict};
use crate::domain::journal::Found;

/// How many larvae the turf of a site bears, larvae per m²: one figure where its condition is
/// known, otherwise the species' whole range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Low end.
    pub low_per_m2: f64,
    /// High end; the same as the low end where the condition is known.
    pub high_per_m2: f64,
}

/// How much more would have to be dug.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// So many further samples tell, if the mean stays as it is.
    Samples(u32),
    /// No number of samples within reason tells: the mean is too close to what turf bears.
    TooClose,
    /// The mean lies within the range; how the turf stands decides, not more digging.
    Condition,
    /// Nothing is known of the samples.
    Unknown,
}

/// What a count says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Mean, larvae per m².
    pub mean_per_m2: f64,
    /// With its range; `None` if only a density was noted.
    pub density: Option<Density>,
    /// What it is held against.
    pub limits: Limits,
    /// On which side it lies; by the mean alone if only a density was noted.
    pub verdict: Verdict,
    /// What else to dig if it cannot tell.
    pub more: Option<More>,
}

impl Limits {
    /// Those of a species on turf of a condition; `None` is not known.
    pub fn of(threshold: &ActionThreshold, condition: Option<TurfCondition>) -> Self {
        match condition {
            Some(condition) => {
                let limit = condition.limit_per_m2(threshold);
                Self {
                    low_per_m2: limit,
                    high_per_m2: limit,
                }
            }
            None => Self {
                low_per_m2: threshold.low_per_m2,
                high_per_m2: threshold.high_per_m2,
            },
        }
    }

    /// On which side a density lies: below the low end, above the high end, or neither.
    fn verdict(self, density: &Density) -> Verdict {
        if density.verdict(self.low_per_m2) == Verdict::Below {
            Verdict::Below
        } else if density.verdict(self.high_per_m2) == Verdict::Above {
            Verdict::Above
        } else {
            Verdict::Near
        }
    }

    /// What else to dig after a count that cannot tell.
    fn more_after(self, count: &Count, mean_per_m2: f64) -> More {
        let end = if mean_per_m2 < self.low_per_m2 {
            self.low_per_m2
        } else if mean_per_m2 > self.high_per_m2 {
            self.high_per_m2
        } else if self.low_per_m2 < self.high_per_m2 {
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
}

impl Reading {
    /// What was found, held against what the turf bears.
    ///
    /// # Method
    /// Below if the 90 % range of the count lies below the low end, above if it lies above the high
    /// end, otherwise near.
    ///
    /// # Units
    /// Larvae per m².
    ///
    /// # Valid range
    /// As the counts and their range. A density alone has no range, so its mean decides; whoever
    /// words it has to say so.
    ///
    /// # References
    /// As [`Count::density`] and [`TurfCondition::limit_per_m2`].
    ///
    /// # Examples
    /// ```
    /// use hatchbell::domain::journal::Found;
    /// use hatchbell::domain::scouting::{Limits, Reading, SampleArea, Verdict};
    ///
    /// let area = SampleArea::from_ft2(1.0).unwrap();
    /// let clean = Found::of_samples(10, area, 2, None).unwrap();
    /// let limits = Limits { low_per_m2: 86.0, high_per_m2: 161.0 };
    /// assert_eq!(Reading::of(&clean, limits).verdict, Verdict::Below);
    /// ```
    pub fn of(found: &Found, limits: Limits) -> Self {
        let mean_per_m2 = found.mean_per_m2();
        let (density, verdict) = match found {
            Found::Samples(count) => {
                let density = count.density();
                (Some(density), limits.verdict(&density))
            }
            Found::Density(mean) => {
                let exact = Density {
                    mean_per_m2: *mean,
                    low_per_m2: *mean,
                    high_per_m2: *mean,
                };
                (None, limits.verdict(&exact))
            }
        };
        let more = (verdict == Verdict::Near).then(|| match found {
            Found::Samples(count) => limits.more_after(count, mean_per_m2),
            Found::Density(_) => More::Unknown,
        });
        Self {
            mean_per_m2,
            density,
            limits,
            verdict,
            more,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::SampleArea;
    use super::*;
    use crate::domain::figure::Solidity;

    const RANGE: Limits = Limits {
        low_per_m2: 86.0,
        high_per_m2: 161.0,
    };

    fn flaps(samples: u32, larvae: u32) -> Found {
        let area = SampleArea::from_ft2(1.0).unwrap();
        Found::of_samples(samples, area, larvae, None).unwrap()
    }

    fn one(limit: f64) -> Limits {
        Limits {
            low_per_m2: limit,
            high_per_m2: limit,
        }
    }

    #[test]
    fn a_known_condition_makes_one_figure_of_the_range() {
        let threshold = ActionThreshold {
            low_per_m2: 86.0,
            high_per_m2: 161.0,
            solidity: Solidity::Published,
            source: String::new(),
        };
        assert_eq!(Limits::of(&threshold, None), RANGE);
        let stressed = Limits::of(&threshold, Some(TurfCondition::Stressed));
        assert_eq!(stressed, one(43.0));
    }

    #[test]
    fn few_larvae_in_many_samples_are_below_and_many_above() {
        assert_eq!(Reading::of(&flaps(20, 20), RANGE).verdict, Verdict::Below);
        assert_eq!(Reading::of(&flaps(20, 800), RANGE).verdict, Verdict::Above);
    }

    #[test]
    fn a_count_that_cannot_tell_says_how_much_more_to_dig() {
        // 4 per ft² are 43 per m², half the low end.
        let reading = Reading::of(&flaps(3, 12), RANGE);
        let Some(More::Samples(more)) = reading.more else {
            panic!("{reading:?}");
        };
        let told = Reading::of(&flaps(3 + more, 4 * (3 + more)), RANGE);
        assert_eq!(told.verdict, Verdict::Below, "{more} more");
    }

    #[test]
    fn within_the_range_the_condition_decides_and_not_more_digging() {
        // 12 per ft² are 129 per m².
        let reading = Reading::of(&flaps(10, 120), RANGE);
        assert_eq!(reading.more, Some(More::Condition));
        let known = Reading::of(&flaps(10, 120), one(161.0));
        assert!(matches!(known.more, Some(More::Samples(_))), "{known:?}");
    }

    #[test]
    fn a_mean_on_the_limit_cannot_be_told_by_digging() {
        let area = SampleArea::from_m2(0.1).unwrap();
        let found = Found::of_samples(10, area, 86, None).unwrap();
        let reading = Reading::of(&found, one(86.0));
        assert_eq!(reading.more, Some(More::TooClose));
    }

    #[test]
    fn a_density_alone_is_judged_by_its_mean_and_has_no_range() {
        for (per_m2, verdict) in [
            (85.0, Verdict::Below),
            (100.0, Verdict::Near),
            (162.0, Verdict::Above),
        ] {
            let reading = Reading::of(&Found::of_density(per_m2).unwrap(), RANGE);
            assert_eq!((reading.verdict, reading.density), (verdict, None));
        }
    }
}
