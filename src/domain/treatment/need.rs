//! Whether to treat at all, from what was counted, what grubs did last year, and what the site's
//! people have decided.

use crate::domain::journal::{Entry, JournalAction};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season::Season;
use crate::domain::phenology::season_state::SeasonState;
use crate::domain::phenology::species::Species;
use crate::domain::scouting::Found;
use crate::domain::scouting::{CountReading, More, Risk, Verdict, risk_before_count};
use crate::domain::treatment::choice::Preventives;
use crate::domain::treatment::option::Purpose;
use chrono::{Days, NaiveDate};

/// Days after first hatch from which larvae can be counted at the latest.
pub const COUNTABLE_AFTER_HATCH: u64 = 28;

/// Days before the date cap from which larvae count as this season's where the sums cannot tell. A
/// choice: with a cap on 30 September, 1 August.
const COUNTABLE_BEFORE_CAP: u64 = 60;

/// The same for eggs: 2 July.
const EGGS_BEFORE_CAP: u64 = 90;

/// Whose larvae a day's count or damage speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Brood {
    /// Larvae of a brood before the last: they say nothing any more.
    Earlier,
    /// Those that hatched last season.
    Last,
    /// Eggs are laid, and the larvae of this season are too few or too small to be counted.
    TooSoon,
    /// Those that hatched this season.
    This,
}

/// The days on which one brood gives way to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Broods {
    /// From this day on larvae are last season's.
    pub last_from: NaiveDate,
    /// From this day on eggs are laid; `None` if they are not yet.
    pub egg_lay: Option<NaiveDate>,
    /// From this day on larvae can be counted that hatched this season; `None` if not yet.
    pub countable: Option<NaiveDate>,
}

impl Broods {
    /// Of a species at a latitude (degrees) in the season of a standing.
    ///
    /// # Method
    /// Larvae are this season's from the second instar or four weeks after first hatch, whichever
    /// comes first, and from the date cap on in any case; last season's up to the day of egg lay.
    /// Where milestones are held back, 60 and 90 days before the cap stand for these days; last
    /// season's brood begins 90 days before that season's cap.
    ///
    /// # Valid range
    /// Grubs with one generation a year.
    ///
    /// # References
    /// Stages and caps: the species' file. Four weeks, 60 and 90 days: our choice.
    pub fn of(species: &Species, latitude: f64, state: &SeasonState) -> Self {
        let season = &state.season;
        let cap = species.window_cap(season, latitude);
        let start = species.start.at_latitude(latitude);
        let before = Season::starting_in(season.year - 1, start);
        let held = state.hold.is_some();
        let by_cap = |days| held.then(|| cap - Days::new(days));
        let grown = state
            .passed(Milestone::Hatch)
            .map(|hatch| hatch + Days::new(COUNTABLE_AFTER_HATCH));
        let countable = [state.second_instar, grown, by_cap(COUNTABLE_BEFORE_CAP)];
        Self {
            last_from: species.window_cap(&before, latitude) - Days::new(EGGS_BEFORE_CAP),
            egg_lay: state.passed(Milestone::EggLay).or(by_cap(EGGS_BEFORE_CAP)),
            countable: countable.into_iter().flatten().chain([cap]).min(),
        }
    }

    /// Whose larvae a day up to today speaks of.
    pub fn on(&self, day: NaiveDate) -> Brood {
        if day < self.last_from {
            Brood::Earlier
        } else if self.countable.is_some_and(|from| day >= from) {
            Brood::This
        } else if self.egg_lay.is_some_and(|from| day >= from) {
            Brood::TooSoon
        } else {
            Brood::Last
        }
    }
}

/// What is known of a species at a site, for the decision.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The latest count of the larvae that hatched this season, with its day.
    pub this_brood: Option<(NaiveDate, Found)>,
    /// The latest count of last season's brood, with its day.
    pub last_brood: Option<(NaiveDate, Found)>,
    /// Whether grubs of last season's brood did damage, if anybody noted it.
    pub damaged: Option<bool>,
}

impl Evidence {
    /// Sorts out a site's entries, which are in order, up to `today`.
    pub fn of(entries: &[Entry], species: &str, broods: &Broods, today: NaiveDate) -> Self {
        let mut evidence = Self {
            this_brood: None,
            last_brood: None,
            damaged: None,
        };
        for entry in entries.iter().filter(|entry| entry.day <= today) {
            let brood = broods.on(entry.day);
            match &entry.action {
                JournalAction::Count { species: of, found } if of == species => {
                    let count = Some((entry.day, found.clone()));
                    match brood {
                        Brood::This => evidence.this_brood = count,
                        Brood::Last => evidence.last_brood = count,
                        Brood::TooSoon | Brood::Earlier => {}
                    }
                }
                // Larvae too small to be counted do no damage yet: it was the last brood's.
                JournalAction::Note {
                    damage: Some(damage),
                } if matches!(brood, Brood::Last | Brood::TooSoon) => {
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
    /// This brood was counted above what the turf tolerates: a curative may be justified.
    Curative {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
        /// The day of the count.
        counted_on: NaiveDate,
        /// What the counts of several species come to together, as a share of what the turf tolerates,
        /// where none is above by itself; the mean is then that of all of them.
        together: Option<f64>,
    },
    /// This brood's count cannot tell: dig more before anything is applied.
    CountMore {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
        /// How much more.
        more: Option<More>,
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
    /// This brood was counted below what the turf tolerates.
    CountedBelow {
        /// Mean counted, larvae per m².
        mean_per_m2: f64,
    },
    /// What was justified has been done.
    Treated {
        /// The day of the last application that counts.
        on: NaiveDate,
    },
    /// Last year's count or damage gives some reason to look here first, none to spread.
    SomeRisk,
    /// Last year was counted low, or passed without damage.
    LowRisk,
    /// Nothing is known of last year.
    NothingKnown,
    /// None of the site's species is known here.
    NoSpecies,
    /// The site's people use no preventives; a count decides.
    NoPreventives,
}

/// Decides whether to treat. A count of this season's brood goes before everything else; without
/// one, preventives follow the site's own policy and last year's evidence.
pub fn need(evidence: &Evidence, policy: Preventives, tolerance: (f64, f64)) -> Need {
    if let Some((counted_on, found)) = &evidence.this_brood {
        let counted_on = *counted_on;
        let reading = CountReading::of(found, tolerance);
        let mean_per_m2 = reading.mean_per_m2;
        return match reading.verdict {
            Verdict::Above => Need::Curative {
                mean_per_m2,
                counted_on,
                together: None,
            },
            Verdict::Near => Need::CountMore {
                mean_per_m2,
                more: reading.more,
            },
            Verdict::Below => Need::Nothing(Reason::CountedBelow { mean_per_m2 }),
        };
    }
    match policy {
        Preventives::EveryYear => Need::Preventive(Ground::StandingDecision),
        Preventives::Never => Need::Nothing(Reason::NoPreventives),
        Preventives::WhenJustified => {
            let (low, _) = tolerance;
            let last = evidence.last_brood.as_ref();
            let mean = last.map(|(_, found)| found.mean_per_m2());
            match risk_before_count(mean, evidence.damaged, low) {
                Risk::High => Need::Preventive(Ground::LastYear),
                Risk::Moderate => Need::Nothing(Reason::SomeRisk),
                Risk::Low => Need::Nothing(Reason::LowRisk),
                Risk::Unknown => Need::Nothing(Reason::NothingKnown),
            }
        }
    }
}

/// What the counts of several species come to together, as a share of what the turf tolerates: means
/// over the high end of what it tolerates, added. `None` unless two species or more were counted, or if
/// one of them is above by itself.
///
/// # Method
/// `Σ mean / tolerated`.
///
/// # Units
/// Both in larvae per m².
///
/// # Valid range
/// Larvae of several species eat the same roots; that their shares simply add up is common practice,
/// no source.
///
/// # References
/// The thresholds', in the species' files.
///
/// # Examples
/// ```
/// use hatchbell::domain::treatment::need::together;
///
/// assert_eq!(together(&[(80.0, 160.0), (120.0, 160.0)]), Some(1.25));
/// assert_eq!(together(&[(80.0, 160.0)]), None);
/// ```
pub fn together(counted: &[(f64, f64)]) -> Option<f64> {
    let shares = || counted.iter().map(|(mean, tolerance)| mean / tolerance);
    let adds = counted.len() > 1 && shares().all(|share| share <= 1.0);
    adds.then(|| shares().sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::scouting::{SampleArea, verdict};

    const TOLERATED: (f64, f64) = (86.0, 161.0);
    const SPECIES: &str = "japanese-beetle";

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn entry(on: &str, action: JournalAction) -> Entry {
        Entry {
            number: 1,
            site: "lawn".into(),
            day: day(on),
            action,
            remark: None,
        }
    }

    fn count(on: &str, larvae: u32) -> Entry {
        let area = SampleArea::from_ft2(1.0).unwrap();
        entry(
            on,
            JournalAction::Count {
                species: SPECIES.into(),
                found: Found::of_samples(10, area, larvae, None).unwrap(),
            },
        )
    }

    fn damage(on: &str, damage: bool) -> Entry {
        entry(
            on,
            JournalAction::Note {
                damage: Some(damage),
            },
        )
    }

    /// Eggs from 25 June, larvae that can be counted from 5 August.
    fn needed(entries: &[Entry], policy: Preventives, today: &str) -> Need {
        let today = day(today);
        let passed = |text| Some(day(text)).filter(|on| *on <= today);
        let broods = Broods {
            last_from: day("2025-07-02"),
            egg_lay: passed("2026-06-25"),
            countable: passed("2026-08-05"),
        };
        need(
            &Evidence::of(entries, SPECIES, &broods, today),
            policy,
            TOLERATED,
        )
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
    fn counts_and_damage_of_a_brood_before_the_last_are_forgotten() {
        for old in [count("2025-04-20", 400), damage("2025-05-20", true)] {
            let need = needed(
                std::slice::from_ref(&old),
                Preventives::WhenJustified,
                "2026-03-15",
            );
            assert_eq!(need, Need::Nothing(Reason::NothingKnown), "{old:?}");
        }
    }

    #[test]
    fn the_latest_count_of_last_years_brood_is_the_one_that_speaks() {
        let entries = [count("2025-08-20", 400), count("2025-09-12", 5)];
        let need = needed(&entries, Preventives::WhenJustified, "2026-03-15");
        assert_eq!(need, Need::Nothing(Reason::LowRisk));
    }

    #[test]
    fn between_egg_lay_and_the_second_instar_a_count_says_nothing() {
        for larvae in [0, 400] {
            let entries = [count("2026-06-27", larvae)];
            let state = needed(&entries, Preventives::EveryYear, "2026-08-20");
            assert_eq!(state, Need::Preventive(Ground::StandingDecision));
            let default = needed(&entries, Preventives::WhenJustified, "2026-08-20");
            assert_eq!(default, Need::Nothing(Reason::NothingKnown));
        }
    }

    #[test]
    fn damage_that_is_noted_while_this_years_larvae_are_tiny_was_last_years() {
        let need = needed(
            &[damage("2026-07-12", true)],
            Preventives::WhenJustified,
            "2026-07-13",
        );
        assert_eq!(need, Need::Preventive(Ground::LastYear));
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
            assert_eq!(
                verdict(&Found::Density(per_m2), TOLERATED),
                says,
                "{per_m2}"
            );
        }
    }
}
