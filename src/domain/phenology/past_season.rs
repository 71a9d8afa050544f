//! Past seasons of a station, and how they are laid beside the present one.

use crate::domain::phenology::season::{MonthDay, Season};
use crate::domain::phenology::season_days::{Limits, Series, season_days};
use crate::domain::weather::daily_readings::DailyReadings;
use crate::domain::weather::extremes::Extremes;
use crate::domain::weather::gaps::Estimates;
use crate::domain::weather::normals::Normals;
use chrono::{Datelike, NaiveDate};

/// Fewest days a past season must have to stand for a remainder: to late November in the north.
pub const FEWEST_DAYS: usize = 330;

/// Most days in a row that may have the very same extremes: a sensor that is stuck has no seasons.
pub const MOST_ALIKE: usize = 30;

/// A past season of the station: its days from the season's start on.
#[derive(Debug, Clone, PartialEq)]
pub struct PastSeason {
    /// The year it starts in.
    pub year: i32,
    /// Its days from the first on, without holes; the season that they stand beside says by which
    /// calendar (see [`laid_onto`]).
    pub days: Vec<Extremes>,
}

impl PastSeason {
    /// The same beside another season of the same start, by calendar day.
    pub fn beside(&self, other: &Season, start: MonthDay) -> Self {
        let own = Season::starting_in(self.year, start);
        Self {
            year: self.year,
            days: laid_onto(&self.days, &own, other),
        }
    }
}

/// Where past seasons come from that a station does not have itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lender {
    /// Neighbouring stations, corrected by month.
    Neighbours,
    /// Made up from daily normals.
    Normals,
}

/// Past seasons that are not the station's own. Ranges are read from them as from its own: where they differ
/// among each other they are wider by themselves, and with the history of stations hidden they held as
/// often as the full history's, within five points (`tests/dates/borrowing.rs`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Borrowed {
    /// Where they come from.
    pub from: Lender,
    /// Whole seasons that the station has itself.
    pub own_seasons: usize,
}

/// The past seasons of a station.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Past {
    /// Each laid beside the present season, newest last.
    pub seasons: Vec<PastSeason>,
    /// Whether some are not its own.
    pub borrowed: Option<Borrowed>,
}

impl Past {
    /// Those of a record whose days before `own_from`, if given, are borrowed from neighbours.
    pub fn of_record(
        seasons: Vec<PastSeason>,
        start: MonthDay,
        own_from: Option<NaiveDate>,
    ) -> Self {
        let own = |from: NaiveDate| {
            let is_own = |past: &&PastSeason| start.in_year(past.year) >= from;
            seasons.iter().filter(is_own).count()
        };
        let own_seasons = own_from.map(own).filter(|own| *own < seasons.len());
        Self {
            borrowed: own_seasons.map(|own_seasons| Borrowed {
                from: Lender::Neighbours,
                own_seasons,
            }),
            seasons,
        }
    }

    /// Seasons made up from normals, for a station with too few of its own.
    ///
    /// They are of one year, so that they have no trend.
    pub fn of_normals(
        normals: &Normals,
        season: &Season,
        start: MonthDay,
        own_seasons: usize,
    ) -> Self {
        let year = season.year - 1;
        let no_leap_day = (0..4)
            .map(|back| Season::starting_in(year - back, start))
            .find(|season| leap_day(season).is_none())
            .unwrap_or(*season);
        let first = no_leap_day.start.ordinal0() as usize;
        let seasons = normals.seasons(first).into_iter().map(|days| PastSeason {
            year,
            days: laid_onto(&days, &no_leap_day, season),
        });
        Self {
            seasons: seasons.collect(),
            borrowed: Some(Borrowed {
                from: Lender::Normals,
                own_seasons,
            }),
        }
    }
}

/// The station's whole seasons before `season`, each laid beside it by calendar day, newest last.
pub fn past_seasons(
    readings: &DailyReadings,
    estimates: &Estimates,
    start: MonthDay,
    season: &Season,
    limits: Limits,
) -> Vec<PastSeason> {
    whole_seasons(readings, estimates, start, season, limits)
        .into_iter()
        .map(|past| past.beside(season, start))
        .collect()
}

/// The station's whole seasons by their own calendars, newest last: every season that starts before
/// `season`, has no hole too long to bridge, no more than [`MOST_ALIKE`] days in a row of the very same
/// values, and at most `most_estimated_days` estimated days.
pub fn whole_seasons(
    readings: &DailyReadings,
    estimates: &Estimates,
    start: MonthDay,
    season: &Season,
    limits: Limits,
) -> Vec<PastSeason> {
    let Some(first) = readings.first_day() else {
        return Vec::new();
    };
    let oldest = Season::containing(first, start).year;
    (oldest..season.year)
        .filter_map(|year| {
            let past = Season::starting_in(year, start);
            let series = season_days(
                readings,
                &past,
                past.end,
                limits.longest_gap_days,
                estimates,
            );
            let estimated = series.days.iter().filter(|day| day.estimated).count();
            let whole = series.broken_by.is_none()
                && !is_stuck(&series)
                && series.days.len() >= FEWEST_DAYS
                && estimated <= limits.most_estimated_days as usize;
            whole.then(|| PastSeason {
                year,
                days: series.days.iter().map(|day| day.extremes).collect(),
            })
        })
        .collect()
}

fn is_stuck(series: &Series) -> bool {
    let mut days = series
        .days
        .chunk_by(|one, next| one.extremes == next.extremes);
    days.any(|alike| alike.len() > MOST_ALIKE)
}

/// The days of one season, from its first on, at the places that their calendar days have in another.
///
/// # Method
/// A 29 February that the other season does not have is left out. One that it has and the first has
/// not is the mean of the days beside it. So from 1 March on every day stands beside its own date.
///
/// # Units
/// °C.
///
/// # Valid range
/// Two seasons of one start date. Days that end before March stay as they are.
pub fn laid_onto(days: &[Extremes], own: &Season, other: &Season) -> Vec<Extremes> {
    let (has, needs) = (leap_day(own), leap_day(other));
    let mut laid = days.to_vec();
    match (has, needs) {
        (Some(place), None) if place < days.len() => {
            laid.remove(place);
        }
        (None, Some(place)) if 0 < place && place < days.len() => {
            laid.insert(place, between(days[place - 1], days[place]));
        }
        _ => {}
    }
    laid
}

/// The place of 29 February in a season, from 0.
fn leap_day(season: &Season) -> Option<usize> {
    let of = |year: i32| NaiveDate::from_ymd_opt(year, 2, 29);
    let day = [season.start.year(), season.end.year()]
        .into_iter()
        .filter_map(of)
        .find(|day| (season.start..=season.end).contains(day))?;
    usize::try_from((day - season.start).num_days()).ok()
}

fn between(before: Extremes, after: Extremes) -> Extremes {
    let middle = |one: f64, other: f64| f64::midpoint(one, other);
    Extremes::new(
        middle(before.min(), after.min()),
        middle(before.max(), after.max()),
    )
    .unwrap_or(before)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::Reading;

    fn start() -> MonthDay {
        MonthDay::parse("01-01").unwrap()
    }

    /// A season whose days have the number of their calendar day as value, so that no two are alike.
    fn season(year: i32) -> PastSeason {
        let season = Season::starting_in(year, start());
        let days = season
            .start
            .iter_days()
            .take_while(|day| *day <= season.end)
            .map(|day| {
                let number = f64::from(10 * day.month()) / 4.0 + f64::from(day.day()) / 32.0;
                Extremes::new(number, number).unwrap()
            })
            .collect();
        PastSeason { year, days }
    }

    fn at(season: &PastSeason, place: usize) -> f64 {
        season.days[place].min()
    }

    #[test]
    fn from_march_on_every_day_stands_beside_its_own_date_whichever_year_has_a_leap_day() {
        for (past, present) in [(2024, 2026), (2023, 2024), (2023, 2025), (2020, 2024)] {
            let other = Season::starting_in(present, start());
            let laid = season(past).beside(&other, start());
            assert_eq!(
                laid.days,
                season(present)
                    .days
                    .iter()
                    .enumerate()
                    .map(|(place, day)| {
                        // A leap day that the past season does not have lies between its neighbours.
                        let made_up = past % 4 != 0 && present % 4 == 0 && place == 59;
                        if made_up {
                            between(season(2023).days[58], season(2023).days[59])
                        } else {
                            *day
                        }
                    })
                    .collect::<Vec<_>>(),
                "{past} beside {present}"
            );
        }
        let leap = season(2024).beside(&Season::starting_in(2026, start()), start());
        assert_eq!((at(&leap, 58), at(&leap, 59)), (5.875, 7.53125));
    }

    #[test]
    fn a_season_of_a_stuck_sensor_is_none() {
        let readings: DailyReadings = NaiveDate::from_ymd_opt(2020, 1, 1)
            .unwrap()
            .iter_days()
            .take(3 * 365)
            .map(|day| {
                // Stuck for 31 days of 2021, for 30 of 2022.
                let stuck = match day.year() {
                    2021 => (151..182).contains(&day.ordinal()),
                    2022 => (151..181).contains(&day.ordinal()),
                    _ => false,
                };
                let mean = if stuck {
                    12.0
                } else {
                    f64::from(day.ordinal() % 7)
                };
                let (min, max) = (Some(mean - 3.0), Some(mean + 3.0));
                (day, Reading { min, max })
            })
            .collect();
        let after = Season::starting_in(2023, start());
        let none = Estimates::new();
        let seasons = whole_seasons(&readings, &none, start(), &after, Limits::default());
        let years: Vec<i32> = seasons.iter().map(|season| season.year).collect();
        assert_eq!(years, [2020, 2022]);
    }

    #[test]
    fn south_of_the_equator_the_leap_day_is_that_of_the_second_year() {
        let july = start().at_latitude(-37.0);
        let (own, other) = (
            Season::starting_in(2023, july),
            Season::starting_in(2025, july),
        );
        let days: Vec<Extremes> = (0..366)
            .map(|place| Extremes::new(f64::from(place) / 8.0, f64::from(place) / 8.0).unwrap())
            .collect();
        let laid = laid_onto(&days, &own, &other);
        // 1 July 2023 to 29 February 2024 are 243 days.
        assert_eq!(
            (laid.len(), laid[242].min(), laid[243].min()),
            (365, 242.0 / 8.0, 244.0 / 8.0)
        );
    }

    #[test]
    fn days_that_end_before_the_leap_day_stay_as_they_are() {
        let short = &season(2024).days[..40];
        let (own, other) = (
            Season::starting_in(2024, start()),
            Season::starting_in(2026, start()),
        );
        assert_eq!(laid_onto(short, &own, &other), short);
        assert_eq!(laid_onto(&season(2023).days[..59], &other, &own).len(), 59);
    }
}
