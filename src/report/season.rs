//! A season looked back on, in headings, rows and sentences: what was told, what came, what was
//! applied and counted.

use super::words::{capitalised, counted};
use crate::config::Config;
use crate::cycle::{look_back, seasons_on_record};
use crate::domain::look_back::LookBack;
use crate::domain::notation::Notation;
use crate::domain::phenology::season::Season;
use crate::domain::place::site::{Member, Site};
use crate::notify::wording::CAUTIONS;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use std::collections::BTreeSet;

mod applications;
mod counts;
mod json;
mod scores;
mod species;
mod time_line;
mod told;
mod values;

pub use applications::ApplicationReport;
pub use counts::COUNTS;
pub use species::{DATES, SpeciesReport};
pub use time_line::{TimeLine, TimeLineMark, TimeLineRow};
pub use values::SeasonValues;

/// A season of a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonReport {
    /// The site's id.
    pub site: String,
    /// Everything that is known of the season, as values.
    pub look_back: LookBack,
    /// The site and the season.
    pub title: String,
    /// Whose site it is, and what the report rests on.
    pub about: Vec<String>,
    /// That the season is not over.
    pub running: Option<String>,
    /// The few sentences that somebody reads who reads nothing else.
    pub in_short: Vec<String>,
    /// The season drawn; `None` if there is nothing to draw.
    pub time_line: Option<TimeLine>,
    /// Each species.
    pub species: Vec<SpeciesReport>,
    /// How far off the notices were.
    pub scores: Vec<String>,
    /// Each application.
    pub applied: Vec<ApplicationReport>,
    /// That nothing was applied.
    pub nothing_applied: Option<&'static str>,
    /// Irrigation and damage.
    pub beside: Vec<String>,
    /// What was told, with its day.
    pub told: Vec<(String, String)>,
    /// That nothing was told.
    pub nothing_told: Option<&'static str>,
    /// How to read it.
    pub how_to_read: [&'static str; 4],
    /// The cautions.
    pub cautions: [&'static str; 5],
}

/// Why there is no season to look back on.
#[derive(Debug, thiserror::Error)]
pub enum NoSeason {
    /// The site is watched for no species.
    #[error("{0} is watched for no species, so it has no season")]
    NoSpecies(String),
    /// Nothing at all is known of the site.
    #[error(
        "nothing is known of {0} yet: no temperatures and nothing in its journal. Import a file of its station, or start the service"
    )]
    NothingYet(String),
    /// Nothing is known of the site in this season; in others there is.
    #[error(
        "nothing is known of {site} in the season that starts in {year}: no temperatures and nothing in its journal. There are seasons of {}",
        spans(known)
    )]
    NotOnRecord {
        /// The site.
        site: String,
        /// The year the season starts in.
        year: i32,
        /// The years in which seasons start that something is known of.
        known: BTreeSet<i32>,
    },
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

const NOTHING_APPLIED: &str = "Nothing was applied, by the journal.";

const HOW_TO_READ: [&str; 4] = [
    "Dates: a milestone came on the day on which the temperature sum of the station reached the species' threshold. Nobody saw it in the turf; most thresholds are estimates and the real event lies some days to either side. A range is meant to hold the real event 8 times in 10. Held against the sum, which scores the weather alone, it should hold more often, and the few notices of one season say little of the method.",
    "Shares: a planning model works out how much of the hatch an application met while the larvae were open to it. It compares days of one option; it does not say how many larvae died, which depends on the product, the turf and the water. Most of its figures are common practice or estimates. In time is a day that meets 9 tenths of what the best day meets (a curative: half), late or early one that meets half or more, too late or too early one that meets less.",
    "Counts: grubs lie in patches, so a mean has a wide range. What an application did cannot be told from counts alone: weather, animals and diseases of grubs thin them too. An untreated strip counted beside it would tell.",
    "What was told is what was written down to be sent; whether a message arrived is not shown here. Days of telling are UTC.",
];

impl SeasonReport {
    /// The season of a site that starts in `year`, or that of `today`, as seen on `today`.
    ///
    /// # Errors
    /// [`NoSeason`] if nothing is known of it, or the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        year: Option<i32>,
        today: NaiveDate,
    ) -> Result<Self, NoSeason> {
        let running = || season_on(config, site, today).map(|season| season.year);
        let Some(year) = year.or_else(running) else {
            return Err(NoSeason::NoSpecies(site.id.clone()));
        };
        let known = seasons_on_record(config, store, site, today)?;
        let found = match known.contains(&year) {
            true => look_back(config, store, site, year, today)?,
            false => None,
        };
        let site_id = site.id.clone();
        match found {
            Some(season) => {
                let station = config.station(&site.station);
                let station = station.map_or("", |feed| &feed.station.name);
                let notation = &config.service.notation;
                Ok(Self::made_of(
                    season,
                    (member, site),
                    station,
                    (today, notation),
                ))
            }
            None if known.is_empty() => Err(NoSeason::NothingYet(site_id)),
            None => Err(NoSeason::NotOnRecord {
                site: site_id,
                year,
                known,
            }),
        }
    }

    fn made_of(
        season: LookBack,
        (member, site): (&Member, &Site),
        station: &str,
        (today, notation): (NaiveDate, &Notation),
    ) -> Self {
        let area = site
            .area
            .map_or(String::new(), |area| format!(", {}", notation.area(area)));
        let title = format!("{}: season {}", site.name, season.season);
        Self {
            site: site.id.clone(),
            about: vec![
                format!("{}: {}{area}.", member.name, site.turf),
                format!(
                    "Temperatures of {station}{}. Looked at on {}.",
                    data_through(&season, notation),
                    notation.day_and_year(today)
                ),
            ],
            running: running(&season, notation),
            in_short: in_short(&season, notation),
            time_line: TimeLine::of(&title, &season, notation),
            species: season
                .species
                .iter()
                .map(|one| SpeciesReport::of(one, &season, notation))
                .collect(),
            scores: scores::scores(&season),
            applied: season
                .applied
                .iter()
                .map(|one| ApplicationReport::of(one, &season, notation))
                .collect(),
            nothing_applied: season.applied.is_empty().then_some(NOTHING_APPLIED),
            beside: beside(&season, notation),
            told: season
                .told
                .iter()
                .map(|one| (notation.day(one.on), told::told(&one.what, notation)))
                .collect(),
            nothing_told: season
                .told
                .is_empty()
                .then_some("Nothing is on record as told."),
            how_to_read: HOW_TO_READ,
            cautions: CAUTIONS,
            title,
            look_back: season,
        }
    }
}

/// The season of a site on a day: that of its first species.
pub fn season_on(config: &Config, site: &Site, day: NaiveDate) -> Option<Season> {
    let species = config.species.get(site.species.first()?)?;
    Some(species.season_on(day, site.latitude))
}

fn data_through(season: &LookBack, notation: &Notation) -> String {
    let through = season.species.iter().filter_map(|one| one.data_through);
    match through.max() {
        Some(day) => format!(" through {}", notation.day_and_year(day)),
        None => ": none of this season".to_owned(),
    }
}

fn running(season: &LookBack, notation: &Notation) -> Option<String> {
    if season.is_over {
        return None;
    }
    let outlook = if season.is_partly_outlook() {
        " Shares of the hatch still rest partly on the outlook and will change."
    } else {
        ""
    };
    Some(format!(
        "The season is not over: it runs to {}.{outlook}",
        notation.day_and_year(season.season.end)
    ))
}

/// The few sentences that somebody reads who reads nothing else.
fn in_short(season: &LookBack, notation: &Notation) -> Vec<String> {
    let mut short: Vec<String> = season
        .species
        .iter()
        .map(|species| species::hatch_in_short(species, season.is_over, notation))
        .collect();
    if season.applied.is_empty() {
        short.push(NOTHING_APPLIED.to_owned());
    }
    for applied in &season.applied {
        for (species, met) in &applied.met {
            short.push(capitalised(&applications::verdict(
                applied, species, met, notation,
            )));
        }
    }
    let with_counts = season
        .species
        .iter()
        .filter(|one| !one.counts.all.is_empty());
    for species in with_counts.clone() {
        short.extend(counts::counts_in_short(species, notation));
    }
    if with_counts.count() == 0 {
        short.push("No count of grubs is logged, so how many there were is not known.".to_owned());
    }
    short
}

fn beside(season: &LookBack, notation: &Notation) -> Vec<String> {
    let mut beside = Vec::new();
    let (mm, times) = season.irrigation;
    beside.push(match times {
        0 => "No irrigation is logged.".to_owned(),
        _ => format!("Irrigation logged: {mm:.0} mm, {}.", counted(times, "time")),
    });
    for (day, damage) in &season.damage {
        let what = if *damage { "Damage" } else { "No damage" };
        beside.push(format!(
            "{what} by grubs was noted on {}.",
            notation.day(*day)
        ));
    }
    beside
}

/// "2016 to 2024, 2026".
fn spans(years: &BTreeSet<i32>) -> String {
    let mut spans: Vec<(i32, i32)> = Vec::new();
    for year in years {
        match spans.last_mut() {
            Some((_, to)) if *to + 1 == *year => *to = *year,
            _ => spans.push((*year, *year)),
        }
    }
    let words: Vec<String> = spans
        .iter()
        .map(|(from, to)| match to - from {
            0 => from.to_string(),
            _ => format!("{from} to {to}"),
        })
        .collect();
    words.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn years_in_a_row_are_named_by_the_first_and_the_last() {
        let years = BTreeSet::from([2016, 2017, 2018, 2020, 2026]);
        assert_eq!(spans(&years), "2016 to 2018, 2020, 2026");
    }
}
