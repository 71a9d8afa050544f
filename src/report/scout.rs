//! How many samples to dig at a site, how, and what was counted so far.

use super::counted;
use crate::config::Config;
use crate::cycle::{SiteState, states_of_site};
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::name_of;
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{
    CountReading, M2_IN_FT2, MOST_SAMPLES, SampleArea, SampleKind, fields, samples_for_precision,
    tolerance,
};
use crate::domain::treatment::need::{Brood, Broods};
use crate::notify::wording::{how_to_dig, limits, on_each_field, what_was_found_in_brief};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;

/// How to sample a site. What is not for scripts is left out of JSON.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SamplingPlan {
    /// The site's id.
    pub site: String,
    /// The site's name.
    #[serde(skip)]
    pub site_name: String,
    /// The day that is shown.
    pub day: NaiveDate,
    /// What is dug: `flaps` or `plugs`.
    pub kind: &'static str,
    /// The area of one sample, m².
    pub sample_m2: f64,
    /// The standard error that is good enough, as a share of the mean.
    pub precision: f64,
    /// As how many fields the turf is dug, each with its own samples.
    pub fields: u32,
    /// Each species.
    pub species: Vec<SpeciesSampling>,
    /// How to dig.
    #[serde(skip)]
    pub how_to_dig: String,
}

/// How to sample for a species, and what was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeciesSampling {
    /// The species' id.
    pub species: String,
    /// The species' name.
    #[serde(skip)]
    pub name: String,
    /// Larvae per m² that the turf tolerates, low and high end.
    pub tolerance_per_m2: (f64, f64),
    /// The same in words.
    #[serde(skip)]
    pub limits: String,
    /// How many samples of a field make a count sure enough.
    pub samples: u32,
    /// The same in words.
    #[serde(skip)]
    pub samples_in_words: String,
    /// This and last season's counts with what they say, oldest first.
    pub counts: Vec<LoggedCount>,
}

/// A count of the journal with what it says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoggedCount {
    /// Its number in the journal.
    pub number: i64,
    /// The day of digging.
    pub day: NaiveDate,
    /// Whose larvae were counted: `last` or `this` season's, or `too-soon` to tell.
    pub brood: &'static str,
    /// Mean, larvae per m².
    pub mean_per_m2: f64,
    /// Low end of its range; `None` if only a density was noted.
    pub low_per_m2: Option<f64>,
    /// High end of its range.
    pub high_per_m2: Option<f64>,
    /// On which side it lies of what the turf tolerates: `below`, `near` or `above`.
    pub verdict: &'static str,
    /// All of it in words.
    #[serde(skip)]
    pub in_words: String,
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
        let states = states_of_site(config, store, today, &site.id)?;
        let species = site
            .species
            .iter()
            .filter(|id| only.is_none_or(|only| only == *id))
            .filter_map(|id| config.species.get(id))
            .map(|species| {
                let here = states.iter().find(|here| here.species.id == species.id);
                let notation = &config.service.notation;
                SpeciesSampling::of((site, species), here, &entries, sampling, notation)
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            site: site.id.clone(),
            site_name: site.name.clone(),
            day: today,
            kind: name_of(&SampleKind::NAMED, site.samples),
            sample_m2: sampling.area.m2(),
            precision: sampling.precision,
            fields: fields(site.area),
            species,
            how_to_dig: how_to_dig(site.samples, &config.service.notation),
        })
    }
}

impl SpeciesSampling {
    fn of(
        (site, species): (&Site, &Species),
        here: Option<&SiteState<'_>>,
        entries: &[Entry],
        sampling: Sampling,
        notation: &Notation,
    ) -> Result<Self, SamplingError> {
        let Sampling { area, precision } = sampling;
        // Where the turf's condition is not known, the low end takes the most samples.
        let tolerance_per_m2 = tolerance(&species.action_threshold, site.condition);
        let (planned_at, _) = tolerance_per_m2;
        let samples = samples_for_precision(planned_at, area, precision)
            .ok_or(SamplingError::TooManySamples(sampling))?;
        Ok(Self {
            species: species.id.clone(),
            name: species.name.clone(),
            tolerance_per_m2,
            limits: limits(species, site.condition, notation),
            samples,
            samples_in_words: format!(
                "Dig {} of {}{}: at {} the standard error is then {:.0} % of the mean or less.",
                counted(samples as usize, "sample"),
                sample_area(area),
                on_each_field(fields(site.area), notation),
                notation.density(planned_at),
                precision * 100.0
            ),
            counts: here.map_or_else(Vec::new, |here| {
                counts(here, entries, tolerance_per_m2, notation)
            }),
        })
    }

    /// What stands in [`counts`](Self::counts), or that nothing does.
    pub fn counts_title(&self) -> &'static str {
        if self.counts.is_empty() {
            "No count of this or last season's larvae is logged."
        } else {
            "Counted, against what the turf tolerates:"
        }
    }
}

/// The counts of this and last season's larvae with what they say.
fn counts(
    here: &SiteState<'_>,
    entries: &[Entry],
    tolerance: (f64, f64),
    notation: &Notation,
) -> Vec<LoggedCount> {
    let broods = Broods::of(&here.species, here.site.latitude, &here.state);
    entries
        .iter()
        .filter_map(|entry| match &entry.action {
            JournalAction::Count { species, found } if *species == here.species.id => {
                let reading = CountReading::of(found, tolerance);
                LoggedCount::of(entry, broods.on(entry.day), &reading, notation)
            }
            _ => None,
        })
        .collect()
}

impl LoggedCount {
    /// `None` for larvae of seasons before the last, which are not shown.
    fn of(
        entry: &Entry,
        brood: Brood,
        reading: &CountReading,
        notation: &Notation,
    ) -> Option<Self> {
        let (brood, whose) = match brood {
            Brood::Earlier => return None,
            Brood::Last => ("last", "last season's larvae"),
            Brood::TooSoon => ("too-soon", "too soon to count"),
            Brood::This => ("this", "this season's larvae"),
        };
        let range = reading.density;
        let verdict = reading.verdict.name();
        Some(Self {
            number: entry.number,
            day: entry.day,
            brood,
            mean_per_m2: reading.mean_per_m2,
            low_per_m2: range.map(|range| range.low_per_m2),
            high_per_m2: range.map(|range| range.high_per_m2),
            verdict,
            in_words: format!(
                "{}  number {}, {whose}: {verdict}; {}",
                entry.day,
                entry.number,
                what_was_found_in_brief(reading, notation)
            ),
        })
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
