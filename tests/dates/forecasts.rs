//! Forecasts in the dates ahead: they count for what they have been worth.

use crate::outlook::{fixed, model, season_of, trusted};
use crate::support::species::date;
use chrono::{Days, NaiveDate};
use hatchbell::domain::phenology::outlook::{Ensemble, Outlook};
use hatchbell::domain::phenology::past_season::PastSeason;
use hatchbell::domain::weather::extremes::Extremes;
use hatchbell::domain::weather::forecast_skill::LeadError;
use hatchbell::domain::weather::foretold_days::ForetoldDay;

/// Days observed.
const KNOWN: usize = 100;

/// Seasons of 5 to 15 °C·d a day, in turns so that they are no trend.
fn past() -> Vec<PastSeason> {
    let gains = (0..21).map(|i| 5.0 + 0.5 * f64::from(i * 8 % 21));
    gains
        .zip(1990..)
        .map(|(gain, year)| season_of(year, 365, gain))
        .collect()
}

/// After 100 days of 10 °C·d, and a forecast.
fn ensemble(forecast: &[ForetoldDay]) -> Ensemble {
    let observed = season_of(2026, KNOWN, 10.0).days;
    let past = past();
    let past: Vec<&PastSeason> = past.iter().collect();
    Ensemble::new(&model(), date("2026-01-01"), &observed, forecast, &past).unwrap()
}

/// What a day of the season adds to the sum in each course, °C·d.
fn gains(ensemble: &Ensemble, day: usize) -> Vec<f64> {
    let courses = ensemble.courses();
    courses
        .iter()
        .map(|course| course[day] - course[day - 1])
        .collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Three days that add so much each, foretold with an error that has been seen so often that nothing else
/// counts.
fn foretold(gain: f64, bias: f64, error: f64) -> Vec<ForetoldDay> {
    let days = season_of(2026, 3, gain).days;
    let of = |(day, lead): (&Extremes, u32)| {
        ForetoldDay::new(*day, LeadError::after(lead, usize::MAX, bias, error))
    };
    days.iter().zip(1..).map(of).collect()
}

#[test]
fn a_trusted_forecast_replaces_the_days_of_the_past_seasons() {
    let seen = ensemble(&trusted(&season_of(2026, 3, 12.0).days));
    for day in KNOWN..KNOWN + 3 {
        assert!(
            gains(&seen, day)
                .iter()
                .all(|gain| (gain - 12.0).abs() < 1e-4)
        );
    }
    assert_eq!(seen.basis().forecast_days, 3);
}

#[test]
fn an_untrusted_forecast_changes_nothing() {
    let (without, seen) = (ensemble(&[]), ensemble(&foretold(25.0, 0.0, 1e6)));
    for (without, seen) in without.courses().iter().zip(seen.courses()) {
        assert!(without.iter().zip(&seen).all(|(a, b)| (a - b).abs() < 1e-3));
    }
}

#[test]
fn the_bias_of_a_station_s_forecasts_is_taken_off() {
    let seen = ensemble(&foretold(12.0, 1.5, 0.0));
    for day in KNOWN..KNOWN + 3 {
        assert!(
            gains(&seen, day)
                .iter()
                .all(|gain| (gain - 10.5).abs() < 1e-4)
        );
    }
}

/// Where the error equals the spread of the past seasons, the mean lies halfway, and the spread shrinks by
/// the root of a half. Of the change three quarters go on to the next day, and three quarters of that.
#[test]
fn a_forecast_as_good_as_the_past_seasons_has_half_the_say() {
    let without = ensemble(&[]);
    let before = gains(&without, KNOWN);
    let m = mean(&before);
    let spread = |gains: &[f64]| {
        let m = mean(gains);
        (gains.iter().map(|gain| (gain - m).powi(2)).sum::<f64>() / (gains.len() as f64 - 1.0))
            .sqrt()
    };
    let seen = ensemble(&foretold(14.0, 0.0, spread(&before))[..1]);
    let first = gains(&seen, KNOWN);
    assert!((mean(&first) - f64::midpoint(14.0, m)).abs() < 1e-6);
    assert!((spread(&first) - spread(&before) * 0.5_f64.sqrt()).abs() < 1e-6);
    let change = mean(&first) - m;
    for (day, kept) in [(KNOWN + 1, 0.75), (KNOWN + 2, 0.5625)] {
        let moved = mean(&gains(&seen, day)) - mean(&gains(&without, day));
        assert!((moved - kept * change).abs() < 1e-6, "{moved}");
    }
}

#[test]
fn the_better_the_forecast_the_narrower_the_range() {
    let width = |forecast: &[ForetoldDay]| {
        let today = date("2026-01-01") + Days::new(KNOWN as u64);
        let outlook: Outlook = ensemble(forecast).outlook(&fixed(1190.0), today, NaiveDate::MAX);
        (outlook.late.unwrap() - outlook.early.unwrap()).num_days()
    };
    let long = |error: f64| -> Vec<ForetoldDay> {
        let days = season_of(2026, 14, 10.0).days;
        let of = |(day, lead): (&Extremes, u32)| {
            ForetoldDay::new(*day, LeadError::after(lead, usize::MAX, 0.0, error))
        };
        days.iter().zip(1..).map(of).collect()
    };
    let (none, poor, good) = (width(&[]), width(&long(3.0)), width(&long(0.5)));
    assert!(none > poor && poor > good, "{none} {poor} {good}");
}
