//! `hatchbell season`: prints a season looked back on, as text, JSON, or a page in a file.

use super::{DateOption, ShownConfig, or_exit, progress, say};
use crate::report::season::{NoSeason, SeasonReport};
use crate::store::Store;
use anyhow::{Context, bail};
use clap::Args;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod drawing;
mod page;
mod text;

/// Look back on a site's season: what was told, what came, what was applied and counted
///
/// For each species of the site: when each milestone was first told and with which range, when it
/// came by the temperature sum, and how far off the notice was; for each application how much of
/// the hatch it met, against the best day, and how it was watered in; the counts before and after;
/// and everything that was told, day by day. The page is one file that can be printed.
#[derive(Args)]
pub(super) struct SeasonOptions {
    #[command(flatten)]
    config: ShownConfig,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
    /// The year the season starts in; without it the running season
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i32).range(1700..=2200))]
    year: Option<i32>,
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
    /// Write a page to print to this file
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
}

pub(super) fn run(options: &SeasonOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let of = super::member_and_site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let progress = progress::working("looking back");
    let season = SeasonReport::of(&config, &store, of, options.year, today);
    progress.finish_and_clear();
    let season = match season {
        Ok(season) => season,
        Err(error @ NoSeason::NotOnRecord { .. }) => bail!("{error}; pick one with --year"),
        Err(error) => return Err(error.into()),
    };
    if let Some(file) = &options.html {
        write_page(file, &page::page(&season)?)?;
        if !options.json {
            say!("{} written", file.display());
        }
    }
    if options.json {
        say!("{}", serde_json::to_string_pretty(&season.values())?);
    } else if options.html.is_none() {
        super::print(format_args!("{}", text::text(&season)));
    }
    Ok(ExitCode::SUCCESS)
}

/// Writes a page; a file that is no such page is left alone.
fn write_page(file: &Path, page: &str) -> anyhow::Result<()> {
    match std::fs::read_to_string(file) {
        Ok(old) if !old.contains(page::MARK) => bail!(
            "{} exists and is no page of this command; it was left as it is. Name another file",
            file.display()
        ),
        Err(error) if error.kind() == std::io::ErrorKind::InvalidData => bail!(
            "{} exists and is no page of this command; it was left as it is. Name another file",
            file.display()
        ),
        _ => {}
    }
    std::fs::write(file, page)
        .with_context(|| format!("the page cannot be written to {}", file.display()))
}
