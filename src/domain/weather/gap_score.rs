//! How well missing days are estimated: days that are known are left out and estimated.

use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::gaps::{
    CalendarDays, Corrections, Neighbour, from_neighbours, on_line,
};
use crate::domain::weather::reading::Reading;
use chrono::NaiveDate;

/// A way to estimate, as scored by leaving days out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// The straight line between the days on both sides.
    Line,
    /// Neighbouring stations.
    Neighbours,
    /// The station's own other years.
    Climatology,
}

/// How well a way estimates days that are known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GapScore {
    /// Days left out and estimated.
    pub days: usize,
    min_error: f64,
    max_error: f64,
    degree_day_error: f64,
    degree_day_bias: f64,
}

impl GapScore {
    /// Mean absolute error of the minimum, °C.
    pub fn min_c(&self) -> f64 {
        self.min_error / self.days as f64
    }

    /// Mean absolute error of the maximum, °C.
    pub fn max_c(&self) -> f64 {
        self.max_error / self.days as f64
    }

    /// Mean absolute error of a day's degree-days (simple average, base 10 °C), °C·d.
    pub fn degree_days(&self) -> f64 {
        self.degree_day_error / self.days as f64
    }

    /// Mean error of a day's degree-days, °C·d.
    pub fn degree_day_bias(&self) -> f64 {
        self.degree_day_bias / self.days as f64
    }

    fn note(&mut self, truth: Extremes, estimate: Extremes) {
        let sum = |day: Extremes| ((day.min() + day.max()) / 2.0 - 10.0).max(0.0);
        self.days += 1;
        self.min_error += (estimate.min() - truth.min()).abs();
        self.max_error += (estimate.max() - truth.max()).abs();
        self.degree_day_error += (sum(estimate) - sum(truth)).abs();
        self.degree_day_bias += sum(estimate) - sum(truth);
    }

    /// Adds another station's score.
    pub fn add(&mut self, other: &GapScore) {
        self.days += other.days;
        self.min_error += other.min_error;
        self.max_error += other.max_error;
        self.degree_day_error += other.degree_day_error;
        self.degree_day_bias += other.degree_day_bias;
    }
}

/// Days between two blocks that are left out.
const BETWEEN_BLOCKS: usize = 23;

/// Blocks left out at the most: the newest ones of the record.
const MOST_BLOCKS: usize = 120;

/// Leaves out blocks of `block` days that are known, spread over the newest years of the record,
/// and estimates them one way. Corrections and climatology are made from the days that are left.
pub fn leave_out(
    readings: &DailyReadings,
    neighbours: &[Neighbour<'_>],
    way: Way,
    block: u32,
) -> GapScore {
    let days: Vec<(NaiveDate, Extremes)> = readings
        .iter()
        .filter_map(|(day, reading)| Some((day, reading.extremes()?)))
        .collect();
    let block = block.max(1) as usize;
    let stride = block + BETWEEN_BLOCKS;
    let mut left = readings.clone();
    let mut out: Vec<&[(NaiveDate, Extremes)]> = Vec::new();
    let mut end = days.len().saturating_sub(1);
    while end > stride && out.len() < MOST_BLOCKS {
        let around = &days[end - block - 1..=end];
        // Both neighbours in time must be known, or the line has nothing to hold on to.
        let whole = (around[block + 1].0 - around[0].0).num_days() == block as i64 + 1;
        if whole {
            for (day, _) in &around[1..=block] {
                left.set(*day, Reading::default());
            }
            out.push(around);
        }
        end -= stride;
    }
    let corrections: Vec<Corrections> = match way {
        Way::Neighbours => neighbours
            .iter()
            .map(|neighbour| Corrections::between(&left, neighbour, &[true; 12]))
            .collect(),
        _ => Vec::new(),
    };
    let mut climate = CalendarDays::of(&left);
    let mut score = GapScore::default();
    for around in out {
        let (before, after) = (around[0], around[block + 1]);
        for (day, truth) in &around[1..=block] {
            let estimate = match way {
                Way::Line => on_line(before, after, *day, Reading::default()),
                Way::Neighbours => from_neighbours(neighbours, &corrections, *day),
                Way::Climatology => climate.of_day(*day),
            };
            if let Some(estimate) = estimate {
                score.note(*truth, estimate);
            }
        }
    }
    score
}
