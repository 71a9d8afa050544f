//! The commands. One file each; [`run()`] reads the command line and calls one.

use crate::store::Store;
use anyhow::anyhow;
use chrono::NaiveDate;
use clap::{Args, Parser, Subcommand};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::clock::Clock;
use crate::config::load::database_of;
use crate::config::problem::{Problem, Severity, closest};
use crate::config::{Config, Loaded, load, load_isolating, load_kept};
use crate::domain::notation::Units;
use crate::domain::place::site::{Member, Site};
use crate::domain::weather::extremes::Unit;
use crate::in_force::KeptMember;
use crate::report::{counted, fault_line, shown_day};

mod backup;
mod batches;
mod bulk;
mod calendar;
mod chart;
mod check;
mod doctor;
mod feed;
mod hindcast;
mod import;
mod init;
mod log;
mod manual;
mod member;
mod outbox;
mod outlook;
mod plan;
mod progress;
mod records;
mod reload;
mod replay;
mod run;
mod scout;
mod season;
mod send_test;
mod stations;
mod status;
mod table;
mod terminal;
mod width;

/// Exit code for a configuration that cannot be used (EX_CONFIG of sysexits.h).
pub const EXIT_CONFIG: u8 = 78;

/// Where the configuration is if no other place is named.
const USUAL_CONFIG: &str = "/etc/hatchbell/hatchbell.toml";
/// The file that `init` writes if no other is named.
const INIT_FILE: &str = "hatchbell.toml";

/// Tells people who look after turf when white grubs fly, lay and hatch at their sites, whether to
/// treat, and by when which treatment must be down.
///
/// hatchbell reads daily minimum and maximum temperatures from public weather-station files, sums
/// degree-days for each site, foretells milestones and tells when they are passed, plans treatments
/// and follows what was logged. It is a planning aid: the label is the law, local rules and a
/// licensed applicator decide. Everything it does is in one configuration file; begin with
/// `hatchbell init`.
#[derive(Parser)]
#[command(name = "hatchbell", version, max_term_width = 100)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Init(init::InitOptions),
    Run(run::RunOptions),
    Reload(reload::ReloadOptions),
    Check(check::CheckOptions),
    Stations(stations::StationsOptions),
    Status(status::StatusOptions),
    Outlook(outlook::OutlookOptions),
    Plan(plan::PlanOptions),
    Outbox(outbox::OutboxOptions),
    Member(member::MemberOptions),
    Log(log::LogOptions),
    Scout(scout::ScoutOptions),
    Season(season::SeasonOptions),
    Records(records::RecordsOptions),
    Replay(replay::ReplayOptions),
    Import(import::ImportOptions),
    Feed(feed::FeedOptions),
    Hindcast(hindcast::HindcastOptions),
    SendTest(send_test::SendTestOptions),
    Calendar(calendar::CalendarOptions),
    Doctor(doctor::DoctorOptions),
    Backup(backup::BackupOptions),
    Restore(backup::RestoreOptions),
    #[command(hide = true)]
    Man(manual::ManOptions),
    Completions(manual::CompletionsOptions),
}

/// The option every command has.
#[derive(Args)]
struct ConfigOption {
    /// The configuration file
    #[arg(long, value_name = "FILE", default_value = USUAL_CONFIG, env = "HATCHBELL_CONFIG")]
    config: PathBuf,
}

/// The options of commands that show numbers.
#[derive(Args)]
struct ShownConfig {
    #[command(flatten)]
    file: ConfigOption,
    /// Show numbers in these units; without it those of the configuration
    #[arg(long, value_name = "metric|us", value_parser = units)]
    units: Option<Units>,
}

impl ShownConfig {
    /// Loads the configuration, with these units; where the files on disk cannot be used, what the
    /// service runs with.
    fn load(&self) -> Result<Loaded, ExitCode> {
        let in_use = self.load_running()?;
        if let Some((errors, first)) = in_use.wrong {
            let errors = counted(errors, "error");
            eprintln!(
                "hatchbell: the configuration has {errors}, so this is by the one the service runs \
                 with; the first: {first}"
            );
        }
        for fault in &in_use.loaded.standing.faults {
            eprintln!("hatchbell: {}", fault_line(fault));
        }
        Ok(in_use.loaded)
    }

    /// The same, with what is wrong on disk.
    fn load_running(&self) -> Result<InUse, ExitCode> {
        let mut in_use = in_use(&self.file.config)?;
        self.set_units(&mut in_use.loaded);
        Ok(in_use)
    }

    fn set_units(&self, loaded: &mut Loaded) {
        let notation = &mut loaded.config.service.notation;
        notation.units = self.units.unwrap_or(notation.units);
    }
}

fn units(text: &str) -> Result<Units, String> {
    crate::domain::named(&Units::NAMED, text).ok_or_else(|| "there are metric and us".to_owned())
}

/// The day a command looks at.
#[derive(Args)]
struct DateOption {
    /// Show how things stood on this day, by the days stored now
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    date: Option<NaiveDate>,
}

impl DateOption {
    /// The day asked for, or today.
    fn or_today(&self, config: &Config, store: &Store) -> anyhow::Result<NaiveDate> {
        self.date.map_or_else(|| today(config, store), Ok)
    }
}

/// Reads the command line and does what it says.
pub fn run() -> ExitCode {
    let result = match CommandLine::parse().command {
        Command::Init(options) => init::run(&options),
        Command::Run(options) => run::run(&options),
        Command::Reload(options) => reload::run(&options),
        Command::Check(options) => check::run(&options),
        Command::Stations(options) => stations::run(&options),
        Command::Status(options) => status::run(&options),
        Command::Replay(options) => replay::run(&options),
        Command::Import(options) => import::run(&options),
        Command::Feed(options) => feed::run(&options),
        Command::Hindcast(options) => hindcast::run(&options),
        Command::Calendar(options) => calendar::run(&options),
        Command::Doctor(options) => doctor::run(&options),
        Command::SendTest(options) => send_test::run(&options),
        Command::Backup(options) => backup::run_backup(&options),
        Command::Restore(options) => backup::run_restore(&options),
        Command::Outlook(options) => outlook::run(&options),
        Command::Plan(options) => plan::run(&options),
        Command::Outbox(options) => outbox::run(&options),
        Command::Member(options) => member::run(&options),
        Command::Log(options) => log::run(&options),
        Command::Scout(options) => scout::run(&options),
        Command::Season(options) => season::run(&options),
        Command::Man(options) => manual::man(&options),
        Command::Completions(options) => Ok(manual::completions(&options)),
        Command::Records(options) => records::run(&options),
    };
    result.unwrap_or_else(|error| {
        eprintln!("hatchbell: {error:#}");
        ExitCode::FAILURE
    })
}

/// Loads the configuration; problems are printed, and errors end in [`EXIT_CONFIG`].
fn configuration(path: &Path) -> Result<Loaded, ExitCode> {
    match load(path) {
        Ok(loaded) => {
            print_problems(loaded.warnings_on(Clock::Machine.civil_day()));
            Ok(loaded)
        }
        Err(problems) => Err(refused(path, &problems)),
    }
}

/// Loads the configuration as the service would: of a member whose tables have a mistake, what was
/// last good goes on. One line to standard error names each.
fn configuration_in_use(path: &Path) -> Result<Loaded, ExitCode> {
    let loaded = load_isolating(path, &last_good).map_err(|problems| refused(path, &problems))?;
    print_problems(loaded.warnings_on(Clock::Machine.civil_day()));
    for fault in &loaded.standing.faults {
        eprintln!("hatchbell: {}", fault_line(fault));
    }
    Ok(loaded)
}

/// A configuration in use.
struct InUse {
    loaded: Loaded,
    /// Set if the files on disk cannot be used: how many errors they have, and the first.
    wrong: Option<(usize, String)>,
}

/// Loads the configuration; where the files on disk cannot be used, what the service runs with.
fn in_use(path: &Path) -> Result<InUse, ExitCode> {
    let problems = match load_isolating(path, &last_good) {
        Ok(loaded) => {
            print_problems(loaded.warnings_on(Clock::Machine.civil_day()));
            return Ok(InUse {
                loaded,
                wrong: None,
            });
        }
        Err(problems) => problems,
    };
    let Some(loaded) = running(path) else {
        return Err(refused(path, &problems));
    };
    let is_error = |one: &&Problem| one.severity == Severity::Error;
    let first = problems.iter().find(is_error);
    Ok(InUse {
        loaded,
        wrong: Some((
            errors(&problems),
            first.map_or(String::new(), ToString::to_string),
        )),
    })
}

/// The configuration that a service runs with whose file this is.
fn running(path: &Path) -> Option<Loaded> {
    let store = Store::open_to_read(&database_of(path)?).ok()?;
    let in_force = store.in_force().ok()??;
    load_kept(&in_force, &store.kept_files().ok()?, &last_good).ok()
}

/// The members that were last good; none where there is no such database yet.
fn last_good(database: &Path) -> Vec<KeptMember> {
    let store = Store::open_to_read(database);
    store
        .and_then(|store| store.kept_members())
        .unwrap_or_default()
}

fn refused(path: &Path, problems: &[Problem]) -> ExitCode {
    if let Some(words) = not_at_the_usual_place(path) {
        eprintln!("hatchbell: {words}");
        return ExitCode::from(EXIT_CONFIG);
    }
    print_problems(problems);
    let errors = counted(errors(problems), "error");
    eprintln!("hatchbell: the configuration has {errors}");
    ExitCode::from(EXIT_CONFIG)
}

/// What to do where no configuration was named, and none is where one is looked for then.
fn not_at_the_usual_place(path: &Path) -> Option<String> {
    let is_missing = path == Path::new(USUAL_CONFIG) && matches!(path.try_exists(), Ok(false));
    is_missing.then(|| match Path::new(INIT_FILE).is_file() {
        true => format!(
            "{USUAL_CONFIG} is not there, and no other configuration was named; there is a {INIT_FILE} in this folder: --config {INIT_FILE}"
        ),
        false => format!(
            "{USUAL_CONFIG} is not there, and no other configuration was named; name yours with --config FILE, or write a first one with hatchbell init"
        ),
    })
}

fn errors(problems: &[Problem]) -> usize {
    let errors = problems
        .iter()
        .filter(|one| one.severity == Severity::Error);
    errors.count()
}

fn print_problems<'p>(problems: impl IntoIterator<Item = &'p Problem>) {
    for problem in problems {
        eprintln!("{problem}");
    }
}

/// A site by its id.
fn site<'c>(config: &'c Config, id: &str) -> anyhow::Result<&'c Site> {
    Ok(member_and_site(config, id)?.1)
}

/// A site by its id, with the member whose it is.
fn member_and_site<'c>(config: &'c Config, id: &str) -> anyhow::Result<(&'c Member, &'c Site)> {
    let found = config.sites().find(|(_, site)| site.id == id);
    let ids = config.sites().map(|(_, site)| site.id.as_str());
    found.map_or_else(|| Err(unknown("site", id, ids)), Ok)
}

/// Whether there is something of this id.
fn known<'c>(
    what: &str,
    id: &str,
    ids: impl Iterator<Item = &'c str> + Clone,
) -> anyhow::Result<()> {
    if ids.clone().any(|one| one == id) {
        Ok(())
    } else {
        Err(unknown(what, id, ids))
    }
}

/// Ids that are named where none is like the one asked for.
const NAMED_IDS: usize = 10;

/// There is nothing of this id: the closest is named, else some of them.
fn unknown<'c>(what: &str, id: &str, ids: impl Iterator<Item = &'c str>) -> anyhow::Error {
    let ids: Vec<&str> = ids.collect();
    if let Some(meant) = closest(id, ids.iter().copied()) {
        return anyhow!("there is no {what} \"{id}\"; did you mean \"{meant}\"?");
    }
    let named = ids[..ids.len().min(NAMED_IDS)].join(", ");
    let more = match ids.len().saturating_sub(NAMED_IDS) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    anyhow!("there is no {what} \"{id}\"; there are {named}{more}")
}

/// Today; in a demonstration the day of its last cycle.
fn today(config: &Config, store: &Store) -> anyhow::Result<NaiveDate> {
    Ok(shown_day(config, store, Clock::Machine.civil_day())?)
}

/// A unit by its name, for the command line.
fn unit(name: &str) -> Result<Unit, String> {
    crate::domain::named(&Unit::NAMED, name).ok_or_else(|| {
        let names: Vec<&str> = Unit::NAMED.iter().map(|(name, _)| *name).collect();
        format!("units are {}", names.join(", "))
    })
}

/// Prints to standard output; a reader that has gone away (`| head`) ends the program quietly.
fn print(text: std::fmt::Arguments<'_>) {
    Terminal.write_fmt(text).unwrap_or_else(|error| {
        eprintln!("hatchbell: cannot print: {error}");
        std::process::exit(1);
    });
}

/// Standard output that ends the program when nobody reads it any more.
struct Terminal;

impl Write for Terminal {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        match std::io::stdout().write(bytes) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => std::process::exit(0),
            other => other,
        }
    }

    fn flush(&mut self) -> std::io::Result<()> {
        match std::io::stdout().flush() {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => std::process::exit(0),
            other => other,
        }
    }
}

/// Like `println!`, for readers that may go away.
macro_rules! say {
    ($($words:tt)*) => {
        crate::cli::print(format_args!("{}\n", format_args!($($words)*)))
    };
}
use say;

/// Columns that running text is wrapped to on a wide screen.
const TEXT_COLUMNS: usize = 88;

/// Prints a paragraph, wrapped.
fn say_wrapped(paragraph: &str) {
    print(format_args!("{}", width::wrapped(paragraph)));
}

/// A day for the command line, within the years that weather records reach.
fn day(text: &str) -> Result<NaiveDate, String> {
    crate::entries::day_of(text)
}

/// Lets a block give up with an exit code that is no error of its own.
macro_rules! or_exit {
    ($result:expr) => {
        match $result {
            Ok(value) => value,
            Err(code) => return Ok(code),
        }
    };
}
use or_exit;

/// A runtime with one thread: the work is waiting.
fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
}
