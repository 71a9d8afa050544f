//! `hatchbell log irrigation`: logs water that was given.

use super::{EntryOptions, Journal, or_exit, say, words};
use crate::domain::journal::JournalAction;
use crate::domain::journal::amount::Depth;
use clap::Args;
use std::process::ExitCode;

/// Water put on the turf
#[derive(Args)]
pub(super) struct IrrigationOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// How deep: mm, cm, in or l/m2, for example 12mm
    #[arg(long, value_name = "DEPTH", allow_hyphen_values = true)]
    depth: Depth,
}

pub(super) fn run(options: &IrrigationOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    let mut journal = Journal::open(&config, &options.entry.site)?;
    let action = JournalAction::Irrigation {
        depth: options.depth,
    };
    let entry = journal.enter(&options.entry, action, true)?;
    say!(
        "logged as number {}: {}. {}.",
        entry.number,
        words::action(&entry.action, &journal.config.service.notation),
        journal.place(&entry)
    );
    Ok(ExitCode::SUCCESS)
}
