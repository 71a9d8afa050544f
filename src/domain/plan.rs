//! What to do at a site about a species: options ranked, and the steps people are told of.

use super::amount::Area;
use super::choice::Choice;
use super::coverage::{Coverage, Hatching, Share, WORTH_IT, Window};
use super::need::Need;
use super::treatment::{Purpose, TreatmentOption};
use chrono::{Days, NaiveDate};

/// The share of its best day down to which a curative is worth it. A choice: after a count above
/// what the turf bears, half of what was possible still is.
pub const CURE_WORTH_IT: f64 = 0.5;

/// The opening of a window is not told more than so many days before its best day. A choice: some
/// windows are open since winter.
pub const OPENS_AT_MOST_AHEAD_DAYS: i64 = 45;

/// The last call comes so many days before the last day worth it.
pub const LAST_CALL_DAYS: i64 = 7;

/// An option with what its days would meet.
#[derive(Debug, Clone)]
pub struct Planned<'o> {
    /// The option.
    pub option: &'o TreatmentOption,
    /// What each day would meet.
    pub coverage: Coverage,
    /// The days worth it.
    pub window: Window,
}

impl Planned<'_> {
    /// What the best day from `today` on would meet, 0 to 1.
    pub fn still(&self, today: NaiveDate) -> f64 {
        let day = self.window.best.max(today);
        self.coverage.on(day).map_or(0.0, |share| share.mean)
    }

    /// Whether there is a day left that is worth it.
    pub fn in_time(&self, today: NaiveDate) -> bool {
        self.window.last >= today
    }

    /// When half of what is put down on a day is in the root zone.
    pub fn arrives(&self, day: NaiveDate) -> NaiveDate {
        day + Days::new(self.option.arrival_days.value.round() as u64)
    }
}

/// An option with its window; `None` if it meets nothing.
pub fn planned<'o>(option: &'o TreatmentOption, hatching: &Hatching) -> Option<Planned<'o>> {
    let coverage = hatching.coverage(option);
    let worth = match option.purpose {
        Purpose::Preventive => WORTH_IT,
        Purpose::Curative => CURE_WORTH_IT,
    };
    let window = coverage.window_at(worth)?;
    Some(Planned {
        option,
        coverage,
        window,
    })
}

/// The options a site would use: what still works first, the one that meets most before others.
pub fn ranked<'o>(
    options: impl Iterator<Item = &'o TreatmentOption>,
    choice: &Choice,
    hatching: &Hatching,
    today: NaiveDate,
) -> Vec<Planned<'o>> {
    let mut ranked: Vec<Planned<'_>> = options
        .filter(|option| choice.considers(option))
        .filter_map(|option| planned(option, hatching))
        .collect();
    ranked.sort_by(|a, b| {
        b.in_time(today)
            .cmp(&a.in_time(today))
            .then(b.still(today).total_cmp(&a.still(today)))
    });
    ranked
}

/// What people are told of an option, in the order of the season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// From now on it is worth it.
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
        } else if to_best <= i64::from(told_ahead_days) {
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
    /// What today would meet.
    pub today: Share,
    /// What the best day from today on would meet, mean.
    pub still: f64,
    /// When half of what is put down today is in the root zone.
    pub arrives: NaiveDate,
    /// Share of the larvae that has hatched by then, 0 to 1.
    pub hatched: f64,
    /// Share that has entered the third instar by then, 0 to 1.
    pub grown: f64,
}

impl Advice {
    /// The day it is about.
    pub fn due(&self) -> NaiveDate {
        match self.step {
            Step::Opens | Step::BestAhead => self.window.best,
            Step::LastCall | Step::TooLate => self.window.last,
        }
    }
}

/// Something that was spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread<'o> {
    /// What.
    pub option: &'o TreatmentOption,
    /// When.
    pub day: NaiveDate,
    /// On how much turf, m².
    pub m2: f64,
}

/// An application counts as a treatment if it meets at least this share of what its option's best
/// day does. A choice.
const MET: f64 = 0.5;

/// A site counts as treated from this share of its area on. A choice.
const WHOLE: f64 = 0.9;

/// Whether what was spread meets the need, so that no more steps are told: options of the purpose
/// it calls for, on days on which they meet the hatch, on the whole area where that is known.
pub fn is_met(spread: &[Spread<'_>], need: &Need, area: Option<Area>, hatching: &Hatching) -> bool {
    let Some(wanted) = need.purpose() else {
        return false;
    };
    let mut met = spread.iter().filter(|one| {
        let coverage = hatching.coverage(one.option);
        let best = coverage
            .window()
            .and_then(|window| coverage.on(window.best));
        let that_day = coverage.on(one.day);
        one.option.purpose == wanted
            && best
                .zip(that_day)
                .is_some_and(|(best, that_day)| that_day.mean >= best.mean * MET)
    });
    match area {
        Some(area) => met.map(|one| one.m2).sum::<f64>() >= area.m2() * WHOLE,
        None => met.next().is_some(),
    }
}

/// What to tell of the ranked options of a site, given the furthest step told of each.
///
/// Preventives are told of where one is justified, curatives after a count that calls for them.
/// That it is too late is told only of an option that was told of before. A step is told once, and
/// none that lies behind the furthest.
pub fn advise(
    ranked: &[Planned<'_>],
    hatching: &Hatching,
    need: &Need,
    told: impl Fn(&str) -> Option<Step>,
    today: NaiveDate,
) -> Vec<Advice> {
    let Some(wanted) = need.purpose() else {
        return Vec::new();
    };
    ranked
        .iter()
        .filter(|planned| planned.option.purpose == wanted)
        .filter_map(|planned| {
            let option = planned.option;
            let step = Step::of(planned.window, option.told_ahead_days, today)?;
            let before = told(&option.id);
            let is_new = before.is_none_or(|before| step > before);
            let is_missed_unseen = step == Step::TooLate && before.is_none();
            if !is_new || is_missed_unseen {
                return None;
            }
            let arrives = planned.arrives(today);
            Some(Advice {
                option: option.clone(),
                step,
                window: planned.window,
                today: planned.coverage.on(today)?,
                still: planned.still(today),
                arrives,
                hatched: hatching.reached(0.0, arrives),
                grown: hatching.reached(2.0, arrives),
            })
        })
        .collect()
}
