//! Reads the sources: the core does no I/O and knows no clock, the edges do not know each other,
//! and reports know neither terminal nor edge.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Sources that take values and return values; reports take the open store as well.
const PURE: [&str; 21] = [
    "src/domain",
    "src/report",
    "src/station_feed/dialect.rs",
    "src/station_feed/memory.rs",
    "src/station_feed/parsed.rs",
    "src/station_feed/quote.rs",
    "src/station_feed/refusal.rs",
    "src/station_feed/station_year.rs",
    "src/station_feed/version.rs",
    "src/feed/codes.rs",
    "src/feed/day.rs",
    "src/feed/places.rs",
    "src/feed/trial.rs",
    "src/feed/station_list.rs",
    "src/feed/table.rs",
    "src/feed/parse.rs",
    "src/feed/vetting",
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
const STRANGERS: [(&str, &[&str]); 8] = [
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
        "src/station_feed",
        &[
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
            "crate::config",
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
            "crate::config",
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
            "crate::feed",
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
        .filter(|place| !place.contains("/tests.rs:"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The folder of `src`, or the file beside them, that a source belongs to.
fn top_folder(path: &Path) -> String {
    let below = path.strip_prefix(root().join("src")).unwrap();
    let first = below.components().next().unwrap().as_os_str();
    first.to_str().unwrap().trim_end_matches(".rs").to_owned()
}

/// What each top-level folder of `src`, or file beside them, imports of the others, with the first
/// place of each import.
/// Tests may import what they like: they are no part of the program.
fn imports() -> BTreeMap<String, BTreeMap<String, String>> {
    // The roots of the program only list its parts.
    let no_part = ["src/lib.rs", "src/main.rs"].map(|path| root().join(path));
    let all: Vec<(PathBuf, String)> = sources("src")
        .into_iter()
        .filter(|(path, _)| !path.ends_with("tests.rs") && !no_part.contains(path))
        .collect();
    let folders: BTreeSet<String> = all.iter().map(|(path, _)| top_folder(path)).collect();
    let mut imports: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    for (path, text) in &all {
        let own = top_folder(path);
        for (number, line) in code(text) {
            for after in line.split("crate::").skip(1) {
                assert!(!after.starts_with('{'), "one import a line: {line}");
                let end = after.find(|c: char| !c.is_ascii_lowercase() && c != '_');
                let name = &after[..end.unwrap_or(after.len())];
                if name != own && folders.contains(name) {
                    let place = || format!("{}:{number}", path.display());
                    let of_own = imports.entry(own.clone()).or_default();
                    of_own.entry(name.to_owned()).or_insert_with(place);
                }
            }
        }
    }
    imports
}

/// A way from a folder back to itself, if there is one.
fn circle(imports: &BTreeMap<String, BTreeMap<String, String>>) -> Option<Vec<String>> {
    fn walk<'i>(
        way: &mut Vec<&'i str>,
        done: &mut BTreeSet<&'i str>,
        imports: &'i BTreeMap<String, BTreeMap<String, String>>,
    ) -> bool {
        let here = *way.last().unwrap();
        for next in imports.get(here).into_iter().flat_map(BTreeMap::keys) {
            let closes = way.contains(&next.as_str());
            way.push(next);
            if closes || (!done.contains(next.as_str()) && walk(way, done, imports)) {
                return true;
            }
            way.pop();
        }
        done.insert(here);
        false
    }
    let mut done = BTreeSet::new();
    imports.keys().find_map(|start| {
        let mut way = vec![start.as_str()];
        walk(&mut way, &mut done, imports).then(|| {
            let end = way.last().copied();
            let in_circle = way.into_iter().skip_while(|name| Some(*name) != end);
            in_circle.map(str::to_owned).collect()
        })
    })
}

#[test]
fn folders_import_each_other_in_no_circle() {
    let imports = imports();
    assert!(imports["cycle"].contains_key("store"), "{imports:?}");
    if let Some(way) = circle(&imports) {
        let places = way.windows(2).map(|step| &imports[&step[0]][&step[1]]);
        let places: Vec<&String> = places.collect();
        panic!("{}: {places:#?}", way.join(" -> "));
    }
}

#[test]
fn a_circle_is_found_however_long_it_is() {
    let of = |edges: &[(&str, &str)]| {
        let mut imports: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
        for (from, to) in edges {
            let of_own = imports.entry((*from).to_owned()).or_default();
            of_own.insert((*to).to_owned(), String::new());
        }
        circle(&imports)
    };
    assert_eq!(of(&[("a", "b"), ("a", "c"), ("b", "d"), ("c", "d")]), None);
    let way = of(&[("a", "b"), ("b", "c"), ("c", "d"), ("d", "b")]).unwrap();
    assert_eq!(way, ["b", "c", "d", "b"]);
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
