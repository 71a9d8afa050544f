//! One cycle: take in, evaluate, deliver. The daemon, a single run and a replay all go through it.
//!
//! Each step asks the database what is still missing, so a cycle that is skipped, repeated or cut
//! short leaves nothing out and does nothing twice.

use crate::clock::Clock;
use crate::config::{Config, DemoDelivery};
use crate::domain::weather::rain::Rain;
use crate::domain::weather::reading::Readings;
use crate::feed::fetch::{FetchPolicy, Fetcher, user_agent};
use crate::feed::reader::FeedReader;
use crate::store::{Store, StoreError};
use chrono::{DateTime, Utc};
use enclosing::Pictures;
use lines::Server;
use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;

mod advising;
mod alarm;
mod asking;
mod browsers;
mod cases;
mod clock_check;
mod configuration;
mod data_notices;
mod deliver;
mod digests;
mod enclosing;
mod evaluate;
mod guarding;
mod intake;
mod lines;
mod look_back;
mod proof_of_life;
mod screening;
mod season_courses;
mod site_states;
mod station_days;
mod testing;
mod unreachable;
mod yardstick;

pub use advising::{Followed, waterings, weather_here};
pub use asking::{Asked, ask_everybody};
pub use browsers::make_web_push_key;
pub use cases::{
    SiteCase, SpeciesCase, seen_plans, site_case, with_hatches, with_plans_and_hatches,
};
pub use clock_check::{ClockCheck, clock_doubt};
pub use deliver::waits_for_its_hour;
pub use enclosing::{Illustrate, SeasonAsked};
pub use look_back::{look_back, seasons_on_record};
pub use screening::{screen_again, screened};
pub use season_courses::{SiteAtOnce, season_courses, site_at_once};
pub use site_states::{SiteState, newest_day_of, site_states, states_of_site};
pub use station_days::{daily, is_young, neighbour_of};
pub use testing::{KnownBrowsers, TestSent, send_test};
pub use yardstick::yardstick;

/// What drives the cycles.
pub struct Engine {
    /// What is configured.
    pub config: Arc<Config>,
    /// What is stored.
    pub store: Store,
    /// What the time is.
    pub clock: Clock,
    /// Where readings come from.
    reader: FeedReader,
    /// Where console messages are printed.
    output: Box<dyn Write>,
    print: Print,
    /// Becomes `true` when the cycle should come to an end early.
    stop: watch::Receiver<bool>,
    /// Until when servers asked to be left alone.
    resting: HashMap<Server, DateTime<Utc>>,
    /// What makes the pictures of mails; none if they have none.
    pub illustrate: Option<Illustrate>,
    pictures: Pictures,
    /// How long a delivery goes on before it gives way to a cycle or a digest that is due.
    pub least_delivery: Duration,
}

/// What a cycle did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Report {
    /// Stations asked.
    pub stations: usize,
    /// Stations that gave nothing because something went wrong.
    pub failed: usize,
    /// Milestones recorded.
    pub milestones: usize,
    /// Messages written to the outbox.
    pub messages: usize,
    /// Messages sent.
    pub sent: usize,
    /// Messages that could not be sent yet.
    pub unsent: usize,
    /// Messages that wait for the end of quiet hours or of a pause.
    pub for_their_hour: usize,
}

impl Report {
    /// Whether days can still arrive: a station has answered, or there is none to ask.
    pub fn is_good(&self) -> bool {
        self.failed < self.stations || self.stations == 0
    }
}

/// Called while a cycle works, so that a supervisor sees that it does.
pub type Beat<'b> = &'b dyn Fn();

/// A delivery gets on even where cycles are always due.
const LEAST_DELIVERY: Duration = Duration::from_secs(60);

/// Time between two beats while waiting for a server.
const BEAT: Duration = Duration::from_secs(20);

impl Engine {
    /// An engine; `output` is where console messages are printed, `stop` becomes `true` to end a
    /// cycle early.
    pub fn new(
        config: impl Into<Arc<Config>>,
        setup: Setup,
        store: Store,
        clock: Clock,
        output: Box<dyn Write>,
        stop: watch::Receiver<bool>,
    ) -> Self {
        Self {
            config: config.into(),
            store,
            clock,
            reader: setup.reader,
            output,
            print: setup.print,
            stop,
            resting: HashMap::new(),
            illustrate: None,
            pictures: Pictures::default(),
            least_delivery: LEAST_DELIVERY,
        }
    }

    /// Goes on with another configuration.
    pub fn adopt(&mut self, config: Arc<Config>, setup: Setup) {
        self.config = config;
        self.reader = setup.reader;
        self.print = setup.print;
    }

    /// A whole cycle.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails. Feeds and deliveries that fail are noted, and the
    /// cycle goes on.
    pub async fn cycle(&mut self, beat: Beat<'_>) -> Result<Report, StoreError> {
        let now = self.clock.now();
        let mut report = Report::default();
        self.take_in(now, beat, &mut report).await?;
        if !*self.stop.borrow() {
            self.evaluate(now, &mut report)?;
            let last_cycle = self.store.last_cycle()?;
            self.prove_life(now, last_cycle, &mut report)?;
            self.store.note_cycle(now)?;
        }
        self.deliver(beat, &mut report).await?;
        Ok(report)
    }

    /// What a cycle does after taking in: for digests whose hour comes between two cycles.
    ///
    /// # Errors
    /// As [`Engine::cycle`].
    pub async fn tell(&mut self, beat: Beat<'_>) -> Result<Report, StoreError> {
        let mut report = Report::default();
        self.evaluate(self.clock.now(), &mut report)?;
        self.deliver(beat, &mut report).await?;
        Ok(report)
    }

    /// Whether the hour of somebody's digest has come.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn is_digest_due(&self) -> Result<bool, StoreError> {
        let now = self.clock.now();
        let recipients = self.config.members.iter().flat_map(|one| &one.recipients);
        let mut gathering = recipients.filter(|one| one.gathers()).peekable();
        if gathering.peek().is_none() {
            return Ok(false);
        }
        let last = self.store.last_digests()?;
        let last = |id: &str| last.get(id).copied();
        Ok(gathering.any(|one| one.reception.digest_due(last(&one.id), now).is_some()))
    }

    /// Whether the schedule asks for a cycle: a time of it has come since the last one.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn is_due(&self) -> Result<bool, StoreError> {
        Ok(match self.store.last_cycle()? {
            None => true,
            // A last cycle in the future ran under a clock that was ahead.
            Some(last) if last > self.clock.now() => true,
            Some(last) => self
                .next_after(last)
                .is_some_and(|next| next <= self.clock.now()),
        })
    }

    /// The schedule's next time after an instant.
    pub fn next_after(&self, instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
        self.config.service.schedule.after(&instant).next()
    }
}

/// The parts of an engine that follow from a configuration.
pub struct Setup {
    reader: FeedReader,
    print: Print,
}

/// Which messages are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Print {
    /// Those for the console.
    Console,
    /// Mail and push messages as well, instead of being sent.
    MailAndPush,
    /// Every message, also those for files.
    All,
}

impl Setup {
    /// The parts for playing a season: files are shown day by day, `lag` days behind the clock,
    /// and every message is printed.
    ///
    /// # Errors
    /// As [`Setup::of`].
    pub fn for_replay(config: &Config, lag: u32) -> Result<Self, String> {
        let mut setup = Self::of(config)?;
        setup.reader.show_with_lag(lag);
        setup.print = Print::All;
        Ok(setup)
    }

    /// Readings and rain that take the place of a station's feed.
    pub fn keep(&mut self, station: &str, readings: Readings, rain: Rain) {
        self.reader.keep(station, readings, rain);
    }

    /// Makes the parts.
    ///
    /// # Errors
    /// A text that says why, if the further root certificates cannot be used.
    pub fn of(config: &Config) -> Result<Self, String> {
        Self::with_policy(config, FetchPolicy::default())
    }

    /// The same with other limits for feeds.
    ///
    /// # Errors
    /// As [`Setup::of`].
    pub fn with_policy(config: &Config, policy: FetchPolicy) -> Result<Self, String> {
        let extra_ca = lines::extra_ca(config)?;
        let agent = user_agent(&config.service.contact);
        let fetcher =
            Fetcher::new(policy, &agent, extra_ca.as_deref()).map_err(|error| error.to_string())?;
        let demo = config.demo;
        Ok(Self {
            reader: FeedReader::new(fetcher, demo.map(|demo| demo.published_lag_days)),
            print: match demo.map(|demo| demo.deliver) {
                Some(DemoDelivery::Console) => Print::MailAndPush,
                _ => Print::Console,
            },
        })
    }
}

/// Awaits something, beating meanwhile.
async fn with_beat<T>(work: impl Future<Output = T>, beat: Beat<'_>) -> T {
    tokio::pin!(work);
    loop {
        tokio::select! {
            result = &mut work => return result,
            () = tokio::time::sleep(BEAT) => beat(),
        }
    }
}
