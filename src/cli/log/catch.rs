//! `hatchbell log catch`: logs a first catch of adults, with what it moves.

use super::{EntryOptions, enter, open, or_exit, say};
use crate::domain::journal::JournalAction;
use crate::entries::{NotEntered, watched};
use clap::Args;
use std::process::ExitCode;

/// A trap catch or first sighting of adult beetles
///
/// Catches move the season there: flight has begun by the first one, and all stages move by what
/// first catch, peak (with --beetles on several days) and last catch (an empty trap after it:
/// --beetles 0) say beside the published table. In later years they go on to speak.
#[derive(Args)]
pub(super) struct CatchOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// The species, by its id
    #[arg(long, value_name = "ID")]
    species: String,
    /// How many were found; 0 for an empty trap
    #[arg(long, value_name = "NUMBER")]
    beetles: Option<u32>,
    /// It was seen, though the sum of the day is far from the species' table
    #[arg(long)]
    sure: bool,
}

pub(super) fn run(options: &CatchOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    watched(
        crate::cli::site(&config, &options.entry.site)?,
        &options.species,
    )?;
    let mut journal = open(&config, &options.entry.site)?;
    let action = JournalAction::Catch {
        species: options.species.clone(),
        beetles: options.beetles,
    };
    let day = options.entry.date.unwrap_or(journal.today);
    if let Some(compared) = journal.compare_catch(&options.species, day)? {
        if compared.is_doubted && !options.sure && options.beetles != Some(0) {
            return Err(NotEntered::EarlyCatch(compared.words).into());
        }
        say!("{}", compared.words);
    }
    let entry = enter(&mut journal, &options.entry, action, true)?;
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
