//! Everything that can be wrong with an installation, on one page, each with what to do: built from what
//! the check of the configuration, the status and the machine say.

use super::browsers::BrowsersInUse;
use super::counted;
use super::health::overdue_since;
use super::status::{ProblemKind, Status};
use crate::config::Config;
use chrono::{DateTime, Utc};
use serde::Serialize;

/// Findings of a part that are shown; more are counted.
const MOST_SHOWN: usize = 6;

/// Room that a disk should have at least.
const LEAST_FREE_BYTES: u64 = 100_000_000;

/// What the page is made of.
#[derive(Debug)]
pub struct Examined<'e> {
    /// The configuration.
    pub config: &'e Config,
    /// Whether the service can work with what it names on this machine.
    pub is_usable: bool,
    /// What is worth a look in what it names, in words.
    pub configuration: Vec<String>,
    /// How the database is, or why it cannot be read.
    pub database: Result<ExaminedDatabase, String>,
    /// The database's disk.
    pub disk: ExaminedDisk,
    /// The machine's time.
    pub now: DateTime<Utc>,
}

/// An open database.
#[derive(Debug)]
pub struct ExaminedDatabase {
    /// What SQLite finds wrong with it.
    pub faults: Vec<String>,
    /// What is stored; none if it is not sound.
    pub status: Option<Status>,
    /// Why the machine's clock may not be right, by what is stored.
    pub clock_doubt: Option<String>,
    /// How notices in browsers stand, if anybody may have them.
    pub browsers: Option<BrowsersInUse>,
}

/// The database's disk.
#[derive(Debug, Clone, Default)]
pub struct ExaminedDisk {
    /// Bytes that may still be written, if the system says.
    pub free: Option<u64>,
    /// Bytes of the database.
    pub database: u64,
    /// Copies from before migrations: path and bytes.
    pub copies: Vec<(String, u64)>,
}

/// A part of the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoctorPart {
    /// What was looked at.
    pub part: &'static str,
    /// Whether all is well.
    pub well: bool,
    /// How it is, or what is wrong.
    pub what: Vec<String>,
    /// What to do.
    pub to_do: Option<String>,
}

/// The page, in the order in which things are best mended.
pub fn examine(of: &Examined<'_>) -> Vec<DoctorPart> {
    let mut page = vec![configuration(of), database(of), disk(of)];
    if let Ok(database) = &of.database
        && let Some(status) = &database.status
    {
        page.push(clock(of, database));
        page.push(service(of, status));
        page.push(stations(status));
        page.push(milestones(status));
        page.push(outbox(status));
        page.extend(home_server(of.config, status));
        page.extend(database.browsers.as_ref().map(browsers));
    }
    page
}

impl DoctorPart {
    fn well(part: &'static str, what: String) -> Self {
        Self {
            part,
            well: true,
            what: vec![what],
            to_do: None,
        }
    }

    fn wrong(part: &'static str, mut what: Vec<String>, to_do: &str) -> Self {
        let more = what.len().saturating_sub(MOST_SHOWN);
        what.truncate(MOST_SHOWN);
        if more > 0 {
            what.push(format!("and {more} more"));
        }
        Self {
            part,
            well: false,
            what,
            to_do: Some(to_do.to_owned()),
        }
    }
}

fn configuration(of: &Examined<'_>) -> DoctorPart {
    if of.is_usable {
        let (stations, sites) = (of.config.stations.len(), of.config.sites().count());
        let all = format!(
            "{}, {}",
            counted(stations, "station"),
            counted(sites, "site")
        );
        return DoctorPart {
            what: [all].into_iter().chain(of.configuration.clone()).collect(),
            ..DoctorPart::well("configuration", String::new())
        };
    }
    let to_do =
        "mend these, then hatchbell check; hatchbell check --online asks the servers as well";
    DoctorPart::wrong("configuration", of.configuration.clone(), to_do)
}

fn database(of: &Examined<'_>) -> DoctorPart {
    match &of.database {
        Err(problem) => DoctorPart::wrong(
            "database",
            vec![problem.clone()],
            "as it says; the journal of the service has more: journalctl -u hatchbell",
        ),
        Ok(database) if database.faults.is_empty() => DoctorPart::well(
            "database",
            format!("sound, {}", megabytes(of.disk.database)),
        ),
        Ok(database) => DoctorPart::wrong(
            "database",
            database.faults.clone(),
            "stop the service and put a backup in its place: hatchbell restore FILE keeps the damaged one",
        ),
    }
}

fn disk(of: &Examined<'_>) -> DoctorPart {
    let disk = &of.disk;
    let copies = match disk.copies.as_slice() {
        [] => String::new(),
        copies => {
            let names: Vec<&str> = copies.iter().map(|(path, _)| path.as_str()).collect();
            let bytes = copies.iter().map(|(_, bytes)| bytes).sum();
            format!(
                "; kept from before updates, to be deleted once all is well: {} ({})",
                names.join(", "),
                megabytes(bytes)
            )
        }
    };
    let Some(free) = disk.free else {
        return DoctorPart::wrong(
            "disk",
            vec!["the database's folder cannot be looked at".to_owned()],
            "run this as the user the service runs as",
        );
    };
    let words = format!("{} free at the database{copies}", megabytes(free));
    // An update copies the database before it changes it.
    if free < LEAST_FREE_BYTES.max(2 * disk.database) {
        return DoctorPart::wrong(
            "disk",
            vec![words],
            "make room: messages cannot be recorded on a full disk, nor the database updated",
        );
    }
    DoctorPart::well("disk", words)
}

fn clock(of: &Examined<'_>, database: &ExaminedDatabase) -> DoctorPart {
    match &database.clock_doubt {
        None => DoctorPart::well("clock", of.now.format("%Y-%m-%d %H:%M UTC").to_string()),
        Some(reason) => DoctorPart::wrong(
            "clock",
            vec![reason.clone()],
            "set the clock, or let it be set from the network; nothing is told until then",
        ),
    }
}

/// Whether cycles run when they should.
fn service(of: &Examined<'_>, status: &Status) -> DoctorPart {
    let last = status.last_cycle_in_words();
    let Some(cycle) = status.last_cycle else {
        return DoctorPart::wrong(
            "service",
            vec![last],
            "start it: systemctl enable --now hatchbell",
        );
    };
    if let Some(due) = overdue_since(of.config, cycle, of.now) {
        let since = due.format(", and one was due %Y-%m-%d %H:%M UTC");
        return DoctorPart::wrong(
            "service",
            vec![format!("{last}{since}")],
            "see whether it runs: systemctl status hatchbell",
        );
    }
    match problems(status, &[ProblemKind::Configuration]) {
        differs if differs.is_empty() => DoctorPart::well("service", last),
        differs => DoctorPart::wrong("service", differs, "systemctl reload hatchbell"),
    }
}

fn stations(status: &Status) -> DoctorPart {
    let found = problems(status, &[ProblemKind::Stale, ProblemKind::Feed]);
    if found.is_empty() {
        let newest = status
            .stations
            .iter()
            .filter_map(|one| one.newest_day)
            .max();
        let newest = newest.map_or_else(String::new, |day| format!(", newest day {day}"));
        let fresh = counted(status.stations.len(), "station");
        return DoctorPart::well("stations", format!("{fresh} fresh{newest}"));
    }
    DoctorPart::wrong(
        "stations",
        found,
        "hatchbell check --online asks each feed; hatchbell check --data lists values that are held",
    )
}

fn milestones(status: &Status) -> DoctorPart {
    match problems(status, &[ProblemKind::Held]) {
        held if held.is_empty() => DoctorPart::well("milestones", "none held back".to_owned()),
        held => DoctorPart::wrong(
            "milestones",
            held,
            "bring the missing days: hatchbell import, or name neighbours for the station",
        ),
    }
}

fn outbox(status: &Status) -> DoctorPart {
    let words = status.outbox.in_words();
    let undelivered = problems(status, &[ProblemKind::Undelivered]);
    if undelivered.is_empty() {
        return DoctorPart::well("outbox", words);
    }
    let what = [words].into_iter().chain(undelivered).collect();
    DoctorPart::wrong(
        "outbox",
        what,
        "hatchbell outbox says why; --given-up lists what is parked; send-test RECIPIENT tries a way; outbox retry --all",
    )
}

/// Whether the home server gets what is published for it; nothing where there is none.
fn home_server(config: &Config, status: &Status) -> Option<DoctorPart> {
    let mqtt = config.mqtt.as_ref()?;
    let wrong = problems(status, &[ProblemKind::HomeServer]);
    Some(if wrong.is_empty() {
        DoctorPart::well(
            "home server",
            format!("published to {}:{}", mqtt.host, mqtt.port),
        )
    } else {
        DoctorPart::wrong(
            "home server",
            wrong,
            "hatchbell check --online asks the broker; see [mqtt]",
        )
    })
}

fn browsers(in_use: &BrowsersInUse) -> DoctorPart {
    if in_use.unreached.is_empty() {
        let on = counted(in_use.browsers, "browser");
        return DoctorPart::well("notices", format!("on in {on}"));
    }
    let nobody = in_use.unreached.iter();
    DoctorPart::wrong(
        "notices",
        nobody
            .map(|one| {
                format!("{one} is told in browsers alone, and has turned notices on in none")
            })
            .collect(),
        "hatchbell member link RECIPIENT prints a link to sign in by; then Notices on the page",
    )
}

fn problems(status: &Status, kinds: &[ProblemKind]) -> Vec<String> {
    let all = status.problems.iter();
    all.filter(|problem| kinds.contains(&problem.kind))
        .map(|problem| problem.what.clone())
        .collect()
}

fn megabytes(bytes: u64) -> String {
    match bytes {
        0..10_000_000 => format!("{:.1} MB", bytes as f64 / 1e6),
        10_000_000..10_000_000_000 => format!("{} MB", bytes / 1_000_000),
        _ => format!("{} GB", bytes / 1_000_000_000),
    }
}
