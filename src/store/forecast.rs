//! The newest forecast of each station, and every one that ever arrived.

use super::{Store, StoreError};
use crate::domain::weather::forecast::{Forecast, is_current};
use crate::domain::weather::forecast_skill::KeptForecast;
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::{Reading, Readings};
use crate::domain::weather::wind::Wind;
use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Connection, OptionalExtension, params};
use std::collections::BTreeSet;

impl Store {
    /// Replaces a station's forecast, and keeps its temperatures with the day of its issue for good. A
    /// later one of the same day takes the place of an earlier one there. One that says word for word what
    /// the stored one says is no new one and stays as old as it is.
    pub fn replace_forecast(&mut self, station: &str, new: &Forecast) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        if let Some(issued) = issued(&transaction, station)?
            && of(&transaction, station, issued)?.says_the_same(new)
        {
            return Ok(());
        }
        transaction.execute("DELETE FROM forecast WHERE station = ?1", [station])?;
        let days: BTreeSet<&NaiveDate> = new
            .days
            .keys()
            .chain(new.rain.keys())
            .chain(new.wind.keys())
            .collect();
        for day in days {
            let reading = new.days.get(day).copied().unwrap_or_default();
            transaction
                .prepare_cached(
                    "INSERT INTO forecast (station, day, min_c, max_c, rain_mm, wind_ms, issued_at)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                )?
                .execute(params![
                    station,
                    day,
                    reading.min,
                    reading.max,
                    new.rain.get(day),
                    new.wind.get(day),
                    new.issued
                ])?;
            if reading != Reading::default() {
                transaction
                    .prepare_cached(
                        "INSERT INTO forecast_kept (station, issued_on, day, min_c, max_c)
                         VALUES (?1, ?2, ?3, ?4, ?5)
                         ON CONFLICT DO UPDATE SET min_c = excluded.min_c, max_c = excluded.max_c",
                    )?
                    .execute(params![
                        station,
                        new.issued.date_naive(),
                        day,
                        reading.min,
                        reading.max
                    ])?;
            }
        }
        transaction.commit()?;
        Ok(())
    }

    /// A station's forecast, if there is one that may be used on a day.
    pub fn forecast(
        &self,
        station: &str,
        today: NaiveDate,
    ) -> Result<Option<Forecast>, StoreError> {
        match self.forecast_issued(station)? {
            Some(issued) if is_current(issued, today) => {
                Ok(Some(of(&self.connection, station, issued)?))
            }
            _ => Ok(None),
        }
    }

    /// The forecasts of a station that were issued from one day through another, oldest first.
    pub fn kept_forecasts(
        &self,
        station: &str,
        (from, through): (NaiveDate, NaiveDate),
    ) -> Result<Vec<KeptForecast>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT issued_on, day, min_c, max_c FROM forecast_kept
             WHERE station = ?1 AND issued_on BETWEEN ?2 AND ?3 ORDER BY issued_on, day",
        )?;
        let mut rows = statement.query(params![station, from, through])?;
        let mut kept: Vec<KeptForecast> = Vec::new();
        while let Some(row) = rows.next()? {
            let issued_on = row.get(0)?;
            let reading = Reading {
                min: row.get(2)?,
                max: row.get(3)?,
            };
            match kept.last_mut() {
                Some(last) if last.issued_on == issued_on => {
                    last.days.insert(row.get(1)?, reading);
                }
                _ => kept.push(KeptForecast {
                    issued_on,
                    days: [(row.get(1)?, reading)].into(),
                }),
            }
        }
        Ok(kept)
    }

    /// Notes that a forecast was asked for and did not come; returns since when none has come.
    pub fn forecast_failed(
        &self,
        station: &str,
        now: DateTime<Utc>,
    ) -> Result<DateTime<Utc>, StoreError> {
        let name = failing(station);
        self.connection
            .prepare_cached(
                "INSERT INTO note (name, value) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            )?
            .execute(params![name, now])?;
        Ok(self
            .connection
            .prepare_cached("SELECT value FROM note WHERE name = ?1")?
            .query_row([name], |row| row.get(0))?)
    }

    /// Notes that a forecast came.
    pub fn forecast_came(&self, station: &str) -> Result<(), StoreError> {
        self.connection
            .prepare_cached("DELETE FROM note WHERE name = ?1")?
            .execute([failing(station)])?;
        Ok(())
    }

    /// When a station's newest forecast was taken in, whether or not it has lapsed; `None` as well
    /// for one that an older program stored without an instant.
    pub fn forecast_issued(&self, station: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
        issued(&self.connection, station)
    }
}

/// The note that says since when no forecast has come.
fn failing(station: &str) -> String {
    format!("no-forecast-since {station}")
}

fn issued(connection: &Connection, station: &str) -> Result<Option<DateTime<Utc>>, StoreError> {
    Ok(connection
        .prepare_cached("SELECT issued_at FROM forecast WHERE station = ?1 LIMIT 1")?
        .query_row([station], |row| row.get(0))
        .optional()?
        .flatten())
}

fn of(
    connection: &Connection,
    station: &str,
    issued: DateTime<Utc>,
) -> Result<Forecast, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day, min_c, max_c, rain_mm, wind_ms FROM forecast WHERE station = ?1",
    )?;
    let mut rows = statement.query([station])?;
    let mut forecast = Forecast {
        issued,
        days: Readings::new(),
        rain: Rain::new(),
        wind: Wind::new(),
    };
    while let Some(row) = rows.next()? {
        let day: NaiveDate = row.get(0)?;
        let reading = Reading {
            min: row.get(1)?,
            max: row.get(2)?,
        };
        if reading != Reading::default() {
            forecast.days.insert(day, reading);
        }
        forecast
            .rain
            .extend(row.get::<_, Option<f64>>(3)?.map(|mm| (day, mm)));
        forecast
            .wind
            .extend(row.get::<_, Option<f64>>(4)?.map(|ms| (day, ms)));
    }
    Ok(forecast)
}
