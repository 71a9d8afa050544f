//! `hatchbell log`: what people did and saw. One file for each command; [`crate::entries`] has
//! the rules.

use super::{ShownConfig, or_exit, say, say_wrapped, today};
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::journal::{Entry, JournalAction};
use crate::entries::{Journal, NewEntry, plain};
use crate::store::Store;
use anyhow::anyhow;
use chrono::NaiveDate;
use clap::{Args, Subcommand};
use std::process::ExitCode;

mod application;
mod catch;
mod count;
mod edit;
mod irrigation;
mod list;
mod note;
mod record;
mod undo;

/// Note what was done or seen at a site
///
/// Applications, counts, catches of adults, irrigation and notes. The service plans with them:
/// a first catch re-anchors the season, a count says what need be done, an application is watched
/// until it is watered in. Nothing is ever deleted: an entry is corrected or taken back by its
/// number.
#[derive(Args)]
pub(super) struct LogOptions {
    #[command(subcommand)]
    command: LogCommand,
}

#[derive(Subcommand)]
enum LogCommand {
    Application(Box<application::ApplicationOptions>),
    Count(count::CountOptions),
    Irrigation(irrigation::IrrigationOptions),
    Note(note::NoteOptions),
    Catch(catch::CatchOptions),
    Edit(Box<edit::EditOptions>),
    Undo(undo::UndoOptions),
    List(list::ListOptions),
}

/// What every new entry says.
#[derive(Args)]
struct EntryOptions {
    #[command(flatten)]
    config: ShownConfig,
    /// The site, by its id
    #[arg(long, value_name = "ID")]
    site: String,
    /// The day; today if it is left out
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    date: Option<NaiveDate>,
    /// A remark to keep with it
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
}

pub(super) fn run(options: &LogOptions) -> anyhow::Result<ExitCode> {
    match &options.command {
        LogCommand::Application(options) => application::run(options),
        LogCommand::Count(options) => count::run(options),
        LogCommand::Irrigation(options) => irrigation::run(options),
        LogCommand::Note(options) => note::run(options),
        LogCommand::Catch(options) => catch::run(options),
        LogCommand::Edit(options) => edit::run(options),
        LogCommand::Undo(options) => undo::run(options),
        LogCommand::List(options) => list::run(options),
    }
}

/// The journal of a site, open for entering.
fn open<'c>(config: &'c Config, site: &str) -> anyhow::Result<Journal<'c>> {
    let site = super::site(config, site)?;
    let store = Store::open(&config.service.database)?;
    let today = today(config, &store)?;
    Ok(Journal {
        config,
        site,
        store,
        today,
        now: Clock::Machine.now(),
        line: None,
    })
}

/// Enters what was done or seen, if nothing speaks against it.
fn enter(
    journal: &mut Journal<'_>,
    options: &EntryOptions,
    action: JournalAction,
    any_season: bool,
) -> anyhow::Result<Entry> {
    Ok(journal.enter(NewEntry {
        day: options.date.unwrap_or(journal.today),
        action,
        remark: options.remark.as_deref().and_then(plain),
        any_season,
        key: None,
    })?)
}

/// An entry that stands, by its number.
fn entry(store: &Store, number: i64) -> anyhow::Result<Entry> {
    store
        .entry(number)?
        .ok_or_else(|| anyhow!("there is no entry {number} that stands; see log list"))
}
