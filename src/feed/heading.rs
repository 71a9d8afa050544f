//! What the name of a column says of its unit.

use crate::domain::weather::extremes::Unit;
use crate::domain::weather::wind::WindUnit;

/// The unit that a column's name has in brackets at its end: `(°C)`, `(F)`, `(Degree C)`. A degree
/// sign that was lost on the way does not matter.
pub(super) fn unit_in_brackets(name: &str) -> Option<Unit> {
    let (_, inside) = name.trim_end().strip_suffix(')')?.rsplit_once('(')?;
    let inside = inside.to_lowercase();
    // Parts of a degree are written in too many ways to tell.
    if inside.contains(char::is_numeric) || inside.contains("tenth") {
        return None;
    }
    let mut words = inside.split(|c: char| !c.is_alphabetic());
    match words.rfind(|word| !word.is_empty())? {
        "c" | "celsius" => Some(Unit::Celsius),
        "f" | "fahrenheit" => Some(Unit::Fahrenheit),
        _ => None,
    }
}

/// The unit that a rain column's name has in brackets at its end, as the temperature unit it usually
/// comes with.
pub(super) fn rain_unit_in_brackets(name: &str) -> Option<Unit> {
    match name.trim_end().strip_suffix(')')?.rsplit_once('(')?.1 {
        "mm" => Some(Unit::Celsius),
        "in" | "inch" => Some(Unit::Fahrenheit),
        _ => None,
    }
}

/// The unit that a wind column's name has in brackets at its end.
pub(super) fn wind_unit_in_brackets(name: &str) -> Option<WindUnit> {
    match name.trim_end().strip_suffix(')')?.rsplit_once('(')?.1 {
        "m/s" => Some(WindUnit::MetresPerSecond),
        "km/h" => Some(WindUnit::KilometresPerHour),
        "mp/h" | "mph" => Some(WindUnit::MilesPerHour),
        "kn" => Some(WindUnit::Knots),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_read_from_the_brackets_at_the_end_of_a_name() {
        let celsius = [
            "max (°C)",
            "Max (2 m) (c)",
            "Tmax (Degree C)",
            "t (\u{fffd}C) ",
        ];
        for name in celsius {
            assert_eq!(unit_in_brackets(name), Some(Unit::Celsius), "{name}");
        }
        assert_eq!(unit_in_brackets("max (°F)"), Some(Unit::Fahrenheit));
        for name in [
            "max",
            "C",
            "max (0.1 °C)",
            "max (1/10 C)",
            "max (K)",
            "max ()",
        ] {
            assert_eq!(unit_in_brackets(name), None, "{name}");
        }
    }
}
