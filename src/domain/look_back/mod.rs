//! A past season held against what was told of it: dates, applications and counts.

mod application;
mod counting;
mod hatch_span;
mod milestone_review;
mod season_review;
mod told;

pub use application::{Applied, Met, Outcome, Timing, active_span, outcome};
pub use counting::{Change, Counted, CountedBrood, Counts};
pub use hatch_span::{HatchSpan, NotKnown};
pub use milestone_review::{Announced, Foretelling, Held, MilestoneReview, NoticeScore};
pub use season_review::{LookBack, OfSpecies};
pub use told::{SentNotice, Told, told_of_treatments, told_of_watering};
