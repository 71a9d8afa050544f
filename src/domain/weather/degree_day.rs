//! Degree-days of one day from its minimum and maximum.
//!
//! Notation: `N` minimum, `X` maximum, `M = (N + X) / 2`, `A = (X − N) / 2`, `L` lower threshold,
//! `U` upper threshold, all in °C. `D(t)` is the day's mean excess over a threshold `t` for the
//! curve a method assumes. Every result is in °C·d and never negative.
//!
//! A threshold from a table is valid only with the base, start date and method it was made with,
//! so these travel together with each species (see [`crate::domain::phenology::species`]).

use crate::domain::weather::extremes::Extremes;
use std::f64::consts::{FRAC_PI_2, PI};

/// How a day's course is reconstructed from its two extremes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The daily mean held all day.
    SimpleAverage,
    /// Both extremes reset to the thresholds before averaging.
    ModifiedAverage,
    /// A symmetrical triangle between the day's own extremes.
    SingleTriangle,
    /// Two half triangles: own minimum to maximum, maximum to the next day's minimum.
    DoubleTriangle,
    /// A sine wave between the day's own extremes.
    SingleSine,
    /// Two half sine waves: own minimum to maximum, maximum to the next day's minimum.
    DoubleSine,
}

impl Method {
    /// Every method with the name it has in configuration files.
    pub const NAMED: [(&'static str, Method); 6] = [
        ("simple-average", Method::SimpleAverage),
        ("modified-average", Method::ModifiedAverage),
        ("single-triangle", Method::SingleTriangle),
        ("double-triangle", Method::DoubleTriangle),
        ("single-sine", Method::SingleSine),
        ("double-sine", Method::DoubleSine),
    ];

    /// The name in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }
}

/// What warmth above the upper threshold does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cutoff {
    /// Development goes on at the rate of the upper threshold.
    Horizontal,
    /// Development slows by as much as it exceeds the upper threshold.
    Intermediate,
    /// Development stops while it is warmer than the upper threshold.
    Vertical,
}

impl Cutoff {
    /// Every cut-off with the name it has in configuration files.
    pub const NAMED: [(&'static str, Cutoff); 3] = [
        ("horizontal", Cutoff::Horizontal),
        ("intermediate", Cutoff::Intermediate),
        ("vertical", Cutoff::Vertical),
    ];
}

/// A degree-day model: thresholds and method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    lower: f64,
    upper: Option<(f64, Cutoff)>,
    method: Method,
}

/// Why a model cannot be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ModelError {
    /// The upper threshold does not lie above the lower one.
    #[error("the upper threshold {upper} °C must lie above the base {lower} °C")]
    UpperNotAboveLower {
        /// Lower threshold, °C.
        lower: f64,
        /// Upper threshold, °C.
        upper: f64,
    },
    /// The modified average is defined with a horizontal cut-off only.
    #[error(
        "the modified average resets extremes to the thresholds, which is a horizontal cut-off; \
         choose cutoff = \"horizontal\" or another method"
    )]
    ModifiedAverageCutoff,
}

impl Model {
    /// A model with lower threshold `lower` (°C) and, if given, an upper threshold (°C) with its
    /// cut-off.
    ///
    /// # Errors
    /// [`ModelError`] if the thresholds are out of order or the method has no such cut-off.
    pub fn new(
        lower: f64,
        upper: Option<(f64, Cutoff)>,
        method: Method,
    ) -> Result<Self, ModelError> {
        if let Some((upper, cutoff)) = upper {
            if upper <= lower {
                return Err(ModelError::UpperNotAboveLower { lower, upper });
            }
            if method == Method::ModifiedAverage && cutoff != Cutoff::Horizontal {
                return Err(ModelError::ModifiedAverageCutoff);
            }
        }
        Ok(Self {
            lower,
            upper,
            method,
        })
    }

    /// Lower threshold (base), °C.
    pub fn lower(&self) -> f64 {
        self.lower
    }

    /// Upper threshold, °C, with its cut-off.
    pub fn upper(&self) -> Option<(f64, Cutoff)> {
        self.upper
    }

    /// The method.
    pub fn method(&self) -> Method {
        self.method
    }

    /// Degree-days of one day.
    ///
    /// # Method
    /// * simple average: `D(t) = max(0, M − t)`
    /// * modified average: `(clip(X) + clip(N)) / 2 − L`, clipped to `[L, U]`
    /// * single triangle: `N ≥ t: M − t`; `N < t < X: (X − t)² / (2 (X − N))`; else 0
    /// * single sine: `N ≥ t: M − t`; `N < t < X: [(M − t)(π/2 − θ) + A cos θ] / π` with
    ///   `θ = asin((t − M) / A)`; else 0
    /// * double forms: half of the single form on `(N, X)` plus half on `(next N, X)`; without a
    ///   next day its own minimum stands in
    /// * cut-offs: horizontal `D(L) − D(U)`; intermediate `max(0, D(L) − 2 D(U))`;
    ///   vertical `D(L) − D(U) − (U − L) · share of the day above U`
    ///
    /// # Units
    /// °C in, °C·d out. One °C·d is 1.8 °F·d.
    ///
    /// # Valid range
    /// Any [`Extremes`]; results lie in `[0, X − L]`.
    ///
    /// # References
    /// Simple and modified average: McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291–300.
    /// Triangle: Lindsey and Newman 1956; Zalom et al. 1983, UC Leaflet 21373. Sine: Baskerville
    /// and Emin 1969, Ecology 50:514–517. Double forms: Allen 1976, Environ. Entomol. 5:388–396.
    /// Cut-offs: Zalom et al. 1983. (Titles from memory; the formulas are checked in the tests
    /// against numerical integration and published worked examples.)
    ///
    /// # Examples
    /// Maximum 70 °F, minimum 40 °F, base 50 °F is 5 °F·d by the simple average (Ohio State
    /// University extension slides on degree-days):
    /// ```
    /// use hatchbell::domain::weather::{degree_day::{Method, Model}, extremes::{Extremes, Unit}};
    /// let model = Model::new(10.0, None, Method::SimpleAverage).unwrap();
    /// let f = |v| Unit::Fahrenheit.to_celsius(v);
    /// let day = Extremes::new(f(40.0), f(70.0)).unwrap();
    /// assert!((model.degree_days(day, None) * 1.8 - 5.0).abs() < 1e-9);
    /// ```
    pub fn degree_days(&self, day: Extremes, next_min: Option<f64>) -> f64 {
        let (min, max) = (day.min(), day.max());
        // A next-day minimum above today's maximum would turn the second half upside down.
        let second_min = next_min.unwrap_or(min).min(max);
        let value = match self.method {
            Method::SimpleAverage => self.with_cutoff(Curve::Constant, min, max),
            Method::ModifiedAverage => self.modified_average(min, max),
            Method::SingleTriangle => self.with_cutoff(Curve::Triangle, min, max),
            Method::SingleSine => self.with_cutoff(Curve::Sine, min, max),
            Method::DoubleTriangle => self.halves(Curve::Triangle, min, max, second_min),
            Method::DoubleSine => self.halves(Curve::Sine, min, max, second_min),
        };
        value.max(0.0)
    }

    /// Degree-days of each of consecutive days, °C·d; a day's next minimum is that of the day after.
    pub fn daily<D>(&self, days: D) -> impl Iterator<Item = f64>
    where
        D: Iterator<Item = Extremes> + Clone,
    {
        let next_minima = days.clone().skip(1).map(|next| Some(next.min()));
        days.zip(next_minima.chain(std::iter::once(None)))
            .map(|(day, next_min)| self.degree_days(day, next_min))
    }

    fn halves(&self, curve: Curve, min: f64, max: f64, second_min: f64) -> f64 {
        (self.with_cutoff(curve, min, max) + self.with_cutoff(curve, second_min, max)) / 2.0
    }

    fn modified_average(&self, min: f64, max: f64) -> f64 {
        let ceiling = self.upper.map_or(f64::INFINITY, |(upper, _)| upper);
        let clip = |t: f64| t.clamp(self.lower, ceiling);
        (clip(max) + clip(min)) / 2.0 - self.lower
    }

    fn with_cutoff(&self, curve: Curve, min: f64, max: f64) -> f64 {
        let above_lower = curve.excess(min, max, self.lower);
        let Some((upper, cutoff)) = self.upper else {
            return above_lower;
        };
        let above_upper = curve.excess(min, max, upper);
        match cutoff {
            Cutoff::Horizontal => above_lower - above_upper,
            Cutoff::Intermediate => above_lower - 2.0 * above_upper,
            Cutoff::Vertical => {
                let share = curve.share_above(min, max, upper);
                above_lower - above_upper - (upper - self.lower) * share
            }
        }
    }
}

/// The assumed course of temperature over a day.
#[derive(Debug, Clone, Copy)]
enum Curve {
    Constant,
    Triangle,
    Sine,
}

impl Curve {
    /// Mean excess over `threshold` through the day, °C·d.
    fn excess(self, min: f64, max: f64, threshold: f64) -> f64 {
        let mean = (min + max) / 2.0;
        if matches!(self, Curve::Constant) {
            return (mean - threshold).max(0.0);
        }
        if threshold <= min {
            return mean - threshold;
        }
        if threshold >= max {
            return 0.0;
        }
        match self {
            Curve::Triangle => (max - threshold).powi(2) / (2.0 * (max - min)),
            _ => {
                let amplitude = (max - min) / 2.0;
                let theta = ((threshold - mean) / amplitude).asin();
                ((mean - threshold) * (FRAC_PI_2 - theta) + amplitude * theta.cos()) / PI
            }
        }
    }

    /// Share of the day spent above `threshold`, 0 to 1.
    fn share_above(self, min: f64, max: f64, threshold: f64) -> f64 {
        let mean = (min + max) / 2.0;
        if matches!(self, Curve::Constant) {
            return if mean > threshold { 1.0 } else { 0.0 };
        }
        if threshold <= min {
            return 1.0;
        }
        if threshold >= max {
            return 0.0;
        }
        match self {
            Curve::Triangle => (max - threshold) / (max - min),
            _ => (FRAC_PI_2 - ((threshold - mean) / ((max - min) / 2.0)).asin()) / PI,
        }
    }
}
