//! `hatchbell import --list` and `--undo`: what was taken in, batch by batch.

use super::width::hanging;
use super::{counted, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::store::Store;
use crate::store::batches::{Batch, BatchKind, OpenBatch};
use crate::store::readings::Merged;
use crate::store::undo::Undone;
use anyhow::bail;
use chrono::NaiveDate;
use std::process::ExitCode;

/// Stations of a batch that are listed; more are summed up.
const STATIONS_SHOWN: usize = 5;

/// Days left alone that are named; more are counted.
const DAYS_NAMED: usize = 3;

/// What a merge did.
pub(super) fn in_words(merged: Merged) -> String {
    let mut text = format!(
        "{} added, {} completed, {} revised, {} as they were",
        counted(merged.added, "day"),
        counted(merged.completed, "day"),
        counted(merged.revised, "value"),
        merged.unchanged,
    );
    if merged.withdrawn > 0 {
        text += &format!(", {} taken back", counted(merged.withdrawn, "value"));
    }
    if merged.rain > 0 {
        text += &format!(", {} of rain", counted(merged.rain, "day"));
    }
    text
}

/// How to take a batch back, if there is anything to take back.
pub(super) fn batch_line(batch: &OpenBatch) -> Option<String> {
    let number = batch.number()?;
    Some(format!(
        "batch {number}; to take it back: hatchbell import --undo {number}"
    ))
}

/// What a batch changed.
fn changes(merged: Merged) -> String {
    let counts = [
        (merged.added, "day", "added"),
        (merged.removed, "day", "removed"),
        (merged.completed, "day", "completed"),
        (merged.revised, "value", "revised"),
        (merged.withdrawn, "value", "taken back"),
        (merged.rain, "day", "of rain"),
    ];
    let counts: Vec<String> = counts
        .into_iter()
        .filter(|(count, ..)| *count > 0)
        .map(|(count, unit, what)| format!("{} {what}", counted(count, unit)))
        .collect();
    match counts.is_empty() {
        true => "nothing".to_owned(),
        false => counts.join(", "),
    }
}

pub(super) fn list(config: &Config, station: Option<&str>, most: u32) -> anyhow::Result<ExitCode> {
    let store = Store::open_to_read(&config.service.database)?;
    let most = most as usize;
    // One more, to know whether there are more.
    let mut batches = store.batches(station, most.saturating_add(1))?;
    if batches.is_empty() {
        match station {
            Some(station) => say!("nothing of {station} was imported or revised so far"),
            None => say!("nothing was imported or revised so far"),
        }
        return Ok(ExitCode::SUCCESS);
    }
    let has_more = batches.len() > most;
    batches.truncate(most);
    let mut text = String::new();
    for batch in &batches {
        text += &listed(batch, station);
    }
    if has_more {
        let rest = format!("earlier ones: --most {}", most.saturating_mul(2));
        text += &hanging("", &rest);
    }
    say!("{}", text.trim_end());
    Ok(ExitCode::SUCCESS)
}

/// A batch in a few lines.
fn listed(batch: &Batch, only: Option<&str>) -> String {
    let what = match (batch.kind, batch.undoes) {
        (BatchKind::Undo, Some(undone)) => format!("undo of {undone}, {}", batch.what),
        (kind, _) => format!("{}, {}", kind.name(), batch.what),
    };
    let mut head = format!(
        "{}  {} UTC  {what}",
        batch.number,
        batch.at.format("%Y-%m-%d %H:%M")
    );
    if let Some(by) = batch.undone_by {
        head += &format!("; undone by {by}");
    }
    let mut text = hanging("", &head);
    for line in station_lines(&batch.stations, only) {
        text += &hanging("    ", &line);
    }
    if batch.archived > 0 {
        let values = counted(batch.archived, "value");
        text += &hanging(
            "    ",
            &format!("every station: {values}, which are not undone"),
        );
    }
    text
}

/// What a batch did to each station, a line each; many are summed up.
fn station_lines(stations: &[(String, Merged)], only: Option<&str>) -> Vec<String> {
    let shown = |(id, _): &&(String, Merged)| only.is_none_or(|only| only == id);
    let stations: Vec<&(String, Merged)> = stations.iter().filter(shown).collect();
    let (named, more) = stations.split_at(stations.len().min(STATIONS_SHOWN));
    let mut lines: Vec<String> = named
        .iter()
        .map(|(id, merged)| format!("{id}: {}", changes(*merged)))
        .collect();
    if !more.is_empty() {
        let mut sum = Merged::default();
        more.iter().for_each(|(_, merged)| sum += *merged);
        let count = counted(more.len(), "more station");
        lines.push(format!("{count}: {}", changes(sum)));
    }
    lines
}

pub(super) fn undo(config: &Config, number: i64, dry_run: bool) -> anyhow::Result<ExitCode> {
    let database = &config.service.database;
    if !database.exists() {
        bail!("there is no database at {} yet", database.display());
    }
    let mut store = Store::open(database)?;
    let undone = store.undo_batch(number, dry_run, Clock::Machine.now())?;
    for line in told(&undone, number) {
        say!("{}", hanging("", &line).trim_end());
    }
    if dry_run {
        say!("nothing was changed (--dry-run)");
    } else {
        let number = undone.number;
        say!("this is batch {number}; to bring it back: hatchbell import --undo {number}");
    }
    Ok(ExitCode::SUCCESS)
}

/// What an undo did, line by line.
fn told(undone: &Undone, number: i64) -> Vec<String> {
    let of = &undone.of;
    let mut lines = vec![format!(
        "undoes batch {number} of {} UTC, {}, {}",
        of.at.format("%Y-%m-%d %H:%M"),
        of.kind.name(),
        of.what
    )];
    lines.extend(station_lines(&undone.stations, None));
    lines.extend(left_alone(&undone.left_alone));
    if undone.refused > 0 {
        lines.push(format!(
            "{} the feed said then are not taken in again until it says something else; to have them all the same, import the file",
            counted(undone.refused, "value")
        ));
    }
    if of.archived > 0 {
        lines.push("what was kept of every station stays as it is".to_owned());
    }
    lines
}

fn left_alone(days: &[(String, NaiveDate)]) -> Option<String> {
    let named: Vec<String> = days
        .iter()
        .take(DAYS_NAMED)
        .map(|(station, day)| format!("{day} of {station}"))
        .collect();
    let more = days.len().checked_sub(named.len()).filter(|more| *more > 0);
    let more = more.map_or(String::new(), |more| format!(" and {more} more"));
    (!named.is_empty()).then(|| {
        format!(
            "left alone, because it has changed since: {}{more}; undo the later batches first to reach it",
            named.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_many_stations_five_are_named_and_the_others_summed_up() {
        let of = |place: usize| {
            let merged = Merged {
                added: place,
                ..Merged::default()
            };
            (format!("s{place}"), merged)
        };
        let stations: Vec<_> = (1..=7).map(of).collect();
        let lines = station_lines(&stations, None);
        assert_eq!(lines.len(), 6);
        assert_eq!(lines[4], "s5: 5 days added");
        assert_eq!(lines[5], "2 more stations: 13 days added");
        assert_eq!(station_lines(&stations, Some("s7")), ["s7: 7 days added"]);
    }

    #[test]
    fn of_many_days_left_alone_three_are_named_and_the_others_counted() {
        let day = |place| NaiveDate::from_ymd_opt(2026, 6, place).unwrap();
        let days: Vec<_> = (1..=5)
            .map(|place| ("hill".to_owned(), day(place)))
            .collect();
        let text = left_alone(&days).unwrap();
        assert!(
            text.contains("2026-06-03 of hill and 2 more; undo"),
            "{text}"
        );
        assert_eq!(left_alone(&[]), None);
    }
}
