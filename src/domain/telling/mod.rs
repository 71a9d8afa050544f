//! What to tell whom, and when: milestones passed and ahead, notices and who gets them, trouble with
//! feeds.

pub mod early_notice;
pub mod feed_trouble;
pub mod milestone_decision;
pub mod notice;
