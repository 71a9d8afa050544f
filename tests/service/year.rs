//! A year of a machine that sleeps, is switched off, and whose clock jumps or begins in 1970: in every
//! zone each digest is sent once, and each day is evaluated.

use crate::support::chance::Chance;
use crate::support::command::{Workshop, config_with};
use chrono::{DateTime, Days, NaiveDate, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::{TZ_VARIANTS, Tz};
use hatchbell::clock::Clock;
use hatchbell::config::load;
use hatchbell::cycle::{Engine, Setup};
use hatchbell::daemon::Daemon;
use hatchbell::store::Store;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// Between two looks; the service itself looks more often.
const TICK: TimeDelta = TimeDelta::minutes(20);

/// The furthest that a clock is moved and still believed.
const FURTHEST_STEP: TimeDelta = TimeDelta::hours(3);

/// The longest that the machine sleeps or is off.
const LONGEST_SLEEP: TimeDelta = TimeDelta::hours(30);

fn first() -> DateTime<Utc> {
    "2026-07-01T06:00:00Z".parse().expect("an instant")
}

fn end() -> DateTime<Utc> {
    "2027-07-05T00:00:00Z".parse().expect("an instant")
}

/// One zone for each way in which clocks go in this year; the others go as one of them.
fn zones() -> Vec<Tz> {
    let hours = |zone: &Tz| -> Vec<i32> {
        let length = (end() - first()).num_hours();
        let hours = (0..length).map(|hour| (first() + TimeDelta::hours(hour)).naive_utc());
        hours
            .map(|hour| zone.offset_from_utc_datetime(&hour).fix().local_minus_utc())
            .collect()
    };
    let different: BTreeMap<Vec<i32>, Tz> = TZ_VARIANTS
        .iter()
        .map(|zone| (hours(zone), *zone))
        .collect();
    different.into_values().collect()
}

/// The day whose cycle is the newest that the schedule asks for.
fn scheduled(time: DateTime<Utc>) -> NaiveDate {
    (time - TimeDelta::hours(6)).date_naive()
}

/// What is wrong with the clock.
#[derive(Clone, Copy)]
enum Fault {
    /// It is ahead or behind by so much, and believed.
    Step(TimeDelta),
    /// It shows such a time, and must not be believed.
    Shows(DateTime<Utc>),
}

/// A machine and what its clock shows.
struct Machine {
    true_time: DateTime<Utc>,
    steady: Instant,
    /// With the true time of its end.
    fault: Option<(Fault, DateTime<Utc>)>,
    /// Whether a fault has just ended: the next one comes after a look at least, or two would be one
    /// that lasts longer than the hour that is doubted.
    is_put_right: bool,
    chance: Chance,
    /// Days on which the clock was moved.
    stepped: BTreeSet<NaiveDate>,
    /// How often something of each kind happened.
    happened: BTreeMap<&'static str, usize>,
}

impl Machine {
    fn shows(&self) -> DateTime<Utc> {
        match self.fault {
            None => self.true_time,
            Some((Fault::Step(by), _)) => self.true_time + by,
            Some((Fault::Shows(time), until)) => {
                time + (self.true_time + TimeDelta::hours(9) - until)
            }
        }
    }

    fn clock(&self) -> Clock {
        Clock::Trial {
            shows: self.shows(),
            steady: self.steady,
        }
    }

    /// Awake for a tick, or until the clock is put right.
    fn tick(&mut self) {
        let until_right = self.fault.map_or(TICK, |(_, until)| until - self.true_time);
        let by = TICK.min(until_right.max(TimeDelta::minutes(1)));
        self.true_time += by;
        self.steady += by.to_std().expect("a time ahead");
        if self.fault.is_some_and(|(_, until)| until <= self.true_time) {
            self.note_step();
            self.fault = None;
            self.is_put_right = true;
        }
    }

    /// Asleep or off; timers stand still.
    fn sleep(&mut self) {
        let minutes = self.chance.within(60..LONGEST_SLEEP.num_minutes());
        self.true_time += TimeDelta::minutes(minutes);
    }

    /// A clock that is believed takes the program to another day and back.
    fn note_step(&mut self) {
        if !matches!(self.fault, Some((Fault::Step(_), _))) {
            return;
        }
        let days = [self.true_time, self.shows()];
        self.stepped.extend(days.map(scheduled));
    }

    fn goes_wrong(&mut self, kind: &'static str, fault: Fault, minutes: i64) {
        *self.happened.entry(kind).or_default() += 1;
        self.fault = Some((fault, self.true_time + TimeDelta::minutes(minutes)));
        self.note_step();
    }

    /// Lets something happen now and then. Says whether the machine was switched off and on.
    fn fate(&mut self) -> bool {
        if std::mem::take(&mut self.is_put_right) || self.fault.is_some() {
            return false;
        }
        let per_mille = self.chance.within(0..1000);
        match per_mille {
            0..3 => {
                *self.happened.entry("sleep").or_default() += 1;
                self.sleep();
            }
            3..5 => {
                let furthest = FURTHEST_STEP.num_minutes();
                let by = TimeDelta::minutes(self.chance.within(-furthest..furthest));
                let minutes = self.chance.within(20..600);
                self.goes_wrong("step", Fault::Step(by), minutes);
            }
            5 => {
                // Put right within the hour, as by a time server that is reached again.
                let years = self.chance.within(2..70);
                let time = self.true_time + TimeDelta::days(400 * years);
                self.goes_wrong("years ahead", Fault::Shows(time), 50);
            }
            6 => {
                let time = "2025-12-01T00:00:00Z".parse().expect("an instant");
                let minutes = self.chance.within(60..300);
                self.goes_wrong("years behind", Fault::Shows(time), minutes);
            }
            7..9 => {
                self.sleep();
                let time = DateTime::UNIX_EPOCH;
                let minutes = self.chance.within(1..90);
                self.goes_wrong("start without battery clock", Fault::Shows(time), minutes);
                return true;
            }
            _ => {}
        }
        false
    }
}

fn daemon(workshop: &Workshop, machine: &Machine) -> Daemon<'static> {
    let loaded = match load(&workshop.path("hatchbell.toml")) {
        Ok(loaded) => loaded,
        Err(problems) => panic!("{problems:?}"),
    };
    let config = loaded.config;
    let store = Store::open_for_a_while(&config.service.database).expect("a database");
    let setup = Setup::of(&config).expect("a setup");
    let (_, stopping) = watch::channel(false);
    let output = Box::new(std::io::sink());
    let engine = Engine::new(config, setup, store, machine.clock(), output, stopping);
    Daemon::new(engine, Path::new("hatchbell.toml"), loaded.standing)
}

/// The times of a digest on Sundays at half past two, which many clocks skip or show twice, by a way of
/// its own: the first instant from which on the clock shows this time or a later one of the day.
fn digest_times(zone: Tz) -> Vec<DateTime<Utc>> {
    let mut times = Vec::new();
    let mut day: NaiveDate = "2026-06-28".parse().expect("a day");
    while day <= end().date_naive() {
        let due = day.and_hms_opt(2, 30, 0).expect("a time");
        let noon_before = (day - Days::new(1))
            .and_hms_opt(9, 0, 0)
            .expect("a time")
            .and_utc();
        let minutes = (0..3 * 24 * 12)
            .map(|five| noon_before - TimeDelta::hours(14) + TimeDelta::minutes(5 * five));
        let mut shown = minutes.filter(|time| time.with_timezone(&zone).naive_local() >= due);
        times.push(shown.next().expect("it comes"));
        day = day + Days::new(7);
    }
    times
}

#[tokio::test]
async fn in_a_year_of_sleeps_and_wrong_clocks_each_day_is_evaluated_and_each_zone_has_each_digest_once()
 {
    let seed = std::env::var("HATCHBELL_SEED").map_or(14, |text| text.parse().expect("a number"));
    let zones = zones();
    let recipients: String = zones
        .iter()
        .enumerate()
        .map(|(index, zone)| {
            format!(
                "[[member.recipient]]\nid = \"r{index}\"\nname = \"r{index}\"\nconsole = true\ntell = [\"digest\"]\n\
                 zone = \"{zone}\"\ndigest = {{ every = \"week\", day = \"sunday\", at = \"02:30\" }}\n"
            )
        })
        .collect();
    let workshop = Workshop::new();
    // Days stop arriving long before, so there is something to tell each week.
    workshop.write("days.csv", "DATE,TMAX,TMIN\n2026-06-01,25.0,15.0\n");
    let text = config_with("file = \"days.csv\"", "console = true", &recipients);
    workshop.write("hatchbell.toml", &text);

    let mut machine = Machine {
        true_time: first(),
        steady: Instant::now(),
        fault: None,
        is_put_right: false,
        chance: Chance(seed),
        stepped: BTreeSet::new(),
        happened: BTreeMap::new(),
    };
    let mut daemon = daemon(&workshop, &machine);
    let mut cycles: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    let mut awake: BTreeSet<NaiveDate> = BTreeSet::new();
    // By recipient, the true times at which a digest of theirs was noted.
    let mut digests: BTreeMap<String, Vec<DateTime<Utc>>> = BTreeMap::new();
    let mut before = (None, BTreeMap::new());
    while machine.true_time < end() {
        if machine.fate() {
            daemon = self::daemon(&workshop, &machine);
        }
        daemon.engine.clock = machine.clock();
        let wait = daemon.look().await;
        assert!(wait <= Duration::from_secs(60));
        let store = &daemon.engine.store;
        let cycle = store.last_cycle().expect("a database");
        if let Some(at) = cycle.filter(|_| cycle != before.0) {
            *cycles.entry(scheduled(at)).or_default() += 1;
        }
        let noted: BTreeMap<_, _> = store
            .last_digests()
            .expect("a database")
            .into_iter()
            .collect();
        for (recipient, at) in &noted {
            if before.1.get(recipient) != Some(at) {
                digests
                    .entry(recipient.clone())
                    .or_default()
                    .push(machine.true_time);
            }
        }
        before = (cycle, noted);
        if machine.fault.is_none() {
            awake.insert(scheduled(machine.true_time));
        }
        machine.tick();
    }

    for kind in [
        "sleep",
        "step",
        "years ahead",
        "years behind",
        "start without battery clock",
    ] {
        assert!(
            machine.happened.get(kind).is_some_and(|count| *count >= 10),
            "{:?}",
            machine.happened
        );
    }
    let mut unmoved = 0;
    for day in &awake {
        let count = cycles.get(day).copied().unwrap_or_default();
        assert!(count >= 1, "{day} was left out");
        if !machine.stepped.contains(day) {
            assert_eq!(count, 1, "{day}");
            unmoved += 1;
        }
    }
    assert!(unmoved > 200, "{unmoved}");

    assert!(zones.len() > 50, "{}", zones.len());
    for (index, zone) in zones.iter().enumerate() {
        let (noted, due) = (&digests[&format!("r{index}")], digest_times(*zone));
        // The first note is from when on the first one gathers.
        let due: Vec<_> = due
            .into_iter()
            .filter(|time| first() < *time && *time < end() - LONGEST_SLEEP)
            .collect();
        let noted = &noted[1..];
        for (due, at) in due.iter().zip(noted) {
            let late = *at - *due;
            let most = LONGEST_SLEEP * 2 + TimeDelta::hours(6);
            assert!(
                -FURTHEST_STEP <= late && late <= most,
                "{zone}: {due} came {at}"
            );
        }
        let more = noted.len() - due.len().min(noted.len());
        assert!(
            noted.len() >= due.len() && more <= 1,
            "{zone}: {} of {}",
            noted.len(),
            due.len()
        );
        let sent = format!(
            "SELECT count(*) FROM outbox WHERE recipient = 'r{index}' AND kinds = 'digest' AND state = 'sent'"
        );
        let database =
            rusqlite::Connection::open(workshop.path("hatchbell.db")).expect("a database");
        let sent: i64 = database
            .query_row(&sent, [], |row| row.get(0))
            .expect("a number");
        assert_eq!(sent, noted.len() as i64, "{zone}");
    }
}
