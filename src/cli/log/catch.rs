//! `hatchbell log catch`: logs a first catch of adults, with what it moves.

use super::{EntryOptions, Journal, or_exit, say, watched};
use crate::cycle::site_states;
use crate::domain::journal::JournalAction;
use crate::domain::phenology::milestone::Milestone;
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// A trap catch or first sighting of adult beetles
///
/// A first catch of adults re-anchors the season there: flight is what was seen, and later
/// milestones move with it. In later years it goes on to speak beside the published threshold.
#[derive(Args)]
pub(super) struct CatchOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// The species, by its id
    #[arg(long, value_name = "ID")]
    species: String,
    /// It was seen, though the sum of the day is far from the species' table
    #[arg(long)]
    sure: bool,
}

/// A first catch is doubted below this share of the low end of the table's range. A choice; a late
/// one is no wonder, since the first adults may have gone unseen.
const DOUBTED: f64 = 0.5;

pub(super) fn run(options: &CatchOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    watched(
        crate::cli::site(&config, &options.entry.site)?,
        &options.species,
    )?;
    let mut journal = Journal::open(&config, &options.entry.site)?;
    let action = JournalAction::Catch {
        species: options.species.clone(),
    };
    let day = options.entry.date.unwrap_or(journal.today);
    let site_states = site_states(&config, &journal.store, day.min(journal.today))?;
    let here = site_states
        .iter()
        .find(|here| here.site.id == journal.site.id && here.species.id == options.species);
    let table = config.species[&options.species].threshold(Milestone::AdultFlight);
    let (low, high) = table.range.unwrap_or((table.value, table.value));
    if let Some(here) = here {
        let sum = here.state.degree_days;
        let notation = &config.service.notation;
        let compared = format!(
            "The sum on that day was {}; the table has flight at {} ({} to {}).",
            notation.degree_days(sum),
            notation.degree_days(table.value),
            notation.degree_days(low),
            notation.degree_days(high)
        );
        // A first catch moves every later date, so one that cannot be is not let in by mistake.
        let is_known = here.state.data_through >= Some(day) && here.state.hold.is_none();
        if is_known && !options.sure && sum < low * DOUBTED {
            bail!(
                "{compared} That is so early that nothing was logged: check day, site and species. If adults were seen all the same, say --sure"
            );
        }
        say!("{compared}");
    }
    let entry = journal.enter(&options.entry, action, true)?;
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
