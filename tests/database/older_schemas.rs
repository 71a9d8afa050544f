//! A database of each schema that has landed opens in this program, and nothing of it is lost.
//! `fixtures/databases/README.md` says what the databases hold and how they were made.

use crate::support::command::{Workshop, both};
use crate::support::engine::Play;
use chrono::{DateTime, NaiveDate, Utc};
use hatchbell::domain::phenology::milestone::Milestone;
use hatchbell::domain::telling::feed_trouble::Trouble;
use hatchbell::domain::telling::milestone_decision::Recorded;
use hatchbell::domain::weather::forecast::Forecast;
use hatchbell::domain::weather::forecast_skill::KeptForecast;
use hatchbell::domain::weather::reading::{Reading, Readings};
use hatchbell::station_feed::memory::HoldReason;
use hatchbell::station_feed::parsed::Element;
use hatchbell::station_feed::version::FileMark;
use hatchbell::store::Store;
use hatchbell::store::change_counts::ChangeCounts;
use hatchbell::store::milestones::Pair;
use hatchbell::store::outbox::Tally;
use hatchbell::store::taking_in::Said;
use hatchbell::store::undo::UndoError;
use serde_json::Value;

/// Each schema that has landed with its database as SQL. Schemas 7 and 8 landed together, as did 9
/// and 10, 12 to 15, 16 to 18, and 19 and 20.
const DATABASES: [(usize, &str); 13] = [
    (1, include_str!("../../fixtures/databases/schema-1.sql")),
    (2, include_str!("../../fixtures/databases/schema-2.sql")),
    (3, include_str!("../../fixtures/databases/schema-3.sql")),
    (4, include_str!("../../fixtures/databases/schema-4.sql")),
    (5, include_str!("../../fixtures/databases/schema-5.sql")),
    (6, include_str!("../../fixtures/databases/schema-6.sql")),
    (8, include_str!("../../fixtures/databases/schema-8.sql")),
    (10, include_str!("../../fixtures/databases/schema-10.sql")),
    (11, include_str!("../../fixtures/databases/schema-11.sql")),
    (15, include_str!("../../fixtures/databases/schema-15.sql")),
    (18, include_str!("../../fixtures/databases/schema-18.sql")),
    (20, include_str!("../../fixtures/databases/schema-20.sql")),
    (21, include_str!("../../fixtures/databases/schema-21.sql")),
];

/// The newest schema that has landed.
const NEWEST: usize = DATABASES[DATABASES.len() - 1].0;

/// The schemas that have landed, from one on.
fn schemas_from(first: usize) -> impl Iterator<Item = usize> {
    let schemas = DATABASES.iter().map(|(schema, _)| *schema);
    schemas.filter(move |schema| *schema >= first)
}
const CONFIG: &str = include_str!("../../fixtures/databases/hatchbell.toml");

const LAWN: Pair<'_> = Pair {
    site: "lawn",
    species: "japanese-beetle",
};
const QUAY_GREEN: Pair<'_> = Pair {
    site: "quay-green",
    species: "japanese-beetle",
};

fn date(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn reading(min: Option<f64>, max: Option<f64>) -> Reading {
    Reading { min, max }
}

fn instant(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

/// A folder with the configuration and the database of a schema as its own program left it.
fn folder(schema: usize) -> Workshop {
    let folder = Workshop::new();
    folder.write("hatchbell.toml", CONFIG);
    let database = rusqlite::Connection::open(folder.path("hatchbell.db")).expect("it opens");
    let (_, statements) = DATABASES
        .iter()
        .find(|(of, _)| *of == schema)
        .expect("it has landed");
    database
        .execute_batch(&format!("BEGIN; {statements} COMMIT;"))
        .expect("the fixture is sound");
    folder
}

fn open(folder: &Workshop) -> Store {
    Store::open(&folder.path("hatchbell.db")).expect("an older database opens")
}

/// Every database from this schema on, opened by this program.
fn opened_from(first: usize) -> impl Iterator<Item = (usize, Workshop, Store)> {
    schemas_from(first).map(|schema| {
        let folder = folder(schema);
        let store = open(&folder);
        (schema, folder, store)
    })
}

/// What a command prints of a database that was opened before.
fn printed(folder: &Workshop, command: &[&str]) -> String {
    let options = ["--config", "hatchbell.toml"];
    folder.succeeds(&[command, &options].concat())
}

/// What the season's look back says was told of the lawn, each as "day kind: what".
fn told(folder: &Workshop, year: &str) -> Vec<String> {
    let printed = printed(
        folder,
        &[
            "season",
            "lawn",
            "--json",
            "--date",
            "2026-03-01",
            "--year",
            year,
        ],
    );
    let season: Value = serde_json::from_str(&printed).expect("JSON");
    let told = season["told"].as_array().expect("a list");
    let text = |one: &Value, key: &str| one[key].as_str().expect("a text").to_owned();
    told.iter()
        .map(|one| {
            format!(
                "{} {}: {}",
                text(one, "day"),
                text(one, "kind"),
                text(one, "what")
            )
        })
        .collect()
}

#[test]
fn the_databases_are_of_the_schemas_that_their_names_say() {
    for schema in schemas_from(1) {
        let folder = folder(schema);
        let database = rusqlite::Connection::open(folder.path("hatchbell.db")).unwrap();
        let version: u32 = database
            .query_row("PRAGMA user_version", [], |row| row.get(0))
            .unwrap();
        assert_eq!(version as usize, schema);
    }
}

#[test]
fn readings_and_their_revisions_are_kept() {
    for (schema, _folder, store) in opened_from(1) {
        let days = store.readings("well-field").unwrap();
        assert_eq!(days.len(), 61, "schema {schema}");
        let of = |day: &str| days[&date(day)];
        let pair = |min, max| Reading { min, max };
        assert_eq!(
            of("2026-01-01"),
            pair(Some(15.0), Some(25.0)),
            "schema {schema}"
        );
        assert_eq!(of("2026-01-20"), pair(None, Some(25.7)), "schema {schema}");
        assert_eq!(
            of("2026-02-28"),
            pair(Some(14.9), Some(25.1)),
            "schema {schema}"
        );
        let sum: f64 = days.values().filter_map(|day| day.max).sum();
        assert!((sum - 1_548.3).abs() < 1e-6, "schema {schema}: {sum}");
        assert_eq!(
            store.readings("old-quay").unwrap().len(),
            12,
            "schema {schema}"
        );
        let newest = |station| store.newest_day(station).unwrap();
        assert_eq!(
            newest("well-field"),
            Some(date("2026-02-28")),
            "schema {schema}"
        );
        assert_eq!(
            newest("old-quay"),
            Some(date("2026-01-24")),
            "schema {schema}"
        );
        assert_eq!(store.revisions("well-field").unwrap(), 2, "schema {schema}");
    }
}

#[test]
fn what_is_known_of_feeds_is_kept() {
    for (schema, _folder, store) in opened_from(1) {
        let good = store.feed("well-field").unwrap();
        assert_eq!(good.fingerprint, "9b2d6f0c11aa57e3", "schema {schema}");
        assert_eq!(
            good.validators.etag.as_deref(),
            Some("\"5f1-28\""),
            "schema {schema}"
        );
        assert_eq!(
            good.validators.last_modified.as_deref(),
            Some("Sat, 28 Feb 2026 23:10:00 GMT"),
            "schema {schema}"
        );
        assert_eq!(
            good.last_good,
            Some(instant("2026-03-01T06:00:02Z")),
            "schema {schema}"
        );
        let dead = store.feed("old-quay").unwrap();
        assert_eq!(
            (dead.last_good, dead.failing_since),
            (
                Some(instant("2026-01-26T06:00:02Z")),
                Some(instant("2026-01-27T06:00:02Z"))
            ),
            "schema {schema}"
        );
        let problem = dead.problem.expect("a problem");
        assert!(
            problem.ends_with("the server says 404 Not Found"),
            "{problem}"
        );
        assert_eq!(
            store.last_cycle().unwrap(),
            Some(instant("2026-03-01T06:00:04Z")),
            "schema {schema}"
        );
    }
}

#[test]
fn recorded_milestones_are_kept() {
    let recorded = |milestone, on| Recorded {
        milestone,
        on: date(on),
        told: true,
        corrected_to: None,
        withdrawn: false,
    };
    for (schema, folder, store) in opened_from(1) {
        let last_year = [
            Recorded {
                corrected_to: Some(date("2025-02-27")),
                ..recorded(Milestone::AdultFlight, "2025-02-24")
            },
            Recorded {
                withdrawn: true,
                ..recorded(Milestone::EggLay, "2025-03-20")
            },
            Recorded {
                told: false,
                ..recorded(Milestone::WindowEnd, "2025-09-20")
            },
        ];
        assert_eq!(
            store.recorded(LAWN, 2025).unwrap(),
            last_year,
            "schema {schema}"
        );
        // From schema 2 on a catch sets flight.
        let flight = if schema == 1 {
            "2026-02-25"
        } else {
            "2026-02-23"
        };
        assert_eq!(
            store.recorded(LAWN, 2026).unwrap(),
            [recorded(Milestone::AdultFlight, flight)],
            "schema {schema}"
        );
        let watched = |pair| store.watched_from(pair).unwrap();
        assert_eq!(watched(LAWN), Some(date("2025-01-04")), "schema {schema}");
        assert_eq!(
            watched(QUAY_GREEN),
            Some(date("2026-01-02")),
            "schema {schema}"
        );
        assert_eq!(
            told(&folder, "2025"),
            [
                "2025-02-26 passed: Japanese beetle: adult flight on 24 February; corrected later \
                 to 27 February",
                "2025-03-22 passed: Japanese beetle: egg lay on 20 March; taken back later",
            ],
            "schema {schema}"
        );
    }
}

#[test]
fn messages_are_kept_and_go_out_under_the_ids_they_had() {
    for (schema, _folder, store) in opened_from(1) {
        let tally = Tally {
            waiting: 1,
            failing: 1,
            sent: 2,
            given_up: 1,
        };
        assert_eq!(store.tally().unwrap(), tally, "schema {schema}");
        assert_eq!(
            store.due(instant("2026-03-01T06:08:01Z"), 0).unwrap(),
            [],
            "schema {schema}"
        );
        let due = store.due(instant("2026-03-01T06:08:02Z"), 0).unwrap();
        let [due] = due.as_slice() else {
            panic!("schema {schema}: {due:?}");
        };
        let waiting = store.waiting(due.number).unwrap().expect("it waits");
        let member = (schema >= 15).then_some("pond");
        assert_eq!(waiting.member.as_deref(), member, "schema {schema}");
        let id = match schema {
            ..15 => "77656c6c66696564.4",
            _ => "8f3b1c5ad2e94760b7f2a1905c6d3e48",
        };
        assert_eq!(waiting.id, id, "schema {schema}");
        assert_eq!(waiting.recipient, "quay-keeper", "schema {schema}");
        assert_eq!(
            waiting.title, "The quay green: milestones are held back",
            "schema {schema}"
        );
        assert_eq!(
            waiting.body, "Too many days are missing.",
            "schema {schema}"
        );
        assert_eq!(waiting.tries, 4, "schema {schema}");
        assert_eq!(waiting.urgent, schema >= 11, "schema {schema}");
        let listed = store.messages().unwrap();
        let about = listed
            .last()
            .map(|one| (one.kinds.concat(), one.sites.concat()));
        let expected = if schema >= 15 {
            ("held", "quay-green")
        } else {
            ("", "")
        };
        let expected = (expected.0.to_owned(), expected.1.to_owned());
        assert_eq!(about, Some(expected), "schema {schema}");
        assert_eq!(
            store
                .delivery_problems(instant("2026-03-01T06:10:00Z"))
                .unwrap(),
            [
                "quay-keeper by push: push.quay.example: the server says 503",
                "quay-keeper by email: mail.quay.example: no answer"
            ],
            "schema {schema}"
        );
    }
}

#[test]
fn early_notices_are_kept() {
    for (schema, folder, _store) in opened_from(2) {
        let told = told(&folder, "2026");
        let early: Vec<&String> = told
            .iter()
            .filter(|one| one.contains(" foretold:"))
            .collect();
        // The range is kept from schema 6 on.
        let range = if schema < 6 {
            ""
        } else {
            " (18 March to 30 March)"
        };
        assert_eq!(
            early,
            [
                "2026-02-03 foretold: Japanese beetle: adult flight likely 24 February",
                &format!("2026-02-24 foretold: Japanese beetle: egg lay likely 24 March{range}"),
            ],
            "schema {schema}"
        );
    }
}

#[test]
fn journal_entries_that_stand_are_kept_and_removed_ones_stay_removed() {
    let catch = "2 lawn 2026-02-23 catch catch of japanese-beetle (\"under the lamp\")";
    for (schema, folder, store) in opened_from(2) {
        let list = printed(&folder, &["log", "list", "--site", "lawn"]);
        let mut lines: Vec<String> = list
            .lines()
            .skip(1)
            .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
            .collect();
        lines.sort();
        if schema < 6 {
            assert_eq!(lines, [catch], "schema {schema}");
        } else {
            assert_eq!(
                lines,
                [
                    catch,
                    "3 lawn 2026-02-10 application chlorantraniliprole on 1400 m² at 0.6 l/ha, \
                     that is 0.084 l; at most 1.2 l/ha a season by the label",
                    "5 lawn 2026-02-10 irrigation 13 mm of water",
                    "6 lawn 2026-02-26 count 3 larvae of japanese-beetle in 4 samples of 0.1 m²: \
                     7.5 per m²; 0, 2, 0, 1",
                    "7 lawn 2026-02-27 count japanese-beetle: 8.5 per m²",
                    "8 lawn 2025-10-02 note damage by grubs (\"skunks along the fence\")",
                ],
                "schema {schema}"
            );
            assert_eq!(store.first_number(5).unwrap(), 4, "schema {schema}");
        }
        assert_eq!(
            store.catches(LAWN).unwrap(),
            [(date("2026-02-23"), None)],
            "schema {schema}"
        );
    }
}

#[test]
fn rain_is_kept() {
    for (schema, _folder, store) in opened_from(3) {
        let rain = store.rain_since("well-field", date("2026-02-11")).unwrap();
        let measured = [(date("2026-02-11"), 0.0), (date("2026-02-27"), 3.3)];
        assert_eq!(rain, measured.into(), "schema {schema}");
    }
}

/// Before schema 10 nobody wrote down when a forecast was taken in.
#[test]
fn a_forecast_of_unknown_age_is_not_used_and_one_with_its_instant_is_until_it_lapses() {
    for (schema, _folder, mut store) in opened_from(2) {
        let issued = store.forecast_issued("well-field").unwrap();
        let on = |day| store.forecast("well-field", date(day)).unwrap();
        if schema < 10 {
            assert_eq!((issued, on("2026-03-01")), (None, None), "schema {schema}");
            let next = Forecast {
                issued: instant("2026-03-01T12:00:00Z"),
                days: [(date("2026-03-02"), Reading::default())].into(),
                rain: [(date("2026-03-02"), 6.4)].into(),
                wind: Default::default(),
            };
            store.replace_forecast("well-field", &next).unwrap();
            let found = store.forecast("well-field", date("2026-03-02")).unwrap();
            assert_eq!(
                found.map(|found| found.rain),
                Some(next.rain),
                "schema {schema}"
            );
            continue;
        }
        assert_eq!(issued, Some(instant("2026-03-01T06:00:02Z")));
        assert_eq!(on("2026-03-04"), None);
        let forecast = on("2026-03-03").expect("it has not lapsed");
        let reading = |min, max| Reading {
            min: Some(min),
            max,
        };
        let days = [
            (date("2026-03-01"), reading(15.5, Some(26.0))),
            (date("2026-03-02"), reading(14.0, Some(24.5))),
            (date("2026-03-03"), reading(13.5, None)),
        ];
        assert_eq!(forecast.days, days.into());
        let rain = [(date("2026-03-01"), 0.0), (date("2026-03-02"), 6.4)];
        assert_eq!(forecast.rain, rain.into());
        let wind = [(date("2026-03-01"), 3.5), (date("2026-03-02"), 7.0)];
        assert_eq!(forecast.wind, wind.into());
    }
}

#[test]
fn the_last_good_file_its_findings_and_values_held_out_are_kept() {
    for (schema, _folder, store) in opened_from(4) {
        let profile = store.profile("well-field").unwrap().expect("a profile");
        assert_eq!((profile.rows, profile.days), (59, 59), "schema {schema}");
        assert_eq!(profile.first, Some(date("2026-01-01")), "schema {schema}");
        assert_eq!(profile.newest, Some(date("2026-02-28")), "schema {schema}");
        assert_eq!(profile.header, ["DATE", "TMAX", "TMIN"], "schema {schema}");
        let open = store.open_findings("old-quay").unwrap();
        let [finding] = open.as_slice() else {
            panic!("schema {schema}: {open:?}");
        };
        assert_eq!(finding.trouble, Trouble::Unreachable, "schema {schema}");
        assert_eq!(
            finding.since,
            instant("2026-01-27T06:00:02Z"),
            "schema {schema}"
        );
        let shown = store
            .findings_to_show("well-field", instant("2026-01-11T06:00:00Z"))
            .unwrap();
        let troubles: Vec<Trouble> = shown.iter().map(|finding| finding.trouble).collect();
        assert_eq!(troubles, [Trouble::Header], "schema {schema}");
        let held = store.held_values("well-field").unwrap();
        let [held] = held.as_slice() else {
            panic!("schema {schema}: {held:?}");
        };
        assert_eq!(
            (held.day, held.element, held.celsius),
            (date("2026-01-20"), Element::Max, 47.5),
            "schema {schema}"
        );
        // Before reasons were kept, values beyond all others were held.
        let (reason, expected) = match schema {
            ..15 => (HoldReason::Gap, None),
            _ => (HoldReason::Outlier, Some((-4.0, 31.5))),
        };
        assert_eq!(
            (held.reason, held.expected),
            (reason, expected),
            "schema {schema}"
        );
    }
}

#[test]
fn what_was_decided_of_values_is_kept() {
    for (schema, _folder, store) in opened_from(15) {
        let decided = store.decided_values("well-field").unwrap();
        let decided: Vec<_> = decided
            .iter()
            .map(|one| (one.day, one.element, one.celsius, one.confirmed))
            .collect();
        assert_eq!(
            decided,
            [
                (date("2025-08-03"), Element::Max, 51.0, false),
                (date("2026-01-15"), Element::Max, 25.8, true),
            ],
            "schema {schema}"
        );
    }
}

#[test]
fn the_archive_and_the_marks_of_files_read_are_kept() {
    for (schema, _folder, store) in opened_from(5) {
        assert_eq!(store.archived_years().unwrap(), [2025], "schema {schema}");
        let (readings, rain) = store.archived("ZZ000000011", 2025).unwrap();
        let days = [
            ("2025-01-01", Some(14.3), Some(25.1)),
            ("2025-01-02", Some(15.0), Some(24.9)),
        ];
        let days = days.map(|(day, min, max)| (date(day), Reading { min, max }));
        assert_eq!(readings, days.into(), "schema {schema}");
        assert_eq!(rain, [(date("2025-01-02"), 12.7)].into(), "schema {schema}");
        let file = FileMark {
            path: "/srv/archive/2025.csv.gz".into(),
            bytes: 48_213,
            modified: "1767582000.250000000".into(),
        };
        for taker in ["archive", "well-field ZZ000000011"] {
            assert_eq!(
                store.finished(&file, taker).unwrap(),
                Some(instant("2026-01-06T10:00:00Z")),
                "schema {schema}, {taker}"
            );
        }
    }
}

/// Steps, counting and what was taken back are of the site as a whole from schema 9 on, so none names a
/// species any more.
#[test]
fn what_was_told_of_treatments_is_kept() {
    for (schema, folder, _store) in opened_from(6) {
        let told = told(&folder, "2026");
        let of_treatments: Vec<&String> = told
            .iter()
            .filter(|one| !one.contains(" foretold:") && !one.contains(" passed:"))
            .collect();
        assert_eq!(
            of_treatments,
            [
                "2026-01-30 treatment: chlorantraniliprole: worth it now, best day about 20 \
                 February",
                "2026-02-08 treatment: chlorantraniliprole: its last useful day is near, \
                 about 4 March",
                "2026-02-11 water: chlorantraniliprole (number 3): to be watered in by 13 February",
                "2026-02-12 water: chlorantraniliprole (number 3): watered in",
                "2026-02-26 count: time to count grubs",
                "2026-02-27 overtaken: hold back",
            ],
            "schema {schema}"
        );
    }
}

#[test]
fn the_last_digest_is_kept() {
    for (schema, _folder, store) in opened_from(1) {
        let last = (schema >= 11).then(|| instant("2026-02-23T06:00:02Z"));
        assert_eq!(
            store.last_digest("keeper").unwrap(),
            last,
            "schema {schema}"
        );
    }
}

#[test]
fn who_is_known_to_be_out_of_reach_is_kept() {
    for (schema, _folder, store) in opened_from(1) {
        let news = store
            .newly_unreachable(instant("2026-03-03T06:00:00Z"))
            .unwrap();
        let names: Vec<&str> = news.iter().map(|one| one.recipient.as_str()).collect();
        let expected: &[&str] = if schema < 15 { &["quay-keeper"] } else { &[] };
        assert_eq!(names, expected, "schema {schema}");
    }
}

/// What an older program took in is no batch.
#[test]
fn batches_are_kept_and_can_still_be_undone_and_what_a_feed_may_not_say_again_stays_refused() {
    for (schema, _folder, mut store) in opened_from(1) {
        let batches = store.batches(None, 20).unwrap();
        let now = instant("2026-03-01T12:00:00Z");
        if schema < 15 {
            assert_eq!(batches, [], "schema {schema}");
            let error = store.undo_batch(1, false, now).unwrap_err();
            assert!(matches!(error, UndoError::Unknown { .. }), "{error}");
            continue;
        }
        let numbers: Vec<_> = batches
            .iter()
            .map(|batch| (batch.number, batch.undone_by, batch.archived))
            .collect();
        let expected = [(4, None, 731), (3, None, 0), (2, Some(3), 0), (1, None, 0)];
        assert_eq!(numbers, expected);
        let again: Readings = [(date("2026-02-01"), reading(None, Some(35.5)))].into();
        let said = Said::of_readings(&again);
        let taken = store.take_in("well-field", said, "a feed".into(), now);
        assert_eq!(taken.unwrap().left_out, 1, "it is refused still");
        let undone = store.undo_batch(3, false, now).unwrap();
        assert_eq!(undone.stations[0].1.revised, 2);
        let days = store.readings("well-field").unwrap();
        assert_eq!(days[&date("2026-02-01")].max, Some(35.5));
        let undone = store.undo_batch(1, false, now).unwrap();
        let counts = undone.stations[0].1;
        assert_eq!((counts.removed, counts.rain), (10, 1));
        let days = store.readings("well-field").unwrap();
        let is_stored = |day| days.contains_key(&date(day));
        assert!(!is_stored("2026-01-10") && is_stored("2026-01-11"));
    }
}

/// Whoever adds a migration adds a database of its schema.
#[test]
fn the_newest_database_is_of_the_schema_that_this_program_writes() {
    let folder = Workshop::new();
    drop(open(&folder));
    let database = rusqlite::Connection::open(folder.path("hatchbell.db")).unwrap();
    let version: u32 = database
        .query_row("PRAGMA user_version", [], |row| row.get(0))
        .unwrap();
    assert_eq!(version as usize, NEWEST);
}

#[test]
fn keys_of_forms_and_tasks_that_are_put_off_are_kept() {
    for (schema, _folder, store) in opened_from(18) {
        let of = |day| store.put_off_on(date(day)).unwrap();
        assert_eq!(of("2026-03-03").len(), 1, "schema {schema}");
        assert_eq!(of("2026-03-04"), [], "schema {schema}");
        let first = store.all_entries().unwrap().remove(0);
        let number = store.made_with(&first.site, "00112233445566778899aabbccddeeff");
        assert_eq!(number.unwrap(), Some(1), "schema {schema}");
    }
}

/// Older programs kept the newest forecast only; one without its instant is of no use here.
#[test]
fn forecasts_are_kept_with_the_day_of_their_issue() {
    let always = (date("2026-01-01"), date("2026-12-31"));
    for (schema, _folder, mut store) in opened_from(2) {
        let kept = |store: &Store| -> Vec<(NaiveDate, usize)> {
            let kept = store.kept_forecasts("well-field", always).unwrap();
            kept.iter()
                .map(|one| (one.issued_on, one.days.len()))
                .collect()
        };
        let first = date("2026-03-01");
        let due = match schema {
            ..10 => vec![],
            10..20 => vec![(first, 3)],
            20.. => vec![(date("2026-02-28"), 2), (first, 3)],
        };
        assert_eq!(kept(&store), due, "schema {schema}");
        // A later one of the same day replaces it, one of the next day stands beside it.
        let warm = |issued: &str, max: f64| Forecast {
            issued: instant(issued),
            days: [(date("2026-03-02"), reading(Some(12.0), Some(max)))].into(),
            rain: Default::default(),
            wind: Default::default(),
        };
        for forecast in [
            warm("2026-03-01T18:00:00Z", 21.0),
            warm("2026-03-02T06:00:00Z", 22.0),
        ] {
            store.replace_forecast("well-field", &forecast).unwrap();
        }
        let issues = store.kept_forecasts("well-field", always).unwrap();
        let [.., replaced, next] = issues.as_slice() else {
            panic!("schema {schema}: two issues");
        };
        let of = |day: &str, of: &KeptForecast| (of.issued_on, of.days[&date(day)].max);
        assert_eq!(of("2026-03-02", replaced), (first, Some(21.0)));
        assert_eq!(
            of("2026-03-02", next),
            (date("2026-03-02"), Some(22.0)),
            "schema {schema}"
        );
        let only = (first, first);
        let only = store.kept_forecasts("well-field", only).unwrap();
        assert_eq!(only.len(), 1, "schema {schema}");
    }
}

#[test]
fn browsers_that_take_notices_are_kept() {
    for (schema, _folder, store) in opened_from(1) {
        let browsers = store.browsers().unwrap();
        let kept: Vec<_> = browsers
            .iter()
            .map(|one| (one.owner.recipient.as_str(), one.label.as_str()))
            .collect();
        let expected: &[_] = match schema < 19 {
            true => &[],
            false => &[("quay-keeper", "the shed")],
        };
        assert_eq!(kept, expected, "schema {schema}");
    }
}

#[test]
fn status_asks_for_the_service_first_and_then_shows_an_older_database() {
    for schema in schemas_from(1) {
        let folder = folder(schema);
        let status = [
            "status",
            "--config",
            "hatchbell.toml",
            "--date",
            "2026-03-01",
        ];
        if schema < NEWEST {
            let refused = folder.run(&status);
            assert!(!refused.status.success(), "schema {schema}");
            let said = both(&refused);
            assert!(
                said.contains("brings it up to date at its next start"),
                "{said}"
            );
        }
        drop(open(&folder));
        let of_site = [&status[..], &["--site", "lawn"]].concat();
        let shown = folder.succeeds(&status) + &folder.succeeds(&of_site);
        for words in [
            "data through: 2026-02-28",
            "degree-days: 590 °C·d",
            "last milestone: flight",
            "stale since 2026-01-24",
            "the old quay: https://feeds.example/old-quay.csv: the server says 404 Not Found",
            "last cycle 2026-03-01 06:00 UTC; 2 messages sent; 1 waiting, 1 of them after a failed \
             attempt; 1 given up",
        ] {
            let plain = shown.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(
                plain.contains(words),
                "schema {schema}: no {words:?} in\n{shown}"
            );
        }
    }
}

/// One feed brings what is stored, the other stays away, as before.
#[tokio::test]
async fn what_an_older_program_told_is_not_told_again() {
    for (schema, folder, store) in opened_from(1) {
        let mut rows = String::from("DATE,TMAX,TMIN\n");
        for (day, reading) in store.readings("well-field").unwrap() {
            let cell = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
            rows += &format!("{day},{},{}\n", cell(reading.max), cell(reading.min));
        }
        drop(store);
        folder.write("well-field.csv", &rows);
        let mut play = Play::within(folder, CONFIG);
        play.cycle("2026-03-01T06:10:00Z").await;
        let tally = open(&play.workshop).tally().unwrap();
        let titles = play.column("SELECT title FROM outbox ORDER BY id");
        assert_eq!(
            tally.waiting + tally.sent + tally.given_up,
            4,
            "schema {schema}: {titles:?}"
        );
    }
}

#[test]
fn the_configuration_in_force_and_members_as_they_were_last_good_are_kept() {
    for (schema, _folder, store) in opened_from(1) {
        if schema < 16 {
            assert_eq!(store.in_force().unwrap(), None, "schema {schema}");
            assert_eq!(store.kept_members().unwrap(), [], "schema {schema}");
            continue;
        }
        let in_force = store.in_force().unwrap().expect("it ran");
        assert_eq!(in_force.file, "/etc/hatchbell/hatchbell.toml");
        assert_eq!(in_force.digest, "0123456789abcdef");
        assert_eq!(in_force.read_at, instant("2026-02-28T07:00:00Z"));
        let refused = store.refused().unwrap().expect("one was refused");
        assert_eq!(refused.at, instant("2026-02-28T09:00:00Z"));
        assert!(refused.why.ends_with("schedule needs six fields"));
        let files = store.kept_files().unwrap();
        let texts: Vec<&str> = files.iter().map(|file| file.text.as_str()).collect();
        assert_eq!(texts, ["include = [\"members/*.toml\"]\n", "[[member]]\n"]);
        let members = store.kept_members().unwrap();
        assert_eq!(members.len(), 1);
        assert_eq!(
            (members[0].id.as_str(), members[0].text.as_str()),
            ("pond", "\"id\" = \"pond\"\n")
        );
        let faults = store.told_faults().unwrap();
        assert_eq!(faults.len(), 1);
        assert_eq!(
            (faults[0].subject.as_str(), faults[0].goes_on),
            ("member pond", true)
        );
        assert_eq!(faults[0].problems.len(), 2);
    }
}

#[test]
fn keys_of_the_page_and_what_was_done_there_are_kept() {
    for (schema, folder, store) in opened_from(1) {
        let database = rusqlite::Connection::open(folder.path("hatchbell.db")).unwrap();
        let count = |table: &str| -> i64 {
            let sql = format!("SELECT count(*) FROM {table}");
            database.query_row(&sql, [], |row| row.get(0)).unwrap()
        };
        if schema < 17 {
            for table in ["sign_in_link", "session", "page_token", "audit"] {
                assert_eq!(count(table), 0, "schema {schema}: {table}");
            }
            continue;
        }
        assert_eq!((count("sign_in_link"), count("session")), (1, 1));
        let tokens = store.tokens().unwrap();
        let tokens: Vec<_> = tokens
            .iter()
            .map(|token| (token.recipient.as_str(), token.read_only, token.revoked_at))
            .collect();
        let revoked = instant("2026-02-27T09:00:00Z");
        assert_eq!(
            tokens,
            [
                ("quay-keeper", true, None),
                ("keeper", false, Some(revoked))
            ]
        );
        let lines = store.audit(10).unwrap();
        assert_eq!(lines.len(), 2);
        assert_eq!(
            (lines[0].recipient.as_deref(), lines[0].action.as_str()),
            (Some("keeper"), "signed in")
        );
    }
}

#[test]
fn how_often_stations_and_sites_have_changed_goes_on_being_counted() {
    for (schema, _folder, mut store) in opened_from(1) {
        let before = store.change_counts().unwrap();
        let known = |counts: &ChangeCounts| {
            let station = counts.stations.get("well-field").copied();
            (station, counts.sites.get("green").copied())
        };
        let stored = if schema < 21 {
            (None, None)
        } else {
            (Some(3), Some(2))
        };
        assert_eq!(known(&before), stored, "schema {schema}");
        let days = [(date("2026-03-01"), reading(Some(11.0), Some(23.0)))].into();
        store
            .merge("well-field", &days, instant("2026-03-02T06:00:00Z"))
            .unwrap();
        let after = known(&store.change_counts().unwrap());
        let station = stored.0.unwrap_or(0) + 1;
        assert_eq!(after, (Some(station), stored.1), "schema {schema}");
    }
}
