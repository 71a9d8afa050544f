//! Which weather station should stand for a site: candidates, the best first, with reasons.
//!
//! One scale for everything that speaks against a station: kilometres. A station counts as being as
//! far away as it is, plus so many km for each thing that makes its temperatures or its past less
//! useful. The weights are this program's own judgement (no source); they are stated wherever a
//! ranking is shown.

use crate::domain::place::completeness::Completeness;
use crate::domain::place::globe::{Place, great_circle_km};
use crate::domain::place::years::Years;
use crate::domain::weather::gaps::LAPSE_C_PER_M;
use chrono::{Datelike, NaiveDate};

/// What a height difference of 100 m counts as, km. In the standard atmosphere it is 0.65 °C.
pub const KM_PER_100_M: f64 = 10.0;
/// What an unknown height counts as where the site's is known, km.
pub const KM_FOR_UNKNOWN_HEIGHT: f64 = 10.0;
/// Years from which on a longer record counts no more: the length of a climate normal.
pub const ENOUGH_YEARS: u32 = 30;
/// What each year less counts as, km.
pub const KM_PER_YEAR_SHORT: f64 = 0.5;
/// What it counts as if the newest year has nothing of the station yet, km.
pub const KM_IF_SILENT: f64 = 15.0;
/// What each percent of missing days counts as, km, where readings tell it.
pub const KM_PER_PERCENT_MISSING: f64 = 1.0;

/// A station that may stand for the site.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its code with its publisher.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Where it stands.
    pub place: Place,
    /// Height above sea level, m.
    pub elevation_m: Option<f64>,
    /// Years with daily maxima.
    pub maximum: Years,
    /// Years with daily minima.
    pub minimum: Years,
    /// How complete its readings are, where they are at hand.
    pub completeness: Option<Completeness>,
}

/// What a station is wanted for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// The site.
    pub place: Place,
    /// Its height above sea level, m; without it, heights do not count.
    pub elevation_m: Option<f64>,
    /// Farthest distance, km.
    pub within_km: f64,
    /// The day on which the station is wanted, or the newest one the candidates' years reach.
    pub today: NaiveDate,
}

/// Whether a station still reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Liveness {
    /// It has values of this year; in January, of last year.
    Reporting,
    /// Its last value is of last year: it is late, or it has ended.
    Silent,
    /// It ended: its file is still served, but no day is added.
    Ended,
}

/// What speaks against a station, each in km.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Against {
    /// The distance.
    pub distance: f64,
    /// The height difference.
    pub height: f64,
    /// A short record.
    pub short_record: f64,
    /// Nothing of this year yet.
    pub silence: f64,
    /// Missing days, where they are known.
    pub missing: f64,
}

impl Against {
    /// As how far away the station counts, km.
    pub fn sum(self) -> f64 {
        self.distance + self.height + self.short_record + self.silence + self.missing
    }
}

/// A candidate with its place in the ranking.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// The station.
    pub candidate: Candidate,
    /// How much higher than the site it stands, m, where both heights are known.
    pub height_above_m: Option<f64>,
    /// Years that both extremes span.
    pub years: Years,
    /// Whether it still reports.
    pub liveness: Liveness,
    /// What speaks against it.
    pub against: Against,
}

impl Ranked {
    /// By how much its height alone makes it colder than the site, °C, by the standard atmosphere.
    pub fn colder_by_height_c(&self) -> Option<f64> {
        self.height_above_m.map(|height| height * LAPSE_C_PER_M)
    }
}

/// Ranks the candidates within the distance, the best first. Stations that ended come after all
/// others; those without a year of both extremes are left out.
///
/// # Method
/// The order is that of [`Against::sum`]: distance by [`great_circle_km`], plus [`KM_PER_100_M`]
/// for the height difference, [`KM_PER_YEAR_SHORT`] for each year below [`ENOUGH_YEARS`],
/// [`KM_IF_SILENT`] and [`KM_PER_PERCENT_MISSING`]. Equal sums are ordered by code.
///
/// # Units
/// km; heights in m.
///
/// # Valid range
/// Any place. Coasts, valleys and towns are not known here: look at a map.
///
/// # References
/// Lapse rate as in [`LAPSE_C_PER_M`]; a normal is a mean of 30 years (World Meteorological
/// Organization, WMO-No. 1203, from memory). The weights: own judgement, no source.
///
/// # Examples
/// ```
/// use hatchbell::domain::place::globe::Place;
/// use hatchbell::domain::place::station_rank::{Candidate, Wanted, rank};
/// use hatchbell::domain::place::years::Years;
/// let years = Years { first: 1990, last: 2026 };
/// let candidate = |code: &str, longitude, elevation| Candidate {
///     code: code.to_owned(),
///     name: code.to_owned(),
///     place: Place::new(41.8, longitude).unwrap(),
///     elevation_m: Some(elevation),
///     maximum: years,
///     minimum: years,
///     completeness: None,
/// };
/// let wanted = Wanted {
///     place: Place::new(41.8, -30.1).unwrap(),
///     elevation_m: Some(200.0),
///     within_km: 50.0,
///     today: "2026-07-10".parse().unwrap(),
/// };
/// let on_the_hill = candidate("HILL", -30.05, 600.0);
/// let down_the_road = candidate("ROAD", -30.3, 210.0);
/// let ranked = rank(vec![on_the_hill, down_the_road], &wanted);
/// assert_eq!(ranked[0].candidate.code, "ROAD");
/// assert_eq!(ranked[1].against.height, 40.0);
/// ```
pub fn rank(candidates: Vec<Candidate>, wanted: &Wanted) -> Vec<Ranked> {
    let mut ranked: Vec<Ranked> = candidates
        .into_iter()
        .filter_map(|candidate| weighed(candidate, wanted))
        .filter(|ranked| ranked.against.distance <= wanted.within_km)
        .collect();
    ranked.sort_by(|a, b| {
        let ended = |ranked: &Ranked| ranked.liveness == Liveness::Ended;
        let sums = a.against.sum().total_cmp(&b.against.sum());
        let codes = a.candidate.code.cmp(&b.candidate.code);
        ended(a).cmp(&ended(b)).then(sums).then(codes)
    });
    ranked
}

fn weighed(candidate: Candidate, wanted: &Wanted) -> Option<Ranked> {
    let years = candidate.maximum.both(candidate.minimum)?;
    let liveness = liveness(years.last, wanted.today);
    let height_above_m = match (candidate.elevation_m, wanted.elevation_m) {
        (Some(station), Some(site)) => Some(station - site),
        _ => None,
    };
    let height = match height_above_m {
        Some(height) => height.abs() / 100.0 * KM_PER_100_M,
        None if wanted.elevation_m.is_some() => KM_FOR_UNKNOWN_HEIGHT,
        None => 0.0,
    };
    let short = ENOUGH_YEARS.saturating_sub(years.count());
    let against = Against {
        distance: great_circle_km(wanted.place, candidate.place),
        height,
        short_record: f64::from(short) * KM_PER_YEAR_SHORT,
        silence: match liveness {
            Liveness::Silent => KM_IF_SILENT,
            Liveness::Reporting | Liveness::Ended => 0.0,
        },
        missing: candidate.completeness.map_or(0.0, |completeness| {
            completeness.missing_percent() * KM_PER_PERCENT_MISSING
        }),
    };
    Some(Ranked {
        candidate,
        height_above_m,
        years,
        liveness,
        against,
    })
}

/// In January many stations that are well have no value of the year yet.
fn liveness(last: i32, today: NaiveDate) -> Liveness {
    let this_year = today.year() - i32::from(today.month() == 1);
    match this_year - last {
        ..=0 => Liveness::Reporting,
        1 => Liveness::Silent,
        _ => Liveness::Ended,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::place::completeness::CountedIn;

    const THIRTY: Years = Years {
        first: 1997,
        last: 2026,
    };

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn wanted() -> Wanted {
        Wanted {
            place: Place::new(41.8, -30.1).unwrap(),
            elevation_m: Some(200.0),
            within_km: 100.0,
            today: day("2026-07-10"),
        }
    }

    fn candidate(code: &str, north: f64) -> Candidate {
        Candidate {
            code: code.to_owned(),
            name: code.to_owned(),
            place: Place::new(41.8 + north, -30.1).unwrap(),
            elevation_m: Some(200.0),
            maximum: THIRTY,
            minimum: THIRTY,
            completeness: None,
        }
    }

    fn codes(candidates: Vec<Candidate>) -> Vec<String> {
        let ranked = rank(candidates, &wanted());
        ranked.into_iter().map(|r| r.candidate.code).collect()
    }

    fn against(candidate: Candidate) -> Against {
        rank(vec![candidate], &wanted())[0].against
    }

    #[test]
    fn of_equal_stations_the_nearest_is_best() {
        assert_eq!(
            codes(vec![candidate("B", 0.2), candidate("A", -0.1)]),
            ["A", "B"]
        );
    }

    #[test]
    fn a_station_beyond_the_distance_is_left_out() {
        assert_eq!(
            codes(vec![candidate("A", 0.89), candidate("B", 0.91)]),
            ["A"]
        );
    }

    #[test]
    fn a_hundred_metres_up_or_down_count_as_ten_km_and_an_unknown_height_as_much() {
        for elevation in [Some(100.0), Some(300.0), None] {
            let station = Candidate {
                elevation_m: elevation,
                ..candidate("A", 0.0)
            };
            assert_eq!(against(station).height, 10.0, "{elevation:?}");
        }
    }

    #[test]
    fn heights_do_not_count_where_the_site_s_is_unknown() {
        let wanted = Wanted {
            elevation_m: None,
            ..wanted()
        };
        let ranked = rank(vec![candidate("A", 0.0)], &wanted);
        assert_eq!(ranked[0].against.height, 0.0);
        assert_eq!(ranked[0].colder_by_height_c(), None);
    }

    #[test]
    fn a_station_a_hundred_metres_up_is_colder_by_the_lapse_rate_of_the_standard_atmosphere() {
        let station = Candidate {
            elevation_m: Some(300.0),
            ..candidate("A", 0.0)
        };
        let colder = rank(vec![station], &wanted())[0].colder_by_height_c();
        assert!((colder.unwrap() - 0.65).abs() < 1e-12);
    }

    #[test]
    fn only_years_with_both_extremes_count_as_a_record() {
        let station = Candidate {
            minimum: Years {
                first: 2007,
                last: 2030,
            },
            ..candidate("A", 0.0)
        };
        let ranked = rank(vec![station], &wanted()).remove(0);
        assert_eq!((ranked.years.first, ranked.years.last), (2007, 2026));
        assert_eq!(ranked.against.short_record, 5.0);
    }

    #[test]
    fn a_station_whose_extremes_never_met_is_left_out() {
        let station = Candidate {
            maximum: Years {
                first: 1950,
                last: 1960,
            },
            ..candidate("A", 0.0)
        };
        assert!(codes(vec![station]).is_empty());
    }

    #[test]
    fn a_station_that_ended_comes_last_however_near_it_is() {
        let ended = |code, last| Candidate {
            maximum: Years { first: 1950, last },
            ..candidate(code, 0.0)
        };
        let order = codes(vec![
            ended("OVER", 2024),
            candidate("FAR", 0.8),
            ended("LATE", 2025),
        ]);
        assert_eq!(order, ["LATE", "FAR", "OVER"]);
    }

    #[test]
    fn in_january_a_station_without_a_value_of_the_year_still_reports() {
        assert_eq!(liveness(2025, day("2026-01-31")), Liveness::Reporting);
        assert_eq!(liveness(2025, day("2026-02-01")), Liveness::Silent);
        assert_eq!(liveness(2024, day("2026-01-31")), Liveness::Silent);
        assert_eq!(liveness(2024, day("2026-02-01")), Liveness::Ended);
    }

    #[test]
    fn missing_days_count_where_they_are_known() {
        let counted = Completeness {
            maximum: 150,
            minimum: 200,
            whole: 150,
            of: 200,
            counted_in: CountedIn::Readings,
        };
        let station = Candidate {
            completeness: Some(counted),
            ..candidate("A", 0.0)
        };
        assert_eq!(against(station).missing, 25.0);
        assert_eq!(against(candidate("A", 0.0)).missing, 0.0);
    }
}
