//! What the weather says of spreading: rain that will water an application in, and what speaks
//! against it.

use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::option::{TreatmentOption, WateringIn};
use crate::domain::treatment::watering::{HEAVY_MM, Wet, heavy_rain_ahead, saturated};
use crate::domain::weather::forecast::Forecast;
use crate::domain::weather::rain::Rain;
use chrono::{DateTime, Days, NaiveDate, Utc};

/// Days ahead in which rain is looked for that waters an application in. Our choice: amounts
/// foretold for later days say little.
pub const RAIN_WITHIN_DAYS: u64 = 5;

/// Days ahead that are looked at for frost. Our choice.
pub const FROST_WITHIN_DAYS: u64 = 3;

/// Days ahead that are looked at for wind. Our choice.
pub const WIND_WITHIN_DAYS: u64 = 2;

/// Wind above this carries a spray away, m/s: 10 miles per hour. Common practice, no source.
pub const TOO_WINDY_MS: f64 = 4.5;

/// Air at or below this freezes turf, °C.
const FREEZING_C: f64 = 0.0;

/// Why a day is none to spread on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WeatherCaution {
    /// It is wet, or will be.
    Wet(Wet),
    /// Frost is forecast.
    Frost {
        /// The day's forecast minimum, °C.
        min_c: f64,
        /// The day.
        on: NaiveDate,
    },
    /// Wind is forecast that carries a spray away.
    Windy {
        /// The day's highest forecast speed, m/s.
        ms: f64,
        /// The day.
        on: NaiveDate,
        /// The next day that is forecast to be calm enough throughout.
        calm_on: Option<NaiveDate>,
    },
}

/// Rain that will water an application in.
#[derive(Debug, Clone, PartialEq)]
pub struct RainAhead {
    /// The option's id.
    pub option: String,
    /// The option's name.
    pub name: String,
    /// Water that it needs, mm.
    pub needed_mm: f64,
    /// The day it is forecast to rain on.
    pub on: NaiveDate,
    /// Forecast for that day, mm.
    pub mm: f64,
    /// The day to spread on, the one before.
    pub spread_on: NaiveDate,
}

/// What the weather says of spreading on a day and the days after.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WeatherAhead {
    /// When the forecast was issued; `None` if there is none that has not lapsed.
    pub forecast_of: Option<DateTime<Utc>>,
    /// What speaks against spreading.
    pub cautions: Vec<WeatherCaution>,
    /// Rain that will water in one of the options meant.
    pub rain: Option<RainAhead>,
}

impl WeatherAhead {
    /// By measured rain and, where there is one, a forecast that has not lapsed. `options` are those
    /// that could be spread with the days worth it, the best first; where none of them has a day within
    /// [`RAIN_WITHIN_DAYS`], nobody needs to hear of frost and wind.
    pub fn of<'o>(
        measured: &Rain,
        forecast: Option<&Forecast>,
        options: impl IntoIterator<Item = (&'o TreatmentOption, Window)>,
        today: NaiveDate,
    ) -> Self {
        let until = today + Days::new(RAIN_WITHIN_DAYS);
        let is_near = |window: Window| window.first <= until && window.last >= today;
        let options = options.into_iter();
        let near: Vec<_> = options.filter(|(_, days)| is_near(*days)).collect();
        let saturated = saturated(measured, today);
        let Some(forecast) = forecast else {
            return Self {
                cautions: saturated.map(WeatherCaution::Wet).into_iter().collect(),
                ..Self::default()
            };
        };
        let wet = [saturated, heavy_rain_ahead(&forecast.rain, today)];
        let wet = wet.into_iter().flatten().map(WeatherCaution::Wet);
        let mut cautions: Vec<WeatherCaution> = wet.collect();
        if !near.is_empty() {
            cautions.extend(frost(forecast, today));
            cautions.extend(wind(forecast, today));
        }
        // Turf that is full today takes in nothing spread today.
        let from = today + Days::new(u64::from(saturated.is_some()));
        Self {
            forecast_of: Some(forecast.issued),
            cautions,
            rain: near
                .into_iter()
                .find_map(|(option, window)| rain_ahead(option, window, forecast, today, from)),
        }
    }
}

/// The first rain that will water an option in.
///
/// # Method
/// The first day of the next [`RAIN_WITHIN_DAYS`] whose forecast rain reaches the low end of the
/// depth that the option needs and stays below [`HEAVY_MM`], if the day before is one to spread on:
/// from `from` on, among the days worth it, without frost or heavy rain. An option that needs its
/// water on the same day cannot wait for rain.
fn rain_ahead(
    option: &TreatmentOption,
    window: Window,
    forecast: &Forecast,
    today: NaiveDate,
    from: NaiveDate,
) -> Option<RainAhead> {
    let WateringIn {
        depth_mm,
        within_days,
    } = &option.watering_in;
    if within_days.value < 1.0 {
        return None;
    }
    let least = depth_mm.range.map_or(depth_mm.value, |(low, _)| low);
    let enough = least..HEAVY_MM;
    let can_be_spread = |day: NaiveDate| {
        day >= from
            && (window.first..=window.last).contains(&day)
            && !freezes(forecast, day)
            && forecast.rain.get(&day).is_none_or(|mm| *mm < HEAVY_MM)
    };
    let next = today + Days::new(1);
    let mut days = forecast
        .rain
        .range(next..=today + Days::new(RAIN_WITHIN_DAYS));
    let (on, mm) =
        days.find(|(day, mm)| enough.contains(*mm) && can_be_spread(**day - Days::new(1)))?;
    Some(RainAhead {
        option: option.id.clone(),
        name: option.name.clone(),
        needed_mm: depth_mm.value,
        on: *on,
        mm: *mm,
        spread_on: *on - Days::new(1),
    })
}

fn minimum(forecast: &Forecast, day: NaiveDate) -> Option<f64> {
    forecast.days.get(&day)?.min
}

fn freezes(forecast: &Forecast, day: NaiveDate) -> bool {
    minimum(forecast, day).is_some_and(|min| min <= FREEZING_C)
}

/// The first frost ahead.
fn frost(forecast: &Forecast, today: NaiveDate) -> Option<WeatherCaution> {
    let mut days = ahead(today, FROST_WITHIN_DAYS);
    let on = days.find(|day| freezes(forecast, *day))?;
    Some(WeatherCaution::Frost {
        min_c: minimum(forecast, on)?,
        on,
    })
}

/// The first windy day ahead, and the first calm one after it.
fn wind(forecast: &Forecast, today: NaiveDate) -> Option<WeatherCaution> {
    let until = today + Days::new(WIND_WITHIN_DAYS);
    let mut days = forecast.wind.range(today..=until);
    let (on, ms) = days.find(|(_, ms)| **ms > TOO_WINDY_MS)?;
    let mut later = forecast
        .wind
        .range(*on..=today + Days::new(RAIN_WITHIN_DAYS));
    let calm = later.find(|(_, ms)| **ms <= TOO_WINDY_MS);
    Some(WeatherCaution::Windy {
        ms: *ms,
        on: *on,
        calm_on: calm.map(|(day, _)| *day),
    })
}

fn ahead(today: NaiveDate, days: u64) -> impl Iterator<Item = NaiveDate> {
    today.iter_days().take(days as usize + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::treatment::kit::{self, day};
    use crate::domain::weather::reading::Reading;

    const TODAY: &str = "2026-06-08";

    fn forecast(rain: &[(&str, f64)]) -> Forecast {
        Forecast {
            issued: "2026-06-08T05:00:00Z".parse().unwrap(),
            days: Default::default(),
            rain: rain.iter().map(|(on, mm)| (day(on), *mm)).collect(),
            wind: Default::default(),
        }
    }

    fn with_minimum(mut forecast: Forecast, on: &str, min: f64) -> Forecast {
        let (min, max) = (Some(min), None);
        forecast.days.insert(day(on), Reading { min, max });
        forecast
    }

    fn window(first: &str, last: &str) -> Window {
        Window {
            first: day(first),
            best: day(last),
            last: day(last),
        }
    }

    fn of(measured: &[(&str, f64)], forecast: &Forecast) -> WeatherAhead {
        let measured = measured.iter().map(|(on, mm)| (day(on), *mm)).collect();
        let option = kit::option("chlorantraniliprole");
        let days = window("2026-05-01", "2026-06-11");
        WeatherAhead::of(&measured, Some(forecast), [(&option, days)], day(TODAY))
    }

    fn rain_and_day_to_spread(forecast: &Forecast) -> Option<(f64, NaiveDate, NaiveDate)> {
        let rain = of(&[], forecast).rain?;
        Some((rain.mm, rain.on, rain.spread_on))
    }

    #[test]
    fn the_first_rain_that_is_enough_is_named_with_the_day_before_it() {
        let found = rain_and_day_to_spread(&forecast(&[
            ("2026-06-08", 15.0),
            ("2026-06-09", 5.9),
            ("2026-06-11", 15.0),
            ("2026-06-12", 18.0),
        ]));
        assert_eq!(found, Some((15.0, day("2026-06-11"), day("2026-06-10"))));
        let low_end = rain_and_day_to_spread(&forecast(&[("2026-06-09", 6.0)]));
        assert_eq!(low_end, Some((6.0, day("2026-06-09"), day(TODAY))));
    }

    #[test]
    fn heavy_rain_waters_nothing_in_and_no_day_with_it_is_one_to_spread_on() {
        let heavy = forecast(&[("2026-06-10", HEAVY_MM), ("2026-06-11", 10.0)]);
        assert_eq!(rain_and_day_to_spread(&heavy), None);
        let on = day("2026-06-10");
        let due = WeatherCaution::Wet(Wet::HeavyRainAhead { mm: HEAVY_MM, on });
        assert_eq!(of(&[], &heavy).cautions, [due]);
    }

    #[test]
    fn rain_is_looked_for_five_days_ahead_and_among_the_days_worth_it() {
        assert_eq!(
            rain_and_day_to_spread(&forecast(&[("2026-06-14", 15.0)])),
            None
        );
        assert_eq!(
            rain_and_day_to_spread(&forecast(&[("2026-06-13", 15.0)])),
            None
        );
        assert!(rain_and_day_to_spread(&forecast(&[("2026-06-12", 15.0)])).is_some());
    }

    #[test]
    fn the_next_option_is_looked_at_where_the_best_one_has_no_use_for_the_rain() {
        let ahead = forecast(&[("2026-06-13", 15.0)]);
        let (slow, fast) = (
            kit::option("chlorantraniliprole"),
            kit::option("imidacloprid"),
        );
        let options = [
            (&slow, window("2026-05-01", "2026-06-11")),
            (&fast, window("2026-06-10", "2026-07-10")),
        ];
        let found = WeatherAhead::of(&Rain::new(), Some(&ahead), options, day(TODAY));
        assert_eq!(found.rain.unwrap().option, "imidacloprid");
        let mut at_once = fast.clone();
        at_once.watering_in.within_days.value = 0.0;
        let options = [(&at_once, window("2026-06-10", "2026-07-10"))];
        let found = WeatherAhead::of(&Rain::new(), Some(&ahead), options, day(TODAY));
        assert_eq!(found.rain, None, "it cannot wait for the next day's rain");
    }

    #[test]
    fn frozen_or_saturated_turf_is_not_spread_on_before_rain() {
        let ahead = forecast(&[("2026-06-09", 15.0)]);
        assert!(of(&[], &ahead).rain.is_some());
        let frozen = with_minimum(ahead.clone(), TODAY, 0.0);
        assert_eq!(of(&[], &frozen).rain, None);
        let full = of(&[("2026-06-07", SATURATED)], &ahead);
        assert_eq!(full.rain, None);
        assert!(matches!(
            full.cautions[..],
            [WeatherCaution::Wet(Wet::Saturated { .. })]
        ));
    }

    const SATURATED: f64 = crate::domain::treatment::watering::SATURATED_MM;

    #[test]
    fn frost_is_told_three_days_ahead() {
        let cautions = |on: &str, min| of(&[], &with_minimum(forecast(&[]), on, min)).cautions;
        let on = day("2026-06-11");
        assert_eq!(
            cautions("2026-06-11", 0.0),
            [WeatherCaution::Frost { min_c: 0.0, on }]
        );
        assert_eq!(cautions("2026-06-11", 0.1), []);
        assert_eq!(cautions("2026-06-12", -3.0), []);
    }

    #[test]
    fn wind_is_told_with_the_next_calm_day() {
        let mut ahead = forecast(&[]);
        let wind = [
            (TODAY, 4.5),
            ("2026-06-10", 7.0),
            ("2026-06-11", 6.0),
            ("2026-06-12", 3.0),
        ];
        ahead.wind = wind.iter().map(|(on, ms)| (day(on), *ms)).collect();
        let due = WeatherCaution::Windy {
            ms: 7.0,
            on: day("2026-06-10"),
            calm_on: Some(day("2026-06-12")),
        };
        assert_eq!(of(&[], &ahead).cautions, [due]);
        ahead.wind.remove(&day("2026-06-10"));
        assert_eq!(of(&[], &ahead).cautions, [], "three days are too far");
    }

    #[test]
    fn frost_and_wind_are_told_only_where_something_could_be_spread_soon() {
        let mut ahead = with_minimum(forecast(&[]), TODAY, -1.0);
        ahead.wind.insert(day(TODAY), 9.0);
        let option = kit::option("chlorantraniliprole");
        let cautions = |first, last| {
            let options = [(&option, window(first, last))];
            let found = WeatherAhead::of(&Rain::new(), Some(&ahead), options, day(TODAY));
            found.cautions.len()
        };
        assert_eq!(cautions("2026-06-13", "2026-07-01"), 2);
        assert_eq!(cautions("2026-06-14", "2026-07-01"), 0);
        assert_eq!(cautions("2026-05-01", "2026-06-07"), 0);
    }

    #[test]
    fn without_a_forecast_only_rain_that_fell_just_now_is_spoken_of() {
        let measured = [(day("2026-06-06"), SATURATED)].into();
        let option = kit::option("chlorantraniliprole");
        let options = || [(&option, window("2026-05-01", "2026-06-20"))];
        let on = |today| WeatherAhead::of(&measured, None, options(), day(today));
        assert_eq!(on("2026-06-08").cautions.len(), 1);
        assert_eq!(on("2026-06-09"), WeatherAhead::default());
    }
}
