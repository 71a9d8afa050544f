//! Batches: what was taken in can be taken back, to the last bit, and nothing that came since is lost.

use crate::support::command::Workshop;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use hatchbell::domain::weather::rain::Rain;
use hatchbell::domain::weather::reading::{Reading, Readings};
use hatchbell::station_feed::parsed::{Element, Parsed};
use hatchbell::store::Store;
use hatchbell::store::batches::{BatchKind, OpenBatch};
use hatchbell::store::readings::Merged;
use hatchbell::store::taking_in::{Said, TakenIn};
use hatchbell::store::undo::UndoError;
use proptest::prelude::*;

const MEADOW: &str = "meadow";
const STATIONS: [&str; 2] = [MEADOW, "orchard"];
const NEVER: &str = "0001-01-01";

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn noon() -> DateTime<Utc> {
    "2026-07-01T12:00:00Z".parse().unwrap()
}

fn open(workshop: &Workshop) -> Store {
    Store::open_for_a_while(&workshop.path("hatchbell.db")).unwrap()
}

fn reading(min: f64, max: f64) -> Reading {
    Reading {
        min: Some(min),
        max: Some(max),
    }
}

fn parsed(days: &[(&str, Reading)], rain: &[(&str, f64)]) -> Parsed {
    Parsed {
        readings: days.iter().map(|(day, r)| (date(day), *r)).collect(),
        rain: rain.iter().map(|(day, mm)| (date(day), *mm)).collect(),
        ..Parsed::default()
    }
}

fn import(store: &mut Store, parsed: &Parsed) -> Option<i64> {
    let mut batch = OpenBatch::of_import("file.csv".into());
    let stations = [(MEADOW, parsed)];
    store.merge_all(&stations, &mut batch, noon()).unwrap();
    batch.number()
}

fn feed(store: &mut Store, parsed: &Parsed) -> TakenIn {
    let said = Said::of(parsed);
    store
        .take_in(MEADOW, said, "https://feeds.example/a.csv".into(), noon())
        .unwrap()
}

fn undo(store: &mut Store, number: i64) -> hatchbell::store::undo::Undone {
    store.undo_batch(number, false, noon()).unwrap()
}

fn stored(store: &Store) -> Vec<(Readings, Rain)> {
    let of = |station: &&str| {
        let readings = store.readings(station).unwrap();
        (readings, store.rain_since(station, date(NEVER)).unwrap())
    };
    STATIONS.iter().map(of).collect()
}

fn day_of(store: &Store, day: &str) -> Option<Reading> {
    store.readings(MEADOW).unwrap().get(&date(day)).copied()
}

#[test]
fn an_undone_import_takes_its_days_away_and_gives_old_values_back_also_after_a_restart() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let half = Reading {
        min: None,
        max: Some(20.0),
    };
    let before = parsed(
        &[("2026-06-01", reading(9.0, 20.0)), ("2026-06-02", half)],
        &[("2026-06-01", 4.0)],
    );
    import(&mut store, &before);
    let was = stored(&store);
    let wrong = parsed(
        &[
            ("2026-06-01", reading(48.0, 68.0)),
            ("2026-06-02", reading(8.0, 20.0)),
            ("2026-06-03", reading(50.0, 70.0)),
        ],
        &[("2026-06-01", 40.0), ("2026-06-03", 1.0)],
    );
    let number = import(&mut store, &wrong).unwrap();
    assert_ne!(stored(&store), was);
    drop(store);
    let mut store = open(&workshop);
    let undone = undo(&mut store, number);
    assert_eq!(stored(&store), was);
    let counts = Merged {
        removed: 1,
        withdrawn: 1,
        revised: 2,
        rain: 2,
        ..Merged::default()
    };
    assert_eq!(undone.stations, [(MEADOW.to_owned(), counts)]);
    assert_eq!(store.newest_day(MEADOW).unwrap(), Some(date("2026-06-01")));
}

#[test]
fn an_undo_can_be_undone_and_a_batch_is_not_undone_twice() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let file = parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]);
    let number = import(&mut store, &file).unwrap();
    let with = stored(&store);
    let undo_of = undo(&mut store, number).number;
    let again = store.undo_batch(number, false, noon()).unwrap_err();
    assert!(matches!(again, UndoError::UndoneBefore { by, .. } if by == undo_of));
    assert!(again.to_string().contains(&format!("--undo {undo_of}")));
    undo(&mut store, undo_of);
    assert_eq!(stored(&store), with);
    // The batch is in force again.
    undo(&mut store, number);
    assert!(store.readings(MEADOW).unwrap().is_empty());
    assert!(matches!(
        store.undo_batch(99, false, noon()).unwrap_err(),
        UndoError::Unknown {
            number: 99,
            newest: Some(4)
        }
    ));
}

#[test]
fn what_has_changed_since_is_left_alone_and_named() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    import(
        &mut store,
        &parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]),
    );
    let file = parsed(
        &[
            ("2026-06-01", reading(9.0, 30.0)),
            ("2026-06-02", reading(9.0, 21.0)),
        ],
        &[],
    );
    let number = import(&mut store, &file).unwrap();
    // The feed revises one of them and brings a day of its own.
    let revised = parsed(
        &[
            ("2026-06-01", reading(9.0, 25.0)),
            ("2026-06-03", reading(8.0, 22.0)),
        ],
        &[],
    );
    assert!(feed(&mut store, &revised).batch.is_some());
    let undone = undo(&mut store, number);
    assert_eq!(undone.left_alone, [(MEADOW.to_owned(), date("2026-06-01"))]);
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 25.0)));
    assert_eq!(day_of(&store, "2026-06-02"), None);
    assert_eq!(day_of(&store, "2026-06-03"), Some(reading(8.0, 22.0)));
}

#[test]
fn a_day_of_which_only_one_value_could_go_back_is_left_alone_if_its_minimum_would_lie_above() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    import(
        &mut store,
        &parsed(&[("2026-06-01", reading(0.0, 10.0))], &[]),
    );
    let warmer = parsed(&[("2026-06-01", reading(20.0, 30.0))], &[]);
    let number = import(&mut store, &warmer).unwrap();
    let later = parsed(&[("2026-06-01", reading(15.0, 30.0))], &[]);
    import(&mut store, &later);
    let error = store.undo_batch(number, false, noon()).unwrap_err();
    assert!(matches!(error, UndoError::NothingLeft(_)), "{error}");
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(15.0, 30.0)));
}

#[test]
fn a_day_that_a_feed_brought_after_an_undo_is_not_lost_by_undoing_the_undo() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let file = parsed(
        &[("2026-06-01", reading(9.0, 20.0))],
        &[("2026-06-01", 2.0)],
    );
    let number = import(&mut store, &file).unwrap();
    let undo_of = undo(&mut store, number).number;
    let other = parsed(
        &[("2026-06-01", reading(7.0, 18.0))],
        &[("2026-06-01", 5.0)],
    );
    assert_eq!(feed(&mut store, &other).batch, None);
    let error = store.undo_batch(undo_of, false, noon()).unwrap_err();
    assert!(matches!(error, UndoError::NothingLeft(_)), "{error}");
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(7.0, 18.0)));
}

#[test]
fn new_days_of_a_feed_are_no_batch_and_a_revision_a_withdrawal_or_other_rain_is_one() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let half = Reading {
        min: None,
        max: Some(20.0),
    };
    let first = parsed(&[("2026-06-01", half)], &[("2026-06-01", 2.0)]);
    assert_eq!(feed(&mut store, &first).batch, None);
    let completed = parsed(
        &[
            ("2026-06-01", reading(9.0, 20.0)),
            ("2026-06-02", reading(9.0, 21.0)),
        ],
        &[("2026-06-02", 0.0)],
    );
    assert_eq!(feed(&mut store, &completed).batch, None);
    let revised = parsed(&[("2026-06-01", reading(9.0, 22.0))], &[]);
    assert_eq!(feed(&mut store, &revised).batch, Some(1));
    let wetter = parsed(&[], &[("2026-06-02", 3.0)]);
    assert_eq!(feed(&mut store, &wetter).batch, Some(2));
    let failed = Parsed {
        failed: vec![(date("2026-06-02"), Element::Max)],
        ..Parsed::default()
    };
    assert_eq!(feed(&mut store, &failed).batch, Some(3));
    assert_eq!(feed(&mut store, &failed).batch, None);
    for number in [3, 2, 1] {
        undo(&mut store, number);
    }
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 20.0)));
    assert_eq!(day_of(&store, "2026-06-02"), Some(reading(9.0, 21.0)));
    let rain = store.rain_since(MEADOW, date(NEVER)).unwrap();
    assert_eq!(rain[&date("2026-06-02")], 0.0);
}

#[test]
fn what_a_feed_said_in_an_undone_batch_stays_out_until_it_says_something_else() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let good = parsed(
        &[("2026-06-01", reading(9.0, 20.0))],
        &[("2026-06-01", 2.0)],
    );
    feed(&mut store, &good);
    let mut bad = parsed(
        &[
            ("2026-06-01", reading(9.0, 33.0)),
            ("2026-06-02", reading(20.0, 34.0)),
        ],
        &[("2026-06-01", 99.0)],
    );
    let number = feed(&mut store, &bad).batch.unwrap();
    let was = undo(&mut store, number);
    assert_eq!(was.refused, 4);
    let without = stored(&store);
    // The same file again, with a new day.
    bad.readings.insert(date("2026-06-03"), reading(8.0, 19.0));
    let taken = feed(&mut store, &bad);
    assert_eq!((taken.left_out, taken.merged.added), (4, 1));
    assert_eq!(taken.batch, None);
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 20.0)));
    assert_eq!(day_of(&store, "2026-06-02"), None);
    assert_eq!(stored(&store)[0].1, without[0].1);
    // Something else is taken in, and is what the feed may say from then on.
    let other = parsed(&[("2026-06-01", reading(9.0, 21.0))], &[]);
    assert_eq!(feed(&mut store, &other).merged.revised, 1);
    assert_eq!(feed(&mut store, &bad).merged.revised, 1);
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 33.0)));
    assert_eq!(day_of(&store, "2026-06-02"), None);
}

#[test]
fn a_withdrawal_that_was_undone_is_not_made_again_until_the_value_comes_back() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let good = parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]);
    feed(&mut store, &good);
    let failed = Parsed {
        failed: vec![(date("2026-06-01"), Element::Max)],
        ..Parsed::default()
    };
    let number = feed(&mut store, &failed).batch.unwrap();
    undo(&mut store, number);
    assert_eq!(feed(&mut store, &failed).left_out, 1);
    assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 20.0)));
    feed(&mut store, &good);
    assert_eq!(feed(&mut store, &failed).merged.withdrawn, 1);
}

#[test]
fn undoing_the_undo_or_importing_the_file_lets_a_feed_say_it_again() {
    for by_hand in [false, true] {
        let workshop = Workshop::new();
        let mut store = open(&workshop);
        feed(
            &mut store,
            &parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]),
        );
        let revised = parsed(&[("2026-06-01", reading(9.0, 24.0))], &[]);
        let number = feed(&mut store, &revised).batch.unwrap();
        let undo_of = undo(&mut store, number).number;
        if by_hand {
            import(&mut store, &revised);
        } else {
            undo(&mut store, undo_of);
        }
        assert_eq!(day_of(&store, "2026-06-01"), Some(reading(9.0, 24.0)));
        assert_eq!(feed(&mut store, &revised).left_out, 0, "{by_hand}");
    }
}

#[test]
fn a_dry_run_of_an_undo_changes_nothing() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let file = parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]);
    let number = import(&mut store, &file).unwrap();
    let was = stored(&store);
    let told = store.undo_batch(number, true, noon()).unwrap();
    assert_eq!(told.stations[0].1.removed, 1);
    assert_eq!(stored(&store), was);
    assert_eq!(store.batches(None, 20).unwrap().len(), 1);
}

#[test]
fn batches_are_listed_newest_first_with_what_they_did_and_who_undid_them() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let file = parsed(&[("2026-06-01", reading(9.0, 20.0))], &[]);
    import(&mut store, &file);
    assert_eq!(import(&mut store, &file), None, "it changes nothing");
    let revised = parsed(&[("2026-06-01", reading(9.0, 24.0))], &[]);
    feed(&mut store, &revised);
    undo(&mut store, 2);
    let batches = store.batches(None, 20).unwrap();
    let shown: Vec<_> = batches
        .iter()
        .map(|batch| (batch.number, batch.kind, batch.undoes, batch.undone_by))
        .collect();
    assert_eq!(
        shown,
        [
            (3, BatchKind::Undo, Some(2), None),
            (2, BatchKind::Feed, None, Some(3)),
            (1, BatchKind::Import, None, None),
        ]
    );
    assert_eq!(batches[2].stations[0].1.added, 1);
    assert_eq!(store.batches(Some("orchard"), 20).unwrap(), []);
    assert_eq!(store.batches(Some(MEADOW), 2).unwrap().len(), 2);
}

/// Ninety years of maximum, minimum and rain are a batch of some kilobytes.
#[test]
fn a_long_history_costs_little_to_be_able_to_undo() {
    let workshop = Workshop::new();
    let mut store = open(&workshop);
    let days: Vec<NaiveDate> = date("1930-01-01").iter_days().take(90 * 365).collect();
    let history = Parsed {
        readings: days.iter().map(|day| (*day, reading(5.0, 15.0))).collect(),
        rain: days.iter().map(|day| (*day, 1.0)).collect(),
        ..Parsed::default()
    };
    let number = import(&mut store, &history).unwrap();
    let bytes: i64 = rusqlite::Connection::open(workshop.path("hatchbell.db"))
        .unwrap()
        .query_row("SELECT sum(length(changes)) FROM batch_year", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert!(bytes < 90 * 20, "{bytes}");
    assert_eq!(undo(&mut store, number).stations[0].1.removed, 90 * 365);
    assert_eq!(stored(&store)[0], Default::default());
}

/// A step of the life of a database that is a batch, or brings new days of a feed.
#[derive(Debug, Clone)]
struct Step {
    by_feed: bool,
    /// Of each station.
    files: [Parsed; 2],
}

/// Days around a turn of the year, so that batches share them and span two years.
fn a_day() -> impl Strategy<Value = NaiveDate> {
    (0..12_u64).prop_map(|offset| date("2023-12-27") + Days::new(offset))
}

fn a_value() -> impl Strategy<Value = f64> {
    (-40..40_i32).prop_map(|tenths| f64::from(tenths) / 7.0)
}

fn a_file() -> impl Strategy<Value = Parsed> {
    let value = || prop::option::of(a_value());
    let a_reading = (value(), value()).prop_map(|(min, max)| Reading { min, max });
    let element = prop::sample::select(vec![Element::Min, Element::Max]);
    let readings = prop::collection::btree_map(a_day(), a_reading, 0..10);
    let rain = prop::collection::btree_map(a_day(), (0..40_i32).prop_map(f64::from), 0..6);
    let failed = prop::collection::vec((a_day(), element), 0..3);
    (readings, rain, failed).prop_map(|(readings, rain, failed)| Parsed {
        readings,
        rain,
        failed,
        ..Parsed::default()
    })
}

fn a_step() -> impl Strategy<Value = Step> {
    let files = [a_file(), a_file()];
    (any::<bool>(), files).prop_map(|(by_feed, files)| Step { by_feed, files })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Imports of one or two files each, files of feeds, and undos among them: undone in the reverse
    /// order each leaves exactly what was there before it.
    #[test]
    fn batches_undone_in_reverse_order_restore_what_was_there(
        steps in prop::collection::vec((a_step(), prop::option::of(0..4_usize)), 1..8)
    ) {
        let workshop = Workshop::new();
        let mut store = open(&workshop);
        let mut before: Vec<(i64, Vec<(Readings, Rain)>)> = Vec::new();
        for (place, (step, undoes)) in (0..).zip(&steps) {
            let now = noon() + TimeDelta::hours(place);
            let was = stored(&store);
            let newest = store.newest_batch().unwrap();
            let made = match undoes.and_then(|back| before.iter().rev().nth(back)) {
                // Of what can be undone out of order nothing is known but that it can be undone.
                Some((number, _)) => match store.undo_batch(*number, false, now) {
                    Ok(undone) => Some(undone.number),
                    Err(UndoError::UndoneBefore { .. } | UndoError::NothingLeft(_)) => None,
                    Err(error) => panic!("{error}"),
                },
                None if step.by_feed => {
                    let said = Said::of(&step.files[0]);
                    let taken = store.take_in(MEADOW, said, "a feed".into(), now).unwrap();
                    if taken.batch.is_none() && stored(&store) != was {
                        // New days that no undo takes away: those before them cannot be restored
                        // to the letter any more.
                        before.clear();
                    }
                    taken.batch
                }
                None => {
                    let mut batch = OpenBatch::of_import("two files".into());
                    for file in &step.files {
                        store.merge_all(&[(MEADOW, file), ("orchard", file)], &mut batch, now).unwrap();
                    }
                    batch.number()
                }
            };
            prop_assert_eq!(made.is_some(), store.newest_batch().unwrap() != newest);
            before.extend(made.map(|number| (number, was)));
        }
        for (number, was) in before.into_iter().rev() {
            match store.undo_batch(number, false, noon()) {
                Ok(undone) => prop_assert_eq!(undone.left_alone, []),
                // Undone above already and not brought back since, or an import that came to nothing.
                Err(UndoError::UndoneBefore { by, .. }) => {
                    panic!("batch {number} should be in force, but {by} has undone it")
                }
                Err(error) => prop_assert_eq!(&stored(&store), &was, "{}", error),
            }
            prop_assert_eq!(&stored(&store), &was);
        }
    }
}
