//! `config/options/*.toml` into [`TreatmentOption`].

use super::fields::{Fields, parse};
use super::name::required_name;
use super::problem::{Problem, SourceText};
use super::sourced_value::{required_figure, sourced_value};
use crate::domain::sourced_value::{EvidenceGrade, SourcedValue};
use crate::domain::treatment::option::{
    Decay, Purpose, SoilLimits, Susceptibility, TreatmentOption, WateringIn,
};

/// The options built into the program: file name and text.
pub const BUILT_IN: [(&str, &str); 9] = [
    (
        "built-in options/bacillus-thuringiensis-galleriae.toml",
        include_str!("../../config/options/bacillus-thuringiensis-galleriae.toml"),
    ),
    (
        "built-in options/carbaryl.toml",
        include_str!("../../config/options/carbaryl.toml"),
    ),
    (
        "built-in options/chlorantraniliprole.toml",
        include_str!("../../config/options/chlorantraniliprole.toml"),
    ),
    (
        "built-in options/clothianidin.toml",
        include_str!("../../config/options/clothianidin.toml"),
    ),
    (
        "built-in options/heterorhabditis-bacteriophora.toml",
        include_str!("../../config/options/heterorhabditis-bacteriophora.toml"),
    ),
    (
        "built-in options/imidacloprid.toml",
        include_str!("../../config/options/imidacloprid.toml"),
    ),
    (
        "built-in options/metarhizium-brunneum.toml",
        include_str!("../../config/options/metarhizium-brunneum.toml"),
    ),
    (
        "built-in options/thiamethoxam.toml",
        include_str!("../../config/options/thiamethoxam.toml"),
    ),
    (
        "built-in options/trichlorfon.toml",
        include_str!("../../config/options/trichlorfon.toml"),
    ),
];

/// Longest time that makes sense for arrival and decay, days.
const MOST_DAYS: f64 = 2000.0;

/// Longest lead before first hatch that makes sense: the turf of half a year ago, days.
const MOST_LEAD_DAYS: f64 = 180.0;

/// Reads one option file.
///
/// # Errors
/// Every problem in the file, with its line and column.
pub fn read(file: &str, text: &str) -> Result<TreatmentOption, Vec<Problem>> {
    let page = SourceText::new(file, text);
    let table = parse(&page);
    let option = option(Fields::top(&page, &table));
    let problems = page.into_problems();
    match option {
        Some(option) if problems.is_empty() => Ok(option),
        _ => Err(problems),
    }
}

fn option(top: Fields<'_, '_>) -> Option<TreatmentOption> {
    let id = top.required_id("id", "imidacloprid");
    let name = required_name(&top, "name", "imidacloprid");
    let group = top.required_id("group", "neonicotinoid");
    let mode_of_action = mode_of_action(&top);
    let purpose = top.required_choice("purpose", &Purpose::NAMED);
    let also_curative = top.flag("also_curative");
    let restricted = top.flag("restricted");
    let told_ahead_days = top.whole("told_ahead_days", 0..=90);
    if !top.has("told_ahead_days") {
        top.page().error(
            top.at(),
            "the file needs told_ahead_days, for example told_ahead_days = 14",
        );
    }
    let reliability = top.required_text("reliability", "how reliable it is, in a sentence");
    let cautions = top.texts("cautions").unwrap_or_default();
    let legal = top.required_text("legal", "what is known of the law, in general words");
    let practice_lead_days = optional_figure(&top, "practice_lead_days", 0.0..=MOST_LEAD_DAYS);
    let arrival_days = required_figure(&top, "arrival_days", 0.1..=MOST_DAYS);
    let decay = decay(&top);
    let susceptibility = susceptibility(&top);
    let depth_mm = required_figure(&top, "watering_in_mm", 0.0..=50.0);
    let within_days = required_figure(&top, "watering_in_days", 0.0..=14.0);
    let soil = soil(&top);
    top.finish();
    Some(TreatmentOption {
        id: id?.value,
        name: name?.value,
        group: group?.value,
        mode_of_action: mode_of_action?,
        purpose: purpose?.value,
        also_curative,
        restricted,
        practice_lead_days: practice_lead_days?,
        arrival_days: arrival_days?,
        decay: decay?,
        susceptibility: susceptibility?,
        watering_in: WateringIn {
            depth_mm: depth_mm?,
            within_days: within_days?,
        },
        soil: soil?,
        told_ahead_days: told_ahead_days?.value,
        reliability: reliability?.value,
        cautions: cautions.into_iter().map(|caution| caution.value).collect(),
        legal: legal?.value,
    })
}

/// `None` if it is wrong, `Some(None)` if there is none.
fn mode_of_action(top: &Fields<'_, '_>) -> Option<Option<String>> {
    let group = top.text("mode_of_action");
    if group.is_none() && top.has("mode_of_action") {
        return None;
    }
    let Some(group) = group else {
        return Some(None);
    };
    if !is_mode_of_action(&group.value) {
        top.page().error(
            group.at,
            format!(
                "mode_of_action = \"{}\" is not a group like \"28\", \"4A\" or \"UNF\"; leave it out where the option has none",
                group.value
            ),
        );
        return None;
    }
    Some(Some(group.value))
}

/// One or two digits and perhaps a capital letter, or `UN` (unknown) and perhaps a capital letter.
fn is_mode_of_action(group: &str) -> bool {
    let number = group.strip_suffix(|c: char| c.is_ascii_uppercase());
    let number = number.unwrap_or(group);
    let numbered = (1..=2).contains(&number.len())
        && !number.starts_with('0')
        && number.chars().all(|c| c.is_ascii_digit());
    numbered || group == "UN" || number == "UN"
}

/// `None` if it is wrong, `Some(None)` if there is none.
fn optional_figure(
    top: &Fields<'_, '_>,
    key: &'static str,
    bounds: std::ops::RangeInclusive<f64>,
) -> Option<Option<SourcedValue>> {
    let figure = sourced_value(top, key, bounds);
    if figure.is_none() && top.has(key) {
        return None;
    }
    Some(figure)
}

fn decay(top: &Fields<'_, '_>) -> Option<Decay> {
    let half = sourced_value(top, "half_life_days", 0.1..=MOST_DAYS);
    let gone = sourced_value(top, "nine_tenths_gone_days", 0.1..=MOST_DAYS);
    if top.has("half_life_days") == top.has("nine_tenths_gone_days") {
        top.page().error(
            top.at(),
            "the file needs one of the tables [half_life_days] and [nine_tenths_gone_days]",
        );
    }
    match (half, gone) {
        (Some(half), None) => Some(Decay::HalfLife(half)),
        (None, Some(gone)) => Some(Decay::NineTenthsGone(gone)),
        _ => None,
    }
}

fn susceptibility(top: &Fields<'_, '_>) -> Option<Susceptibility> {
    let Some(table) = top.table("susceptibility") else {
        top.page()
            .error(top.at(), "the file needs a table [susceptibility]");
        return None;
    };
    if !table.has("by_instar") {
        table.page().error(
            table.at(),
            "[susceptibility] needs by_instar, for example by_instar = [1.0, 0.5, 0.0]",
        );
    }
    let by_instar = table.numbers("by_instar", 0.0..=1.0);
    let grade = table.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = table.required_text("source", "where the numbers come from");
    table.finish();
    Some(Susceptibility {
        by_instar: by_instar?,
        grade: grade?.value,
        source: source?.value,
    })
}

/// `None` if something is wrong, `Some(None)` if soil temperature does not matter.
fn soil(top: &Fields<'_, '_>) -> Option<Option<SoilLimits>> {
    let lowest = sourced_value(top, "soil_lowest_c", -5.0..=40.0);
    let highest = sourced_value(top, "soil_highest_c", -5.0..=60.0);
    match (top.has("soil_lowest_c"), top.has("soil_highest_c")) {
        (false, false) => Some(None),
        (true, with_highest) => Some(Some(SoilLimits {
            lowest_c: lowest?,
            highest_c: if with_highest { Some(highest?) } else { None },
        })),
        (false, true) => {
            top.page()
                .error(top.at(), "[soil_highest_c] goes with [soil_lowest_c]");
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> impl Iterator<Item = (&'static str, TreatmentOption)> {
        BUILT_IN.iter().map(|(file, text)| {
            let option = read(file, text).unwrap_or_else(|p| panic!("{file}: {p:?}"));
            (*file, option)
        })
    }

    fn figures(option: &TreatmentOption) -> Vec<&SourcedValue> {
        let watering = &option.watering_in;
        let mut figures = vec![
            &option.arrival_days,
            option.decay.sourced_value(),
            &watering.depth_mm,
            &watering.within_days,
        ];
        figures.extend(&option.practice_lead_days);
        if let Some(soil) = &option.soil {
            figures.push(&soil.lowest_c);
            figures.extend(&soil.highest_c);
        }
        figures
    }

    #[test]
    fn every_built_in_option_loads_under_its_own_name() {
        for (file, option) in all() {
            assert!(file.ends_with(&format!("/{}.toml", option.id)));
        }
    }

    #[test]
    fn no_estimate_or_practice_is_passed_off_as_published() {
        for (file, option) in all() {
            let graded = figures(&option)
                .into_iter()
                .map(|sourced_value| (sourced_value.grade, sourced_value.source.as_str()))
                .chain([(
                    option.susceptibility.grade,
                    option.susceptibility.source.as_str(),
                )]);
            for (grade, source) in graded {
                let estimate = source.starts_with("estimate:");
                assert_eq!(
                    grade == EvidenceGrade::Estimate,
                    estimate,
                    "{file}: {source}"
                );
                let practice = source.starts_with("common practice, no source");
                assert_eq!(
                    grade == EvidenceGrade::Practice,
                    practice,
                    "{file}: {source}"
                );
            }
        }
    }

    #[test]
    fn all_problems_of_an_option_file_are_reported_at_once() {
        let (file, text) = BUILT_IN[0];
        let text = text
            .replace("by_instar = [1.0, 0.2, 0.0]", "by_instar = [1.0, 2.0]")
            .replace("[nine_tenths_gone_days]", "[gone_days]")
            .replace("purpose = \"preventive\"", "purpose = \"cure\"");
        let problems = read(file, &text).expect_err("three things are wrong");
        let all: Vec<String> = problems.iter().map(ToString::to_string).collect();
        let all = all.join("\n");
        for due in ["list of 3 numbers", "one of the tables", "\"curative\""] {
            assert!(all.contains(due), "{due} is not in {all}");
        }
    }

    #[test]
    fn a_mode_of_action_is_a_group_of_the_public_list_or_left_out() {
        let (file, text) = BUILT_IN[5];
        let with = |group: &str| read(file, &text.replace("\"4A\"", &format!("\"{group}\"")));
        for group in ["3", "28", "4A", "11A", "UN", "UNF"] {
            let option = with(group).unwrap_or_else(|p| panic!("{group}: {p:?}"));
            assert_eq!(option.mode_of_action.as_deref(), Some(group));
        }
        for group in ["4a", "A", "A4", "04", "128", "4 A", "UNf", "UNFF", "U"] {
            let problems = with(group).expect_err(group);
            assert!(
                problems[0].text.contains("is not a group like"),
                "{problems:?}"
            );
            assert!(problems[0].line > 1 && problems[0].column > 1);
        }
        let without = text.replace("mode_of_action = \"4A\"", "");
        assert_eq!(read(file, &without).unwrap().mode_of_action, None);
    }

    #[test]
    fn a_practice_lead_in_the_wrong_order_is_refused_and_none_is_fine() {
        let (file, text) = BUILT_IN[2];
        let lead = read(file, text).unwrap().practice_lead_days.unwrap();
        assert_eq!(lead.range, Some((31.0, 70.0)));
        let problems = read(file, &text.replace("low = 31.0", "low = 71.0")).expect_err("71");
        assert!(problems[0].text.contains("rising order"), "{problems:?}");
        let (file, text) = BUILT_IN[5];
        assert_eq!(read(file, text).unwrap().practice_lead_days, None);
    }
}
