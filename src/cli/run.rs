//! `hatchbell run`: the service, or one cycle of it.

use super::{ConfigOption, EXIT_CONFIG, configuration_in_use, counted, or_exit, runtime};
use crate::clock::{Clock, ClockDoubt};
use crate::cycle::{Engine, Report, Setup};
use crate::daemon::Daemon;
use crate::home_server;
use crate::illustration;
use crate::store::{Store, StoreError};
use crate::web::listen;
use anyhow::Context;
use clap::Args;
use std::process::ExitCode;
use tokio::sync::watch;
use tracing_subscriber::EnvFilter;

/// Run the service: fetch, evaluate and send, for as long as the machine is on
///
/// Looks for new days at the times of service.schedule (UTC) and catches up after downtime.
/// hatchbell reload, or SIGHUP, reads the configuration anew (a bad one is reported and the old one
/// stays; of a member whose tables alone have a mistake, what was last good goes on); SIGTERM stops. What it does is logged to standard error; RUST_LOG=debug says more. Under systemd use
/// the unit in systemd/.
#[derive(Args)]
pub(super) struct RunOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Run one cycle, send what is due, and end
    #[arg(long)]
    once: bool,
    /// Take the database as it is there, or make a new one, although another one ran here before
    #[arg(long)]
    new_database: bool,
}

pub(super) fn run(options: &RunOptions) -> anyhow::Result<ExitCode> {
    log_to_stderr();
    let path = &options.config.config;
    let loaded = or_exit!(configuration_in_use(path));
    let config = loaded.config;
    let mut store = Store::to_run(&config.service.database, options.new_database)?;
    match store.open_again() {
        Ok(()) => {}
        // Starting again cannot mend it.
        Err(problem @ (StoreError::TooNew { .. } | StoreError::Foreign(_))) => {
            eprintln!("hatchbell: {problem}");
            return Ok(ExitCode::from(EXIT_CONFIG));
        }
        Err(problem) if options.once || problem.is_refusal() => return Err(problem.into()),
        // The daemon waits for it.
        Err(_) => {}
    }
    let clock = Clock::for_run(config.demo, None);
    let setup = Setup::of(&config).map_err(anyhow::Error::msg)?;
    // Taken before anything is done: an address that is in use stops the start.
    let page = match config.web.as_ref().filter(|_| !options.once) {
        Some(web) => Some(listen(web).with_context(|| {
            format!(
                "web.listen: {} cannot be listened on; is another program using it? Under systemd enable hatchbell.socket, which hands it over",
                web.listen
            )
        })?),
        None => None,
    };
    let (stop, stopping) = watch::channel(false);
    let mut engine = Engine::new(
        config,
        setup,
        store,
        clock,
        Box::new(std::io::stdout()),
        stopping,
    );
    engine.illustrate = Some(illustration::season);
    let runtime = runtime()?;
    if !options.once {
        let daemon = Daemon::new(engine, path, loaded.standing);
        let page = page.map(|page| {
            let (in_force, bell) = (daemon.in_force(), daemon.bell());
            page.answer(in_force, bell, daemon.news(), stop.subscribe())
        });
        let page = page.transpose()?;
        let published = home_server::publish(daemon.in_force(), daemon.news(), stop.subscribe())?;
        let ended = runtime.block_on(daemon.run(stop));
        // It hears the stop too. Whether it ended well, its own thread has said.
        let _ = page.map(std::thread::JoinHandle::join);
        let _ = published.join();
        // Names that are being looked up are not waited for.
        runtime.shutdown_background();
        return ended.map(|()| ExitCode::SUCCESS);
    }
    // A single cycle leaves no configuration in force.
    engine.store.note_nothing_in_force()?;
    engine.store.keep_members(&loaded.standing.members)?;
    engine.clock = Clock::for_run(engine.config.demo, engine.store.last_cycle()?);
    let check = engine.check_clock()?;
    match &check.doubt {
        Some(ClockDoubt::Behind(reason)) => {
            anyhow::bail!("{reason}; set the clock, then run again")
        }
        Some(ClockDoubt::Ahead(reason)) => eprintln!("{reason}; is the clock right?"),
        None => {}
    }
    engine.take_back_days_ahead(check)?;
    engine.note_faults(&loaded.standing.faults, &mut Report::default())?;
    let report = runtime.block_on(engine.cycle(&|| {}))?;
    if report.is_good() {
        runtime.block_on(engine.heartbeat(&|| {}));
    }
    let for_their_hour = match report.for_their_hour {
        0 => String::new(),
        count => format!(", {count} waiting for their hour"),
    };
    eprintln!(
        "{} asked, {} failed; {} recorded; {} written, {} sent, {} not sent yet{for_their_hour}",
        counted(report.stations, "station"),
        report.failed,
        counted(report.milestones, "milestone"),
        counted(report.messages, "message"),
        report.sent,
        report.unsent,
    );
    Ok(if report.failed == 0 && report.unsent == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Log lines go to standard error, without time where the journal adds its own.
fn log_to_stderr() {
    use std::io::IsTerminal;
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new("info"));
    let terminal = std::io::stderr().is_terminal();
    let builder = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(terminal)
        .with_target(false);
    // A second call, in tests, changes nothing.
    let _ = if std::env::var_os("JOURNAL_STREAM").is_some() {
        builder.without_time().try_init()
    } else {
        builder.try_init()
    };
}
