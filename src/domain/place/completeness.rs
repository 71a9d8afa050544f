//! How complete a station's days are: the share of days with each extreme.

use crate::domain::place::years::Years;
use crate::domain::weather::reading::{Readings, newest_complete};
use chrono::{Datelike, Months, NaiveDate};

/// Years that days are counted over.
pub const YEARS_COUNTED: i32 = 10;

/// What days were counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountedIn {
    /// The stored readings of a configured station.
    Readings,
    /// The archive of every station, in these of its years; some between may not be in it.
    Archive(Years),
}

/// Days with the two extremes out of all days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Completeness {
    /// Days with a maximum.
    pub maximum: u32,
    /// Days with a minimum.
    pub minimum: u32,
    /// Days with both.
    pub whole: u32,
    /// All days.
    pub of: u32,
    /// What they were counted in.
    pub counted_in: CountedIn,
}

impl Completeness {
    /// Counts the last ten years of readings, or as many as there are; `None` without a whole day.
    pub fn of(readings: &Readings) -> Option<Self> {
        let newest = newest_complete(readings)?;
        let first = *readings.keys().next()?;
        let from = first.max(newest - Months::new(12 * YEARS_COUNTED.unsigned_abs()));
        let mut counted = Self::nothing(CountedIn::Readings);
        counted.count(readings, from, newest);
        Some(counted)
    }

    /// Counts an archive's readings of a station. Days of a year that the archive does not hold
    /// are not counted, nor those before the station began: `since` is its first year.
    ///
    /// # Method
    /// Those of `years` are counted that are among the [`YEARS_COUNTED`] up to the last of them, up to
    /// `through`, the newest day of the archive. A station that ended in an earlier year is counted up to its own newest day, since
    /// that it ended is told otherwise; one that began within the years, from its first day on.
    ///
    /// # Units
    /// Days.
    ///
    /// # Valid range
    /// `years` in ascending order. `None` without a whole day in these years.
    ///
    /// # References
    /// A count; none.
    ///
    /// # Examples
    /// ```
    /// use hatchbell::domain::place::completeness::Completeness;
    /// use hatchbell::domain::weather::reading::{Reading, Readings};
    /// let day = |text: &str| text.parse().unwrap();
    /// let whole = Reading { min: Some(11.0), max: Some(24.0) };
    /// let readings = Readings::from([
    ///     (day("2025-12-31"), whole),
    ///     (day("2026-01-01"), whole),
    ///     (day("2026-01-02"), Reading { min: None, max: Some(9.0) }),
    /// ]);
    /// // 2024 is not in the archive.
    /// let counted = Completeness::archived(&readings, &[2023, 2025, 2026], 1950, day("2026-01-04"));
    /// let counted = counted.unwrap();
    /// assert_eq!((counted.maximum, counted.minimum, counted.of), (3, 2, 365 + 365 + 4));
    /// ```
    pub fn archived(
        readings: &Readings,
        years: &[i32],
        since: i32,
        through: NaiveDate,
    ) -> Option<Self> {
        let first = first_counted(years)?;
        let years: Vec<i32> = years.iter().copied().filter(|y| *y >= first).collect();
        let span = Years {
            first: *years.first()?,
            last: *years.last()?,
        };
        let of_years: Readings = readings
            .iter()
            .filter(|(day, _)| years.contains(&day.year()))
            .map(|(day, reading)| (*day, *reading))
            .collect();
        let newest = newest_complete(&of_years)?;
        let first = *of_years.keys().next()?;
        let through = match newest.year() == through.year() {
            true => through.max(newest),
            false => newest,
        };
        let mut counted = Self::nothing(CountedIn::Archive(span));
        for year in years {
            let from = NaiveDate::from_ymd_opt(year, 1, 1)?;
            let to = NaiveDate::from_ymd_opt(year, 12, 31)?.min(through);
            let from = match since >= span.first {
                true => from.max(first),
                false => from,
            };
            counted.count(&of_years, from, to);
        }
        Some(counted)
    }

    fn nothing(counted_in: CountedIn) -> Self {
        Self {
            maximum: 0,
            minimum: 0,
            whole: 0,
            of: 0,
            counted_in,
        }
    }

    /// Counts the days from one through another.
    fn count(&mut self, readings: &Readings, from: NaiveDate, to: NaiveDate) {
        if from > to {
            return;
        }
        for reading in readings.range(from..=to).map(|(_, reading)| reading) {
            self.maximum += u32::from(reading.max.is_some());
            self.minimum += u32::from(reading.min.is_some());
            self.whole += u32::from(reading.extremes().is_some());
        }
        self.of += (to - from).num_days() as u32 + 1;
    }

    /// Days without a maximum, percent.
    pub fn without_maximum_percent(self) -> f64 {
        self.percent_without(self.maximum)
    }

    /// Days without a minimum, percent.
    pub fn without_minimum_percent(self) -> f64 {
        self.percent_without(self.minimum)
    }

    /// Days that are not whole, percent.
    pub fn missing_percent(self) -> f64 {
        self.percent_without(self.whole)
    }

    fn percent_without(self, days: u32) -> f64 {
        100.0 * f64::from(self.of - days) / f64::from(self.of)
    }
}

/// The first year that counts of an archive's years, which are in ascending order.
pub fn first_counted(years: &[i32]) -> Option<i32> {
    Some(years.last()? - YEARS_COUNTED + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::Reading;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn whole_from(from: &str, to: &str) -> Readings {
        let reading = Reading {
            min: Some(10.0),
            max: Some(20.0),
        };
        let days = day(from).iter_days().take_while(|one| *one <= day(to));
        days.map(|day| (day, reading)).collect()
    }

    #[test]
    fn stored_readings_are_counted_from_their_first_to_their_newest_whole_day() {
        let mut readings = whole_from("2026-01-01", "2026-07-19");
        for (index, reading) in readings.values_mut().enumerate() {
            reading.max = (index % 4 != 0).then_some(20.0);
        }
        let counted = Completeness::of(&readings).unwrap();
        assert_eq!((counted.whole, counted.of), (150, 200));
        assert_eq!((counted.maximum, counted.minimum), (150, 200));
        assert_eq!(counted.missing_percent(), 25.0);
        assert_eq!(counted.without_minimum_percent(), 0.0);
        assert_eq!(Completeness::of(&Readings::new()), None);
    }

    #[test]
    fn only_the_newest_ten_years_of_an_archive_are_counted() {
        let readings = whole_from("2010-01-01", "2025-12-31");
        let years: Vec<i32> = (2010..=2025).collect();
        let counted = Completeness::archived(&readings, &years, 1950, day("2025-12-31")).unwrap();
        assert_eq!((counted.whole, counted.of), (3653, 3653));
        let span = Years {
            first: 2016,
            last: 2025,
        };
        assert_eq!(counted.counted_in, CountedIn::Archive(span));
        // A single year of long ago is none of them.
        let with_a_hole = [2010, 2025];
        let counted = Completeness::archived(&readings, &with_a_hole, 1950, day("2025-12-31"));
        assert_eq!(counted.unwrap().of, 365);
    }

    #[test]
    fn days_before_a_station_began_and_after_it_ended_are_not_missing() {
        let years = [2024, 2025, 2026];
        let through = day("2026-07-01");
        let began = whole_from("2025-12-31", "2026-07-01");
        let counted = Completeness::archived(&began, &years, 2025, through).unwrap();
        assert_eq!((counted.whole, counted.of), (183, 183));
        // One that is older has lost what is not there.
        let older = Completeness::archived(&began, &years, 1990, through).unwrap();
        assert_eq!((older.whole, older.of), (183, 366 + 365 + 182));
        let ended = whole_from("2024-01-01", "2025-03-31");
        let counted = Completeness::archived(&ended, &years, 1990, through).unwrap();
        assert_eq!((counted.whole, counted.of), (366 + 90, 366 + 90));
    }

    #[test]
    fn a_station_that_is_late_this_year_lacks_the_days_that_others_have() {
        let late = whole_from("2026-01-01", "2026-05-31");
        let counted = Completeness::archived(&late, &[2026], 1990, day("2026-06-10")).unwrap();
        assert_eq!((counted.whole, counted.of), (151, 161));
    }

    #[test]
    fn without_a_whole_day_nothing_is_said() {
        let before = whole_from("2010-01-01", "2010-12-31");
        let through = day("2025-12-31");
        assert_eq!(
            Completeness::archived(&before, &[2025], 1990, through),
            None
        );
        assert_eq!(Completeness::archived(&before, &[], 1990, through), None);
    }
}
