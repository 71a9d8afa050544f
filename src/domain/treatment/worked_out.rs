//! What a coverage answers with, and what of it is remembered with the hatching it belongs to.

use crate::domain::treatment::option::TreatmentOption;
use chrono::NaiveDate;
use std::rc::Rc;

/// Share of the hatching larvae that an application on a day meets, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Mean over all courses.
    pub mean: f64,
    /// One course in ten is below.
    pub low: f64,
    /// One course in ten is above.
    pub high: f64,
}

/// The days on which an application is worth it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First day.
    pub first: NaiveDate,
    /// Best day.
    pub best: NaiveDate,
    /// Last day.
    pub last: NaiveDate,
}

/// What was worked out of the options of a hatching.
#[derive(Debug, Clone, Default)]
pub(super) struct WorkedOut {
    /// Of each option that was asked for.
    pub options: Vec<OfOption>,
    /// The first days by whose end a share, as its bits, has reached an instar, as its bits.
    pub reached: Vec<((u64, u64), Option<NaiveDate>)>,
}

/// What was worked out of an option.
#[derive(Debug, Clone)]
pub(super) struct OfOption {
    /// Which one.
    pub option: TreatmentOption,
    /// Means by day from the season's start.
    pub means: Vec<Option<f64>>,
    /// Shares of single days.
    pub shares: Vec<(usize, Share)>,
    /// Windows by what they were asked with.
    pub windows: Vec<(WindowKey, Option<Window>)>,
    /// What working out a further day needs.
    pub working: Option<Rc<Working>>,
}

/// The least share of the best day, as its bits, and the first day that counts.
pub(super) type WindowKey = (u64, Option<NaiveDate>);

/// An option at work on the larvae of a hatching.
#[derive(Debug)]
pub(super) struct Working {
    /// What is at work on each day from the application on, up to where nothing is left.
    pub activity: Vec<f32>,
    /// How open each cohort is on each day from its hatch on, one cohort after the other.
    pub open: Vec<f32>,
    /// Where each cohort's days begin.
    pub from: Vec<usize>,
}
