//! `hatchbell log note`: logs a remark, or whether grubs did damage.

use super::{EntryOptions, enter, open, or_exit, say};
use crate::domain::journal::JournalAction;
use crate::entries::logged;
use clap::Args;
use std::process::ExitCode;

/// Anything else: damage seen or not, a remark
#[derive(Args)]
pub(super) struct NoteOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// Whether grubs did damage
    #[arg(long, value_name = "yes|no", value_parser = yes_or_no)]
    damage: Option<bool>,
}

pub(super) fn run(options: &NoteOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    let mut journal = open(&config, &options.entry.site)?;
    let action = JournalAction::Note {
        damage: options.damage,
    };
    let entry = enter(&mut journal, &options.entry, action, true)?;
    say!("{}", logged(&journal, &entry));
    if let Some(said) = journal.damage_said(&entry)? {
        say!("{said}");
    }
    Ok(ExitCode::SUCCESS)
}

/// "yes" or "no".
pub(super) fn yes_or_no(text: &str) -> Result<bool, String> {
    match text {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err("say yes or no".to_owned()),
    }
}
