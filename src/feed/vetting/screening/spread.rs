//! Mean and spread that a few bad values do not move.

use crate::feed::vetting::median::median as median_of;

/// Multiples of the median absolute deviation beyond which a value has no weight.
const CENSORED_FROM: f64 = 7.5;

/// A robust mean and standard deviation, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RobustSpread {
    /// Biweight mean.
    pub mean: f64,
    /// Biweight standard deviation.
    pub deviation: f64,
    /// How many values it is of.
    pub count: usize,
}

/// The biweight mean and standard deviation of values.
///
/// # Method
/// With the median M, the median absolute deviation D and u = (x − M) / 7.5 D, values with |u| < 1
/// weigh (1 − u²)²: mean M + Σ(x − M)(1 − u²)² / Σ(1 − u²)², standard deviation
/// √(n Σ(x − M)²(1 − u²)⁴) / |Σ(1 − u²)(1 − 5u²)|.
///
/// # Units
/// Those of the values.
///
/// # Valid range
/// From two values on. Where more than half are equal the spread is nought.
///
/// # References
/// Lanzante 1996, Int. J. Climatol. 16:1197, whom Durre et al. 2010 (J. Appl. Meteor. Climatol.
/// 49:1615) follow; the formula is from memory.
///
/// # Examples
/// Of 1, 2, 3, 4, 5 and 1000 the mean is about 3.
pub(super) fn biweight(values: &mut [f64]) -> Option<RobustSpread> {
    if values.len() < 2 {
        return None;
    }
    let median = median_of(values)?;
    let mut far: Vec<f64> = values.iter().map(|value| (value - median).abs()).collect();
    let scale = CENSORED_FROM * median_of(&mut far)?;
    let count = values.len();
    if scale <= 0.0 {
        return Some(RobustSpread {
            mean: median,
            deviation: 0.0,
            count,
        });
    }
    let (mut weights, mut moved, mut squares, mut slope) = (0.0, 0.0, 0.0, 0.0);
    for value in values.iter() {
        let off = value - median;
        let u2 = (off / scale).powi(2);
        if u2 >= 1.0 {
            continue;
        }
        let weight = (1.0 - u2).powi(2);
        weights += weight;
        moved += off * weight;
        squares += (off * weight).powi(2);
        slope += (1.0 - u2) * (1.0 - 5.0 * u2);
    }
    Some(RobustSpread {
        mean: median + moved / weights,
        deviation: (count as f64 * squares).sqrt() / slope.abs().max(f64::MIN_POSITIVE),
        count,
    })
}
