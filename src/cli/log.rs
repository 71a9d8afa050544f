//! `hatchbell log`: what people did and saw. One file for each command; [`Journal`] enters.

use super::{ShownConfig, or_exit, say, say_wrapped, today};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::site_states;
use crate::domain::journal::{Entry, JournalAction, check};
use crate::domain::place::site::Site;
use crate::domain::treatment::need::{Brood, Broods};
use crate::report::season::season_on;
use crate::store::Store;
use anyhow::{anyhow, bail};
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
mod undo;
mod words;

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
    Application(application::ApplicationOptions),
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
struct Journal<'c> {
    config: &'c Config,
    site: &'c Site,
    store: Store,
    today: NaiveDate,
}

impl<'c> Journal<'c> {
    fn open(config: &'c Config, site: &str) -> anyhow::Result<Self> {
        let site = super::site(config, site)?;
        let store = Store::open(&config.service.database)?;
        let today = today(config, &store)?;
        Ok(Self {
            config,
            site,
            store,
            today,
        })
    }

    /// Enters what was done or seen, if nothing speaks against it.
    fn enter(
        &mut self,
        options: &EntryOptions,
        action: JournalAction,
        any_season: bool,
    ) -> anyhow::Result<Entry> {
        let day = options.date.unwrap_or(self.today);
        let remark = options.remark.as_deref().and_then(plain);
        let (today, start) = (self.today, self.earliest(any_season));
        let may =
            |entries: &[Entry]| Ok::<_, anyhow::Error>(check(&action, day, entries, today, start)?);
        let now = Clock::Machine.now();
        let number = self
            .store
            .log_if(&self.site.id, day, &action, remark.as_deref(), now, may)?;
        Ok(Entry {
            number,
            site: self.site.id.clone(),
            day,
            action,
            remark,
        })
    }

    /// The first day of this season, before which applications are refused; `None` allows any.
    fn earliest(&self, any_season: bool) -> Option<NaiveDate> {
        let season = season_on(self.config, self.site, self.today)?;
        (!any_season).then_some(season.start)
    }

    /// Whose larvae a day speaks of, by how things stand today.
    fn brood(&self, species: &str, day: NaiveDate) -> anyhow::Result<Option<Brood>> {
        let site_states = site_states(self.config, &self.store, self.today)?;
        Ok(site_states
            .iter()
            .find(|here| here.site.id == self.site.id && here.species.id == species)
            .map(|here| Broods::of(&here.species, here.site.latitude, &here.state).on(day)))
    }

    /// "The lawn, 2026-06-08", for an entry.
    fn place(&self, entry: &Entry) -> String {
        format!("{}, {}", self.site.name, entry.day)
    }
}

/// A species must be one that a site is watched for.
pub(super) fn watched(site: &Site, species: &str) -> anyhow::Result<()> {
    if site.species.iter().any(|id| id == species) {
        return Ok(());
    }
    bail!(
        "{} is not watched for \"{species}\"; its species are {}",
        site.id,
        site.species.join(", ")
    )
}

/// A remark on one line; `None` if it is blank.
fn plain(remark: &str) -> Option<String> {
    let words: Vec<&str> = remark
        .split(|c: char| c.is_whitespace() || c.is_control())
        .filter(|word| !word.is_empty())
        .collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// An entry that stands, by its number.
fn entry(store: &Store, number: i64) -> anyhow::Result<Entry> {
    store
        .entry(number)?
        .ok_or_else(|| anyhow!("there is no entry {number} that stands; see log list"))
}
