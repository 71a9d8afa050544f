//! `hatchbell hindcast --forecasts`: what the kept forecasts were worth, and what they bring.

use super::{HindcastOptions, plan, whole_seasons};
use crate::cli::{configuration_in_use, counted, or_exit, progress, say};
use crate::clock::Clock;
use crate::cycle::daily;
use crate::domain::phenology::hindcast::with_forecasts::{ForecastGain, with_forecasts};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::forecast_score::{
    ErrorTally, ForecastLeadScore, ForecastScores, score_forecasts,
};
use crate::domain::weather::forecast_skill::default_error;
use crate::domain::weather::reading::{Reading, Readings};
use crate::store::Store;
use chrono::NaiveDate;
use serde_json::json;
use std::process::ExitCode;

/// What there is to say where nothing was kept.
const NONE_KEPT: &str = "No forecast of the configured stations has been kept yet. Every one that arrives is kept: name one below a station, in a table [station.forecast].";

/// What was scored.
#[derive(Default)]
struct Scored {
    stations: usize,
    forecasts: usize,
    issued: Option<(NaiveDate, NaiveDate)>,
    scores: ForecastScores,
    gains: Vec<ForecastGain>,
}

pub(super) fn run(options: &HindcastOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let store = Store::open_to_read(&config.service.database)?;
    let plan = plan(options)?;
    let today = Clock::Machine.now().date_naive();
    let mut scored = Scored::default();
    let bar = progress::steps(config.stations.len(), "stations scored");
    for feed in bar.wrap_iter(config.stations.values()) {
        let until_now = (NaiveDate::default(), today);
        let kept = store.kept_forecasts(&feed.station.id, until_now)?;
        let (Some(first), Some(last)) = (kept.first(), kept.last()) else {
            continue;
        };
        let (first, last) = (first.issued_on, last.issued_on);
        scored.stations += 1;
        scored.forecasts += kept.len();
        let (from, to) = scored.issued.unwrap_or((first, last));
        scored.issued = Some((from.min(first), to.max(last)));
        let came = daily(&store, feed, today)?;
        for (lead, score) in score_forecasts(&kept, &came) {
            let all = scored.scores.entry(lead).or_default();
            all.forecast.add(&score.forecast);
            all.other_years.add(&score.other_years);
        }
        let (seasons, _) = whole_seasons(&readings_of(&came), options.missing);
        if seasons.len() >= options.seasons {
            add(
                &mut scored.gains,
                with_forecasts(&seasons, &kept, &came, &plan),
            );
        }
    }
    scored.gains.retain(|gain| gain.with.cases > 0);
    if options.json {
        say!("{}", serde_json::to_string_pretty(&as_json(&scored))?);
    } else {
        say!("{}", text(&scored, options.seasons).trim_end());
    }
    Ok(ExitCode::SUCCESS)
}

fn readings_of(came: &DailyReadings) -> Readings {
    came.iter()
        .filter(|(_, reading)| *reading != Reading::default())
        .collect()
}

fn add(all: &mut Vec<ForecastGain>, station: Vec<ForecastGain>) {
    if all.is_empty() {
        *all = station;
        return;
    }
    for (all, one) in all.iter_mut().zip(&station) {
        all.add(one);
    }
}

fn text(scored: &Scored, fewest_seasons: usize) -> String {
    let Some((from, to)) = scored.issued else {
        return NONE_KEPT.to_owned();
    };
    let mut text = format!(
        "{}, {} kept, {from} to {to}\n\n",
        counted(scored.stations, "station"),
        counted(scored.forecasts, "forecast"),
    );
    text += "a day's mean temperature, °C     other years' mean\n";
    text += "days   cases   bias    abs  error     abs  error  stated\n";
    let cell = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.2}"));
    for (
        lead,
        ForecastLeadScore {
            forecast,
            other_years,
        },
    ) in &scored.scores
    {
        text += &format!(
            "{lead:>4}{:>8}{:>7}{:>7}{:>7}{:>8}{:>7}{:>8.2}\n",
            forecast.cases,
            cell(forecast.bias()),
            cell(forecast.mean_absolute_error()),
            cell(forecast.error()),
            cell(other_years.mean_absolute_error()),
            cell(other_years.error()),
            default_error(*lead),
        );
    }
    if scored.scores.is_empty() {
        text += "none of the foretold days has come yet\n";
    }
    text += "abs: mean absolute error; error: standard deviation\nabout the bias; stated: what counts until enough are kept\n";
    if scored.gains.is_empty() {
        text += &format!(
            "\nNo whole season of a station with {fewest_seasons} of them has\na forecast on the days that are scored.\n"
        );
        return text;
    }
    text += "\nthe likely date, with and without them\n";
    text += "°C·d   days ahead   cases  error, d  without  change, %\n";
    for gain in &scored.gains {
        text += &format!(
            "{:>4.0}{:>13}{:>8}{:>10.2}{:>9.2}{:>11}\n",
            gain.threshold,
            gain.lead,
            gain.with.cases,
            gain.with.mean_absolute_error(),
            gain.without.mean_absolute_error(),
            gain.by_year
                .change()
                .map_or("-".to_owned(), |change| format!("{change:.1}")),
        );
    }
    text
}

fn as_json(scored: &Scored) -> serde_json::Value {
    let of = |tally: &ErrorTally| {
        json!({
            "cases": tally.cases,
            "bias_c": tally.bias(),
            "mean_absolute_error_c": tally.mean_absolute_error(),
            "error_c": tally.error(),
        })
    };
    let leads: Vec<_> = scored
        .scores
        .iter()
        .map(|(lead, score)| {
            json!({
                "days_ahead": lead,
                "forecasts": of(&score.forecast),
                "other_years": of(&score.other_years),
                "stated_error_c": default_error(*lead),
            })
        })
        .collect();
    let outlooks: Vec<_> = scored
        .gains
        .iter()
        .map(|gain| {
            json!({
                "threshold": gain.threshold,
                "lead_days": gain.lead,
                "cases": gain.with.cases,
                "error_days": gain.with.mean_absolute_error(),
                "error_without_days": gain.without.mean_absolute_error(),
                "change_percent": gain.by_year.change(),
                "change_spread_percent": gain.by_year.spread(),
                "range_holds": gain.with.coverage(),
                "range_holds_without": gain.without.coverage(),
            })
        })
        .collect();
    json!({
        "stations": scored.stations,
        "forecasts": scored.forecasts,
        "issued_from": scored.issued.map(|(from, _)| from),
        "issued_to": scored.issued.map(|(_, to)| to),
        "days_ahead": leads,
        "outlooks": outlooks,
    })
}
