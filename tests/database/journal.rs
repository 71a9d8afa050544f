//! The journal keeps what was entered as it was stated, and forgets nothing.

use chrono::{DateTime, NaiveDate, Utc};
use hatchbell::domain::journal::{Application, JournalAction};
use hatchbell::domain::scouting::Found;
use hatchbell::domain::scouting::SampleArea;
use hatchbell::store::Store;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn now() -> DateTime<Utc> {
    "2026-06-10T06:00:00Z".parse().unwrap()
}

fn store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("hatchbell.db")).unwrap();
    (folder, store)
}

fn deeds() -> Vec<JournalAction> {
    let area = SampleArea::from_ft2(0.25).unwrap();
    let species = || "japanese-beetle".to_owned();
    vec![
        JournalAction::Catch {
            species: species(),
            beetles: None,
        },
        JournalAction::Catch {
            species: species(),
            beetles: Some(0),
        },
        JournalAction::Application(Application {
            option: "imidacloprid".into(),
            area: "5000 ft2".parse().unwrap(),
            rate: Some("3 oz/1000ft2".parse().unwrap()),
            most_a_season: Some("4 oz/1000ft2".parse().unwrap()),
            record: Default::default(),
        }),
        JournalAction::Application(Application {
            option: "chlorantraniliprole".into(),
            area: "0.5 ha".parse().unwrap(),
            rate: None,
            most_a_season: None,
            record: Default::default(),
        }),
        JournalAction::Count {
            species: species(),
            found: Found::of_samples(3, area, 7, Some(vec![3, 4, 0])).unwrap(),
        },
        JournalAction::Count {
            species: species(),
            found: Found::Density(64.5),
        },
        JournalAction::Irrigation {
            depth: "0.5 in".parse().unwrap(),
        },
        JournalAction::Note { damage: Some(true) },
        JournalAction::Note { damage: None },
    ]
}

#[test]
fn every_kind_of_entry_is_read_back_as_it_was_stated() {
    let (_folder, store) = store();
    for action in deeds() {
        let remark = Some("with dew");
        store
            .log("lawn", day("2026-06-08"), &action, remark, now())
            .unwrap();
    }
    let entries = store.entries("lawn").unwrap();
    let read: Vec<JournalAction> = entries.iter().map(|entry| entry.action.clone()).collect();
    assert_eq!(read, deeds());
    assert!(
        entries
            .iter()
            .all(|entry| entry.remark.as_deref() == Some("with dew"))
    );
    assert!(store.entries("rink").unwrap().is_empty());
}

#[test]
fn an_edited_entry_stands_in_the_place_of_the_old_one_which_stays_readable() {
    let (folder, mut store) = store();
    let water = |depth: &str| JournalAction::Irrigation {
        depth: depth.parse().unwrap(),
    };
    let first = store
        .log("lawn", day("2026-06-08"), &water("6mm"), None, now())
        .unwrap();
    let old = store.entry(first).unwrap().unwrap();
    let new = store
        .replace(&old, day("2026-06-09"), &water("16mm"), None, now())
        .unwrap();
    let entries = store.entries("lawn").unwrap();
    assert_eq!(entries.len(), 1);
    assert_eq!(Some(entries[0].number), new);
    assert_eq!(
        (entries[0].day, &entries[0].action),
        (day("2026-06-09"), &water("16mm"))
    );
    assert_eq!(
        store
            .replace(&old, old.day, &old.action, None, now())
            .unwrap(),
        None
    );
    let rows = rusqlite::Connection::open(folder.path().join("hatchbell.db")).unwrap();
    let kept: (i64, i64) = rows
        .query_row("SELECT count(*), sum(replaces) FROM journal", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    assert_eq!(kept, (2, first));
}

#[test]
fn an_undone_entry_no_longer_counts_and_cannot_be_undone_twice() {
    let (_folder, store) = store();
    let catch = &deeds()[0];
    let number = store
        .log("lawn", day("2026-06-08"), catch, None, now())
        .unwrap();
    assert!(store.undo(number, now()).unwrap());
    assert!(!store.undo(number, now()).unwrap());
    assert_eq!(store.entry(number).unwrap(), None);
    assert!(store.entries("lawn").unwrap().is_empty());
}
