//! For tests: the built-in options and species, and a season whose first larvae hatch about 1 July.
#![cfg(test)]

use crate::config::{option_file, species_file};
use crate::domain::phenology::species::Species;
use crate::domain::treatment::hatching::Hatching;
use crate::domain::treatment::option::TreatmentOption;
use chrono::NaiveDate;

pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub fn option(id: &str) -> TreatmentOption {
    let name = format!("/{id}.toml");
    let of = |(file, _): &&(&str, &str)| file.ends_with(&name);
    let (file, text) = option_file::BUILT_IN.iter().find(of).unwrap();
    option_file::read(file, text).unwrap()
}

pub fn species(id: &str) -> Species {
    let name = format!("/{id}.toml");
    let of = |(file, _): &&(&str, &str)| file.ends_with(&name);
    let (file, text) = species_file::BUILT_IN.iter().find(of).unwrap();
    species_file::read(file, text).unwrap()
}

/// Sums over base 10 °C of sine-shaped years around one in which Japanese beetles hatch from about
/// 1 July on, so many °C warmer.
pub fn hatching(species: &Species, warmer: f64) -> Hatching {
    let course = |by: f64| {
        let mut sum = 0.0;
        let daily = move |day: i32| {
            let angle = std::f64::consts::TAU * f64::from(day - 200) / 365.0;
            sum += (3.45 + warmer + by + 14.0 * angle.cos()).max(0.0);
            sum
        };
        (0..365).map(daily).collect()
    };
    let courses: Vec<Vec<f64>> = [-1.0, -0.5, 0.0, 0.5, 1.0].map(course).into();
    Hatching::new(species, &courses, day("2026-01-01"), day("2026-09-30")).unwrap()
}

/// The soil of such a year: nothing is known of it yet, one past season is like it.
pub fn soil(warmer: f64) -> crate::domain::phenology::soil_course::SoilCourse {
    use crate::domain::phenology::outlook::NoOutlook;
    use crate::domain::phenology::past_season::PastSeason;
    use crate::domain::phenology::season::{MonthDay, Season};
    use crate::domain::phenology::season_days::Series;
    use crate::domain::phenology::season_state::SeasonSoFar;
    use crate::domain::phenology::soil_course::SoilCourse;
    use crate::domain::weather::extremes::Extremes;
    let days = (0..365).map(|day| {
        let angle = std::f64::consts::TAU * f64::from(day - 200) / 365.0;
        let mean = 13.45 + warmer + 14.0 * angle.cos();
        Extremes::new(mean - 6.0, mean + 6.0).unwrap()
    });
    let so_far = SeasonSoFar {
        season: Season::starting_in(2026, MonthDay::parse("01-01").unwrap()),
        series: Series {
            days: Vec::new(),
            data_through: None,
            broken_by: None,
        },
        forecast: Default::default(),
        ensemble: Err(NoOutlook::NoData),
    };
    let past = PastSeason {
        year: 2025,
        days: days.collect(),
    };
    SoilCourse::of(&so_far, &[past])
}

/// Nothing was counted and no damage noted.
pub fn nothing_known() -> crate::domain::treatment::need::Evidence {
    crate::domain::treatment::need::Evidence {
        this_brood: None,
        last_brood: None,
        damaged: None,
    }
}

/// Larvae of this season were counted on a day.
pub fn counted(on: &str) -> crate::domain::treatment::need::Evidence {
    let found = crate::domain::scouting::Found::of_density(50.0).unwrap();
    crate::domain::treatment::need::Evidence {
        this_brood: Some((day(on), found)),
        ..nothing_known()
    }
}

/// A season in which larvae hatch on a day and nothing more is known.
pub fn hatched_on(hatch: &str) -> crate::domain::phenology::season_state::SeasonState {
    use crate::domain::phenology::milestone::Milestone;
    use crate::domain::phenology::season::{MonthDay, Season};
    use crate::domain::phenology::season_state::{Crossing, PassedBy, SeasonState};
    SeasonState {
        season: Season::starting_in(2026, MonthDay::parse("01-01").unwrap()),
        data_through: Some(day(hatch)),
        degree_days: 820.0,
        estimated_days: 0,
        crossings: vec![Crossing {
            milestone: Milestone::Hatch,
            on: day(hatch),
            by: PassedBy::Sum,
            degree_days: 820.0,
            estimated_days: 0,
        }],
        second_instar: None,
        hold: None,
        ahead: Vec::new(),
    }
}
