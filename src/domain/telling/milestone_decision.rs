//! Which milestones to record, tell, correct and take back.
//!
//! The promise: every milestone is recorded once per site, species and season and told at least
//! once; what happened before watching began is recorded and never told; one correction is sent
//! when a told date moves by [`CORRECTION_DAYS`] or more.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, SeasonState};
use chrono::NaiveDate;

/// A told date that moves by at least this many days is corrected once.
pub const CORRECTION_DAYS: i64 = 2;

/// A crossing as the store has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorded {
    /// Which milestone.
    pub milestone: Milestone,
    /// The date that was recorded first.
    pub on: NaiveDate,
    /// Whether people were told.
    pub told: bool,
    /// The date a correction has given, if one was sent.
    pub corrected_to: Option<NaiveDate>,
    /// Whether it was taken back: corrected days no longer reach it.
    pub withdrawn: bool,
}

/// What follows from a standing and what is already recorded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decision {
    /// Watching starts now, with data through this day.
    pub watch_from: Option<NaiveDate>,
    /// Crossings to record, and whether to tell people.
    pub record: Vec<(Crossing, bool)>,
    /// Corrections to send: the milestone as it was told, and the crossing as it stands.
    pub correct: Vec<(Recorded, Crossing)>,
    /// Told milestones to take back: the days as they stand do not reach them.
    pub withdraw: Vec<Recorded>,
}

/// Decides what to record, tell and correct for one site and species.
///
/// `watched_from` is the data-through day of the first evaluation that had data: everything up to
/// it is history, everything later is told, however late it is found.
pub fn decide(
    state: &SeasonState,
    recorded: &[Recorded],
    watched_from: Option<NaiveDate>,
    today: NaiveDate,
) -> Decision {
    let Some(data_through) = state.data_through.or(watched_from) else {
        return Decision::default();
    };
    let first_time = watched_from.is_none();
    let mut decision = Decision {
        watch_from: first_time.then_some(data_through),
        ..Decision::default()
    };
    for crossing in &state.crossings {
        match recorded.iter().find(|r| r.milestone == crossing.milestone) {
            None => {
                let history = match watched_from {
                    None => crossing.on <= today,
                    Some(from) => crossing.on <= from,
                };
                decision.record.push((*crossing, !history));
            }
            Some(known) if needs_correction(known, crossing) => {
                decision.correct.push((*known, *crossing));
            }
            Some(_) => {}
        }
    }
    decision.withdraw = recorded
        .iter()
        .filter(|known| no_longer_reached(known, state, data_through))
        .copied()
        .collect();
    decision
}

/// Whether a told milestone is not reached by days that are all known and go beyond it.
fn no_longer_reached(known: &Recorded, state: &SeasonState, data_through: NaiveDate) -> bool {
    known.told
        && !known.withdrawn
        && known.corrected_to.is_none()
        && known.milestone != Milestone::WindowEnd
        && state.hold.is_none()
        && (data_through - known.on).num_days() >= CORRECTION_DAYS
        && !state
            .crossings
            .iter()
            .any(|crossing| crossing.milestone == known.milestone)
}

fn needs_correction(known: &Recorded, crossing: &Crossing) -> bool {
    known.told
        && known.corrected_to.is_none()
        && (known.withdrawn || (crossing.on - known.on).num_days().abs() >= CORRECTION_DAYS)
}
