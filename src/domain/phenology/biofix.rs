//! Biofix: what traps and sightings at the site say of its thresholds.
//!
//! What is caught is adult flight: its beginning, its peak and its end. Each of them says by how much
//! the site's sums differ from the published ones, and all stages move by what they say together. One
//! catch says little: a single beetle may be a straggler of last year's or the first of many.

use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::species::{Species, Threshold};
use crate::domain::sourced_value::{EvidenceGrade, NORMAL_90};

/// How far the sum at a site's first catch lies from where a twentieth of its beetles fly, standard
/// deviation in °C·d. An estimate: sightings of Japanese beetles in 26 cells of 25 km reach their 5 %
/// point at sums with a standard deviation of 80 (points of Belitz et al. 2021 with the nearest station's
/// temperatures); a single trap sees fewer beetles.
pub const FIRST_CATCH_SPREAD: f64 = 100.0;

/// The same for the day with most beetles of a trap that is looked at for weeks: a peak is made of many
/// beetles, and known to about a week. An estimate.
pub const PEAK_CATCH_SPREAD: f64 = 70.0;

/// The same for the last catch before a trap stayed empty. An estimate: the 95 % points of the same
/// sightings scatter as widely as the first catches do.
pub const LAST_CATCH_SPREAD: f64 = 100.0;

/// How far a season's thresholds at a site lie from those of the site's other seasons, standard
/// deviation in °C·d. An estimate.
pub const SEASON_SPREAD: f64 = 40.0;

/// How far a site's threshold may lie from a published one that has no range, standard deviation in °C·d.
pub const PLACE_SPREAD: f64 = 80.0;

/// The stated spread of a single catch counts as much as this many of the site's own seasons.
pub const SPREAD_COUNTS_AS_SEASONS: f64 = 4.0;

/// Fewest days with numbers of beetles from which a peak is taken.
const FEWEST_FOR_PEAK: usize = 3;

/// A trap or a place looked at on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Catch {
    /// The species' sum at the end of the day, °C·d.
    pub sum: f64,
    /// Beetles found, if they were counted; 0 where there were none.
    pub beetles: Option<u32>,
}

/// What a site's catches say about its thresholds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// What is added to every threshold of the species at this site, °C·d.
    pub shift: f64,
    /// The sum at this season's first catch, °C·d: flight has begun by then, whatever the shift says.
    pub first_catch: Option<f64>,
    /// What it rests on.
    pub by: AnchoredBy,
}

/// What an anchor rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AnchoredBy {
    /// This season's catches.
    ThisSeason {
        /// What they would move the thresholds by if the table did not count, °C·d.
        seen: f64,
        /// Whether they have a peak.
        peak: bool,
        /// Whether they have an end.
        last: bool,
    },
    /// Catches of earlier seasons together with the published thresholds.
    EarlierSeasons {
        /// How many.
        seasons: usize,
    },
}

/// A value and its variance.
#[derive(Debug, Clone, Copy)]
struct Estimate {
    value: f64,
    variance: f64,
}

impl Estimate {
    /// Both together, each weighed by how sure it is.
    fn with(self, other: Self) -> Self {
        let (a, b) = (1.0 / self.variance, 1.0 / other.variance);
        Self {
            value: (a * self.value + b * other.value) / (a + b),
            variance: 1.0 / (a + b),
        }
    }
}

/// What a season's catches say: differences to the published sums, °C·d.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    first: Option<f64>,
    peak: Option<f64>,
    last: Option<f64>,
}

impl Seen {
    fn of(species: &Species, flight: &Threshold, catches: &[Catch]) -> Self {
        let found = |one: &&Catch| one.beetles != Some(0);
        let Some(first) = catches.iter().find(found) else {
            return Self::default();
        };
        let past =
            |stage: &str, sum: f64| species.stage(stage).map(|published| sum - published.value);
        let peak = peak(catches);
        let last = peak.and_then(|_| last(catches));
        Self {
            first: Some(first.sum - flight.value),
            peak: peak.and_then(|sum| past("peak-flight", sum)),
            last: last.and_then(|sum| past("late-flight", sum)),
        }
    }

    /// What they say together, if anything was caught.
    fn together(&self, first_spread: f64) -> Option<Estimate> {
        let of = |value: Option<f64>, spread: f64| {
            value.map(|value| Estimate {
                value,
                variance: spread.powi(2),
            })
        };
        [
            of(self.first, first_spread),
            of(self.peak, PEAK_CATCH_SPREAD),
            of(self.last, LAST_CATCH_SPREAD),
        ]
        .into_iter()
        .flatten()
        .reduce(Estimate::with)
    }
}

/// The sum on the day with most beetles, once later numbers have fallen to half of it.
fn peak(catches: &[Catch]) -> Option<f64> {
    let counted: Vec<(f64, u32)> = catches
        .iter()
        .filter_map(|one| Some((one.sum, one.beetles?)))
        .collect();
    // Of equal numbers the first.
    let most = counted.iter().rev().max_by_key(|(_, beetles)| *beetles)?;
    let after = counted.iter().filter(|(sum, _)| *sum > most.0);
    let has_fallen = after.into_iter().any(|(_, beetles)| beetles * 2 <= most.1);
    (counted.len() >= FEWEST_FOR_PEAK && has_fallen && most.1 > 0).then_some(most.0)
}

/// The sum at the last catch, where the trap was found empty after it.
fn last(catches: &[Catch]) -> Option<f64> {
    let last = catches.iter().rposition(|one| one.beetles != Some(0))?;
    (last + 1 < catches.len()).then(|| catches[last].sum)
}

/// By how much a site's catches move the thresholds of a species there.
///
/// # Method
/// A season's first catch, its peak (the day with most beetles, of at least three days with numbers, once
/// a later number is at most half of it) and its last catch (once the trap was empty after it) are held against
/// the sums of flight, `peak-flight` and `late-flight` of the species' file. The differences are
/// averaged by their precision, with standard deviations of [`FIRST_CATCH_SPREAD`],
/// [`PEAK_CATCH_SPREAD`] and [`LAST_CATCH_SPREAD`]. The published sums stand beside them with the spread
/// that the range of flight gives (its half width over 1.28). Earlier seasons at the site move what is expected
/// there, each with [`SEASON_SPREAD`] added; this season's catches then move it further. How far
/// first catches scatter is learnt from the site: the stated spread counts as four seasons, and each
/// earlier season adds how far its first catch was from the published sum.
///
/// # Units
/// °C·d by the species' own model and start.
///
/// # Valid range
/// Sums at or above zero, catches of a season in order of their days. Without any catch there is no anchor.
///
/// # References
/// Combination of normal estimates by their precision: any textbook of statistics. The spreads are
/// estimates of ours, see there.
///
/// # Examples
/// With the table's flight at 560 (450 to 670), so a spread of 86, one beetle at 709 moves all stages by
/// 63 °C·d and not by 149: `149 · 86² / (86² + 100²)`.
pub fn anchor(species: &Species, this_season: &[Catch], earlier: &[Vec<Catch>]) -> Option<Anchor> {
    let flight = species.threshold(Milestone::AdultFlight);
    let earlier: Vec<Seen> = earlier
        .iter()
        .map(|catches| Seen::of(species, flight, catches))
        .filter(|seen| seen.first.is_some())
        .collect();
    let now = Seen::of(species, flight, this_season);
    let first_spread = first_spread(&earlier);
    let of_season = SEASON_SPREAD.powi(2);
    let here = earlier
        .iter()
        .filter_map(|seen| seen.together(first_spread))
        .fold(published(flight), |here, season| {
            here.with(Estimate {
                variance: season.variance + of_season,
                ..season
            })
        });
    match now.together(first_spread) {
        Some(seen) => {
            let expected = match earlier.len() {
                // The range of the table holds its seasons too.
                0 => here,
                _ => Estimate {
                    variance: here.variance + of_season,
                    ..here
                },
            };
            Some(Anchor {
                shift: expected.with(seen).value,
                first_catch: now.first.map(|past| flight.value + past),
                by: AnchoredBy::ThisSeason {
                    seen: seen.value,
                    peak: now.peak.is_some(),
                    last: now.last.is_some(),
                },
            })
        }
        None if earlier.is_empty() => None,
        None => Some(Anchor {
            shift: here.value,
            first_catch: None,
            by: AnchoredBy::EarlierSeasons {
                seasons: earlier.len(),
            },
        }),
    }
}

/// That the site is like the table says.
fn published(flight: &Threshold) -> Estimate {
    let spread = flight
        .range
        .map_or(PLACE_SPREAD, |(low, high)| (high - low) / 2.0 / NORMAL_90);
    Estimate {
        value: 0.0,
        variance: spread.max(1.0).powi(2),
    }
}

/// How far a first catch scatters, as the site's own have.
fn first_spread(earlier: &[Seen]) -> f64 {
    let own = earlier.iter().filter_map(|seen| seen.first);
    let (squares, count) = own.fold((0.0, 0.0), |(sum, count), past| {
        (sum + past.powi(2), count + 1.0)
    });
    let stated = SPREAD_COUNTS_AS_SEASONS * FIRST_CATCH_SPREAD.powi(2);
    ((stated + squares) / (SPREAD_COUNTS_AS_SEASONS + count)).sqrt()
}

/// The species with every threshold moved; none goes below zero. Flight has begun by this season's first catch.
pub fn anchored(species: &Species, anchor: &Anchor) -> Species {
    let moved = |value: f64| (value + anchor.shift).max(0.0);
    let mut species = species.clone();
    for stage in &mut species.stages {
        let threshold = &mut stage.threshold;
        threshold.value = moved(threshold.value);
        threshold.grade = EvidenceGrade::Local;
        threshold.range = threshold.range.map(|(low, high)| (moved(low), moved(high)));
        if let Some(first) = anchor.first_catch
            && stage.milestone == Some(Milestone::AdultFlight)
        {
            threshold.value = threshold.value.min(first);
            threshold.range = threshold
                .range
                .map(|(low, _)| (low.min(first), threshold.value));
        }
    }
    species
}
