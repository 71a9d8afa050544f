//! Numbers and days as a reader wants them written.

use crate::domain::journal::amount::Area;
use crate::domain::notation::{Dates, Notation, Units};
use crate::domain::scouting::M2_IN_FT2;
use chrono::NaiveDate;

/// Millimetres in an inch, exactly (NIST Special Publication 811, appendix B).
const MM_IN_INCH: f64 = 25.4;
/// Metres per second in a mile per hour, exactly (the same).
const MS_IN_MPH: f64 = 0.447_04;
/// Square metres in an acre (the same).
const M2_IN_ACRE: f64 = 4_046.856_422_4;
/// Square metres in a hectare.
const M2_IN_HA: f64 = 10_000.0;
/// Areas below this are small lawns, m².
const LAWN_M2: f64 = 2_000.0;

impl Notation {
    /// A day of a year that is known: "7 July".
    pub fn day(&self, day: NaiveDate) -> String {
        match &self.dates {
            Dates::Iso => day.to_string(),
            Dates::Pattern(pattern) => day.format(pattern.as_str()).to_string(),
        }
    }

    /// With its year: "7 July 2026".
    pub fn day_and_year(&self, day: NaiveDate) -> String {
        match &self.dates {
            Dates::Iso => day.to_string(),
            Dates::Pattern(_) => format!("{}{}", self.day(day), day.format(" %Y")),
        }
    }

    /// Where space is short: "7 Jul", by ISO 8601 "07-07".
    pub fn short_day(&self, day: NaiveDate) -> String {
        match &self.dates {
            Dates::Iso => day.format("%m-%d").to_string(),
            Dates::Pattern(pattern) => day.format(&pattern.short()).to_string(),
        }
    }

    /// With the day of the week: "Tuesday 7 July".
    pub fn week_day(&self, day: NaiveDate) -> String {
        format!("{} {}", day.format("%A"), self.day(day))
    }

    /// A depth of water: "13 mm", "0.5 in".
    pub fn depth(&self, mm: f64) -> String {
        match self.units {
            Units::Metric => format!("{mm:.0} mm"),
            Units::Us => format!("{:.1} in", mm / MM_IN_INCH),
        }
    }

    /// A temperature: "10 °C", "50 °F".
    pub fn temperature(&self, celsius: f64) -> String {
        // Adding 0 keeps -0.2 from being "-0".
        match self.units {
            Units::Metric => format!("{:.0} °C", celsius.round() + 0.0),
            Units::Us => format!("{:.0} °F", (celsius * 1.8 + 32.0).round() + 0.0),
        }
    }

    /// A sum of degree-days, base 10 °C (50 °F): "820 °C·d", "1476 °F·d".
    pub fn degree_days(&self, celsius: f64) -> String {
        let (sum, unit) = self.degree_day_sum(celsius);
        format!("{sum:.0} {unit}")
    }

    /// A sum of degree-days with its unit.
    pub fn degree_day_sum(&self, celsius: f64) -> (f64, &'static str) {
        match self.units {
            Units::Metric => (celsius, "°C·d"),
            Units::Us => (celsius * 1.8, "°F·d"),
        }
    }

    /// A speed of wind: "7 m/s", "16 mph".
    pub fn wind(&self, ms: f64) -> String {
        match self.units {
            Units::Metric => format!("{ms:.0} m/s"),
            Units::Us => format!("{:.0} mph", ms / MS_IN_MPH),
        }
    }

    /// Larvae on an area: "52 per m²", "4.8 per ft²".
    pub fn density(&self, per_m2: f64) -> String {
        format!("{} {}", self.density_number(per_m2), self.per_area())
    }

    /// From a density to another: "86 to 161 per m²".
    pub fn densities(&self, low_per_m2: f64, high_per_m2: f64) -> String {
        format!(
            "{} to {}",
            self.density_number(low_per_m2),
            self.density(high_per_m2)
        )
    }

    /// What densities are given by: "per m²".
    pub fn per_area(&self) -> &'static str {
        match self.units {
            Units::Metric => "per m²",
            Units::Us => "per ft²",
        }
    }

    /// A density without its unit, with a decimal where there are few larvae.
    pub fn density_number(&self, per_m2: f64) -> String {
        let number = match self.units {
            Units::Metric => per_m2,
            Units::Us => per_m2 * M2_IN_FT2,
        };
        if number > 0.0 && number < 9.95 {
            format!("{number:.1}")
        } else {
            format!("{number:.0}")
        }
    }

    /// An area of turf: "300 m²", "2.5 ha"; "3.2 thousand ft²", "2.5 acres".
    pub fn area(&self, area: Area) -> String {
        let m2 = area.m2();
        match (self.units, m2 < LAWN_M2) {
            (Units::Metric, true) => format!("{m2:.0} m²"),
            (Units::Metric, false) => format!("{} ha", two_digits(m2 / M2_IN_HA)),
            (Units::Us, true) => format!("{} ft²", thousands(m2 / M2_IN_FT2)),
            (Units::Us, false) => format!("{} acres", two_digits(m2 / M2_IN_ACRE)),
        }
    }

    /// The depth of the soil temperature.
    pub fn soil_depth(&self) -> &'static str {
        match self.units {
            Units::Metric => "10 cm",
            Units::Us => "4 in",
        }
    }

    /// Where grubs are looked for.
    pub fn top_of_soil(&self) -> &'static str {
        match self.units {
            Units::Metric => "the top 5 to 10 cm of soil",
            Units::Us => "the top 2 to 4 in of soil",
        }
    }
}

/// With at most two digits after the point, and none that are 0.
fn two_digits(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A whole number with a comma before its thousands.
fn thousands(number: f64) -> String {
    let whole = number.round();
    if whole < 1000.0 {
        return format!("{whole:.0}");
    }
    format!("{:.0},{:03.0}", (whole / 1000.0).floor(), whole % 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::notation::DatePattern;

    fn us() -> Notation {
        Notation {
            units: Units::Us,
            dates: Dates::Pattern(DatePattern::parse("%B %-d").unwrap()),
        }
    }

    #[test]
    fn numbers_are_written_in_the_reader_s_units() {
        let metric = Notation::default();
        let area = |text: &str| text.parse::<Area>().unwrap();
        let both = |written: &dyn Fn(&Notation) -> String| (written(&metric), written(&us()));
        for ((metric, us), expected) in [
            (both(&|n| n.depth(13.0)), ("13 mm", "0.5 in")),
            (both(&|n| n.temperature(-0.2)), ("0 °C", "32 °F")),
            (both(&|n| n.degree_days(820.0)), ("820 °C·d", "1476 °F·d")),
            (both(&|n| n.wind(7.2)), ("7 m/s", "16 mph")),
            (both(&|n| n.density(52.0)), ("52 per m²", "4.8 per ft²")),
            (
                both(&|n| n.densities(86.0, 161.6)),
                ("86 to 162 per m²", "8.0 to 15 per ft²"),
            ),
            (both(&|n| n.area(area("300 m2"))), ("300 m²", "3,229 ft²")),
            (both(&|n| n.area(area("4.2 ha"))), ("4.2 ha", "10.38 acres")),
        ] {
            assert_eq!((metric.as_str(), us.as_str()), expected);
        }
    }

    #[test]
    fn few_larvae_are_not_rounded_to_none() {
        let metric = Notation::default();
        assert_eq!(metric.density(0.5), "0.5 per m²");
        assert_eq!(us().density(12.0), "1.1 per ft²");
        assert_eq!(metric.density(0.0), "0 per m²");
    }

    #[test]
    fn days_are_written_as_the_reader_wants() {
        let day: NaiveDate = "2026-07-07".parse().unwrap();
        let iso = Notation {
            dates: Dates::Iso,
            ..Notation::default()
        };
        let written = |notation: &Notation| {
            [
                notation.day(day),
                notation.day_and_year(day),
                notation.short_day(day),
                notation.week_day(day),
            ]
        };
        assert_eq!(
            written(&Notation::default()),
            ["7 July", "7 July 2026", "7 Jul", "Tuesday 7 July"]
        );
        assert_eq!(
            written(&us()),
            ["July 7", "July 7 2026", "Jul 7", "Tuesday July 7"]
        );
        assert_eq!(
            written(&iso),
            ["2026-07-07", "2026-07-07", "07-07", "Tuesday 2026-07-07"]
        );
    }
}
