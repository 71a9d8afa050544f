//! How much of the hatch an application meets, for every day it may be made on.
//!
//! A planning model: it compares days and options. It says nothing of how many larvae die in a
//! particular lawn; the label, local law and a licensed applicator decide what is done.

use crate::domain::treatment::hatching::{Cohort, Hatching};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::rating::{FAIR, GOOD};
use crate::domain::treatment::window_search::{best_day, end_of_run, guess_best};
use crate::domain::treatment::worked_out::{OfOption, Working};
use chrono::{Days, NaiveDate};
use std::rc::Rc;

pub use crate::domain::treatment::worked_out::{Share, Window};

/// Chance a day that a fully open larva takes up enough where all of an option is at work. A
/// choice, not a published value: larvae that feed for some days are met.
pub const UPTAKE_PER_DAY: f64 = 0.3;

/// An application counts as worth it on days that meet at least this share of what the best day
/// meets.
pub const WORTH_IT: f64 = GOOD;

/// The share of its best day down to which a curative is worth it. A choice: after a count above
/// what the turf tolerates, half of what was possible still is.
pub const CURE_WORTH_IT: f64 = FAIR;

/// Activity below this is taken for none.
const NO_ACTIVITY: f32 = 0.005;

/// Longest activity looked at, days.
const LONGEST_DAYS: usize = 366;

/// One in so many cohorts tells roughly what a day meets.
const ROUGHLY_EVERY: usize = 7;

/// What each day of application of an option would meet. A day is worked out when it is asked for
/// and remembered with the hatching.
#[derive(Debug, Clone, Copy)]
pub struct Coverage<'h> {
    hatching: &'h Hatching,
    option: &'h TreatmentOption,
    /// Days from the season's start that can be asked for.
    days: usize,
    /// Place among what is remembered.
    place: usize,
}

impl Hatching {
    /// What an application of an option on each day meets.
    ///
    /// # Method
    /// On day `t` after watering in the share `F(t) · R(t)` is at work: `F` is the log-normal
    /// arrival in the root zone, `R` first-order decay. A larva takes up enough on a day with the
    /// chance `p · F · R · s`, where `s` is how open it is at its instar and `p` is
    /// [`UPTAKE_PER_DAY`]; over its life it is met with `1 − Π (1 − p F R s)`, here in the form
    /// `1 − exp(−Σ p F R s)`.
    ///
    /// # Units
    /// Shares, 0 to 1.
    ///
    /// # Valid range
    /// Days between the season's start and its date cap. Watering in is taken to happen on the
    /// day of application.
    ///
    /// # References
    /// First-order decay and log-normal transit times are common in soil science (from memory);
    /// the combination is ours and a planning model.
    pub fn coverage<'h>(&'h self, option: &'h TreatmentOption) -> Coverage<'h> {
        let days = self.days_for(option.purpose);
        let mut known = self.known.borrow_mut();
        let place = known
            .options
            .iter()
            .position(|known| known.option == *option)
            .unwrap_or_else(|| {
                known.options.push(OfOption {
                    option: option.clone(),
                    means: vec![None; days],
                    shares: Vec::new(),
                    windows: Vec::new(),
                    working: None,
                });
                known.options.len() - 1
            });
        Coverage {
            hatching: self,
            option,
            days,
            place,
        }
    }

    /// Lets go of what only makes further days quick to work out; what was worked out stays.
    pub fn forget_working(&self) {
        for known in &mut self.known.borrow_mut().options {
            known.working = None;
        }
    }
}

impl Working {
    fn of(hatching: &Hatching, option: &TreatmentOption, days: usize) -> Self {
        let mut working = Self {
            activity: activity(option),
            open: Vec::new(),
            from: vec![0],
        };
        let [first, second, third] = option.susceptibility.by_instar.map(|share| share as f32);
        let (to_second, to_third) = hatching.lengths;
        let (to_second, to_third) = (to_second.max(1.0) as f32, to_third.max(1.0) as f32);
        let (rate_of_first, rate_of_second) = (1.0 / to_second, 1.0 / to_third);
        let courses: Vec<Vec<f32>> = hatching
            .courses
            .iter()
            .map(|course| course.iter().map(|sum| *sum as f32).collect())
            .collect();
        for cohort in &hatching.cohorts {
            let course = &courses[cohort.course];
            let hatch_sum = cohort.hatch_sum as f32;
            let followed = &course[cohort.hatch..course.len().min(days).max(cohort.hatch)];
            // As `Susceptibility::at`, without a branch, so that a processor can do days at once.
            working.open.extend(followed.iter().map(|sum| {
                let grown = sum - hatch_sum;
                let in_first = (grown * rate_of_first).clamp(0.0, 1.0);
                let in_second = ((grown - to_second) * rate_of_second).clamp(0.0, 1.0);
                first + (second - first) * in_first + (third - second) * in_second
            }));
            working.from.push(working.open.len());
        }
        working
    }

    /// Share of a cohort, by its place, that an application on a day, counted from the season's start,
    /// meets.
    fn met(&self, cohort: &Cohort, place: usize, day: usize) -> f64 {
        let open = &self.open[self.from[place]..self.from[place + 1]];
        // The overlap of the larvae's life with the time the option is at work.
        let from = day.max(cohort.hatch);
        let to = (cohort.hatch + open.len()).min(day + self.activity.len());
        if from >= to {
            return 0.0;
        }
        let taken_up = sum_of_products(
            &self.activity[from - day..to - day],
            &open[from - cohort.hatch..to - cohort.hatch],
        );
        f64::from(1.0 - (-UPTAKE_PER_DAY as f32 * taken_up).exp())
    }

    /// What all cohorts have, each so many places after the last one looked at, met on a day.
    fn mean(&self, hatching: &Hatching, day: usize, every: usize) -> f64 {
        let cohorts = hatching.cohorts.iter().enumerate().step_by(every);
        cohorts
            .map(|(place, cohort)| cohort.share * self.met(cohort, place, day))
            .sum()
    }
}

impl Coverage<'_> {
    /// What an application on a day meets; `None` outside the season.
    pub fn on(&self, day: NaiveDate) -> Option<Share> {
        let day = usize::try_from((day - self.hatching.start).num_days()).ok()?;
        (day < self.days).then(|| self.share(day))
    }

    /// The mean of it alone, which is quicker to work out.
    pub fn mean_on(&self, day: NaiveDate) -> Option<f64> {
        let day = usize::try_from((day - self.hatching.start).num_days()).ok()?;
        (day < self.days).then(|| self.mean(day))
    }

    /// Every day with its share.
    pub fn days(&self) -> impl Iterator<Item = (NaiveDate, Share)> + '_ {
        (0..self.days).map(|day| (self.date(day), self.share(day)))
    }

    fn date(&self, day: usize) -> NaiveDate {
        self.hatching.start + Days::new(day as u64)
    }

    fn share(&self, day: usize) -> Share {
        let known = |known: &OfOption| known.shares.iter().find(|(of, _)| *of == day).copied();
        if let Some((_, share)) = known(&self.hatching.known.borrow().options[self.place]) {
            return share;
        }
        let working = self.working();
        let cohorts = self.hatching.cohorts.iter().enumerate();
        let met: Vec<f64> = cohorts
            .map(|(place, cohort)| working.met(cohort, place, day))
            .collect();
        let cohorts = self.hatching.cohorts.iter().zip(&met);
        let mean = cohorts.map(|(cohort, met)| cohort.share * met).sum();
        let mut of_cases: Vec<f64> = self
            .hatching
            .cases
            .iter()
            .map(|case| {
                let met: f64 = case.iter().map(|place| met[*place as usize]).sum();
                met / case.len() as f64
            })
            .collect();
        let n = of_cases.len();
        let mut at = |p: f64| {
            let place = ((n as f64 * p) as usize).min(n - 1);
            *of_cases.select_nth_unstable_by(place, f64::total_cmp).1
        };
        let share = Share {
            mean,
            low: at(0.1),
            high: at(0.9),
        };
        let mut known = self.hatching.known.borrow_mut();
        known.options[self.place].shares.push((day, share));
        share
    }

    fn mean(&self, day: usize) -> f64 {
        if let Some(mean) = self.hatching.known.borrow().options[self.place].means[day] {
            return mean;
        }
        let mean = self.working().mean(self.hatching, day, 1);
        self.hatching.known.borrow_mut().options[self.place].means[day] = Some(mean);
        mean
    }

    fn working(&self) -> Rc<Working> {
        let mut known = self.hatching.known.borrow_mut();
        let working = &mut known.options[self.place].working;
        let made = || Rc::new(Working::of(self.hatching, self.option, self.days));
        Rc::clone(working.get_or_insert_with(made))
    }

    /// The best day, and the first and last day around it that meet at least [`WORTH_IT`] of what
    /// the best one does; `None` if no day meets anything.
    pub fn window(&self) -> Option<Window> {
        self.window_at(WORTH_IT, None)
    }

    /// The same with another share of what the best day meets, 0 to 1, and of the days from a day
    /// on only, if one is given.
    pub fn window_at(&self, share: f64, from: Option<NaiveDate>) -> Option<Window> {
        let key = (share.to_bits(), from);
        let found = |known: &OfOption| known.windows.iter().find(|(of, _)| *of == key).copied();
        let known = found(&self.hatching.known.borrow().options[self.place]);
        if let Some((_, window)) = known {
            return window;
        }
        let window = self.search_window(share, from);
        let mut known = self.hatching.known.borrow_mut();
        known.options[self.place].windows.push((key, window));
        window
    }

    /// The days worth it for a purpose, whatever the soil and practice: those of a curative begin when
    /// larvae can be counted.
    pub fn window_for(&self, purpose: Purpose) -> Option<Window> {
        match purpose {
            Purpose::Preventive => self.window(),
            Purpose::Curative => self.window_at(CURE_WORTH_IT, Some(self.hatching.countable()?)),
        }
    }

    fn search_window(&self, share: f64, from: Option<NaiveDate>) -> Option<Window> {
        let earliest = from.map_or(0, |day| (day - self.hatching.start).num_days().max(0)) as usize;
        let latest = self.days.checked_sub(1).filter(|last| *last >= earliest)?;
        let days = earliest..=latest;
        // A few of the cohorts tell roughly where the best day and the ends are, all of them which
        // days it is.
        let working = self.working();
        let rough = |day: usize| working.mean(self.hatching, day, ROUGHLY_EVERY);
        let mean = |day: usize| self.mean(day);
        let guess = guess_best(rough, days.clone());
        let best = best_day(mean, guess, days);
        let (enough, roughly_enough) = (mean(best) * share, rough(best) * share);
        if enough <= 0.0 {
            return None;
        }
        let end = |end: usize| {
            let guess = end_of_run(|day| rough(day) >= roughly_enough, best, end, end);
            self.date(end_of_run(|day| mean(day) >= enough, best, end, guess))
        };
        Some(Window {
            first: end(earliest),
            best: self.date(best),
            last: end(latest),
        })
    }
}

/// What is at work on each day from the application on, up to where nothing is left.
fn activity(option: &TreatmentOption) -> Vec<f32> {
    // No more can be at work than is left.
    let mut days: Vec<f32> = (0..LONGEST_DAYS)
        .map(|day| day as f64)
        .take_while(|day| option.decay.left_after(*day) as f32 >= NO_ACTIVITY)
        .map(|day| option.at_work_after(day) as f32)
        .collect();
    let end = days
        .iter()
        .rposition(|at_work| *at_work >= NO_ACTIVITY)
        .map_or(0, |last| last + 1);
    days.truncate(end);
    days
}

/// Lanes that are summed side by side, so that a processor can do them at once.
const LANES: usize = 8;

/// The sum of the products of two rows of one length. This is where the time of planning goes.
fn sum_of_products(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; LANES];
    let (a, b) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let rest: f32 = a
        .remainder()
        .iter()
        .zip(b.remainder())
        .map(|(a, b)| a * b)
        .sum();
    for (a, b) in a.zip(b) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    lanes.iter().sum::<f32>() + rest
}
