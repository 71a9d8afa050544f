//! `hatchbell plan`: which option still works at a site of the demonstration, and by when.

use crate::support::command::{Workshop, both};
use std::sync::OnceLock;

/// A workshop with the demonstration's configuration and, for the gardener's station, its days.
fn workshop() -> &'static (Workshop, String) {
    static WORKSHOP: OnceLock<(Workshop, String)> = OnceLock::new();
    WORKSHOP.get_or_init(|| {
        let workshop = Workshop::new();
        let root = env!("CARGO_MANIFEST_DIR");
        let demo = std::fs::read_to_string(format!("{root}/config/demo.toml")).unwrap();
        let database = workshop.path("demo.db").display().to_string();
        let config = demo
            .replace("../target/demo/hatchbell.db", &database)
            .replace("../fixtures", &format!("{root}/fixtures"));
        let everything = "options = [\"diamide\", \"neonicotinoid\", \"biological\", \"organophosphate\", \"carbamate\"]";
        let open = config.replace("area = \"450 m2\"", everything);
        let config = workshop.write("demo.toml", &config);
        workshop.write("open.toml", &open);
        let days = format!("{root}/fixtures/demo/harbour-meadow.csv");
        let station = "harbour-meadow";
        workshop.succeeds(&["import", "--config", &config, "--station", station, &days]);
        (workshop, config)
    })
}

/// A screen on which each option has one row.
const WIDE: usize = 120;

/// The plan of the gardener as the demonstration has them.
fn own_plan(date: &str) -> String {
    let (workshop, config) = workshop();
    let arguments = ["plan", "--config", config, "--date", date, "mill-lane-lawn"];
    workshop.shows(WIDE, &arguments)
}

/// The plan of a gardener who would use every option.
fn plan(date: &str) -> String {
    let (workshop, _) = workshop();
    let config = "open.toml";
    let arguments = ["plan", "--config", config, "--date", date, "mill-lane-lawn"];
    workshop.shows(WIDE, &arguments)
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The row of an option in the table.
fn row<'p>(plan: &'p str, option: &str) -> &'p str {
    plan.lines()
        .find(|line| {
            line.trim_start().starts_with(option)
                && [" good ", " fair ", " poor "]
                    .iter()
                    .any(|word| line.contains(word))
        })
        .unwrap_or_else(|| panic!("no row of {option} in {plan}"))
}

#[test]
fn in_early_june_the_diamide_has_days_left_and_the_others_wait_or_work_less_well() {
    let plan = plan("2026-06-01");
    assert!(row(&plan, "chlorantraniliprole").ends_with("days left"));
    for option in ["imidacloprid*", "Bacillus thuringiensis", "Heterorhabditis"] {
        let row = row(&plan, option);
        assert!(!row.contains("too early"), "{row}");
        assert!(
            row.contains("wait until") || row.contains("works, better from"),
            "{option}: {plan}"
        );
    }
}

#[test]
fn in_mid_july_the_diamide_is_too_late() {
    let plan = plan("2026-07-20");
    let row = row(&plan, "chlorantraniliprole");
    assert!(row.ends_with("too late") && row.contains(" poor "), "{row}");
}

#[test]
fn curatives_wait_for_a_count_on_every_day() {
    for date in ["2026-05-01", "2026-06-01", "2026-08-05"] {
        let plan = plan(date);
        for option in ["trichlorfon*", "carbaryl*", "Metarhizium brunneum"] {
            assert!(
                row(&plan, option).contains("after a count"),
                "{date}: {plan}"
            );
        }
    }
}

#[test]
fn what_still_works_stands_before_what_is_too_late() {
    let plan = plan("2026-07-20");
    let at = |option: &str| plan.find(row(&plan, option)).unwrap();
    assert!(at("imidacloprid*") < at("chlorantraniliprole"));
}

#[test]
fn without_counts_the_plan_says_plainly_that_nothing_should_be_applied() {
    let plan = flat(&own_plan("2026-06-01"));
    for due in [
        "Nothing should be applied: neither counts nor damage of last year are logged",
        "Irrigated turf tolerates 161 per m²",
        "The days below are for information",
        "The label is the law",
        "Never on turf in bloom",
        "keep off water",
        "children and pets",
    ] {
        assert!(plan.contains(due), "{due}: {plan}");
    }
}

#[test]
fn a_plan_ranks_what_the_site_would_use_and_names_the_rest() {
    let plan = own_plan("2026-06-01");
    assert!(row(&plan, "chlorantraniliprole").ends_with("days left"));
    let rest = flat(plan.split("not named for this site:").nth(1).unwrap());
    assert!(
        rest.starts_with("carbaryl, clothianidin, imidacloprid, thiamethoxam, trichlorfon."),
        "{rest}"
    );
}

#[test]
fn for_scripts_the_plan_comes_as_json_with_dates_shares_and_the_decision() {
    let (workshop, config) = workshop();
    let arguments = [
        "plan",
        "--json",
        "--config",
        config,
        "--date",
        "2026-07-20",
        "mill-lane-lawn",
    ];
    let plan: serde_json::Value = serde_json::from_str(&workshop.succeeds(&arguments)).unwrap();
    assert_eq!(plan["day"], "2026-07-20");
    assert_eq!(plan["treat"], "nothing");
    assert_eq!(plan["species"][0]["alone"], "nothing");
    assert_eq!(plan["soil"]["is_estimate"], true);
    let options = plan["options"].as_array().unwrap();
    let diamide = options
        .iter()
        .find(|o| o["option"] == "chlorantraniliprole")
        .unwrap();
    assert_eq!(diamide["too_late"], true);
    assert_eq!(diamide["in_root_zone"], "2026-09-05");
    assert_eq!(diamide["today"], "poor");
    assert_eq!(diamide["mode_of_action"], "28");
    assert_eq!(diamide["serves"][0], "japanese-beetle");
    let first: chrono::NaiveDate = diamide["first"].as_str().unwrap().parse().unwrap();
    let last: chrono::NaiveDate = diamide["last"].as_str().unwrap().parse().unwrap();
    assert!(first < last);
    let met = &diamide["meets_today"];
    let share = |name: &str| met[name].as_f64().unwrap();
    assert!(
        share("low") <= share("mean") && share("mean") <= share("high") && share("high") <= 1.0
    );
    assert!(
        plan["cautions"][0]
            .as_str()
            .unwrap()
            .contains("label is the law")
    );
}

#[test]
fn what_is_logged_changes_the_plan() {
    let (original, _) = workshop();
    let workshop = Workshop::new();
    std::fs::copy(original.path("demo.db"), workshop.path("demo.db")).unwrap();
    let config = original.read("demo.toml").replace(
        &original.path("demo.db").display().to_string(),
        &workshop.path("demo.db").display().to_string(),
    );
    // The command would take the demonstration's day, before the season's first alert.
    let config = config.replace("2026-04-15T06:00:00Z", "2026-06-04T06:00:00Z");
    let config = workshop.write("demo.toml", &config);
    let site = ["--config", &config, "--site", "mill-lane-lawn"];
    let log = |more: &[&str]| {
        let arguments = [&["log", more[0]], &site[..], &more[1..]].concat();
        workshop.succeeds(&arguments)
    };
    let plan = || flat(&workshop.succeeds(&["plan", "--config", &config, "mill-lane-lawn"]));
    log(&["note", "--date", "2025-10-02", "--damage", "yes"]);
    assert!(
        plan().contains("A preventive is justified. Last year's counts or damage"),
        "{}",
        plan()
    );
    log(&[
        "application",
        "--date",
        "2026-06-03",
        "--option",
        "chlorantraniliprole",
    ]);
    assert!(
        plan().contains("needs 13 mm of water by 4 June"),
        "{}",
        plan()
    );
    log(&["irrigation", "--date", "2026-06-03", "--depth", "14mm"]);
    assert!(plan().contains("had its 13 mm on 3 June"), "{}", plan());
}

#[test]
fn the_plan_gives_the_cautions_of_each_option_that_is_not_too_late() {
    let unwrapped = |date| flat(&plan(date));
    let early = unwrapped("2026-06-01");
    for due in [
        "chlorantraniliprole: Water in with 13 mm",
        "Harmful to water life",
        "Very toxic to honey bees",
        "Living nematodes",
    ] {
        assert!(early.contains(due), "{due}: {early}");
    }
    assert!(!unwrapped("2026-07-20").contains("chlorantraniliprole: Water in"));
}

#[test]
fn without_past_seasons_the_plan_says_that_no_dates_can_be_given() {
    let plan = plan("2016-06-01");
    assert!(plan.contains("No dates can be given"), "{plan}");
    assert!(plan.contains("past seasons"), "{plan}");
}

#[test]
fn a_site_that_is_not_there_is_answered_with_those_that_are() {
    let (workshop, config) = workshop();
    let output = workshop.run(&["plan", "--config", config, "mill-lane"]);
    assert!(!output.status.success());
    assert!(both(&output).contains("there are mill-lane-lawn"));
}

#[test]
fn several_species_just_below_what_the_turf_tolerates_are_added_up() {
    let (original, _) = workshop();
    let workshop = Workshop::new();
    std::fs::copy(original.path("demo.db"), workshop.path("demo.db")).unwrap();
    let config = original
        .read("demo.toml")
        .replace(
            &original.path("demo.db").display().to_string(),
            &workshop.path("demo.db").display().to_string(),
        )
        .replace("2026-04-15T06:00:00Z", "2026-08-25T06:00:00Z")
        .replace(
            "species = [\"japanese-beetle\"]",
            "species = [\"japanese-beetle\", \"oriental-beetle\"]",
        );
    let config = workshop.write("demo.toml", &config);
    for species in ["japanese-beetle", "oriental-beetle"] {
        workshop.succeeds(&[
            "log",
            "count",
            "--config",
            &config,
            "--site",
            "mill-lane-lawn",
            "--species",
            species,
            "--date",
            "2026-08-24",
            "--per-m2",
            "90",
        ]);
    }
    let plan = flat(&workshop.succeeds(&["plan", "--config", &config, "mill-lane-lawn"]));
    assert!(
        plan.contains("A curative may be justified. The species counted up to 24 August"),
        "{plan}"
    );
    assert!(
        plan.contains("come to 112 % of what the turf tolerates"),
        "{plan}"
    );
    let json = workshop.succeeds(&["plan", "--json", "--config", &config, "mill-lane-lawn"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["treat"], "curative");
    assert_eq!(json["called_for_by"].as_array().unwrap().len(), 2);
}

#[test]
fn where_nothing_that_a_site_would_use_has_a_day_the_plan_says_so() {
    let (workshop, _) = workshop();
    let none = workshop.read("open.toml").replace(
        "options = [\"diamide\", \"neonicotinoid\", \"biological\", \"organophosphate\", \"carbamate\"]",
        "without = [\"diamide\", \"biological\"]",
    );
    let config = workshop.write("none.toml", &none);
    let plan = workshop.succeeds(&[
        "plan",
        "--config",
        &config,
        "--date",
        "2026-06-01",
        "mill-lane-lawn",
    ]);
    assert!(
        plan.contains("Nothing that this site would use has a day"),
        "{plan}"
    );
}
