//! Early notices: what to tell ahead of a milestone, and when.
//!
//! A milestone is foretold once for each configured lead, when its likely date comes that near,
//! and once more when the likely date then moves by more than a stated number of days.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{Basis, Outlook};
use crate::domain::phenology::season_state::SeasonState;
use crate::domain::telling::milestone_decision::Recorded;
use chrono::NaiveDate;

/// When to foretell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Policy {
    /// Days ahead of the likely date.
    pub leads_days: Vec<u32>,
    /// A told likely date that moves by at least this many days is told anew.
    pub moved_days: u32,
}

impl Default for Policy {
    fn default() -> Self {
        Self {
            leads_days: vec![45, 14],
            moved_days: 7,
        }
    }
}

/// A milestone that was foretold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Foretold {
    /// Which one.
    pub milestone: Milestone,
    /// For which lead, days.
    pub lead_days: u32,
    /// The likely date that was told.
    pub likely: NaiveDate,
}

/// What to foretell now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Early {
    /// Which milestone.
    pub milestone: Milestone,
    /// For which lead, days.
    pub lead_days: u32,
    /// The likely date.
    pub likely: NaiveDate,
    /// Its outlook.
    pub outlook: Outlook,
    /// What the outlook is made of.
    pub basis: Basis,
    /// The likely date told before, if this is an update.
    pub moved_from: Option<NaiveDate>,
}

/// Decides what to foretell. The end of the susceptible window is not: there is nothing to get
/// ready for.
pub fn foretell(
    state: &SeasonState,
    recorded: &[Recorded],
    foretold: &[Foretold],
    policy: &Policy,
    today: NaiveDate,
) -> Vec<Early> {
    let mut early = Vec::new();
    for expectation in &state.ahead {
        let milestone = expectation.milestone;
        let over = recorded.iter().any(|known| known.milestone == milestone);
        if over || milestone == Milestone::WindowEnd {
            continue;
        }
        let Ok((outlook, basis)) = expectation.outlook else {
            continue;
        };
        let Some(likely) = outlook.likely else {
            continue;
        };
        let Some(lead_days) = due_lead(policy, (likely - today).num_days()) else {
            continue;
        };
        // The order is the store's: the last one told is the last in the list.
        let before = foretold.iter().rfind(|told| told.milestone == milestone);
        let moved_from = match before {
            None => None,
            Some(told) if lead_days < told.lead_days => None,
            Some(told) => {
                let moved = (likely - told.likely).num_days().unsigned_abs();
                if moved < u64::from(policy.moved_days) {
                    continue;
                }
                Some(told.likely)
            }
        };
        early.push(Early {
            milestone,
            // An update that moves back stays with the nearer lead, so that it is not told again.
            lead_days: before.map_or(lead_days, |told| lead_days.min(told.lead_days)),
            likely,
            outlook,
            basis,
            moved_from,
        });
    }
    early
}

/// The nearest lead whose time has come, if there is still a day to go.
fn due_lead(policy: &Policy, days_ahead: i64) -> Option<u32> {
    if days_ahead < 1 {
        return None;
    }
    policy
        .leads_days
        .iter()
        .copied()
        .filter(|lead| days_ahead <= i64::from(*lead))
        .min()
}
