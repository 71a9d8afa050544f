//! Whether the database is sound, by SQLite's own judgement.

use super::{Store, StoreError};
use rusqlite::{Connection, ErrorCode};

/// Faults that are named; more make no difference.
const MOST_FAULTS: usize = 20;

impl Store {
    /// What SQLite's integrity check and the check of references find; nothing for a sound database.
    ///
    /// # Errors
    /// [`StoreError`] if the database cannot be read for another reason than damage.
    pub fn faults(&self) -> Result<Vec<String>, StoreError> {
        faults(&self.connection)
    }
}

/// As [`Store::faults`].
pub(super) fn faults(connection: &Connection) -> Result<Vec<String>, StoreError> {
    let checked = integrity(connection).and_then(|mut faults| {
        faults.extend(references(connection)?);
        faults.truncate(MOST_FAULTS);
        Ok(faults)
    });
    match checked {
        Err(error) if is_damage(&error) => Ok(vec![error.to_string()]),
        other => Ok(other?),
    }
}

fn is_damage(error: &rusqlite::Error) -> bool {
    let code = error.sqlite_error_code();
    matches!(
        code,
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)
    )
}

fn integrity(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let sql = format!("PRAGMA integrity_check({MOST_FAULTS})");
    let mut statement = connection.prepare(&sql)?;
    let lines = statement.query_map([], |row| row.get::<_, String>(0))?;
    let mut faults = Vec::new();
    for line in lines {
        let line = line?;
        // One answer may hold several lines, the first a heading.
        let lines = line.lines().map(str::trim);
        faults.extend(
            lines
                .filter(|line| !matches!(*line, "ok" | "") && !line.starts_with("***"))
                .map(str::to_owned),
        );
    }
    Ok(faults)
}

fn references(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let lines = statement.query_map([], |row| {
        let (table, row_number, parent): (String, Option<i64>, String) =
            (row.get(0)?, row.get(1)?, row.get(2)?);
        let which = row_number.map_or_else(String::new, |number| format!("row {number} of "));
        Ok(format!(
            "{which}{table} refers to a {parent} that is not there"
        ))
    })?;
    lines.take(MOST_FAULTS).collect()
}
