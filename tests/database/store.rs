//! What the database keeps: real files, merged and never mirrored.

use crate::support::command::Workshop;
use crate::support::species::{date, steady};
use chrono::{DateTime, TimeDelta, Utc};
use hatchbell::domain::place::site::Channel;
use hatchbell::domain::weather::reading::Reading;
use hatchbell::station_feed::parsed::Element;
use hatchbell::store::milestones::{Pair, Recording};
use hatchbell::store::outbox::{About, Draft, Tally};
use hatchbell::store::readings::Merged;
use hatchbell::store::{RunLock, Store, StoreError};

fn at(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

fn noon() -> DateTime<Utc> {
    at("2026-07-01T12:00:00Z")
}

fn draft(channel: Channel) -> Draft<'static> {
    Draft {
        recipient: "keeper",
        member: "member",
        channel,
        title: "a title".into(),
        body: "a text".into(),
        urgent: false,
        about: About {
            kinds: vec!["season", "count"],
            places: vec!["lawn"],
            ..About::default()
        },
    }
}

fn open(workshop: &Workshop) -> Store {
    Store::open(&workshop.path("hatchbell.db")).expect("it opens")
}

#[test]
fn a_file_that_shrinks_deletes_nothing() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let whole = steady("2026-01-01", "2026-03-31", 10.0);
    store.merge("a", &whole, noon()).unwrap();
    let short = steady("2026-01-01", "2026-01-05", 10.0);
    let merged = store.merge("a", &short, noon()).unwrap();
    assert_eq!(
        merged,
        Merged {
            unchanged: 5,
            ..Merged::default()
        }
    );
    assert_eq!(store.readings("a").unwrap(), whole);
}

#[test]
fn a_revised_value_replaces_the_old_one_which_is_kept() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    store
        .merge("a", &steady("2026-01-01", "2026-01-03", 10.0), noon())
        .unwrap();
    let mut revised = steady("2026-01-02", "2026-01-02", 10.0);
    revised.get_mut(&date("2026-01-02")).unwrap().max = Some(26.0);
    let merged = store.merge("a", &revised, noon()).unwrap();
    assert_eq!((merged.revised, merged.unchanged), (1, 0));
    assert_eq!(
        store.readings("a").unwrap()[&date("2026-01-02")].max,
        Some(26.0)
    );
    assert_eq!(store.revisions("a").unwrap(), 1);
    let old: f64 = rusqlite::Connection::open(workshop.path("hatchbell.db"))
        .unwrap()
        .query_row("SELECT old_c FROM revision", [], |row| row.get(0))
        .unwrap();
    assert_eq!(old, 25.0);
}

#[test]
fn the_two_extremes_of_a_day_may_arrive_apart_and_a_voided_one_stays() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let day = date("2026-07-01");
    let one = |min, max| [(day, Reading { min, max })].into_iter().collect();
    store.merge("a", &one(None, Some(25.0)), noon()).unwrap();
    let merged = store.merge("a", &one(Some(12.0), None), noon()).unwrap();
    assert_eq!(merged.completed, 1);
    let both = Reading {
        min: Some(12.0),
        max: Some(25.0),
    };
    assert_eq!(store.readings("a").unwrap()[&day], both);
    store.merge("a", &one(None, None), noon()).unwrap();
    assert_eq!(store.readings("a").unwrap()[&day], both);
}

#[test]
fn the_same_reading_written_in_another_unit_is_no_revision() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let day = date("2026-07-01");
    let one = |min: f64| {
        [(
            day,
            Reading {
                min: Some(min),
                max: Some(25.0),
            },
        )]
        .into_iter()
        .collect()
    };
    store.merge("a", &one(2.2), noon()).unwrap();
    let merged = store
        .merge("a", &one((35.96 - 32.0) / 1.8), noon())
        .unwrap();
    assert_eq!(merged.unchanged, 1);
}

#[test]
fn a_new_database_can_be_read_by_its_owner_only() {
    use std::os::unix::fs::PermissionsExt;
    let workshop = Workshop::new();
    drop(open(&workshop));
    let mode = std::fs::metadata(workshop.path("hatchbell.db"))
        .unwrap()
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
}

#[test]
fn a_database_of_a_newer_program_is_refused_and_left_alone() {
    let workshop = Workshop::new();
    drop(open(&workshop));
    let path = workshop.path("hatchbell.db");
    rusqlite::Connection::open(&path)
        .unwrap()
        .pragma_update(None, "user_version", 999)
        .unwrap();
    for opened in [Store::open(&path), Store::open_to_read(&path)] {
        let error = opened.expect_err("it is too new");
        assert!(
            matches!(error, StoreError::TooNew { found: 999, .. }),
            "{error}"
        );
        assert!(error.to_string().contains("update hatchbell"), "{error}");
    }
}

#[test]
fn a_file_that_is_no_database_is_refused() {
    let workshop = Workshop::new();
    workshop.write("hatchbell.db", &"no database ".repeat(200));
    assert!(Store::open(&workshop.path("hatchbell.db")).is_err());
    assert!(workshop.read("hatchbell.db").starts_with("no database"));
}

#[test]
fn crossing_and_message_are_written_together_or_not_at_all() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let pair = Pair {
        site: "lawn",
        species: "japanese-beetle",
    };
    let watch = Recording::Watch {
        pair,
        from: date("2026-07-01"),
    };
    store
        .record(std::slice::from_ref(&watch), &[], noon())
        .unwrap();
    // The second watch of the same pair breaks the whole transaction, the message with it.
    let failed = store.record(&[watch], &[draft(Channel::Push)], noon());
    assert!(failed.is_err());
    assert_eq!(store.tally().unwrap(), Tally::default());
}

#[test]
fn the_last_digest_is_written_with_its_message_or_not_at_all() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let digest = Recording::Digest {
        recipient: "keeper",
    };
    assert_eq!(store.last_digest("keeper").unwrap(), None);
    store
        .record(std::slice::from_ref(&digest), &[], noon())
        .unwrap();
    let watch = Recording::Watch {
        pair: Pair {
            site: "lawn",
            species: "japanese-beetle",
        },
        from: date("2026-07-01"),
    };
    store
        .record(std::slice::from_ref(&watch), &[], noon())
        .unwrap();
    let later = noon() + TimeDelta::days(7);
    let failed = store.record(&[digest.clone(), watch], &[draft(Channel::Push)], later);
    assert!(failed.is_err());
    assert_eq!(store.last_digest("keeper").unwrap(), Some(noon()));
    store
        .record(&[digest], &[draft(Channel::Push)], later)
        .unwrap();
    assert_eq!(store.last_digest("keeper").unwrap(), Some(later));
    assert_eq!(store.last_digest("somebody-else").unwrap(), None);
}

#[test]
fn whether_a_message_is_urgent_is_kept() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let urgent = Draft {
        urgent: true,
        ..draft(Channel::Email)
    };
    store
        .record(&[], &[draft(Channel::Push), urgent], noon())
        .unwrap();
    let due = store.due(noon(), 0).unwrap();
    let kept: Vec<bool> = due.iter().map(|due| due.urgent).collect();
    assert_eq!(kept, [false, true]);
}

#[test]
fn a_value_that_fails_its_quality_check_later_is_taken_back_and_kept_as_a_revision() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let day = date("2026-01-02");
    store
        .merge("a", &steady("2026-01-01", "2026-01-03", 10.0), noon())
        .unwrap();
    let failed = [(day, Element::Max), (date("2026-02-01"), Element::Min)];
    assert_eq!(store.withdraw("a", &failed, noon()).unwrap(), 1);
    assert_eq!(store.readings("a").unwrap()[&day].max, None);
    assert_eq!(store.revisions("a").unwrap(), 1);
    assert_eq!(
        store.withdraw("a", &failed, noon()).unwrap(),
        0,
        "once is enough"
    );
}

#[test]
fn only_one_process_runs_cycles_on_a_database() {
    let workshop = Workshop::new();
    let path = workshop.path("hatchbell.db");
    let lock = RunLock::take(&path).unwrap();
    let second = RunLock::take(&path)
        .expect_err("the first one holds it")
        .to_string();
    assert!(second.contains("another hatchbell runs"), "{second}");
    drop(lock);
    assert!(RunLock::take(&path).is_ok());
}
