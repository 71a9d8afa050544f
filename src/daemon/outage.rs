//! A fault of the database while the service runs: when it is tried again, and who is told when.

use std::time::{Duration, Instant};

/// First pause before the database is tried again.
const FIRST_PAUSE: Duration = Duration::from_secs(5);

/// Pauses double up to this.
const LONGEST_PAUSE: Duration = Duration::from_secs(5 * 60);

/// What lasts is said again after this.
const SAID_AGAIN: Duration = Duration::from_secs(3600);

/// The operator hears of it from this failure on: a lock that is soon let go is no news.
const TOLD_FROM: u32 = 3;

/// From the first failure to the first step that works again.
#[derive(Debug)]
pub(super) struct Outage {
    since: Instant,
    failures: u32,
    next: Instant,
    logged: Option<Instant>,
    told: Option<Instant>,
}

/// Who is to hear of a failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Hearers {
    pub journal: bool,
    pub operator: bool,
}

impl Outage {
    /// One that begins.
    pub fn begin(now: Instant) -> Self {
        Self {
            since: now,
            failures: 0,
            next: now,
            logged: None,
            told: None,
        }
    }

    /// Notes a failure.
    pub fn failed(&mut self, now: Instant) -> Hearers {
        let doubled = FIRST_PAUSE * 2_u32.pow(self.failures.min(10));
        self.next = now + doubled.min(LONGEST_PAUSE);
        self.failures = self.failures.saturating_add(1);
        let operator = self.failures >= TOLD_FROM;
        Hearers {
            journal: is_due(&mut self.logged, now),
            operator: operator && is_due(&mut self.told, now),
        }
    }

    /// How long to wait before the next try.
    pub fn wait(&self, now: Instant) -> Duration {
        self.next.saturating_duration_since(now)
    }

    /// How long it has lasted.
    pub fn lasted(&self, now: Instant) -> Duration {
        Duration::from_secs(now.duration_since(self.since).as_secs())
    }

    /// Whether the operator was told, and wants to hear that it is over.
    pub fn is_told(&self) -> bool {
        self.told.is_some()
    }
}

/// Whether something is to be said again; it is noted then.
fn is_due(last: &mut Option<Instant>, now: Instant) -> bool {
    let due = last.is_none_or(|last| now.duration_since(last) >= SAID_AGAIN);
    if due {
        *last = Some(now);
    }
    due
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_from_five_seconds_to_five_minutes() {
        let mut now = Instant::now();
        let mut outage = Outage::begin(now);
        let pauses = [(); 8].map(|()| {
            outage.failed(now);
            let wait = outage.wait(now);
            now += wait;
            wait.as_secs()
        });
        assert_eq!(pauses, [5, 10, 20, 40, 80, 160, 300, 300]);
    }

    #[test]
    fn a_fault_is_said_at_once_and_then_once_an_hour_and_told_from_the_third_failure() {
        let start = Instant::now();
        let mut outage = Outage::begin(start);
        let mut now = start;
        let mut heard = Vec::new();
        while now - start < Duration::from_secs(24 * 3600) {
            heard.push(outage.failed(now));
            assert_eq!(outage.is_told(), heard.len() >= 3);
            now += outage.wait(now);
        }
        let journal = heard.iter().filter(|one| one.journal).count();
        let operator = heard.iter().filter(|one| one.operator).count();
        assert!(heard[0].journal && !heard[1].journal && !heard[2].journal);
        assert!(!heard[1].operator && heard[2].operator && !heard[3].operator);
        assert!((23..=24).contains(&journal), "{journal}");
        assert!((23..=24).contains(&operator), "{operator}");
    }
}
