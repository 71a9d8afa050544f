//! What kept forecasts would have brought: the outlook with and without them.

use super::spread::PairedErrors;
use super::{HindcastPlan, Score, beside, crossing, fixed, others, told};
use crate::domain::phenology::outlook::Ensemble;
use crate::domain::phenology::past_season::PastSeason;
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::forecast::LAPSES_AFTER_DAYS;
use crate::domain::weather::forecast_skill::{ForecastSkill, KeptForecast, learnt_from};
use crate::domain::weather::foretold_days::{ForetoldDays, StationForecast};
use chrono::{Days, NaiveDate};

/// The scores of one threshold so many days ahead, of the seasons that have a forecast there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ForecastGain {
    /// The threshold, °C·d.
    pub threshold: f64,
    /// Days ahead of the crossing.
    pub lead: u32,
    /// With the forecast.
    pub with: Score,
    /// Without.
    pub without: Score,
    /// The errors of both by year.
    pub by_year: PairedErrors,
}

impl ForecastGain {
    /// Adds the cases of another station, made by the same plan.
    pub fn add(&mut self, other: &Self) {
        self.with.add(&other.with);
        self.without.add(&other.without);
        self.by_year.add(&other.by_year);
    }
}

/// Issues the outlooks of a station's seasons with and without the forecasts that were kept, and holds
/// them against what happened.
///
/// # Method
/// As [`super::hindcast`]; a forecast counts where it would have been used on the day, with what was known by
/// then of the station's forecasts: those issued earlier, and the days that had come. `came` are the days by
/// which they are judged.
pub fn with_forecasts(
    seasons: &[PastSeason],
    kept: &[KeptForecast],
    came: &DailyReadings,
    plan: &HindcastPlan,
) -> Vec<ForecastGain> {
    let mut gains = Vec::new();
    for threshold in &plan.thresholds {
        let crossings: Vec<Option<i64>> = seasons
            .iter()
            .map(|season| crossing(&plan.model, season, *threshold))
            .collect();
        let all_cross = crossings.iter().all(Option::is_some);
        for lead in &plan.leads {
            let mut gain = ForecastGain {
                threshold: *threshold,
                lead: *lead,
                ..ForecastGain::default()
            };
            for (index, crossing) in crossings.iter().enumerate().filter(|_| all_cross) {
                let known = crossing.map(|day| day - i64::from(*lead) - i64::from(plan.lag));
                let known = known.and_then(|known| usize::try_from(known).ok());
                if let (Some(known), Some(crossing)) = (known.filter(|known| *known > 0), crossing)
                {
                    note(
                        &mut gain,
                        (seasons, index),
                        (known, *crossing),
                        (kept, came),
                        plan,
                    );
                }
            }
            gains.push(gain);
        }
    }
    gains
}

/// Notes one season, if there is a forecast for it.
fn note(
    gain: &mut ForecastGain,
    (seasons, index): (&[PastSeason], usize),
    (known, crossing): (usize, i64),
    (kept, came): (&[KeptForecast], &DailyReadings),
    plan: &HindcastPlan,
) -> Option<()> {
    let season = &seasons[index];
    let start = NaiveDate::from_ymd_opt(season.year, 1, 1)?;
    let newest = start + Days::new(known as u64 - 1);
    let today = start + Days::new(known as u64 + u64::from(plan.lag));
    let observed = season.days.get(..known)?;
    let forecast = forecast_on(today, newest, kept, came)?;
    let foretold = ForetoldDays::following((newest, *observed.last()?), &forecast).days;
    if foretold.is_empty() {
        return None;
    }
    let others = others(seasons, index, plan.past)?;
    let past = beside(seasons, &others, season.year);
    let past: Vec<&PastSeason> = past.iter().collect();
    let threshold = fixed(gain.threshold);
    let day = |foretold| {
        let ensemble = Ensemble::new(&plan.model, start, observed, foretold, &past).ok()?;
        let outlook = ensemble.outlook(&threshold, today, NaiveDate::MAX);
        Some(told(&outlook, start))
    };
    let (with, without) = (day(&foretold)?, day(&[])?);
    gain.with.note(with, crossing);
    gain.without.note(without, crossing);
    if let (Some(with), Some(without)) = (with[1], without[1]) {
        let error = |told: i64| (told - crossing).unsigned_abs() as f64;
        gain.by_year.note(season.year, error(with), error(without));
    }
    Some(())
}

/// The forecast that was in use on a day, with what was known by then of those before it.
fn forecast_on(
    today: NaiveDate,
    newest: NaiveDate,
    kept: &[KeptForecast],
    came: &DailyReadings,
) -> Option<StationForecast> {
    let is_current =
        |one: &&KeptForecast| (0..=LAPSES_AFTER_DAYS).contains(&(today - one.issued_on).num_days());
    let newest_kept = kept
        .iter()
        .filter(is_current)
        .max_by_key(|one| one.issued_on)?;
    let learnt_from = learnt_from(today);
    let earlier: Vec<KeptForecast> = kept
        .iter()
        .filter(|one| (learnt_from..newest_kept.issued_on).contains(&one.issued_on))
        .cloned()
        .collect();
    let mut known = came.clone();
    known.truncate_after(newest);
    Some(StationForecast {
        issued_on: newest_kept.issued_on,
        days: newest_kept.days.clone(),
        skill: ForecastSkill::learnt(&earlier, &known),
    })
}
