//! `hatchbell plan`: which option still works at a site of the demonstration, and by when.

#[path = "support/command.rs"]
mod command;

use command::{Workshop, both};
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
        let config = workshop.write("demo.toml", &config);
        let days = format!("{root}/fixtures/demo/harbour-meadow.csv");
        let station = "harbour-meadow";
        workshop.succeeds(&["import", "--config", &config, "--station", station, &days]);
        (workshop, config)
    })
}

fn plan(date: &str) -> String {
    let (workshop, config) = workshop();
    workshop.succeeds(&["plan", "--config", config, "--date", date, "mill-lane-lawn"])
}

/// The row of an option in the table.
fn row<'p>(plan: &'p str, option: &str) -> &'p str {
    plan.lines()
        .find(|line| line.trim_start().starts_with(option) && line.contains('%'))
        .unwrap_or_else(|| panic!("no row of {option} in {plan}"))
}

#[test]
fn in_early_june_the_diamide_has_days_left_and_the_others_are_too_early() {
    let plan = plan("2026-06-01");
    assert!(row(&plan, "chlorantraniliprole").ends_with("days left"));
    for option in ["imidacloprid*", "Bacillus thuringiensis", "Heterorhabditis"] {
        assert!(
            row(&plan, option).ends_with("too early"),
            "{option}: {plan}"
        );
    }
}

#[test]
fn in_mid_july_the_diamide_is_too_late_and_the_plan_says_why() {
    let plan = plan("2026-07-20");
    let row = row(&plan, "chlorantraniliprole");
    assert!(row.contains("too late: of today's"), "{row}");
    assert!(row.contains("about 5 Sep"), "47 days on: {row}");
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
fn the_plan_carries_the_cautions_and_asks_first_whether_to_treat() {
    let plan = plan("2026-06-01");
    for due in [
        "Decide first whether to treat",
        "The label is the law",
        "Never on turf in bloom",
        "keep off water",
        "children and pets",
    ] {
        assert!(plan.contains(due), "{due}");
    }
}

#[test]
fn the_plan_gives_the_cautions_of_each_option_that_is_not_too_late() {
    let unwrapped = |date| plan(date).split_whitespace().collect::<Vec<_>>().join(" ");
    let early = unwrapped("2026-06-01");
    for due in [
        "chlorantraniliprole: water in with 13 mm",
        "Harmful to water life",
        "Very toxic to honey bees",
        "Living nematodes",
    ] {
        assert!(early.contains(due), "{due}: {early}");
    }
    assert!(!unwrapped("2026-07-20").contains("chlorantraniliprole: water in"));
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
