//! The published history of one station, played through the intake: 707 downloads of GHCN-Daily's
//! file of Milwaukee (USW00014839), February 2022 to August 2026, as a folder of real data that
//! HATCHBELL_REAL_DATA names holds them: the first and the last file, every change between, and the
//! file that was really cut off. Without the folder there is nothing to look at, and the test says
//! so.
//!
//! Left out to keep it quick: downloads in which no temperature changed, and of those that only add
//! days, two of three. The downloads pause from April 2023 to April 2025; the days of the pause are
//! taken from the last file.

#[path = "support/command.rs"]
mod command;
#[path = "support/engine.rs"]
mod engine;

use chrono::{DateTime, NaiveDate, Utc};
use command::config_with;
use engine::Play;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Maximum and minimum in tenths of a degree Celsius.
type Pair = (Option<i32>, Option<i32>);
type File = BTreeMap<NaiveDate, Pair>;

/// When the cut-off file was downloaded, and when the next one, which was whole.
const CUT_OFF: &str = "2025-04-22T16:12:20Z";
const WHOLE_AGAIN: &str = "2025-04-22T17:36:34Z";

fn folder() -> Option<PathBuf> {
    let folder = std::env::var_os("HATCHBELL_REAL_DATA").map(PathBuf::from);
    if folder.is_none() {
        println!("nothing looked at: HATCHBELL_REAL_DATA names no folder");
    }
    folder.map(|folder| folder.join("ghcn_replay_milwaukee"))
}

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn instant(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

fn text(folder: &Path, name: &str) -> String {
    std::fs::read_to_string(folder.join(name)).expect("the folder is whole")
}

/// The temperatures of a file of the download.
fn file(text: &str) -> File {
    let tenths = |field: &str| {
        let fahrenheit: Option<f64> = field.parse().ok();
        fahrenheit.map(|value| ((value - 32.0) / 1.8 * 10.0).round() as i32)
    };
    text.lines()
        .skip(1)
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            (date(fields[3]), (tenths(fields[8]), tenths(fields[9])))
        })
        .collect()
}

/// A change of one day.
struct Change {
    at: DateTime<Utc>,
    day: NaiveDate,
    old: Pair,
    new: Pair,
    removed: bool,
}

fn changes(text: &str) -> Vec<Change> {
    text.lines()
        .skip(1)
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let tenths = |index: usize| fields[index].parse().ok();
            Change {
                at: instant(fields[0]),
                day: date(fields[1]),
                old: (tenths(2), tenths(3)),
                new: (tenths(4), tenths(5)),
                removed: fields[6] == "removed",
            }
        })
        .collect()
}

/// As the downloads write it.
fn written(file: &File) -> String {
    let value = |tenths: Option<i32>| match tenths {
        Some(tenths) => (f64::from(tenths) / 10.0 * 1.8 + 32.0).to_string(),
        None => "NA".to_owned(),
    };
    let mut text = String::from("date,TMAX,TMIN\n");
    for (day, (max, min)) in file {
        text += &format!("{day},{},{}\n", value(*max), value(*min));
    }
    text
}

/// Values that were another one later.
fn revised(old: Pair, new: Pair) -> usize {
    let one = |old: Option<i32>, new: Option<i32>| {
        usize::from(old.is_some() && new.is_some() && old != new)
    };
    one(old.0, new.0) + one(old.1, new.1)
}

#[tokio::test]
async fn four_years_of_downloads_lose_no_day_and_say_each_thing_once() {
    let Some(folder) = folder() else { return };
    let mut now = file(&text(&folder, "snapshot_first_3896332402.csv"));
    let last = file(&text(&folder, "snapshot_last_af12cf0947.csv"));
    let cut = file(&text(
        &folder,
        "snapshot_TRUNCATED_2025-04-22_295f471c1b.csv",
    ));
    let changes = changes(&text(&folder, "changelog_tenthsC.csv"));
    assert_eq!(cut.len(), 487);
    let config = config_with("file = \"milwaukee.csv\"", "console = true", "")
        .replace("celsius", "fahrenheit")
        .replace("latitude = 27.4", "latitude = 42.95")
        .replace(
            "[\"japanese-beetle\"]",
            "[\"japanese-beetle\", \"european-chafer\"]",
        )
        .replace(
            "\nname = \"A test\"",
            "\nname = \"A test\"\noperator = \"keeper\"",
        );
    let mut play = Play::new(&config);
    let mut download = async |at: DateTime<Utc>, file: &File| {
        play.workshop.write("milwaukee.csv", &written(file));
        play.cycle(&at.to_rfc3339()).await;
    };

    let mut seen: BTreeSet<NaiveDate> = now.keys().copied().collect();
    let mut revisions = 0;
    let mut downloads = 1;
    download(instant("2022-02-19T20:33:42Z"), &now).await;
    let mut paused = true;
    let mut waiting = 0;
    for group in changes.chunk_by(|one, other| one.at == other.at) {
        let at = group[0].at;
        if paused && at > instant(CUT_OFF) {
            paused = false;
            download(instant(CUT_OFF), &cut).await;
            let pause = last.range(date("2023-04-23")..=date("2025-04-20"));
            for (day, pair) in pause {
                assert_eq!(now.insert(*day, *pair), None);
                seen.insert(*day);
            }
            download(instant(WHOLE_AGAIN), &now).await;
            downloads += 2;
        }
        for change in group {
            let before = if change.removed {
                now.remove(&change.day)
            } else {
                now.insert(change.day, change.new)
            };
            assert_eq!(before.unwrap_or_default(), change.old, "{}", change.day);
            if !change.removed {
                revisions += revised(change.old, change.new);
                seen.insert(change.day);
            }
        }
        let only_new = group.iter().all(|change| change.old == (None, None));
        waiting = if only_new { waiting + 1 } else { 0 };
        if waiting % 3 == 0 {
            download(at, &now).await;
            downloads += 1;
        }
    }
    assert_eq!(now, last, "the history leads to the last file");
    download(instant("2026-08-22T20:00:00Z"), &now).await;
    println!("{downloads} downloads, {revisions} values revised");

    // No day is lost, and every revision is kept.
    assert_eq!(
        play.count("SELECT count(*) FROM reading"),
        seen.len() as i64
    );
    assert_eq!(
        play.count("SELECT count(*) FROM revision"),
        revisions as i64
    );
    for (day, pair) in &last {
        let (Some(max), Some(min)) = *pair else {
            continue;
        };
        let stored = play.count(&format!(
            "SELECT count(*) FROM reading WHERE day = '{day}'
             AND abs(max_c - {max} / 10.0) < 0.006 AND abs(min_c - {min} / 10.0) < 0.006"
        ));
        assert_eq!(stored, 1, "{day}: {pair:?}");
    }

    // The cut-off file and the step back are told, and their ends; nothing else of the feed.
    let findings = play.column("SELECT trouble || ' ' || substr(since, 1, 10) || ' ' || substr(over_at, 1, 10) FROM finding ORDER BY id");
    assert_eq!(
        findings,
        [
            "went-back 2025-04-22 2025-04-22",
            "frozen 2025-04-22 2025-04-22",
            "went-back 2026-03-13 2026-03-16"
        ]
    );
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 0);

    // The people of the site are told every milestone once, and none of it is taken back.
    let messages = play.column("SELECT title || char(10) || body FROM outbox ORDER BY id");
    let distinct: BTreeSet<&String> = messages.iter().collect();
    assert_eq!(distinct.len(), messages.len(), "no message comes twice");
    let all = messages.join("\n");
    for words in ["corrected", "too soon", "held back"] {
        assert!(!all.contains(words), "{words}: {all}");
    }
    let told = play.count("SELECT count(*) FROM crossing WHERE told");
    assert!(told > 20, "{told}");
    assert_eq!(
        play.count("SELECT count(*) FROM crossing WHERE withdrawn OR corrected_to IS NOT NULL"),
        0
    );
}
