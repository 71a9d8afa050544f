//! `hatchbell scout`: prints how to sample a site, and what was counted, or the same as JSON.

use super::width::{columns, hanging, wrapped};
use super::{ShownConfig, or_exit, say, today};
use crate::domain::scouting::SampleArea;
use crate::entries::watched;
use crate::report::scout::{Sampling, SamplingError, SamplingPlan, sample_area};
use crate::store::Store;
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;
use textwrap::core::display_width;

/// Show how many samples to dig at a site, how, and what was counted so far
///
/// For each species of the site: how many larvae the turf tolerates, how many samples make a count sure
/// enough there, and this season's counts with what they say.
#[derive(Args)]
pub(super) struct ScoutOptions {
    #[command(flatten)]
    config: ShownConfig,
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
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &ScoutOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.config.load()).config;
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
    if options.json {
        say!("{}", serde_json::to_string_pretty(&plan)?);
        return Ok(ExitCode::SUCCESS);
    }
    super::print(format_args!("{}", text(&plan)));
    let area = options.area.map_or_else(
        || site.samples.area_in_text().to_owned(),
        |area| sample_area(area).replace(' ', "").replace('²', "2"),
    );
    let species = only.unwrap_or(&site.species[0]);
    let parts = [
        "hatchbell log count".to_owned(),
        format!("--site {}", site.id),
        format!("--species {species}"),
        "--each 0,3,1".to_owned(),
        format!("--area {area}"),
    ];
    super::print(format_args!("{}", command(&parts, columns())));
    Ok(ExitCode::SUCCESS)
}

fn text(plan: &SamplingPlan) -> String {
    let mut text = wrapped(&format!("{}, {}", plan.site_name, plan.day)) + "\n";
    for species in &plan.species {
        text += &wrapped(&species.name);
        text += &wrapped(&species.limits);
        text += &wrapped(&species.samples_in_words);
        text += &wrapped(species.counts_title());
        for count in &species.counts {
            text += &hanging("  ", &count.in_words);
        }
        text += "\n";
    }
    text += &wrapped(&format!("How to dig: {}", plan.how_to_dig));
    text + "Then log it:\n"
}

/// A command to be copied, continued on lines as a shell takes them where it does not fit on one.
fn command(parts: &[String], columns: usize) -> String {
    const CONTINUED: &str = " \\";
    let mut text = String::new();
    let mut line = String::from(" ");
    for (place, part) in parts.iter().enumerate() {
        let is_last = place + 1 == parts.len();
        let end = if is_last { 0 } else { CONTINUED.len() };
        if place > 0 && display_width(&line) + 1 + display_width(part) + end > columns {
            text += &format!("{line}{CONTINUED}\n");
            line = String::from("   ");
        }
        line += &format!(" {part}");
    }
    text + &line + "\n"
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(share) if share > 0.0 && share <= 1.0 => Ok(share),
        _ => Err("give a share above 0 and up to 1, for example 0.25".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::command;

    #[test]
    fn a_command_that_does_not_fit_is_continued_as_a_shell_takes_it() {
        let parts = ["log count", "--site lawn", "--each 0,3"].map(str::to_owned);
        assert_eq!(command(&parts, 34), "  log count --site lawn --each 0,3\n");
        assert_eq!(
            command(&parts, 33),
            "  log count --site lawn \\\n    --each 0,3\n"
        );
        assert_eq!(
            command(&parts, 24),
            "  log count \\\n    --site lawn \\\n    --each 0,3\n"
        );
    }
}
