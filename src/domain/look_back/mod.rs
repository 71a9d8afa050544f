//! A past season held against what was told of it: dates, applications and counts.

mod application;
mod counting;
mod season_review;
mod told;

pub use application::{Applied, Met, Outcome, Timing, active_span, outcome};
pub use counting::{Change, Counted, CountedBrood, Counts};
pub use season_review::{
    Announced, Foretelling, HatchSpan, Held, LookBack, MilestoneReview, NoticeScore, OfSpecies,
};
pub use told::{SentNotice, Told, told_of_treatments, told_of_watering};
