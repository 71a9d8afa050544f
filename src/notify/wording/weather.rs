//! Words for the weather of the days around an application.

use super::capitalised;
use crate::domain::notation::{Notation, Units};
use crate::domain::treatment::watering::Wet;
use crate::domain::treatment::weather_ahead::{RainAhead, WeatherAhead, WeatherCaution};

/// What the weather says of spreading, a sentence each; the last says whose forecast it is and of
/// which day. Empty where there is nothing to say.
pub fn weather_words(weather: &WeatherAhead, notation: &Notation) -> Vec<String> {
    let cautions = weather
        .cautions
        .iter()
        .copied()
        .map(|one| caution_words(one, notation));
    let rain = weather.rain.as_ref().map(|rain| rain_words(rain, notation));
    let mut sentences: Vec<String> = cautions.chain(rain).collect();
    let by_measure =
        |caution: &WeatherCaution| matches!(caution, WeatherCaution::Wet(Wet::Saturated { .. }));
    let is_foretold = weather.rain.is_some() || !weather.cautions.iter().all(by_measure);
    if let Some(issued) = weather.forecast_of.filter(|_| is_foretold) {
        sentences.push(format!(
            "The forecast is a model's, of {}.",
            notation.day(issued.date_naive())
        ));
    }
    sentences
}

fn caution_words(caution: WeatherCaution, notation: &Notation) -> String {
    match caution {
        WeatherCaution::Wet(wet) => capitalised(&wet_words(wet, notation)),
        WeatherCaution::Frost { min_c, on } => format!(
            "Frost is forecast on {} ({}): do not spread on frozen turf.",
            notation.week_day(on),
            notation.temperature(min_c)
        ),
        WeatherCaution::Windy { ms, on, calm_on } => {
            let calm = calm_on.map_or(String::new(), |day| {
                format!("; {} is calmer", notation.week_day(day))
            });
            format!(
                "Wind of up to {} is forecast for {}: do not spray above about {}, granules drift less{calm}.",
                notation.wind(ms),
                notation.week_day(on),
                match notation.units {
                    Units::Metric => "4.5 m/s",
                    Units::Us => "10 mph",
                }
            )
        }
    }
}

fn rain_words(rain: &RainAhead, notation: &Notation) -> String {
    let lacking = rain.needed_mm - rain.mm;
    let rest = if lacking >= 0.5 {
        format!(
            ", and give the {} that may be lacking",
            notation.depth(lacking)
        )
    } else {
        String::new()
    };
    format!(
        "About {} of rain on {} would water in {}: spread on {}{rest}. If it does not come, irrigate.",
        notation.depth(rain.mm),
        notation.week_day(rain.on),
        rain.name,
        notation.week_day(rain.spread_on)
    )
}

/// Why this is no day to spread or water.
pub fn wet_words(wet: Wet, notation: &Notation) -> String {
    match wet {
        Wet::Saturated { mm, through } => format!(
            "{} of rain fell in the three days up to {}; do not spread or water on saturated turf, it runs off.",
            notation.depth(mm),
            notation.day(through)
        ),
        Wet::HeavyRainAhead { mm, on } => format!(
            "a model's forecast has {} of rain on {}; do not spread before heavy rain, it washes off.",
            notation.depth(mm),
            notation.day(on)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn rain(mm: f64) -> RainAhead {
        RainAhead {
            option: "imidacloprid".into(),
            name: "imidacloprid".into(),
            needed_mm: 13.0,
            on: day("2026-06-11"),
            mm,
            spread_on: day("2026-06-10"),
        }
    }

    #[test]
    fn rain_ahead_names_amount_days_and_what_may_be_lacking() {
        assert_eq!(
            rain_words(&rain(15.0), &Notation::default()),
            "About 15 mm of rain on Thursday 11 June would water in imidacloprid: spread on Wednesday 10 June. If it does not come, irrigate."
        );
        assert!(
            rain_words(&rain(8.0), &Notation::default())
                .contains("10 June, and give the 5 mm that may be lacking.")
        );
    }

    #[test]
    fn what_is_foretold_names_its_forecast_s_day_and_what_was_measured_does_not() {
        let (mm, through) = (42.0, day("2026-06-07"));
        let mut weather = WeatherAhead {
            forecast_of: Some("2026-06-08T05:00:00Z".parse().unwrap()),
            cautions: vec![WeatherCaution::Wet(Wet::Saturated { mm, through })],
            rain: None,
        };
        assert_eq!(weather_words(&weather, &Notation::default()).len(), 1);
        weather.cautions.push(WeatherCaution::Frost {
            min_c: -0.2,
            on: day("2026-06-09"),
        });
        let words = weather_words(&weather, &Notation::default());
        assert_eq!(
            words[1],
            "Frost is forecast on Tuesday 9 June (0 °C): do not spread on frozen turf."
        );
        assert_eq!(words[2], "The forecast is a model's, of 8 June.");
        assert!(weather_words(&WeatherAhead::default(), &Notation::default()).is_empty());
    }

    #[test]
    fn wind_is_told_with_the_limit_for_sprays_and_the_calmer_day() {
        let windy = WeatherCaution::Windy {
            ms: 7.2,
            on: day("2026-06-09"),
            calm_on: Some(day("2026-06-10")),
        };
        assert_eq!(
            caution_words(windy, &Notation::default()),
            "Wind of up to 7 m/s is forecast for Tuesday 9 June: do not spray above about 4.5 m/s, granules drift less; Wednesday 10 June is calmer."
        );
    }
}
