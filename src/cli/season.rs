//! `hatchbell season`.

use super::{ConfigOption, DateOption, configuration, or_exit, say};
use crate::cycle::{look_back, seasons_on_record};
use crate::domain::place::site::{Member, Site};
use crate::store::Store;
use anyhow::{Context, bail};
use clap::Args;
use season_report::{ReviewedSite, SeasonReport};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

mod json;
mod page;
mod season_report;
mod text;
mod time_line;
mod words;

/// Look back on a site's season: what was told, what came, what was applied and counted
///
/// For each species of the site: when each milestone was first told and with which range, when it
/// came by the temperature sum, and how far off the notice was; for each application how much of
/// the hatch it met, against the best day, and how it was watered in; the counts before and after;
/// and everything that was told, day by day. The page is one file that can be printed.
#[derive(Args)]
pub(super) struct SeasonOptions {
    #[command(flatten)]
    config: ConfigOption,
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
    let config = or_exit!(configuration(&options.config.config)).config;
    let site = super::site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let running = super::log::season_on(&config, site, today).map(|season| season.year);
    let Some(year) = options.year.or(running) else {
        bail!("{} is watched for no species, so it has no season", site.id);
    };
    let known = seasons_on_record(&config, &store, site, today)?;
    let found = match known.contains(&year) {
        true => look_back(&config, &store, site, year, today)?,
        false => None,
    };
    let Some(season) = found else {
        bail!("{}", no_season(&site.id, year, &known));
    };
    let place = ReviewedSite {
        member: member_of(config.sites(), site).map_or("", |member| &member.name),
        site,
        station: config
            .station(&site.station)
            .map_or("", |feed| &feed.station.name),
        today,
    };
    if let Some(file) = &options.html {
        let page = page::page(&SeasonReport::of(&place, &season), &season)?;
        write_page(file, &page)?;
        if !options.json {
            say!("{} written", file.display());
        }
    }
    if options.json {
        say!(
            "{}",
            serde_json::to_string_pretty(&json::json(&place, &season))?
        );
    } else if options.html.is_none() {
        super::print(format_args!(
            "{}",
            text::text(&SeasonReport::of(&place, &season))
        ));
    }
    Ok(ExitCode::SUCCESS)
}

fn member_of<'c>(
    mut sites: impl Iterator<Item = (&'c Member, &'c Site)>,
    site: &Site,
) -> Option<&'c Member> {
    let found = sites.find(|(_, one)| one.id == site.id)?;
    Some(found.0)
}

/// Why there is nothing to look back on, and what there is.
fn no_season(site: &str, year: i32, known: &BTreeSet<i32>) -> String {
    if known.is_empty() {
        return format!(
            "nothing is known of {site} yet: no temperatures and nothing in its journal. Import a file of its station, or start the service"
        );
    }
    format!(
        "nothing is known of {site} in the season that starts in {year}: no temperatures and nothing in its journal. There are seasons of {}; pick one with --year",
        spans(known)
    )
}

/// "2016 to 2024, 2026".
fn spans(years: &BTreeSet<i32>) -> String {
    let mut spans: Vec<(i32, i32)> = Vec::new();
    for year in years {
        match spans.last_mut() {
            Some((_, to)) if *to + 1 == *year => *to = *year,
            _ => spans.push((*year, *year)),
        }
    }
    let words: Vec<String> = spans
        .iter()
        .map(|(from, to)| match to - from {
            0 => from.to_string(),
            _ => format!("{from} to {to}"),
        })
        .collect();
    words.join(", ")
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_in_a_row_are_named_by_the_first_and_the_last() {
        let years = BTreeSet::from([2016, 2017, 2018, 2020, 2026]);
        assert_eq!(spans(&years), "2016 to 2018, 2020, 2026");
    }
}
