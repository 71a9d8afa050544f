//! `hatchbell log catch`.

use super::{EntryOptions, Journal, configuration, or_exit, say, watched};
use crate::cycle::site_standings;
use crate::domain::journal::Deed;
use crate::domain::milestone::Milestone;
use clap::Args;
use std::process::ExitCode;

/// A trap catch or first sighting of adult beetles
///
/// A first catch of adults re-anchors the season there: flight is what was seen, and later
/// milestones move with it. In later years it goes on to speak beside the published threshold.
#[derive(Args)]
pub(super) struct Options {
    #[command(flatten)]
    entry: EntryOptions,
    /// The species, by its id
    #[arg(long, value_name = "ID")]
    species: String,
}

pub(super) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.entry.config.config)).config;
    watched(
        crate::cli::site(&config, &options.entry.site)?,
        &options.species,
    )?;
    let mut journal = Journal::open(&config, &options.entry.site)?;
    let deed = Deed::Catch {
        species: options.species.clone(),
    };
    let entry = journal.enter(&options.entry, deed, true)?;
    let standings = site_standings(&config, &journal.store, entry.day)?;
    if let Some(here) = standings
        .iter()
        .find(|here| here.site.id == entry.site && here.species.id == options.species)
    {
        let table = config.species[&options.species].threshold(Milestone::AdultFlight);
        let (low, high) = table.range.unwrap_or((table.value, table.value));
        say!(
            "The sum on that day was {:.0} °C·d; the table has flight at {:.0} ({low:.0} to {high:.0}).",
            here.standing.degree_days,
            table.value
        );
    }
    say!(
        "logged as number {}: {} at {} on {}. The next cycle plans with it; hatchbell outlook {} shows it now.",
        entry.number,
        options.species,
        journal.site.name,
        entry.day,
        entry.site
    );
    Ok(ExitCode::SUCCESS)
}
