//! The published history of one station, played through the intake: 707 downloads of GHCN-Daily's
//! file of Milwaukee (USW00014839), February 2022 to August 2026, as the folder of real data holds
//! them: the first and the last file, every change between, and the file that was really cut off.
//!
//! Left out to keep it quick: downloads in which no temperature changed, and those that only add
//! days within 36 hours of the one before. The downloads pause from April 2023 to April 2025; the days of the pause are
//! taken from the last file.

use crate::support::command::config_with;
use crate::support::engine::Play;
use crate::support::real_data;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Maximum and minimum in tenths of a degree Celsius.
type Pair = (Option<i32>, Option<i32>);
type File = BTreeMap<NaiveDate, Pair>;

/// When the cut-off file was downloaded, and when the next one, which was whole.
const CUT_OFF: &str = "2025-04-22T16:12:20Z";
const WHOLE_AGAIN: &str = "2025-04-22T17:36:34Z";

fn folder() -> PathBuf {
    real_data::folder().join("ghcn_replay_milwaukee")
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
    written_as(file, |celsius| celsius * 1.8 + 32.0)
}

/// The same with values in another unit.
fn written_as(file: &File, unit: impl Fn(f64) -> f64) -> String {
    let value = |tenths: Option<i32>| match tenths {
        Some(tenths) => unit(f64::from(tenths) / 10.0).to_string(),
        None => "NA".to_owned(),
    };
    let mut text = String::from("year,month,day,date,day_of_year,PRCP,SNOW,SNWD,TMAX,TMIN\n");
    for (day, (max, min)) in file {
        let parts = day.format("%Y,%m,%d,%Y-%m-%d,%-j");
        text += &format!("{parts},NA,NA,NA,{},{}\n", value(*max), value(*min));
    }
    text
}

/// Values that were another one later.
fn revised(old: Pair, new: Pair) -> i64 {
    let one = |old: Option<i32>, new: Option<i32>| {
        i64::from(old.is_some() && new.is_some() && old != new)
    };
    one(old.0, new.0) + one(old.1, new.1)
}

/// A play of the station's file with a site on it, whose keeper is the operator.
fn play() -> Play {
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
    Play::new(&config)
}

async fn download(play: &mut Play, at: DateTime<Utc>, file: &File) {
    play.workshop.write("milwaukee.csv", &written(file));
    play.cycle(&at.to_rfc3339()).await;
}

fn findings(play: &Play) -> Vec<String> {
    play.column(
        "SELECT trouble || ' ' || substr(since, 1, 16) || ' to ' || substr(over_at, 1, 16)
         FROM finding ORDER BY id",
    )
}

/// No day of the last file is missing or another one.
fn assert_holds(play: &Play, file: &File) {
    let stored: BTreeSet<String> = play
        .stored()
        .into_iter()
        .filter_map(|(day, reading)| Some(format!("{day} {:.1} {:.1}", reading.max?, reading.min?)))
        .collect();
    for (day, (max, min)) in file {
        let (Some(max), Some(min)) = (max, min) else {
            continue;
        };
        let [max, min] = [max, min].map(|tenths| f64::from(*tenths) / 10.0);
        let row = format!("{day} {max:.1} {min:.1}");
        assert!(stored.contains(&row), "{row}");
    }
}

#[tokio::test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
async fn four_years_of_downloads_lose_no_day_and_say_each_thing_once() {
    let folder = folder();
    let recent = |mut file: File| {
        file.retain(|day, _| *day >= date("2011-01-01"));
        file
    };
    let mut now = recent(file(&text(&folder, "snapshot_first_3896332402.csv")));
    let last = recent(file(&text(&folder, "snapshot_last_af12cf0947.csv")));
    let changes = changes(&text(&folder, "changelog_tenthsC.csv"));
    let mut play = play();

    let mut seen: BTreeSet<NaiveDate> = now.keys().copied().collect();
    let mut revisions = 0;
    let mut paused = true;
    download(&mut play, instant("2022-02-19T20:33:42Z"), &now).await;
    for group in changes.chunk_by(|one, other| one.at == other.at) {
        let at = group[0].at;
        if paused && at > instant(WHOLE_AGAIN) {
            paused = false;
            for (day, pair) in last.range(date("2023-04-23")..=date("2025-04-20")) {
                assert_eq!(now.insert(*day, *pair), None);
                seen.insert(*day);
            }
            download(&mut play, instant(WHOLE_AGAIN), &now).await;
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
        download(&mut play, at, &now).await;
    }
    assert_eq!(now, last, "the history leads to the last file");

    // No day is lost, and every revision is kept.
    assert_holds(&play, &last);
    assert_eq!(play.days(|_, _| true), seen.len());
    assert_eq!(revisions, 270, "as many as the folder's description counts");
    assert_eq!(play.count("SELECT count(*) FROM revision"), revisions);
    assert_eq!(play.count("SELECT count(*) FROM held_value"), 0);

    // The step back is told, and its end, and nothing else.
    assert_eq!(
        findings(&play),
        ["went-back 2026-03-13 19:14 to 2026-03-16 19:23"]
    );

    // The people of the site are told every milestone once, as it is passed or shortly before, and none of it is taken back.
    // When to count grubs is said in the same words each season.
    let messages = play.column(
        "SELECT substr(created_at, 1, 4) || ' ' || title || char(10) || body FROM outbox ORDER BY id",
    );
    let distinct: BTreeSet<&String> = messages.iter().collect();
    assert_eq!(distinct.len(), messages.len(), "no message comes twice");
    let all = messages.join("\n");
    for words in ["corrected to", "too soon", "held back"] {
        assert!(!all.contains(words), "{words}: {all}");
    }
    // Four milestones of two species in 2022, 2025 and 2026; two of 2026 are still to come.
    assert_eq!(play.count("SELECT count(*) FROM crossing WHERE told"), 22);
    let names = [
        ("japanese-beetle", "Japanese beetle"),
        ("european-chafer", "European chafer"),
        ("northern-masked-chafer", "Northern masked chafer"),
    ];
    let not_ahead = play.column(
        "SELECT c.species || ' ' || c.passed_on FROM crossing c LEFT JOIN notice_log n
             ON n.site = c.site AND n.species = c.species AND n.season = c.season
            AND n.kind = 'soon-' || c.milestone
            AND abs(julianday(c.passed_on) - julianday(n.due)) < 7
         WHERE c.told AND n.site IS NULL",
    );
    for one in &not_ahead {
        let (species, day) = one.split_once(' ').unwrap();
        let name = names.iter().find(|(id, _)| *id == species).unwrap().1;
        let day = date(day).format("(%-d %B");
        let is_told = messages
            .iter()
            .map(|message| message.split_whitespace().collect::<Vec<_>>().join(" "))
            .any(|message| message.contains(name) && message.contains(&day.to_string()));
        assert!(is_told, "{name} {day}");
    }
    let told = not_ahead.len();
    let ahead = play.count(
        "SELECT count(*) FROM crossing c JOIN notice_log n
             ON n.site = c.site AND n.species = c.species AND n.season = c.season
            AND n.kind = 'soon-' || c.milestone
            AND abs(julianday(c.passed_on) - julianday(n.due)) < 7",
    );
    assert_eq!(told as i64 + ahead, 22, "{told} passed, {ahead} told ahead");
    assert_eq!(
        play.count("SELECT count(*) FROM crossing WHERE withdrawn OR corrected_to IS NOT NULL"),
        0
    );
}

#[tokio::test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
async fn the_file_that_was_really_cut_off_is_told_and_over_when_it_was_whole_again() {
    let folder = folder();
    let last = file(&text(&folder, "snapshot_last_af12cf0947.csv"));
    let through = |newest: &str| -> File {
        let newest = date(newest);
        let days = last.range(..=newest);
        days.map(|(day, pair)| (*day, *pair)).collect()
    };
    let mut play = play();
    download(
        &mut play,
        instant("2025-04-21T19:00:00Z"),
        &through("2025-04-19"),
    )
    .await;
    let before = play.days(|_, _| true);
    // The file as it came.
    let cut = text(&folder, "snapshot_TRUNCATED_2025-04-22_295f471c1b.csv");
    play.workshop.write("milwaukee.csv", &cut);
    play.cycle(CUT_OFF).await;
    assert_eq!(play.days(|_, _| true), before);
    let told = play.message("went back in time");
    assert!(
        told.contains("newest whole day is 26 July 1939 (")
            && told.contains("the last good one reached 19 April 2025"),
        "{told}"
    );
    let whole = through("2025-04-20");
    download(&mut play, instant(WHOLE_AGAIN), &whole).await;
    assert_eq!(play.days(|_, _| true), before + 1);
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
    assert_holds(&play, &whole);
    assert_eq!(
        findings(&play),
        ["went-back 2025-04-22 16:12 to 2025-04-22 17:36"]
    );
    assert_eq!(
        play.titles(),
        [
            "The only station: the feed's file went back in time",
            "The only station: the feed's file reaches as far as before"
        ]
    );
}

/// What is stored, to the last digit.
fn all_stored(play: &Play) -> String {
    format!("{:?}", play.stored())
}

#[tokio::test]
#[ignore = "needs HATCHBELL_REAL_DATA"]
async fn a_unit_or_a_station_that_changes_in_mid_season_is_refused_and_no_stored_day_is_lost() {
    let folder = folder();
    let last = file(&text(&folder, "snapshot_last_af12cf0947.csv"));
    let days = |first: &str, newest: &str| -> File {
        let days = last.range(date(first)..=date(newest));
        days.map(|(day, pair)| (*day, *pair)).collect()
    };
    // Another station of the region, with a sensor of its own, on the same days.
    let extract = real_data::read("ghcn_coop/USC00110338.txt");
    let other: File = String::from_utf8(extract)
        .expect("text")
        .lines()
        .map(|line| {
            let mut fields = line.split('\t').map(str::trim);
            let day = NaiveDate::parse_from_str(fields.next().unwrap(), "%Y%m%d").unwrap();
            let mut tenths = || {
                fields
                    .next()?
                    .parse()
                    .ok()
                    .filter(|tenths| *tenths != -9999)
            };
            (day, (tenths(), tenths()))
        })
        .filter(|(day, _)| (date("2006-01-01")..=date("2014-06-18")).contains(day))
        .collect();
    let mut play = play();
    download(
        &mut play,
        instant("2014-06-15T19:00:00Z"),
        &days("2006-01-01", "2014-06-13"),
    )
    .await;
    let before = all_stored(&play);
    let mut served = async |at: &str, text: String| {
        play.workshop.write("milwaukee.csv", &text);
        play.cycle(at).await;
        (play.status(&at[..10]), all_stored(&play))
    };

    // The whole file, then one that holds the month's new days alone.
    for (at, first) in [
        ("2014-06-16T19:00:00Z", "2006-01-01"),
        ("2014-07-16T19:00:00Z", "2014-06-14"),
    ] {
        let celsius = written_as(&days(first, &at[..10]), |celsius| celsius);
        let (status, stored) = served(at, celsius).await;
        for words in [
            "milwaukee.csv, ",
            "read as celsius",
            "set unit = \"celsius\"",
        ] {
            assert!(status.contains(words), "{words}: {status}");
        }
        assert_eq!(stored, before, "{at}");
    }
    let (status, stored) = served("2014-07-17T19:00:00Z", written(&other)).await;
    assert_eq!(stored, before);
    assert!(
        status.contains("days that are stored already differ by"),
        "{status}"
    );
    let refused = |play: &Play| -> Vec<String> {
        let mut titles = play.titles();
        titles.retain(|title| title.contains("feed's file"));
        titles
    };
    assert_eq!(
        refused(&play),
        ["The only station: the feed's file is refused"],
        "it is told once"
    );

    // The right file is taken in as ever.
    let whole = days("2006-01-01", "2014-07-16");
    download(&mut play, instant("2014-07-18T19:00:00Z"), &whole).await;
    assert_holds(&play, &whole);
    assert_eq!(play.count("SELECT count(*) FROM revision"), 0);
    assert_eq!(refused(&play).len(), 2, "and its end: {:?}", refused(&play));
}
