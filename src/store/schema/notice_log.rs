//! One log of what was told, from the three tables that kept it before.

use crate::store::StoreError;
use rusqlite::{OptionalExtension, Transaction};

/// The steps that were kept of an option, of the season as a whole, and of an application's water.
const UNKNOWN_STEP: &str = "
    SELECT subject || ', ' || step FROM advised WHERE NOT (
        step IN ('opens', 'best-ahead', 'last-call', 'too-late')
        OR (step IN ('counting', 'nothing-left', 'hold-back') AND subject = step)
        OR (step IN ('due', 'done', 'missed', 'lacking-again')
            AND species = '' AND subject = CAST(CAST(subject AS INTEGER) AS TEXT))
    ) LIMIT 1";

const CONVERT: &str = "
    CREATE TABLE notice_log (
        id            INTEGER PRIMARY KEY,
        kind          TEXT NOT NULL,
        site          TEXT NOT NULL,
        species       TEXT,                     -- none: about the site as a whole
        season        INTEGER,                  -- year it starts in; of an application, of its day
        option        TEXT,
        journal_entry INTEGER,                  -- an application's first number
        due           TEXT,                     -- the day it was about
        told_at       TEXT NOT NULL
    ) STRICT;
    CREATE INDEX notice_log_site ON notice_log (site, species, season);

    INSERT INTO notice_log (kind, site, species, season, option, journal_entry, due, told_at)
    SELECT * FROM (
        SELECT step, site, species, season, subject, NULL, due, told_at AS at
        FROM advised WHERE step IN ('opens', 'best-ahead', 'last-call', 'too-late')
        UNION ALL
        SELECT step, site, species, season, NULL, NULL, due, told_at
        FROM advised WHERE step IN ('counting', 'nothing-left', 'hold-back')
        UNION ALL
        SELECT 'water-' || step, site, NULL, season, NULL, CAST(subject AS INTEGER), due, told_at
        FROM advised WHERE step IN ('due', 'done', 'missed', 'lacking-again')
        UNION ALL
        SELECT 'held', site, species, season, NULL, NULL, NULL, told_at FROM held
        UNION ALL
        SELECT 'stale', site, NULL, NULL, NULL, NULL, NULL, told_at FROM quiet
    ) ORDER BY at, site, species, subject, step;

    DROP TABLE advised;
    DROP TABLE held;
    DROP TABLE quiet;
";

/// Keeps every notice in one table, with what it was about in columns of its own.
pub(super) fn convert(transaction: &Transaction<'_>) -> Result<(), StoreError> {
    let unknown: Option<String> = transaction
        .query_row(UNKNOWN_STEP, [], |row| row.get(0))
        .optional()?;
    if let Some(value) = unknown {
        let wanted = "a step that people are told of";
        return Err(StoreError::Value { value, wanted });
    }
    Ok(transaction.execute_batch(CONVERT)?)
}

#[cfg(test)]
mod tests {
    use super::super::{MIGRATIONS, Migration, migrate};
    use crate::domain::telling::notice_log::{LoggedKind, LoggedNotice, WateringStep};
    use crate::domain::treatment::steps::Step;
    use crate::store::milestones::Pair;
    use crate::store::{Store, StoreError};
    use rusqlite::Connection;
    use std::path::Path;

    const TOLD_BEFORE: &str = "
        INSERT INTO advised (site, species, season, subject, step, due, told_at) VALUES
            ('lawn', 'japanese-beetle', 2025, 'diamide', 'last-call', '2025-06-01',
             '2025-05-25 06:00:00+00:00'),
            ('lawn', 'japanese-beetle', 2026, 'diamide', 'too-late', '2026-06-01',
             '2026-06-02 06:00:00+00:00'),
            ('lawn', 'japanese-beetle', 2026, 'diamide', 'best-ahead', '2026-05-01',
             '2026-04-20 06:00:00+00:00'),
            ('lawn', 'japanese-beetle', 2026, 'counting', 'counting', NULL,
             '2026-08-03 06:00:00+00:00'),
            ('lawn', 'japanese-beetle', 2026, 'nothing-left', 'nothing-left', NULL,
             '2026-10-02 06:00:00+00:00'),
            ('lawn', 'european-chafer', 2026, 'hold-back', 'hold-back', NULL,
             '2026-08-04 06:00:00+00:00'),
            ('lawn', '', 2026, '7', 'due', '2026-06-11', '2026-06-10 06:00:00+00:00'),
            ('lawn', '', 2026, '7', 'done', '2026-06-11', '2026-06-11 06:00:00+00:00'),
            ('lawn', '', 2026, '7', 'lacking-again', '2026-06-11', '2026-06-12 06:00:00+00:00'),
            ('lawn', '', 2026, '12', 'missed', '2026-06-20', '2026-06-25 06:00:00+00:00');
        INSERT INTO held (site, species, season, told_at) VALUES
            ('lawn', 'european-chafer', 2026, '2026-07-01 06:00:00+00:00');
        INSERT INTO quiet (site, told_at) VALUES ('rink', '2026-07-02 06:00:00+00:00');
    ";

    /// A database as it was before the log, with what was told until then.
    fn older(told: &str) -> Connection {
        let mut connection = Connection::open_in_memory().unwrap();
        let transaction = connection.transaction().unwrap();
        for migration in &MIGRATIONS[..6] {
            match migration {
                Migration::Sql(statements) => transaction.execute_batch(statements).unwrap(),
                Migration::Function(convert) => convert(&transaction).unwrap(),
            }
        }
        transaction.pragma_update(None, "user_version", 6).unwrap();
        transaction.execute_batch(told).unwrap();
        transaction.commit().unwrap();
        connection
    }

    fn told(notice: &LoggedNotice) -> (LoggedKind, Option<&str>, Option<i64>, String, String) {
        (
            notice.kind,
            notice.option.as_deref(),
            notice.journal_entry,
            notice.due.map_or(String::new(), |due| due.to_string()),
            notice.told_at.date_naive().to_string(),
        )
    }

    #[test]
    fn every_notice_of_an_older_database_is_in_the_log_in_the_order_it_was_told() {
        let mut connection = older(TOLD_BEFORE);
        migrate(&mut connection, Path::new("older.db")).unwrap();
        let store = Store {
            connection,
            running: None,
        };
        let pair = |species| Pair {
            site: "lawn",
            species,
        };
        // Steps and counting are of the site as a whole now; the tests of water are below.
        let season = |year| store.notices_of_season("lawn", year).unwrap();
        let this_year = season(2026);
        let of_treatments = |notice: &&LoggedNotice| notice.journal_entry.is_none();
        let text = str::to_owned;
        let (diamide, none) = (Some("diamide"), text(""));
        assert_eq!(
            this_year
                .notices()
                .iter()
                .filter(of_treatments)
                .map(told)
                .collect::<Vec<_>>(),
            [
                (
                    LoggedKind::Step(Step::BestAhead),
                    diamide,
                    None,
                    text("2026-05-01"),
                    text("2026-04-20")
                ),
                (
                    LoggedKind::Step(Step::TooLate),
                    diamide,
                    None,
                    text("2026-06-01"),
                    text("2026-06-02")
                ),
                (
                    LoggedKind::CountNow,
                    None,
                    None,
                    none.clone(),
                    text("2026-08-03")
                ),
                (
                    LoggedKind::HoldBack,
                    None,
                    None,
                    none.clone(),
                    text("2026-08-04")
                ),
                (
                    LoggedKind::NothingLeft,
                    None,
                    None,
                    none.clone(),
                    text("2026-10-02")
                ),
            ]
        );
        assert_eq!(
            season(2025).last_step("diamide").unwrap().step,
            Step::LastCall
        );
        let of_pair = |species| store.notices_of_pair(pair(species), 2026).unwrap();
        assert!(of_pair("european-chafer").is_held() && !of_pair("japanese-beetle").is_held());
        let site = store.notices_of_site("lawn").unwrap();
        assert_eq!(
            site.watering_steps(7),
            [
                WateringStep::Due,
                WateringStep::Done,
                WateringStep::LackingAgain
            ]
        );
        assert_eq!(site.watering_steps(12), [WateringStep::Missed]);
        let water = LoggedKind::Watering(WateringStep::Due);
        let first = site
            .notices()
            .iter()
            .find(|notice| notice.kind == water)
            .unwrap();
        assert_eq!(
            told(first),
            (water, None, Some(7), text("2026-06-11"), text("2026-06-10"))
        );
        assert_eq!(first.season, Some(2026));
        assert!(!site.is_stale() && store.notices_of_site("rink").unwrap().is_stale());
    }

    #[test]
    fn a_step_that_nobody_knows_is_refused_by_its_name_and_nothing_is_changed() {
        let odd = "INSERT INTO advised (site, species, season, subject, step, due, told_at)
                   VALUES ('lawn', '', 2026, 'seven', 'done', NULL, '2026-06-11 06:00:00+00:00')";
        let mut connection = older(odd);
        let refused = migrate(&mut connection, Path::new("older.db")).unwrap_err();
        assert!(
            matches!(&refused, StoreError::Value { value, .. } if value == "seven, done"),
            "{refused}"
        );
        let kept: i64 = connection
            .query_row("SELECT count(*) FROM advised", [], |row| row.get(0))
            .unwrap();
        assert_eq!(kept, 1);
    }
}
