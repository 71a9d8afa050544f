//! A season looked back on: what was told and when, what came, what was applied and counted.
//!
//! "Came" is the day on which the temperature sum reached the threshold; nobody has seen it happen
//! in the turf. How much of the hatch an application met is the planning model's answer, see
//! [`crate::domain::treatment::coverage`].

use super::application::Applied;
use super::counting::Counts;
use super::hatch_span::{HatchSpan, NotKnown};
use super::milestone_review::{MilestoneReview, NoticeScore};
use super::told::Told;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season::Season;
use chrono::NaiveDate;

/// A species in the season.
#[derive(Debug, Clone, PartialEq)]
pub struct OfSpecies {
    /// Its identifier.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Newest measured day of the season.
    pub data_through: Option<NaiveDate>,
    /// The day from which it was watched; what came up to it was never told.
    pub watched_from: Option<NaiveDate>,
    /// Whether days are missing or too many are estimated, so that milestones were held back.
    pub is_held: bool,
    /// Each milestone in order.
    pub milestones: Vec<MilestoneReview>,
    /// When larvae hatched, or why that is not known.
    pub hatch: Result<HatchSpan, NotKnown>,
    /// Whether the hatch is worked out from observed days alone; otherwise partly from the outlook.
    pub is_settled: bool,
    /// First catches and sightings of the season.
    pub catches: Vec<NaiveDate>,
    /// Larvae per m² that the turf tolerates, low and high end.
    pub tolerance: (f64, f64),
    /// What was counted.
    pub counts: Counts,
}

impl OfSpecies {
    /// The milestone of a kind.
    pub fn milestone(&self, milestone: Milestone) -> Option<&MilestoneReview> {
        self.milestones
            .iter()
            .find(|one| one.milestone == milestone)
    }
}

/// A season of a site, looked back on.
#[derive(Debug, Clone, PartialEq)]
pub struct LookBack {
    /// The season.
    pub season: Season,
    /// The last day looked at.
    pub through: NaiveDate,
    /// Whether the season is over.
    pub is_over: bool,
    /// Each species of the site.
    pub species: Vec<OfSpecies>,
    /// What was told, oldest first.
    pub told: Vec<Told>,
    /// What was applied, oldest first.
    pub applied: Vec<Applied>,
    /// Irrigation logged in the season, mm, and on how many occasions.
    pub irrigation: (f64, usize),
    /// Days on which somebody noted damage by grubs, or that there was none.
    pub damage: Vec<(NaiveDate, bool)>,
}

impl LookBack {
    /// The score of each milestone's first notice.
    pub fn first_notices(&self) -> Option<NoticeScore> {
        NoticeScore::of(
            self.came()
                .filter_map(|(one, came)| Some((*one.first()?, came))),
        )
    }

    /// The score of all notices, also those that told a date anew.
    pub fn all_notices(&self) -> Option<NoticeScore> {
        NoticeScore::of(
            self.came()
                .flat_map(|(one, came)| one.foretold.iter().map(move |told| (*told, came))),
        )
    }

    /// Whether the shares of this season still rest on the outlook in part.
    pub fn is_partly_outlook(&self) -> bool {
        self.species
            .iter()
            .any(|one| one.hatch.is_ok() && !one.is_settled)
    }

    fn came(&self) -> impl Iterator<Item = (&MilestoneReview, NaiveDate)> {
        self.species
            .iter()
            .flat_map(|species| &species.milestones)
            .filter_map(|one| Some((one, one.came_by_sum()?)))
    }
}
