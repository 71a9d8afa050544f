//! How somebody wants numbers and dates written.

use chrono::format::{Fixed, Item, Numeric, StrftimeItems};

/// A system of units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Units {
    /// °C, mm, m² and hectares.
    #[default]
    Metric,
    /// Those usual in the United States: °F, inches, ft², acres.
    Us,
}

impl Units {
    /// Every system with the name it has in configuration files and on the command line.
    pub const NAMED: [(&'static str, Units); 2] = [("metric", Units::Metric), ("us", Units::Us)];
}

/// How a day is written.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Dates {
    /// Year, month and day by ISO 8601: `2026-07-07`.
    Iso,
    /// By a pattern for a day of a year that is known.
    Pattern(DatePattern),
}

impl Default for Dates {
    /// `7 July`.
    fn default() -> Self {
        Self::Pattern(DatePattern("%-d %B".to_owned()))
    }
}

/// A pattern of day and month in the notation of `strftime` (POSIX), for example `%B %-d` for `July 7`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct DatePattern(String);

/// Why a text is no pattern for dates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DatePatternError {
    /// It has something that is not in a day and month.
    #[error(
        "only a day (%d, %-d) and a month (%B, %b, %m) can be in it; the year is added where needed"
    )]
    NotADate,
    /// A day or a month is missing.
    #[error("it needs a day (%-d) and a month (%B)")]
    Incomplete,
}

impl DatePattern {
    /// Longest pattern, characters.
    const LONGEST: usize = 30;

    /// A pattern from its text.
    ///
    /// # Errors
    /// [`DatePatternError`].
    pub fn parse(text: &str) -> Result<Self, DatePatternError> {
        let (mut days, mut months) = (0, 0);
        for item in StrftimeItems::new(text) {
            match item {
                Item::Literal(words) if !words.contains(char::is_control) => {}
                Item::Space(" ") => {}
                Item::Numeric(Numeric::Day, _) => days += 1,
                Item::Numeric(Numeric::Month, _)
                | Item::Fixed(Fixed::LongMonthName | Fixed::ShortMonthName) => months += 1,
                _ => return Err(DatePatternError::NotADate),
            }
        }
        if text.chars().count() > Self::LONGEST {
            return Err(DatePatternError::NotADate);
        }
        match (days, months) {
            (1, 1) => Ok(Self(text.to_owned())),
            _ => Err(DatePatternError::Incomplete),
        }
    }

    /// The pattern.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The same with the month's short name.
    pub fn short(&self) -> String {
        self.0.replace("%B", "%b")
    }
}

/// How somebody wants numbers and dates written.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Notation {
    /// In which units.
    pub units: Units,
    /// How days are written.
    pub dates: Dates,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_has_one_day_and_one_month_and_nothing_else() {
        for fine in ["%-d %B", "%B %-d", "%d.%m.", "%b %d"] {
            assert!(DatePattern::parse(fine).is_ok(), "{fine}");
        }
        for (text, error) in [
            ("%H:%M", DatePatternError::NotADate),
            ("%-d %B %Y", DatePatternError::NotADate),
            ("%Q", DatePatternError::NotADate),
            ("%-d\n%B", DatePatternError::NotADate),
            ("%B", DatePatternError::Incomplete),
            ("", DatePatternError::Incomplete),
            ("%d %d %B", DatePatternError::Incomplete),
        ] {
            assert_eq!(DatePattern::parse(text), Err(error), "{text:?}");
        }
    }
}
