//! Values held out of sums, and what was decided of values.

use super::batches::OpenBatch;
use super::findings::{begin, end, go_on};
use super::taking_in::{Said, take_in};
use super::{Store, StoreError, understood};
use crate::domain::telling::feed_trouble::{Finding, Trouble};
use crate::domain::weather::reading::Readings;
use crate::station_feed::memory::{DecidedValue, HeldValue, HoldReason};
use crate::station_feed::parsed::Element;
use chrono::{DateTime, Utc};
use rusqlite::{Transaction, params};

/// Who decides of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DecidedBy {
    /// Whoever runs hatchbell, by command.
    Command,
    /// The file has said it long enough.
    Time,
}

impl DecidedBy {
    fn name(self) -> &'static str {
        match self {
            Self::Command => "command",
            Self::Time => "time",
        }
    }
}

fn element(is_max: bool) -> Element {
    if is_max { Element::Max } else { Element::Min }
}

impl Store {
    /// A station's values that are held out of sums.
    pub fn held_values(&self, station: &str) -> Result<Vec<HeldValue>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT day, element = 'max', celsius, since, reason, least_c, greatest_c
             FROM held_value WHERE station = ?1 ORDER BY day, element",
        )?;
        let rows = statement.query_map([station], |row| {
            let expected = row.get::<_, Option<f64>>(5)?.zip(row.get(6)?);
            let held = HeldValue {
                day: row.get(0)?,
                element: element(row.get(1)?),
                celsius: row.get(2)?,
                since: row.get(3)?,
                reason: HoldReason::Gap,
                expected,
            };
            Ok((held, row.get::<_, String>(4)?))
        })?;
        rows.map(|row| {
            let (held, reason) = row?;
            let reason = understood(&reason, "a reason", HoldReason::from_name)?;
            Ok(HeldValue { reason, ..held })
        })
        .collect()
    }

    /// What was decided of a station's values.
    pub fn decided_values(&self, station: &str) -> Result<Vec<DecidedValue>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT day, element = 'max', celsius, decision = 'confirmed'
             FROM decided_value WHERE station = ?1 ORDER BY day, element",
        )?;
        let rows = statement.query_map([station], |row| {
            Ok(DecidedValue {
                day: row.get(0)?,
                element: element(row.get(1)?),
                celsius: row.get(2)?,
                confirmed: row.get(3)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Puts down the values of a station that are held now, in the place of those that were, and
    /// what was decided by command: confirmed values become readings. `finding` is what `status`
    /// shows of the held ones, if there are any.
    pub fn settle_held(
        &mut self,
        station: &str,
        held: &[HeldValue],
        decided: &[DecidedValue],
        finding: Option<&Finding>,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let transaction = self.immediate()?;
        replace_held(&transaction, station, held)?;
        decide(&transaction, station, (decided, DecidedBy::Command), now)?;
        let mut confirmed = Readings::new();
        for value in decided.iter().filter(|value| value.confirmed) {
            let reading = confirmed.entry(value.day).or_default();
            *value.element.of_mut(reading) = Some(value.celsius);
        }
        let mut batch = OpenBatch::of_import("values confirmed by command".to_owned());
        let said = Said::of_readings(&confirmed);
        take_in(&transaction, station, said, &mut batch, now)?;
        match finding {
            Some(finding) if go_on(&transaction, station, finding)? => {}
            Some(finding) => begin(&transaction, station, finding, None, now)?,
            None => end(&transaction, station, Trouble::Outlier, now)?,
        }
        transaction.commit()?;
        Ok(())
    }
}

/// Puts held values in the place of a station's.
pub(super) fn replace_held(
    transaction: &Transaction<'_>,
    station: &str,
    held: &[HeldValue],
) -> Result<(), StoreError> {
    transaction
        .prepare_cached("DELETE FROM held_value WHERE station = ?1")?
        .execute([station])?;
    let mut insert = transaction.prepare_cached(
        "INSERT INTO held_value (station, day, element, celsius, since, reason, least_c, greatest_c)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?;
    for one in held {
        insert.execute(params![
            station,
            one.day,
            one.element.name(),
            one.celsius,
            one.since,
            one.reason.name(),
            one.expected.map(|(least, _)| least),
            one.expected.map(|(_, greatest)| greatest),
        ])?;
    }
    Ok(())
}

/// Puts down decisions; the last one of a value counts.
pub(super) fn decide(
    transaction: &Transaction<'_>,
    station: &str,
    (decided, by): (&[DecidedValue], DecidedBy),
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO decided_value (station, day, element, celsius, decision, decided_by, decided_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (station, day, element, celsius) DO UPDATE SET
             decision = excluded.decision,
             decided_by = excluded.decided_by,
             decided_at = excluded.decided_at",
    )?;
    for one in decided {
        let decision = if one.confirmed {
            "confirmed"
        } else {
            "refused"
        };
        insert.execute(params![
            station,
            one.day,
            one.element.name(),
            one.celsius,
            decision,
            by.name(),
            now
        ])?;
    }
    Ok(())
}
