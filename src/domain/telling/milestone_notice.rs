//! What to tell of milestones that were passed, taken back or moved.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Crossing, SeasonState};
use crate::domain::phenology::species::Species;
use crate::domain::telling::meaning::Meaning;
use crate::domain::telling::milestone_decision::Decision;
use crate::domain::telling::notice::NoticeKind;
use chrono::NaiveDate;

/// What there is to tell after a decision: what was passed, unless `is_known` says that it was told
/// shortly before, then what is taken back, then what has moved.
pub fn milestone_notices<'a>(
    decision: &Decision,
    species: &'a Species,
    state: &SeasonState,
    is_known: impl Fn(&Crossing) -> bool,
    today: NaiveDate,
) -> Vec<NoticeKind<'a>> {
    let so_far: Vec<Milestone> = state.crossings.iter().map(|one| one.milestone).collect();
    let told = decision
        .record
        .iter()
        .filter(|(crossing, told)| *told && !is_known(crossing));
    let passed = told.map(|(crossing, _)| NoticeKind::Passed {
        species,
        crossing: *crossing,
        next: state
            .next()
            .filter(|next| next.milestone > crossing.milestone),
        meaning: Meaning::of(crossing, &so_far, (today - crossing.on).num_days()),
    });
    let withdrawn = decision.withdraw.iter().map(|known| NoticeKind::Withdrawn {
        species,
        milestone: known.milestone,
        told: known.on,
    });
    let moved = decision
        .correct
        .iter()
        .map(|(known, crossing)| NoticeKind::Moved {
            species,
            told: known.on,
            crossing: *crossing,
        });
    passed.chain(withdrawn).chain(moved).collect()
}
