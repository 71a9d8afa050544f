//! The values that screens show, built once from what a cycle knows and what is stored: where
//! every site stands ([`status`]), whether and when to treat ([`plan`]), the dates ahead
//! ([`outlook`]), how to sample ([`scout`]), a season looked back on ([`season`]), what is wrong with
//! the installation ([`doctor`]), and in short whether anything is ([`health`]).
//!
//! Whatever is picked, ordered, compared or put into a sentence for people is done here. Whoever
//! shows a value adds only its layout: the command line its tables, line ends and colours. JSON
//! comes from the same values as the text.

pub mod browsers;
pub mod calendar;
pub mod doctor;
pub mod health;
pub mod home;
pub mod kept_sites;
pub mod outlook;
pub mod plan;
pub mod records;
pub mod scout;
pub mod season;
pub mod season_picture;
pub mod site_view;
pub mod sites;
pub mod status;
pub mod task;
pub mod week;
mod words;

use crate::config::Config;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

pub use status::fault_line;
pub use words::counted;

/// The usual cautions in short, for everything shown about treatments.
pub const BRIEF_CAUTIONS: [&str; 2] = [
    "The label is the law; local rules and a licensed applicator decide.",
    "Never on turf in bloom; keep off water; children and pets off until it is watered in and dry.",
];

/// The day that is shown: today; in a demonstration the day of its last cycle.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn shown_day(
    config: &Config,
    store: &Store,
    today: NaiveDate,
) -> Result<NaiveDate, StoreError> {
    Ok(match config.demo {
        Some(demo) => store.last_cycle()?.unwrap_or(demo.starts).date_naive(),
        None => today,
    })
}

/// Days to be drawn as a line, with a title.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DateRange {
    /// What lies in these days.
    pub title: String,
    /// The first day.
    pub from: NaiveDate,
    /// The likely or best day between them, if there is one.
    pub middle: Option<NaiveDate>,
    /// The last day; the first one for something that happens on a day.
    pub to: NaiveDate,
}
