//! What was imported or revised is listed and taken back by command, and the service goes on from
//! there.

use crate::support::command::{Workshop, both, config_with};
use crate::support::engine::Play;
use crate::support::http_server::{Reply, ScriptedServer};
use chrono::NaiveDate;
use hatchbell::domain::weather::reading::Readings;
use hatchbell::store::Store;

const MEADOW: &str = "ZZ000000011";
const ORCHARD: &str = "ZZ000000022";
const STRANGER: &str = "ZZ000000033";

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn row(day: &str, max: f64, min: f64) -> String {
    format!("ZZI00000009,{day},{max:.1},{min:.1}\n")
}

fn file(rows: &[(&str, f64, f64)]) -> String {
    let rows: String = rows
        .iter()
        .map(|(day, max, min)| row(day, *max, *min))
        .collect();
    format!("STATION,DATE,TMAX,TMIN\n{rows}")
}

/// A station that is read from a file, with two files to import.
fn workshop() -> Workshop {
    let workshop = Workshop::new();
    let config = config_with("file = \"daily.csv\"", "console = true", "");
    workshop.write("hatchbell.toml", &config);
    let first = file(&[("2026-06-01", 20.0, 9.0), ("2026-06-02", 21.0, 10.0)]);
    workshop.write("first.csv", &first);
    let second = file(&[("2026-06-02", 24.0, 10.0), ("2026-06-03", 22.0, 11.0)]);
    workshop.write("second.csv", &second);
    workshop
}

fn import(workshop: &Workshop, more: &[&str]) -> String {
    workshop.succeeds(&[&["import", "--config", "hatchbell.toml"], more].concat())
}

fn refused(workshop: &Workshop, more: &[&str]) -> String {
    let output = workshop.run(&[&["import", "--config", "hatchbell.toml"], more].concat());
    assert!(!output.status.success(), "{}", both(&output));
    both(&output)
}

fn stored(workshop: &Workshop, station: &str) -> Readings {
    let store = Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
    store.readings(station).unwrap()
}

#[test]
fn an_import_says_its_number_and_is_taken_back_by_it() {
    let workshop = workshop();
    import(&workshop, &["--station", "only", "first.csv"]);
    let before = stored(&workshop, "only");
    let said = import(&workshop, &["--station", "only", "second.csv"]);
    assert!(
        said.contains("batch 2; to take it back: hatchbell import --undo 2"),
        "{said}"
    );
    let tried = import(&workshop, &["--undo", "2", "--dry-run"]);
    assert!(tried.contains("nothing was changed"), "{tried}");
    assert_ne!(stored(&workshop, "only"), before);
    let said = import(&workshop, &["--undo", "2"]);
    assert!(
        said.contains("only: 1 day removed, 1 value revised"),
        "{said}"
    );
    assert!(said.contains("hatchbell import --undo 3"), "{said}");
    assert_eq!(stored(&workshop, "only"), before);
    let again = refused(&workshop, &["--undo", "2"]);
    assert!(
        again
            .contains("was undone before, by batch 3; to bring it back: hatchbell import --undo 3"),
        "{again}"
    );
    let unknown = refused(&workshop, &["--undo", "8"]);
    assert!(
        unknown.contains("there is no batch 8; the newest is 3"),
        "{unknown}"
    );
    // An import that changes nothing has no number.
    let said = import(&workshop, &["--station", "only", "first.csv"]);
    assert!(!said.contains("batch"), "{said}");
}

/// What was held out of an import is asked about no more once the import is taken back.
#[test]
fn an_import_that_is_undone_leaves_no_value_in_doubt() {
    let workshop = workshop();
    let start = date("2016-01-01");
    let mut rows = String::from("DATE,TMAX,TMIN\n");
    for (place, day) in start.iter_days().take(9 * 365).enumerate() {
        let season = (place as f64 / 365.0 * std::f64::consts::TAU).cos();
        let wobble = ((place * 37) % 19) as f64 / 4.0;
        let max = if place == 1_000 {
            55.0
        } else {
            16.0 - 12.0 * season + wobble
        };
        rows += &format!("{day},{max:.1},{:.1}\n", max.min(30.0) - 9.0 - wobble / 2.0);
    }
    workshop.write("history.csv", &rows);
    let said = import(&workshop, &["--station", "only", "history.csv"]);
    assert!(said.contains("held out of sums: "), "{said}");
    let count = |query: &str| -> i64 {
        let database = rusqlite::Connection::open(workshop.path("hatchbell.db")).unwrap();
        database.query_row(query, [], |row| row.get(0)).unwrap()
    };
    let held = "SELECT count(*) FROM held_value";
    let open = "SELECT count(*) FROM finding WHERE over_at IS NULL";
    assert!(count(held) > 0 && count(open) == 1);
    import(&workshop, &["--undo", "1"]);
    assert_eq!((count(held), count(open)), (0, 0));
}

#[test]
fn the_list_of_batches_is_newest_first_and_fits_sixty_columns() {
    let workshop = workshop();
    let command = ["import", "--config", "hatchbell.toml", "--list"];
    let long = "a-name-of-a-file-that-somebody-chose-to-be-long-of-the-old-archive.csv";
    std::fs::copy(workshop.path("first.csv"), workshop.path(long)).unwrap();
    import(&workshop, &["--station", "only", long]);
    import(&workshop, &["--station", "only", "second.csv"]);
    import(&workshop, &["--undo", "1"]);
    let shown = workshop.shows(60, &command);
    assert!(
        shown.lines().all(|line| line.chars().count() <= 60),
        "{shown}"
    );
    let numbers: Vec<&str> = shown
        .lines()
        .filter(|line| !line.starts_with(' '))
        .filter_map(|line| line.split("  ").next())
        .collect();
    assert_eq!(numbers, ["3", "2", "1"], "{shown}");
    let plain = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "import, second.csv",
        "only: 1 day added, 1 value revised",
        "undo of 1, ",
        "undone by 3",
    ] {
        assert!(plain.contains(words), "no {words:?} in\n{shown}");
    }
    let newest = workshop.shows(80, &[&command[..], &["--most", "1"]].concat());
    assert!(
        newest.starts_with("3  ") && newest.contains("--most 2"),
        "{newest}"
    );
    let of_other = workshop.shows(80, &[&command[..], &["--station", "hill"]].concat());
    assert_eq!(of_other, "nothing of hill was imported or revised so far\n");
}

/// By_year rows of a day, in tenths.
fn long_rows(day: &str, max: i32) -> String {
    [MEADOW, ORCHARD, STRANGER]
        .map(|code| {
            format!(
                "{code},{day},TMAX,{max},,,S,\n{code},{day},TMIN,{},,,S,\n{code},{day},PRCP,13,,,S,\n",
                max - 100
            )
        })
        .concat()
}

#[test]
fn a_bulk_import_is_one_batch_and_its_files_are_read_again_once_it_is_undone() {
    let workshop = Workshop::new();
    let orchard = format!(
        "[[station]]\nid = \"orchard\"\nname = \"Orchard\"\ndialect = \"ghcn-long\"\nfile = \"none.csv\"\ncode = \"{ORCHARD}\"\n"
    );
    let meadow = format!("file = \"none.csv\"\ncode = \"{MEADOW}\"\nneighbours = [\"orchard\"]");
    let config = config_with(&meadow, "console = true", &orchard);
    workshop.write("hatchbell.toml", &config);
    workshop.write("2024.csv", &long_rows("20240601", 200));
    workshop.write("2025.csv", &long_rows("20250601", 210));
    let bulk = ["--bulk", "--every-station", "2024.csv", "2025.csv"];
    let said = import(&workshop, &bulk);
    assert!(said.contains("batch 1;"), "{said}");
    assert_eq!(stored(&workshop, "only").len(), 2);
    let listed = import(&workshop, &["--list"]);
    for words in [
        "import, 2024.csv, 2025.csv",
        "only: 2 days added, 2 days of rain",
        "orchard: 2 days added",
        "every station: 18 values, which are not undone",
    ] {
        assert!(listed.contains(words), "no {words:?} in\n{listed}");
    }
    let said = import(&workshop, &["--undo", "1"]);
    assert!(
        said.contains("what was kept of every station stays"),
        "{said}"
    );
    let store = Store::open_to_read(&workshop.path("hatchbell.db")).unwrap();
    for station in ["only", "orchard"] {
        assert!(store.readings(station).unwrap().is_empty());
        assert!(
            store
                .rain_since(station, date("2000-01-01"))
                .unwrap()
                .is_empty()
        );
    }
    assert_eq!(store.archived(STRANGER, 2000).unwrap().0.len(), 2);
    drop(store);
    import(&workshop, &bulk);
    assert_eq!(stored(&workshop, "only").len(), 2);
    assert_eq!(stored(&workshop, "orchard").len(), 2);
}

#[test]
fn what_went_to_the_archive_only_is_a_batch_that_is_not_undone_and_what_was_kept_is_one_that_is() {
    let workshop = Workshop::new();
    let meadow = format!("file = \"none.csv\"\ncode = \"{MEADOW}\"");
    workshop.write(
        "hatchbell.toml",
        &config_with("file = \"none.csv\"", "console = true", ""),
    );
    workshop.write("2024.csv", &long_rows("20240601", 200));
    import(&workshop, &["--bulk", "--every-station", "2024.csv"]);
    let said = refused(&workshop, &["--undo", "1"]);
    assert!(said.contains("archive of every station only"), "{said}");
    workshop.write(
        "hatchbell.toml",
        &config_with(&meadow, "console = true", ""),
    );
    import(&workshop, &["--station", "only", "--kept"]);
    assert_eq!(stored(&workshop, "only").len(), 1);
    import(&workshop, &["--undo", "2"]);
    assert!(stored(&workshop, "only").is_empty());
}

/// The file of a feed as it is at first, and with a day revised beside a new one.
fn feed_files() -> (String, String) {
    let mut days: Vec<String> = date("2026-03-01")
        .iter_days()
        .take(60)
        .map(|day| row(&day.to_string(), 15.0, 5.0))
        .collect();
    let first = days.concat();
    days[30] = row("2026-03-31", 18.0, 5.0);
    days.push(row("2026-04-30", 16.0, 6.0));
    let head = "STATION,DATE,TMAX,TMIN\n";
    (head.to_owned() + &first, head.to_owned() + &days.concat())
}

#[tokio::test]
async fn a_feed_does_not_bring_an_undone_revision_again_until_its_file_says_something_else() {
    let (first, revised) = feed_files();
    let longer = revised.clone() + &row("2026-05-01", 17.0, 7.0);
    let mended = longer.replace("2026-03-31,18.0", "2026-03-31,16.0");
    let replies = [first, revised.clone(), revised, longer, mended];
    let replies = replies.map(|body| Reply::of(200, &[], body)).to_vec();
    let server = ScriptedServer::start(replies);
    let origin = format!("url = \"{}\"", server.url("/daily.csv"));
    let mut play = Play::new(&config_with(&origin, "console = true", ""));
    let of = |play: &Play, day: &str| {
        let days = stored(&play.workshop, "only");
        days.get(&date(day)).and_then(|reading| reading.max)
    };
    play.cycle("2026-05-01T06:00:00Z").await;
    assert_eq!(play.count("SELECT count(*) FROM batch"), 0);
    play.cycle("2026-05-01T12:00:00Z").await;
    assert_eq!(of(&play, "2026-03-31"), Some(18.0));
    let said = import(&play.workshop, &["--undo", "1"]);
    let plain = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        plain.contains(
            "3 values the feed said then are not taken in again until it says something else"
        ),
        "{said}"
    );
    play.restart();
    play.cycle("2026-05-02T06:00:00Z").await;
    assert_eq!(of(&play, "2026-03-31"), Some(15.0), "the same file");
    assert_eq!(of(&play, "2026-04-30"), None, "the same file");
    play.cycle("2026-05-03T06:00:00Z").await;
    assert_eq!(of(&play, "2026-03-31"), Some(15.0), "with a day more");
    assert_eq!(of(&play, "2026-05-01"), Some(17.0), "that day");
    play.cycle("2026-05-04T06:00:00Z").await;
    assert_eq!(of(&play, "2026-03-31"), Some(16.0), "something else");
}

/// The days of the file are known from an import first, so the feed has brought nothing of them.
#[tokio::test]
async fn a_feed_brings_its_own_days_again_when_the_import_that_had_them_too_is_undone() {
    let (first, _) = feed_files();
    let mut play = Play::new(&config_with("file = \"daily.csv\"", "console = true", ""));
    play.workshop.write("daily.csv", &first);
    play.workshop.write("history.csv", &first);
    play.import(&["--station", "only", "history.csv"]);
    play.cycle("2026-05-01T06:00:00Z").await;
    import(&play.workshop, &["--undo", "1"]);
    assert!(stored(&play.workshop, "only").is_empty());
    play.cycle("2026-05-01T12:00:00Z").await;
    assert_eq!(stored(&play.workshop, "only").len(), 60);
}
