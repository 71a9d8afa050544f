//! `hatchbell doctor`: what is wrong with the installation, on one page, each with what to do.

use super::terminal::{bold, printable};
use super::width::hanging;
use super::{ConfigOption, configuration_in_use, errors, or_exit, print, say, today};
use crate::clock::Clock;
use crate::config::load::Loaded;
use crate::cycle::clock_doubt;
use crate::report::browsers::browsers_in_use;
use crate::report::doctor::{DoctorPart, Examined, ExaminedDatabase, ExaminedDisk, examine};
use crate::report::status::{OnDisk, ShownSites, Status, StatusMoment};
use crate::store::backup::{free_bytes, kept_copies};
use crate::store::{Store, StoreError};
use crate::surroundings::{folder_of, look};
use chrono::{DateTime, Utc};
use clap::Args;
use std::path::Path;
use std::process::ExitCode;

/// Examine the installation: everything that can be wrong, on one page, each with what to do
///
/// Looks at the configuration and what it names on this machine, whether the database is sound, at the
/// room on its disk, the clock, whether the service runs its cycles, at stations, milestones that are
/// held, and the outbox. Changes nothing and uses no network: `hatchbell check --online` does. Exit code
/// 0 if all is well, 3 if not, 78 if the configuration cannot be used. Run it as the user the service
/// runs as.
#[derive(Args)]
pub(super) struct DoctorOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
}

/// Exit code if something is wrong, as of `status --problems`.
const EXIT_PROBLEMS: u8 = 3;

pub(super) fn run(options: &DoctorOptions) -> anyhow::Result<ExitCode> {
    let loaded = or_exit!(configuration_in_use(&options.config.config));
    let now = Clock::Machine.now();
    let path = &loaded.config.service.database;
    let problems = look(&loaded, now);
    let page = examine(&Examined {
        config: &loaded.config,
        is_usable: errors(&problems) == 0,
        configuration: problems.iter().map(ToString::to_string).collect(),
        database: database(&loaded, now).map_err(|error| format!("{error:#}")),
        disk: disk(path),
        now,
    });
    if options.json {
        say!("{}", serde_json::to_string_pretty(&page)?);
    } else {
        say!(
            "{}, {}",
            printable(&loaded.config.service.name),
            now.format("%Y-%m-%d %H:%M UTC")
        );
        for part in &page {
            print(format_args!("{}", text(part)));
        }
    }
    Ok(match page.iter().all(|part| part.well) {
        true => ExitCode::SUCCESS,
        false => ExitCode::from(EXIT_PROBLEMS),
    })
}

fn database(loaded: &Loaded, now: DateTime<Utc>) -> anyhow::Result<ExaminedDatabase> {
    let config = &loaded.config;
    let store = Store::open_to_read(&config.service.database)?;
    let faults = store.faults()?;
    if !faults.is_empty() {
        return Ok(ExaminedDatabase {
            faults,
            status: None,
            clock_doubt: None,
            browsers: None,
        });
    }
    let moment = StatusMoment {
        today: today(config, &store)?,
        now,
        configuration: OnDisk::Usable(&loaded.standing.digest),
        faults: &loaded.standing.faults,
    };
    let status = Status::of(config, &store, ShownSites::default(), moment)?;
    Ok(ExaminedDatabase {
        faults,
        status: Some(status),
        clock_doubt: doubt(loaded, &store, now)?,
        browsers: browsers_in_use(config, &store)?,
    })
}

/// A demonstration has a clock of its own.
fn doubt(loaded: &Loaded, store: &Store, now: DateTime<Utc>) -> Result<Option<String>, StoreError> {
    if loaded.config.demo.is_some() {
        return Ok(None);
    }
    let doubt = clock_doubt(store, now)?;
    Ok(doubt.map(|doubt| doubt.reason().to_owned()))
}

fn disk(database: &Path) -> ExaminedDisk {
    let copies = kept_copies(database).into_iter();
    // Before the first start the folder may still have to be made.
    let folder = folder_of(database).ancestors().find(|one| one.exists());
    ExaminedDisk {
        free: folder.and_then(|folder| free_bytes(folder).ok()),
        database: database.metadata().map_or(0, |found| found.len()),
        copies: copies
            .map(|(path, bytes)| (path.display().to_string(), bytes))
            .collect(),
    }
}

fn text(part: &DoctorPart) -> String {
    let (mark, name) = match part.well {
        true => ("ok", part.part.to_owned()),
        false => ("! ", bold(part.part)),
    };
    let mut text = String::new();
    match part.what.as_slice() {
        [what] => text += &hanging("", &printable(&format!("{mark} {name}: {what}"))),
        several => {
            text += &format!("{mark} {name}\n");
            for what in several {
                text += &hanging("   ", &printable(&format!("- {what}")));
            }
        }
    }
    if let Some(to_do) = &part.to_do {
        text += &hanging("   ", &format!("To do: {to_do}."));
    }
    text
}
