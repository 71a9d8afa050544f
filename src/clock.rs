//! The one place that reads the time.

use crate::config::Demo;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::time::{Duration, Instant};

/// Time never goes before this: a machine without a battery wakes up in 1970 or so.
const EARLIEST: NaiveDate = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");

/// Longest time between two looks at the clock. Timers do not count while a machine sleeps.
const LONGEST_TICK: Duration = Duration::from_secs(30);

/// A clock backwards by up to this much is ordinary correction.
const ALLOWED_STEP_BACK: TimeDelta = TimeDelta::hours(1);

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
/// last cycle the database knows of.
pub fn doubt(now: DateTime<Utc>, last_cycle: Option<DateTime<Utc>>) -> Option<String> {
    if now.date_naive() < EARLIEST {
        return Some(format!(
            "the clock says {}, before this program was made",
            now.format("%Y-%m-%d %H:%M UTC")
        ));
    }
    let last = last_cycle.filter(|last| now < *last - ALLOWED_STEP_BACK)?;
    Some(format!(
        "the clock says {}, but the last cycle ran at {}",
        now.format("%Y-%m-%d %H:%M UTC"),
        last.format("%Y-%m-%d %H:%M UTC")
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
    fn a_clock_set_back_behind_the_last_cycle_is_doubted() {
        let last = Some(at("2026-07-01T12:00:00Z"));
        assert!(doubt(at("2026-07-01T10:00:00Z"), last).is_some());
        assert!(doubt(at("2026-07-01T11:30:00Z"), last).is_none());
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
