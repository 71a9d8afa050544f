//! `hatchbell log note`: logs a remark, or whether grubs did damage.

use super::{EntryOptions, Journal, or_exit, plain, say, words};
use crate::domain::journal::{Entry, JournalAction};
use crate::notify::wording::what_damage_counts_for;
use anyhow::bail;
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
    says_something(options.damage, options.entry.remark.as_deref())?;
    let mut journal = Journal::open(&config, &options.entry.site)?;
    let action = JournalAction::Note {
        damage: options.damage,
    };
    let entry = journal.enter(&options.entry, action, true)?;
    let remark = entry.remark.as_ref();
    say!(
        "logged as number {}: {}{}. {}.",
        entry.number,
        words::action(&entry.action, &journal.config.service.notation),
        remark.map_or(String::new(), |remark| format!(" (\"{remark}\")")),
        journal.place(&entry)
    );
    tell(&journal, &entry)?;
    Ok(ExitCode::SUCCESS)
}

/// What noted damage counts for.
pub(super) fn tell(journal: &Journal<'_>, entry: &Entry) -> anyhow::Result<()> {
    if let (JournalAction::Note { damage: Some(_) }, Some(species)) =
        (&entry.action, journal.site.species.first())
        && let Some(brood) = journal.brood(species, entry.day)?
    {
        say!("{}", what_damage_counts_for(brood));
    }
    Ok(())
}

/// A note without damage and without a remark says nothing.
pub(super) fn says_something(damage: Option<bool>, remark: Option<&str>) -> anyhow::Result<()> {
    if damage.is_none() && remark.and_then(plain).is_none() {
        bail!(
            "a note needs something to say: --remark \"turf lifts like a carpet\", or --damage yes or no"
        );
    }
    Ok(())
}

/// "yes" or "no".
pub(super) fn yes_or_no(text: &str) -> Result<bool, String> {
    match text {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err("say yes or no".to_owned()),
    }
}
