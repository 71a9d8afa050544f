//! Temperatures: units, the span a thermometer on Earth can show, and a day's pair of extremes.

use std::fmt;

/// Coldest reading taken as real, °C.
///
/// The record cold is about −89 °C (World Meteorological Organization archive of weather extremes,
/// value from memory).
pub const COLDEST_C: f64 = -90.0;

/// Warmest reading taken as real, °C.
///
/// The record warmth is about 57 °C (same archive, value from memory).
pub const WARMEST_C: f64 = 60.0;

/// The unit a feed publishes its temperatures in. No feed says so in the file itself, so it is
/// bound in the configuration and checked against the values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unit {
    /// Degrees Celsius, usually with a decimal.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Tenths of a degree Celsius as whole numbers: `254` is 25.4 °C.
    TenthsCelsius,
}

impl Unit {
    /// Every unit with the name it has in configuration files.
    pub const NAMED: [(&'static str, Unit); 3] = [
        ("celsius", Unit::Celsius),
        ("fahrenheit", Unit::Fahrenheit),
        ("tenths-celsius", Unit::TenthsCelsius),
    ];

    /// The name in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Turns a published value into °C.
    ///
    /// ```
    /// use hatchbell::domain::weather::extremes::Unit;
    /// assert_eq!(Unit::Fahrenheit.to_celsius(50.0), 10.0);
    /// assert_eq!(Unit::TenthsCelsius.to_celsius(254.0), 25.4);
    /// ```
    pub fn to_celsius(self, value: f64) -> f64 {
        match self {
            Unit::Celsius => value,
            Unit::Fahrenheit => (value - 32.0) / 1.8,
            Unit::TenthsCelsius => value / 10.0,
        }
    }

    /// Turns a published amount of rain into mm. Feeds that publish °F publish inches, those in °C
    /// millimetres, those in tenths of a degree tenths of a millimetre.
    ///
    /// ```
    /// use hatchbell::domain::weather::extremes::Unit;
    /// assert_eq!(Unit::Fahrenheit.rain_to_mm(0.5), 12.7);
    /// ```
    pub fn rain_to_mm(self, value: f64) -> f64 {
        match self {
            Unit::Celsius => value,
            Unit::Fahrenheit => value * 25.4,
            Unit::TenthsCelsius => value / 10.0,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Whether a value in °C can be a real air temperature.
pub fn is_plausible(celsius: f64) -> bool {
    celsius.is_finite() && (COLDEST_C..=WARMEST_C).contains(&celsius)
}

/// The lowest and highest air temperature of one day, °C; the minimum never exceeds the maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extremes {
    min: f64,
    max: f64,
}

impl Extremes {
    /// A pair of extremes, or `None` if either is not plausible or the minimum exceeds the maximum.
    pub fn new(min: f64, max: f64) -> Option<Self> {
        (is_plausible(min) && is_plausible(max) && min <= max).then_some(Self { min, max })
    }

    /// The day's minimum, °C.
    pub fn min(self) -> f64 {
        self.min
    }

    /// The day's maximum, °C.
    pub fn max(self) -> f64 {
        self.max
    }

    /// The middle of both, which stands for the day's mean, °C.
    pub fn mean(self) -> f64 {
        f64::midpoint(self.min, self.max)
    }

    /// A day moved by a difference, °C; left as it is where that leaves what is possible.
    pub fn moved(self, shift: f64) -> Self {
        Self::new(self.min + shift, self.max + shift).unwrap_or(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_meet_at_the_freezing_point_and_at_base_ten() {
        assert_eq!(Unit::Fahrenheit.to_celsius(32.0), 0.0);
        assert_eq!(Unit::Fahrenheit.to_celsius(50.0), 10.0);
        assert_eq!(Unit::TenthsCelsius.to_celsius(100.0), 10.0);
    }

    #[test]
    fn a_minimum_above_the_maximum_is_no_day() {
        assert!(Extremes::new(20.1, 20.0).is_none());
        assert!(Extremes::new(20.0, 20.0).is_some());
    }

    #[test]
    fn sentinels_and_non_numbers_are_not_plausible() {
        for value in [999.9, -99.9, -9999.0, f64::NAN, f64::INFINITY] {
            assert!(!is_plausible(value), "{value}");
        }
    }
}
