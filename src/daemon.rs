//! The loop that runs for years: looks at the clock, runs cycles that are due, sends what waits,
//! answers signals, and lets the service manager see that it works. A database that fails does not
//! end it: it is tried again until it works.

use crate::clock::{Clock, ClockDoubt};
use crate::config::load;
use crate::cycle::{Engine, Report, Setup};
use crate::store::{StoreError, wait_no_more};
use anyhow::Context;
use outage::Outage;
use sd_notify::NotifyState;
use std::mem::{Discriminant, discriminant};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::watch;
use tracing::{error, info, warn};

mod outage;

/// The running service.
pub struct Daemon<'p> {
    /// What it runs.
    pub engine: Engine,
    config_path: &'p Path,
    /// Of the configuration that is in force.
    digest: String,
    /// Whether the database has been open at all.
    begun: bool,
    outage: Option<Outage>,
    /// Why the clock is in doubt, ahead or behind, and since when.
    doubted: Option<(Discriminant<ClockDoubt>, Instant)>,
}

impl<'p> Daemon<'p> {
    /// A service with an engine whose database need not be open yet.
    pub fn new(engine: Engine, config_path: &'p Path, digest: String) -> Self {
        Self {
            engine,
            config_path,
            digest,
            begun: false,
            outage: None,
            doubted: None,
        }
    }

    /// Runs until it is told to stop.
    ///
    /// # Errors
    /// If signals cannot be listened to.
    pub async fn run(mut self, stop: watch::Sender<bool>) -> anyhow::Result<()> {
        let mut reload_signal = signal(SignalKind::hangup()).context("cannot listen for SIGHUP")?;
        let stopping = stop.subscribe();
        stop_on_signal(stop)?;
        notify(&[NotifyState::Ready, NotifyState::Status("started")]);
        info!("running; SIGHUP reads the configuration anew, SIGTERM stops");
        while !*stopping.borrow() {
            beat();
            let wait = self.look().await;
            let mut woken = stopping.clone();
            tokio::select! {
                () = tokio::time::sleep(wait) => {}
                Some(()) = reload_signal.recv() => self.reload().await,
                _ = woken.wait_for(|stop| *stop) => {}
            }
        }
        notify(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
        if self.outage.is_none()
            && let Err(problem) = self.engine.store.note_configuration(None)
        {
            warn!("{}", problem.in_full());
        }
        info!("stopped; what waits in the outbox is sent after the next start");
        Ok(())
    }

    /// A step, unless the database rests after a failure; how long to wait before the next look.
    pub async fn look(&mut self) -> Duration {
        let tick = self.engine.clock.tick();
        if let Some(outage) = &self.outage {
            let wait = outage.wait(self.engine.clock.steady());
            if !wait.is_zero() {
                return wait.min(tick);
            }
        }
        match self.step().await {
            Ok(()) => self.works().await,
            Err(problem) => self.failed(&problem).await,
        }
        match &self.outage {
            Some(outage) => outage.wait(self.engine.clock.steady()).min(tick),
            None => tick,
        }
    }

    /// Says that the database has failed, to those who are to hear of it now.
    async fn failed(&mut self, problem: &StoreError) {
        let now = self.engine.clock.steady();
        let outage = self.outage.get_or_insert_with(|| Outage::begin(now));
        let hearers = outage.failed(now);
        let text = problem.in_full();
        notify(&[NotifyState::Status(&format!("no alerts are sent: {text}"))]);
        if hearers.journal {
            error!("{text}; no alerts are sent meanwhile; it is tried again until it works");
        }
        if hearers.operator {
            let text = format!(
                "{text}\n\nThe service goes on trying and catches up by itself once this is put right. You are told again in an hour if it is not."
            );
            self.engine.alarm("NO ALERTS ARE SENT", &text, &beat).await;
        }
    }

    /// Says that the database works again, if it did not.
    async fn works(&mut self) {
        let Some(outage) = self.outage.take() else {
            return;
        };
        let lasted = outage.lasted(self.engine.clock.steady());
        let text = format!("the database works again after {lasted:?}; what was due is caught up");
        info!("{text}");
        notify(&[NotifyState::Status(&text)]);
        if outage.is_told() {
            let text = format!("T{}.", text.trim_start_matches('t'));
            self.engine
                .alarm("alerts are sent again", &text, &beat)
                .await;
        }
    }

    /// Sees to it that the database is open, is the right one, and takes what is written.
    fn ready(&mut self) -> Result<(), StoreError> {
        let store = &mut self.engine.store;
        if self.begun && self.outage.is_none() {
            return store.still_there();
        }
        if self.outage.is_some() || !store.is_open() {
            store.open_again()?;
            store.try_writing()?;
        }
        store.note_configuration(Some(&self.digest))?;
        if !self.begun {
            if let Some(demo) = self.engine.config.demo {
                self.engine.clock = Clock::for_run(Some(demo), store.last_cycle()?);
            }
            self.begun = true;
        }
        Ok(())
    }

    /// Whether the clock is in doubt, so that nothing is evaluated or sent.
    fn is_held(&mut self, doubt: Option<&ClockDoubt>) -> bool {
        let steady = self.engine.clock.steady();
        let Some(doubt) = doubt else {
            if self.doubted.take().is_some() {
                info!("the clock is in doubt no longer");
            }
            return false;
        };
        let reason = doubt.reason();
        let kind = discriminant(doubt);
        let known = self.doubted.filter(|(known, _)| *known == kind);
        if known.is_none() {
            error!("{reason}; nothing is evaluated or sent until the clock is right");
            notify(&[NotifyState::Status(&format!("held: {reason}"))]);
        }
        // One that was behind and is ahead now is doubted anew.
        let (_, since) = *self.doubted.insert(known.unwrap_or((kind, steady)));
        doubt.holds(steady.duration_since(since))
    }

    /// One look: a cycle if one is due, else whatever waits in the outbox.
    async fn step(&mut self) -> Result<(), StoreError> {
        self.ready()?;
        let check = self.engine.check_clock()?;
        if self.is_held(check.doubt.as_ref()) {
            return Ok(());
        }
        let engine = &mut self.engine;
        engine.take_back_days_ahead(check)?;
        if engine.is_due()? {
            let report = engine.cycle(&beat).await?;
            summarise(engine, &report);
            if report.is_good() {
                engine.heartbeat(&beat).await;
            }
        } else if engine.is_digest_due()? {
            engine.tell(&beat).await?;
        } else {
            let mut report = Report::default();
            engine.deliver(&beat, &mut report).await?;
        }
        Ok(())
    }

    /// Reads the configuration anew. A bad one is reported and the old one stays in force.
    async fn reload(&mut self) {
        if let Ok(since) = NotifyState::monotonic_usec_now() {
            notify(&[NotifyState::Reloading, since]);
        }
        let status = self.take_configuration();
        // While the database fails this waits until it works again.
        let noted = match self.begun && self.outage.is_none() {
            true => self.engine.store.note_configuration(Some(&self.digest)),
            false => Ok(()),
        };
        notify(&[NotifyState::Ready, NotifyState::Status(status)]);
        if let Err(problem) = noted {
            self.failed(&problem).await;
        }
    }

    /// What became of it, for the service manager.
    fn take_configuration(&mut self) -> &'static str {
        let engine = &mut self.engine;
        let loaded = match load(self.config_path) {
            Ok(loaded) => loaded,
            Err(problems) => {
                for problem in &problems {
                    error!("{problem}");
                }
                error!("the configuration has errors; the old one stays in force");
                return "reload refused: the old configuration stays in force";
            }
        };
        for warning in loaded.warnings_on(engine.clock.civil_day()) {
            warn!("{warning}");
        }
        if loaded.config.service.database != engine.config.service.database {
            error!(
                "service.database has changed, which needs a restart; the old configuration stays in force"
            );
            return "reload refused: a new database needs a restart";
        }
        match Setup::of(&loaded.config) {
            Ok(setup) => {
                self.digest = loaded.digest;
                engine.adopt(loaded.config, setup);
                info!("the new configuration is in force");
                "the new configuration is in force"
            }
            Err(problem) => {
                error!("{problem}; the old configuration stays in force");
                "reload refused: the old configuration stays in force"
            }
        }
    }
}

/// Turns SIGTERM and SIGINT into a request to stop, which the engine looks at between two steps:
/// a message that a server has just accepted is still noted as sent. A thread of its own listens,
/// so that it is heard while the other one waits for the database.
fn stop_on_signal(stop: watch::Sender<bool>) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .build()
        .context("cannot listen for signals")?;
    let entered = runtime.enter();
    let mut terminate: Signal =
        signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?;
    let mut interrupt = signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?;
    drop(entered);
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            runtime.block_on(async {
                tokio::select! {
                    _ = terminate.recv() => {}
                    _ = interrupt.recv() => {}
                }
            });
            wait_no_more();
            stop.send_replace(true);
        })
        .context("cannot listen for signals")?;
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

fn beat() {
    notify(&[NotifyState::Watchdog]);
}

/// Tells the service manager, if there is one.
fn notify(state: &[NotifyState<'_>]) {
    if let Err(problem) = sd_notify::notify(state) {
        warn!("the service manager cannot be told: {problem}");
    }
}
