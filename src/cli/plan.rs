//! `hatchbell plan`: prints a site's plan with its tables and drawings, or as JSON.

use super::chart::chart;
use super::{ConfigOption, DateOption, TEXT_COLUMNS, configuration, or_exit, say};
use crate::report::plan::{HELD_BACK, HOW_TO_READ, PlanReport};
use crate::report::short_day;
use crate::store::Store;
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
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
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
}

/// Columns that a note on the dates is wrapped to.
const NOTE_COLUMNS: usize = 78;

pub(super) fn run(options: &PlanOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let of = super::member_and_site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let plan = PlanReport::of(&config, &store, of, today)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&plan)?);
    } else {
        super::print(format_args!("{}", text(&plan)));
    }
    Ok(ExitCode::SUCCESS)
}

fn text(plan: &PlanReport) -> String {
    let season = plan
        .species
        .first()
        .map_or("", |species| &species.season_name);
    let mut text = format!("{} ({}), {}\n", plan.site_name, plan.member, plan.day);
    text += &(textwrap::fill(
        &format!("{}, season {season}", plan.species_names()),
        TEXT_COLUMNS,
    ) + "\n");
    text += &(textwrap::fill(&plan.decision, TEXT_COLUMNS) + "\n");
    for species in &plan.species {
        text += &(textwrap::fill(&species.limits, TEXT_COLUMNS) + "\n");
        if species.is_held {
            let held = format!("{}: {HELD_BACK}", species.name);
            text += &(textwrap::fill(&held, NOTE_COLUMNS) + "\n");
        }
    }
    if plan.is_for_information && plan.no_options.is_none() {
        text += "The days below are for information:\n";
    }
    match &plan.no_options {
        Some(why) => text += &format!("{why}\n\n"),
        None => text += &format!("\n{}\n{}", table(plan), chart(&plan.ranges(), plan.day)),
    }
    let hanging = textwrap::Options::new(TEXT_COLUMNS).subsequent_indent("  ");
    let mut notes = plan
        .options
        .iter()
        .flat_map(|option| &option.notes)
        .peekable();
    if notes.peek().is_some() {
        for note in notes {
            text += &(textwrap::fill(note, &hanging) + "\n");
        }
        text += "\n";
    }
    let soil = plan.soil.as_ref().map(|soil| {
        format!(
            "Soil at 10 cm, estimated from air temperatures: {:.1} °C in the last seven days.",
            soil.week_mean_c
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
        .chain(plan.water_and_weather());
    for paragraph in paragraphs {
        text += &(textwrap::fill(&paragraph, TEXT_COLUMNS) + "\n\n");
    }
    for words in &plan.what_to_mind {
        text += &(textwrap::fill(words, &hanging) + "\n");
    }
    text += "\n";
    for line in HOW_TO_READ.iter().chain(&plan.cautions) {
        text += &format!("{line}\n");
    }
    text
}

fn table(plan: &PlanReport) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    table.set_header(["", "from", "best", "until", "today", "now"]);
    for option in &plan.options {
        table.add_row([
            option.name_in_words(),
            short_day(option.first),
            short_day(option.best),
            short_day(option.last),
            option.today.to_owned(),
            option.now.clone(),
        ]);
    }
    table.trim_fmt()
}
