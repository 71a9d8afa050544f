//! `hatchbell scout`: how much to dig, how, and what was counted so far.

use crate::support::journal::Site;

fn scout(site: &Site, more: &[&str]) -> String {
    let mut all = vec!["scout", "--config", &site.config, "lawn"];
    all.extend(more);
    let said = site.workshop.succeeds(&all);
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
fn the_plan_says_what_the_turf_bears_how_solid_that_is_and_how_to_dig() {
    let plan = scout(&dug(""), &[]);
    for due in [
        "Turf bears 86 to 161 per m² (8.0 to 15.0 per ft²) (from published values)",
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
