//! What a passed milestone means for the work on the day people read of it.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, PassedBy};

/// Told later than this many days after the milestone, its advice is out of date.
const LATE_DAYS: i64 = 10;

/// What a passed milestone means for the work on the day it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// It is told late, and a later milestone has been passed since: go by that.
    Overtaken {
        /// The latest one passed.
        by: Milestone,
        /// Days from the milestone to the day it is told.
        days_ago: i64,
    },
    /// It is told so late that what would have been due then may no longer be.
    OutOfDate {
        /// Days from the milestone to the day it is told.
        days_ago: i64,
    },
    /// Adults fly.
    AdultFlight,
    /// Eggs are laid.
    EggLay,
    /// Larvae hatch.
    Hatch,
    /// The season ends and it is not known how far the hatch came.
    EndUnknown,
    /// The season ends and larvae have not hatched.
    EndWithoutHatch,
    /// The season ends by date with larvae still small.
    EndByDate,
    /// Larvae are too large for preventives.
    EndBySum,
}

impl Meaning {
    /// Of a crossing told so many days after, with the milestones passed so far.
    pub fn of(crossing: &Crossing, passed: &[Milestone], days_ago: i64) -> Self {
        let later = passed.iter().filter(|one| **one > crossing.milestone).max();
        if let Some(by) = later {
            return Meaning::Overtaken { by: *by, days_ago };
        }
        if days_ago > LATE_DAYS && crossing.milestone != Milestone::WindowEnd {
            return Meaning::OutOfDate { days_ago };
        }
        match (crossing.milestone, crossing.by) {
            (Milestone::AdultFlight, _) => Meaning::AdultFlight,
            (Milestone::EggLay, _) => Meaning::EggLay,
            (Milestone::Hatch, _) => Meaning::Hatch,
            (Milestone::WindowEnd, PassedBy::DateCapUnknown) => Meaning::EndUnknown,
            (Milestone::WindowEnd, _) if !passed.contains(&Milestone::Hatch) => {
                Meaning::EndWithoutHatch
            }
            (Milestone::WindowEnd, PassedBy::DateCap) => Meaning::EndByDate,
            (Milestone::WindowEnd, PassedBy::Sum) => Meaning::EndBySum,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crossing(milestone: Milestone, by: PassedBy) -> Crossing {
        Crossing {
            milestone,
            on: "2026-07-01".parse().unwrap(),
            by,
            degree_days: 820.0,
            estimated_days: 0,
        }
    }

    #[test]
    fn a_milestone_told_more_than_ten_days_after_is_out_of_date() {
        let hatch = crossing(Milestone::Hatch, PassedBy::Sum);
        let passed = [Milestone::AdultFlight, Milestone::EggLay, Milestone::Hatch];
        assert_eq!(Meaning::of(&hatch, &passed, 10), Meaning::Hatch);
        let late = Meaning::OutOfDate { days_ago: 11 };
        assert_eq!(Meaning::of(&hatch, &passed, 11), late);
    }

    #[test]
    fn the_latest_milestone_passed_goes_before_all_others_however_early_they_are_told() {
        let flight = crossing(Milestone::AdultFlight, PassedBy::Sum);
        let passed = [Milestone::AdultFlight, Milestone::EggLay, Milestone::Hatch];
        let overtaken = Meaning::Overtaken {
            by: Milestone::Hatch,
            days_ago: 2,
        };
        assert_eq!(Meaning::of(&flight, &passed, 2), overtaken);
    }

    #[test]
    fn the_end_of_the_window_means_what_is_known_of_the_hatch_and_is_never_out_of_date() {
        let with_hatch = [Milestone::Hatch, Milestone::WindowEnd];
        let without = [Milestone::EggLay, Milestone::WindowEnd];
        for (by, passed, meaning) in [
            (PassedBy::Sum, with_hatch, Meaning::EndBySum),
            (PassedBy::DateCap, with_hatch, Meaning::EndByDate),
            (PassedBy::DateCap, without, Meaning::EndWithoutHatch),
            (PassedBy::DateCapUnknown, without, Meaning::EndUnknown),
            (PassedBy::DateCapUnknown, with_hatch, Meaning::EndUnknown),
        ] {
            let end = crossing(Milestone::WindowEnd, by);
            assert_eq!(Meaning::of(&end, &passed, 40), meaning, "{by:?}");
        }
    }
}
