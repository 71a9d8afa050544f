//! `hatchbell outlook`: prints a site's outlook with its table and drawing.

use super::{ConfigOption, DateOption, configuration, counted, or_exit, say_wrapped};
use crate::cli::chart::chart;
use crate::domain::phenology::outlook::CHANCE_DAYS;
use crate::report::outlook::{
    BY_CALENDAR_MARK, HOW_TO_PLAN, MilestoneOutlook, SiteOutlook, site_outlooks,
};
use crate::store::Store;
use clap::Args;
use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};
use std::process::ExitCode;

/// Show a site's milestones weeks ahead, as date ranges
///
/// For each species of the site: the dates before which a milestone falls in 10, 50 and 90 of 100
/// cases, the chance that it has happened or happens within 7, 14 and 30 days, what the range is
/// made of, and a drawing of the season.
#[derive(Args)]
pub(super) struct OutlookOptions {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
}

pub(super) fn run(options: &OutlookOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    super::site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    for outlook in site_outlooks(&config, &store, &options.site, today)? {
        super::print(format_args!("{}", text(&outlook)));
    }
    say_wrapped(HOW_TO_PLAN);
    Ok(ExitCode::SUCCESS)
}

fn text(outlook: &SiteOutlook) -> String {
    let mut text = format!(
        "{} ({}), {}\n{}, season {}: {:.0} °C·d at {}, {}, {} estimated\n",
        outlook.site,
        outlook.member,
        outlook.day,
        outlook.species,
        outlook.season,
        outlook.degree_days,
        outlook.station,
        outlook.data_in_words(),
        counted(outlook.estimated_days as usize, "day"),
    );
    if let Some(anchor) = &outlook.anchor {
        text += &format!("{anchor}\n");
    }
    text += &table(outlook);
    text += &chart(&outlook.ranges(), outlook.day);
    for sentence in &outlook.basis {
        // The only one longer than a line.
        text += &sentence.replace(" and each threshold's ", " and each\nthreshold's ");
        text += "\n";
    }
    text + "\n"
}

fn table(outlook: &SiteOutlook) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    let mut heads: Vec<String> = ["", "°C·d", "10 %", "50 %", "90 %", "by now"]
        .map(str::to_owned)
        .to_vec();
    heads.extend(CHANCE_DAYS.map(|days| format!("{days} d")));
    table.set_header(heads);
    for milestone in &outlook.milestones {
        table.add_row(cells(milestone));
    }
    let mut text = format!("\n{}\n", table.trim_fmt());
    if outlook.has_estimate() {
        text += "* an estimate, not a published value\n";
    }
    if outlook.has_date_by_calendar() {
        text += &format!("{BY_CALENDAR_MARK} by the calendar, which ends the season warm or not\n");
    }
    text
}

fn cells(milestone: &MilestoneOutlook) -> Vec<Cell> {
    /// Columns before those of chances.
    const LEFT: usize = 5;
    let mut cells = vec![milestone.title.to_owned(), milestone.threshold_in_words()];
    cells.extend(milestone.dates_in_words());
    let cells = cells.into_iter().enumerate();
    cells
        .map(|(index, text)| {
            let cell = Cell::new(text);
            if index < LEFT {
                cell
            } else {
                cell.set_alignment(CellAlignment::Right)
            }
        })
        .collect()
}
