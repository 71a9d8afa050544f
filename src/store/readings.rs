//! Daily readings as they are stored.

use super::reading_year::each_year;
use super::{Store, StoreError};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::reading::Readings;
use chrono::{Datelike, NaiveDate};

/// What a merge did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// Days that were not stored before.
    pub added: usize,
    /// Days that gained a missing extreme.
    pub completed: usize,
    /// Values that changed; the old ones are kept as revisions.
    pub revised: usize,
    /// Days that say nothing new.
    pub unchanged: usize,
    /// Values that were taken away from days that keep the other one, or have failed their
    /// publisher's quality check.
    pub withdrawn: usize,
    /// Days of which nothing is left.
    pub removed: usize,
    /// Days of rain that were added, changed or removed.
    pub rain: usize,
}

impl std::ops::AddAssign for Merged {
    fn add_assign(&mut self, more: Self) {
        self.added += more.added;
        self.completed += more.completed;
        self.revised += more.revised;
        self.unchanged += more.unchanged;
        self.withdrawn += more.withdrawn;
        self.removed += more.removed;
        self.rain += more.rain;
    }
}

impl Store {
    /// A station's readings, all of them.
    pub fn readings(&self, station: &str) -> Result<Readings, StoreError> {
        self.readings_since(station, NaiveDate::MIN)
    }

    /// A station's readings from a day on.
    pub fn readings_since(&self, station: &str, day: NaiveDate) -> Result<Readings, StoreError> {
        self.readings_within(station, day, NaiveDate::MAX)
    }

    /// A station's readings of these days.
    pub fn readings_within(
        &self,
        station: &str,
        first: NaiveDate,
        last: NaiveDate,
    ) -> Result<Readings, StoreError> {
        let mut readings = Readings::new();
        each_year(
            &self.connection,
            station,
            first.year()..=last.year(),
            |year| {
                readings.extend(
                    year.known_days()
                        .filter(|(day, _)| (first..=last).contains(day)),
                );
            },
        )?;
        Ok(readings)
    }

    /// The same for reckoning over whole years.
    pub fn daily_readings(&self, station: &str) -> Result<DailyReadings, StoreError> {
        let mut readings = DailyReadings::default();
        each_year(&self.connection, station, i32::MIN..=i32::MAX, |year| {
            if let Some((from, days)) = year.since_first_known() {
                readings.append(from, days);
            }
        })?;
        Ok(readings)
    }

    /// A station's newest day with both extremes.
    pub fn newest_day(&self, station: &str) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self
            .connection
            .prepare_cached("SELECT max(newest) FROM reading_year WHERE station = ?1")?
            .query_row([station], |row| row.get(0))?)
    }

    /// The newest day with both extremes at any station.
    pub fn newest_day_of_all(&self) -> Result<Option<NaiveDate>, StoreError> {
        Ok(self
            .connection
            .query_row("SELECT max(newest) FROM reading_year", [], |row| row.get(0))?)
    }

    /// Every station's days after a day of which something is stored.
    pub fn days_after(&self, day: NaiveDate) -> Result<Vec<(String, NaiveDate)>, StoreError> {
        let mut statement = self
            .connection
            .prepare("SELECT DISTINCT station FROM reading_year WHERE newest > ?1")?;
        let stations = statement
            .query_map([day], |row| row.get(0))?
            .collect::<Result<Vec<String>, _>>()?;
        let mut found = Vec::new();
        for station in stations {
            let days = self.readings_since(&station, day)?.into_keys();
            found.extend(
                days.filter(|one| *one > day)
                    .map(|one| (station.clone(), one)),
            );
        }
        Ok(found)
    }

    /// How often values of a station were revised.
    pub fn revisions(&self, station: &str) -> Result<u32, StoreError> {
        Ok(self.connection.query_row(
            "SELECT count(*) FROM revision WHERE station = ?1",
            [station],
            |row| row.get(0),
        )?)
    }
}
