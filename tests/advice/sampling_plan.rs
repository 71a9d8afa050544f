//! `hatchbell scout`: how much to dig, how, and what was counted so far.

use crate::support::journal::Site;

fn scout(site: &Site, more: &[&str]) -> String {
    let mut all = vec!["scout", "--config", &site.config, "lawn"];
    all.extend(more);
    let said = site.workshop.shows(100, &all);
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn dug(lines: &str) -> Site {
    let site = Site::of(lines);
    site.logs("note --remark first");
    site
}

/// n = (1/m + 1/k) / D², rounded up (Karandinos 1976, Bull. Entomol. Soc. Am. 22:417–421; from
/// memory), with k = 1.59: worked out here by hand.
#[test]
fn the_number_of_samples_is_that_of_the_published_formula() {
    // 161 per m² are 3.739 in 0.25 ft²: (0.2674 + 0.6289) / 0.0625 = 14.34.
    let irrigated = dug("condition = \"irrigated\"");
    assert!(scout(&irrigated, &[]).contains("Dig 15 samples of 0.25 ft²: at 161 per m²"));
    // 86 per m² are 7.990 in 1 ft²: (0.1252 + 0.6289) / 0.01 = 75.4.
    let unknown = dug("");
    let plan = scout(&unknown, &["--area", "1ft2", "--precision", "0.1"]);
    assert!(
        plan.contains("Dig 76 samples of 1 ft²: at 86 per m²"),
        "{plan}"
    );
}

#[test]
fn the_plan_says_what_the_turf_tolerates_how_solid_that_is_and_how_to_dig() {
    let plan = scout(&dug(""), &[]);
    for due in [
        "Turf tolerates 86 to 161 per m² (from published values)",
        "Spread the samples over the whole turf",
        "top 5 to 10 cm",
        "water it",
        "common practice, no source",
        "No count of this or last season's larvae is logged.",
        "hatchbell log count --site lawn --species japanese-beetle --each 0,3,1 --area 0.25ft2",
    ] {
        assert!(plan.contains(due), "{due}: {plan}");
    }
}

#[test]
fn counts_of_this_and_last_seasons_larvae_stand_there_with_their_verdicts() {
    let lawn = Site::on("2026-08-20", "condition = \"irrigated\"");
    let count = "count --species japanese-beetle --area 0.25ft2";
    lawn.logs(&format!(
        "{count} --larvae 12 --samples 10 --date 2026-08-19"
    ));
    lawn.logs(&format!("{count} --each 3,4,5,9,12,8 --date 2026-08-18"));
    lawn.logs(&format!(
        "{count} --larvae 0 --samples 10 --date 2025-09-09"
    ));
    lawn.logs(&format!(
        "{count} --larvae 0 --samples 10 --date 2024-09-09"
    ));
    let plan = scout(&lawn, &[]);
    for due in [
        "2026-08-19 number 1, this season's larvae: below; 52 per m²",
        "2026-08-18 number 2, this season's larvae: above; 294 per m²",
        "2025-09-09 number 3, last season's larvae: below; 0 per m²",
    ] {
        assert!(plan.contains(due), "{due}: {plan}");
    }
    assert!(!plan.contains("2024-09-09"), "{plan}");
}

fn for_scripts(site: &Site) -> serde_json::Value {
    let all = ["scout", "--json", "--config", &site.config, "lawn"];
    serde_json::from_str(&site.workshop.succeeds(&all)).expect("JSON")
}

/// The figures of the formula by hand as above; 12 larvae in 10 samples of 0.25 ft² (0.0232258 m²) are
/// 51.67 per m².
#[test]
fn scripts_get_samples_fields_tolerance_and_counts_with_mean_range_and_verdict() {
    let lawn = Site::on("2026-08-20", "condition = \"irrigated\"\narea = \"4.2 ha\"");
    let count = "count --species japanese-beetle";
    lawn.logs(&format!(
        "{count} --area 0.25ft2 --larvae 12 --samples 10 --date 2026-08-19"
    ));
    lawn.logs(&format!("{count} --per-m2 400 --date 2025-09-09"));
    lawn.logs(&format!("{count} --per-m2 400 --date 2024-09-09"));
    let plan = for_scripts(&lawn);
    assert_eq!(
        (&plan["site"], &plan["day"]),
        (&"lawn".into(), &"2026-08-20".into())
    );
    assert_eq!(
        (&plan["kind"], &plan["fields"]),
        (&"flaps".into(), &5.into())
    );
    assert!((plan["sample_m2"].as_f64().unwrap() - 0.023_225_76).abs() < 1e-9);
    assert_eq!(plan["precision"], 0.25);
    let [species] = &plan["species"].as_array().unwrap()[..] else {
        panic!("one species: {plan}");
    };
    assert_eq!(species["species"], "japanese-beetle");
    assert_eq!(species["samples"], 15);
    assert_eq!(
        species["tolerance_per_m2"],
        serde_json::json!([161.0, 161.0])
    );
    let [density, dug] = &species["counts"].as_array().unwrap()[..] else {
        panic!("larvae of 2024 say nothing any more: {species}");
    };
    assert_eq!(
        (&dug["number"], &dug["day"]),
        (&1.into(), &"2026-08-19".into())
    );
    assert_eq!(
        (&dug["brood"], &dug["verdict"]),
        (&"this".into(), &"below".into())
    );
    let share = |what: &str| dug[what].as_f64().unwrap();
    assert!((share("mean_per_m2") - 51.67).abs() < 0.01, "{dug}");
    assert!(
        share("low_per_m2") < 51.0 && (52.0..161.0).contains(&share("high_per_m2")),
        "{dug}"
    );
    assert_eq!(
        (&density["brood"], &density["mean_per_m2"]),
        (&"last".into(), &400.0.into())
    );
    assert!(density["low_per_m2"].is_null() && density["high_per_m2"].is_null());
    assert_eq!(density["verdict"], "above");
}

#[test]
fn scripts_are_told_where_plugs_are_dug_and_where_a_range_is_tolerated() {
    let plan = for_scripts(&dug("samples = \"plugs\""));
    assert_eq!(
        (&plan["kind"], &plan["fields"]),
        (&"plugs".into(), &1.into())
    );
    let species = &plan["species"][0];
    assert_eq!(
        species["tolerance_per_m2"],
        serde_json::json!([86.0, 161.0])
    );
    assert_eq!(species["counts"], serde_json::json!([]));
}

#[test]
fn a_precision_that_cannot_be_reached_or_makes_no_sense_is_refused() {
    let lawn = dug("");
    for (precision, due) in [
        ("0.01", "takes more than 1000 samples of 0.25 ft²"),
        ("0", "a share above 0 and up to 1"),
        ("-1", "a share above 0 and up to 1"),
        ("25", "a share above 0 and up to 1"),
    ] {
        let said = lawn.refused(&format!("scout lawn --precision {precision}"));
        assert!(said.contains(due), "{precision}: {said}");
    }
}
