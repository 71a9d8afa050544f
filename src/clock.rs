//! The one place that reads the time.

use crate::config::Demo;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use std::time::{Duration, Instant};

/// Time never goes before this: a machine without a battery wakes up in 1970 or so.
const EARLIEST: NaiveDate = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");

/// Longest time between two looks at the clock. Timers do not count while a machine sleeps.
const LONGEST_TICK: Duration = Duration::from_secs(60);

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
    /// A machine's in a trial: what it shows, right or wrong, and the instant that only goes forward.
    Trial {
        /// What it shows.
        shows: DateTime<Utc>,
        /// What [`Clock::steady`] is.
        steady: Instant,
    },
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
            Clock::Trial { shows, .. } => *shows,
        }
    }

    /// An instant that only goes forward, whatever is done to the clock; it stands still while the
    /// machine sleeps.
    pub fn steady(&self) -> Instant {
        match self {
            Clock::Trial { steady, .. } => *steady,
            _ => Instant::now(),
        }
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
        matches!(self, Clock::Machine | Clock::Trial { .. })
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

/// A clock this far ahead of everything that is known may be wrong, or the machine was off.
const LONG_AHEAD: Days = Days::new(366);

/// A clock that is ahead is given so long to be put right; then the machine was off.
const PUT_RIGHT_WITHIN: Duration = Duration::from_secs(3600);

/// What speaks for the time beside the clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct TimeEvidence {
    /// The newest day that a station has measured.
    pub newest_day: Option<NaiveDate>,
    /// On how many days after [`newest_allowed`] something was measured, as far as is stored.
    pub days_ahead: usize,
    /// When the last cycle ended.
    pub last_cycle: Option<DateTime<Utc>>,
}

/// Why a time may not be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ClockDoubt {
    /// It lies before something that has happened.
    Behind(String),
    /// It lies long after everything that is known.
    Ahead(String),
}

impl ClockDoubt {
    /// Whether it is still reason to wait, after so long.
    pub fn holds(&self, lasted: Duration) -> bool {
        match self {
            Self::Behind(_) => true,
            Self::Ahead(_) => lasted < PUT_RIGHT_WITHIN,
        }
    }

    /// The reason in words.
    pub fn reason(&self) -> &str {
        match self {
            Self::Behind(reason) | Self::Ahead(reason) => reason,
        }
    }
}

/// The newest day that can have been measured by now: a day of grace for places ahead of UTC.
pub fn newest_allowed(now: DateTime<Utc>) -> NaiveDate {
    now.date_naive() + Days::new(1)
}

/// Why a time may not be right, if so. It is behind if it lies before this program was made, or
/// before days that were measured. Those count only if most days up to them were measured too and the
/// last cycle ran after this time: a clock that was ahead lets single days of the future in. It is
/// ahead if nothing is known of more than a year before it although cycles have run.
pub fn doubt(now: DateTime<Utc>, evidence: &TimeEvidence) -> Option<ClockDoubt> {
    let says = format!("the clock says {}", now.format("%Y-%m-%d %H:%M UTC"));
    let TimeEvidence {
        newest_day,
        days_ahead,
        last_cycle,
    } = *evidence;
    if now.date_naive() < EARLIEST {
        let reason = format!("{says}, before this program was made");
        return Some(ClockDoubt::Behind(reason));
    }
    if let Some(newest) = newest_day.filter(|newest| *newest > newest_allowed(now)) {
        let span = (newest - newest_allowed(now)).num_days().unsigned_abs();
        let most = 2 * days_ahead as u64 >= span;
        return (most && last_cycle.is_none_or(|last| last > now)).then(|| {
            ClockDoubt::Behind(format!(
                "{says}, but a station has measured {newest} already"
            ))
        });
    }
    let last = last_cycle?.date_naive();
    let known = newest_day.map_or(last, |newest| newest.max(last));
    (now.date_naive() > known + LONG_AHEAD).then(|| {
        ClockDoubt::Ahead(format!(
            "{says}, but nothing is known of the time since {known}"
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Days from one to another are stored, and the last cycle ran at an instant.
    fn evidence(now: &str, from: &str, to: &str, last_cycle: &str) -> TimeEvidence {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let stored = day(from).iter_days().take_while(|one| *one <= day(to));
        let ahead = stored.filter(|one| *one > newest_allowed(at(now)));
        TimeEvidence {
            newest_day: Some(day(to)),
            days_ahead: ahead.count(),
            last_cycle: Some(at(last_cycle)),
        }
    }

    fn is_behind(doubt: Option<ClockDoubt>) -> bool {
        matches!(doubt, Some(ClockDoubt::Behind(_)))
    }

    #[test]
    fn a_clock_from_before_the_program_is_doubted() {
        let none = TimeEvidence::default();
        assert!(is_behind(doubt(at("1970-01-01T00:00:30Z"), &none)));
        assert_eq!(doubt(at("2026-07-01T00:00:00Z"), &none), None);
    }

    #[test]
    fn a_clock_behind_the_measured_days_is_doubted() {
        for (now, behind) in [
            ("2026-01-02T10:00:00Z", true),
            ("2026-06-20T10:00:00Z", true),
            ("2026-06-29T10:00:00Z", true),
            ("2026-06-30T10:00:00Z", false),
            ("2026-07-04T10:00:00Z", false),
        ] {
            let known = evidence(now, "2025-01-01", "2026-07-01", "2026-07-03T06:00:00Z");
            let found = doubt(at(now), &known);
            assert_eq!(is_behind(found), behind, "{now}");
        }
    }

    #[test]
    fn a_single_day_of_the_future_does_not_put_a_clock_in_doubt() {
        let now = "2026-07-01T10:00:00Z";
        for future in ["2026-07-08", "2100-01-02"] {
            let last = format!("{future}T06:00:00Z");
            let known = evidence(now, future, future, &last);
            assert_eq!(doubt(at(now), &known), None, "{future}");
        }
    }

    #[test]
    fn days_of_the_future_do_not_put_a_clock_in_doubt_that_has_not_gone_back() {
        let now = "2026-07-01T10:00:00Z";
        let known = evidence(now, "2026-01-01", "2026-12-31", "2026-07-01T06:00:00Z");
        assert_eq!(doubt(at(now), &known), None);
    }

    #[test]
    fn a_clock_long_ahead_is_doubted_for_an_hour() {
        let now = "2100-01-02T10:00:00Z";
        let known = evidence(now, "2026-01-01", "2026-06-28", "2026-07-01T06:00:00Z");
        let found = doubt(at(now), &known).unwrap();
        assert!(
            found.reason().ends_with("of the time since 2026-07-01"),
            "{found:?}"
        );
        assert!(found.holds(Duration::from_secs(59 * 60)));
        assert!(!found.holds(Duration::from_secs(60 * 60)));
        let winter = at("2027-06-30T10:00:00Z");
        assert_eq!(
            doubt(winter, &known),
            None,
            "a machine may be off for a year"
        );
        let new = TimeEvidence {
            last_cycle: None,
            ..known
        };
        assert_eq!(
            doubt(at(now), &new),
            None,
            "a history that was imported first"
        );
    }

    #[test]
    fn a_clock_behind_is_doubted_as_long_as_it_is() {
        let found = doubt(at("1970-01-01T00:00:30Z"), &TimeEvidence::default()).unwrap();
        assert!(found.holds(Duration::from_secs(1000 * 3600)));
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
