//! `hatchbell log edit`: replaces an entry by a corrected one.

use super::count::CountValues;
use super::record::RecordOptions;
use super::{ShownConfig, application, count, entry, note, open, or_exit, say};
use crate::domain::journal::amount::{Depth, Rate};
use crate::domain::journal::{Application, Entry, JournalAction};
use crate::domain::notation::Notation;
use crate::entries::{Journal, NewEntry, known_option, plain, watched, whole_action};
use crate::store::Store;
use anyhow::{Context, bail};
use chrono::NaiveDate;
use clap::Args;
use std::process::ExitCode;

/// Correct an entry, by its number
///
/// What is not given stays as it was. The corrected entry gets a number of its own; the old one no
/// longer counts, but stays in the database. The site stays: for another one, undo the entry and
/// log it anew.
#[derive(Args)]
pub(super) struct EditOptions {
    #[command(flatten)]
    config: ShownConfig,
    /// The number that `log list` shows
    number: i64,
    /// The day
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = crate::cli::day)]
    date: Option<NaiveDate>,
    /// The remark; "" takes it away
    #[arg(long, value_name = "TEXT")]
    remark: Option<String>,
    /// Of a catch or count: the species, by its id
    #[arg(long, value_name = "ID")]
    species: Option<String>,
    /// Of a catch: how many beetles; 0 for an empty trap
    #[arg(long, value_name = "NUMBER")]
    beetles: Option<u32>,
    /// Of an application: what was spread, by the id of the option
    #[arg(long, value_name = "ID")]
    option: Option<String>,
    /// Of an application: the turf it went on; of a count: the area of one sample
    #[arg(long, value_name = "AREA", allow_hyphen_values = true)]
    area: Option<String>,
    /// Of an application: the rate
    #[arg(long, value_name = "RATE", allow_hyphen_values = true)]
    rate: Option<Rate>,
    /// Of an application: the most a season may have by the label
    #[arg(long, value_name = "RATE", allow_hyphen_values = true)]
    most_a_season: Option<Rate>,
    /// Of an application: allow a day before this season
    #[arg(long)]
    earlier_season: bool,
    #[command(flatten, next_help_heading = "Of a count")]
    values: CountValues,
    /// Of an irrigation: how deep
    #[arg(
        long,
        value_name = "DEPTH",
        allow_hyphen_values = true,
        help_heading = None
    )]
    depth: Option<Depth>,
    /// Of a note: whether grubs did damage
    #[arg(long, value_name = "yes|no", value_parser = note::yes_or_no, help_heading = None)]
    damage: Option<bool>,
    #[command(flatten, next_help_heading = "Of an application, for the record")]
    record: RecordOptions,
}

pub(super) fn run(options: &EditOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
    let old = entry(
        &Store::open_to_read(&config.service.database)?,
        options.number,
    )?;
    options.fit(&old)?;
    let mut journal = open(&config, &old.site)
        .with_context(|| format!("entry {} cannot be changed", old.number))?;
    let new = NewEntry {
        day: options.date.unwrap_or(old.day),
        action: options.action(&journal, &old.action)?,
        remark: match &options.remark {
            Some(remark) => plain(remark),
            None => old.remark.clone(),
        },
        any_season: options.earlier_season,
        key: None,
    };
    let new = journal.replace(&old, new)?;
    say!("entry {} is now number {}:", old.number, new.number);
    say!("  was  {}", in_words(&old, &config.service.notation));
    say!("  is   {}", in_words(&new, &config.service.notation));
    match &new.action {
        JournalAction::Application(_) => application::tell_season(&journal, &new)?,
        JournalAction::Count { .. } => count::tell(&journal, &new)?,
        JournalAction::Note { .. } => {
            if let Some(said) = journal.damage_said(&new)? {
                say!("{said}");
            }
        }
        JournalAction::Catch { .. } => say!(
            "The next cycle plans with it; hatchbell outlook {} shows it now.",
            new.site
        ),
        JournalAction::Irrigation { .. } => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn in_words(entry: &Entry, notation: &Notation) -> String {
    let remark = entry
        .remark
        .as_ref()
        .map_or(String::new(), |remark| format!(" (\"{remark}\")"));
    format!(
        "{}  {}{remark}",
        entry.day,
        whole_action(&entry.action, notation)
    )
}

/// What can be changed of each kind, beside day and remark.
fn changeable(action: &JournalAction) -> &'static [&'static str] {
    match action {
        JournalAction::Catch { .. } => &["species", "beetles"],
        JournalAction::Application(_) => &[
            "option",
            "area",
            "rate",
            "most-a-season",
            "earlier-season",
            "product",
            "registration",
            "part",
            "started",
            "ended",
            "applicator",
            "certificate",
            "target",
            "wind",
            "wind-from",
            "temperature",
        ],
        JournalAction::Count { .. } => &[
            "species", "larvae", "samples", "each", "area", "per-m2", "per-ft2",
        ],
        JournalAction::Irrigation { .. } => &["depth"],
        JournalAction::Note { .. } => &["damage"],
    }
}

impl EditOptions {
    /// The names of what was given, beside day and remark.
    fn given(&self) -> Vec<&'static str> {
        let own = [
            ("species", self.species.is_some()),
            ("beetles", self.beetles.is_some()),
            ("option", self.option.is_some()),
            ("area", self.area.is_some()),
            ("rate", self.rate.is_some()),
            ("most-a-season", self.most_a_season.is_some()),
            ("earlier-season", self.earlier_season),
            ("depth", self.depth.is_some()),
            ("damage", self.damage.is_some()),
        ];
        own.into_iter()
            .filter_map(|(name, given)| given.then_some(name))
            .chain(self.record.given())
            .chain(self.values.given())
            .collect()
    }

    /// Whether what was given fits the kind of the entry.
    fn fit(&self, old: &Entry) -> anyhow::Result<()> {
        let allowed = changeable(&old.action);
        let listed = || {
            let all: Vec<String> = ["date", "remark"]
                .iter()
                .chain(allowed)
                .map(|name| format!("--{name}"))
                .collect();
            all.join(", ")
        };
        let strange: Vec<String> = self
            .given()
            .into_iter()
            .filter(|name| !allowed.contains(name))
            .map(|name| format!("--{name}"))
            .collect();
        if !strange.is_empty() {
            bail!(
                "number {} is of the kind {}, which has no {}; nothing was changed. It has {}",
                old.number,
                old.action.kind(),
                strange.join(" and no "),
                listed()
            );
        }
        if self.given().is_empty() && self.date.is_none() && self.remark.is_none() {
            bail!(
                "say what to change of number {} (of the kind {}): {}",
                old.number,
                old.action.kind(),
                listed()
            );
        }
        Ok(())
    }

    /// The deed with what was given in the place of what was there.
    fn action(&self, journal: &Journal<'_>, old: &JournalAction) -> anyhow::Result<JournalAction> {
        let species = |old: &String| -> anyhow::Result<String> {
            match &self.species {
                Some(species) => {
                    watched(journal.site, species)?;
                    Ok(species.clone())
                }
                None => Ok(old.clone()),
            }
        };
        Ok(match old {
            JournalAction::Catch {
                species: old,
                beetles,
            } => JournalAction::Catch {
                species: species(old)?,
                beetles: self.beetles.or(*beetles),
            },
            JournalAction::Application(old) => JournalAction::Application(Application {
                option: match &self.option {
                    Some(option) => known_option(journal.config, option)?.id.clone(),
                    None => old.option.clone(),
                },
                area: match &self.area {
                    Some(area) => area.parse()?,
                    None => old.area,
                },
                rate: self.rate.or(old.rate),
                most_a_season: self.most_a_season.or(old.most_a_season),
                record: Box::new(self.record.changed(&old.record)),
            }),
            JournalAction::Count {
                species: old_species,
                found,
            } => {
                let area = self.area.as_ref().map(|area| area.parse()).transpose()?;
                JournalAction::Count {
                    species: species(old_species)?,
                    found: self.values.changed(area, found)?,
                }
            }
            JournalAction::Irrigation { depth } => JournalAction::Irrigation {
                depth: self.depth.unwrap_or(*depth),
            },
            JournalAction::Note { damage } => JournalAction::Note {
                damage: self.damage.or(*damage),
            },
        })
    }
}
