//! `hatchbell log irrigation`: logs water that was given.

use super::{EntryOptions, enter, open, or_exit, say};
use crate::domain::journal::JournalAction;
use crate::domain::journal::amount::Depth;
use crate::entries::logged;
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
    let mut journal = open(&config, &options.entry.site)?;
    let action = JournalAction::Irrigation {
        depth: options.depth,
    };
    let entry = enter(&mut journal, &options.entry, action, true)?;
    say!("{}", logged(&journal, &entry));
    Ok(ExitCode::SUCCESS)
}
