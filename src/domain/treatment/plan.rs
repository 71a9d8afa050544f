//! What to do at a site about a species: options ranked, and the steps people are told of.

use crate::domain::journal::amount::Area;
use crate::domain::treatment::choice::Choice;
use crate::domain::treatment::coverage::{Coverage, Share, Window};
use crate::domain::treatment::hatching::Hatching;
use crate::domain::treatment::need::{Need, Reason};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
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
    /// What it would be spread for.
    pub purpose: Purpose,
    /// What each day would meet.
    pub coverage: Coverage<'o>,
    /// The days worth it.
    pub window: Window,
}

impl Planned<'_> {
    /// What the best day from `today` on would meet, 0 to 1.
    pub fn still(&self, today: NaiveDate) -> f64 {
        self.met_on(self.window.best.max(today))
    }

    /// What a day would meet, mean, 0 to 1.
    pub fn met_on(&self, day: NaiveDate) -> f64 {
        self.coverage.mean_on(day).unwrap_or(0.0)
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

/// An option with its window for what it would be spread for; `None` if it meets nothing. A
/// curative follows a count, so its days begin when larvae can be counted.
pub fn planned<'o>(
    option: &'o TreatmentOption,
    purpose: Purpose,
    hatching: &'o Hatching,
) -> Option<Planned<'o>> {
    let coverage = hatching.coverage(option);
    let window = match purpose {
        Purpose::Preventive => coverage.window(),
        Purpose::Curative => coverage.window_at(CURE_WORTH_IT, Some(hatching.countable()?)),
    }?;
    Some(Planned {
        option,
        purpose,
        coverage,
        window,
    })
}

/// The options a site would use: what still works first, then what serves the purpose that is
/// called for (a preventive, where nothing is), then the one that meets most.
pub fn ranked<'o>(
    options: impl Iterator<Item = &'o TreatmentOption>,
    choice: &Choice,
    need: &Need,
    hatching: &'o Hatching,
    today: NaiveDate,
) -> Vec<Planned<'o>> {
    let wanted = need.purpose().unwrap_or(Purpose::Preventive);
    let mut ranked: Vec<Planned<'_>> = options
        .filter(|option| choice.considers(option))
        .filter_map(|option| {
            let purpose = if option.serves(wanted) {
                wanted
            } else {
                option.purpose
            };
            planned(option, purpose, hatching)
        })
        .collect();
    ranked.sort_by(|a, b| {
        b.in_time(today)
            .cmp(&a.in_time(today))
            .then((b.purpose == wanted).cmp(&(a.purpose == wanted)))
            .then(b.still(today).total_cmp(&a.still(today)))
    });
    ranked
}

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
    /// What today would meet.
    pub today: Share,
    /// What the best day of all would meet, mean, 0 to 1.
    pub best: f64,
    /// Whether the best day is over.
    pub best_is_past: bool,
    /// When half of what is put down today is in the root zone.
    pub arrives: NaiveDate,
    /// Share of the larvae that has hatched by then, 0 to 1.
    pub hatched: f64,
    /// Share that has entered the third instar by then, 0 to 1.
    pub grown: f64,
    /// The last day that was told before, if it has moved since.
    pub moved_from: Option<NaiveDate>,
}

impl Advice {
    /// The day it is about.
    pub fn due(&self) -> NaiveDate {
        due(self.step, self.window)
    }

    /// Whether most larvae have hatched by the day it arrives and few of them grow up before the
    /// date cap, beyond which they are not followed.
    pub fn is_cut_off_by_cap(&self) -> bool {
        self.hatched > 0.5 && self.grown < 0.5
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

/// Something that was spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread<'o> {
    /// What.
    pub option: &'o TreatmentOption,
    /// When.
    pub day: NaiveDate,
    /// On how much turf.
    pub area: Area,
}

/// An application counts as a treatment if it meets at least this share of what its option's best
/// day does. A choice.
const MET: f64 = 0.5;

/// A site counts as treated from this share of its area on. A choice.
const WHOLE: f64 = 0.9;

/// The share of a site that was spread on, 0 to 1, if that leaves a part of it untreated. Parts of a
/// site are taken to lie side by side.
pub fn treated_part(spread: &[Spread<'_>], whole: Area) -> Option<f64> {
    let m2 = spread.iter().fold(0.0, |sum, one| sum + one.area.m2());
    Some(m2 / whole.m2()).filter(|share| *share < WHOLE)
}

/// The need as it stands after what was spread this season: options of the purpose it calls for, on
/// days on which they meet the hatch, on the whole area where that is known. A curative must have
/// gone down on the day of the count or later.
pub fn settled(need: Need, spread: &[Spread<'_>], area: Option<Area>, hatching: &Hatching) -> Need {
    let Some(wanted) = need.purpose() else {
        return need;
    };
    let since = match need {
        Need::Curative { counted_on, .. } => Some(counted_on),
        _ => None,
    };
    let met: Vec<Spread<'_>> = spread
        .iter()
        .filter(|one| since.is_none_or(|counted_on| one.day >= counted_on))
        .filter(|one| one.option.serves(wanted))
        .filter(|one| {
            planned(one.option, wanted, hatching).is_some_and(|planned| {
                planned.met_on(one.day) >= planned.met_on(planned.window.best) * MET
            })
        })
        .copied()
        .collect();
    let is_whole = area.is_none_or(|area| treated_part(&met, area).is_none());
    match met.last() {
        Some(last) if is_whole => Need::Nothing(Reason::Treated { on: last.day }),
        _ => need,
    }
}

/// What to tell of the ranked options of a site, given what was told last of each.
///
/// Preventives are told of where one is justified, curatives after a count that calls for them.
/// That it is too late is told only of an option that was told of before. A step is told once, and
/// none that lies behind the last one told, unless the last day has moved by a week or more.
pub fn advise(
    ranked: &[Planned<'_>],
    hatching: &Hatching,
    need: &Need,
    told: impl Fn(&str) -> Option<ToldStep>,
    today: NaiveDate,
) -> Vec<Advice> {
    let Some(wanted) = need.purpose() else {
        return Vec::new();
    };
    ranked
        .iter()
        .filter(|planned| planned.purpose == wanted)
        .filter_map(|planned| {
            let (option, window) = (planned.option, planned.window);
            let step = Step::of(window, option.told_ahead_days, today)?;
            let before = told(&option.id);
            let moved_from = before.filter(|before| has_moved(before, window, today));
            let is_new = match before {
                None => step != Step::TooLate,
                Some(before) => step > before.step || moved_from.is_some(),
            };
            if !is_new {
                return None;
            }
            let arrives = planned.arrives(today);
            Some(Advice {
                option: option.clone(),
                step,
                window,
                today: planned.coverage.on(today)?,
                best: planned.met_on(window.best),
                best_is_past: window.best < today,
                arrives,
                hatched: hatching.reached(0.0, arrives),
                grown: hatching.reached(2.0, arrives),
                moved_from: moved_from.map(|before| before.due),
            })
        })
        .collect()
}

/// Whether a told last day has moved so far that people must hear of it while there is time.
fn has_moved(before: &ToldStep, window: Window, today: NaiveDate) -> bool {
    matches!(before.step, Step::LastCall | Step::TooLate)
        && window.last >= today
        && (window.last - before.due).num_days().abs() >= MOVED_DAYS
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{option_file, species_file};
    use crate::domain::treatment::need::Ground;

    const WANTED: Need = Need::Preventive(Ground::StandingDecision);

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn imidacloprid() -> TreatmentOption {
        let of = |(file, _): &&(&str, &str)| file.ends_with("/imidacloprid.toml");
        let (file, text) = option_file::BUILT_IN.iter().find(of).unwrap();
        option_file::read(file, text).unwrap()
    }

    /// First hatch around 1 July, by sums over base 10 °C of a sine-shaped year.
    fn hatching() -> Hatching {
        let of = |(file, _): &&(&str, &str)| file.ends_with("/japanese-beetle.toml");
        let (file, text) = species_file::BUILT_IN.iter().find(of).unwrap();
        let beetle = species_file::read(file, text).unwrap();
        let course = |warmer: f64| {
            let mut sum = 0.0;
            let daily = move |day: i32| {
                let angle = std::f64::consts::TAU * f64::from(day - 200) / 365.0;
                sum += (3.45 + warmer + 14.0 * angle.cos()).max(0.0);
                sum
            };
            (0..365).map(daily).collect()
        };
        let courses: Vec<Vec<f64>> = [-1.0, -0.5, 0.0, 0.5, 1.0].map(course).into();
        Hatching::new(&beetle, &courses, day("2026-01-01"), day("2026-09-30")).unwrap()
    }

    #[test]
    fn a_site_counts_as_treated_from_nine_tenths_of_its_area_on() {
        let (option, hatching) = (imidacloprid(), hatching());
        let best = planned(&option, Purpose::Preventive, &hatching)
            .unwrap()
            .window
            .best;
        let after = |areas: &[&str]| {
            let spread: Vec<Spread<'_>> = areas
                .iter()
                .map(|area| Spread {
                    option: &option,
                    day: best,
                    area: area.parse().unwrap(),
                })
                .collect();
            let whole: Area = "450 m2".parse().unwrap();
            (
                settled(WANTED, &spread, Some(whole), &hatching),
                treated_part(&spread, whole),
            )
        };
        let treated = Need::Nothing(Reason::Treated { on: best });
        assert_eq!(after(&["405 m2"]), (treated, None));
        assert_eq!(after(&["225 m2", "180 m2"]), (treated, None));
        assert_eq!(after(&["360 m2"]), (WANTED, Some(0.8)));
        assert_eq!(after(&["225 m2"]), (WANTED, Some(0.5)));
        assert_eq!(after(&[]), (WANTED, Some(0.0)));
    }

    /// What is told on a day when the last day told was so many days before the one that holds now.
    fn told_anew(days: u64, today: impl Fn(Window) -> NaiveDate) -> Vec<(Step, bool)> {
        let (option, hatching) = (imidacloprid(), hatching());
        let planned = planned(&option, Purpose::Preventive, &hatching).unwrap();
        let told = ToldStep {
            step: Step::LastCall,
            due: planned.window.last - Days::new(days),
        };
        let today = today(planned.window);
        advise(&[planned], &hatching, &WANTED, |_| Some(told), today)
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
    fn a_site_is_told_of_the_cap_where_most_larvae_hatch_and_few_grow_up() {
        let (option, hatching) = (imidacloprid(), hatching());
        let planned = planned(&option, Purpose::Preventive, &hatching).unwrap();
        let today = planned.window.best;
        let advice = advise(&[planned], &hatching, &WANTED, |_| None, today).remove(0);
        for (hatched, grown, is_cut_off) in [(0.6, 0.4, true), (0.4, 0.4, false), (0.6, 0.6, false)]
        {
            let advice = Advice {
                hatched,
                grown,
                ..advice.clone()
            };
            assert_eq!(advice.is_cut_off_by_cap(), is_cut_off, "{hatched} {grown}");
        }
    }
}
