//! Screening: every new or changed value is looked at against the whole record, itself included, and
//! against neighbours, after Durre, Menne, Gleason, Houston and Vose 2010 ("Comprehensive automated
//! quality assurance of daily surface observations", J. Appl. Meteor. Climatol. 49:1615-1633).
//!
//! The order is theirs: repeats, gaps in the distribution, outliers, ranges and spikes, neighbours.
//! Which thresholds are theirs stands beside each; those that the public list of checks of
//! GHCN-Daily does not name are from memory. World bounds and a minimum above its maximum are refused
//! where a file is read. `tests/feeds/planted_errors.rs` measures what is found and what is held in
//! vain.

use crate::domain::weather::reading::Readings;
use crate::station_feed::memory::{DecidedValue, HoldReason};
use crate::station_feed::parsed::Element;
use chrono::{Days, NaiveDate};
use climate::Climate;
use doubts::{Doubts, ValueAt};
use neighbours::Beside;
use series::DenseDays;
use steps::Steps;

mod climate;
mod doubts;
mod neighbours;
mod outliers;
mod repeats;
mod seasonal;
mod series;
mod spread;
mod steps;
#[cfg(test)]
mod tests;

/// Differences from the stored value below this, °C, are no news.
const NEWS_C: f64 = 1.0;
/// How much of neighbours before the first new value is enough to know how they usually differ.
pub const NEIGHBOUR_DAYS: Days = Days::new(2 * 366);
/// Doubts that a neighbour can lift: extremes of the weather, not copies or stuck sensors.
const LIFTED: [HoldReason; 4] = [
    HoldReason::Gap,
    HoldReason::Outlier,
    HoldReason::Level,
    HoldReason::Spike,
];

/// A value that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// Its day.
    pub day: NaiveDate,
    /// Which extreme.
    pub element: Element,
    /// What the file says, °C.
    pub celsius: f64,
    /// Why it stands out.
    pub reason: HoldReason,
    /// What would have been expected, °C from and to, where the check can say.
    pub expected: Option<(f64, f64)>,
    /// Whether the station's record is too short to be sure.
    pub thin: bool,
}

/// The values of a file that are new, or differ from the stored ones by a degree or more, and were
/// not confirmed by anybody.
pub fn news(
    file: &Readings,
    stored: &Readings,
    decided: &[DecidedValue],
) -> Vec<(NaiveDate, Element)> {
    let mut news = Vec::new();
    for (day, reading) in file {
        let known = stored.get(day).copied().unwrap_or_default();
        for element in [Element::Max, Element::Min] {
            let Some(celsius) = element.of(reading) else {
                continue;
            };
            let as_stored = element
                .of(&known)
                .is_some_and(|old| (old - celsius).abs() < NEWS_C);
            let confirmed = || {
                let of = decided.iter().filter(|decided| decided.confirmed);
                of.into_iter()
                    .any(|decided| decided.is_of(*day, element, celsius))
            };
            if !as_stored && !confirmed() {
                news.push((*day, element));
            }
        }
    }
    news
}

/// Which of the news stand out of the whole: what is stored with the file laid over it, and the same
/// days of neighbours.
pub fn screen(
    news: &[(NaiveDate, Element)],
    file: &Readings,
    stored: &Readings,
    neighbours: &[Readings],
) -> Vec<Suspect> {
    if news.is_empty() {
        return Vec::new();
    }
    let series = DenseDays::of(stored, file);
    let mut new: Vec<ValueAt> = news
        .iter()
        .filter_map(|(day, element)| Some((series.index(*day)?, series::slot(*element))))
        .collect();
    new.sort_unstable();
    let others: Vec<DenseDays> = neighbours
        .iter()
        .map(|readings| DenseDays::of(readings, &Readings::new()))
        .filter(|series| series.len() > 0)
        .collect();
    let found = look(&series, &others, &new);
    let suspects = found.iter().filter_map(|((index, slot), doubt)| {
        Some(Suspect {
            day: series.day(index),
            element: if slot == 0 {
                Element::Max
            } else {
                Element::Min
            },
            celsius: series.value(index, slot)?,
            reason: doubt.reason,
            expected: doubt.expected,
            thin: doubt.thin,
        })
    });
    suspects.collect()
}

fn look(series: &DenseDays, others: &[DenseDays], new: &[ValueAt]) -> Doubts {
    let mut found = Doubts::default();
    repeats::noughts(series, new, &mut found);
    repeats::streaks(series, new, &mut found);
    repeats::duplicates(series, new, &mut found);
    for other in others {
        repeats::a_neighbour_s(series, other, new, &mut found);
    }
    // What is copied or stuck belongs to no climate.
    let mut measured = series.clone();
    for ((index, slot), _) in found.iter() {
        measured.clear(index, slot);
    }
    let climate = Climate::of(&measured);
    outliers::gaps(&climate, &measured, new, &mut found);
    outliers::outliers(&climate, new, &mut found);
    outliers::levels(&climate, new, &mut found);
    steps::lagged_ranges(&measured, new, &mut found);
    Steps::of(&measured).spikes(new, &mut found);
    let beside: Vec<Beside<'_>> = others
        .iter()
        .map(|other| Beside::of(&measured, other))
        .collect();
    found.retain(|place, doubt| {
        !LIFTED.contains(&doubt.reason) || !neighbours::speak_for(&beside, place)
    });
    neighbours::apart(&beside, &measured, new, &mut found);
    outliers::months(series, new, &mut found);
    found
}
