//! How many samples to dig at a site, how, and what was counted so far.

use super::counted;
use crate::config::Config;
use crate::cycle::{SiteState, site_states};
use crate::domain::journal::amount::Area;
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{
    CountReading, M2_IN_FT2, MOST_SAMPLES, SampleArea, fields, samples_for_precision, tolerance,
};
use crate::domain::treatment::need::{Brood, Broods};
use crate::notify::wording::{density, how_to_dig, limits, what_was_found_in_brief};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// How to sample a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SamplingPlan {
    /// The site's name.
    pub site: String,
    /// The day that is shown.
    pub day: NaiveDate,
    /// Each species.
    pub species: Vec<SpeciesSampling>,
    /// How to dig.
    pub how_to_dig: &'static str,
}

/// How to sample for a species, and what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpeciesSampling {
    /// The species' name.
    pub name: String,
    /// How many larvae the turf bears.
    pub limits: String,
    /// How many samples make a count sure enough.
    pub samples: String,
    /// What stands in [`counts`](Self::counts), or that nothing does.
    pub counts_title: &'static str,
    /// This and last season's counts with what they say, oldest first.
    pub counts: Vec<String>,
}

/// What is asked of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sampling {
    /// The area of one sample.
    pub area: SampleArea,
    /// The standard error that is good enough, as a share of the mean.
    pub precision: f64,
}

/// Why there is no plan.
#[derive(Debug, thiserror::Error)]
pub enum SamplingError {
    /// The precision would take too many samples.
    #[error(
        "a standard error of {} of the mean takes more than {MOST_SAMPLES} samples of {}",
        .0.precision,
        sample_area(.0.area)
    )]
    TooManySamples(Sampling),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl SamplingPlan {
    /// How to sample a site for its species, or for one of them.
    ///
    /// # Errors
    /// [`SamplingError`] if the precision takes too many samples, or the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        site: &Site,
        only: Option<&str>,
        sampling: Sampling,
        today: NaiveDate,
    ) -> Result<Self, SamplingError> {
        let entries = store.entries(&site.id)?;
        let states = site_states(config, store, today)?;
        let species = site
            .species
            .iter()
            .filter(|id| only.is_none_or(|only| only == *id))
            .filter_map(|id| config.species.get(id))
            .map(|species| {
                let here = states
                    .iter()
                    .find(|here| here.site.id == site.id && here.species.id == species.id);
                SpeciesSampling::of(site, species, here, &entries, sampling)
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            site: site.name.clone(),
            day: today,
            species,
            how_to_dig: how_to_dig(site.samples),
        })
    }
}

/// Where larger turf is dug as several fields.
fn on_each(turf: Option<Area>) -> String {
    match fields(turf) {
        1 => String::new(),
        fields => format!(" on each field, or on each of {fields} parts of about a hectare"),
    }
}

impl SpeciesSampling {
    fn of(
        site: &Site,
        species: &Species,
        here: Option<&SiteState<'_>>,
        entries: &[Entry],
        sampling: Sampling,
    ) -> Result<Self, SamplingError> {
        let Sampling { area, precision } = sampling;
        // Where the turf's condition is not known, the low end takes the most samples.
        let (planned_at, _) = tolerance(&species.action_threshold, site.condition);
        let samples = samples_for_precision(planned_at, area, precision)
            .ok_or(SamplingError::TooManySamples(sampling))?;
        let counts = here.map_or_else(Vec::new, |here| counts(here, entries));
        Ok(Self {
            name: species.name.clone(),
            limits: limits(species, site.condition),
            samples: format!(
                "Dig {} of {}{}: at {} the standard error is then {:.0} % of the mean or less.",
                counted(samples as usize, "sample"),
                sample_area(area),
                on_each(site.area),
                density(planned_at),
                precision * 100.0
            ),
            counts_title: if counts.is_empty() {
                "No count of this or last season's larvae is logged."
            } else {
                "Counted, against what the turf bears:"
            },
            counts,
        })
    }
}

/// The counts of this and last season's larvae with what they say.
fn counts(here: &SiteState<'_>, entries: &[Entry]) -> Vec<String> {
    let tolerance = tolerance(&here.species.action_threshold, here.site.condition);
    let broods = Broods::of(&here.species, here.site.latitude, &here.state);
    entries
        .iter()
        .filter_map(|entry| match &entry.action {
            JournalAction::Count { species, found } if *species == here.species.id => {
                let whose = whose_larvae(broods.on(entry.day))?;
                let reading = CountReading::of(found, tolerance);
                Some(format!(
                    "{}  number {}, {whose}: {}; {}",
                    entry.day,
                    entry.number,
                    reading.verdict.name(),
                    what_was_found_in_brief(&reading)
                ))
            }
            _ => None,
        })
        .collect()
}

/// `None` for larvae of seasons before the last, which are not shown.
fn whose_larvae(brood: Brood) -> Option<&'static str> {
    match brood {
        Brood::Earlier => None,
        Brood::Last => Some("last season's larvae"),
        Brood::TooSoon => Some("too soon to count"),
        Brood::This => Some("this season's larvae"),
    }
}

/// The area of a sample in ft² where that is a round figure, otherwise in cm² or m².
pub fn sample_area(area: SampleArea) -> String {
    /// Rounded to this share, figures are as they were typed.
    const DIGITS: f64 = 1e6;
    let short = |figure: f64| (figure * DIGITS).round() / DIGITS;
    let ft2 = area.m2() / M2_IN_FT2;
    let twentieths = ft2 * 20.0;
    if (twentieths - twentieths.round()).abs() < 1e-6 {
        format!("{} ft²", short(ft2))
    } else if area.m2() < 0.1 {
        format!("{} cm²", short(area.m2() * 1e4))
    } else {
        format!("{} m²", short(area.m2()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_area_of_a_sample_is_shown_as_it_was_stated() {
        for (stated, shown) in [
            ("0.25ft2", "0.25 ft²"),
            ("1 ft2", "1 ft²"),
            ("93cm2", "93 cm²"),
            ("0.1m2", "0.1 m²"),
        ] {
            assert_eq!(sample_area(stated.parse().unwrap()), shown);
        }
    }

    #[test]
    fn larvae_of_seasons_before_the_last_are_not_shown() {
        assert_eq!(whose_larvae(Brood::Earlier), None);
        assert_eq!(whose_larvae(Brood::Last), Some("last season's larvae"));
        assert_eq!(whose_larvae(Brood::This), Some("this season's larvae"));
    }

    #[test]
    fn a_precision_out_of_reach_is_named_with_the_area() {
        let error = SamplingError::TooManySamples(Sampling {
            area: "0.25ft2".parse().unwrap(),
            precision: 0.001,
        });
        let words = error.to_string();
        assert!(words.starts_with("a standard error of 0.001 of the mean takes more than "));
        assert!(words.ends_with(" samples of 0.25 ft²"), "{words}");
    }
}
