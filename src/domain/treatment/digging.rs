//! The days on which a site is to be dug for grubs: one digging a season for all its species.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::SeasonState;
use crate::domain::phenology::species::Species;
use crate::domain::treatment::need::{Brood, Broods, Evidence};
use chrono::{Days, NaiveDate};

/// Days after which counting is not asked for any more, counted from the date cap. A choice: in
/// cooling soil larvae go down.
pub const COUNTED_AFTER_CAP: u64 = 14;

/// Days for which a digging waits for a species that has hatched and cannot be counted yet. A choice:
/// one digging serves them all, and those that were first are still small then.
pub const WAITED_FOR_OTHERS_DAYS: i64 = 21;

/// A species of a site with what decides whether to dig for it.
#[derive(Debug, Clone, Copy)]
pub struct DugFor<'d> {
    /// The species.
    pub species: &'d Species,
    /// Where it stands.
    pub state: &'d SeasonState,
    /// Counts and damage.
    pub evidence: &'d Evidence,
}

/// The days on which to dig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Digging {
    /// Larvae can be counted from this day on.
    pub since: NaiveDate,
    /// The last day on which it tells something.
    pub by: NaiveDate,
}

/// The days on which to dig at a site at a latitude (degrees), if today is one of them and nothing of
/// this season was counted.
///
/// # Method
/// From the day larvae of a species can be counted ([`Broods`]), or three weeks later where others have
/// hatched that are too small yet, to two weeks after the last date cap.
///
/// # Valid range
/// Grubs with one generation a year. A species whose milestones are held back is not dug for.
///
/// # References
/// The caps: the species' files. Two and three weeks: our choice.
pub fn digging(species: &[DugFor<'_>], latitude: f64, today: NaiveDate) -> Option<Digging> {
    if species.iter().any(|one| one.evidence.this_brood.is_some()) {
        return None;
    }
    let due: Vec<&DugFor<'_>> = species
        .iter()
        .filter(|one| one.is_due(latitude, today))
        .collect();
    let countable = |one: &&DugFor<'_>| one.broods(latitude).countable;
    let since = due.iter().filter_map(countable).min()?;
    let waits = (today - since).num_days() < WAITED_FOR_OTHERS_DAYS;
    if waits && species.iter().any(|one| one.is_small(latitude, today)) {
        return None;
    }
    let by = due.iter().map(|one| one.by(latitude)).max()?;
    Some(Digging { since, by })
}

impl DugFor<'_> {
    /// Whether its larvae can be counted now.
    pub fn is_due(&self, latitude: f64, today: NaiveDate) -> bool {
        self.can_be_counted(latitude, today) && today <= self.by(latitude)
    }

    fn broods(&self, latitude: f64) -> Broods {
        Broods::of(self.species, latitude, self.state)
    }

    fn is_hatched(&self) -> bool {
        self.state.passed(Milestone::Hatch).is_some()
    }

    fn can_be_counted(&self, latitude: f64, today: NaiveDate) -> bool {
        self.state.hold.is_none()
            && self.is_hatched()
            && self.broods(latitude).on(today) == Brood::This
    }

    /// Whether larvae have hatched that cannot be counted yet.
    fn is_small(&self, latitude: f64, today: NaiveDate) -> bool {
        self.is_hatched() && self.broods(latitude).on(today) != Brood::This
    }

    /// The last day on which a count tells something.
    pub fn by(&self, latitude: f64) -> NaiveDate {
        let cap = self.species.window_cap(&self.state.season, latitude);
        cap + Days::new(COUNTED_AFTER_CAP)
    }
}

#[cfg(test)]
mod tests {
    use super::super::kit::{counted, day, hatched_on, nothing_known, species};
    use super::*;

    fn dug(species: &[DugFor<'_>], today: &str) -> Option<(NaiveDate, NaiveDate)> {
        digging(species, 41.8, day(today)).map(|found| (found.since, found.by))
    }

    #[test]
    fn a_site_is_dug_from_four_weeks_after_hatch_to_two_weeks_after_the_cap() {
        let (beetle, state) = (species("japanese-beetle"), hatched_on("2026-07-05"));
        let evidence = nothing_known();
        let one = [DugFor {
            species: &beetle,
            state: &state,
            evidence: &evidence,
        }];
        let cap = beetle.window_cap(&state.season, 41.8);
        let last = cap + Days::new(14);
        let days = Some((day("2026-08-02"), last));
        assert_eq!(dug(&one, "2026-08-01"), None);
        assert_eq!(dug(&one, "2026-08-02"), days);
        assert_eq!(dug(&one, &last.to_string()), days);
        assert_eq!(dug(&one, "2026-12-01"), None);
    }

    #[test]
    fn who_has_counted_does_not_dig_again_and_a_later_species_is_waited_for() {
        let beetle = species("japanese-beetle");
        let (early, late) = (hatched_on("2026-07-05"), hatched_on("2026-08-01"));
        let (none, some) = (nothing_known(), counted("2026-08-03"));
        let of = |state, evidence| DugFor {
            species: &beetle,
            state,
            evidence,
        };
        let both = [of(&early, &none), of(&late, &none)];
        assert_eq!(dug(&both, "2026-08-10"), None);
        assert!(dug(&both, "2026-08-23").is_some());
        assert_eq!(dug(&[of(&early, &some)], "2026-08-10"), None);
    }
}
