//! The outlook: when a threshold will be reached, as a range with what it is made of.
//!
//! The season so far is known. For what is still to come, each past season of the station is one
//! possible remainder, drawn towards a forecast for what that is worth. Crossed with the threshold's own range this gives a sample of dates, and
//! from the sample the dates that fall before 10, 50 and 90 % of it.
//!
//! How past seasons are moved by what persists stands in [`crate::domain::phenology::remainder`]. The
//! middle of a sample of some thirty dates is itself uncertain by a fifth of their spread, so the dates are moved
//! halfway to the day on which the mean of all courses gets there. DEVELOPERS.md has the figures.

use crate::domain::phenology::date_sample::{DateSample, not_below};
use crate::domain::phenology::past_season::{Borrowed, PastSeason};
use crate::domain::phenology::remainder::{KnownDays, Remainder, remaining_days};
use crate::domain::phenology::season_days::Series;
use crate::domain::phenology::species::Threshold;
use crate::domain::sourced_value::NORMAL_90;
use crate::domain::weather::degree_day::Model;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::foretold_days::{ForetoldDay, ForetoldDays};
use chrono::{Datelike, Days, NaiveDate};

/// With fewer past seasons there is no outlook.
pub const FEWEST_SEASONS: usize = 3;

/// With fewer past seasons than this the range is widened.
pub const FULL_SEASONS: usize = 10;

/// Horizons for which a chance is given, days.
pub const CHANCE_DAYS: [u32; 3] = [7, 14, 30];

/// The dates of a milestone as far as they can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// 10 % of the sample fall before this day; `None` if they do not reach the threshold.
    pub early: Option<NaiveDate>,
    /// Half of the sample falls before this day.
    pub likely: Option<NaiveDate>,
    /// 90 % of the sample fall before this day.
    pub late: Option<NaiveDate>,
    /// Chance that it has happened by today, 0 to 1.
    pub passed: f64,
    /// Chances that it has happened within [`CHANCE_DAYS`] from today, 0 to 1.
    pub within: [f64; 3],
    /// Chance that the season does not reach it, 0 to 1.
    pub never: f64,
    /// Which of the dates are the calendar's and no sum's.
    pub by_calendar: ByCalendar,
}

/// Which dates of an outlook are a date cap: the day by which something ends, warm or not. They are
/// a convention and no estimate of when a sum is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ByCalendar {
    /// The early one, and with it the others: hardly any of the sample gets there before the cap.
    pub early: bool,
    /// The likely one, and with it the late one.
    pub likely: bool,
    /// The late one.
    pub late: bool,
}

impl Outlook {
    /// The same with none of its dates before the one at the same place, none where that has none.
    fn after(self, before: [Option<NaiveDate>; 3]) -> Self {
        let later = |date: Option<NaiveDate>, before: Option<NaiveDate>| Some(date?.max(before?));
        let [early, likely, late] = before;
        Self {
            early: later(self.early, early),
            likely: later(self.likely, likely),
            late: later(self.late, late),
            ..self
        }
    }

    /// The same for something that ends on a date cap if its sum has not got there before. A date
    /// that the cap stands in for is marked in [`Outlook::by_calendar`]; a sum reached on the day of
    /// the cap counts as reached.
    pub fn ending_on(self, end: NaiveDate, today: NaiveDate) -> Self {
        let by = |days: u32, chance: f64| {
            let over = today + Days::new(u64::from(days)) >= end;
            if over { 1.0 } else { chance }
        };
        let [week, fortnight, month] = self.within;
        let by_sum = |date: Option<NaiveDate>| date.filter(|date| *date <= end);
        let [early, likely, late] = [self.early, self.likely, self.late].map(by_sum);
        Self {
            early: early.or(Some(end)),
            likely: likely.or(Some(end)),
            late: late.or(Some(end)),
            passed: by(0, self.passed),
            within: [by(7, week), by(14, fortnight), by(30, month)],
            never: 0.0,
            by_calendar: ByCalendar {
                early: early.is_none(),
                likely: likely.is_none(),
                late: late.is_none(),
            },
        }
    }
}

/// What an outlook is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Basis {
    /// Observed through this day.
    pub data_through: NaiveDate,
    /// Forecast days after it, from a model.
    pub forecast_days: usize,
    /// The day from which on a forecast is not used, because it jumps to it.
    pub forecast_jumps_on: Option<NaiveDate>,
    /// Past seasons that stand for the rest.
    pub past_seasons: usize,
    /// Whether some of them are not the station's own.
    pub borrowed: Option<Borrowed>,
}

impl Basis {
    /// Whether the range is widened because there are few past seasons.
    pub fn is_thin(&self) -> bool {
        self.past_seasons < FULL_SEASONS
    }
}

/// Why there is no outlook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoOutlook {
    /// No day of this season is known.
    #[error("no measured day of this season yet")]
    NoData,
    /// The days of this season have a hole.
    #[error("a hole in this season's days; import the missing ones")]
    Hole,
    /// Too few past seasons.
    #[error(
        "{found} whole past seasons of the station, {FEWEST_SEASONS} are needed; import its history"
    )]
    TooFewSeasons {
        /// How many there are.
        found: usize,
    },
}

/// The season so far with every past season as a remainder.
#[derive(Debug, Clone)]
pub struct Ensemble {
    start: NaiveDate,
    /// Sum at the end of each observed day, °C·d.
    known: Vec<f64>,
    /// For each past season, moved or not: sum at the end of each day after the observed ones.
    rest: Vec<Vec<f64>>,
    /// The mean of these, where the dates are read from it as well.
    mean: Option<Vec<f64>>,
    basis: Basis,
}

impl Ensemble {
    /// Lays the past seasons behind the season so far.
    ///
    /// # Errors
    /// [`NoOutlook`] says what is missing.
    pub fn of_series(
        model: &Model,
        series: &Series,
        forecast: &ForetoldDays,
        past: &[PastSeason],
    ) -> Result<Self, NoOutlook> {
        if series.broken_by.is_some() {
            return Err(NoOutlook::Hole);
        }
        let first = series.days.first().ok_or(NoOutlook::NoData)?;
        let observed: Vec<Extremes> = series.days.iter().map(|day| day.extremes).collect();
        let past: Vec<&PastSeason> = past.iter().collect();
        let mut made = Self::new(model, first.date, &observed, &forecast.days, &past)?;
        made.basis.forecast_jumps_on = forecast.jumps_on;
        Ok(made)
    }

    /// Lays the past seasons, moved by what persists, behind the days observed from `start` on.
    ///
    /// `forecast` are days that follow the observed ones without a hole; they are a model's, not a
    /// station's, and count for what they are worth. `past` should not hold the season itself.
    ///
    /// # Errors
    /// [`NoOutlook`] says what is missing.
    pub fn new(
        model: &Model,
        start: NaiveDate,
        observed: &[Extremes],
        forecast: &[ForetoldDay],
        past: &[&PastSeason],
    ) -> Result<Self, NoOutlook> {
        Self::of_remainder(
            Remainder::Persistent,
            model,
            start,
            (observed, forecast),
            past,
        )
    }

    /// The same with past seasons moved or as they were.
    ///
    /// # Errors
    /// [`NoOutlook`] says what is missing.
    pub fn of_remainder(
        remainder: Remainder,
        model: &Model,
        start: NaiveDate,
        (observed, foretold): (&[Extremes], &[ForetoldDay]),
        past: &[&PastSeason],
    ) -> Result<Self, NoOutlook> {
        if observed.is_empty() {
            return Err(NoOutlook::NoData);
        }
        // A past season that ends before this one's foretold days has no remainder to give.
        let foretold_through = observed.len() + foretold.len();
        let past: Vec<&PastSeason> = past
            .iter()
            .copied()
            .filter(|season| season.days.len() > foretold_through)
            .collect();
        if past.len() < FEWEST_SEASONS {
            return Err(NoOutlook::TooFewSeasons { found: past.len() });
        }
        let known = sums(model, observed, 0.0);
        let base = known.last().copied().unwrap_or(0.0);
        let so_far = KnownDays {
            year: start.year(),
            observed,
            foretold,
        };
        let rest: Vec<Vec<f64>> = remaining_days(remainder, so_far, &past)
            .into_iter()
            .map(|rest| sums(model, &rest, base))
            .collect();
        Ok(Self {
            start,
            mean: (remainder == Remainder::Persistent).then(|| mean_course(&rest)),
            rest,
            basis: Basis {
                data_through: start + Days::new(observed.len() as u64 - 1),
                forecast_days: foretold.len(),
                forecast_jumps_on: None,
                past_seasons: past.len(),
                borrowed: None,
            },
            known,
        })
    }

    /// The same, saying that some of the past seasons are borrowed.
    pub fn borrowing(mut self, borrowed: Option<Borrowed>) -> Self {
        self.basis.borrowed = borrowed;
        self
    }

    /// The season's sums at the end of each day from its start, once for each past season as its
    /// remainder, °C·d.
    pub fn courses(&self) -> Vec<Vec<f64>> {
        self.rest
            .iter()
            .map(|rest| self.known.iter().chain(rest).copied().collect())
            .collect()
    }

    /// What it is made of.
    pub fn basis(&self) -> Basis {
        self.basis
    }

    /// The outlook for a threshold known to a range, as seen on `today`; what comes after `until`
    /// counts as not reached. See [`Ensemble::outlooks`].
    pub fn outlook(&self, threshold: &Threshold, today: NaiveDate, until: NaiveDate) -> Outlook {
        self.outlooks(&[threshold], None, today, until)[0]
    }

    /// The outlooks for thresholds known to ranges that are passed one after the other, as seen on
    /// `today`. `passed_at` is the sum at the end of the day on which the one before them was
    /// passed, if it was; what comes after `until` counts as not reached.
    ///
    /// # Method
    /// A threshold is taken at nine equally likely points of a distribution whose 10, 50 and 90 %
    /// points are its low end, value and high end (two half normals). Each point and each past
    /// season give the first day at whose end the sum is at or above the point. Days are whole, so
    /// a day's share is spread evenly over the day; the earliest date is the first whole day after
    /// the 10 % point and the latest the last whole day before the 90 % point. A sample of `n`
    /// seasons is read at the positions `p (n + ½) / n − 1 / (4 n)`, halfway between its own share
    /// and Weibull's plotting position: read plainly the range held in 78 of 100 cases, at
    /// Weibull's in 82. Under ten seasons the range is stretched by Student's t.
    ///
    /// What is known of the one before holds for the next. A point at or below `passed_at` is moved
    /// to just above it, so its day is the next that adds to the sum: where flight was passed, eggs
    /// are still to come, whatever their threshold's low end. While both lie ahead their points are
    /// paired: an insect late to fly is late to lay, so the i-th point of the later one is at least
    /// the i-th point of the one before. So no chance is above that of the one before, and no date
    /// comes before its date. The stretch, which is taken about each one's own middle, could undo
    /// the latter: the dates are held to it once more after it.
    ///
    /// # Units
    /// °C·d in; dates and chances out.
    ///
    /// # Valid range
    /// Thresholds above zero, in the order of the season. A date beyond `until` is `None`. Today may
    /// lie past the early date of what was not passed: it is passed at its threshold's value, and
    /// the range allows for one below it.
    ///
    /// # References
    /// Plotting positions: Weibull 1939 (from memory). Prediction interval by Student's t: any
    /// textbook of statistics. The order of the points is ours.
    pub fn outlooks(
        &self,
        thresholds: &[&Threshold],
        passed_at: Option<f64>,
        today: NaiveDate,
        until: NaiveDate,
    ) -> Vec<Outlook> {
        let passed_days = passed_at.map_or(0, |sum| {
            self.known.partition_point(|known| *known < sum) as u64 + 1
        });
        let mut not_before = [Some(self.start + Days::new(passed_days)); 3];
        let last = usize::try_from((until - self.start).num_days()).unwrap_or(0);
        let mut floor = vec![passed_at.map_or(f64::NEG_INFINITY, f64::next_up)];
        thresholds
            .iter()
            .map(|threshold| {
                floor = not_below(&threshold.points(), &floor);
                let sample = DateSample::of(&floor, &self.known, &self.rest, last);
                let moved = self.towards_mean_course(&sample, &floor, last);
                let outlook = self.read(&sample, moved, today, until).after(not_before);
                not_before = [outlook.early, outlook.likely, outlook.late];
                outlook
            })
            .collect()
    }

    /// Half the days from the middle of a sample to the day on which the mean course gets there.
    fn towards_mean_course(&self, sample: &DateSample, points: &[f64], last: usize) -> f64 {
        let by_mean = self.mean.as_slice();
        let middle = DateSample::of(points, &self.known, by_mean, last).quantile(0.5);
        let days = middle.zip(sample.quantile(0.5));
        days.map_or(0.0, |(by_mean, median)| (by_mean - median) / 2.0)
    }

    /// Reads a sample with all of its days moved by so many.
    fn read(&self, sample: &DateSample, moved: f64, today: NaiveDate, until: NaiveDate) -> Outlook {
        let likely = sample.quantile(0.5);
        let stretch = stretch(self.basis.past_seasons);
        // Where the middle is not reached there is nothing to stretch about.
        let stretched = |quantile: Option<f64>| {
            let quantile = quantile?;
            let quantile = likely.map_or(quantile, |likely| likely + (quantile - likely) * stretch);
            Some(quantile + moved)
        };
        let date = |position: f64| self.start + Days::new(position.max(0.0) as u64);
        let within = |position: Option<f64>| position.map(date).filter(|date| *date <= until);
        // Rounding to whole days must not turn a narrow range inside out.
        let likely_day = likely.map(|likely| (likely + moved).round());
        let early = stretched(sample.quantile(0.1))
            .map(|early| early.ceil().min(likely_day.unwrap_or(f64::INFINITY)));
        let late = stretched(sample.quantile(0.9))
            .zip(likely_day)
            .map(|(late, likely)| late.floor().max(likely));
        let by = |days: u32| {
            let position = (today - self.start).num_days() + i64::from(days);
            sample.share_by((position as f64 - moved).round() as i64)
        };
        Outlook {
            early: within(early),
            likely: within(likely_day),
            late: within(late),
            passed: by(0),
            within: CHANCE_DAYS.map(by),
            never: sample.never,
            by_calendar: ByCalendar::default(),
        }
    }
}

/// Sums at the end of each day, from `base` on.
fn sums(model: &Model, days: &[Extremes], base: f64) -> Vec<f64> {
    let mut sum = base;
    model
        .daily(days.iter().copied())
        .map(|gain| {
            sum += gain;
            sum
        })
        .collect()
}

/// The mean of courses day by day, of those that have the day.
fn mean_course(courses: &[Vec<f64>]) -> Vec<f64> {
    let longest = courses.iter().map(Vec::len).max().unwrap_or(0);
    (0..longest)
        .map(|day| {
            let there = courses.iter().filter_map(|course| course.get(day));
            let (sum, count) = there.fold((0.0, 0.0), |(sum, count), one| (sum + one, count + 1.0));
            sum / count
        })
        .collect()
}

/// By how much a range from `n` seasons is stretched: Student's t at 0.9 with n − 1 degrees of
/// freedom times √(1 + 1/n), over the normal quantile; 1 from ten seasons on.
fn stretch(n: usize) -> f64 {
    const STUDENT_90: [f64; 7] = [1.8856, 1.6377, 1.5332, 1.4759, 1.4398, 1.4149, 1.3968];
    match n
        .checked_sub(FEWEST_SEASONS)
        .and_then(|i| STUDENT_90.get(i))
    {
        Some(t) => t * (1.0 + 1.0 / n as f64).sqrt() / NORMAL_90,
        None => 1.0,
    }
}
