//! What people are told of treatments: only where one is justified, each step once, and no more
//! once something was spread; when to count; how an application is watered in.
//!
//! Played on the demonstration's invented weather through the same cycles as the service.

use crate::support::command::{self, Workshop};
use chrono::{Days, NaiveDate};
use hatchbell::clock::Clock;
use hatchbell::config::load;
use hatchbell::cycle::{Engine, Setup};
use hatchbell::domain::journal::amount::Depth;
use hatchbell::domain::journal::{Application, JournalAction};
use hatchbell::domain::scouting::Found;
use hatchbell::domain::scouting::SampleArea;
use hatchbell::domain::weather::rain::Rain;
use hatchbell::store::Store;
use std::sync::Arc;

/// What a message tells of one thing: its heading and its text with the cautions of the message,
/// both without line breaks.
type Told = (String, String);

/// A garden played from day to day.
struct Garden {
    engine: Engine,
    workshop: Workshop,
    read: i64,
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

impl Garden {
    /// A garden whose `[[member.site]]` has these further keys.
    fn with(site: &str) -> Self {
        let workshop = Workshop::new();
        workshop.write("days.csv", &without_rain());
        let days = "file = \"days.csv\"\ncode = \"ZZI00000001\"";
        Self::on(workshop, days, site)
    }

    /// The same where the summer is too short for a second instar by the date cap.
    fn in_the_cold(site: &str) -> Self {
        let root = env!("CARGO_MANIFEST_DIR");
        let days =
            format!("file = \"{root}/fixtures/demo/high-pasture.csv.gz\"\ncode = \"ZZI00000003\"");
        let mut garden = Self::on(Workshop::new(), &days, site);
        for member in &mut Arc::make_mut(&mut garden.engine.config).members {
            member.sites[0].latitude = 44.6;
        }
        garden
    }

    fn on(workshop: Workshop, days: &str, site: &str) -> Self {
        let dialect = if days.contains(".gz") {
            "ghcn-long"
        } else {
            "ghcn-access"
        };
        let text = command::config_with_station(days)
            .replace("ncei-export", dialect)
            .replace("unit = \"celsius\"\n", "")
            .replace("latitude = 27.4", &format!("latitude = 41.8\n{site}"));
        let path = workshop.write("hatchbell.toml", &text);
        let config = load(path.as_ref()).expect("it is sound").config;
        let store = Store::open(&config.service.database).unwrap();
        let setup = Setup::for_replay(&config, 0).unwrap();
        let (_, stop) = tokio::sync::watch::channel(false);
        let clock = Clock::Machine;
        let engine = Engine::new(config, setup, store, clock, Box::new(std::io::sink()), stop);
        Self {
            engine,
            workshop,
            read: 0,
        }
    }

    /// Plays a day; what is told on it.
    fn play(&mut self, on: NaiveDate) -> Vec<Told> {
        self.engine.clock = Clock::Set(on.and_hms_opt(6, 0, 0).unwrap().and_utc());
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let report = runtime.block_on(self.engine.cycle(&|| {})).unwrap();
        assert_eq!(report.failed, 0);
        let database = rusqlite::Connection::open(self.workshop.path("hatchbell.db")).unwrap();
        let mut statement = database
            .prepare("SELECT id, body FROM outbox WHERE id > ?1 ORDER BY id")
            .unwrap();
        let rows = statement
            .query_map([self.read], |row| Ok((row.get(0)?, row.get(1)?)))
            .unwrap();
        let mut told = Vec::new();
        for row in rows {
            let (id, body): (i64, String) = row.unwrap();
            self.read = id;
            told.extend(sections(&body));
        }
        told
    }

    /// Plays every second day; what is told, without the milestones.
    fn play_through(&mut self, from: &str, to: &str) -> Vec<Told> {
        let mut told = Vec::new();
        let mut on = day(from);
        while on <= day(to) {
            told.extend(self.play(on));
            on = on + Days::new(2);
        }
        told.retain(|(heading, _)| {
            ["season ahead", "has begun", "has ended"]
                .iter()
                .all(|milestone| !heading.contains(milestone))
        });
        told
    }

    fn log(&self, on: &str, action: &JournalAction) {
        let now = "2026-06-10T06:00:00Z".parse().unwrap();
        self.engine
            .store
            .log("lawn", day(on), action, None, now)
            .unwrap();
    }

    fn rain(&mut self, days: &[(&str, f64)]) {
        let rain: Rain = days.iter().map(|(on, mm)| (day(on), *mm)).collect();
        let now = "2026-06-10T06:00:00Z".parse().unwrap();
        self.engine.store.merge_rain("only", &rain, now).unwrap();
    }
}

/// The demonstration's days without their rain, which the tests bring themselves.
fn without_rain() -> String {
    let days = include_str!("../../fixtures/demo/harbour-meadow.csv");
    let mut rows = csv::Reader::from_reader(days.as_bytes());
    let mut written = csv::WriterBuilder::new()
        .quote_style(csv::QuoteStyle::Always)
        .from_writer(Vec::new());
    let header = rows.headers().unwrap().clone();
    let is_rain = |index: usize| header[index].starts_with("PRCP");
    written.write_record(&header).unwrap();
    for row in rows.records() {
        let row = row.unwrap();
        let cells = row.iter().enumerate();
        written
            .write_record(cells.map(|(index, cell)| if is_rain(index) { "" } else { cell }))
            .unwrap();
    }
    String::from_utf8(written.into_inner().unwrap()).unwrap()
}

/// The things a mail tells of: each begins with what it is and where.
fn sections(body: &str) -> Vec<Told> {
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (things, cautions) = body.split_once("Cautions:").unwrap_or((body, ""));
    let things = things.split("\n\n").map(flat);
    things
        .filter_map(|thing| {
            let (heading, text) = thing.split_once(": The lawn")?;
            Some((
                heading.to_owned(),
                format!("{} CAUTIONS {}", text.trim(), flat(cautions)),
            ))
        })
        .collect()
}

fn counted(larvae: u32) -> JournalAction {
    let area = SampleArea::from_ft2(1.0).unwrap();
    JournalAction::Count {
        species: "japanese-beetle".into(),
        found: Found::of_samples(10, area, larvae, None).unwrap(),
    }
}

fn spread(option: &str, area: &str) -> JournalAction {
    JournalAction::Application(Application {
        option: option.into(),
        area: area.parse().unwrap(),
        rate: None,
        most_a_season: None,
        record: Default::default(),
    })
}

fn water(depth: &str) -> JournalAction {
    JournalAction::Irrigation {
        depth: depth.parse::<Depth>().unwrap(),
    }
}

fn headings(told: &[Told]) -> Vec<&str> {
    told.iter().map(|(heading, _)| heading.as_str()).collect()
}

/// The headings that name something.
fn about<'t>(told: &'t [Told], what: &str) -> Vec<&'t str> {
    let mut headings = headings(told);
    headings.retain(|heading| heading.contains(what));
    headings
}

#[test]
fn who_has_neither_counted_nor_decided_is_told_to_count_and_to_spread_nothing() {
    let mut garden = Garden::with("");
    let told = garden.play_through("2026-03-01", "2026-09-20");
    assert_eq!(headings(&told), ["Count grubs"]);
    let (_, text) = &told[0];
    for due in [
        "top 5 to 10 cm",
        "flaps of 15 by 15 cm (0.25 ft²)",
        "No count, no curative",
        "Tell ",
    ] {
        assert!(text.contains(due), "{due}: {text}");
    }
}

#[test]
fn milestones_say_that_nothing_should_be_applied_where_nothing_speaks_for_it() {
    let mut garden = Garden::with("");
    garden.play(day("2026-06-20"));
    let told: Vec<Told> = (21..30)
        .flat_map(|n| garden.play(NaiveDate::from_ymd_opt(2026, 6, n).unwrap()))
        .collect();
    let (_, text) = told
        .iter()
        .find(|(heading, _)| heading.contains("egg lay"))
        .unwrap();
    assert!(text.contains("Nothing to apply here"), "{text}");
}

#[test]
fn after_a_harmful_count_last_autumn_each_step_of_a_preventive_is_told_once_in_order() {
    let mut garden = Garden::with("options = [\"chlorantraniliprole\"]");
    garden.log("2025-09-10", &counted(150));
    let told = garden.play_through("2026-03-01", "2026-07-30");
    assert_eq!(
        headings(&told),
        [
            "Apply chlorantraniliprole",
            "Last week for chlorantraniliprole",
            "The good days for chlorantraniliprole are over",
        ]
    );
    for (heading, text) in &told {
        assert!(
            text.contains("Last year's grubs here justify a preventive"),
            "{heading}: {text}"
        );
    }
    for (_, text) in &told[..2] {
        assert!(text.contains("Water in with 13 mm within a day"), "{text}");
        assert!(text.contains("planning model, estimated"), "{text}");
        assert!(text.contains("The label is the law"), "{text}");
    }
    let (_, over) = &told[2];
    assert!(
        over.contains("Later than practice advises, trials still found control until about"),
        "{over}"
    );
    assert!(
        over.ends_with("CAUTIONS "),
        "nothing is to be applied: {over}"
    );
}

#[test]
fn when_one_option_is_too_late_those_still_in_time_are_named() {
    let mut garden = Garden::with(
        "options = [\"chlorantraniliprole\", \"imidacloprid\"]\npreventives = \"every-year\"",
    );
    let told = garden.play_through("2026-05-20", "2026-06-20");
    let (_, text) = told
        .iter()
        .find(|(heading, _)| heading.contains("The good days for chlorantraniliprole are over"))
        .expect("they end");
    assert!(text.contains("Instead: imidacloprid ("), "{text}");
}

#[test]
fn a_site_hears_only_of_what_it_would_use() {
    let mut garden = Garden::with("options = [\"biological\"]\npreventives = \"every-year\"");
    let told = garden.play_through("2026-03-01", "2026-08-30");
    let all = headings(&told).join("\n");
    assert!(all.contains("Bacillus thuringiensis galleriae"), "{all}");
    assert!(all.contains("Heterorhabditis bacteriophora"), "{all}");
    for other in ["chlorantraniliprole", "imidacloprid", "Metarhizium"] {
        assert!(!all.contains(other), "{other}: {all}");
    }
}

#[test]
fn once_the_whole_site_is_treated_in_time_no_further_step_is_told() {
    let site = "area = \"450 m2\"\npreventives = \"every-year\"\noptions = [\"chlorantraniliprole\", \"imidacloprid\"]";
    let mut garden = Garden::with(site);
    assert!(!garden.play_through("2026-04-01", "2026-05-01").is_empty());
    garden.log("2026-05-02", &spread("chlorantraniliprole", "450 m2"));
    garden.log("2026-05-02", &water("15mm"));
    let told = garden.play_through("2026-05-03", "2026-07-30");
    let heads = headings(&told);
    assert_eq!(heads, ["Chlorantraniliprole is watered in"]);
}

#[test]
fn half_a_site_or_an_application_that_came_too_late_is_not_a_treatment() {
    let site = "area = \"450 m2\"\npreventives = \"every-year\"\noptions = [\"diamide\", \"imidacloprid\"]";
    for (on, area) in [("2026-05-02", "200 m2"), ("2026-07-20", "450 m2")] {
        let mut garden = Garden::with(site);
        garden.log(on, &spread("chlorantraniliprole", area));
        let told = garden.play_through(on, "2026-07-25");
        assert!(
            headings(&told)
                .iter()
                .any(|heading| heading.contains("imidacloprid")),
            "{on} {area}: {told:#?}"
        );
    }
}

#[test]
fn a_curative_is_told_of_only_after_a_count_above_what_the_turf_tolerates() {
    let site =
        "condition = \"irrigated\"\noptions = [\"trichlorfon\"]\npreventives = \"every-year\"";
    for (larvae, is_told) in [(20, false), (400, true)] {
        let mut garden = Garden::with(site);
        let before = garden.play_through("2026-06-01", "2026-08-14");
        assert!(!headings(&before).join(" ").contains("trichlorfon"));
        garden.log("2026-08-15", &counted(larvae));
        let told = garden.play_through("2026-08-16", "2026-08-20");
        let heads = headings(&told).join(" ");
        assert_eq!(heads.contains("trichlorfon"), is_told, "{heads}");
        if is_told {
            assert!(
                told[0].1.contains("above what the turf tolerates"),
                "{}",
                told[0].1
            );
        }
    }
}

#[test]
fn only_a_count_of_larvae_that_can_be_counted_stands_for_counting() {
    // The second instar is reached on 3 August.
    for (on, is_told) in [("2026-07-20", true), ("2026-08-05", false)] {
        let mut garden = Garden::with("");
        garden.play(day("2026-07-18"));
        garden.log(on, &counted(5));
        let told = garden.play_through(on, "2026-08-30");
        assert_eq!(
            !about(&told, "Count grubs").is_empty(),
            is_told,
            "{on}: {told:#?}"
        );
    }
}

#[test]
fn a_count_right_after_egg_lay_neither_calls_for_a_curative_nor_stops_a_preventive() {
    let site = "options = [\"imidacloprid\", \"trichlorfon\"]\npreventives = \"every-year\"";
    for larvae in [0, 400] {
        let mut garden = Garden::with(site);
        garden.play(day("2026-06-26"));
        garden.log("2026-06-27", &counted(larvae));
        let told = garden.play_through("2026-06-27", "2026-07-28");
        assert!(
            !about(&told, "Last week for imidacloprid").is_empty(),
            "{told:#?}"
        );
        assert!(about(&told, "trichlorfon").is_empty(), "{told:#?}");
    }
}

#[test]
fn who_begins_after_the_windows_end_is_told_to_count_all_the_same() {
    let mut garden = Garden::with("");
    let told = garden.play_through("2026-08-30", "2026-09-03");
    assert_eq!(headings(&told), ["Count grubs"]);
}

#[test]
fn who_begins_when_the_best_days_are_over_hears_how_long_it_still_works() {
    let mut garden = Garden::with("options = [\"diamide\"]\npreventives = \"every-year\"");
    let told = garden.play(day("2026-06-02"));
    assert_eq!(
        about(&told, "Last week for chlorantraniliprole").len(),
        1,
        "{told:#?}"
    );
}

#[test]
fn a_biological_that_seeks_larvae_is_told_of_after_a_count_too() {
    let mut garden = Garden::with("options = [\"biological\"]");
    garden.play(day("2026-08-08"));
    garden.log("2026-08-09", &counted(400));
    let told = garden.play_through("2026-08-09", "2026-08-13");
    let all: String = told.iter().map(|(_, text)| text.as_str()).collect();
    for option in [
        "Metarhizium brunneum: Today is",
        "Heterorhabditis bacteriophora: Today is",
    ] {
        assert!(all.contains(option), "{option}: {all}");
    }
    assert!(!all.contains("Bacillus"), "{all}");
}

#[test]
fn a_curative_that_went_down_before_the_count_does_not_answer_it() {
    let site = "options = [\"trichlorfon\", \"carbaryl\"]";
    for (spread_on, is_told) in [("2026-08-10", true), ("2026-08-20", false)] {
        let mut garden = Garden::with(site);
        garden.play(day("2026-08-08"));
        garden.log(spread_on, &spread("trichlorfon", "450 m2"));
        garden.log("2026-08-20", &counted(400));
        let told = garden.play(day("2026-08-20"));
        let texts: String = told.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(
            texts.contains("The count is above what the turf tolerates"),
            is_told,
            "{spread_on}: {told:#?}"
        );
    }
}

#[test]
fn milestones_no_longer_call_for_a_treatment_once_it_was_made() {
    let mut garden = Garden::with("preventives = \"every-year\"");
    garden.play(day("2026-05-04"));
    garden.log("2026-05-05", &spread("chlorantraniliprole", "450 m2"));
    let mut told = Vec::new();
    for n in 20..30 {
        told.extend(garden.play(NaiveDate::from_ymd_opt(2026, 6, n).unwrap()));
    }
    let (_, text) = told
        .iter()
        .find(|(heading, _)| heading.contains("egg lay has"))
        .unwrap();
    assert!(text.contains("Nothing to apply here"), "{text}");
}

#[test]
fn an_edited_application_is_not_told_of_again_and_water_taken_back_is() {
    let mut garden = Garden::with("");
    garden.play(day("2026-06-08"));
    garden.log("2026-06-09", &spread("imidacloprid", "450 m2"));
    garden.log("2026-06-09", &water("15mm"));
    assert_eq!(
        about(&garden.play(day("2026-06-09")), "midacloprid").len(),
        1
    );
    let now = "2026-06-10T06:00:00Z".parse().unwrap();
    let store = &mut garden.engine.store;
    let entries = store.entries("lawn").unwrap();
    let (first, second) = (&entries[0], &entries[1]);
    store
        .replace(first, first.day, &first.action, Some("with dew"), now)
        .unwrap();
    assert!(about(&garden.play(day("2026-06-10")), "midacloprid").is_empty());
    assert!(garden.engine.store.undo(second.number, now).unwrap());
    let told = garden.play(day("2026-06-10"));
    assert_eq!(about(&told, "midacloprid"), ["Water in imidacloprid"]);
    assert!(about(&garden.play(day("2026-06-10")), "midacloprid").is_empty());
}

#[test]
fn where_the_summer_is_short_larvae_are_counted_four_weeks_after_first_hatch() {
    let mut garden = Garden::in_the_cold("condition = \"irrigated\"\noptions = [\"biological\"]");
    // First hatch is on 16 August.
    let told = garden.play_through("2026-08-20", "2026-09-30");
    assert_eq!(about(&told, "Count grubs"), ["Count grubs"]);
    garden.log("2026-10-01", &counted(400));
    let told = garden.play(day("2026-10-01"));
    let about = about(&told, "Too many grubs, and nothing here works on them now");
    let some_work = told
        .iter()
        .any(|(_, text)| text.contains("The count is above what the turf tolerates"));
    assert!(!about.is_empty() || some_work, "{told:#?}");
}

#[test]
fn advice_whose_ground_is_gone_is_taken_back_once() {
    let mut garden = Garden::with("condition = \"irrigated\"\noptions = [\"trichlorfon\"]");
    garden.play(day("2026-08-14"));
    garden.log("2026-08-15", &counted(400));
    assert!(!about(&garden.play(day("2026-08-16")), "trichlorfon").is_empty());
    let now = "2026-08-17T06:00:00Z".parse().unwrap();
    let number = garden.engine.store.entries("lawn").unwrap()[0].number;
    assert!(garden.engine.store.undo(number, now).unwrap());
    let told = garden.play(day("2026-08-17"));
    assert_eq!(about(&told, "Hold back"), ["Hold back: apply nothing now"]);
    assert!(about(&garden.play(day("2026-08-18")), "Hold back").is_empty());
}

#[test]
fn advice_that_is_too_late_anyway_is_not_taken_back() {
    let site =
        "condition = \"irrigated\"\noptions = [\"imidacloprid\"]\npreventives = \"every-year\"";
    let mut garden = Garden::with(site);
    let before = garden.play_through("2026-07-10", "2026-08-04");
    assert!(
        !about(&before, "The good days for imidacloprid are over").is_empty(),
        "{before:#?}"
    );
    garden.log("2026-08-05", &counted(5));
    let told = garden.play_through("2026-08-05", "2026-08-20");
    assert!(about(&told, "Hold back").is_empty(), "{told:#?}");
}

#[test]
fn a_treatment_that_was_made_takes_no_advice_back() {
    let mut garden = Garden::with("condition = \"irrigated\"\noptions = [\"trichlorfon\"]");
    garden.play(day("2026-08-14"));
    garden.log("2026-08-15", &counted(400));
    garden.play(day("2026-08-16"));
    garden.log("2026-08-17", &spread("trichlorfon", "450 m2"));
    let told = garden.play_through("2026-08-17", "2026-09-10");
    assert!(about(&told, "Hold back").is_empty(), "{told:#?}");
}

#[test]
fn watering_in_is_asked_for_once_and_done_when_irrigation_reaches_the_depth() {
    let mut garden = Garden::with("");
    garden.play(day("2026-06-08"));
    garden.log("2026-06-09", &spread("imidacloprid", "450 m2"));
    let told = garden.play(day("2026-06-09"));
    assert_eq!(headings(&told), ["Water in imidacloprid"]);
    let (_, text) = &told[0];
    assert!(
        text.contains("13 mm are lacking") && text.contains("The label is the law"),
        "{text}"
    );
    assert_eq!(garden.play(day("2026-06-09")), []);
    garden.log("2026-06-09", &water("7mm"));
    assert_eq!(garden.play(day("2026-06-10")), []);
    garden.log("2026-06-10", &water("0.25in"));
    let told = garden.play(day("2026-06-10"));
    assert_eq!(headings(&told), ["Imidacloprid is watered in"]);
    for n in 11..25 {
        let told = garden.play(NaiveDate::from_ymd_opt(2026, 6, n).unwrap());
        assert!(
            !headings(&told).join(" ").contains("midacloprid"),
            "{told:?}"
        );
    }
}

#[test]
fn rain_that_the_feed_brings_later_waters_in_and_what_stays_dry_is_told_as_missed() {
    for (mm, head) in [
        (20.0, "Imidacloprid is watered in"),
        (2.0, "Imidacloprid was not watered in in time"),
    ] {
        let mut garden = Garden::with("");
        garden.play(day("2026-06-08"));
        garden.log("2026-06-09", &spread("imidacloprid", "450 m2"));
        garden.play(day("2026-06-09"));
        let told = garden.play(day("2026-06-12"));
        assert!(
            about(&told, "midacloprid").is_empty(),
            "its rain is not known yet"
        );
        garden.rain(&[("2026-06-09", 30.0), ("2026-06-10", mm)]);
        let told = garden.play(day("2026-06-12"));
        assert_eq!(about(&told, "midacloprid"), [head]);
    }
}

#[test]
fn wet_turf_is_warned_of_where_something_is_to_be_spread_or_watered_in() {
    let mut garden = Garden::with("");
    garden.play(day("2026-06-08"));
    garden.rain(&[("2026-06-07", 25.0), ("2026-06-08", 25.0)]);
    garden.log("2026-06-09", &spread("imidacloprid", "450 m2"));
    let told = garden.play(day("2026-06-09"));
    assert!(
        told[0]
            .1
            .contains("50 mm of rain fell in the three days up to 8 June"),
        "{}",
        told[0].1
    );
}
