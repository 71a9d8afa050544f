//! `hatchbell log undo`: takes an entry back.

use super::{ShownConfig, or_exit, say};
use crate::clock::Clock;
use crate::store::Store;
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// Take an entry back, by its number
#[derive(Args)]
pub(super) struct UndoOptions {
    #[command(flatten)]
    config: ShownConfig,
    /// The number that `log list` shows
    number: i64,
}

pub(super) fn run(options: &UndoOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let store = Store::open(&config.service.database)?;
    if !store.undo(options.number, Clock::Machine.now())? {
        bail!(
            "there is no entry {} that stands; see log list",
            options.number
        );
    }
    say!("entry {} no longer counts", options.number);
    Ok(ExitCode::SUCCESS)
}
