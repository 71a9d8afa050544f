//! From when to when larvae hatched.

use crate::domain::treatment::coverage::Hatching;
use chrono::NaiveDate;

/// When larvae hatched, by the model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HatchSpan {
    /// One in twenty had hatched.
    pub first: NaiveDate,
    /// Half had.
    pub half: NaiveDate,
    /// All but one in twenty had; `None` if the season did not get there.
    pub most: Option<NaiveDate>,
}

impl HatchSpan {
    /// Share of the larvae that has hatched at the first and, of those left, at the last day.
    const EDGE: f64 = 0.05;

    /// When larvae hatched; `None` if half of them never did.
    pub fn of(hatching: &Hatching) -> Option<Self> {
        let (start, end) = hatching.span();
        let when = |share: f64| {
            start
                .iter_days()
                .take_while(|day| *day <= end)
                .find(|day| hatching.reached(0.0, *day) >= share)
        };
        Some(Self {
            first: when(Self::EDGE)?,
            half: when(0.5)?,
            most: when(1.0 - Self::EDGE),
        })
    }
}
