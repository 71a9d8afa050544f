//! The trend of a station: how much warmer its seasons have become.

use crate::domain::phenology::past_season::PastSeason;
use crate::domain::weather::extremes::Extremes;

/// With fewer past seasons nothing is said of a trend.
pub const FEWEST_TREND_SEASONS: usize = 20;

/// Standard errors of a slope below which it counts as none. A choice: from 1 to 2 the error of the
/// dates is nearly the same on the records it was chosen on.
pub const CERTAIN_FROM: f64 = 1.5;

/// By how many °C a year past seasons are to be raised to stand for today's.
///
/// # Method
/// The least-squares slope `b` of the seasons' mean temperatures over the years, times
/// `1 − (1.5 s / b)²` with `s` its standard error, and 0 where that is negative: a slope that could
/// as well be chance is not believed, one that is four times its error nearly whole.
///
/// # Units
/// °C a year.
///
/// # Valid range
/// 0 with fewer than [`FEWEST_TREND_SEASONS`] seasons, or where all are alike.
///
/// # References
/// Least squares: any textbook of statistics. The shrinkage is of the form of James and Stein 1961 (from
/// memory); its factor is ours.
pub fn believed_trend(past: &[&PastSeason]) -> f64 {
    if past.len() < FEWEST_TREND_SEASONS {
        return 0.0;
    }
    let points: Vec<(f64, f64)> = past
        .iter()
        .map(|season| (f64::from(season.year), mean_of(&season.days)))
        .collect();
    let n = points.len() as f64;
    let mean_year = points.iter().map(|(year, _)| year).sum::<f64>() / n;
    let mean = points.iter().map(|(_, mean)| mean).sum::<f64>() / n;
    let spread: f64 = points
        .iter()
        .map(|(year, _)| (year - mean_year).powi(2))
        .sum();
    let together: f64 = points
        .iter()
        .map(|(year, of)| (year - mean_year) * (of - mean))
        .sum();
    let slope = together / spread;
    let left: f64 = points
        .iter()
        .map(|(year, of)| (of - mean - slope * (year - mean_year)).powi(2))
        .sum();
    let error_squared = left / (n - 2.0) / spread;
    if slope == 0.0 || !slope.is_finite() {
        return 0.0;
    }
    slope * (1.0 - CERTAIN_FROM.powi(2) * error_squared / slope.powi(2)).max(0.0)
}

/// Mean temperature over days, °C; 0 for none.
pub(super) fn mean_of(days: &[Extremes]) -> f64 {
    let sum: f64 = days.iter().map(|day| day.mean()).sum();
    sum / days.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seasons from 1990 on with these mean temperatures.
    fn trend(means: &[f64]) -> f64 {
        let seasons: Vec<PastSeason> = means
            .iter()
            .zip(1990..)
            .map(|(mean, year)| PastSeason {
                year,
                days: vec![Extremes::new(mean - 4.0, mean + 4.0).unwrap(); 365],
            })
            .collect();
        believed_trend(&seasons.iter().collect::<Vec<_>>())
    }

    #[test]
    fn a_slope_without_scatter_is_believed_whole() {
        let rising: Vec<f64> = (0..30).map(|year| 9.0 + 0.04 * f64::from(year)).collect();
        assert!((trend(&rising) - 0.04).abs() < 1e-9);
    }

    /// By hand: 20 years, deviations of ±d in turn about a line of slope 0.05. Their slope over
    /// Σ(x − x̄)² = 665 is small; the residual variance is close to d²·20/18.
    #[test]
    fn scatter_takes_from_a_slope_what_could_be_chance() {
        let means = |d: f64| -> Vec<f64> {
            (0..20)
                .map(|year| 9.0 + 0.05 * f64::from(year) + if year % 2 == 0 { d } else { -d })
                .collect()
        };
        let (n, spread, d): (f64, f64, f64) = (20.0, 665.0, 0.4);
        // Σ (x − x̄) (±d), x from 0: pairs give −d each.
        let slope = 0.05 - 10.0 * d / spread;
        let left = n * d * d - (10.0 * d).powi(2) / spread;
        let error_squared: f64 = left / 18.0 / spread;
        let due = slope * (1.0 - 2.25 * error_squared / (slope * slope));
        assert!(due > 0.0 && due < 0.045);
        assert!((trend(&means(d)) - due).abs() < 1e-9);
        assert_eq!(trend(&means(3.0)), 0.0, "lost in the scatter");
    }

    #[test]
    fn a_short_record_and_one_of_equal_seasons_have_no_trend() {
        let rising: Vec<f64> = (0..19).map(|year| 9.0 + 0.04 * f64::from(year)).collect();
        assert_eq!(trend(&rising), 0.0);
        assert_eq!(trend(&[9.0; 30]), 0.0);
    }
}
