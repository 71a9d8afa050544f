//! The steps people are told of: differences between the plan of a site today and what was told.

use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::planned::Planned;
use crate::domain::treatment::rating::Rating;
use crate::domain::treatment::site_plan::{PlannedOption, SitePlan};
use chrono::{Days, NaiveDate};
use std::collections::BTreeSet;

/// The opening of a window is not told more than so many days before its best day. A choice: some
/// windows are open since winter.
pub const OPENS_AT_MOST_AHEAD_DAYS: i64 = 45;

/// The last call comes so many days before the last day worth it.
pub const LAST_CALL_DAYS: i64 = 7;

/// What people are told of an option, in the order of the season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// It is worth it, and its best days are not near, or over.
    Opens,
    /// The best days are near.
    BestAhead,
    /// The last day worth it is near.
    LastCall,
    /// The last day worth it is over.
    TooLate,
}

impl Step {
    /// Every step with the name it has in the store.
    pub const NAMED: [(&'static str, Step); 4] = [
        ("opens", Step::Opens),
        ("best-ahead", Step::BestAhead),
        ("last-call", Step::LastCall),
        ("too-late", Step::TooLate),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The step a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }

    /// Where a window stands on a day; `None` before there is anything to tell.
    fn of(window: Window, told_ahead_days: u32, today: NaiveDate) -> Option<Self> {
        let to_best = (window.best - today).num_days();
        if today > window.last {
            Some(Step::TooLate)
        } else if (window.last - today).num_days() <= LAST_CALL_DAYS {
            Some(Step::LastCall)
        } else if (0..=i64::from(told_ahead_days)).contains(&to_best) {
            Some(Step::BestAhead)
        } else if today >= window.first && to_best <= OPENS_AT_MOST_AHEAD_DAYS {
            Some(Step::Opens)
        } else {
            None
        }
    }
}

/// What to tell of an option now.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// The option.
    pub option: TreatmentOption,
    /// Where it stands.
    pub step: Step,
    /// The days worth it.
    pub window: Window,
    /// The day it is told of: today, or the first of the days worth it where that is ahead.
    pub day: NaiveDate,
    /// Whether that is ahead.
    pub is_ahead: bool,
    /// What that day is worth.
    pub rating: Rating,
    /// When half of what is put down that day is in the root zone.
    pub arrives: NaiveDate,
    /// When the first larvae hatch.
    pub hatch_begins: Option<NaiveDate>,
    /// The last day that still meets half of what the best one does, if that is after the window.
    pub fair_until: Option<NaiveDate>,
    /// Whether it is practice that ends the window.
    pub ends_by_practice: bool,
    /// The names of the species it serves.
    pub serves: Vec<String>,
    /// The names of the species it does not serve on these days, each with the days on which it would.
    pub misses: Vec<(String, Option<Window>)>,
    /// Of the species it served, those that it still serves after the window, with the last day.
    pub still_serves: Vec<(String, NaiveDate)>,
    /// The last season before this one in which something of the same main group was used here.
    pub group_used_in: Option<i32>,
    /// The last day that was told before, if it has moved since.
    pub moved_from: Option<NaiveDate>,
}

impl Advice {
    /// The day it is about.
    pub fn due(&self) -> NaiveDate {
        due(self.step, self.window)
    }

    /// Whether days after the window are still worth something: today is one of them.
    pub fn still_works(&self) -> bool {
        self.rating >= Rating::Fair && self.fair_until.is_some()
    }
}

fn due(step: Step, window: Window) -> NaiveDate {
    match step {
        Step::Opens | Step::BestAhead => window.best,
        Step::LastCall | Step::TooLate => window.last,
    }
}

/// A step that was told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToldStep {
    /// Which one.
    pub step: Step,
    /// The day it was about.
    pub due: NaiveDate,
}

/// A told last day that moves by at least so many days is told anew.
const MOVED_DAYS: i64 = 7;

/// What to tell of the options of a site's plan, given what was told last of each.
///
/// Preventives are told of where one is justified, curatives after a count that calls for them.
/// That it is too late is told only of an option that was told of before. A step is told once, and
/// none that lies behind the last one told, unless the last day has moved by a week or more.
///
/// A step that is told today of another site of the same people is told of this one too if it is due
/// within [`TOLD_TOGETHER_DAYS`], so that many fields make one message; that it is too late is not told
/// before it is.
pub fn advise(
    plan: &SitePlan<'_>,
    told: impl Fn(&str) -> Option<ToldStep>,
    elsewhere: &StepsToday,
) -> Vec<Advice> {
    let Some(wanted) = plan.need.purpose() else {
        return Vec::new();
    };
    let serving = plan
        .options
        .iter()
        .filter(|one| one.planned.purpose == wanted);
    serving
        .filter_map(|one| {
            let Planned { option, window, .. } = one.planned;
            let before = told(&option.id);
            let step_on = |day| {
                let step = Step::of(window, option.told_ahead_days, day)?;
                is_new(step, before, window, plan.day).then_some(step)
            };
            let soon = || {
                let step = step_on(plan.day + Days::new(TOLD_TOGETHER_DAYS))?;
                let is_told = elsewhere.contains(&(option.id.clone(), step));
                (is_told && step != Step::TooLate).then_some(step)
            };
            let step = step_on(plan.day).or_else(soon)?;
            let moved_from = before.filter(|before| has_moved(before, window, plan.day));
            Some(Advice {
                moved_from: moved_from.map(|before| before.due),
                ..advice(one, step, plan.day)?
            })
        })
        .collect()
}

/// The options and steps that are told today of the sites of the same people.
pub type StepsToday = BTreeSet<(String, Step)>;

/// A step due within so many days is told with that of another site. A choice.
pub const TOLD_TOGETHER_DAYS: u64 = 5;

/// Whether a step is told on a day, given the last one told.
fn is_new(step: Step, before: Option<ToldStep>, window: Window, today: NaiveDate) -> bool {
    match before {
        None => step != Step::TooLate,
        // That the best days are near says little new to who was told that it may go down.
        Some(before) => {
            (step > before.step && step != Step::BestAhead) || has_moved(&before, window, today)
        }
    }
}

fn advice(one: &PlannedOption<'_>, step: Step, today: NaiveDate) -> Option<Advice> {
    let planned = &one.planned;
    // What is told ahead is told of the first of its days.
    let day = today.max(planned.window.first);
    if !planned.is_followed_on(day) {
        return None;
    }
    Some(Advice {
        option: planned.option.clone(),
        step,
        window: planned.window,
        day,
        is_ahead: day > today,
        rating: planned.rating(day),
        arrives: planned.arrives(day),
        hatch_begins: planned.hatch_begins(),
        fair_until: planned.fair_until(),
        ends_by_practice: planned.ends_by_practice(),
        serves: planned
            .served
            .iter()
            .map(|one| one.target.species.name.clone())
            .collect(),
        misses: planned
            .missed
            .iter()
            .map(|missed| (missed.species.name.clone(), missed.window))
            .collect(),
        still_serves: planned
            .still_serves(day)
            .map(|(species, last)| (species.name.clone(), last))
            .collect(),
        group_used_in: one.group_used_in,
        moved_from: None,
    })
}

/// Whether a told last day has moved so far that people must hear of it while there is time.
fn has_moved(before: &ToldStep, window: Window, today: NaiveDate) -> bool {
    matches!(before.step, Step::LastCall | Step::TooLate)
        && window.last >= today
        && (window.last - before.due).num_days().abs() >= MOVED_DAYS
}

#[cfg(test)]
mod tests {
    use super::super::kit::{hatching, option, species};
    use super::*;
    use crate::domain::treatment::choice::{Choice, Preventives};
    use crate::domain::treatment::need::{Evidence, Ground, Need};
    use crate::domain::treatment::option::Purpose;
    use crate::domain::treatment::planned::planned;
    use crate::domain::treatment::served::Target;
    use crate::domain::treatment::site_need::SpeciesNeed;
    use crate::domain::treatment::site_plan::{PlanScope, SiteFacts};

    /// What is told of imidacloprid against Japanese beetles on a day that its window gives.
    fn told_on(
        today: impl Fn(Window) -> NaiveDate,
        told: impl Fn(Window) -> Option<ToldStep>,
    ) -> Vec<Advice> {
        let (option, beetle) = (option("imidacloprid"), species("japanese-beetle"));
        let hatching = hatching(&beetle, 0.0);
        let target = Target {
            species: &beetle,
            hatching: &hatching,
        };
        let window = planned(&option, Purpose::Preventive, &[target], None)
            .unwrap()
            .window;
        let evidence = Evidence {
            this_brood: None,
            last_brood: None,
            damaged: None,
        };
        let needs = [SpeciesNeed {
            species: &beetle,
            evidence: &evidence,
            tolerance: (86.0, 161.0),
            need: Need::Preventive(Ground::StandingDecision),
            hatching: Some(&hatching),
        }];
        let choice = Choice {
            only: Some(vec!["imidacloprid".to_owned()]),
            without: Vec::new(),
            preventives: Preventives::EveryYear,
        };
        let facts = SiteFacts {
            day: today(window),
            species: &needs,
            choice: &choice,
            area: None,
            spread: &[],
            spread_before: &[],
            soil: None,
        };
        let plan = SitePlan::of(facts, std::iter::once(&option), PlanScope::CalledFor);
        advise(&plan, |_| told(window), &StepsToday::new())
    }

    /// What is told on a day when the last day told was so many days before the one that holds now.
    fn told_anew(days: u64, today: impl Fn(Window) -> NaiveDate) -> Vec<(Step, bool)> {
        let told = |window: Window| {
            Some(ToldStep {
                step: Step::LastCall,
                due: window.last - Days::new(days),
            })
        };
        told_on(today, told)
            .iter()
            .map(|advice| (advice.step, advice.moved_from.is_some()))
            .collect()
    }

    #[test]
    fn a_last_day_that_moves_by_a_week_is_told_anew_and_one_that_moves_by_less_is_not() {
        let three_before = |window: Window| window.last - Days::new(3);
        assert_eq!(told_anew(3, three_before), []);
        assert_eq!(told_anew(6, three_before), []);
        assert_eq!(told_anew(7, three_before), [(Step::LastCall, true)]);
    }

    #[test]
    fn once_the_window_is_over_a_moved_last_day_is_too_late_and_not_told_anew() {
        let on_it = |window: Window| window.last;
        assert_eq!(told_anew(10, on_it), [(Step::LastCall, true)]);
        let after = |window: Window| window.last + Days::new(1);
        assert_eq!(told_anew(10, after), [(Step::TooLate, false)]);
    }

    #[test]
    fn a_step_is_told_once_and_that_it_is_too_late_only_where_one_was_told() {
        let on_best = |window: Window| window.best;
        let steps = |told: Option<Step>, today: &dyn Fn(Window) -> NaiveDate| -> Vec<Step> {
            let told = |window: Window| {
                Some(ToldStep {
                    step: told?,
                    due: window.last,
                })
            };
            told_on(today, told)
                .iter()
                .map(|advice| advice.step)
                .collect()
        };
        assert_eq!(steps(None, &on_best), [Step::BestAhead]);
        assert_eq!(steps(Some(Step::BestAhead), &on_best), []);
        let after = |window: Window| window.last + Days::new(1);
        assert_eq!(steps(None, &after), []);
        assert_eq!(steps(Some(Step::BestAhead), &after), [Step::TooLate]);
    }
}
