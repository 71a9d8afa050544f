//! `hatchbell scout`.

use super::log::{sample_area, watched};
use super::{ConfigOption, configuration, counted, or_exit, say, say_wrapped, today};
use crate::config::Config;
use crate::cycle::{SiteState, site_states};
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::tolerance;
use crate::domain::scouting::{CountReading, MOST_SAMPLES, SampleArea, samples_for_precision};
use crate::domain::treatment::need::{Brood, Broods};
use crate::notify::wording::{HOW_TO_DIG, density, limits, what_was_found_in_brief};
use crate::store::Store;
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// Show how many samples to dig at a site, how, and what was counted so far
///
/// For each species of the site: how many larvae the turf bears, how many samples make a count sure
/// enough there, and this season's counts with what they say.
#[derive(Args)]
pub(super) struct ScoutOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The site, by its id in the configuration
    site: String,
    /// Only one species, by its id
    #[arg(long, value_name = "ID")]
    species: Option<String>,
    /// The area of one sample: ft2, cm2 or m2
    #[arg(
        long,
        value_name = "AREA",
        default_value = "0.25ft2",
        allow_hyphen_values = true
    )]
    area: SampleArea,
    /// The standard error that is good enough, as a share of the mean
    #[arg(long, value_name = "SHARE", default_value = "0.25", allow_hyphen_values = true, value_parser = share)]
    precision: f64,
}

pub(super) fn run(options: &ScoutOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let site = super::site(&config, &options.site)?;
    if let Some(species) = &options.species {
        watched(site, species)?;
    }
    let store = Store::open_to_read(&config.service.database)?;
    let today = today(&config, &store)?;
    let entries = store.entries(&site.id)?;
    let site_states = site_states(&config, &store, today)?;
    let plans = species_of(&config, site, options.species.as_deref())
        .map(|species| Ok((species, samples(options, site, species)?)))
        .collect::<anyhow::Result<Vec<_>>>()?;
    say!("{}, {today}\n", site.name);
    for (species, samples) in plans {
        say!("{}", species.name);
        say_wrapped(&limits(species, site.condition));
        say_wrapped(&format!(
            "Dig {} of {}: at {} the standard error is then {:.0} % of the mean or less.",
            counted(samples as usize, "sample"),
            sample_area(options.area),
            density(planned_at(site, species)),
            options.precision * 100.0
        ));
        let here = site_states
            .iter()
            .find(|here| here.site.id == site.id && here.species.id == species.id);
        for line in here.map_or_else(Vec::new, |here| counts(here, &entries)) {
            say!("{line}");
        }
        say!("");
    }
    say_wrapped(&format!("How to dig: {HOW_TO_DIG}"));
    say!("Then log it:");
    say!(
        "  hatchbell log count --site {} --species {} --each 0,3,1 --area {}",
        site.id,
        options.species.as_ref().unwrap_or(&site.species[0]),
        sample_area(options.area).replace(' ', "").replace('²', "2")
    );
    Ok(ExitCode::SUCCESS)
}

fn species_of<'c>(
    config: &'c Config,
    site: &'c Site,
    only: Option<&'c str>,
) -> impl Iterator<Item = &'c Species> {
    site.species
        .iter()
        .filter(move |id| only.is_none_or(|only| only == *id))
        .filter_map(|id| config.species.get(id))
}

/// The density at which a count has to be sure: what the turf bears, at the low end where its
/// condition is not known, which takes the most samples.
fn planned_at(site: &Site, species: &Species) -> f64 {
    tolerance(&species.action_threshold, site.condition).0
}

fn samples(options: &ScoutOptions, site: &Site, species: &Species) -> anyhow::Result<u32> {
    match samples_for_precision(planned_at(site, species), options.area, options.precision) {
        Some(samples) => Ok(samples),
        None => bail!(
            "a standard error of {} of the mean takes more than {MOST_SAMPLES} samples of {}; give a larger --precision, for example 0.25, or a larger --area",
            options.precision,
            sample_area(options.area)
        ),
    }
}

/// The counts of this and last season's larvae with what they say.
fn counts(here: &SiteState<'_>, entries: &[Entry]) -> Vec<String> {
    let tolerance = tolerance(&here.species.action_threshold, here.site.condition);
    let broods = Broods::of(&here.species, here.site.latitude, &here.state);
    let mut lines: Vec<String> = entries
        .iter()
        .filter_map(|entry| match &entry.action {
            JournalAction::Count { species: of, found } if *of == here.species.id => {
                let whose = match broods.on(entry.day) {
                    Brood::Earlier => return None,
                    Brood::Last => "last season's larvae",
                    Brood::TooSoon => "too soon to count",
                    Brood::This => "this season's larvae",
                };
                let reading = CountReading::of(found, tolerance);
                Some(format!(
                    "  {}  number {}, {whose}: {}; {}",
                    entry.day,
                    entry.number,
                    reading.verdict.name(),
                    what_was_found_in_brief(&reading)
                ))
            }
            _ => None,
        })
        .collect();
    if lines.is_empty() {
        lines.push("No count of this or last season's larvae is logged.".to_owned());
    } else {
        lines.insert(0, "Counted, against what the turf bears:".to_owned());
    }
    lines
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(share) if share > 0.0 && share <= 1.0 => Ok(share),
        _ => Err("give a share above 0 and up to 1, for example 0.25".to_owned()),
    }
}
