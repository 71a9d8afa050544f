//! The one place that reads the time.

use crate::config::Demo;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::time::{Duration, Instant};

/// Time never goes before this: a machine without a battery wakes up in 1970 or so.
const EARLIEST: NaiveDate = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");

/// Longest time between two looks at the clock. Timers do not count while a machine sleeps.
const LONGEST_TICK: Duration = Duration::from_secs(30);

/// Where the time comes from.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's.
    Machine,
    /// A demonstration's own, which runs fast.
    Demo {
        /// Where it started.
        from: DateTime<Utc>,
        /// The machine's time then.
        since: Instant,
        /// Real seconds a day takes.
        seconds_per_day: f64,
    },
    /// Stands still; set by whoever plays a season.
    Set(DateTime<Utc>),
}

impl Clock {
    /// The clock of a configuration; a demonstration goes on a day after its last cycle.
    pub fn for_run(demo: Option<Demo>, last_cycle: Option<DateTime<Utc>>) -> Self {
        match demo {
            None => Clock::Machine,
            Some(demo) => Clock::Demo {
                from: last_cycle.map_or(demo.starts, |last| last + TimeDelta::days(1)),
                since: Instant::now(),
                seconds_per_day: demo.seconds_per_day,
            },
        }
    }

    /// Now.
    pub fn now(&self) -> DateTime<Utc> {
        match self {
            Clock::Machine => Utc::now(),
            Clock::Demo {
                from,
                since,
                seconds_per_day,
            } => {
                let days = since.elapsed().as_secs_f64() / seconds_per_day;
                *from + TimeDelta::milliseconds((days * 86_400_000.0) as i64)
            }
            Clock::Set(now) => *now,
        }
    }

    /// An instant that only goes forward, whatever is done to the clock; it stands still while the
    /// machine sleeps.
    pub fn steady() -> Instant {
        Instant::now()
    }

    /// The civil day: the machine's own where it is the machine's clock, so that what people enter
    /// in the evening in America or in the morning in Australia is of the day they have.
    pub fn civil_day(&self) -> NaiveDate {
        match self {
            Clock::Machine => chrono::Local::now().date_naive(),
            _ => self.now().date_naive(),
        }
    }

    /// Whether this is the machine's clock, which may be wrong.
    pub fn is_machine(&self) -> bool {
        matches!(self, Clock::Machine)
    }

    /// How long to wait before looking again.
    pub fn tick(&self) -> Duration {
        match self {
            Clock::Demo {
                seconds_per_day, ..
            } => Duration::from_secs_f64(seconds_per_day / 4.0).min(LONGEST_TICK),
            _ => LONGEST_TICK,
        }
    }
}

/// Why a time cannot be right, if it cannot: it lies before this program was made, or before the
/// newest day that a station has measured. The last cycle is no evidence: it may have run under a
/// clock that was ahead.
pub fn doubt(now: DateTime<Utc>, newest_day: Option<NaiveDate>) -> Option<String> {
    if now.date_naive() < EARLIEST {
        return Some(format!(
            "the clock says {}, before this program was made",
            now.format("%Y-%m-%d %H:%M UTC")
        ));
    }
    // A day of grace for places ahead of UTC.
    let newest = newest_day.filter(|day| now.date_naive() + Days::new(1) < *day)?;
    Some(format!(
        "the clock says {}, but a station has measured {newest} already",
        now.format("%Y-%m-%d %H:%M UTC")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn a_clock_from_before_the_program_is_doubted() {
        assert!(doubt(at("1970-01-01T00:00:30Z"), None).is_some());
        assert!(doubt(at("2026-07-01T00:00:00Z"), None).is_none());
    }

    #[test]
    fn a_clock_behind_the_newest_measured_day_is_doubted() {
        let newest = NaiveDate::from_ymd_opt(2026, 7, 1);
        assert!(doubt(at("2026-06-20T10:00:00Z"), newest).is_some());
        assert!(doubt(at("2026-06-30T10:00:00Z"), newest).is_none());
        assert!(doubt(at("2026-07-04T10:00:00Z"), newest).is_none());
    }

    #[test]
    fn a_demonstration_goes_on_a_day_after_its_last_cycle() {
        let demo = Demo {
            starts: at("2026-01-05T06:00:00Z"),
            seconds_per_day: 86_400.0,
            published_lag_days: 3,
            deliver: crate::config::DemoDelivery::Console,
        };
        let first = Clock::for_run(Some(demo), None).now();
        let later = Clock::for_run(Some(demo), Some(at("2026-05-01T06:00:00Z"))).now();
        assert_eq!(first.date_naive().to_string(), "2026-01-05");
        assert_eq!(later.date_naive().to_string(), "2026-05-02");
    }
}
