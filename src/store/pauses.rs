//! How long a message waits after an attempt that failed.

use chrono::TimeDelta;
use flate2::Crc;

/// What a failed attempt says of the next one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Retry {
    /// It may pass by itself.
    Soon,
    /// The server said how long to wait.
    After(TimeDelta),
    /// It will not pass by itself; the configuration may be mended meanwhile.
    Refused,
}

/// Pauses after the first attempts; the last one is that of all later ones.
const PAUSES: [TimeDelta; 5] = [
    TimeDelta::minutes(1),
    TimeDelta::minutes(5),
    TimeDelta::minutes(15),
    TimeDelta::hours(1),
    TimeDelta::hours(6),
];

/// Pause after a refusal, and the longest that a server may ask for.
const A_DAY: TimeDelta = TimeDelta::days(1);

/// A pause is longer by up to this part of it, so that what failed together is not tried together.
const JITTER: i32 = 5;

/// No message is put off for longer.
pub(super) const LONGEST: TimeDelta = TimeDelta::minutes(24 * 60 + 24 * 60 / JITTER as i64);

/// The pause after a message's attempt number `tries`: 1, 5, 15 and 60 minutes, then 6 hours; a day
/// after a refusal; what the server asked for, a day at most. Each is longer by up to a fifth,
/// which follows from the message's id.
pub fn pause(id: &str, tries: u32, retry: Retry) -> TimeDelta {
    let least = match retry {
        Retry::Soon => {
            let index = tries.saturating_sub(1) as usize;
            PAUSES[index.min(PAUSES.len() - 1)]
        }
        Retry::After(asked) => asked.clamp(PAUSES[0], A_DAY),
        Retry::Refused => A_DAY,
    };
    let mut sum = Crc::new();
    sum.update(id.as_bytes());
    sum.update(&tries.to_le_bytes());
    let most = (least / JITTER).num_seconds();
    least + TimeDelta::seconds(i64::from(sum.sum()) % (most + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minutes(tries: u32, id: u32) -> f64 {
        pause(&id.to_string(), tries, Retry::Soon).as_seconds_f64() / 60.0
    }

    #[test]
    fn pauses_grow_to_six_hours_and_are_longer_by_a_fifth_at_most() {
        for (tries, least) in [
            (1, 1.0),
            (2, 5.0),
            (3, 15.0),
            (4, 60.0),
            (5, 360.0),
            (99, 360.0),
        ] {
            for id in 0..100 {
                let pause = minutes(tries, id);
                assert!((least..=least * 1.2).contains(&pause), "{tries}: {pause}");
            }
        }
    }

    #[test]
    fn what_failed_together_is_not_tried_together_and_each_id_has_its_own_pauses() {
        let mut pauses: Vec<i64> = (0..100).map(|id| (minutes(4, id) * 60.0) as i64).collect();
        pauses.sort_unstable();
        pauses.dedup();
        assert!(pauses.len() > 80, "{}", pauses.len());
        assert_eq!(minutes(4, 7), minutes(4, 7));
    }

    #[test]
    fn a_server_may_ask_for_a_pause_of_a_minute_to_a_day() {
        let asked = |seconds| pause("k7", 1, Retry::After(TimeDelta::seconds(seconds)));
        let within = |seconds, least: i64| {
            let pause = asked(seconds).num_seconds();
            assert!(
                (least..=least * 6 / 5).contains(&pause),
                "{seconds}: {pause}"
            );
        };
        within(0, 60);
        within(1_800, 1_800);
        within(i64::from(u32::MAX), 86_400);
        assert!(asked(i64::from(u32::MAX)) <= LONGEST);
        assert!(pause("k7", 1, Retry::Refused) <= LONGEST);
    }
}
