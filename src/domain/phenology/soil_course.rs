//! The soil of a season: estimated from the days so far and, from there on, as past seasons had it.

use crate::domain::phenology::past_season::PastSeason;
use crate::domain::phenology::season_state::SeasonSoFar;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::soil::{soil_temperatures, weekly_means};
use chrono::{Days, NaiveDate};

/// Seven-day means of the soil at 10 cm for each day of a season, estimates all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct SoilCourse {
    start: NaiveDate,
    /// °C, by day from the start.
    weekly: Vec<f64>,
}

impl SoilCourse {
    /// Of a season so far, its forecast days without their bias, and past seasons for what is still to come.
    ///
    /// # Method
    /// Daily mean air temperatures run on as the mean of the past seasons on each day; the soil
    /// follows them, see [`soil_temperatures`].
    ///
    /// # Units
    /// °C.
    ///
    /// # Valid range
    /// Ends with the days known where there are no past seasons.
    pub fn of(so_far: &SeasonSoFar, past: &[PastSeason]) -> Self {
        let observed = so_far.series.days.iter().map(|day| day.extremes);
        let known: Vec<f64> = observed
            .chain(so_far.forecast.days.iter().map(|day| day.extremes))
            .map(Extremes::mean)
            .collect();
        let longest = past.iter().map(|season| season.days.len()).max();
        let expected = (known.len()..longest.unwrap_or(0)).map(|day| {
            let days = past.iter().filter_map(|season| season.days.get(day));
            let (sum, count) = days.fold((0.0, 0.0), |(sum, count), day| {
                (sum + day.mean(), count + 1.0)
            });
            sum / count
        });
        let air = known.iter().copied().chain(expected);
        Self {
            start: so_far.season.start,
            weekly: weekly_means(&soil_temperatures(air)),
        }
    }

    /// The mean of the seven days up to a day, °C.
    pub fn on(&self, day: NaiveDate) -> Option<f64> {
        let place = usize::try_from((day - self.start).num_days()).ok()?;
        self.weekly.get(place).copied()
    }

    /// The first day of the season on which the mean reaches a temperature, °C.
    pub fn warms_to(&self, celsius: f64) -> Option<NaiveDate> {
        let place = self.weekly.iter().position(|mean| *mean >= celsius)?;
        Some(self.start + Days::new(place as u64))
    }

    /// The last day of the season on which the mean is at a temperature, °C, or above.
    pub fn cools_below(&self, celsius: f64) -> Option<NaiveDate> {
        let place = self.weekly.iter().rposition(|mean| *mean >= celsius)?;
        Some(self.start + Days::new(place as u64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::outlook::NoOutlook;
    use crate::domain::phenology::season::{MonthDay, Season};
    use crate::domain::phenology::season_days::{Day, Series};
    use crate::domain::weather::forecast_skill::LeadError;
    use crate::domain::weather::foretold_days::{ForetoldDay, ForetoldDays};

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn air(mean: f64) -> Extremes {
        Extremes::new(mean - 5.0, mean + 5.0).unwrap()
    }

    /// So many observed days and forecast days, then a year like the past one.
    fn course(observed: &[f64], forecast: &[f64], past: &[f64]) -> SoilCourse {
        let season = Season::starting_in(2026, MonthDay::parse("01-01").unwrap());
        let days = season
            .start
            .iter_days()
            .zip(observed)
            .map(|(date, mean)| Day {
                date,
                extremes: air(*mean),
                estimated: false,
            });
        let so_far = SeasonSoFar {
            season,
            series: Series {
                days: days.collect(),
                data_through: None,
                broken_by: None,
            },
            forecast: ForetoldDays {
                days: forecast
                    .iter()
                    .map(|mean| ForetoldDay::new(air(*mean), LeadError::unknown(1)))
                    .collect(),
                jumps_on: None,
            },
            ensemble: Err(NoOutlook::NoData),
        };
        let past = PastSeason {
            year: 2025,
            days: past.iter().map(|mean| air(*mean)).collect(),
        };
        SoilCourse::of(&so_far, &[past])
    }

    #[test]
    fn known_days_come_first_then_the_forecast_then_the_same_days_of_past_seasons() {
        let past: Vec<f64> = (0..100).map(|day| f64::from(day) / 4.0).collect();
        let course = course(&[10.0; 40], &[20.0; 5], &past);
        let soil = soil_temperatures([[10.0; 40].as_slice(), &[20.0; 5], &past[45..]].concat());
        let weekly = weekly_means(&soil);
        for (place, day) in [(10, "2026-01-11"), (44, "2026-02-14"), (99, "2026-04-10")] {
            assert_eq!(course.on(date(day)), Some(weekly[place]));
        }
        assert_eq!(course.on(date("2026-04-11")), None);
        assert_eq!(course.on(date("2025-12-31")), None);
    }

    #[test]
    fn the_first_and_last_day_at_a_temperature_span_the_season_in_between() {
        let past: Vec<f64> = (0..365)
            .map(|day| 25.0 - f64::from(day - 182_i32).abs() / 7.0)
            .collect();
        let course = course(&[], &[], &past);
        let (first, last) = (
            course.warms_to(10.0).unwrap(),
            course.cools_below(10.0).unwrap(),
        );
        assert!(
            course.on(first).unwrap() >= 10.0 && course.on(first - Days::new(1)).unwrap() < 10.0
        );
        assert!(course.on(last).unwrap() >= 10.0 && course.on(last + Days::new(1)).unwrap() < 10.0);
        assert!(first < last);
        assert_eq!(
            (course.warms_to(40.0), course.cools_below(40.0)),
            (None, None)
        );
    }
}
