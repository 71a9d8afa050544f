//! `hatchbell plan`: prints a site's plan with its tables and drawings, or as JSON.

use super::chart::chart;
use super::{ConfigOption, DateOption, TEXT_COLUMNS, configuration, or_exit, say};
use crate::report::plan::{HELD_BACK, HOW_TO_READ, SitePlan, SpeciesPlan};
use crate::report::short_day;
use crate::store::Store;
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
use std::process::ExitCode;

/// Show whether to treat at a site, which option still works, and by when it must be down
///
/// For each species of the site: whether anything should be applied, by what was counted and what
/// the site's people have decided, and for each option they would use, by active ingredient, the
/// first, best and last day on which an application, watered in the same day, is worth it, and the
/// share of the hatching larvae that one of today would meet while they are open to it. A planning
/// model: it compares days, it does not promise a result.
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
    let plan = SitePlan::of(&config, &store, of, today)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&plan)?);
    } else {
        super::print(format_args!("{}", text(&plan)));
    }
    Ok(ExitCode::SUCCESS)
}

fn text(plan: &SitePlan) -> String {
    let mut text = String::new();
    for species in &plan.species {
        text += &format!("{} ({}), {}\n", plan.site_name, plan.member, plan.day);
        text += &of_species(species, plan);
    }
    let paragraphs = plan
        .spread
        .iter()
        .chain(&plan.together)
        .chain(&plan.without_a_day)
        .chain(&plan.not_considered)
        .cloned()
        .chain(plan.water_and_weather());
    for paragraph in paragraphs {
        text += &(textwrap::fill(&paragraph, TEXT_COLUMNS) + "\n\n");
    }
    let hanging = textwrap::Options::new(TEXT_COLUMNS).subsequent_indent("  ");
    for words in &plan.what_to_mind {
        text += &(textwrap::fill(words, &hanging) + "\n");
    }
    text += "\n";
    for line in HOW_TO_READ.iter().chain(&plan.cautions) {
        text += &format!("{line}\n");
    }
    text
}

fn of_species(species: &SpeciesPlan, plan: &SitePlan) -> String {
    let mut text = format!("{}, season {}\n", species.name, species.season_name);
    text += &textwrap::fill(&species.decision, TEXT_COLUMNS);
    if species.is_held {
        text += &format!("\n{}", textwrap::fill(HELD_BACK, NOTE_COLUMNS));
    }
    if species.is_for_information {
        text += "\nThe days below are for information:";
    }
    text += "\n";
    match species.why_no_options() {
        Some(why) => text += &format!("{why}\n\n"),
        None => {
            let chart = chart(&species.ranges(), plan.day);
            text += &format!("\n{}\n{chart}", table(species));
        }
    }
    text
}

fn table(species: &SpeciesPlan) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    table.set_header([
        "",
        "first",
        "best",
        "last",
        "best meets",
        "today meets",
        "now",
    ]);
    for option in &species.options {
        table.add_row([
            option.name_in_words(),
            short_day(option.first),
            short_day(option.best),
            short_day(option.last),
            format!("{:.0} %", option.meets_at_best * 100.0),
            option.meets_today_in_words(),
            option.now.clone(),
        ]);
    }
    table.trim_fmt()
}
