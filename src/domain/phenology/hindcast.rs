//! The hindcast: how good the outlooks would have been.
//!
//! For each past season of a station, with only the days known by each lead time, the outlook is
//! issued and held against what happened. The threshold is fixed, so that only the weather is
//! scored; a station counts for a threshold only if every season of it gets there. Two baselines stand beside it: the station's mean date over its other seasons, and the
//! date of the season before.

use crate::domain::phenology::outlook::{Ensemble, Outlook};
use crate::domain::phenology::past_season::PastSeason;
use crate::domain::phenology::remainder::Remainder;
use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::species::Threshold;
use crate::domain::sourced_value::EvidenceGrade;
use crate::domain::weather::degree_day::Model;
use chrono::{Days, NaiveDate};

pub mod spread;
pub mod with_forecasts;

use spread::PairedErrors;

/// What to score.
#[derive(Debug, Clone)]
pub struct HindcastPlan {
    /// The degree-day model.
    pub model: Model,
    /// Thresholds, °C·d.
    pub thresholds: Vec<f64>,
    /// Days ahead of the crossing.
    pub leads: Vec<u32>,
    /// Days by which the data lag behind the issue date.
    pub lag: u32,
    /// Which seasons stand for the remainder of one.
    pub past: PastUsed,
}

/// Which seasons of the station stand for the remainder of the scored one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PastUsed {
    /// All others.
    Others,
    /// Those before it, at least [`FEWEST_EARLIER_SEASONS`].
    Earlier,
    /// Those of other blocks of ten years, counted from the first season: years next to the scored
    /// one, which may resemble it, stay out.
    OtherDecades,
}

impl PastUsed {
    /// Whether a season may stand for another, given their places and years.
    fn takes(self, other: (usize, i32), scored: (usize, i32), first_year: i32) -> bool {
        let block = |year: i32| (year - first_year) / 10;
        other.0 != scored.0
            && match self {
                Self::Others => true,
                Self::Earlier => other.0 < scored.0,
                Self::OtherDecades => block(other.1) != block(scored.1),
            }
    }

    /// Fewest seasons needed.
    fn fewest(self) -> usize {
        match self {
            Self::Others | Self::OtherDecades => 1,
            Self::Earlier => FEWEST_EARLIER_SEASONS,
        }
    }
}

/// Earlier seasons needed where only they may be used.
pub const FEWEST_EARLIER_SEASONS: usize = 10;

/// Sums over scored cases.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Score {
    /// Cases.
    pub cases: usize,
    absolute_error: f64,
    error: f64,
    held: usize,
    width: f64,
    ranges: usize,
}

impl Score {
    /// Notes the dates told (early, likely, late) against the crossing, all as days of the season.
    fn note(&mut self, told: [Option<i64>; 3], crossing: i64) {
        let [early, Some(likely), late] = told else {
            return;
        };
        self.cases += 1;
        let error = (likely - crossing) as f64;
        self.error += error;
        self.absolute_error += error.abs();
        if let (Some(early), Some(late)) = (early, late) {
            self.ranges += 1;
            self.held += usize::from((early..=late).contains(&crossing));
            self.width += (late - early + 1) as f64;
        }
    }

    /// Adds the cases of another score.
    pub fn add(&mut self, other: &Score) {
        self.cases += other.cases;
        self.absolute_error += other.absolute_error;
        self.error += other.error;
        self.held += other.held;
        self.width += other.width;
        self.ranges += other.ranges;
    }

    /// Mean absolute error of the likely date, days.
    pub fn mean_absolute_error(&self) -> f64 {
        self.absolute_error / self.cases as f64
    }

    /// Mean error, days; positive is told too late.
    pub fn bias(&self) -> f64 {
        self.error / self.cases as f64
    }

    /// Share of crossings within the told range, 0 to 1.
    pub fn coverage(&self) -> f64 {
        self.held as f64 / self.ranges as f64
    }

    /// Mean width of the told range, days, both ends included.
    pub fn width(&self) -> f64 {
        self.width / self.ranges as f64
    }
}

/// The scores of one threshold so many days ahead.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LeadScore {
    /// Days ahead of the crossing.
    pub lead: u32,
    /// The outlook as people see it.
    pub seen: Score,
    /// The plain one.
    pub plain: Score,
    /// The errors of both by year.
    pub by_year: PairedErrors,
}

/// The scores of one threshold.
#[derive(Debug, Clone, PartialEq)]
pub struct ThresholdScore {
    /// The threshold, °C·d.
    pub threshold: f64,
    /// For each lead.
    pub leads: Vec<LeadScore>,
    /// The mean date over the other seasons.
    pub calendar: Score,
    /// The date of the season before.
    pub last_year: Score,
}

/// Scores a station by its seasons.
pub fn hindcast(seasons: &[PastSeason], plan: &HindcastPlan) -> Vec<ThresholdScore> {
    plan.thresholds
        .iter()
        .map(|threshold| score_threshold(seasons, plan, *threshold))
        .collect()
}

/// Adds the scores of another station, made by the same plan.
pub fn add(all: &mut Vec<ThresholdScore>, station: Vec<ThresholdScore>) {
    if all.is_empty() {
        *all = station;
        return;
    }
    for (all, one) in all.iter_mut().zip(station) {
        for (into, from) in all.leads.iter_mut().zip(one.leads) {
            into.seen.add(&from.seen);
            into.plain.add(&from.plain);
            into.by_year.add(&from.by_year);
        }
        all.calendar.add(&one.calendar);
        all.last_year.add(&one.last_year);
    }
}

fn score_threshold(seasons: &[PastSeason], plan: &HindcastPlan, threshold: f64) -> ThresholdScore {
    let mut score = ThresholdScore {
        threshold,
        leads: plan
            .leads
            .iter()
            .map(|lead| LeadScore {
                lead: *lead,
                ..LeadScore::default()
            })
            .collect(),
        calendar: Score::default(),
        last_year: Score::default(),
    };
    let crossings: Vec<Option<i64>> = seasons
        .iter()
        .map(|season| crossing(&plan.model, season, threshold))
        .collect();
    // Where some seasons stay below the threshold, the others are a selection.
    if crossings.iter().any(Option::is_none) {
        return score;
    }
    for (index, season) in seasons.iter().enumerate() {
        let Some(crossing) = crossings[index] else {
            continue;
        };
        let Some(others) = others(seasons, index, plan.past) else {
            continue;
        };
        let dates: Vec<i64> = others
            .iter()
            .filter_map(|other| crossings[*other])
            .collect();
        if !dates.is_empty() {
            let mean = dates.iter().sum::<i64>() as f64 / dates.len() as f64;
            score
                .calendar
                .note([None, Some(mean.round() as i64), None], crossing);
        }
        let before = seasons.iter().position(|s| s.year == season.year - 1);
        let before = before.and_then(|before| crossings[before]);
        score.last_year.note([None, before, None], crossing);
        let past = beside(seasons, &others, season.year);
        let past: Vec<&PastSeason> = past.iter().collect();
        for of_lead in &mut score.leads {
            // The issue day itself is not known yet.
            let known = crossing - i64::from(of_lead.lead) - i64::from(plan.lag);
            let Some(observed) = usize::try_from(known).ok().filter(|known| *known > 0) else {
                continue;
            };
            HindcastCase {
                season,
                observed,
                past: &past,
                threshold,
                crossing,
            }
            .score(&plan.model, of_lead);
        }
    }
    score
}

/// The places of the seasons that stand for the remainder of one, if they are enough.
fn others(seasons: &[PastSeason], index: usize, past: PastUsed) -> Option<Vec<usize>> {
    let scored = (index, seasons[index].year);
    let others: Vec<usize> = (0..seasons.len())
        .filter(|other| {
            let one = (*other, seasons[*other].year);
            past.takes(one, scored, seasons[0].year)
        })
        .collect();
    (others.len() >= past.fewest()).then_some(others)
}

/// Seasons by their places, laid beside that of a year.
fn beside(seasons: &[PastSeason], places: &[usize], year: i32) -> Vec<PastSeason> {
    let start = MonthDay::parse("01-01").expect("a day");
    let season = Season::starting_in(year, start);
    let of = |place: &usize| seasons[*place].beside(&season, start);
    places.iter().map(of).collect()
}

/// A threshold without a range of its own, so that only the weather is scored.
fn fixed(value: f64) -> Threshold {
    Threshold {
        value,
        range: None,
        grade: EvidenceGrade::Practice,
        source: String::new(),
    }
}

/// The dates told (early, likely, late) as days of the season.
fn told(outlook: &Outlook, start: NaiveDate) -> [Option<i64>; 3] {
    let day = |date: NaiveDate| (date - start).num_days();
    [outlook.early, outlook.likely, outlook.late].map(|date| date.map(day))
}

/// A season cut off at an issue date.
struct HindcastCase<'c> {
    season: &'c PastSeason,
    /// Days known.
    observed: usize,
    past: &'c [&'c PastSeason],
    threshold: f64,
    crossing: i64,
}

impl HindcastCase<'_> {
    /// Issues both outlooks and notes them against the crossing.
    fn score(&self, model: &Model, of_lead: &mut LeadScore) {
        let start = NaiveDate::from_ymd_opt(self.season.year, 1, 1).expect("a date");
        let observed = &self.season.days[..self.observed];
        let fixed = fixed(self.threshold);
        let today = start + Days::new(self.observed as u64);
        let mut errors = [None; 2];
        let both = [
            (Remainder::Persistent, &mut of_lead.seen),
            (Remainder::Plain, &mut of_lead.plain),
        ];
        for ((remainder, score), error) in both.into_iter().zip(&mut errors) {
            let known = (observed, [].as_slice());
            let ensemble = Ensemble::of_remainder(remainder, model, start, known, self.past);
            let Ok(ensemble) = ensemble else { return };
            let outlook = ensemble.outlook(&fixed, today, NaiveDate::MAX);
            let told = told(&outlook, start);
            score.note(told, self.crossing);
            *error = told[1].map(|likely| (likely - self.crossing).unsigned_abs() as f64);
        }
        if let [Some(seen), Some(plain)] = errors {
            of_lead.by_year.note(self.season.year, seen, plain);
        }
    }
}

/// The day of the season, from 0, at whose end the sum is at or above the threshold.
fn crossing(model: &Model, season: &PastSeason, threshold: f64) -> Option<i64> {
    let mut sum = 0.0;
    model
        .daily(season.days.iter().copied())
        .position(|gain| {
            sum += gain;
            sum >= threshold
        })
        .map(|index| index as i64)
}
