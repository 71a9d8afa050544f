//! `config/species/*.toml` into [`Species`].

use super::fields::{Fields, parse};
use super::name::required_name;
use super::problem::{Problem, SourceText};
use super::sourced_value::{range, sourced_value};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::species::{ActionThreshold, SeasonEnd, Species, Stage, Threshold};
use crate::domain::sourced_value::EvidenceGrade;
use crate::domain::weather::degree_day::{Cutoff, Method, Model};

/// The species built into the program: file name and text.
pub const BUILT_IN: [(&str, &str); 5] = [
    (
        "built-in species/european-chafer.toml",
        include_str!("../../config/species/european-chafer.toml"),
    ),
    (
        "built-in species/japanese-beetle.toml",
        include_str!("../../config/species/japanese-beetle.toml"),
    ),
    (
        "built-in species/northern-masked-chafer.toml",
        include_str!("../../config/species/northern-masked-chafer.toml"),
    ),
    (
        "built-in species/oriental-beetle.toml",
        include_str!("../../config/species/oriental-beetle.toml"),
    ),
    (
        "built-in species/southern-masked-chafer.toml",
        include_str!("../../config/species/southern-masked-chafer.toml"),
    ),
];

/// Highest threshold that makes sense, °C·d; a hot year's whole sum is about 5000.
const MOST_DEGREE_DAYS: f64 = 6000.0;

/// Highest action threshold that makes sense, larvae per m²; the smallest white grubs come to about
/// 900.
const MOST_LARVAE: f64 = 2000.0;

/// Reads one species file.
///
/// # Errors
/// Every problem in the file, with its line and column.
pub fn read(file: &str, text: &str) -> Result<Species, Vec<Problem>> {
    let page = SourceText::new(file, text);
    let table = parse(&page);
    let species = species(Fields::top(&page, &table));
    let problems = page.into_problems();
    match species {
        Some(species) if problems.is_empty() => Ok(species),
        _ => Err(problems),
    }
}

fn species(top: Fields<'_, '_>) -> Option<Species> {
    let id = top.required_id("id", "japanese-beetle");
    let name = required_name(&top, "name", "Japanese beetle");
    let scientific_name = top.required_text("scientific_name", "Popillia japonica");
    let note = top.required_text("note", "what a turf keeper must know about its timing");
    let sums = top.table("degree_days");
    if sums.is_none() {
        top.page()
            .error(top.at(), "the file needs a table [degree_days]");
    }
    let sums = sums.and_then(degree_days);
    let end = top.table("season_end");
    if end.is_none() {
        top.page()
            .error(top.at(), "the file needs a table [season_end]");
    }
    let season_end = end.and_then(season_end);
    let action = top.table("action_threshold");
    if action.is_none() {
        top.page().error(
            top.at(),
            "the file needs a table [action_threshold]: how many larvae per m² turf tolerates",
        );
    }
    let action_threshold = action.and_then(action_threshold);
    let leaves_surface_c = sourced_value(&top, "leaves_surface_c", 0.0..=30.0);
    let stages = stages(&top);
    if let (Some((_, start, ..)), Some(end)) = (&sums, &season_end) {
        check_cap(&top, *start, end);
    }
    top.finish();
    let (model, start, model_grade, model_source) = sums?;
    Some(Species {
        id: id?.value,
        name: name?.value,
        scientific_name: scientific_name?.value,
        note: note?.value,
        model,
        start,
        model_grade,
        model_source,
        season_end: season_end?,
        action_threshold: action_threshold?,
        leaves_surface_c,
        stages: stages?,
    })
}

fn degree_days(sums: Fields<'_, '_>) -> Option<(Model, MonthDay, EvidenceGrade, String)> {
    let base = sums.required_number("base_c", -5.0..=25.0, "10.0");
    let method = sums.required_choice("method", &Method::NAMED);
    let start = month_day(&sums, "start", "01-01");
    let upper = sums.number("upper_c", 0.0..=50.0);
    let cutoff = sums.choice("cutoff", &Cutoff::NAMED);
    let grade = sums.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = sums.required_text("source", "where base, method and start come from");
    let upper = match (upper, cutoff) {
        (Some(upper), Some(cutoff)) => Some((upper.value, cutoff.value)),
        (None, None) => None,
        _ => {
            sums.page().error(
                sums.at(),
                "upper_c and cutoff go together: give both or neither",
            );
            None
        }
    };
    let at = sums.at();
    let page = sums.page();
    sums.finish();
    match Model::new(base?.value, upper, method?.value) {
        Ok(model) => Some((model, start?, grade?.value, source?.value)),
        Err(error) => {
            page.error(at, error.to_string());
            None
        }
    }
}

fn season_end(end: Fields<'_, '_>) -> Option<SeasonEnd> {
    let cap = month_day(&end, "cap", "09-30");
    let latitude = end.required_number("north_of_latitude", 0.0..=90.0, "44.0");
    let north_cap = month_day(&end, "north_cap", "09-20");
    let grade = end.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = end.required_text("source", "where the dates come from");
    end.finish();
    Some(SeasonEnd {
        cap: cap?,
        north_of_latitude: latitude?.value,
        north_cap: north_cap?,
        grade: grade?.value,
        source: source?.value,
    })
}

fn action_threshold(table: Fields<'_, '_>) -> Option<ActionThreshold> {
    let low = table.required_number("low_per_m2", 1.0..=MOST_LARVAE, "86.0");
    let high = table.required_number("high_per_m2", 1.0..=MOST_LARVAE, "161.0");
    let grade = table.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = table.required_text("source", "where the range comes from");
    let page = table.page();
    table.finish();
    let (low, high) = (low?, high?);
    if low.value > high.value {
        page.error(
            low.at,
            format!(
                "low_per_m2 = {} is above high_per_m2 = {}; swap them",
                low.value, high.value
            ),
        );
        return None;
    }
    Some(ActionThreshold {
        low_per_m2: low.value,
        high_per_m2: high.value,
        grade: grade?.value,
        source: source?.value,
    })
}

/// Fewest days from the start of the sum to the date cap; a cap that comes sooner would end every
/// season before it has begun.
const FEWEST_DAYS_TO_CAP: i64 = 120;

fn check_cap(top: &Fields<'_, '_>, start: MonthDay, end: &SeasonEnd) {
    let season = Season::starting_in(2025, start);
    for (key, cap) in [("cap", end.cap), ("north_cap", end.north_cap)] {
        let days = (season.first(cap) - season.start).num_days();
        if days < FEWEST_DAYS_TO_CAP {
            top.page().error(
                top.at(),
                format!(
                    "{key} = \"{cap}\" comes {days} days after start = \"{start}\"; give a date at least {FEWEST_DAYS_TO_CAP} days after it"
                ),
            );
        }
    }
}

fn month_day(fields: &Fields<'_, '_>, key: &'static str, example: &str) -> Option<MonthDay> {
    let text = fields.required_text(key, example)?;
    let day = MonthDay::parse(&text.value);
    if day.is_none() {
        fields.page().error(
            text.at,
            format!(
                "{key} = \"{}\" must be month-day like \"{example}\", a day that every year has",
                text.value
            ),
        );
    }
    day
}

fn stages(top: &Fields<'_, '_>) -> Option<Vec<Stage>> {
    let tables = top.tables("stage");
    let page = top.page();
    let mut stages: Vec<(Stage, std::ops::Range<usize>)> = Vec::new();
    let mut complete = true;
    for table in tables {
        let at = table.at();
        match stage(table) {
            Some(stage) => stages.push((stage, at)),
            None => complete = false,
        }
    }
    for pair in stages.windows(2) {
        if pair[1].0.threshold.value < pair[0].0.threshold.value {
            page.error(
                pair[1].1.clone(),
                format!(
                    "stage {} comes before {} in degree-days; list stages in rising order",
                    pair[1].0.id, pair[0].0.id
                ),
            );
            complete = false;
        }
    }
    for milestone in Milestone::ALL {
        let count = stages
            .iter()
            .filter(|(stage, _)| stage.milestone == Some(milestone))
            .count();
        if complete && count != 1 {
            page.error(
                top.at(),
                format!(
                    "exactly one [[stage]] must have milestone = \"{}\", found {count}",
                    milestone.name()
                ),
            );
            complete = false;
        }
    }
    let in_order = stages
        .iter()
        .filter_map(|(stage, _)| stage.milestone)
        .is_sorted();
    if complete && !in_order {
        page.error(
            top.at(),
            "the milestones must follow in the order of the season",
        );
        complete = false;
    }
    complete.then(|| stages.into_iter().map(|(stage, _)| stage).collect())
}

fn stage(table: Fields<'_, '_>) -> Option<Stage> {
    let id = table.required_id("id", "first-hatch");
    let had_milestone = table.has("milestone");
    let milestone = table.choice("milestone", &Milestone::NAMED);
    let value = table.required_number("degree_days", 1.0..=MOST_DEGREE_DAYS, "820.0");
    let low = table.number("low", 0.0..=MOST_DEGREE_DAYS);
    let high = table.number("high", 0.0..=MOST_DEGREE_DAYS);
    let grade = table.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = table.required_text("source", "where the number comes from");
    let range = range(&table, "degree_days", value.as_ref(), low, high);
    if had_milestone && milestone.is_some() && range == Some(None) {
        table.page().error(
            table.at(),
            "a stage with a milestone needs low and high: people are shown the range",
        );
    }
    table.finish();
    if had_milestone && milestone.is_none() {
        return None;
    }
    Some(Stage {
        id: id?.value,
        milestone: milestone.map(|m| m.value),
        threshold: Threshold {
            value: value?.value,
            range: range?,
            grade: grade?.value,
            source: source?.value,
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_species_loads() {
        for (file, text) in BUILT_IN {
            let species = read(file, text).unwrap_or_else(|p| panic!("{file}: {p:?}"));
            assert!(file.ends_with(&format!("/{}.toml", species.id)));
        }
    }

    #[test]
    fn no_built_in_estimate_is_passed_off_as_published() {
        for (file, text) in BUILT_IN {
            for stage in read(file, text).unwrap().stages {
                let says_estimate = stage.threshold.source.starts_with("estimate:");
                let is_estimate = stage.threshold.grade == EvidenceGrade::Estimate;
                assert_eq!(says_estimate, is_estimate, "{file}, {}", stage.id);
            }
        }
    }

    #[test]
    fn a_date_cap_right_after_the_start_is_refused() {
        let (file, text) = BUILT_IN[1];
        let problems = read(
            file,
            &text.replace("start = \"01-01\"", "start = \"09-20\""),
        )
        .expect_err("the season would be over at once");
        assert!(
            problems[0].text.contains("10 days after start"),
            "{problems:?}"
        );
    }

    #[test]
    fn an_action_threshold_is_needed_and_must_rise() {
        let (file, text) = BUILT_IN[1];
        let (before, after) = text.split_once("[action_threshold]").unwrap();
        let (_, stages) = after.split_once("[[stage]]").unwrap();
        let problems = read(file, &format!("{before}[[stage]]{stages}")).expect_err("it is gone");
        assert!(
            problems[0]
                .text
                .contains("needs a table [action_threshold]"),
            "{problems:?}"
        );
        let problems = read(
            file,
            &text.replace("low_per_m2 = 86.0", "low_per_m2 = 860.0"),
        )
        .expect_err("860 is above the high end");
        assert_eq!(problems.len(), 1, "{problems:?}");
        assert!(problems[0].text.contains("swap them"), "{problems:?}");
        assert!(problems[0].line > 1 && problems[0].column > 1);
    }

    #[test]
    fn a_threshold_outside_its_own_range_is_shown_with_line_and_column() {
        let (file, text) = BUILT_IN[1];
        let problems = read(
            file,
            &text.replace("degree_days = 560.0", "degree_days = 56.0"),
        )
        .expect_err("56 is below the low end");
        assert!(
            problems[0].to_string().contains("rising order"),
            "{problems:?}"
        );
        assert!(problems[0].line > 1 && problems[0].column > 1);
    }
}
