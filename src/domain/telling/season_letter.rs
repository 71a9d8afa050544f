//! The season's letter: once a season, when the first milestone of a member's sites comes near, all
//! milestones ahead of all their sites in one message.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::{Expectation, SeasonState};
use crate::domain::phenology::species::Species;
use chrono::NaiveDate;

/// When the season's letter goes out, and what is worth telling of it later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Policy {
    /// Days ahead of the likely date of the first milestone; the longest counts.
    pub leads_days: Vec<u32>,
    /// A told likely date that moves by at least this many days is told in the next digest.
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

/// A milestone that was foretold: by a letter, or by a digest once it had moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Foretold {
    /// Which one.
    pub milestone: Milestone,
    /// Days ahead of the likely date.
    pub lead_days: u32,
    /// The likely date that was told.
    pub likely: NaiveDate,
}

/// What lies ahead of a species at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeciesAhead<'a> {
    /// The species.
    pub species: &'a Species,
    /// Its milestones that have not been passed, in order.
    pub ahead: Vec<Expectation>,
}

/// Whether a milestone that has not been passed comes within the longest lead.
pub fn is_near(state: &SeasonState, policy: &Policy, today: NaiveDate) -> bool {
    let lead = policy.leads_days.iter().copied().max().unwrap_or(0);
    let first = state
        .ahead
        .iter()
        .find_map(|one| one.outlook.ok()?.0.likely);
    first.is_some_and(|likely| (1..=i64::from(lead)).contains(&(likely - today).num_days()))
}

/// The dates told before that have moved by so many days that it is worth a line in a digest.
pub fn moved(
    state: &SeasonState,
    told: &[Foretold],
    policy: &Policy,
    today: NaiveDate,
) -> Vec<Dated> {
    let has_moved = |now: &Foretold| {
        let before = told.iter().rfind(|told| told.milestone == now.milestone);
        before.is_some_and(|before| {
            (now.likely - before.likely).num_days().unsigned_abs() >= u64::from(policy.moved_days)
        })
    };
    let dates = foretold(state, today).into_iter();
    dates.filter(|(now, _)| has_moved(now)).collect()
}

/// A likely date with the dates before which it falls in 1 and in 9 of 10 cases.
pub type Dated = (Foretold, (Option<NaiveDate>, Option<NaiveDate>));

/// What is kept of the dates in a letter: every milestone with a likely date.
pub fn foretold(state: &SeasonState, today: NaiveDate) -> Vec<Dated> {
    let dated = state
        .ahead
        .iter()
        .filter(|one| one.milestone != Milestone::WindowEnd);
    dated
        .filter_map(|one| {
            let (outlook, _) = one.outlook.ok()?;
            let likely = outlook.likely?;
            let lead_days = u32::try_from((likely - today).num_days()).ok()?;
            let foretold = Foretold {
                milestone: one.milestone,
                lead_days,
                likely,
            };
            Some((foretold, (outlook.early, outlook.late)))
        })
        .collect()
}
