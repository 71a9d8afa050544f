//! The plan of a site on a day: whether to treat, with what, and when. Everything that tells people
//! something about treatments shows this one value.

use crate::domain::journal::amount::Area;
use crate::domain::phenology::soil_course::SoilCourse;
use crate::domain::treatment::choice::Choice;
use crate::domain::treatment::digging::{COUNTED_AFTER_CAP, WAITED_FOR_OTHERS_DAYS};
use crate::domain::treatment::hatching::Hatching;
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::planned::{Planned, planned};
use crate::domain::treatment::served::Target;
use crate::domain::treatment::settled::Spread;
use crate::domain::treatment::site_need::{SiteNeed, SpeciesNeed};
use chrono::{Days, NaiveDate};

/// What the plan of a site rests on.
#[derive(Debug, Clone, Copy)]
pub struct SiteFacts<'f, 'p> {
    /// The day.
    pub day: NaiveDate,
    /// The site's species.
    pub species: &'f [SpeciesNeed<'p>],
    /// What its people would use.
    pub choice: &'f Choice,
    /// How large it is, if that is known.
    pub area: Option<Area>,
    /// What was spread this season.
    pub spread: &'f [Spread<'p>],
    /// What was spread in the seasons before, with the year the season started in.
    pub spread_before: &'f [(i32, &'p TreatmentOption)],
    /// The soil of its station.
    pub soil: Option<&'f SoilCourse>,
}

/// The plan of a site on a day.
#[derive(Debug, Clone)]
pub struct SitePlan<'p> {
    /// The day.
    pub day: NaiveDate,
    /// Whether to treat, and which species call for it.
    pub need: SiteNeed,
    /// The options that the site would use, ranked; where nothing is called for, what their days
    /// would serve of all species, for information.
    pub options: Vec<PlannedOption<'p>>,
    /// The options that the site would use and that have no day worth it.
    pub without_a_day: Vec<&'p TreatmentOption>,
    /// The first and last day for one digging for all the species whose hatch is known.
    pub counting: Option<(NaiveDate, NaiveDate)>,
    /// Whether it is known when the larvae of a species meant hatch.
    is_dated: bool,
}

/// An option of a site's plan.
#[derive(Debug, Clone)]
pub struct PlannedOption<'p> {
    /// Its days.
    pub planned: Planned<'p>,
    /// The last season before this one in which something of the same main group was used here.
    pub group_used_in: Option<i32>,
}

/// Which options a plan holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlanScope {
    /// Those that serve what is called for.
    CalledFor,
    /// All that the site would use.
    All,
}

impl<'p> SitePlan<'p> {
    /// The plan by what is known, with the options that are wanted.
    pub fn of(
        facts: SiteFacts<'_, 'p>,
        options: impl Iterator<Item = &'p TreatmentOption>,
        wanted: PlanScope,
    ) -> Self {
        let need = SiteNeed::of(facts.species, facts.spread, facts.area);
        let targets = targets(&facts, &need);
        let purpose = need.purpose();
        let mut ranked = Vec::new();
        let mut without_a_day = Vec::new();
        for option in options.filter(|option| facts.choice.considers(option)) {
            let serves = purpose.is_some_and(|purpose| option.serves(purpose));
            if wanted == PlanScope::CalledFor && !serves {
                continue;
            }
            let purpose = purpose.filter(|_| serves).unwrap_or(option.purpose);
            match planned(option, purpose, &targets, facts.soil) {
                Some(planned) => ranked.push(PlannedOption {
                    group_used_in: group_used_in(option, facts.spread_before),
                    planned,
                }),
                None if !targets.is_empty() => without_a_day.push(option),
                None => {}
            }
        }
        rank(
            &mut ranked,
            purpose.unwrap_or(Purpose::Preventive),
            facts.day,
        );
        Self {
            day: facts.day,
            need,
            options: ranked,
            without_a_day,
            counting: counting(facts.species),
            is_dated: !targets.is_empty(),
        }
    }

    /// Whether days can be told at all: it is known when the larvae hatch.
    pub fn has_dates(&self) -> bool {
        self.is_dated
    }
}

/// The species that call for a treatment, or all where none does, as far as it is known when their
/// larvae hatch.
fn targets<'p>(facts: &SiteFacts<'_, 'p>, need: &SiteNeed) -> Vec<Target<'p>> {
    let species = facts.species.iter().enumerate();
    let meant = species.filter(|(place, _)| need.calls.is_empty() || need.calls.contains(place));
    meant
        .filter_map(|(_, one)| {
            Some(Target {
                species: one.species,
                hatching: one.hatching?,
            })
        })
        .collect()
}

/// The days for one digging: from when the larvae of all species can be counted, but not so long after
/// those of the first that these have grown, to two weeks after the date cap.
fn counting(species: &[SpeciesNeed<'_>]) -> Option<(NaiveDate, NaiveDate)> {
    let hatching = || species.iter().filter_map(|one| one.hatching);
    let countable = || hatching().filter_map(Hatching::countable);
    let waited_to = countable().min()? + Days::new(WAITED_FOR_OTHERS_DAYS.unsigned_abs());
    let cap = hatching().map(Hatching::cap).min()?;
    Some((
        countable().max()?.min(waited_to),
        cap + Days::new(COUNTED_AFTER_CAP),
    ))
}

/// What still works first, then what serves the purpose, then what meets most.
fn rank(options: &mut [PlannedOption<'_>], wanted: Purpose, today: NaiveDate) {
    options.sort_by(|a, b| {
        let (a, b) = (&a.planned, &b.planned);
        b.in_time(today)
            .cmp(&a.in_time(today))
            .then((b.purpose == wanted).cmp(&(a.purpose == wanted)))
            .then(b.still(today).total_cmp(&a.still(today)))
    });
}

/// The last season before this one in which something of an option's main group was used.
fn group_used_in(option: &TreatmentOption, before: &[(i32, &TreatmentOption)]) -> Option<i32> {
    let group = option.main_group()?;
    let same = before
        .iter()
        .filter(|(_, used)| used.main_group() == Some(group));
    same.map(|(year, _)| *year).max()
}

#[cfg(test)]
mod tests {
    use super::super::kit::{day, hatching, option, species};
    use super::*;
    use crate::domain::phenology::species::Species;
    use crate::domain::treatment::need::{Evidence, Ground, Need, Reason};

    const NOTHING_KNOWN: Evidence = Evidence {
        this_brood: None,
        last_brood: None,
        damaged: None,
    };

    fn plan_of<T>(
        need: Need,
        hatching: Option<&Hatching>,
        before: &[(i32, &TreatmentOption)],
        wanted: PlanScope,
        see: impl Fn(&SitePlan<'_>) -> T,
    ) -> T {
        let beetle: Species = species("japanese-beetle");
        let options = ["imidacloprid", "clothianidin", "trichlorfon"].map(option);
        let choice = Choice {
            only: Some(options.iter().map(|option| option.id.clone()).collect()),
            ..Choice::default()
        };
        let needs = [SpeciesNeed {
            species: &beetle,
            evidence: &NOTHING_KNOWN,
            tolerance: (86.0, 161.0),
            need,
            hatching,
        }];
        let facts = SiteFacts {
            day: day("2026-06-15"),
            species: &needs,
            choice: &choice,
            area: None,
            spread: &[],
            spread_before: before,
            soil: None,
        };
        see(&SitePlan::of(facts, options.iter(), wanted))
    }

    fn ids(plan: &SitePlan<'_>) -> Vec<String> {
        plan.options
            .iter()
            .map(|one| one.planned.option.id.clone())
            .collect()
    }

    #[test]
    fn options_that_serve_what_is_called_for_come_first_and_alone_where_only_they_are_wanted() {
        let hatching = hatching(&species("japanese-beetle"), 0.0);
        let need = Need::Preventive(Ground::LastYear);
        let all = plan_of(need, Some(&hatching), &[], PlanScope::All, ids);
        assert_eq!(all.len(), 3);
        assert_eq!(all[2], "trichlorfon");
        let called = plan_of(need, Some(&hatching), &[], PlanScope::CalledFor, ids);
        assert_eq!(called, all[..2]);
        let nothing = Need::Nothing(Reason::NothingKnown);
        assert_eq!(
            plan_of(nothing, Some(&hatching), &[], PlanScope::CalledFor, ids).len(),
            0
        );
        assert_eq!(
            plan_of(nothing, Some(&hatching), &[], PlanScope::All, ids).len(),
            3
        );
    }

    #[test]
    fn one_digging_has_its_days_from_when_larvae_can_be_counted_to_two_weeks_after_the_cap() {
        let hatching = hatching(&species("japanese-beetle"), 0.0);
        let need = Need::Nothing(Reason::NothingKnown);
        let days = plan_of(need, Some(&hatching), &[], PlanScope::All, |plan| {
            plan.counting
        });
        let expected = (hatching.countable().unwrap(), day("2026-10-14"));
        assert_eq!(days, Some(expected));
        assert_eq!(
            plan_of(need, None, &[], PlanScope::All, |plan| plan.counting),
            None
        );
    }

    #[test]
    fn without_a_hatch_there_are_no_days_and_none_is_said_to_be_lacking() {
        let need = Need::Preventive(Ground::LastYear);
        plan_of(need, None, &[], PlanScope::All, |plan| {
            assert!(!plan.has_dates() && plan.options.is_empty());
            assert!(plan.without_a_day.is_empty());
        });
    }

    #[test]
    fn the_last_season_with_the_same_main_group_is_named_with_an_option() {
        let hatching = hatching(&species("japanese-beetle"), 0.0);
        let used = option("thiamethoxam");
        let before = [(2023, &used), (2025, &used), (2024, &used)];
        let need = Need::Preventive(Ground::LastYear);
        let used_in = |plan: &SitePlan<'_>| -> Vec<(String, Option<i32>)> {
            let options = plan.options.iter();
            options
                .map(|one| (one.planned.option.id.clone(), one.group_used_in))
                .collect()
        };
        let told = plan_of(need, Some(&hatching), &before, PlanScope::All, used_in);
        for (id, year) in told {
            let expected = (id != "trichlorfon").then_some(2025);
            assert_eq!(year, expected, "{id}");
        }
    }
}
