//! Which configuration is in force, and whether the files on disk say something else.

use super::StatusMoment;
use crate::in_force::{Fault, InForce, Refused};
use crate::report::words::counted;
use chrono::{DateTime, Utc};
use serde::Serialize;

/// What the files on disk say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnDisk<'d> {
    /// A configuration that can be used, by its digest.
    Usable(&'d str),
    /// Nothing that can be used.
    Wrong {
        /// How many errors there are.
        errors: usize,
        /// The first.
        first: &'d str,
    },
}

/// The files on disk against what is in force.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DiskState {
    /// They are what the service runs with.
    Same,
    /// They say something else.
    Changed,
    /// They cannot be used.
    Wrong,
}

/// The configuration that the service runs with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ConfigurationStatus {
    /// Its first file.
    pub file: String,
    /// When it was read.
    pub read_at: DateTime<Utc>,
    /// What the files on disk are against it.
    pub on_disk: DiskState,
    /// When a later one was refused.
    pub refused_at: Option<DateTime<Utc>>,
    /// Why.
    pub refused_why: Option<String>,
    /// What is wrong on disk, or does not go with it.
    #[serde(skip)]
    why: Option<String>,
}

impl ConfigurationStatus {
    pub(super) fn of(
        in_force: InForce,
        refused: Option<Refused>,
        moment: &StatusMoment<'_>,
    ) -> Self {
        let (on_disk, why) = match moment.configuration {
            OnDisk::Usable(digest) if digest == in_force.digest => (DiskState::Same, None),
            OnDisk::Usable(_) => (DiskState::Changed, None),
            OnDisk::Wrong { errors, first } => {
                let why = format!("{}, the first: {first}", counted(errors, "error"));
                (DiskState::Wrong, Some(why))
            }
        };
        let (refused_at, refused_why) = match refused {
            Some(refused) => (Some(refused.at), Some(refused.why)),
            None => (None, None),
        };
        Self {
            file: in_force.file,
            read_at: in_force.read_at,
            on_disk,
            refused_at,
            refused_why,
            why,
        }
    }

    /// What it is, in words.
    pub fn in_words(&self) -> String {
        format!(
            "configuration: {}, read {}",
            self.file,
            minute(self.read_at)
        )
    }

    /// What is wrong, if anything is.
    pub(super) fn problem(&self) -> Option<String> {
        let read = minute(self.read_at);
        match (&self.on_disk, &self.why, &self.refused_at, &self.refused_why) {
            (DiskState::Same, ..) => None,
            (_, Some(why), ..) => Some(format!(
                "the configuration on disk cannot be used, so the one of {read} stays in force: {why}"
            )),
            (_, _, Some(at), Some(why)) => Some(format!(
                "the configuration has changed since the service read it; at {} it was refused: {why}",
                minute(*at)
            )),
            _ => Some(
                "the configuration has changed since the service read it: check it, then hatchbell \
                 reload"
                    .to_owned(),
            ),
        }
    }
}

/// What becomes of a member whose tables have a mistake, in a line.
pub fn fault_line(fault: &Fault) -> String {
    let becomes = match fault.goes_on {
        true => "goes on as last configured",
        false => "is left out",
    };
    let first = fault.problems.first().map_or("", String::as_str);
    let count = counted(fault.problems.len(), "mistake");
    format!("{} {becomes}: {count}, the first: {first}", fault.subject)
}

fn minute(instant: DateTime<Utc>) -> String {
    instant.format("%Y-%m-%d %H:%M UTC").to_string()
}
