//! `hatchbell scout`: prints how to sample a site, and what was counted.

use super::log::watched;
use super::{ConfigOption, configuration, or_exit, say, say_wrapped, today};
use crate::domain::scouting::SampleArea;
use crate::report::scout::{Sampling, SamplingError, SamplingPlan, sample_area};
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
    /// The area of one sample: ft2, cm2 or m2; by default that of the site's flaps or plugs
    #[arg(long, value_name = "AREA", allow_hyphen_values = true)]
    area: Option<SampleArea>,
    /// The standard error that is good enough, as a share of the mean
    #[arg(long, value_name = "SHARE", default_value = "0.25", allow_hyphen_values = true, value_parser = share)]
    precision: f64,
}

pub(super) fn run(options: &ScoutOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let site = super::site(&config, &options.site)?;
    let only = options.species.as_deref();
    if let Some(species) = only {
        watched(site, species)?;
    }
    let store = Store::open_to_read(&config.service.database)?;
    let today = today(&config, &store)?;
    let sampling = Sampling {
        area: options.area.unwrap_or_else(|| site.samples.area()),
        precision: options.precision,
    };
    let plan = match SamplingPlan::of(&config, &store, site, only, sampling, today) {
        Ok(plan) => plan,
        Err(error @ SamplingError::TooManySamples(_)) => {
            bail!("{error}; give a larger --precision, for example 0.25, or a larger --area")
        }
        Err(error) => return Err(error.into()),
    };
    say!("{}, {}\n", plan.site, plan.day);
    for species in &plan.species {
        say!("{}", species.name);
        say_wrapped(&species.limits);
        say_wrapped(&species.samples);
        say!("{}", species.counts_title);
        for count in &species.counts {
            say!("  {count}");
        }
        say!("");
    }
    say_wrapped(&format!("How to dig: {}", plan.how_to_dig));
    say!("Then log it:");
    say!(
        "  hatchbell log count --site {} --species {} --each 0,3,1 --area {}",
        site.id,
        only.unwrap_or(&site.species[0]),
        options.area.map_or_else(
            || site.samples.area_in_text().to_owned(),
            |area| sample_area(area).replace(' ', "").replace('²', "2")
        )
    );
    Ok(ExitCode::SUCCESS)
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(share) if share > 0.0 && share <= 1.0 => Ok(share),
        _ => Err("give a share above 0 and up to 1, for example 0.25".to_owned()),
    }
}
