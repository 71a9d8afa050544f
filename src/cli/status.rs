//! `hatchbell status`: prints where every site stands, as a table or JSON.

use super::{ConfigOption, DateOption, configuration, or_exit, say};
use crate::clock::Clock;
use crate::report::status::{SiteStatus, Status};
use crate::store::Store;
use clap::Args;
use comfy_table::{Attribute, Cell, Color, ContentArrangement, Table, presets};
use std::process::ExitCode;

/// Show where every site stands
///
/// One row for each site and species: the newest measured day, degree-days so far, the last
/// milestone passed and the next one with its likely date and range; `hatchbell outlook` shows
/// more. A station that has gone quiet shows as "stale since".
#[derive(Args)]
pub(super) struct StatusOptions {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// Print JSON for scripts instead of a table
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &StatusOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let status = Status::of(&config, &store, today, Clock::Machine.now())?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&status)?);
    } else {
        super::print(format_args!("{}", text(&status)));
    }
    Ok(ExitCode::SUCCESS)
}

fn text(status: &Status) -> String {
    let mut text = format!("{}, {}\n{}\n", status.service, status.date, table(status));
    for trouble in status.station_troubles() {
        text += &format!("{trouble}\n");
    }
    text += &format!(
        "{}; {}\n",
        status.last_cycle_in_words(),
        status.outbox.in_words()
    );
    for problem in &status.outbox.problems {
        text += &format!("not delivered: {problem}\n");
    }
    if status.has_estimate() {
        text += "* the threshold is an estimate, not a published value\n";
    }
    text
}

fn table(status: &Status) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_HORIZONTAL_ONLY)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_header(
            [
                "Site",
                "Species",
                "Data through",
                "°C·d",
                "Last milestone",
                "Next milestone",
            ]
            .map(|title| Cell::new(title).add_attribute(Attribute::Bold)),
        );
    let mut member = "";
    for site in &status.sites {
        let first_of_member = site.member != member;
        member = &site.member;
        table.add_row(cells(site, first_of_member));
    }
    table
}

fn cells(site: &SiteStatus, first_of_member: bool) -> Vec<Cell> {
    let name = if first_of_member {
        format!("{}\n  {}", site.member, site.site_name)
    } else {
        format!("  {}", site.site_name)
    };
    let data = Cell::new(lines([
        Some(site.data_in_words()),
        site.newest_days_in_words(),
    ]));
    let sum = lines([
        Some(format!("{:.0}", site.degree_days)),
        site.estimated_in_words(),
        site.estimated_by
            .in_words()
            .filter(|_| site.estimated_days > 0),
    ]);
    let last = site
        .last_milestone
        .as_ref()
        .map_or("none yet".to_owned(), |last| {
            format!("{}\n{}", last.title, last.when())
        });
    let next = match (&site.held, &site.next_milestone) {
        (Some(reason), _) => Cell::new(format!("held: {reason}")).fg(Color::Yellow),
        (None, Some(next)) => Cell::new(format!("{}\n{}", next.what(), next.when())),
        (None, None) => Cell::new("none this season"),
    };
    vec![
        Cell::new(name),
        Cell::new(&site.species_name),
        if site.lacks_days() {
            data.fg(Color::Red)
        } else {
            data
        },
        Cell::new(sum),
        Cell::new(last),
        next,
    ]
}

/// Lines of one cell, those that there are.
fn lines<const N: usize>(lines: [Option<String>; N]) -> String {
    let lines: Vec<String> = lines.into_iter().flatten().collect();
    lines.join("\n")
}
