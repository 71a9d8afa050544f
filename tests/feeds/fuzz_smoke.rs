//! What a stranger's file can never do, held against every file of the fuzz corpus and a bounded
//! number of changes to them. `tests/fuzz/Cargo.toml` says how to look for more by hand.

#[path = "../fuzz/properties.rs"]
mod properties;

use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, RngSeed, TestRunner};
use std::fs;
use std::path::Path;

/// Changed files tried for each kind of file.
const CASES: u32 = 3000;
/// Most changes to one file.
const MOST_CHANGES: usize = 6;
/// Most bytes of the corpus, all files together.
const LARGEST_CORPUS: usize = 200_000;

/// What random bytes seldom spell: pieces of feed and configuration files.
const WORDS: [&str; 34] = [
    "\n",
    "\r\n",
    ",",
    "\t",
    ";",
    "\"",
    "\u{feff}",
    "\0",
    "\u{1b}[2J",
    "°",
    "-",
    "0",
    "9",
    ".",
    "e",
    "-9999",
    "1e308",
    "NaN",
    "TMAX",
    "TMIN",
    "DATE",
    "ZZW00000001",
    "2026-06-30",
    "20260701",
    "0001-01-01",
    "9999-12-31",
    "[",
    "]]",
    "[[station]]\n",
    " = ",
    "'''",
    "time,",
    "#",
    "\\u0000",
];

fn corpus(kind: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let entries = fs::read_dir(folder.join(kind)).expect("the corpus is there");
    let mut files: Vec<(String, Vec<u8>)> = entries
        .map(|entry| {
            let path = entry.expect("it can be listed").path();
            let bytes = fs::read(&path).expect("it can be read");
            (path.display().to_string(), bytes)
        })
        .collect();
    files.sort();
    assert!(files.len() >= 5, "{kind} has {} files", files.len());
    files
}

#[derive(Debug, Clone)]
enum Change {
    Replace(Index, u8),
    Insert(Index, &'static str),
    Remove(Index, Index),
    Repeat(Index, Index),
    CutOff(Index),
}

fn change() -> impl Strategy<Value = Change> {
    let place = any::<Index>;
    prop_oneof![
        (place(), any::<u8>()).prop_map(|(at, byte)| Change::Replace(at, byte)),
        (place(), prop::sample::select(&WORDS[..])).prop_map(|(at, word)| Change::Insert(at, word)),
        (place(), place()).prop_map(|(from, to)| Change::Remove(from, to)),
        (place(), place()).prop_map(|(from, to)| Change::Repeat(from, to)),
        place().prop_map(Change::CutOff),
    ]
}

fn changed(mut bytes: Vec<u8>, changes: &[Change]) -> Vec<u8> {
    for change in changes {
        let places = bytes.len() + 1;
        let range = |from: &Index, to: &Index| {
            let (from, to) = (from.index(places), to.index(places));
            from.min(to)..from.max(to)
        };
        match change {
            Change::Replace(at, byte) => {
                let at = at.index(places);
                if let Some(place) = bytes.get_mut(at) {
                    *place = *byte;
                }
            }
            Change::Insert(at, word) => {
                let at = at.index(places);
                bytes.splice(at..at, word.bytes());
            }
            Change::Remove(from, to) => drop(bytes.drain(range(from, to))),
            Change::Repeat(from, to) => {
                let piece = range(from, to);
                let copy = bytes[piece.clone()].to_vec();
                bytes.splice(piece.end..piece.end, copy);
            }
            Change::CutOff(at) => bytes.truncate(at.index(places)),
        }
    }
    bytes
}

/// Changes files of the corpus the same way each time; a broken property is shrunk.
fn holds_for_changed_files(kind: &str, property: fn(&[u8])) {
    let files: Vec<Vec<u8>> = corpus(kind).into_iter().map(|(_, bytes)| bytes).collect();
    let changes = prop::collection::vec(change(), 1..=MOST_CHANGES);
    let config = Config {
        cases: CASES,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20_260_710),
        ..Config::default()
    };
    TestRunner::new(config)
        .run(
            &(prop::sample::select(files), changes),
            |(file, changes)| {
                property(&changed(file, &changes));
                Ok(())
            },
        )
        .unwrap_or_else(|broken| panic!("{kind}: {broken}"));
}

#[test]
fn every_feed_file_of_the_corpus_is_refused_or_gives_possible_readings() {
    for (name, bytes) in corpus("feed_files") {
        println!("{name}");
        properties::of_a_feed_file(&bytes);
    }
}

#[test]
fn every_configuration_of_the_corpus_loads_or_is_refused_at_a_place_in_it() {
    for (name, bytes) in corpus("config_files") {
        println!("{name}");
        properties::of_a_config_file(&bytes);
    }
}

#[test]
fn every_station_file_of_the_corpus_is_refused_or_gives_stations_on_the_globe() {
    for (name, bytes) in corpus("station_files") {
        println!("{name}");
        properties::of_a_station_file(&bytes);
    }
}

#[test]
fn a_changed_station_file_is_refused_or_gives_stations_on_the_globe() {
    holds_for_changed_files("station_files", properties::of_a_station_file);
}

#[test]
fn a_changed_feed_file_is_refused_or_gives_possible_readings() {
    holds_for_changed_files("feed_files", properties::of_a_feed_file);
}

#[test]
fn a_changed_configuration_loads_or_is_refused_at_a_place_in_it() {
    holds_for_changed_files("config_files", properties::of_a_config_file);
}

#[test]
fn the_corpus_stays_small() {
    let bytes: usize = ["feed_files", "config_files", "station_files"]
        .iter()
        .flat_map(|kind| corpus(kind))
        .map(|(_, bytes)| bytes.len())
        .sum();
    assert!(bytes <= LARGEST_CORPUS, "the corpus has {bytes} bytes");
}
