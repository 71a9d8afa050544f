//! What is due, and how much it presses.

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
struct DueCase {
    need: Need,
    options: Vec<TreatmentOption>,
    state: SeasonState,
    evidence: Evidence,
}

impl DueCase {
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
    let place = DueCase::wants(&["chlorantraniliprole"]);
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
    let slow = DueCase::wants(&["chlorantraniliprole"]).window();
    let soluble = DueCase::wants(&["bacillus-thuringiensis-galleriae"]).window();
    assert!(slow.last < soluble.first, "{slow:?} {soluble:?}");
    for order in [
        ["chlorantraniliprole", "bacillus-thuringiensis-galleriae"],
        ["bacillus-thuringiensis-galleriae", "chlorantraniliprole"],
    ] {
        let both = DueCase::wants(&order);
        let named = |on| both.see(on, &[], |due| due.option().unwrap().id.clone());
        assert_eq!(named(slow.last), "chlorantraniliprole");
        assert_eq!(named(soluble.first), "bacillus-thuringiensis-galleriae");
    }
}

#[test]
fn water_goes_before_everything_and_of_several_the_one_due_first() {
    let place = DueCase::wants(&["imidacloprid"]);
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
    let mut place = DueCase::wants(&[]);
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
fn a_hold_is_told_while_a_milestone_is_open() {
    let mut place = DueCase::wants(&[]);
    place.need = Need::Nothing(Reason::NothingKnown);
    let gap = Hold::Gap(Gap {
        from: day("2026-05-01"),
        to: day("2026-05-20"),
    });
    place.state.hold = Some(gap);
    let on = day("2026-06-01");
    assert_eq!(place.urgency(on), Urgency::Held);
    place.state.ahead.clear();
    assert_eq!(place.urgency(on), Urgency::Nothing);
}

#[test]
fn a_season_without_days_is_held_once_its_first_two_weeks_are_over_and_to_its_end() {
    let mut place = DueCase::wants(&[]);
    place.need = Need::Nothing(Reason::NothingKnown);
    place.state.hold = Some(Hold::NoData);
    place.see(day("2026-01-15"), &[], |due| match due {
        Due::Nothing { idle, .. } => assert_eq!(idle, Idle::NoDays),
        other => panic!("{other:?}"),
    });
    assert_eq!(place.urgency(day("2026-01-16")), Urgency::Held);
    place.state.ahead.clear();
    assert_eq!(place.urgency(day("2026-11-27")), Urgency::Held);
}

#[test]
fn a_count_above_after_which_nothing_works_is_told() {
    let mut place = DueCase::wants(&["trichlorfon"]);
    place.need = Need::Curative {
        mean_per_m2: 400.0,
        counted_on: day("2026-11-20"),
        together: None,
    };
    assert_eq!(place.urgency(day("2026-11-25")), Urgency::NothingLeft);
}
