//! What the law of many places asks to be written down of an application, beside what was spread and
//! where: as the user states it. Which of it is asked of whom differs; the local law says.

use super::amount::{AmountError, NamedUnit, measured, unit};
use chrono::NaiveTime;
use std::fmt;
use std::str::FromStr;

/// What is written down of an application beside option, area and rate. Whatever is not known is left
/// out, and named as missing where records are shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SprayRecord {
    /// The product, as its label names it.
    pub product: Option<String>,
    /// The number under which it is registered, as its label has it.
    pub registration: Option<String>,
    /// The part of the site it went on.
    pub part: Option<String>,
    /// When it was begun.
    pub started: Option<NaiveTime>,
    /// When it was done.
    pub ended: Option<NaiveTime>,
    /// Who applied it.
    pub applicator: Option<String>,
    /// The number of their certificate or licence.
    pub certificate: Option<String>,
    /// What it was to act against.
    pub target: Option<String>,
    /// How fast the wind was.
    pub wind: Option<WindSpeed>,
    /// Where the wind came from.
    pub wind_from: Option<String>,
    /// How warm the air was.
    pub temperature: Option<AirTemperature>,
}

/// Why a record is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// It ended before it began.
    #[error(
        "the end ({ended}) lies before the start ({started}); work that goes on past midnight is two entries",
        ended = .ended.format("%H:%M"),
        started = .started.format("%H:%M")
    )]
    EndsFirst {
        /// When it was begun.
        started: NaiveTime,
        /// When it was done.
        ended: NaiveTime,
    },
}

impl SprayRecord {
    /// Whether nothing of it is known.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether its times can be.
    ///
    /// # Errors
    /// [`RecordError::EndsFirst`].
    pub fn check(&self) -> Result<(), RecordError> {
        match (self.started, self.ended) {
            (Some(started), Some(ended)) if ended < started => {
                Err(RecordError::EndsFirst { started, ended })
            }
            _ => Ok(()),
        }
    }
}

/// Units of speed, in m/s. The mile is the international one, exactly (1 609.344 m; NIST Special
/// Publication 811, appendix B); a knot is 1 852 m in an hour, exactly (the same).
const SPEEDS: [NamedUnit<()>; 4] = [
    unit(&["km/h", "kmh", "kph"], (), 1.0 / 3.6),
    unit(&["m/s"], (), 1.0),
    unit(&["mph"], (), 0.447_04),
    unit(&["knots", "kn", "kt"], (), 1_852.0 / 3_600.0),
];

/// A speed of the wind as stated, 0 to 60 m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindSpeed {
    value: f64,
    unit: &'static NamedUnit<()>,
}

impl WindSpeed {
    const WHAT: &'static str = "a speed of the wind";
    /// A hurricane has less as a mean, m/s. A choice, to find a wrong unit.
    const FASTEST_MS: f64 = 60.0;

    /// In m/s.
    pub fn ms(self) -> f64 {
        self.value * self.unit.size
    }
}

impl FromStr for WindSpeed {
    type Err = AmountError;

    /// A number and a unit: `8 km/h`, `5 mph`, `2.5 m/s`.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let (value, unit) = measured(text, &SPEEDS).ok_or_else(|| AmountError::Text {
            text: text.to_owned(),
            what: Self::WHAT,
            example: "a number with a point and km/h, m/s, mph or knots, like 8km/h or 5mph",
        })?;
        let speed = Self { value, unit };
        if (0.0..=Self::FASTEST_MS).contains(&speed.ms()) {
            Ok(speed)
        } else {
            Err(AmountError::OutOfRange {
                text: text.to_owned(),
                what: Self::WHAT,
                span: "it is 0 or more and at most 60 m/s",
            })
        }
    }
}

impl fmt::Display for WindSpeed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit.name())
    }
}

/// The scales of temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum TemperatureScale {
    Celsius,
    Fahrenheit,
}

const SCALES: [NamedUnit<TemperatureScale>; 2] = [
    unit(&["°C", "°c", "c"], TemperatureScale::Celsius, 1.0),
    unit(&["°F", "°f", "f"], TemperatureScale::Fahrenheit, 1.0),
];

/// A temperature of the air as stated, -40 to 60 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirTemperature {
    value: f64,
    unit: &'static NamedUnit<TemperatureScale>,
}

impl AirTemperature {
    const WHAT: &'static str = "a temperature of the air";

    /// In °C.
    pub fn celsius(self) -> f64 {
        match self.unit.kind {
            TemperatureScale::Celsius => self.value,
            TemperatureScale::Fahrenheit => (self.value - 32.0) / 1.8,
        }
    }
}

impl FromStr for AirTemperature {
    type Err = AmountError;

    /// A number and a unit: `18 C`, `64 F`.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let (value, unit) = measured(text, &SCALES).ok_or_else(|| AmountError::Text {
            text: text.to_owned(),
            what: Self::WHAT,
            example: "a number with a point and C or F, like 18C or 64F",
        })?;
        let temperature = Self { value, unit };
        if (-40.0..=60.0).contains(&temperature.celsius()) {
            Ok(temperature)
        } else {
            Err(AmountError::OutOfRange {
                text: text.to_owned(),
                what: Self::WHAT,
                span: "it is -40 to 60 °C",
            })
        }
    }
}

impl fmt::Display for AirTemperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speeds_and_temperatures_are_kept_as_stated_and_compared_in_base_units() {
        let wind: WindSpeed = "10 mph".parse().unwrap();
        assert_eq!(wind.to_string(), "10 mph");
        assert!((wind.ms() - 4.470_4).abs() < 1e-9);
        let warm: AirTemperature = "68 °F".parse().unwrap();
        assert_eq!(warm.to_string(), "68 °F");
        assert!((warm.celsius() - 20.0).abs() < 1e-9);
        assert_eq!(
            "-3c".parse::<AirTemperature>().unwrap().to_string(),
            "-3 °C"
        );
    }

    #[test]
    fn what_cannot_be_is_refused() {
        for text in ["200 km/h 3", "8", "300 km/h", "-1 m/s", "NaN m/s"] {
            assert!(text.parse::<WindSpeed>().is_err(), "{text}");
        }
        for text in ["68 C", "18", "200 F", "infC"] {
            assert!(text.parse::<AirTemperature>().is_err(), "{text}");
        }
    }

    #[test]
    fn what_ends_before_it_began_is_refused() {
        let at = |hour| NaiveTime::from_hms_opt(hour, 30, 0);
        let record = |started, ended| SprayRecord {
            started,
            ended,
            ..SprayRecord::default()
        };
        assert!(record(at(9), at(8)).check().is_err());
        assert_eq!(record(at(8), at(8)).check(), Ok(()));
        assert_eq!(record(None, at(8)).check(), Ok(()));
    }
}
