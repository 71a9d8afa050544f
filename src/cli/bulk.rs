//! `hatchbell import --bulk`: files of many stations, several at once.
//!
//! Readers take the files in turn, each in a thread; this thread stores what they hand on, file by
//! file in the order of the command line, so that the result does not depend on who is faster.

use super::batches::{batch_line, in_words};
use super::{counted, progress, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::yardstick;
use crate::feed::Rejection;
use crate::feed::bulk::{
    BulkError, BulkLimits, BulkPart, MOST_PACKED_AT_ONCE, WantedStations, read,
};
use crate::feed::fetch::Stream;
use crate::feed::vetting::{FileChanges, vet, vet_alone};
use crate::station_feed::StationFeed;
use crate::station_feed::dialect::Dialect;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::Refusals;
use crate::station_feed::version::FileMark;
use crate::store::Store;
use crate::store::batches::OpenBatch;
use crate::store::bulk::Archived;
use crate::store::readings::Merged;
use anyhow::{Context, bail};
use chrono::{DateTime, Utc};
use indicatif::ProgressBar;
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};

mod new_values;

use new_values::NewValues;

/// The dialect of these files.
const LONG_ROWS: &str = "ghcn-long";
/// The taker of a file that stands for the archive.
const ARCHIVE: &str = "every station";

/// Files that a batch names; more are counted.
const FILES_NAMED: usize = 3;

/// How files are imported.
#[derive(Clone, Copy)]
pub(super) struct BulkOptions {
    /// Stations that are not configured are kept too.
    pub every_station: bool,
    /// What is stored is no objection.
    pub replace: bool,
    /// Nothing is stored.
    pub dry_run: bool,
}

/// A file and what is wanted of it.
struct Job {
    path: PathBuf,
    mark: FileMark,
    stations: Vec<usize>,
    every_station: bool,
}

/// What a reader sends.
enum ReaderMessage {
    BulkPart(Box<BulkPart>),
    End(Result<u64, String>),
}

pub(super) fn run(
    config: &Config,
    files: &[PathBuf],
    options: BulkOptions,
) -> anyhow::Result<ExitCode> {
    let dialect = config
        .dialects
        .get(LONG_ROWS)
        .with_context(|| format!("the dialect {LONG_ROWS} is missing"))?;
    let stations = stations(config);
    if stations.is_empty() && !options.every_station {
        bail!(
            "no station has a code, so nothing can be found in these files; give the stations their GHCN codes, or use --every-station"
        );
    }
    let passing = tempfile::tempdir()?;
    let mut store = match options.dry_run {
        false => Store::open(&config.service.database)?,
        true if config.service.database.exists() => Store::open_to_read(&config.service.database)?,
        true => Store::open(&passing.path().join("none.db"))?,
    };
    store.expect_many_rows()?;
    let jobs = jobs(files, &stations, options, &store)?;
    let bar = progress::bytes(jobs.iter().map(|job| job.mark.bytes).sum());
    let import = Import {
        config,
        dialect,
        stations,
        options,
        now: Clock::Machine.now(),
        bar,
    };
    let mut into = Destination {
        batch: OpenBatch::of_import(named(&jobs)),
        store: &mut store,
        new: NewValues::default(),
    };
    let result = import.all(&jobs, &mut into);
    import.bar.finish_and_clear();
    if let Some(line) = batch_line(&into.batch) {
        say!("{line}");
    }
    let bad = result?;
    if options.dry_run {
        say!("nothing was stored (--dry-run)");
    } else {
        let new = std::mem::take(&mut into.new);
        new.screen(&import.stations, into.store, import.now)?;
        into.store.settle()?;
    }
    if bad == 0 {
        return Ok(ExitCode::SUCCESS);
    }
    eprintln!(
        "hatchbell: {} of {} not taken in full; the next import tries again",
        bad,
        counted(files.len(), "file")
    );
    Ok(ExitCode::FAILURE)
}

/// Stations with a code; the others are named.
fn stations(config: &Config) -> Vec<&StationFeed> {
    let (with, without): (Vec<_>, Vec<_>) = config
        .stations
        .values()
        .partition(|feed| feed.binding.code.is_some());
    for feed in without {
        say!("{}: has no code, so it is not looked for", feed.station.id);
    }
    with
}

fn taker(feed: &StationFeed) -> String {
    let code = feed.binding.code.as_deref().unwrap_or_default();
    format!("station {} by {code}", feed.station.id)
}

/// The files that are not finished. All are looked at before the first is read.
fn jobs(
    files: &[PathBuf],
    stations: &[&StationFeed],
    options: BulkOptions,
    store: &Store,
) -> anyhow::Result<Vec<Job>> {
    let mut jobs = Vec::new();
    let mut seen = BTreeSet::new();
    for path in files {
        let mark = FileMark::of(path)?;
        if !seen.insert(mark.path.clone()) {
            continue;
        }
        let mut job = Job {
            path: path.clone(),
            stations: Vec::new(),
            every_station: options.every_station && store.finished(&mark, ARCHIVE)?.is_none(),
            mark,
        };
        for (place, feed) in stations.iter().enumerate() {
            if options.replace || store.finished(&job.mark, &taker(feed))?.is_none() {
                job.stations.push(place);
            }
        }
        if job.stations.is_empty() && !job.every_station {
            say!("{}: imported before, passed over", path.display());
        } else {
            jobs.push(job);
        }
    }
    Ok(jobs)
}

/// The files as a batch names them.
fn named(jobs: &[Job]) -> String {
    let names = jobs.iter().map(|job| job.path.display().to_string());
    let shown: Vec<String> = names.take(FILES_NAMED).collect();
    match jobs.len() - shown.len() {
        0 => shown.join(", "),
        more => format!("{} and {}", shown.join(", "), counted(more, "more file")),
    }
}

/// The database while files are stored, and the batch they are.
struct Destination<'s> {
    store: &'s mut Store,
    batch: OpenBatch,
    new: NewValues,
}

struct Import<'c> {
    config: &'c Config,
    dialect: &'c Dialect,
    stations: Vec<&'c StationFeed>,
    options: BulkOptions,
    now: DateTime<Utc>,
    bar: ProgressBar,
}

impl Import<'_> {
    /// Reads and stores all files; returns how many were not taken in full.
    fn all(&self, jobs: &[Job], into: &mut Destination<'_>) -> anyhow::Result<usize> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let most = match self.options.every_station {
            true => cores.min(MOST_PACKED_AT_ONCE),
            false => cores,
        };
        let readers = jobs.len().min(most);
        let (senders, receivers): (Vec<_>, Vec<_>) = jobs.iter().map(|_| sync_channel(0)).unzip();
        let senders: Vec<_> = senders.into_iter().map(|s| Mutex::new(Some(s))).collect();
        let next = AtomicUsize::new(0);
        std::thread::scope(|scope| {
            for _ in 0..readers {
                scope.spawn(|| {
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let (Some(job), Some(sender)) = (jobs.get(index), senders.get(index))
                        else {
                            return;
                        };
                        let mut slot = sender.lock().unwrap_or_else(PoisonError::into_inner);
                        if let Some(sender) = slot.take() {
                            self.read(job, readers, &sender);
                        }
                    }
                });
            }
            let mut bad = 0;
            // By value: if storing fails, readers find nobody listening and give up.
            for (job, receiver) in jobs.iter().zip(receivers) {
                bad += usize::from(!self.store(job, &receiver, into)?);
            }
            Ok(bad)
        })
    }

    /// Reads a file in a reader's thread.
    fn read(&self, job: &Job, readers: usize, to: &SyncSender<ReaderMessage>) {
        let wanted = WantedStations {
            dialect: self.dialect,
            stations: job
                .stations
                .iter()
                .map(|place| &self.stations[*place].binding)
                .collect(),
            every_station: job.every_station,
            today: self.now.date_naive(),
            limits: BulkLimits::of_each(readers),
        };
        let gone = || io::Error::from(io::ErrorKind::BrokenPipe);
        let bar = self.bar.clone();
        let result = match Stream::open(&job.path, move |bytes| bar.inc(bytes)) {
            Ok(stream) => read(stream, &wanted, &mut |part| {
                to.send(ReaderMessage::BulkPart(Box::new(part)))
                    .map_err(|_| gone())
            })
            .map_err(|error| match error {
                BulkError::Read(error) => format!("{}: {error}", job.path.display()),
                BulkError::Refused(rejection) => format!("{}, {rejection}", job.path.display()),
            }),
            Err(error) => Err(error.to_string()),
        };
        let result = result.and_then(|rows| match FileMark::of(&job.path) {
            Ok(mark) if mark == job.mark => Ok(rows),
            _ => Err(format!(
                "{}: the file changed while it was read; import it again when it is whole",
                job.path.display()
            )),
        });
        // If nobody listens any more, storing has failed and says so.
        let _ = to.send(ReaderMessage::End(result));
    }

    /// Stores what a file holds; false if it was not read to its end, or refused for a station.
    fn store(
        &self,
        job: &Job,
        from: &Receiver<ReaderMessage>,
        into: &mut Destination<'_>,
    ) -> anyhow::Result<bool> {
        self.bar.set_message(job.path.display().to_string());
        let mut outcome = FileOutcome::default();
        while let Ok(sent) = from.recv() {
            match sent {
                ReaderMessage::BulkPart(part) => self
                    .store_part(job, *part, into, &mut outcome)
                    .with_context(|| format!("{} was read but not stored", job.path.display()))?,
                ReaderMessage::End(end) => return self.end(job, end, into, outcome),
            }
        }
        bail!("{}: the reader has gone", job.path.display())
    }

    fn store_part(
        &self,
        job: &Job,
        part: BulkPart,
        Destination { store, batch, new }: &mut Destination<'_>,
        outcome: &mut FileOutcome,
    ) -> anyhow::Result<()> {
        let mut good: Vec<(usize, Parsed)> = Vec::new();
        for (place, parsed) in part.stations {
            let place = job.stations[place];
            let is_stored =
                !self.options.dry_run && outcome.rejected.iter().all(|(bad, _)| *bad != place);
            let new = is_stored.then_some(&mut *new);
            match self.vetted((place, parsed), store, new)? {
                Ok(parsed) => good.push((place, parsed)),
                Err(rejection) => outcome.rejected.push((place, rejection)),
            }
        }
        // Files that stop in the middle are told by their end only.
        good.retain(|(place, _)| outcome.rejected.iter().all(|(bad, _)| bad != place));
        if !self.options.dry_run {
            let stations: Vec<(&str, &Parsed)> = good
                .iter()
                .map(|(place, parsed)| (self.stations[*place].station.id.as_str(), parsed))
                .collect();
            let merged = store.merge_all(&stations, batch, self.now)?;
            for ((place, _), merged) in good.iter().zip(merged) {
                *outcome.merged.entry(*place).or_default() += merged;
            }
            outcome.archived += store.archive(part.harvest.station_years(), batch, self.now)?;
        }
        outcome.refused.append(part.harvest.refused);
        if !job.every_station {
            for (_, parsed) in good {
                outcome.refused.extend(parsed.refused);
            }
        }
        Ok(())
    }

    /// What a station's rows say, held against what is stored; `new` remembers what of it is news.
    fn vetted(
        &self,
        (place, parsed): (usize, Result<Parsed, Rejection>),
        store: &Store,
        new: Option<&mut NewValues>,
    ) -> anyhow::Result<Result<Parsed, Rejection>> {
        let parsed = match parsed {
            Ok(parsed) => parsed,
            Err(rejection) => return Ok(Err(rejection)),
        };
        let feed = self.stations[place];
        let mut binding = feed.binding.clone();
        binding.dialect = self.dialect.clone();
        binding.unit = self.dialect.units[0];
        let (verdict, stored) = if self.options.replace {
            let stored = store.readings(&feed.station.id)?;
            let changes = FileChanges::of(&parsed.readings, &stored);
            if changes.changes_values() {
                self.bar.suspend(|| say!("{}: {changes}", feed.station.id));
            }
            (vet_alone(&parsed, &binding), stored)
        } else {
            let mut known = yardstick(store, self.config, feed, &binding, &parsed)?;
            known.command = "hatchbell import --bulk --replace FILE".to_owned();
            (vet(&parsed, &binding, &known), known.stored)
        };
        if let (Ok(()), Some(new)) = (&verdict, new) {
            new.add(place, &parsed.readings, &stored);
        }
        Ok(verdict.map(|()| parsed))
    }

    fn end(
        &self,
        job: &Job,
        end: Result<u64, String>,
        Destination { store, batch, .. }: &mut Destination<'_>,
        outcome: FileOutcome,
    ) -> anyhow::Result<bool> {
        let rejected: BTreeSet<usize> = outcome.rejected.iter().map(|(place, _)| *place).collect();
        if end.is_ok() && !self.options.dry_run {
            let read = job
                .stations
                .iter()
                .filter(|place| !rejected.contains(place));
            let mut takers: Vec<(String, Option<i64>)> = read
                .map(|place| (taker(self.stations[*place]), batch.number()))
                .collect();
            if job.every_station {
                // The archive is not undone, so the file stays read for it.
                takers.push((ARCHIVE.to_owned(), None));
            }
            store.note_finished(&job.mark, &takers, self.now)?;
        }
        let good = end.is_ok() && rejected.is_empty();
        self.bar.suspend(|| self.report(job, end, outcome));
        Ok(good)
    }

    fn report(&self, job: &Job, end: Result<u64, String>, outcome: FileOutcome) {
        let file = job.path.display();
        let is_read = end.is_ok();
        match end {
            Ok(rows) => say!("{file}: {}", counted(rows as usize, "row")),
            Err(error) => eprintln!("hatchbell: {error}"),
        }
        for (place, merged) in &outcome.merged {
            say!(
                "  {}: {}",
                self.stations[*place].station.id,
                in_words(*merged)
            );
        }
        if job.every_station && (is_read || outcome.archived != Archived::default()) {
            let Archived {
                added,
                changed,
                withdrawn,
            } = outcome.archived;
            say!(
                "  every station: {added} values added, {changed} changed, {withdrawn} taken back"
            );
        }
        for line in outcome.refused.lines() {
            say!("  refused, {line}");
        }
        for (place, rejection) in outcome.rejected {
            let id = &self.stations[place].station.id;
            let what = match outcome.merged.contains_key(&place) {
                true => "no more",
                false => "nothing",
            };
            eprintln!("hatchbell: {file}: {what} taken for {id}: {rejection}");
        }
    }
}

/// What became of a file.
#[derive(Default)]
struct FileOutcome {
    merged: BTreeMap<usize, Merged>,
    archived: Archived,
    refused: Refusals,
    rejected: Vec<(usize, Rejection)>,
}
