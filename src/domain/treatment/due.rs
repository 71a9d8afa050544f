//! What is due at a site: the one thing to do next and by when, and how much it presses beside what is
//! due elsewhere.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::Hold;
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::digging::{Digging, DugFor, digging};
use crate::domain::treatment::need::{Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::site_plan::SitePlan;
use crate::domain::treatment::steps::LAST_CALL_DAYS;
use crate::domain::treatment::watering::{Watering, WateringState};
use chrono::NaiveDate;

/// How much something presses, the most first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Water is overdue: what was spread is losing its worth.
    WaterOverdue,
    /// Water is due.
    Water,
    /// The last week of an option's days.
    LastWeek,
    /// The days of an option have begun.
    Apply,
    /// Larvae can be counted.
    Count,
    /// A count calls for a treatment, and none is left.
    NothingLeft,
    /// Milestones are held back: nothing can be told.
    Held,
    /// The days of an option lie ahead.
    ApplyLater,
    /// Nothing is to be done.
    Nothing,
}

impl Urgency {
    /// Every urgency with its name for scripts.
    pub const NAMED: [(&'static str, Urgency); 9] = [
        ("water-overdue", Urgency::WaterOverdue),
        ("water", Urgency::Water),
        ("last-week", Urgency::LastWeek),
        ("apply", Urgency::Apply),
        ("count", Urgency::Count),
        ("nothing-left", Urgency::NothingLeft),
        ("held", Urgency::Held),
        ("apply-later", Urgency::ApplyLater),
        ("nothing", Urgency::Nothing),
    ];

    /// The name for scripts.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// Whether there is something to do or to decide now.
    pub fn presses(self) -> bool {
        self <= Urgency::NothingLeft
    }
}

/// What is due at a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Due<'d> {
    /// An application lacks water.
    Water {
        /// What was spread.
        option: &'d TreatmentOption,
        /// How it stands.
        watering: Watering,
    },
    /// An option is to be applied.
    Apply {
        /// What.
        option: &'d TreatmentOption,
        /// The days worth it.
        window: Window,
        /// Whether they lie ahead, have begun, or end within a week.
        urgency: Urgency,
    },
    /// Grubs are to be counted.
    Count {
        /// When.
        days: Digging,
        /// Whether a count was made that cannot tell.
        again: bool,
    },
    /// A count of this day calls for a treatment, and none works any more.
    NothingLeft(NaiveDate),
    /// Milestones are held back.
    Held(Hold),
    /// Nothing is to be done.
    Nothing {
        /// Why.
        idle: Idle,
        /// The milestone that comes next.
        next: Option<NextDay>,
    },
}

/// Why there is nothing to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Idle {
    /// Nothing calls for a treatment.
    NotCalledFor,
    /// It has been treated, the last time on this day.
    Treated(NaiveDate),
    /// Fewer larvae were counted than the turf tolerates.
    CountedBelow,
    /// A treatment is called for, and its days are not known yet.
    NoDates,
    /// A treatment is called for, and its last day is over.
    TooLate,
    /// No day of the season has arrived.
    NoDays,
}

/// A milestone that comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextDay {
    /// Which one.
    pub milestone: Milestone,
    /// Its likely day, if that is known.
    pub likely: Option<NaiveDate>,
    /// Whether that day is the calendar's.
    pub by_calendar: bool,
}

impl Due<'_> {
    /// How much it presses.
    pub fn urgency(&self) -> Urgency {
        match self {
            Due::Water { watering, .. } if watering.state == WateringState::Due => Urgency::Water,
            Due::Water { .. } => Urgency::WaterOverdue,
            Due::Apply { urgency, .. } => *urgency,
            Due::Count { .. } => Urgency::Count,
            Due::NothingLeft(_) => Urgency::NothingLeft,
            Due::Held(_) => Urgency::Held,
            Due::Nothing { .. } => Urgency::Nothing,
        }
    }

    /// The last day for it.
    pub fn by(&self) -> Option<NaiveDate> {
        match self {
            Due::Water { watering, .. } => Some(watering.deadline),
            Due::Apply { window, .. } => Some(window.last),
            Due::Count { days, .. } => Some(days.by),
            Due::NothingLeft(_) | Due::Held(_) | Due::Nothing { .. } => None,
        }
    }

    /// The day since which it is due, or from which it will be.
    pub fn since(&self) -> Option<NaiveDate> {
        match self {
            Due::Water { watering, .. } => Some(watering.spread),
            Due::Apply { window, .. } => Some(window.first),
            Due::Count { days, .. } => Some(days.since),
            Due::NothingLeft(counted_on) => Some(*counted_on),
            Due::Held(Hold::Gap(gap)) => Some(gap.from),
            Due::Held(_) | Due::Nothing { .. } => None,
        }
    }

    /// What is to be applied or watered in.
    pub fn option(&self) -> Option<&TreatmentOption> {
        match self {
            Due::Water { option, .. } | Due::Apply { option, .. } => Some(option),
            _ => None,
        }
    }
}

/// What is due at a site, by its plan, its species and latitude (degrees), and how what was spread
/// stands with its water.
///
/// # Method
/// What presses most, see [`Urgency`]: the application whose water is due first; of the options that
/// serve what is called for and are in time the first in the plan's order, one whose days have begun
/// before one whose days lie ahead; the season's digging; a hold.
///
/// # References
/// The order: our choice.
pub fn due<'d>(
    plan: &SitePlan<'d>,
    species: &[DugFor<'_>],
    latitude: f64,
    waterings: &[(&'d TreatmentOption, Watering)],
) -> Due<'d> {
    let found = [
        water(waterings),
        application(plan),
        count(plan, species, latitude),
        nothing_left(plan),
        held(species),
    ];
    let most = found.into_iter().flatten().min_by_key(Due::urgency);
    most.unwrap_or_else(|| Due::Nothing {
        idle: idle(plan, species),
        next: next_day(species),
    })
}

fn water<'d>(waterings: &[(&'d TreatmentOption, Watering)]) -> Option<Due<'d>> {
    let lacking = waterings
        .iter()
        .filter(|(_, watering)| !matches!(watering.state, WateringState::Done(_)));
    let (option, watering) = lacking.min_by_key(|(_, watering)| watering.deadline)?;
    Some(Due::Water {
        option,
        watering: *watering,
    })
}

fn application<'d>(plan: &SitePlan<'d>) -> Option<Due<'d>> {
    let (wanted, today) = (plan.need.purpose()?, plan.day);
    let serving = plan.options.iter().map(|one| &one.planned);
    let in_time = serving.filter(|one| one.purpose == wanted && one.in_time(today));
    // Of equals the first: the plan's order.
    let planned = in_time.min_by_key(|one| one.window.first > today)?;
    let window = planned.window;
    let urgency = if window.first > today {
        Urgency::ApplyLater
    } else if (window.last - today).num_days() <= LAST_CALL_DAYS {
        Urgency::LastWeek
    } else {
        Urgency::Apply
    };
    Some(Due::Apply {
        option: planned.option,
        window,
        urgency,
    })
}

fn count<'d>(plan: &SitePlan<'_>, species: &[DugFor<'_>], latitude: f64) -> Option<Due<'d>> {
    if let Some(days) = digging(species, latitude, plan.day) {
        return Some(Due::Count { days, again: false });
    }
    let counted = |one: &DugFor<'_>| one.evidence.this_brood.as_ref().map(|(day, _)| *day);
    let days = Digging {
        since: species.iter().filter_map(counted).max()?,
        by: species.iter().map(|one| one.by(latitude)).max()?,
    };
    let is_open = matches!(plan.need.need, Need::CountMore { .. }) && plan.day <= days.by;
    is_open.then_some(Due::Count { days, again: true })
}

fn nothing_left<'d>(plan: &SitePlan<'_>) -> Option<Due<'d>> {
    match plan.need.need {
        Need::Curative { counted_on, .. } if plan.has_dates() => Some(Due::NothingLeft(counted_on)),
        _ => None,
    }
}

/// Before the season's first day arrives, and after its last milestone, there is nothing to hold.
fn held<'d>(species: &[DugFor<'_>]) -> Option<Due<'d>> {
    let open = species.iter().filter(|one| one.state.next().is_some());
    let mut holds = open.filter_map(|one| one.state.hold);
    holds.find(|hold| *hold != Hold::NoData).map(Due::Held)
}

fn idle(plan: &SitePlan<'_>, species: &[DugFor<'_>]) -> Idle {
    let has_no_days = |one: &DugFor<'_>| one.state.hold == Some(Hold::NoData);
    match plan.need.need {
        Need::Nothing(Reason::Treated { on }) => Idle::Treated(on),
        Need::Nothing(Reason::CountedBelow { .. }) => Idle::CountedBelow,
        _ if !species.is_empty() && species.iter().all(has_no_days) => Idle::NoDays,
        Need::Preventive(_) | Need::Curative { .. } if !plan.has_dates() => Idle::NoDates,
        Need::Preventive(_) if !plan.options.is_empty() => Idle::TooLate,
        _ => Idle::NotCalledFor,
    }
}

/// The milestone of any species that is likely first; one without a day comes after the others.
fn next_day(species: &[DugFor<'_>]) -> Option<NextDay> {
    let next = species.iter().filter_map(|one| {
        let next = one.state.next()?;
        let outlook = next.outlook.ok().filter(|_| one.state.hold.is_none());
        let likely = outlook.and_then(|(outlook, _)| outlook.likely);
        Some(NextDay {
            milestone: next.milestone,
            likely,
            by_calendar: outlook.is_some_and(|(outlook, _)| outlook.by_calendar.likely),
        })
    });
    next.min_by_key(|next| (next.likely.is_none(), next.likely, next.milestone))
}

#[cfg(test)]
mod tests {
    use super::super::kit::{counted, day, hatched_on, hatching, nothing_known, option, species};
    use super::super::need::{Evidence, Ground};
    use super::*;
    use crate::domain::phenology::outlook::NoOutlook;
    use crate::domain::phenology::season_days::Gap;
    use crate::domain::phenology::season_state::{Expectation, SeasonState};
    use crate::domain::treatment::choice::Choice;
    use crate::domain::treatment::site_need::SpeciesNeed;
    use crate::domain::treatment::site_plan::{PlanScope, SiteFacts};
    use chrono::Days;

    const LATITUDE: f64 = 41.8;

    /// A site with one species that would use these options.
    struct Place {
        need: Need,
        options: Vec<TreatmentOption>,
        state: SeasonState,
        evidence: Evidence,
    }

    impl Place {
        fn wants(options: &[&str]) -> Self {
            Self {
                need: Need::Preventive(Ground::LastYear),
                options: options.iter().map(|id| option(id)).collect(),
                state: SeasonState {
                    crossings: Vec::new(),
                    ahead: vec![Expectation {
                        milestone: Milestone::Hatch,
                        outlook: Err(NoOutlook::NoData),
                    }],
                    ..hatched_on("2026-07-01")
                },
                evidence: nothing_known(),
            }
        }

        fn see<T>(&self, on: NaiveDate, water: &[Watering], see: impl Fn(Due<'_>) -> T) -> T {
            let beetle = species("japanese-beetle");
            let hatching = hatching(&beetle, 0.0);
            let needs = [SpeciesNeed {
                species: &beetle,
                evidence: &self.evidence,
                tolerance: (86.0, 161.0),
                need: self.need,
                hatching: Some(&hatching),
            }];
            let choice = Choice {
                only: Some(self.options.iter().map(|one| one.id.clone()).collect()),
                ..Choice::default()
            };
            let facts = SiteFacts {
                day: on,
                species: &needs,
                choice: &choice,
                area: None,
                spread: &[],
                spread_before: &[],
                soil: None,
            };
            let plan = SitePlan::of(facts, self.options.iter(), PlanScope::CalledFor);
            let dug = [DugFor {
                species: &beetle,
                state: &self.state,
                evidence: &self.evidence,
            }];
            let water: Vec<(&TreatmentOption, Watering)> =
                water.iter().map(|one| (&self.options[0], *one)).collect();
            see(due(&plan, &dug, LATITUDE, &water))
        }

        fn urgency(&self, on: NaiveDate) -> Urgency {
            self.see(on, &[], |due| due.urgency())
        }

        /// The window of the one option it would use.
        fn window(&self) -> Window {
            self.see(day("2026-01-10"), &[], |due| match due {
                Due::Apply { window, .. } => window,
                other => panic!("{other:?}"),
            })
        }
    }

    fn water(state: WateringState, deadline: &str) -> Watering {
        Watering {
            needed_mm: 13.0,
            spread: day("2026-06-01"),
            deadline: day(deadline),
            rain_mm: 0.0,
            irrigation_mm: 0.0,
            rain_through: None,
            state,
        }
    }

    #[test]
    fn an_option_lies_ahead_then_has_begun_then_has_its_last_week_and_is_then_too_late() {
        let place = Place::wants(&["chlorantraniliprole"]);
        let Window { first, last, .. } = place.window();
        let (before, after) = (first - Days::new(1), last + Days::new(1));
        assert_eq!(place.urgency(before), Urgency::ApplyLater);
        assert_eq!(place.urgency(first), Urgency::Apply);
        assert_eq!(place.urgency(last - Days::new(8)), Urgency::Apply);
        assert_eq!(place.urgency(last - Days::new(7)), Urgency::LastWeek);
        assert_eq!(place.urgency(last), Urgency::LastWeek);
        place.see(after, &[], |due| match due {
            Due::Nothing { idle, .. } => assert_eq!(idle, Idle::TooLate),
            other => panic!("{other:?}"),
        });
    }

    #[test]
    fn an_option_whose_days_have_begun_goes_before_one_whose_days_lie_ahead() {
        let slow = Place::wants(&["chlorantraniliprole"]).window();
        let soluble = Place::wants(&["bacillus-thuringiensis-galleriae"]).window();
        assert!(slow.last < soluble.first, "{slow:?} {soluble:?}");
        for order in [
            ["chlorantraniliprole", "bacillus-thuringiensis-galleriae"],
            ["bacillus-thuringiensis-galleriae", "chlorantraniliprole"],
        ] {
            let both = Place::wants(&order);
            let named = |on| both.see(on, &[], |due| due.option().unwrap().id.clone());
            assert_eq!(named(slow.last), "chlorantraniliprole");
            assert_eq!(named(soluble.first), "bacillus-thuringiensis-galleriae");
        }
    }

    #[test]
    fn water_goes_before_everything_and_of_several_the_one_due_first() {
        let place = Place::wants(&["imidacloprid"]);
        let on = place.window().last;
        let due_on = |water: &[Watering]| place.see(on, water, |due| (due.urgency(), due.by()));
        let (late, soon) = (
            water(WateringState::Due, "2026-06-12"),
            water(WateringState::Due, "2026-06-10"),
        );
        assert_eq!(
            due_on(&[late, soon]),
            (Urgency::Water, Some(day("2026-06-10")))
        );
        for state in [WateringState::Missed, WateringState::Waiting] {
            let over = water(state, "2026-06-08");
            assert_eq!(due_on(&[soon, over]).0, Urgency::WaterOverdue);
        }
        let done = water(WateringState::Done(day("2026-06-02")), "2026-06-08");
        assert_eq!(due_on(&[done]).0, Urgency::LastWeek);
    }

    #[test]
    fn counting_comes_after_what_can_be_applied_and_before_a_hold() {
        let mut place = Place::wants(&[]);
        place.need = Need::Nothing(Reason::NothingKnown);
        place.state = hatched_on("2026-07-05");
        let on = day("2026-08-10");
        assert_eq!(place.urgency(on), Urgency::Count);
        place.evidence = counted("2026-08-05");
        assert_eq!(place.urgency(on), Urgency::Nothing);
        place.need = Need::CountMore {
            mean_per_m2: 120.0,
            more: None,
        };
        place.see(on, &[], |due| match due {
            Due::Count { days, again } => assert!(again && days.by > on),
            other => panic!("{other:?}"),
        });
    }

    #[test]
    fn a_hold_is_told_while_a_milestone_is_open_and_a_season_without_days_is_none() {
        let mut place = Place::wants(&[]);
        place.need = Need::Nothing(Reason::NothingKnown);
        let gap = Hold::Gap(Gap {
            from: day("2026-05-01"),
            to: day("2026-05-20"),
        });
        place.state.hold = Some(gap);
        let on = day("2026-06-01");
        assert_eq!(place.urgency(on), Urgency::Held);
        place.state.hold = Some(Hold::NoData);
        place.see(on, &[], |due| match due {
            Due::Nothing { idle, .. } => assert_eq!(idle, Idle::NoDays),
            other => panic!("{other:?}"),
        });
        place.state.hold = Some(gap);
        place.state.ahead.clear();
        assert_eq!(place.urgency(on), Urgency::Nothing);
    }

    #[test]
    fn a_count_above_after_which_nothing_works_is_told() {
        let mut place = Place::wants(&["trichlorfon"]);
        place.need = Need::Curative {
            mean_per_m2: 400.0,
            counted_on: day("2026-11-20"),
            together: None,
        };
        assert_eq!(place.urgency(day("2026-11-25")), Urgency::NothingLeft);
    }
}
