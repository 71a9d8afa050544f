//! Whether to treat at a site: one verdict for all its species together.

use crate::domain::journal::amount::Area;
use crate::domain::phenology::species::Species;
use crate::domain::scouting::More;
use crate::domain::treatment::hatching::Hatching;
use crate::domain::treatment::need::{Evidence, Ground, Need, Reason, together};
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::settled::{Spread, settled};

/// A species of a site with what is known of it.
#[derive(Debug, Clone, Copy)]
pub struct SpeciesNeed<'p> {
    /// The species.
    pub species: &'p Species,
    /// Counts and damage.
    pub evidence: &'p Evidence,
    /// Larvae per m² that the turf tolerates, low and high end.
    pub tolerance: (f64, f64),
    /// Whether to treat for its sake alone, before what was spread.
    pub need: Need,
    /// When its larvae hatch, if that is known.
    pub hatching: Option<&'p Hatching>,
}

/// Whether to treat at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteNeed {
    /// The verdict.
    pub need: Need,
    /// The places of the species that call for it; empty where nothing should be applied.
    pub calls: Vec<usize>,
}

impl SiteNeed {
    /// The verdict on all species of a site, what was spread this season taken into account.
    ///
    /// # Method
    /// The counts of several species are added as shares of what the turf tolerates of each
    /// ([`together`]): at 1 they call for a curative as one species would that is above by itself. A
    /// count that cannot tell goes before a preventive, which goes before nothing. Species for which
    /// what was called for has been done no longer call for it.
    ///
    /// # Units
    /// Larvae per m².
    ///
    /// # Valid range
    /// Grubs, which eat the same roots.
    ///
    /// # References
    /// Adding up shares: common practice, no source.
    pub fn of(species: &[SpeciesNeed<'_>], spread: &[Spread<'_>], area: Option<Area>) -> Self {
        let Self { need, calls } = called_for(species);
        let after = |place: &usize| match species[*place].hatching {
            Some(hatching) => settled(need, spread, area, hatching),
            None => need,
        };
        let (open, done): (Vec<usize>, Vec<usize>) = calls
            .into_iter()
            .partition(|place| after(place).purpose().is_some());
        match done.first().filter(|_| open.is_empty()) {
            Some(place) => Self::nothing(after(place)),
            None => Self { need, calls: open },
        }
    }

    fn nothing(need: Need) -> Self {
        let calls = Vec::new();
        Self { need, calls }
    }

    /// What kind of option it calls for.
    pub fn purpose(&self) -> Option<Purpose> {
        self.need.purpose()
    }
}

/// What is called for before what was spread, and by which species.
fn called_for(species: &[SpeciesNeed<'_>]) -> SiteNeed {
    let places = |is: &dyn Fn(&Need) -> bool| -> Vec<usize> {
        let needs = species.iter().enumerate();
        let wanted = needs.filter(|(_, one)| is(&one.need));
        wanted.map(|(place, _)| place).collect()
    };
    let first = |calls: &[usize]| species[calls[0]].need;
    let curative = places(&|need| matches!(need, Need::Curative { .. }));
    if !curative.is_empty() {
        let need = first(&curative);
        return SiteNeed {
            need,
            calls: curative,
        };
    }
    let counted = CountedSpecies::of(species);
    if let Some(need) = counted.above_together() {
        let calls = counted.places;
        return SiteNeed { need, calls };
    }
    let near = places(&|need| matches!(need, Need::CountMore { .. }));
    if !near.is_empty() {
        return SiteNeed::nothing(first(&near));
    }
    if let Some(need) = counted.near_together() {
        return SiteNeed::nothing(need);
    }
    let preventive = places(&|need| matches!(need, Need::Preventive(_)));
    if !preventive.is_empty() {
        let last_year = Need::Preventive(Ground::LastYear);
        let is_justified = species.iter().any(|one| one.need == last_year);
        let need = if is_justified {
            last_year
        } else {
            first(&preventive)
        };
        return SiteNeed {
            need,
            calls: preventive,
        };
    }
    let reasons = species.iter().map(|one| one.need);
    let telling = reasons.min_by_key(|need| match need {
        Need::Nothing(Reason::Treated { .. }) => 0,
        Need::Nothing(Reason::CountedBelow { .. }) => 1,
        Need::Nothing(Reason::NoPreventives) => 2,
        Need::Nothing(Reason::SomeRisk) => 3,
        Need::Nothing(Reason::LowRisk) => 4,
        _ => 5,
    });
    SiteNeed::nothing(telling.unwrap_or(Need::Nothing(Reason::NoSpecies)))
}

/// The species of which larvae of this season were counted.
struct CountedSpecies<'s> {
    places: Vec<usize>,
    species: Vec<&'s SpeciesNeed<'s>>,
}

impl<'s> CountedSpecies<'s> {
    fn of(species: &'s [SpeciesNeed<'s>]) -> Self {
        let found = |one: &SpeciesNeed<'_>| {
            let count = one.evidence.this_brood.as_ref();
            count.is_some_and(|(_, found)| found.mean_per_m2() > 0.0)
        };
        let (places, species) = species
            .iter()
            .enumerate()
            .filter(|(_, one)| found(one))
            .unzip();
        Self { places, species }
    }

    /// The counts as shares of an end of what the turf tolerates, added; `None` unless there are several
    /// and none is above by itself.
    fn share(&self, end: impl Fn((f64, f64)) -> f64) -> Option<f64> {
        let counts = self.species.iter().filter_map(|one| {
            let (_, found) = one.evidence.this_brood.as_ref()?;
            Some((found.mean_per_m2(), end(one.tolerance)))
        });
        together(&counts.collect::<Vec<_>>())
    }

    fn mean_per_m2(&self) -> f64 {
        let counts = self
            .species
            .iter()
            .filter_map(|one| one.evidence.this_brood.as_ref());
        counts.map(|(_, found)| found.mean_per_m2()).sum()
    }

    fn above_together(&self) -> Option<Need> {
        let share = self.share(|(_, high)| high).filter(|share| *share >= 1.0)?;
        let days = self
            .species
            .iter()
            .filter_map(|one| one.evidence.this_brood.as_ref());
        Some(Need::Curative {
            mean_per_m2: self.mean_per_m2(),
            counted_on: days.map(|(day, _)| *day).max()?,
            together: Some(share),
        })
    }

    /// Only where the turf's condition is not known can the sum lie between the ends.
    fn near_together(&self) -> Option<Need> {
        self.share(|(low, _)| low).filter(|share| *share >= 1.0)?;
        Some(Need::CountMore {
            mean_per_m2: self.mean_per_m2(),
            more: Some(More::Condition),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::kit::{day, hatching, option, species};
    use super::*;
    use crate::domain::scouting::Found;
    use crate::domain::treatment::choice::Preventives;
    use crate::domain::treatment::need::need;

    const TOLERANCE: (f64, f64) = (161.0, 161.0);

    /// What a site should do whose species were counted at so many larvae per m², or not at all.
    fn verdict(counts: &[Option<f64>], policy: Preventives, tolerance: (f64, f64)) -> SiteNeed {
        let beetle = species("japanese-beetle");
        let evidence: Vec<Evidence> = counts
            .iter()
            .map(|count| Evidence {
                this_brood: count.map(|count| (day("2026-08-20"), count_of(count))),
                last_brood: None,
                damaged: None,
            })
            .collect();
        let needs: Vec<SpeciesNeed<'_>> = evidence
            .iter()
            .map(|evidence| SpeciesNeed {
                species: &beetle,
                evidence,
                tolerance,
                need: need(evidence, policy, tolerance),
                hatching: None,
            })
            .collect();
        SiteNeed::of(&needs, &[], None)
    }

    /// Many samples, so that the count tells for sure.
    fn count_of(per_m2: f64) -> Found {
        let area = crate::domain::scouting::SampleArea::from_m2(0.1).unwrap();
        Found::of_samples(1_000, area, (per_m2 * 100.0) as u32, None).unwrap()
    }

    #[test]
    fn counts_of_several_species_are_added_as_shares_of_what_the_turf_tolerates() {
        let together = verdict(
            &[Some(103.0), Some(103.0)],
            Preventives::WhenJustified,
            TOLERANCE,
        );
        assert_eq!(together.calls, [0, 1]);
        let Need::Curative {
            mean_per_m2,
            together: Some(share),
            ..
        } = together.need
        else {
            panic!("{together:?}");
        };
        assert!((share - 206.0 / 161.0).abs() < 1e-9 && (mean_per_m2 - 206.0).abs() < 1e-9);
        let below = verdict(
            &[Some(70.0), Some(70.0)],
            Preventives::WhenJustified,
            TOLERANCE,
        );
        assert!(matches!(
            below.need,
            Need::Nothing(Reason::CountedBelow { .. })
        ));
        let alone = verdict(&[Some(103.0), None], Preventives::WhenJustified, TOLERANCE);
        assert!(matches!(
            alone.need,
            Need::Nothing(Reason::CountedBelow { .. })
        ));
    }

    #[test]
    fn a_sum_between_the_ends_of_what_the_turf_tolerates_asks_how_the_turf_stands() {
        let between = verdict(
            &[Some(60.0), Some(60.0)],
            Preventives::EveryYear,
            (86.0, 161.0),
        );
        let Need::CountMore { more, .. } = between.need else {
            panic!("{between:?}");
        };
        assert_eq!((more, between.calls.len()), (Some(More::Condition), 0));
    }

    #[test]
    fn a_species_above_by_itself_calls_alone_and_goes_before_preventives() {
        let above = verdict(&[None, Some(400.0)], Preventives::EveryYear, TOLERANCE);
        assert_eq!(above.calls, [1]);
        assert_eq!(above.purpose(), Some(Purpose::Curative));
        let Need::Curative { together, .. } = above.need else {
            panic!("{above:?}");
        };
        assert_eq!(together, None);
    }

    #[test]
    fn a_species_that_was_counted_below_does_not_call_for_the_preventive_of_the_others() {
        let need = verdict(&[Some(10.0), None], Preventives::EveryYear, TOLERANCE);
        assert_eq!(need.calls, [1]);
        assert_eq!(need.need, Need::Preventive(Ground::StandingDecision));
    }

    #[test]
    fn a_site_without_species_is_told_so() {
        let need = SiteNeed::of(&[], &[], None);
        assert_eq!(need.need, Need::Nothing(Reason::NoSpecies));
    }

    #[test]
    fn what_was_spread_in_time_settles_the_species_it_met_and_the_others_go_on_calling() {
        let beetle = species("japanese-beetle");
        let (early, late) = (hatching(&beetle, 4.0), hatching(&beetle, -2.0));
        let evidence = Evidence {
            this_brood: None,
            last_brood: None,
            damaged: None,
        };
        let of = |hatching| SpeciesNeed {
            species: &beetle,
            evidence: &evidence,
            tolerance: TOLERANCE,
            need: Need::Preventive(Ground::LastYear),
            hatching: Some(hatching),
        };
        let option = option("bacillus-thuringiensis-galleriae");
        let spread = |on: NaiveDate| Spread {
            option: &option,
            day: on,
            area: "1 ha".parse().unwrap(),
        };
        let best = |hatching: &Hatching| hatching.coverage(&option).window().unwrap().best;
        let needs = [of(&early), of(&late)];
        let once = SiteNeed::of(&needs, &[spread(best(&early))], None);
        assert_eq!(once.calls, [1]);
        let both = [spread(best(&early)), spread(best(&late))];
        let twice = SiteNeed::of(&needs, &both, None);
        assert!(
            matches!(twice.need, Need::Nothing(Reason::Treated { .. })),
            "{twice:?}"
        );
        assert!(twice.calls.is_empty());
    }
    use chrono::NaiveDate;
}
