//! What to tell whom, and when: milestones passed and ahead, notices, who gets them and when, trouble
//! with feeds.

pub mod calendar;
pub mod counting_notice;
pub mod data_notice;
pub mod digest;
pub mod feed_trouble;
pub mod hold_notice;
pub mod meaning;
pub mod milestone_decision;
pub mod milestone_notice;
pub mod milestones_soon;
pub mod notice;
pub mod notice_log;
pub mod reception;
pub mod season_letter;
pub mod season_span;
pub mod site_species;
pub mod treatment_notice;
pub mod watering_notice;
