//! `hatchbell season`: what was told, what came, what was applied and counted, in a season of the
//! demonstration that the service itself has played.

use crate::support::command::{Workshop, both, config_with};
use crate::support::engine::Play;
use chrono::{Days, NaiveDate};
use serde_json::Value;
use std::sync::OnceLock;

const LAWN: &str = "mill-lane-lawn";
const SITE: &[&str] = &["--site", LAWN];

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// The demonstration's configuration for a workshop, with a site's name that has to be escaped.
fn demo() -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    std::fs::read_to_string(format!("{root}/config/demo.toml"))
        .unwrap()
        .replace("../target/demo/", "")
        .replace("../fixtures", &format!("{root}/fixtures"))
        .replace("Mill Lane, front lawn", "Mill Lane <front> & \\\"back\\\"")
}

const LAWN_NAME: &str = "Mill Lane <front> & \"back\"";

/// Logs at the lawn.
fn log(workshop: &Workshop, what: &str) {
    let config = workshop.path("hatchbell.toml").display().to_string();
    let mut all = vec!["log"];
    all.extend(what.split_whitespace());
    all.extend(SITE);
    all.extend(["--config", &config]);
    workshop.succeeds(&all);
}

/// The season 2026 as the service went through it, seen on 5 January 2027.
fn season() -> &'static Workshop {
    static SEASON: OnceLock<Workshop> = OnceLock::new();
    SEASON.get_or_init(|| {
        let mut play = Play::new(&demo());
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let to = |play: &mut Play, from: &str, until: &str| {
            let days = day(from).iter_days().take_while(|one| *one <= day(until));
            for one in days {
                runtime.block_on(play.cycle(&format!("{one}T06:00:00Z")));
            }
        };
        to(&mut play, "2026-04-28", "2026-06-01");
        let at = &play.workshop;
        let species = "--species japanese-beetle --area 1ft2 --samples 12";
        log(
            at,
            &format!("count --date 2025-09-20 --larvae 240 {species}"),
        );
        log(at, "note --date 2025-09-28 --damage yes");
        log(
            at,
            "application --date 2026-05-30 --option chlorantraniliprole",
        );
        log(at, "irrigation --date 2026-05-30 --depth 13mm");
        to(&mut play, "2026-06-02", "2026-08-26");
        let at = &play.workshop;
        log(
            at,
            "application --date 2026-07-20 --option chlorantraniliprole --area 45m2",
        );
        log(
            at,
            &format!("count --date 2026-08-25 --larvae 24 {species}"),
        );
        to(&mut play, "2027-01-05", "2027-01-05");
        let Play { workshop, .. } = play;
        workshop
    })
}

fn look_back(workshop: &Workshop, more: &[&str]) -> std::process::Output {
    let config = workshop.path("hatchbell.toml").display().to_string();
    let mut all = vec!["season", "--config", &config];
    all.extend(more);
    workshop.run(&all)
}

fn succeeds(workshop: &Workshop, more: &[&str]) -> String {
    let output = look_back(workshop, more);
    assert!(output.status.success(), "{more:?}: {}", both(&output));
    String::from_utf8(output.stdout).expect("text")
}

fn text(more: &[&str]) -> String {
    let text = succeeds(season(), more);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(more: &[&str]) -> Value {
    let more: Vec<&str> = more.iter().copied().chain(["--json"]).collect();
    serde_json::from_str(&succeeds(season(), &more)).expect("JSON")
}

/// The lawn's season 2026.
fn lawn() -> &'static Value {
    static LAWN_2026: OnceLock<Value> = OnceLock::new();
    LAWN_2026.get_or_init(|| json(&[LAWN, "--year", "2026"]))
}

fn date(value: &Value) -> NaiveDate {
    day(value.as_str().unwrap_or_else(|| panic!("no day: {value}")))
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

/// The page of the lawn's season.
fn page() -> &'static str {
    static PAGE: OnceLock<String> = OnceLock::new();
    PAGE.get_or_init(|| {
        succeeds(season(), &[LAWN, "--year", "2026", "--html", "season.html"]);
        season().read("season.html")
    })
}

/// The page, parsed strictly: it is written as XML too.
fn parsed(page: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..roxmltree::ParsingOptions::default()
    };
    roxmltree::Document::parse_with_options(page, options).expect("it is well-formed")
}

/// All texts of an element on one line.
fn words(node: roxmltree::Node<'_, '_>) -> String {
    let texts: String = node
        .descendants()
        .filter(|one| one.is_text())
        .filter_map(|one| one.text())
        .collect();
    texts.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn each_notice_is_held_against_the_day_that_came() {
    let milestones = list(&lawn()["species"][0]["milestones"]);
    let mut notices = 0;
    for milestone in milestones.iter().take(3) {
        let came = date(&milestone["came"]);
        for told in list(&milestone["foretold"]) {
            let (early, late) = (date(&told["early"]), date(&told["late"]));
            let warning = (came - date(&told["told_on"])).num_days();
            assert_eq!(told["warning_days"], warning);
            assert_eq!(
                told["late_by_days"],
                (came - date(&told["likely"])).num_days()
            );
            assert_eq!(told["held"], (early..=late).contains(&came));
            assert!(warning > 7, "{told}");
            notices += 1;
        }
    }
    assert_eq!(
        notices, 3,
        "three milestones, each foretold in the season's letter"
    );
    assert_eq!(lawn()["all_notices"]["notices"], 3);
    assert_eq!(lawn()["first_notices"]["notices"], 3);
    assert!(
        list(&milestones[3]["foretold"]).is_empty(),
        "the end is not foretold"
    );
}

#[test]
fn what_it_says_was_told_is_what_the_messages_said() {
    let database = rusqlite::Connection::open(season().path("hatchbell.db")).unwrap();
    let hatch = &lawn()["species"][0]["milestones"][2];
    let told = &hatch["foretold"][0];
    let short = |value: &Value| date(value).format("%-d %b").to_string();
    let range = format!("%{}-{}%", short(&told["early"]), short(&told["late"]));
    let sent: String = database
        .query_row(
            "SELECT substr(created_at, 1, 10) FROM outbox
             WHERE body LIKE ?1 AND body LIKE '%The grub season ahead: Mill Lane%'",
            [&range],
            |row| row.get(0),
        )
        .unwrap_or_else(|error| panic!("{range}: {error}"));
    assert_eq!(told["told_on"], sent.as_str());
    let titles: i64 = database
        .query_row(
            "SELECT count(*) FROM outbox WHERE body LIKE '%: Mill Lane%' AND title NOT LIKE '%temperatures%'",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert!(
        titles > 5 && list(&lawn()["told"]).len() as i64 >= titles,
        "{titles}"
    );
}

#[test]
fn an_application_of_may_was_in_time_and_one_of_july_too_late() {
    let [may, july] = &list(&lawn()["applications"])[..] else {
        panic!("two were logged: {}", lawn());
    };
    let met = |one: &Value| one["met"][0].clone();
    let share = |one: &Value, what: &str| met(one)[what].as_f64().expect("a share");
    assert_eq!(met(may)["timing"], "in-time");
    assert!(share(may, "mean") >= share(may, "best") * 0.9 - 0.001);
    assert_eq!(met(july)["timing"], "too-late");
    assert!(share(july, "mean") < share(july, "best") * 0.5);
    assert_eq!(
        share(may, "best"),
        share(july, "best"),
        "one option, one best day"
    );
    assert!(
        share(july, "low") <= share(july, "mean") && share(july, "mean") <= share(july, "high")
    );
    assert_eq!(july["share_of_site"], 0.1);
    let (from, best) = (date(&met(may)["counted_from"]), date(&met(may)["best_day"]));
    assert_eq!(met(may)["days_from_best"], (from - best).num_days());
    let arrived = date(&met(july)["half_in_root_zone"]);
    assert!(
        arrived > from + Days::new(60),
        "it sinks for weeks: {arrived}"
    );
    assert!(share(july, "hatched_by_then") > share(may, "hatched_by_then"));
}

#[test]
fn water_that_was_given_on_the_day_counts_as_in_time() {
    let water = &lawn()["applications"][0]["watering"];
    assert_eq!(
        (&water["state"], &water["done_on"]),
        (&"done".into(), &"2026-05-30".into())
    );
    assert!(text(&[LAWN, "--year", "2026"]).contains("Watered in in time"));
}

#[test]
fn what_was_watered_in_late_or_on_a_part_of_the_site_says_so_in_its_verdict() {
    let july = &lawn()["applications"][1];
    let water = &july["watering"];
    assert_eq!(
        water["state"], "late",
        "only the rain of later days: {water}"
    );
    assert_eq!(july["met"][0]["counted_from"], water["done_on"]);
    let verdict = july["met"][0]["verdict"].as_str().unwrap();
    assert!(
        verdict.contains("on 10 % of the site, watered in late on "),
        "{verdict}"
    );
    assert!(text(&[LAWN, "--year", "2026"]).contains("may have lost some of its strength"));
}

#[test]
fn counts_of_the_year_before_and_of_this_season_stand_side_by_side() {
    let species = &lawn()["species"][0];
    let broods: Vec<&Value> = list(&species["counts"])
        .iter()
        .map(|one| &one["brood"])
        .collect();
    assert_eq!(broods, ["before", "this"]);
    assert_eq!(species["change"]["ratio"], 0.1);
    assert_eq!(species["change"]["ranges_apart"], true);
    assert!(text(&[LAWN, "--year", "2026"]).contains("An untreated strip counted beside it"));
}

#[test]
fn terminal_and_page_say_the_same_as_the_json() {
    let printed = text(&[LAWN, "--year", "2026"]);
    let document = parsed(page());
    let shown = words(document.root_element());
    for applied in list(&lawn()["applications"]) {
        let verdict = applied["met"][0]["verdict"].as_str().unwrap();
        let sentence = &verdict[1..];
        assert!(printed.contains(sentence), "{verdict}: {printed}");
        assert!(shown.contains(sentence), "{verdict}: {shown}");
    }
    for told in list(&lawn()["told"]) {
        let what = told["what"].as_str().unwrap();
        assert!(printed.contains(what) && shown.contains(what), "{what}");
    }
    for caution in list(&lawn()["cautions"]) {
        let caution = caution.as_str().unwrap();
        assert!(shown.contains(caution), "{caution}");
    }
    assert!(printed.contains("The label is the law"));
}

#[test]
fn the_page_fetches_nothing_runs_nothing_and_escapes_names() {
    let document = parsed(page());
    let names: Vec<&str> = document
        .descendants()
        .filter(|one| one.is_element())
        .map(|one| one.tag_name().name())
        .collect();
    for refused in [
        "script", "link", "img", "iframe", "object", "image", "use", "a", "front",
    ] {
        assert!(!names.contains(&refused), "{refused}");
    }
    let attributes = document.descendants().flat_map(|one| one.attributes());
    for attribute in attributes {
        let name = attribute.name();
        assert!(
            !name.starts_with("on") && !["href", "src"].contains(&name),
            "{name}"
        );
    }
    let style = document
        .descendants()
        .find(|one| one.has_tag_name(("http://www.w3.org/1999/xhtml", "style")));
    let style = words(style.expect("a style"));
    assert!(
        style.contains("@media print") && !style.contains("url(") && !style.contains("@import")
    );
    let heading = document
        .descendants()
        .find(|one| one.tag_name().name() == "h1")
        .map(words);
    assert_eq!(heading, Some(format!("{LAWN_NAME}: season 2026")));
}

#[test]
fn the_drawing_says_in_words_what_it_shows() {
    let document = parsed(page());
    let svg = document
        .descendants()
        .find(|one| one.tag_name().name() == "svg")
        .expect("a drawing");
    let child = |name: &str| {
        let found = svg.children().find(|one| one.tag_name().name() == name);
        words(found.unwrap_or_else(|| panic!("no {name}")))
    };
    assert_eq!(
        child("title"),
        format!("Time line of {LAWN_NAME}: season 2026")
    );
    let hatch = &lawn()["species"][0]["milestones"][2];
    let came = date(&hatch["came"]).format("came %-d %B").to_string();
    let described = child("desc");
    assert!(described.contains(&came), "{came}: {described}");
    assert!(described.contains("spread 30 May") && described.contains("25 August"));
    let width: f64 = 760.0;
    for rect in svg
        .descendants()
        .filter(|one| one.tag_name().name() == "rect")
    {
        let number = |name: &str| rect.attribute(name).unwrap().parse::<f64>().unwrap();
        assert!(
            number("x") + number("width") <= width + 0.2,
            "it leaves the drawing"
        );
    }
}

#[test]
fn a_season_that_is_not_over_says_so_and_that_shares_may_change() {
    let seen = text(&[LAWN, "--date", "2026-08-01"]);
    assert!(
        seen.contains("The season is not over: it runs to 31 December 2026."),
        "{seen}"
    );
    assert!(seen.contains("rest partly on the outlook"), "{seen}");
    let over = text(&[LAWN, "--year", "2026"]);
    assert!(
        !over.contains("not over") && !over.contains("partly outlook"),
        "{over}"
    );
    assert_eq!(lawn()["is_over"], true);
    assert_eq!(lawn()["species"][0]["hatch_observed"], true);
}

#[test]
fn a_site_without_a_journal_says_plainly_that_nothing_is_logged() {
    let seen = text(&["upper-green-rink", "--year", "2026"]);
    assert!(
        seen.contains("Nothing was applied, by the journal."),
        "{seen}"
    );
    assert!(seen.contains("No count of grubs is logged"), "{seen}");
    let rink = json(&["upper-green-rink", "--year", "2026"]);
    let end = &rink["species"][0]["milestones"][3];
    assert_eq!(
        (&end["came"], &end["by_sum"]),
        (&"2026-09-20".into(), &false.into())
    );
    assert_eq!(rink["scores_weather_only"], true);
    assert!(
        seen.contains("First notices: of the weather alone,"),
        "{seen}"
    );
    assert!(
        seen.contains("(calendar)"),
        "the cold site's window: {seen}"
    );
}

#[test]
fn a_season_before_watching_began_is_worked_out_and_says_that_nothing_was_told() {
    let seen = text(&[LAWN, "--year", "2024"]);
    assert!(seen.contains("It was not watched in this season"), "{seen}");
    assert!(
        seen.contains("no early notice of it is on record"),
        "{seen}"
    );
    assert!(seen.contains("No early notice can be scored"), "{seen}");
    assert!(seen.contains("1 in 20 larvae has hatched by"), "{seen}");
}

#[test]
fn a_year_or_a_site_without_anything_is_answered_with_what_there_is() {
    for year in ["2012", "2031"] {
        let output = look_back(season(), &[LAWN, "--year", year]);
        let said = both(&output);
        assert!(!output.status.success() && output.stdout.is_empty());
        assert!(said.contains("There are seasons of 2016 to 2026"), "{said}");
    }
    let said = both(&look_back(season(), &["mill-lane"]));
    assert!(said.contains("there are mill-lane-lawn"), "{said}");
}

#[test]
fn a_file_that_is_no_such_page_is_left_alone_and_a_page_is_written_anew() {
    let workshop = season();
    let notes = workshop.write("notes.txt", "order nematodes");
    let said = both(&look_back(
        workshop,
        &[LAWN, "--year", "2026", "--html", &notes],
    ));
    assert!(said.contains("was left as it is"), "{said}");
    assert_eq!(workshop.read("notes.txt"), "order nematodes");
    for _ in 0..2 {
        succeeds(workshop, &[LAWN, "--year", "2025", "--html", "again.html"]);
    }
    assert!(workshop.read("again.html").contains(": season 2025</h1>"));
}

/// Rows of days from `first` on with these daily gains of °C·d.
fn days(first: &str, gains: impl Iterator<Item = f64>) -> String {
    let mut text = String::from("DATE,TMAX,TMIN\n");
    for (on, gain) in day(first).iter_days().zip(gains) {
        text += &format!("{on},{:.1},{:.1}\n", 15.0 + gain, 5.0 + gain);
    }
    text
}

/// A workshop with one station's days imported.
fn imported(days: &str, change: impl Fn(String) -> String) -> Workshop {
    let workshop = Workshop::new();
    let file = workshop.write("days.csv", days);
    let text = change(config_with("file = \"days.csv\"", "console = true", ""));
    let config = workshop.write("hatchbell.toml", &text);
    workshop.succeeds(&["import", "--config", &config, "--station", "only", &file]);
    workshop
}

#[test]
fn where_hatch_never_came_it_says_so() {
    // From cold to warm and back, but 600 °C·d a year: flight and no hatch.
    let gains = (0..365).map(|on| if (150..210).contains(&on) { 10.0 } else { -4.0 });
    let workshop = imported(&days("2025-01-01", gains), |text| text);
    let seen = succeeds(&workshop, &["lawn", "--year", "2025"]);
    let seen = seen.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(seen.contains("hatch never came this season"), "{seen}");
    assert!(seen.contains("by the sums no larvae hatched"), "{seen}");
}

#[test]
fn south_of_the_equator_a_season_has_the_year_it_starts_in() {
    // Warm from November to March.
    let gains = (0..365).map(|on| if (123..270).contains(&on) { 10.0 } else { -2.0 });
    let south = |text: String| text.replace("latitude = 27.4", "latitude = -38.0");
    let workshop = imported(&days("2024-07-01", gains), south);
    let printed = succeeds(&workshop, &["lawn", "--year", "2024", "--json"]);
    let season: Value = serde_json::from_str(&printed).expect("JSON");
    assert_eq!(
        (&season["first_day"], &season["last_day"]),
        (&"2024-07-01".into(), &"2025-06-30".into())
    );
    // 820 °C·d at 10 a day from 1 November (the 124th day): the 82nd day is 21 January.
    let hatch = &season["species"][0]["milestones"][2];
    assert_eq!(hatch["came"], "2025-01-21");
    let said = both(&look_back(&workshop, &["lawn", "--year", "2025"]));
    assert!(said.contains("There are seasons of 2024;"), "{said}");
}
