//! `hatchbell run`: the service, or one cycle of it.

use super::{ConfigOption, configuration, counted, or_exit, runtime};
use crate::clock::{Clock, doubt};
use crate::cycle::{Engine, Setup};
use crate::daemon;
use crate::store::{RunLock, Store};
use clap::Args;
use std::process::ExitCode;
use tokio::sync::watch;
use tracing_subscriber::EnvFilter;

/// Run the service: fetch, evaluate and send, for as long as the machine is on
///
/// Looks for new days at the times of service.schedule (UTC) and catches up after downtime.
/// SIGHUP reads the configuration anew (a bad one is reported and the old one stays); SIGTERM
/// stops. What it does is logged to standard error; RUST_LOG=debug says more. Under systemd use
/// the unit in systemd/.
#[derive(Args)]
pub(super) struct RunOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Run one cycle, send what is due, and end
    #[arg(long)]
    once: bool,
}

pub(super) fn run(options: &RunOptions) -> anyhow::Result<ExitCode> {
    log_to_stderr();
    let path = &options.config.config;
    let loaded = or_exit!(configuration(path));
    let config = loaded.config;
    let _lock = RunLock::take(&config.service.database)?;
    let store = Store::open(&config.service.database)?;
    // A single cycle leaves none in force.
    store.note_configuration(Some(loaded.digest.as_str()).filter(|_| !options.once))?;
    let last_cycle = store.last_cycle()?;
    let clock = Clock::for_run(config.demo, last_cycle);
    let setup = Setup::of(&config).map_err(anyhow::Error::msg)?;
    let (stop, stopping) = watch::channel(false);
    let mut engine = Engine::new(
        config,
        setup,
        store,
        clock,
        Box::new(std::io::stdout()),
        stopping,
    );
    let runtime = runtime()?;
    if !options.once {
        runtime.block_on(daemon::run(engine, path, stop))?;
        return Ok(ExitCode::SUCCESS);
    }
    if engine.clock.is_machine()
        && let Some(reason) = doubt(engine.clock.now(), engine.store.newest_day_of_all()?)
    {
        anyhow::bail!("{reason}; set the clock, then run again");
    }
    let report = runtime.block_on(engine.cycle(&|| {}))?;
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
