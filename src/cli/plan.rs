//! `hatchbell plan`: prints a site's plan with its tables and drawings, or as JSON.

use super::chart::chart;
use super::table::FittedTable;
use super::width::{columns, hanging, wrapped};
use super::{DateOption, ShownConfig, or_exit, say};
use crate::domain::notation::Notation;
use crate::report::plan::{HELD_BACK, OptionPlan, PlanReport};
use crate::store::Store;
use clap::Args;
use std::process::ExitCode;

/// Show whether to treat at a site, which option still works, and by when it must be down
///
/// One plan for all species of the site: whether anything should be applied, by what was counted and
/// what the site's people have decided, and for each option they would use, by active ingredient, the
/// good days on which an application, watered in the same day, serves every species that calls for it.
/// A planning model: it compares days, it does not promise a result.
#[derive(Args)]
pub(super) struct PlanOptions {
    #[command(flatten)]
    config: ShownConfig,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &PlanOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let of = super::member_and_site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let plan = PlanReport::of(&config, &store, of, today)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&plan)?);
    } else {
        super::print(format_args!("{}", text(&plan, &config.service.notation)));
    }
    Ok(ExitCode::SUCCESS)
}

fn text(plan: &PlanReport, notation: &Notation) -> String {
    let season = plan
        .species
        .first()
        .map_or("", |species| &species.season_name);
    let mut text = wrapped(&format!(
        "{} ({}), {}",
        plan.site_name, plan.member, plan.day
    ));
    text += &wrapped(&format!("{}, season {season}", plan.species_names()));
    text += &wrapped(&plan.decision);
    for tolerance in &plan.tolerances {
        text += &wrapped(tolerance);
    }
    for species in plan.species.iter().filter(|species| species.is_held) {
        text += &wrapped(&format!("{}: {HELD_BACK}", species.name));
    }
    if plan.is_for_information && plan.no_options.is_none() {
        text += "The days below are for information:\n";
    }
    match &plan.no_options {
        Some(why) => text += &format!("{}\n", wrapped(why)),
        None => {
            let drawing = chart(&plan.ranges(), plan.day, columns());
            text += &format!("\n{}{drawing}", table(plan, notation));
        }
    }
    let notes: String = plan
        .options
        .iter()
        .flat_map(|option| &option.notes)
        .map(|note| hanging("", note))
        .collect();
    if !notes.is_empty() {
        text += &format!("{notes}\n");
    }
    let soil = plan.soil.as_ref().map(|soil| {
        format!(
            "Soil at {}, estimated from air temperatures: {} in the last seven days.",
            notation.soil_depth(),
            notation.temperature(soil.week_mean_c)
        )
    });
    let paragraphs = plan
        .spread
        .iter()
        .chain(&plan.without_a_day)
        .chain(&plan.not_considered)
        .chain(&plan.counting)
        .chain(&soil)
        .cloned()
        .chain(plan.water_and_weather(notation));
    for paragraph in paragraphs {
        text += &format!("{}\n", wrapped(&paragraph));
    }
    for words in &plan.what_to_mind {
        text += &hanging("", words);
    }
    text += "\n";
    for paragraph in plan.how_to_read().into_iter().chain(plan.cautions) {
        text += &wrapped(paragraph);
    }
    text
}

fn table(plan: &PlanReport, notation: &Notation) -> String {
    let row = |option: &OptionPlan| {
        vec![
            option.name_in_words(),
            notation.short_day(option.first),
            notation.short_day(option.best),
            notation.short_day(option.last),
            option.today.to_owned(),
            option.now.clone(),
        ]
    };
    let table = FittedTable {
        heads: ["", "from", "best", "until", "today", "now"]
            .map(str::to_owned)
            .to_vec(),
        rows: plan.options.iter().map(row).collect(),
        may_stay: &[6, 5, 4],
        right_from: 6,
    };
    table.in_columns(columns())
}
