//! The engine itself, cycle by cycle under a clock that is set.

use super::command::Workshop;
use chrono::NaiveDate;
use hatchbell::clock::Clock;
use hatchbell::config::{Config, load};
use hatchbell::cycle::{Engine, Setup};
use hatchbell::domain::weather::reading::Reading;
use hatchbell::store::Store;
use tokio::sync::watch;

/// Messages that are about no species, and no season's letter, unless it brings something else.
const ABOUT_TEMPERATURES: &str = "title NOT LIKE '%beetle%'
    AND (title NOT LIKE 'The grub season ahead: %' OR title LIKE '%(+%')";

/// A configuration played in a workshop.
pub struct Play {
    pub workshop: Workshop,
    config: String,
    engine: Option<Engine>,
    _stop: watch::Sender<bool>,
}

impl Play {
    /// Starts with this configuration.
    pub fn new(text: &str) -> Self {
        Self::within(Workshop::new(), text)
    }

    /// The same in a folder that holds something already.
    pub fn within(workshop: Workshop, text: &str) -> Self {
        let config = workshop.write("hatchbell.toml", text);
        let (stop, _) = watch::channel(false);
        let mut play = Self {
            workshop,
            config,
            engine: None,
            _stop: stop,
        };
        play.restart();
        play
    }

    /// Stops, and starts anew from what is stored.
    pub fn restart(&mut self) {
        self.engine = None;
        let config = self.loaded();
        let store = Store::open_for_a_while(&config.service.database).expect("a database");
        let setup = Setup::of(&config).expect("a setup");
        self.engine = Some(Engine::new(
            config,
            setup,
            store,
            Clock::Set("2026-01-01T00:00:00Z".parse().expect("an instant")),
            Box::new(std::io::sink()),
            self._stop.subscribe(),
        ));
    }

    /// Goes on with another configuration.
    pub fn reconfigure(&mut self, text: &str) {
        self.workshop.write("hatchbell.toml", text);
        self.restart();
    }

    fn loaded(&self) -> Config {
        match load(self.config.as_ref()) {
            Ok(loaded) => loaded.config,
            Err(problems) => panic!("{problems:?}"),
        }
    }

    /// One cycle at an instant.
    pub async fn cycle(&mut self, at: &str) {
        let engine = self.engine.as_mut().expect("a running engine");
        engine.clock = Clock::Set(at.parse().expect("an instant"));
        engine.cycle(&|| ()).await.expect("the database works");
    }

    /// What the daemon does between two cycles at an instant: digests whose hour has come.
    pub async fn between_cycles(&mut self, at: &str) {
        let engine = self.engine.as_mut().expect("a running engine");
        engine.clock = Clock::Set(at.parse().expect("an instant"));
        if engine.is_digest_due().expect("the database works") {
            engine.tell(&|| ()).await.expect("the database works");
        }
    }

    /// Runs `hatchbell import` with these arguments.
    pub fn import(&self, arguments: &[&str]) {
        let import = ["import", "--config", &self.config];
        self.workshop.succeeds(&[&import, arguments].concat());
    }

    /// A column of texts from the database.
    pub fn column(&self, query: &str) -> Vec<String> {
        let database = rusqlite::Connection::open(self.workshop.path("hatchbell.db")).unwrap();
        let mut statement = database.prepare(query).unwrap();
        let rows = statement.query_map([], |row| row.get(0)).unwrap();
        rows.map(Result::unwrap).collect()
    }

    /// The titles of all messages that are about temperatures and not about a species, in order.
    pub fn titles(&self) -> Vec<String> {
        let query = format!("SELECT title FROM outbox WHERE {ABOUT_TEMPERATURES} ORDER BY id");
        self.column(&query)
    }

    /// The newest of these messages as one line.
    pub fn newest_message(&self) -> String {
        let query =
            format!("SELECT body FROM outbox WHERE {ABOUT_TEMPERATURES} ORDER BY id DESC LIMIT 1");
        one_line(&self.column(&query)[0])
    }

    /// The first message whose title holds these words, as one line.
    pub fn message(&self, words: &str) -> String {
        let query =
            format!("SELECT body FROM outbox WHERE title LIKE '%{words}%' ORDER BY id LIMIT 1");
        one_line(&self.column(&query)[0])
    }

    /// A number from the database.
    pub fn count(&self, query: &str) -> i64 {
        let database = rusqlite::Connection::open(self.workshop.path("hatchbell.db")).unwrap();
        database.query_row(query, [], |row| row.get(0)).unwrap()
    }

    /// The stored days of all stations.
    pub fn stored(&self) -> Vec<(NaiveDate, Reading)> {
        let store = Store::open_to_read(&self.workshop.path("hatchbell.db")).unwrap();
        let stations = self.column("SELECT DISTINCT station FROM reading_year");
        stations
            .iter()
            .flat_map(|station| store.readings(station).unwrap())
            .collect()
    }

    /// How many stored days of any station there are of a kind.
    pub fn days(&self, is_one: impl Fn(NaiveDate, Reading) -> bool) -> usize {
        let stored = self.stored();
        stored
            .iter()
            .filter(|(day, reading)| is_one(*day, *reading))
            .count()
    }

    /// The newest day with both extremes.
    pub fn newest_day(&self) -> String {
        self.column("SELECT max(newest) FROM reading_year")
            .remove(0)
    }

    /// What `hatchbell status` prints, on one line.
    pub fn status(&self, day: &str) -> String {
        let status = ["status", "--config", &self.config, "--date", day];
        one_line(&self.workshop.succeeds(&status))
    }

    /// What `hatchbell status --site` prints of the lawn, on one line.
    pub fn lawn_status(&self, day: &str) -> String {
        let status = ["status", "--site", "lawn", "--config", &self.config];
        let shown = self
            .workshop
            .succeeds(&[&status[..], &["--date", day]].concat());
        one_line(&shown)
    }

    /// What `hatchbell status --json` prints.
    pub fn status_json(&self, day: &str) -> serde_json::Value {
        let text =
            self.workshop
                .succeeds(&["status", "--json", "--config", &self.config, "--date", day]);
        serde_json::from_str(&text).expect("JSON")
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
