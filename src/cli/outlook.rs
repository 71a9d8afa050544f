//! `hatchbell outlook`: prints a site's outlook with its table and drawing, or as JSON.

use super::chart::chart;
use super::table::FittedTable;
use super::width::{columns, wrapped};
use super::{DateOption, ShownConfig, counted, or_exit, say};
use crate::domain::notation::Notation;
use crate::domain::phenology::outlook::CHANCE_DAYS;
use crate::report::outlook::{
    BY_CALENDAR_MARK, HOW_TO_PLAN, MilestoneOutlook, OutlookReport, SpeciesOutlook,
};
use crate::store::Store;
use chrono::NaiveDate;
use clap::Args;
use std::process::ExitCode;

/// Show a site's milestones weeks ahead, as date ranges
///
/// For each species of the site: the dates before which a milestone falls in 10, 50 and 90 of 100
/// cases, the chance that it has happened or happens within 7, 14 and 30 days, what the range is
/// made of, and a drawing of the season.
#[derive(Args)]
pub(super) struct OutlookOptions {
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

/// Columns before those of chances.
const BEFORE_CHANCES: usize = 5;

pub(super) fn run(options: &OutlookOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let of = super::member_and_site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let outlook = OutlookReport::of(&config, &store, of, today)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&outlook)?);
        return Ok(ExitCode::SUCCESS);
    }
    let head = format!("{} ({}), {today}", outlook.site_name, outlook.member);
    let species = outlook.species.iter();
    let species: String = species
        .map(|species| text(species, today, &config.service.notation))
        .collect();
    let end = wrapped(HOW_TO_PLAN);
    super::print(format_args!("{}{species}{end}", wrapped(&head)));
    Ok(ExitCode::SUCCESS)
}

fn text(outlook: &SpeciesOutlook, today: NaiveDate, notation: &Notation) -> String {
    let mut text = wrapped(&format!(
        "{}, season {}: {} at {}, {}, {} estimated",
        outlook.name,
        outlook.season_name,
        notation.degree_days(outlook.degree_days),
        outlook.station_name,
        outlook.data_in_words(),
        counted(outlook.estimated_days as usize, "day"),
    ));
    if let Some(anchor) = &outlook.anchor {
        text += &wrapped(anchor);
    }
    text += &table(outlook, notation);
    text += &chart(&outlook.ranges(), today, columns());
    for sentence in outlook.basis_in_words() {
        text += &wrapped(&sentence);
    }
    text + "\n"
}

fn table(outlook: &SpeciesOutlook, notation: &Notation) -> String {
    let (_, unit) = notation.degree_day_sum(0.0);
    let heads = ["", unit, "10 %", "50 %", "90 %", "by now"].map(str::to_owned);
    let chances = CHANCE_DAYS.map(|days| format!("{days} d"));
    let table = FittedTable {
        heads: heads.into_iter().chain(chances).collect(),
        rows: outlook
            .milestones
            .iter()
            .map(|one| cells(one, notation))
            .collect(),
        may_stay: &[9, BEFORE_CHANCES, 4, 3, 2],
        right_from: BEFORE_CHANCES,
    };
    let mut text = format!("\n{}", table.in_columns(columns()));
    if outlook.has_estimate() {
        text += "* an estimate, not a published value\n";
    }
    if outlook.has_date_by_calendar() {
        text += &wrapped(&format!(
            "{BY_CALENDAR_MARK} by the calendar, which ends the season warm or not"
        ));
    }
    text
}

fn cells(milestone: &MilestoneOutlook, notation: &Notation) -> Vec<String> {
    let mut cells = vec![
        milestone.title.to_owned(),
        milestone.threshold.in_words(notation),
    ];
    cells.extend(milestone.dates_in_words(notation));
    cells
}
