//! A past season held against what was told of it: dates, applications and counts.

mod application;
mod counting;
mod hatch_span;
mod season_review;

pub use application::{Applied, Met, Outcome, Timing, active_span, outcome};
pub use counting::{Change, Counted, CountedBrood, Counts};
pub use hatch_span::{HatchSpan, NotKnown};
pub use season_review::{
    Announced, Foretelling, Held, LookBack, MilestoneReview, NoticeScore, OfSpecies, SentNotice,
    Told,
};
