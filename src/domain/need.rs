//! Whether to treat at all, from what was counted, what grubs did last year, and what the site's
//! people have decided.

use super::choice::Preventives;
use super::journal::{Deed, Entry, Found};
use super::scouting::{Risk, TurfCondition, Verdict, risk_before_count};
use super::species::ActionThreshold;
use super::treatment::Purpose;
use chrono::{Days, NaiveDate};

/// Counts and damage older than this say nothing of the larvae to come, days.
const REMEMBERED_DAYS: u64 = 430;

/// What is known of a species at a site, for the decision.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The latest count of the larvae that hatch this season, with its day.
    pub this_brood: Option<(NaiveDate, Found)>,
    /// The highest mean of the counts of the brood before, larvae per m².
    pub last_mean_per_m2: Option<f64>,
    /// Whether grubs of the brood before did damage, if anybody noted it.
    pub damaged: Option<bool>,
}

impl Evidence {
    /// Sorts out a site's entries up to `today`. Larvae counted from the day of egg lay on are
    /// this season's brood, larvae counted before it the brood before.
    pub fn of(
        entries: &[Entry],
        species: &str,
        egg_lay: Option<NaiveDate>,
        today: NaiveDate,
    ) -> Self {
        let since = today - Days::new(REMEMBERED_DAYS);
        let is_this_brood = |day: NaiveDate| egg_lay.is_some_and(|laid| day >= laid);
        let mut evidence = Self {
            this_brood: None,
            last_mean_per_m2: None,
            damaged: None,
        };
        for entry in entries
            .iter()
            .filter(|entry| (since..=today).contains(&entry.day))
        {
            match &entry.deed {
                Deed::Count { species: of, found } if of == species => {
                    if is_this_brood(entry.day) {
                        evidence.this_brood = Some((entry.day, found.clone()));
                    } else {
                        let mean = found.mean_per_m2();
                        let highest = evidence.last_mean_per_m2.map_or(mean, |m| m.max(mean));
                        evidence.last_mean_per_m2 = Some(highest);
                    }
                }
                Deed::Note {
                    damage: Some(damage),
                } if !is_this_brood(entry.day) => {
                    evidence.damaged = Some(evidence.damaged.unwrap_or(false) || *damage);
                }
                _ => {}
            }
        }
        evidence
    }
}

/// Whether to treat, and on what ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Need {
    /// This brood was counted above what the turf bears: a curative may be justified.
    Curative {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
    },
    /// This brood's count cannot tell: dig more before anything is applied.
    CountMore {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
    },
    /// A preventive is justified.
    Preventive(Ground),
    /// Nothing should be applied.
    Nothing(Reason),
}

impl Need {
    /// What kind of option it calls for.
    pub fn purpose(&self) -> Option<Purpose> {
        match self {
            Need::Preventive(_) => Some(Purpose::Preventive),
            Need::Curative { .. } => Some(Purpose::Curative),
            Need::CountMore { .. } | Need::Nothing(_) => None,
        }
    }
}

/// What a preventive stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ground {
    /// The site's people have decided so for every year.
    StandingDecision,
    /// Last year's counts or damage.
    LastYear,
}

/// Why nothing should be applied.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// This brood was counted below what the turf bears.
    CountedBelow {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
    },
    /// Last year's count or damage gives some reason to look here first, none to spread.
    SomeRisk,
    /// Last year was counted low, or passed without damage.
    LowRisk,
    /// Nothing is known of last year.
    NothingKnown,
    /// The site's people use no preventives; a count decides.
    NoPreventives,
}

/// Larvae per m² that turf bears: below the first number damage is not to be expected, above the
/// second it is. One number where the condition of the turf is known.
pub fn borne(threshold: &ActionThreshold, condition: Option<TurfCondition>) -> (f64, f64) {
    match condition {
        Some(condition) => {
            let limit = condition.limit_per_m2(threshold);
            (limit, limit)
        }
        None => (threshold.low_per_m2, threshold.high_per_m2),
    }
}

/// What a count says of what the turf bears.
///
/// # Method
/// Samples: below or above if the whole range lies there, see
/// [`super::scouting::Density::verdict`]; where the condition is not known, below the low and above
/// the high end of the threshold. A bare density has no range, so it is near from half to twice the
/// threshold (our choice).
///
/// # Units
/// Larvae per m².
///
/// # Valid range
/// Counts spread over the turf, not dug where damage shows.
///
/// # References
/// The threshold's, in the species' file.
pub fn verdict(found: &Found, (low, high): (f64, f64)) -> Verdict {
    let (least, most) = match found {
        Found::Samples(count) => {
            let density = count.density();
            (density.low_per_m2, density.high_per_m2)
        }
        Found::Density(per_m2) => (per_m2 / 2.0, per_m2 * 2.0),
    };
    if most < low {
        Verdict::Below
    } else if least > high {
        Verdict::Above
    } else {
        Verdict::Near
    }
}

/// Decides whether to treat. A count of this season's brood goes before everything else; without
/// one, preventives follow the site's own policy and last year's evidence.
pub fn need(evidence: &Evidence, policy: Preventives, borne: (f64, f64)) -> Need {
    if let Some((_, found)) = &evidence.this_brood {
        let mean_per_m2 = found.mean_per_m2();
        return match verdict(found, borne) {
            Verdict::Above => Need::Curative { mean_per_m2 },
            Verdict::Near => Need::CountMore { mean_per_m2 },
            Verdict::Below => Need::Nothing(Reason::CountedBelow { mean_per_m2 }),
        };
    }
    match policy {
        Preventives::EveryYear => Need::Preventive(Ground::StandingDecision),
        Preventives::Never => Need::Nothing(Reason::NoPreventives),
        Preventives::WhenJustified => {
            let (low, _) = borne;
            match risk_before_count(evidence.last_mean_per_m2, evidence.damaged, low) {
                Risk::High => Need::Preventive(Ground::LastYear),
                Risk::Moderate => Need::Nothing(Reason::SomeRisk),
                Risk::Low => Need::Nothing(Reason::LowRisk),
                Risk::Unknown => Need::Nothing(Reason::NothingKnown),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::scouting::SampleArea;

    const BORNE: (f64, f64) = (86.0, 161.0);
    const SPECIES: &str = "japanese-beetle";

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn entry(on: &str, deed: Deed) -> Entry {
        Entry {
            number: 1,
            site: "lawn".into(),
            day: day(on),
            deed,
            remark: None,
        }
    }

    fn count(on: &str, larvae: u32) -> Entry {
        let area = SampleArea::from_ft2(1.0).unwrap();
        entry(
            on,
            Deed::Count {
                species: SPECIES.into(),
                found: Found::of_samples(10, area, larvae, None).unwrap(),
            },
        )
    }

    fn damage(on: &str, damage: bool) -> Entry {
        entry(
            on,
            Deed::Note {
                damage: Some(damage),
            },
        )
    }

    fn needed(entries: &[Entry], policy: Preventives, today: &str) -> Need {
        let today = day(today);
        let laid = Some(day("2026-06-25")).filter(|laid| *laid <= today);
        need(&Evidence::of(entries, SPECIES, laid, today), policy, BORNE)
    }

    #[test]
    fn who_has_neither_counted_nor_decided_should_apply_nothing() {
        let need = needed(&[], Preventives::WhenJustified, "2026-05-01");
        assert_eq!(need, Need::Nothing(Reason::NothingKnown));
    }

    #[test]
    fn last_autumns_harmful_count_or_damage_justifies_a_preventive() {
        // 10 larvae in each square foot are 108 per m².
        for entries in [
            vec![count("2025-09-10", 100)],
            vec![damage("2025-10-01", true)],
        ] {
            let need = needed(&entries, Preventives::WhenJustified, "2026-05-01");
            assert_eq!(need, Need::Preventive(Ground::LastYear), "{entries:?}");
        }
    }

    #[test]
    fn a_low_count_and_a_year_without_damage_do_not() {
        for (entries, reason) in [
            (vec![count("2025-09-10", 20)], Reason::LowRisk),
            (vec![damage("2025-10-01", false)], Reason::LowRisk),
            (vec![count("2025-09-10", 50)], Reason::SomeRisk),
        ] {
            let need = needed(&entries, Preventives::WhenJustified, "2026-05-01");
            assert_eq!(need, Need::Nothing(reason), "{entries:?}");
        }
    }

    #[test]
    fn what_was_counted_two_years_ago_is_forgotten() {
        let need = needed(
            &[count("2024-09-10", 100)],
            Preventives::WhenJustified,
            "2026-05-01",
        );
        assert_eq!(need, Need::Nothing(Reason::NothingKnown));
    }

    #[test]
    fn a_spring_count_is_of_the_brood_before() {
        let entries = [count("2026-04-20", 100)];
        let need = needed(&entries, Preventives::WhenJustified, "2026-07-20");
        assert_eq!(need, Need::Preventive(Ground::LastYear));
    }

    #[test]
    fn a_count_of_this_brood_goes_before_every_policy() {
        for policy in [
            Preventives::EveryYear,
            Preventives::Never,
            Preventives::WhenJustified,
        ] {
            let need = |larvae| needed(&[count("2026-08-20", larvae)], policy, "2026-08-21");
            assert!(matches!(
                need(5),
                Need::Nothing(Reason::CountedBelow { .. })
            ));
            assert!(matches!(need(110), Need::CountMore { .. }));
            assert!(matches!(need(400), Need::Curative { .. }));
        }
    }

    #[test]
    fn the_latest_count_of_this_brood_is_the_one_that_speaks() {
        let entries = [count("2026-08-10", 400), count("2026-08-20", 5)];
        let need = needed(&entries, Preventives::EveryYear, "2026-08-21");
        assert!(matches!(need, Need::Nothing(Reason::CountedBelow { .. })));
    }

    #[test]
    fn a_bare_density_tells_only_when_it_is_far_from_the_threshold() {
        for (per_m2, says) in [
            (40.0, Verdict::Below),
            (80.0, Verdict::Near),
            (300.0, Verdict::Near),
            (330.0, Verdict::Above),
        ] {
            assert_eq!(verdict(&Found::Density(per_m2), BORNE), says, "{per_m2}");
        }
    }
}
