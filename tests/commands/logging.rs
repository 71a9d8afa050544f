//! `hatchbell log` keeps what people did and saw, and says what it means.

use crate::support::command;
use crate::support::journal::{Site, json};

#[test]
fn an_application_tells_its_amount_the_seasons_share_and_how_to_water_it_in() {
    let lawn = Site::of("area = \"450 m2\"");
    let said = lawn
        .logs("application --option imidacloprid --rate 0.2kg/100m2 --most-a-season 0.4kg/100m2");
    for due in [
        "logged as number 1: imidacloprid on 450 m² at 0.2 kg/100 m², that is 0.9 kg.",
        "1 application of imidacloprid here",
        "That is 50 % of the 0.4 kg/100 m² a season that your label states.",
        "Water it in with 13 mm (6 to 25; from published values) by 2026-06-11",
        "this site would not use imidacloprid; it is logged all the same",
        "Very toxic to bees",
        "The label is the law",
        "Never on turf in bloom",
    ] {
        assert!(said.contains(due), "{due}: {said}");
    }
    // The maximum goes on to hold, and the season adds up.
    let said = lawn.logs("application --option imidacloprid --rate 0.1kg/100m2 --date 2026-06-09");
    assert!(said.contains("That is 75 % of the 0.4 kg/100 m²"), "{said}");
}

#[test]
fn more_than_the_label_allows_is_logged_with_a_warning() {
    let lawn = Site::of("area = \"450 m2\"");
    let of = "application --option chlorantraniliprole --rate";
    lawn.logs(&format!(
        "{of} 3oz/1000ft2 --most-a-season 4oz/1000ft2 --date 2026-05-01"
    ));
    let said = lawn.logs(&format!("{of} 3oz/1000ft2"));
    assert!(
        said.contains("WARNING: that is 150 % of the 4 oz/1000 ft²"),
        "{said}"
    );
    assert_eq!(lawn.list().len(), 2);
}

#[test]
fn what_another_season_has_had_is_not_added_to_this_one() {
    let lawn = Site::of("area = \"450 m2\"");
    let of = "application --option chlorantraniliprole --rate 3oz/1000ft2";
    let said = lawn.logs(&format!(
        "{of} --most-a-season 4oz/1000ft2 --date 2025-05-01 --earlier-season"
    ));
    assert!(said.contains("Season 2025: 1 application"), "{said}");
    let said = lawn.logs(of);
    assert!(said.contains("Season 2026: 1 application"), "{said}");
    assert!(said.contains("That is 75 %"), "{said}");
}

#[test]
fn weighed_and_measured_rates_are_not_added() {
    let lawn = Site::of("area = \"450 m2\"");
    let said =
        lawn.logs("application --option imidacloprid --rate 2l/ha --most-a-season 0.4kg/100m2");
    assert!(said.contains("They cannot be held against"), "{said}");
}

#[test]
fn a_second_load_of_a_day_is_logged_with_the_part_it_went_on() {
    let lawn = Site::of("area = \"450 m2\"");
    let of = "application --option imidacloprid --rate 2kg/ha";
    lawn.logs(of);
    let again = "log application --site lawn --option imidacloprid --rate 1kg/ha";
    assert!(lawn.refused(again).contains("--part"));
    let said = lawn.logs(&format!("{of} --area 100m2 --part gate"));
    assert!(said.contains("2 applications of imidacloprid"), "{said}");
    let said = lawn.refused(&format!("{again} --part gate"));
    assert!(said.contains("as number 2"), "{said}");
}

#[test]
fn entries_of_one_site_are_listed_by_its_id_with_or_without_an_option() {
    let site = Site::with_neighbour();
    site.logs_at("lawn", "irrigation --depth 12mm");
    site.logs_at("rink", "irrigation --depth 5mm");
    for one in [&["rink"][..], &["--site", "rink"]] {
        let all = [&["log", "list", "--config", &site.config][..], one].concat();
        let listed = site.workshop.succeeds(&all);
        assert!(
            listed.contains("5 mm") && !listed.contains("12 mm"),
            "{listed}"
        );
    }
    let said = site.refused("log list moon");
    assert!(said.contains("no site \"moon\""), "{said}");
}

#[test]
fn every_application_that_is_in_no_sum_is_named() {
    let lawn = Site::of("area = \"450 m2\"");
    let of = "application --option chlorantraniliprole";
    lawn.logs(&format!("{of} --date 2026-06-01"));
    lawn.logs(&format!(
        "{of} --rate 3oz/1000ft2 --most-a-season 2oz/1000ft2 --date 2026-06-03"
    ));
    let said = lawn.logs(&format!("{of} --rate 2l/ha --date 2026-06-05"));
    assert!(said.contains("WARNING: that is 150 %"), "{said}");
    assert!(said.contains("Number 1 has no rate"), "{said}");
    assert!(
        said.contains(
            "number 3 is in a unit of another kind than the maximum and is not in any sum"
        ),
        "{said}"
    );
}

#[test]
fn only_what_lives_has_a_rate_that_is_counted() {
    let lawn = Site::of("area = \"450 m2\"");
    lawn.logs("application --option heterorhabditis-bacteriophora --rate 2.5billion/ha");
    for rate in [
        "--rate 5billion/ha",
        "--rate 2kg/ha --most-a-season 5million/m2",
    ] {
        let said = lawn.refused(&format!(
            "log application --site lawn --option imidacloprid {rate}"
        ));
        assert!(said.contains("counts living things"), "{rate}: {said}");
        assert!(said.contains("like 2 kg/ha"), "{rate}: {said}");
    }
    lawn.logs("application --option imidacloprid --rate 2kg/ha --date 2026-06-08");
    let said = lawn.refused("log edit 2 --rate 5billion/ha");
    assert!(said.contains("counts living things"), "{said}");
}

#[test]
fn an_application_without_rate_is_kept_and_the_sum_says_that_it_is_missing() {
    let lawn = Site::of("");
    let said = lawn.logs("application --option chlorantraniliprole --area 0.5ha");
    assert!(said.contains("chlorantraniliprole on 0.5 ha."), "{said}");
    assert!(said.contains("Number 1 has no rate"), "{said}");
    assert!(
        said.contains("The most a season may have is not known"),
        "{said}"
    );
}

#[test]
fn water_that_is_overdue_is_said_to_be() {
    let lawn = Site::of("");
    let said = lawn.logs("application --option chlorantraniliprole --area 0.5ha --date 2026-06-01");
    assert!(
        said.contains("It had to be watered in with 13 mm"),
        "{said}"
    );
    assert!(said.contains("by 2026-06-02. If it was"), "{said}");
}

#[test]
fn irrigation_that_is_logged_already_counts_as_watering_in() {
    let lawn = Site::of("");
    lawn.logs("irrigation --depth 15mm --date 2026-06-09");
    let said = lawn.logs("application --option chlorantraniliprole --area 0.5ha --date 2026-06-09");
    assert!(
        said.contains("rain and logged irrigation through 2026-06-09 are enough"),
        "{said}"
    );
}

#[test]
fn a_count_says_on_which_side_it_lies_of_what_the_turf_tolerates() {
    let count = "count --species japanese-beetle --area 0.25ft2";
    let lawn = Site::on("2026-08-20", "condition = \"irrigated\"");
    let said = lawn.logs(&format!("{count} --larvae 12 --samples 10"));
    for due in [
        "12 larvae of japanese-beetle in 10 samples of 0.25 ft²: 52 per m²",
        "in 9 of 10 cases the true mean is 27 to 103 per m²",
        "Irrigated turf tolerates 161 per m²",
        "BELOW what the turf tolerates. Nothing need be applied",
    ] {
        assert!(said.contains(due), "{due}: {said}");
    }
    let said = lawn.logs(&format!("{count} --each 3,4,5,9,12,8 --date 2026-08-19"));
    assert!(said.contains("ABOVE what the turf tolerates"), "{said}");
    assert!(
        said.contains("A curative may be justified: hatchbell plan lawn"),
        "{said}"
    );
    // The same count is above for turf that tolerates less.
    let stressed = Site::on("2026-08-20", "condition = \"stressed\"");
    let said = stressed.logs(&format!("{count} --larvae 12 --samples 10"));
    assert!(said.contains("NEAR what the turf tolerates"), "{said}");
    assert!(
        said.contains("more samples of the same size would"),
        "{said}"
    );
}

/// Without days of the station the calendar parts the broods: eggs from 2 July, larvae that can be
/// counted from 1 August.
#[test]
fn a_count_and_noted_damage_say_whose_larvae_they_speak_of() {
    let lawn = Site::on("2026-08-20", "");
    for (on, due) in [
        ("2024-09-10", "decides nothing any more"),
        (
            "2025-09-10",
            "of last season's larvae and speaks for a preventive",
        ),
        ("2026-07-15", "too few or too small to be counted yet"),
        ("2026-08-19", "A curative may be justified"),
    ] {
        let said = lawn.logs(&format!(
            "count --species japanese-beetle --per-ft2 60 --date {on}"
        ));
        assert!(said.contains(due), "{on}: {said}");
    }
    for (on, due) in [
        ("2024-09-10", "check the date"),
        ("2026-07-12", "for the decision on a preventive this season"),
        ("2026-08-20", "for the decision on a preventive next season"),
    ] {
        let said = lawn.logs(&format!("note --damage yes --date {on}"));
        assert!(said.contains(due), "{on}: {said}");
    }
}

#[test]
fn more_turf_than_the_site_has_is_doubted() {
    let lawn = Site::of("area = \"450 m2\"");
    let said = lawn.logs("application --option chlorantraniliprole --area 4500m2");
    assert!(
        said.contains("WARNING: 4500 m² is more than the 450 m²"),
        "{said}"
    );
    let said = lawn.logs("application --option imidacloprid --area 460m2");
    assert!(!said.contains("WARNING"), "{said}");
}

#[test]
fn a_density_is_kept_in_either_unit() {
    let lawn = Site::of("");
    lawn.logs("count --species japanese-beetle --per-m2 60");
    lawn.logs("count --species japanese-beetle --per-ft2 5 --date 2026-06-09");
    let entries = lawn.list();
    let per_m2 = |index: usize| entries[index]["per_m2"].as_f64().unwrap();
    // 1 ft² is 0.09290304 m² (NIST Special Publication 811, appendix B).
    assert!((per_m2(0) - 5.0 / 0.092_903_04).abs() < 1e-9);
    assert_eq!(per_m2(1), 60.0);
}

#[test]
fn the_list_says_what_each_entry_says() {
    let lawn = Site::of("area = \"450 m2\"");
    lawn.logs("application --option imidacloprid --rate 0.2kg/100m2 --most-a-season 0.4kg/100m2");
    lawn.logs("count --species japanese-beetle --each 3,4,0 --area 93cm2");
    lawn.logs("irrigation --depth 0.5in");
    lawn.logs("note --damage no");
    lawn.logs("catch --species japanese-beetle");
    let list = lawn
        .workshop
        .succeeds(&["log", "list", "--config", &lawn.config]);
    for due in [
        "imidacloprid on 450 m² at 0.2 kg/100 m², that is 0.9 kg; at most 0.4 kg/100 m² a season",
        "7 larvae of japanese-beetle in 3 samples of 93 cm²: 251 per m²; 3, 4, 0",
        "0.5 in of water",
        "no damage by grubs",
        "catch of japanese-beetle",
    ] {
        assert!(list.contains(due), "{due}: {list}");
    }
    let kinds: Vec<String> = lawn
        .list()
        .iter()
        .map(|entry| text(entry, "kind"))
        .collect();
    assert_eq!(
        kinds,
        ["application", "count", "irrigation", "note", "catch"]
    );
    assert_eq!(lawn.list()[0]["amount"], "0.9 kg");
    assert_eq!(lawn.list()[2]["depth_mm"], 12.7);
    assert_eq!(lawn.list()[3]["damage"], false);
}

fn text(entry: &serde_json::Value, field: &str) -> String {
    entry[field].as_str().unwrap().to_owned()
}

#[test]
fn the_list_of_one_site_leaves_the_others_out() {
    let both = Site::with_neighbour();
    both.logs("irrigation --depth 12mm");
    both.logs_at("rink", "irrigation --depth 6mm");
    assert_eq!(both.list().len(), 2);
    let rink = both.workshop.succeeds(&[
        "log",
        "list",
        "--json",
        "--config",
        &both.config,
        "--site",
        "rink",
    ]);
    let rink = json(&rink);
    assert_eq!(rink.len(), 1);
    assert_eq!(rink[0]["depth"], "6 mm");
}

#[test]
fn an_edited_entry_says_what_it_was_and_what_it_is() {
    let lawn = Site::of("area = \"450 m2\"");
    lawn.logs("application --option imidacloprid --rate 0.2kg/100m2 --most-a-season 0.4kg/100m2");
    let said = lawn.edits("1 --rate 0.5kg/100m2 --remark twice");
    for due in [
        "entry 1 is now number 2:",
        "was  2026-06-10  imidacloprid on 450 m² at 0.2 kg/100 m²",
        "is   2026-06-10  imidacloprid on 450 m² at 0.5 kg/100 m²",
        "WARNING: that is 125 % of the 0.4 kg/100 m²",
    ] {
        assert!(said.contains(due), "{due}: {said}");
    }
    let entries = lawn.list();
    assert_eq!(entries.len(), 1);
    assert_eq!(entries[0]["remark"], "twice");
    assert_eq!(entries[0]["most_a_season"], "0.4 kg/100 m²");
}

#[test]
fn a_count_keeps_what_is_not_edited() {
    let lawn = Site::of("");
    lawn.logs("count --species japanese-beetle --larvae 12 --samples 10 --area 0.25ft2");
    lawn.edits("1 --larvae 21");
    lawn.edits("2 --area 1ft2 --date 2026-06-08");
    let entries = lawn.list();
    assert_eq!(entries.len(), 1);
    assert_eq!(
        (&entries[0]["larvae"], &entries[0]["samples"]),
        (&21.into(), &10.into())
    );
    assert_eq!(entries[0]["sample_m2"], 0.092_903_04);
    assert_eq!(entries[0]["day"], "2026-06-08");
}

#[test]
fn an_entry_of_an_earlier_season_can_be_corrected_where_its_day_stays() {
    let lawn = Site::of("");
    let of = "application --option chlorantraniliprole --area 450m2";
    lawn.logs(&format!("{of} --date 2025-06-01 --earlier-season"));
    lawn.edits("1 --rate 3oz/1000ft2");
    assert_eq!(lawn.list()[0]["rate"], "3 oz/1000 ft²");
    let refused = lawn.refused("log edit 2 --date 2025-06-02");
    assert!(refused.contains("before this season"), "{refused}");
    lawn.edits("2 --date 2025-06-02 --earlier-season");
}

#[test]
fn commands_that_log_at_once_lose_nothing_and_enter_nothing_twice() {
    let lawn = Site::of("area = \"450 m2\"");
    lawn.logs("note --remark first");
    let command = |what: &str| {
        let mut arguments = lawn.arguments("lawn", what);
        arguments.insert(0, "log".to_owned());
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        lawn.workshop
            .command(&arguments)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap()
    };
    let mut waters = Vec::new();
    let mut spreads = Vec::new();
    for _ in 0..6 {
        waters.push(command("irrigation --depth 6mm"));
        spreads.push(command("application --option chlorantraniliprole"));
    }
    let succeeded = |children: Vec<std::process::Child>| {
        children
            .into_iter()
            .map(|mut child| child.wait().unwrap().success())
            .filter(|success| *success)
            .count()
    };
    assert_eq!((succeeded(waters), succeeded(spreads)), (6, 1));
    let entries = lawn.list();
    let of = |kind: &str| entries.iter().filter(|entry| entry["kind"] == kind).count();
    assert_eq!((of("irrigation"), of("application")), (6, 1));
}

/// The same instant is another day east and west of Greenwich; what is logged without a date is of
/// the day that the person at the machine has.
#[test]
fn the_day_is_that_of_the_machine_s_own_time_zone() {
    let workshop = command::Workshop::new();
    let config = workshop.write(
        "hatchbell.toml",
        &command::config_with_station("file = \"days.csv\""),
    );
    let entered = |zone: &str| {
        let arguments = [
            "log",
            "irrigation",
            "--config",
            &config,
            "--site",
            "lawn",
            "--depth",
            "3mm",
        ];
        let output = workshop
            .command(&arguments)
            .env("TZ", zone)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", command::both(&output));
        let list = workshop.succeeds(&["log", "list", "--json", "--config", &config]);
        let list: serde_json::Value = serde_json::from_str(&list).unwrap();
        let days = list.as_array().unwrap().iter();
        days.map(|entry| entry["day"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    // 26 hours apart: never the same day.
    entered("UTC+12");
    let days = entered("UTC-14");
    assert_eq!(days.len(), 2);
    assert_ne!(days[0], days[1], "{days:?}");
}

#[test]
fn a_catch_of_a_season_without_a_measured_day_is_said_to_be_unchecked() {
    let lawn = Site::of("");
    let said = lawn.logs("catch --species japanese-beetle --date 2026-01-15");
    assert!(
        said.contains("cannot be checked: no day of the season is measured up to 2026-01-15"),
        "{said}"
    );
    assert!(!said.contains("The sum on that day"), "{said}");
    assert!(said.contains("logged as number 1"), "{said}");
}

/// A first catch moves every later date, so one that cannot be is not let in by mistake.
#[test]
fn a_catch_long_before_flight_is_refused_unless_somebody_is_sure() {
    let workshop = command::Workshop::new();
    let root = env!("CARGO_MANIFEST_DIR");
    let demo = std::fs::read_to_string(format!("{root}/config/demo.toml")).unwrap();
    let database = workshop.path("demo.db").display().to_string();
    let config = demo
        .replace("../target/demo/hatchbell.db", &database)
        .replace("../fixtures", &format!("{root}/fixtures"))
        .replace("2026-04-15T06:00:00Z", "2026-06-20T06:00:00Z");
    let config = workshop.write("demo.toml", &config);
    let days = format!("{root}/fixtures/demo/harbour-meadow.csv");
    workshop.succeeds(&[
        "import",
        "--config",
        &config,
        "--station",
        "harbour-meadow",
        &days,
    ]);
    let catch = |more: &[&str]| {
        let fixed = [
            "log",
            "catch",
            "--config",
            &config,
            "--site",
            "mill-lane-lawn",
            "--species",
            "japanese-beetle",
        ];
        workshop.run(&[&fixed[..], more].concat())
    };
    let refused = catch(&["--date", "2026-02-01"]);
    assert!(!refused.status.success());
    assert!(
        command::both(&refused).contains("nothing was logged"),
        "{}",
        command::both(&refused)
    );
    assert!(
        !workshop
            .succeeds(&["log", "list", "--config", &config])
            .contains("catch")
    );
    assert!(catch(&["--date", "2026-06-18"]).status.success());
    assert!(catch(&["--date", "2026-02-01", "--sure"]).status.success());
}
