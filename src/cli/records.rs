//! `hatchbell records`: prints what was spread at a site in a season, as it has to be recorded.

use super::{DateOption, ShownConfig, or_exit, say, say_wrapped};
use crate::report::records::SeasonRecords;
use crate::store::Store;
use clap::Args;
use std::process::ExitCode;

/// Print the record of what was spread at a site in a season
///
/// Product, registration number, rate, total, area, times, applicator, target and weather of each
/// application, as they were logged, and what is missing of it. Which of this is asked of whom, the law
/// of the place says.
#[derive(Args)]
pub(super) struct RecordsOptions {
    #[command(flatten)]
    config: ShownConfig,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
    /// The year the season starts in; without it the running season
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i32).range(1700..=2200))]
    year: Option<i32>,
    /// Print comma-separated values
    #[arg(long)]
    csv: bool,
}

pub(super) fn run(options: &RecordsOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let of = super::member_and_site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let records = SeasonRecords::of(&config, &store, of, options.year, today)?;
    if options.csv {
        super::print(format_args!("{}", records.to_csv()?));
        return Ok(ExitCode::SUCCESS);
    }
    say!("{}", records.title);
    for line in &records.about {
        say_wrapped(line);
    }
    if records.applications.is_empty() {
        say!("Nothing was applied.");
    }
    for one in &records.applications {
        say!("");
        say!("{}, number {}", one.day, one.number);
        for (title, cell) in one.known() {
            say_wrapped(&format!("{title}: {cell}"));
        }
        if !one.missing.is_empty() {
            say_wrapped(&format!(
                "MISSING: {}. hatchbell log edit {} adds it.",
                one.missing.join(", "),
                one.number
            ));
        }
    }
    say!("");
    if let Some(incomplete) = &records.incomplete {
        say_wrapped(incomplete);
    }
    say_wrapped(records.reading);
    Ok(ExitCode::SUCCESS)
}
