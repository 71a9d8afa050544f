//! The loop that runs for years: looks at the clock, runs cycles that are due, sends what waits,
//! answers signals, and lets the service manager see that it works.

use crate::clock::doubt;
use crate::config::load;
use crate::cycle::{Engine, Report, Setup};
use crate::store::StoreError;
use anyhow::Context;
use sd_notify::NotifyState;
use std::path::Path;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::watch;
use tracing::{error, info, warn};

/// Runs until it is told to stop.
///
/// # Errors
/// If the database fails or signals cannot be listened to.
pub async fn run(
    mut engine: Engine,
    config_path: &Path,
    stop: watch::Sender<bool>,
) -> anyhow::Result<()> {
    let mut reload_signal = signal(SignalKind::hangup()).context("cannot listen for SIGHUP")?;
    let stopping = stop.subscribe();
    tokio::spawn(stop_on_signal(stop)?);
    notify(&[NotifyState::Ready, NotifyState::Status("started")]);
    info!("running; SIGHUP reads the configuration anew, SIGTERM stops");
    let mut doubted = false;
    while !*stopping.borrow() {
        beat();
        step(&mut engine, &mut doubted).await?;
        let mut woken = stopping.clone();
        tokio::select! {
            () = tokio::time::sleep(engine.clock.tick()) => {}
            Some(()) = reload_signal.recv() => reload(&mut engine, config_path)?,
            _ = woken.wait_for(|stop| *stop) => {}
        }
    }
    engine.store.note_configuration(None)?;
    notify(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
    info!("stopped; what waits in the outbox is sent after the next start");
    Ok(())
}

/// Turns SIGTERM and SIGINT into a request to stop, which the engine looks at between two steps:
/// a message that a server has just accepted is still noted as sent.
fn stop_on_signal(stop: watch::Sender<bool>) -> anyhow::Result<impl Future<Output = ()>> {
    let mut terminate: Signal =
        signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?;
    let mut interrupt = signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
        stop.send_replace(true);
    })
}

/// One look: a cycle if one is due, else whatever waits in the outbox.
async fn step(engine: &mut Engine, doubted: &mut bool) -> Result<(), StoreError> {
    let now = engine.clock.now();
    let newest = engine.store.newest_day_of_all()?;
    if let Some(reason) = engine
        .clock
        .is_machine()
        .then(|| doubt(now, newest))
        .flatten()
    {
        if !*doubted {
            error!("{reason}; nothing is evaluated or sent until the clock is right");
            notify(&[NotifyState::Status(&format!("held: {reason}"))]);
        }
        *doubted = true;
        return Ok(());
    }
    *doubted = false;
    if engine.is_due()? {
        let report = engine.cycle(&beat).await?;
        summarise(engine, &report);
    } else if engine.is_digest_due()? {
        engine.tell(&beat).await?;
    } else {
        let mut report = Report::default();
        engine.deliver(&beat, &mut report).await?;
    }
    Ok(())
}

fn summarise(engine: &Engine, report: &Report) {
    let next = engine
        .next_after(engine.clock.now())
        .map_or("never".to_owned(), |next| {
            next.format("%Y-%m-%d %H:%M UTC").to_string()
        });
    let status = format!(
        "stations asked: {}, failed: {}; messages sent: {}, not yet: {}; next look {next}",
        report.stations, report.failed, report.sent, report.unsent
    );
    info!("{status}");
    notify(&[NotifyState::Status(&status)]);
}

/// Reads the configuration anew. A bad one is reported and the old one stays in force.
fn reload(engine: &mut Engine, path: &Path) -> Result<(), StoreError> {
    if let Ok(since) = NotifyState::monotonic_usec_now() {
        notify(&[NotifyState::Reloading, since]);
    }
    let status = match load(path) {
        Ok(loaded) => {
            for warning in loaded.warnings_on(engine.clock.civil_day()) {
                warn!("{warning}");
            }
            if loaded.config.service.database == engine.config.service.database {
                match Setup::of(&loaded.config) {
                    Ok(setup) => {
                        engine.store.note_configuration(Some(&loaded.digest))?;
                        engine.adopt(loaded.config, setup);
                        info!("the new configuration is in force");
                        "the new configuration is in force"
                    }
                    Err(problem) => {
                        error!("{problem}; the old configuration stays in force");
                        "reload refused: the old configuration stays in force"
                    }
                }
            } else {
                error!(
                    "service.database has changed, which needs a restart; the old configuration stays in force"
                );
                "reload refused: a new database needs a restart"
            }
        }
        Err(problems) => {
            for problem in &problems {
                error!("{problem}");
            }
            error!("the configuration has errors; the old one stays in force");
            "reload refused: the old configuration stays in force"
        }
    };
    notify(&[NotifyState::Ready, NotifyState::Status(status)]);
    Ok(())
}

fn beat() {
    notify(&[NotifyState::Watchdog]);
}

/// Tells the service manager, if there is one.
fn notify(state: &[NotifyState<'_>]) {
    if let Err(problem) = sd_notify::notify(state) {
        warn!("the service manager cannot be told: {problem}");
    }
}
