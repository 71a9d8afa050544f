//! The season: where a sum starts and ends, north and south of the equator.

use chrono::{Datelike, Days, NaiveDate};
use std::fmt;

/// A day of the year without a year. 29 February is not allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct MonthDay {
    month: u32,
    day: u32,
}

impl MonthDay {
    /// Reads `MM-DD`, for example `01-01`; `None` if it is no day that every year has.
    pub fn parse(text: &str) -> Option<Self> {
        let (month, day) = text.split_once('-')?;
        if month.len() != 2 || day.len() != 2 {
            return None;
        }
        let (month, day) = (month.parse().ok()?, day.parse().ok()?);
        // 2023 is no leap year, so 29 February falls through.
        NaiveDate::from_ymd_opt(2023, month, day)?;
        Some(Self { month, day })
    }

    /// This day in `year`.
    pub fn in_year(self, year: i32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, self.month, self.day).expect("exists in every year")
    }

    /// The day six months on, for the other hemisphere; kept within the shorter month.
    pub fn half_a_year_on(self) -> Self {
        let month = (self.month + 5) % 12 + 1;
        let last = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month as usize - 1];
        Self {
            month,
            day: self.day.min(last),
        }
    }

    /// This day, moved half a year on south of the equator.
    pub fn at_latitude(self, latitude: f64) -> Self {
        if latitude < 0.0 {
            self.half_a_year_on()
        } else {
            self
        }
    }
}

impl fmt::Display for MonthDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}-{:02}", self.month, self.day)
    }
}

/// One run of a degree-day sum, from its start date to the day before the next start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Season {
    /// The year the season starts in.
    pub year: i32,
    /// First day of the sum.
    pub start: NaiveDate,
    /// Last day of the sum.
    pub end: NaiveDate,
}

impl Season {
    /// The season that starts on `start` in `year`.
    pub fn starting_in(year: i32, start: MonthDay) -> Self {
        let day_before_next = start.in_year(year + 1) - Days::new(1);
        Self {
            year,
            start: start.in_year(year),
            end: day_before_next,
        }
    }

    /// The season that `day` falls in.
    ///
    /// ```
    /// use chrono::NaiveDate;
    /// use hatchbell::domain::phenology::season::{MonthDay, Season};
    /// let january = MonthDay::parse("01-01").unwrap();
    /// let day = NaiveDate::from_ymd_opt(2026, 2, 3).unwrap();
    /// assert_eq!(Season::containing(day, january).year, 2026);
    /// // South of the equator the sum starts on 1 July of the year before.
    /// assert_eq!(Season::containing(day, january.at_latitude(-38.0)).year, 2025);
    /// ```
    pub fn containing(day: NaiveDate, start: MonthDay) -> Self {
        let year = if day >= start.in_year(day.year()) {
            day.year()
        } else {
            day.year() - 1
        };
        Self::starting_in(year, start)
    }

    /// The first `month_day` on or after the start.
    pub fn first(&self, month_day: MonthDay) -> NaiveDate {
        let this_year = month_day.in_year(self.year);
        if this_year >= self.start {
            this_year
        } else {
            month_day.in_year(self.year + 1)
        }
    }
}

impl fmt::Display for Season {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.end.year() == self.year {
            write!(f, "{}", self.year)
        } else {
            write!(f, "{}/{:02}", self.year, self.end.year() % 100)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).unwrap()
    }

    #[test]
    fn a_northern_season_is_the_calendar_year() {
        let season = Season::containing(date(2024, 12, 31), MonthDay::parse("01-01").unwrap());
        assert_eq!(
            (season.start, season.end),
            (date(2024, 1, 1), date(2024, 12, 31))
        );
        assert_eq!(season.to_string(), "2024");
    }

    #[test]
    fn a_southern_season_runs_from_july_over_the_new_year() {
        let start = MonthDay::parse("01-01").unwrap().at_latitude(-35.0);
        let season = Season::containing(date(2026, 1, 15), start);
        assert_eq!(
            (season.start, season.end),
            (date(2025, 7, 1), date(2026, 6, 30))
        );
        assert_eq!(season.to_string(), "2025/26");
        let cap = MonthDay::parse("09-30").unwrap().at_latitude(-35.0);
        assert_eq!(season.first(cap), date(2026, 3, 30));
    }

    #[test]
    fn days_that_not_every_year_has_are_refused() {
        for text in ["02-29", "13-01", "1-1", "06-31", "0601", ""] {
            assert_eq!(MonthDay::parse(text), None, "{text}");
        }
    }

    #[test]
    fn half_a_year_on_stays_within_the_shorter_month() {
        let end_of_august = MonthDay::parse("08-31").unwrap();
        assert_eq!(end_of_august.half_a_year_on().to_string(), "02-28");
        assert_eq!(
            MonthDay::parse("12-31")
                .unwrap()
                .half_a_year_on()
                .to_string(),
            "06-30"
        );
    }
}
