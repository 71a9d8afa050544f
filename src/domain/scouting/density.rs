//! What digging says: how dense the grubs are, whether the turf tolerates them, and how much more to dig.
//!
//! # Patchy counts
//!
//! **Method.** Grubs lie in patches, so counts vary more than chance alone: a sample with mean `m`
//! has the variance `m + m²/k`, the negative binomial's, with `k` = [`PATCHINESS`]. The sum of `n`
//! such samples is negative binomial too, with `n·k`, so ranges for the mean are exact. With
//! `p = k / (k + m)` the chance of at most `s` larvae in `n` samples is the regularised incomplete
//! beta function `I_p(n·k, s + 1)`.
//!
//! **Units.** `m` in larvae a sample, densities in larvae per m², `k` without unit.
//!
//! **Valid range.** `k` was found for samples of 1 ft² and is used unchanged for every size. That
//! holds where patches are wide against a sample: each sample then lies in thick or in thin turf
//! whatever its size, its count is chance around the density there, and `k` describes how that
//! density varies over the turf (a gamma mixture of Poisson counts; textbook, from memory). Reported
//! patches are tens of square metres (New York treats patches above about 30 m²), samples 2 m² at
//! most. The other simple assumption, `k` in proportion to the area, holds for clumps finer than a
//! sample; it gives a core of 93 cm² `k` = 0.16, and ten of them would tell next to nothing. Where
//! there are such clumps, from eggs laid together, small samples vary more than is said here and the
//! range is too narrow. That a fitted `k` changes with sample size and density is a known limit
//! (Southwood, Ecological Methods; from memory). Samples must be spread over the turf, not dug where
//! damage shows.
//!
//! Nor was `k` found in turf: it comes from surveys before trees were planted in Manitoba, and none
//! was found for these species in turf.
//!
//! **References.** `k`: Ives and Warren 1965, "Sequential Sampling for White Grubs", Can. Entomol.
//! (1.5936; abstract read). Patches: Nyrop, Villani and Grant
//! 1995. Range of a binomial mean by its own tails: Clopper and Pearson 1934, Biometrika 26:404–413
//! (from memory), here with the negative binomial.

use super::{Count, MOST_SAMPLES, SampleArea};
use crate::domain::phenology::species::ActionThreshold;
use statrs::function::beta::{beta_reg, inv_beta_reg};

/// The negative binomial's `k` of larvae in one sample; less is patchier. From samples of 1 ft²
/// in surveys before planting in Manitoba, not from turf: Ives and Warren 1965, "Sequential Sampling
/// for White Grubs", Can. Entomol. (1.5936; abstract read).
pub const PATCHINESS: f64 = 1.59;

/// Share of counts whose range holds the true mean; the rest is split evenly over both sides.
pub const CONFIDENCE: f64 = 0.90;

/// The area of a usual sample, ft²: a flap of 15 by 15 cm. Common practice, no source.
pub const USUAL_SAMPLE_FT2: f64 = 0.25;

/// Standard error of a count, as a share of its mean, that is good enough for a decision. Common
/// practice, no source.
pub const USUAL_PRECISION: f64 = 0.25;

/// Chance left on each side of a range.
const TAIL: f64 = (1.0 - CONFIDENCE) / 2.0;

/// How the turf stands, which decides how many larvae it tolerates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TurfCondition {
    /// Watered and healthy.
    Irrigated,
    /// Not watered.
    Unirrigated,
    /// Weak from drought, heat, disease, wear or low mowing.
    Stressed,
}

impl TurfCondition {
    /// Every condition with the name it has in the store and in configuration files.
    pub const NAMED: [(&'static str, TurfCondition); 3] = [
        ("irrigated", TurfCondition::Irrigated),
        ("unirrigated", TurfCondition::Unirrigated),
        ("stressed", TurfCondition::Stressed),
    ];

    /// The name in the store and in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The condition a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }

    /// The point of a species' action threshold that holds for such turf, larvae per m².
    ///
    /// # Method
    /// Irrigated: the high end. Unirrigated: the low end. Stressed: half the low end.
    ///
    /// # Valid range
    /// A rule of thumb, weaker than the range it picks from: which end belongs to which turf is
    /// common practice, no source. Michigan State University has unirrigated turf bear 5 Japanese
    /// beetle grubs per ft² (54 per m²), below the low end of 86, and irrigated turf 15 (161), the
    /// high end. In a trial 150 to 200 per m² were needed before turf looked worse, and some grasses
    /// bore 600 (Crutchfield and Potter 1995, J. Econ. Entomol. 88). Animals that dig for grubs do
    /// harm at 4 to 5 per ft² (43 to 54 per m²) already (University of Massachusetts); no condition
    /// allows for them.
    ///
    /// # References
    /// General extension advice: un-watered turf is injured from 5 to 10 per ft², irrigated turf
    /// above 20. Stressed turf tolerates about half: extension advice from Arkansas.
    pub fn limit_per_m2(self, range: &ActionThreshold) -> f64 {
        match self {
            TurfCondition::Irrigated => range.high_per_m2,
            TurfCondition::Unirrigated => range.low_per_m2,
            TurfCondition::Stressed => range.low_per_m2 / 2.0,
        }
    }
}

/// How dense the larvae are, with the range a count leaves open, larvae per m².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// Mean found.
    pub mean_per_m2: f64,
    /// Low end of the range; 0 if nothing was found.
    pub low_per_m2: f64,
    /// High end of the range; above 0 even if nothing was found.
    pub high_per_m2: f64,
}

/// Whether a count lies clearly on one side of a threshold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The whole range is below.
    Below,
    /// The range holds the threshold: the count cannot tell.
    Near,
    /// The whole range is above.
    Above,
}

impl Verdict {
    /// Every verdict with its name.
    pub const NAMED: [(&'static str, Verdict); 3] = [
        ("below", Verdict::Below),
        ("near", Verdict::Near),
        ("above", Verdict::Above),
    ];

    /// The name.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

impl Density {
    /// What the range says of a threshold in larvae per m².
    pub fn verdict(&self, threshold_per_m2: f64) -> Verdict {
        if self.high_per_m2 < threshold_per_m2 {
            Verdict::Below
        } else if self.low_per_m2 > threshold_per_m2 {
            Verdict::Above
        } else {
            Verdict::Near
        }
    }
}

impl Count {
    /// The density it stands for, with its range at [`CONFIDENCE`].
    ///
    /// # Method
    /// Exact for a known `k`: the range holds every mean under which neither as few nor as many
    /// larvae as found are rarer than 5 %. With `s` larvae in `n` samples, `p_high` solves
    /// `I_p(n·k, s + 1) = 0.05` and gives the high end, `p_low` solves `I_p(n·k, s) = 0.95` and
    /// gives the low end, each by `m = k·(1 − p)/p`. With nothing found the low end is 0.
    ///
    /// # Units
    /// Larvae per m².
    ///
    /// # Valid range
    /// As the module says. Counts are whole, so the range holds the true mean a little more often
    /// than 90 times in 100.
    ///
    /// # References
    /// As the module says.
    ///
    /// # Examples
    /// ```
    /// use hatchbell::domain::scouting::{Count, SampleArea};
    ///
    /// let clean = Count::new(10, SampleArea::from_ft2(0.25).unwrap(), 0, None).unwrap();
    /// let density = clean.density();
    /// assert_eq!(density.low_per_m2, 0.0);
    /// // No larvae in ten flaps still leave room for 14 per m².
    /// assert!((density.high_per_m2 - 14.19).abs() < 0.01);
    /// ```
    pub fn density(&self) -> Density {
        let shape = f64::from(self.samples()) * PATCHINESS;
        let larvae = f64::from(self.larvae());
        let area = self.area().m2();
        let mean_at = |p: f64| PATCHINESS * (1.0 - p) / p / area;
        Density {
            mean_per_m2: self.mean_per_sample() / area,
            low_per_m2: if self.larvae() == 0 {
                0.0
            } else {
                mean_at(inv_beta_reg(shape, larvae, 1.0 - TAIL))
            },
            high_per_m2: mean_at(inv_beta_reg(shape, larvae + 1.0, TAIL)),
        }
    }

    /// How many samples beyond these would tell this count's mean from a threshold in larvae per m²,
    /// if the mean stayed as it is. `Some(0)` if the count tells already; `None` if even
    /// [`MOST_SAMPLES`] would not.
    pub fn more_samples_to_tell(&self, threshold_per_m2: f64) -> Option<u32> {
        let at_threshold = threshold_per_m2 * self.area().m2();
        let tells = |samples: u32| tells(samples, self.mean_per_sample(), at_threshold);
        if !tells(MOST_SAMPLES) {
            return None;
        }
        let beyond = |more: u32| tells(self.samples() + more);
        let (mut short, mut enough) = (0, MOST_SAMPLES - self.samples());
        if beyond(short) {
            return Some(0);
        }
        while enough - short > 1 {
            let middle = short + (enough - short) / 2;
            if beyond(middle) {
                enough = middle;
            } else {
                short = middle;
            }
        }
        Some(enough)
    }
}

/// Whether the mean found in so many samples lies clearly below or above a threshold; both in
/// larvae a sample. The total need not be whole: samples not yet dug have none.
fn tells(samples: u32, found: f64, threshold: f64) -> bool {
    let larvae = found * f64::from(samples);
    if found < threshold {
        chance_of_at_most(larvae, samples, threshold) < TAIL
    } else {
        chance_of_at_least(larvae, samples, threshold) < TAIL
    }
}

/// The chance of at most `larvae` in all where a sample holds `mean` larvae; 0 to 1.
///
/// # Method
/// `I_p(n·k, larvae + 1)` with `p = k / (k + mean)`: the negative binomial's distribution function.
///
/// # Units
/// `mean` in larvae a sample, `larvae` in all samples together.
///
/// # Valid range
/// `samples` at least 1, `mean` at least 0, `larvae` at least 0; between whole numbers it is
/// interpolated by the same function.
///
/// # References
/// As the module says.
///
/// # Examples
/// ```
/// use hatchbell::domain::scouting::{PATCHINESS, chance_of_at_most};
///
/// // No larvae in one sample: p to the power of k.
/// let p: f64 = PATCHINESS / (PATCHINESS + 2.0);
/// assert!((chance_of_at_most(0.0, 1, 2.0) - p.powf(PATCHINESS)).abs() < 1e-12);
/// ```
pub fn chance_of_at_most(larvae: f64, samples: u32, mean: f64) -> f64 {
    beta_reg(
        f64::from(samples) * PATCHINESS,
        larvae + 1.0,
        PATCHINESS / (PATCHINESS + mean),
    )
}

/// The chance of at least `larvae` in all, as [`chance_of_at_most`].
fn chance_of_at_least(larvae: f64, samples: u32, mean: f64) -> f64 {
    if larvae <= 0.0 {
        return 1.0;
    }
    // The mirrored form, which loses no digits where the chance is small.
    beta_reg(
        larvae,
        f64::from(samples) * PATCHINESS,
        mean / (PATCHINESS + mean),
    )
}

/// How many samples of `area` make the standard error this share of the mean, where `mean_per_m2`
/// larvae are expected. `None` without larvae, where no share can be reached, or if it takes more
/// than [`MOST_SAMPLES`].
///
/// # Method
/// `n = (1/m + 1/k) / D²`, rounded up: `m` the mean a sample, `D` the standard error as a share of
/// it.
///
/// # Units
/// `mean_per_m2` in larvae per m²; `share` without unit, for example 0.25.
///
/// # Valid range
/// `share` above 0. 0.25 is usual for decisions, 0.1 for research (common practice, no source).
///
/// # References
/// Follows from the variance `m + m²/k`; in Southwood, Ecological Methods, and Karandinos 1976,
/// Bull. Entomol. Soc. Am. 22:417–421 (both from memory).
///
/// # Examples
/// ```
/// use hatchbell::domain::scouting::{SampleArea, samples_for_precision};
///
/// // 100 per m² are 10 in a sample of 0.1 m²: (1/10 + 1/1.59) / 0.25² = 11.7.
/// let area = SampleArea::from_m2(0.1).unwrap();
/// assert_eq!(samples_for_precision(100.0, area, 0.25), Some(12));
/// ```
pub fn samples_for_precision(mean_per_m2: f64, area: SampleArea, share: f64) -> Option<u32> {
    if mean_per_m2 <= 0.0 || share <= 0.0 {
        return None;
    }
    let mean = mean_per_m2 * area.m2();
    let samples = ((1.0 / mean + 1.0 / PATCHINESS) / (share * share)).ceil();
    (samples <= f64::from(MOST_SAMPLES)).then_some(samples as u32)
}

/// How likely harmful numbers are before anything was dug this season.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Risk {
    /// Nothing is known of last year.
    Unknown,
    /// Last year was counted well below the threshold, or passed without damage or count.
    Low,
    /// Last year's count or damage gives some reason to look first here.
    Moderate,
    /// Last year's count was harmful, or there was damage and no count speaks against it.
    High,
}

impl Risk {
    /// Every risk with its name.
    pub const NAMED: [(&'static str, Risk); 4] = [
        ("unknown", Risk::Unknown),
        ("low", Risk::Low),
        ("moderate", Risk::Moderate),
        ("high", Risk::High),
    ];

    /// The name.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// The share of a threshold below which a count counts as low.
const LOW_SHARE: f64 = 0.5;

/// The risk before this season's first count, from last year's mean count and whether grubs did
/// damage then; `None` is not known.
///
/// # Method
/// A count at or above the threshold is high, from half of it moderate, below that low. Damage
/// raises that by one step. Without a count, damage is high and its absence low.
///
/// # Units
/// Count and threshold in larvae per m².
///
/// # Valid range
/// Says where to dig first, never whether to treat: grubs tend to come back to the same turf, but a
/// dry or wet summer changes everything, and well-watered turf hides many.
///
/// # References
/// Common practice, no source.
///
/// # Examples
/// ```
/// use hatchbell::domain::scouting::{Risk, risk_before_count};
///
/// assert_eq!(risk_before_count(None, Some(true), 86.0), Risk::High);
/// assert_eq!(risk_before_count(Some(20.0), Some(false), 86.0), Risk::Low);
/// ```
pub fn risk_before_count(
    last_mean_per_m2: Option<f64>,
    damaged: Option<bool>,
    threshold_per_m2: f64,
) -> Risk {
    let damage = damaged == Some(true);
    match last_mean_per_m2 {
        Some(mean) if mean >= threshold_per_m2 => Risk::High,
        Some(mean) if mean >= threshold_per_m2 * LOW_SHARE => {
            if damage {
                Risk::High
            } else {
                Risk::Moderate
            }
        }
        Some(_) if damage => Risk::Moderate,
        Some(_) => Risk::Low,
        None if damage => Risk::High,
        None if damaged == Some(false) => Risk::Low,
        None => Risk::Unknown,
    }
}
