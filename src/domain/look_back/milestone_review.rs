//! What was told of a milestone ahead of it and when it was reached, and how far off notices were.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, PassedBy};
use crate::domain::telling::milestone_decision::Recorded;
use chrono::NaiveDate;

/// An early notice as it was told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Foretelling {
    /// The day it was told.
    pub told_on: NaiveDate,
    /// Of which milestone.
    pub milestone: Milestone,
    /// For which lead, days.
    pub lead_days: u32,
    /// The likely date that was told.
    pub likely: NaiveDate,
    /// The date before which it was to fall in 1 of 10 cases; notices of old versions have none.
    pub early: Option<NaiveDate>,
    /// The date before which it was to fall in 9 of 10 cases; `None` beside an early one is beyond
    /// the season's end.
    pub late: Option<NaiveDate>,
}

/// A milestone as it was recorded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Announced {
    /// The day it was recorded, and told if it was.
    pub on: NaiveDate,
    /// What was recorded.
    pub recorded: Recorded,
}

/// How a day lies to the range that was told for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// Within it.
    Inside,
    /// So many days before its first day.
    Before(i64),
    /// So many days after its last day.
    After(i64),
}

impl Foretelling {
    /// Days from the likely date told to the day that came; above 0 if it came later.
    pub fn late_by_days(&self, came: NaiveDate) -> i64 {
        (came - self.likely).num_days()
    }

    /// Days from the notice to the day that came.
    pub fn warning_days(&self, came: NaiveDate) -> i64 {
        (came - self.told_on).num_days()
    }

    /// How the day that came lies to the range told; `None` if none was kept.
    pub fn held(&self, came: NaiveDate) -> Option<Held> {
        let early = self.early?;
        Some(match self.late {
            _ if came < early => Held::Before((early - came).num_days()),
            Some(late) if came > late => Held::After((came - late).num_days()),
            _ => Held::Inside,
        })
    }
}

/// A milestone of the season: what was told of it, and what came.
#[derive(Debug, Clone, PartialEq)]
pub struct MilestoneReview {
    /// Which one.
    pub milestone: Milestone,
    /// Early notices, oldest first.
    pub foretold: Vec<Foretelling>,
    /// How it was recorded and told.
    pub announced: Option<Announced>,
    /// The day it came by the days as they stand now.
    pub came: Option<NaiveDate>,
    /// What made it count.
    pub by: Option<PassedBy>,
}

impl MilestoneReview {
    /// Brings together what was told of a milestone and what came.
    pub fn of(
        milestone: Milestone,
        foretold: &[Foretelling],
        announced: &[Announced],
        crossings: &[Crossing],
    ) -> Self {
        let crossing = crossings.iter().find(|one| one.milestone == milestone);
        Self {
            milestone,
            foretold: foretold
                .iter()
                .filter(|one| one.milestone == milestone)
                .copied()
                .collect(),
            announced: announced
                .iter()
                .find(|one| one.recorded.milestone == milestone)
                .copied(),
            came: crossing.map(|one| one.on),
            by: crossing.map(|one| one.by),
        }
    }

    /// The first notice.
    pub fn first(&self) -> Option<&Foretelling> {
        self.foretold.first()
    }

    /// The day the sum reached the threshold; a date cap is no day to hold a notice against.
    pub fn came_by_sum(&self) -> Option<NaiveDate> {
        self.came.filter(|_| self.by == Some(PassedBy::Sum))
    }
}

/// How far off early notices were.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoticeScore {
    /// Notices whose milestone came.
    pub notices: usize,
    /// Mean absolute error of the likely dates, days.
    pub mean_error_days: f64,
    /// Mean of the errors with their signs, days; above 0 if it came later than told.
    pub mean_late_days: f64,
    /// Notices with a range.
    pub ranges: usize,
    /// Ranges that held.
    pub held: usize,
    /// Shortest and longest warning, days.
    pub warning_days: (i64, i64),
}

impl NoticeScore {
    /// Scores notices, each with the day that came; `None` if there are none.
    ///
    /// # Method
    /// The mean of `|came − likely|`, and how many ranges hold the day that came. That day is the
    /// one on which the sum reached the threshold which the notice itself went by, so the score is of
    /// the weather alone. A range allows for the threshold too and is meant to hold the real event 8
    /// times in 10; it should hold this day more often.
    ///
    /// # Units
    /// Days.
    ///
    /// # Valid range
    /// Milestones that came by the sum. The few notices of one season say little of the method;
    /// `hatchbell hindcast` scores many seasons.
    ///
    /// # References
    /// Arithmetic.
    pub fn of(notices: impl Iterator<Item = (Foretelling, NaiveDate)>) -> Option<Self> {
        let all: Vec<(Foretelling, NaiveDate)> = notices.collect();
        let warnings = || all.iter().map(|(told, came)| told.warning_days(*came));
        let warning_days = (warnings().min()?, warnings().max()?);
        let errors = || all.iter().map(|(told, came)| told.late_by_days(*came));
        let n = all.len() as f64;
        let held: Vec<Held> = all
            .iter()
            .filter_map(|(told, came)| told.held(*came))
            .collect();
        Some(Self {
            notices: all.len(),
            mean_error_days: errors().map(|days| days.abs() as f64).sum::<f64>() / n,
            mean_late_days: errors().map(|days| days as f64).sum::<f64>() / n,
            ranges: held.len(),
            held: held.iter().filter(|one| **one == Held::Inside).count(),
            warning_days,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn notice(told_on: &str, likely: &str, range: Option<(&str, &str)>) -> Foretelling {
        Foretelling {
            told_on: day(told_on),
            milestone: Milestone::Hatch,
            lead_days: 45,
            likely: day(likely),
            early: range.map(|(early, _)| day(early)),
            late: range.map(|(_, late)| day(late)),
        }
    }

    const RANGE: Option<(&str, &str)> = Some(("2026-06-29", "2026-07-16"));

    #[test]
    fn the_ends_of_a_range_belong_to_it_and_beyond_them_days_are_counted() {
        let told = notice("2026-05-23", "2026-07-07", RANGE);
        for (came, held) in [
            ("2026-06-29", Held::Inside),
            ("2026-07-16", Held::Inside),
            ("2026-06-28", Held::Before(1)),
            ("2026-07-20", Held::After(4)),
        ] {
            assert_eq!(told.held(day(came)), Some(held), "{came}");
        }
        let open = Foretelling { late: None, ..told };
        assert_eq!(open.held(day("2026-09-01")), Some(Held::Inside));
    }

    #[test]
    fn notices_without_a_range_count_for_the_error_and_not_for_the_ranges() {
        let came = day("2026-07-10");
        let all = [
            (notice("2026-05-23", "2026-07-07", RANGE), came),
            (notice("2026-06-20", "2026-07-11", None), came),
        ];
        let score = NoticeScore::of(all.into_iter()).unwrap();
        assert_eq!((score.notices, score.ranges, score.held), (2, 1, 1));
        assert_eq!((score.mean_error_days, score.mean_late_days), (2.0, 1.0));
        assert_eq!(score.warning_days, (20, 48));
        assert_eq!(NoticeScore::of([].into_iter()), None);
    }

    #[test]
    fn a_window_that_ended_by_date_is_no_day_to_hold_a_notice_against() {
        let cap = Crossing {
            milestone: Milestone::WindowEnd,
            on: day("2026-09-20"),
            by: PassedBy::DateCap,
            degree_days: 1200.0,
            estimated_days: 0,
        };
        let review = MilestoneReview::of(Milestone::WindowEnd, &[], &[], &[cap]);
        assert_eq!(review.came, Some(day("2026-09-20")));
        assert_eq!(review.came_by_sum(), None);
    }
}
