//! The loop that runs for years: looks at the clock, runs cycles that are due, sends what waits,
//! answers signals, and lets the service manager see that it works. A database that fails does not
//! end it: it is tried again until it works.

use crate::clock::{Clock, ClockDoubt};
use crate::config::Config;
use crate::cycle::{Engine, Report, make_web_push_key};
use crate::domain::place::site::PageAccess;
use crate::in_force::Standing;
use crate::store::page_keys::KeyOwner;
use crate::store::{Store, StoreError, wait_no_more};
use crate::web::PageConfig;
use anyhow::Context;
use chrono::{DateTime, Utc};
use door::Door;
use outage::Outage;
use sd_notify::NotifyState;
use std::mem::{Discriminant, discriminant};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::net::UnixStream;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{Notify, watch};
use tracing::{error, info, warn};

pub mod door;
mod outage;
mod reload;

/// The running service.
pub struct Daemon<'p> {
    /// What it runs.
    pub engine: Engine,
    config_path: &'p Path,
    /// The configuration that is in force.
    standing: Standing,
    /// When it was read.
    read_at: DateTime<Utc>,
    /// Whether its members' mistakes are written down and told.
    faults_noted: bool,
    /// Where others see the configuration that is in force.
    in_force: watch::Sender<PageConfig>,
    /// Rung when there is something to send.
    bell: Arc<Notify>,
    /// Sent when something that is shown or published may have changed.
    news: watch::Sender<()>,
    /// Whether the database has been open at all.
    begun: bool,
    outage: Option<Outage>,
    /// Why the clock is in doubt, ahead or behind, and since when.
    doubted: Option<(Discriminant<ClockDoubt>, Instant)>,
}

impl<'p> Daemon<'p> {
    /// A service with an engine whose database need not be open yet.
    pub fn new(engine: Engine, config_path: &'p Path, standing: Standing) -> Self {
        let (in_force, _) = watch::channel(PageConfig {
            config: Arc::clone(&engine.config),
            digest: standing.digest.clone(),
            faults: standing.faults.clone(),
        });
        Self {
            in_force,
            bell: Arc::default(),
            news: watch::Sender::default(),
            engine,
            config_path,
            standing,
            read_at: Clock::Machine.now(),
            faults_noted: false,
            begun: false,
            outage: None,
            doubted: None,
        }
    }

    /// The configuration that is in force, now and later.
    pub fn in_force(&self) -> watch::Receiver<PageConfig> {
        self.in_force.subscribe()
    }

    /// What to ring so that it looks at once what there is to send.
    pub fn bell(&self) -> Arc<Notify> {
        Arc::clone(&self.bell)
    }

    /// What changes when something that is shown or published may have.
    pub fn news(&self) -> watch::Receiver<()> {
        self.news.subscribe()
    }

    /// Runs until it is told to stop.
    ///
    /// # Errors
    /// If signals cannot be listened to.
    pub async fn run(mut self, stop: watch::Sender<bool>) -> anyhow::Result<()> {
        let mut reload_signal = signal(SignalKind::hangup()).context("cannot listen for SIGHUP")?;
        let door = Door::open(&self.engine.config.service.database)
            .inspect_err(|error| {
                warn!("hatchbell reload does not work, use SIGHUP: no socket beside the database ({error})");
            })
            .ok();
        let stopping = stop.subscribe();
        stop_on_signal(stop)?;
        notify(&[NotifyState::Ready, NotifyState::Status("started")]);
        info!("running; hatchbell reload reads the configuration anew, SIGTERM stops");
        reload::report(&self.standing.faults);
        while !*stopping.borrow() {
            beat();
            let wait = self.look().await;
            let mut woken = stopping.clone();
            tokio::select! {
                () = tokio::time::sleep(wait) => {}
                () = self.bell.notified() => self.news.send_replace(()),
                Some(()) = reload_signal.recv() => { self.reload().await; }
                asked = knock(door.as_ref()) => self.answer(asked).await,
                _ = woken.wait_for(|stop| *stop) => {}
            }
        }
        notify(&[NotifyState::Stopping, NotifyState::Status("stopping")]);
        if self.outage.is_none()
            && let Err(problem) = self.engine.store.note_nothing_in_force()
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
        store.note_in_force(&self.standing, self.read_at)?;
        mind_keys(store, &self.engine.config)?;
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
        if !self.faults_noted {
            engine.note_faults(&self.standing.faults, &mut Report::default())?;
            self.faults_noted = true;
        }
        if engine.is_due()? {
            let report = engine.cycle(&beat).await?;
            self.news.send_replace(());
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

    /// Reads the configuration anew for somebody who asked, and tells them what became of it.
    async fn answer(&mut self, asked: std::io::Result<UnixStream>) {
        let result = match asked {
            Ok(stream) => door::answer(stream, &self.reload().await).await,
            Err(error) => Err(error),
        };
        if let Err(error) = result {
            warn!("whoever asked for a reload could not be told: {error}");
        }
    }
}

/// Makes the keys of the page worth nothing of those who are no longer configured, and the key for push
/// services if somebody needs it.
fn mind_keys(store: &mut Store, config: &Config) -> Result<(), StoreError> {
    let is_there = |owner: &KeyOwner| {
        let found = config.member_and_recipient(&owner.recipient);
        found.is_some_and(|(member, recipient)| {
            member.id == owner.member && recipient.page != PageAccess::None
        })
    };
    store.revoke_keys_of_others(is_there, Clock::Machine.now())?;
    make_web_push_key(config, store)
}

/// Waits for somebody who asks for a reload; for ever where nobody can.
async fn knock(door: Option<&Door>) -> std::io::Result<UnixStream> {
    match door {
        Some(door) => door.knock().await,
        None => std::future::pending().await,
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
