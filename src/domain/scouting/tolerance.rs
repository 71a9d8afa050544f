//! How many larvae turf tolerates, and on which side of that a count lies.

use super::{Found, TurfCondition, Verdict};
use crate::domain::phenology::species::ActionThreshold;

/// Larvae per m² that turf tolerates: below the first number damage is not to be expected, above the
/// second it is. One number where the condition of the turf is known.
pub fn tolerance(threshold: &ActionThreshold, condition: Option<TurfCondition>) -> (f64, f64) {
    match condition {
        Some(condition) => {
            let limit = condition.limit_per_m2(threshold);
            (limit, limit)
        }
        None => (threshold.low_per_m2, threshold.high_per_m2),
    }
}

/// What a count says of what the turf tolerates.
///
/// # Method
/// Samples: below or above if the whole range lies there, see
/// [`super::Density::verdict`]; where the condition is not known, below the low and above
/// the high end of the threshold. A bare density has no range, so it is near from half to twice the
/// threshold (our choice).
///
/// # Units
/// Larvae per m².
///
/// # Valid range
/// Counts spread over the turf, not dug where damage shows.
///
/// # References
/// The threshold's, in the species' file.
pub fn verdict(found: &Found, (low, high): (f64, f64)) -> Verdict {
    let (least, most) = match found {
        Found::Samples(count) => {
            let density = count.density();
            (density.low_per_m2, density.high_per_m2)
        }
        Found::Density(per_m2) => (per_m2 / 2.0, per_m2 * 2.0),
    };
    if most < low {
        Verdict::Below
    } else if least > high {
        Verdict::Above
    } else {
        Verdict::Near
    }
}
