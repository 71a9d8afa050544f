//! When larvae hatched, or why that is not known.

use crate::domain::treatment::hatching::{Hatching, NoCoverage};
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

/// Why it is not known when larvae hatched, or what an application met of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotKnown {
    /// The planning model has no hatch of the season.
    #[error(transparent)]
    NoCoverage(#[from] NoCoverage),
    /// The observed days brought no hatch.
    #[error("by the sums no larvae hatched")]
    NoneHatched,
    /// Fewer than half hatched.
    #[error("half of the eggs did not hatch")]
    FewHatched,
    /// What was applied is no option of the configuration any more.
    #[error("it is not configured any more")]
    NoOption,
    /// The option meets none of the larvae, whenever it is applied.
    #[error("it meets none of these larvae on any day")]
    NoneMet,
    /// It was applied after the species' date cap.
    #[error("its day lies after the date by which larvae are gone")]
    AfterCap,
}
