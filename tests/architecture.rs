//! Reads the sources: the core does no I/O and knows no clock, the edges do not know each other,
//! and reports know neither terminal nor edge.

use std::fs;
use std::path::{Path, PathBuf};

/// Sources that take values and return values; reports take the open store as well.
const PURE: [&str; 17] = [
    "src/domain",
    "src/report",
    "src/feed/dialect.rs",
    "src/feed/codes.rs",
    "src/feed/day.rs",
    "src/feed/places.rs",
    "src/feed/trial.rs",
    "src/feed/station_list.rs",
    "src/feed/table.rs",
    "src/feed/parse.rs",
    "src/feed/vet.rs",
    "src/feed/guard.rs",
    "src/feed/guard",
    "src/notify/wording.rs",
    "src/notify/wording",
    "src/config/fields.rs",
    "src/config/problem.rs",
];

/// What reaches out of a function: files, network, processes, time, environment, output, threads.
const REACHES_OUT: [&str; 18] = [
    "std::fs",
    "std::net",
    "std::process",
    "std::env",
    "std::thread",
    "std::io",
    "SystemTime",
    "Instant",
    "Utc::now",
    "Local::now",
    "tokio",
    "reqwest",
    "rusqlite",
    "lettre",
    "async fn",
    "println!",
    "tracing::",
    ".await",
];

/// A folder and what it must not know.
const STRANGERS: [(&str, &[&str]); 7] = [
    (
        "src/domain",
        &[
            "crate::report",
            "crate::feed",
            "crate::store",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
        ],
    ),
    (
        "src/feed",
        &[
            "crate::report",
            "crate::store",
            "crate::notify",
            "crate::cycle",
            "crate::cli",
        ],
    ),
    (
        "src/notify",
        &[
            "crate::report",
            "crate::store",
            "crate::feed",
            "crate::cycle",
            "crate::cli",
        ],
    ),
    (
        "src/store",
        &[
            "crate::report",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
        ],
    ),
    (
        "src/config",
        &[
            "crate::report",
            "crate::store",
            "crate::cycle",
            "crate::cli",
        ],
    ),
    ("src/cycle", &["crate::report", "crate::cli"]),
    (
        "src/report",
        &[
            "crate::feed",
            "crate::cli",
            "crate::clock",
            "notify::email",
            "notify::push",
            "notify::local",
            "clap",
            "comfy_table",
            "textwrap",
            "indicatif",
            "askama",
        ],
    ),
];

const MOST_LINES: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(under: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut waiting = vec![root().join(under)];
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(
                fs::read_dir(&path)
                    .unwrap()
                    .map(|entry| entry.unwrap().path()),
            );
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
    assert!(!found.is_empty(), "{under} holds no sources");
    found
}

/// Lines of code without comments, and without the tests at the end.
fn code(text: &str) -> Vec<(usize, &str)> {
    let program = text.split("#[cfg(test)]").next().unwrap_or("");
    program
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line.split("//").next().unwrap_or("")))
        .collect()
}

fn places(under: &str, forbidden: &[&str]) -> Vec<String> {
    let mut places = Vec::new();
    for (path, text) in sources(under) {
        for (number, line) in code(&text) {
            for word in forbidden.iter().filter(|word| line.contains(**word)) {
                places.push(format!("{}:{number}: {word}", path.display()));
            }
        }
    }
    places
}

#[test]
fn the_core_does_no_io_and_knows_no_clock() {
    let found: Vec<String> = PURE
        .iter()
        .flat_map(|under| places(under, &REACHES_OUT))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn edges_do_not_know_each_other() {
    let found: Vec<String> = STRANGERS
        .iter()
        .flat_map(|(under, strangers)| places(under, strangers))
        // The supply works by a station's configuration, and the store keeps its validators.
        .filter(|place| !place.contains("feed/supply.rs"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn only_the_clock_reads_the_time() {
    let found: Vec<String> = places("src", &["Utc::now", "Local::now", "SystemTime::now"])
        .into_iter()
        .filter(|place| !place.contains("src/clock.rs"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_source_is_too_long_to_read() {
    let long: Vec<String> = sources("src")
        .into_iter()
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > MOST_LINES)
        .map(|(path, lines)| format!("{} has {lines} lines", path.display()))
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn the_check_itself_finds_what_it_looks_for() {
    assert!(!places("src/feed/fetch.rs", &REACHES_OUT).is_empty());
    assert!(!places("src/cycle", &["crate::store"]).is_empty());
}
