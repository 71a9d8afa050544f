//! `hatchbell log count`: logs larvae counted, and says what the count means.

use super::{EntryOptions, enter, open, or_exit, say, say_wrapped};
use crate::domain::journal::{Entry, JournalAction};
use crate::domain::scouting::Found;
use crate::domain::scouting::{M2_IN_FT2, SampleArea};
use crate::entries::{Journal, Through, logged, watched};
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// Larvae dug up, or a density of them
///
/// Says how sure the count is and on which side it lies of what the turf tolerates. Samples must be
/// spread over the turf, not dug where damage shows; hatchbell scout says how many.
#[derive(Args)]
pub(super) struct CountOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// The species, by its id
    #[arg(long, value_name = "ID")]
    species: String,
    #[command(flatten)]
    values: CountValues,
    /// The area of one sample: ft2, cm2 or m2, for example 0.25ft2
    #[arg(long, value_name = "AREA", allow_hyphen_values = true)]
    area: Option<SampleArea>,
}

/// What was dug up, but for the area of a sample.
#[derive(Args)]
pub(super) struct CountValues {
    /// Larvae in all samples together, 0 if there were none
    #[arg(long, value_name = "N", allow_hyphen_values = true, value_parser = whole_number)]
    larvae: Option<u32>,
    /// How many samples were dug
    #[arg(long, value_name = "N", allow_hyphen_values = true, value_parser = whole_number)]
    samples: Option<u32>,
    /// Larvae in each sample, in place of --larvae and --samples
    #[arg(long, value_name = "N,N,…", allow_hyphen_values = true, value_delimiter = ',', value_parser = whole_number)]
    each: Option<Vec<u32>>,
    /// Larvae per m², where samples were not written down
    #[arg(long = "per-m2", value_name = "X", allow_hyphen_values = true, value_parser = number)]
    per_m2: Option<f64>,
    /// Larvae per ft², where samples were not written down
    #[arg(long = "per-ft2", value_name = "X", allow_hyphen_values = true, value_parser = number)]
    per_ft2: Option<f64>,
}

pub(super) fn run(options: &CountOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    watched(
        crate::cli::site(&config, &options.entry.site)?,
        &options.species,
    )?;
    let found = options.values.found(options.area)?;
    let mut journal = open(&config, &options.entry.site)?;
    let action = JournalAction::Count {
        species: options.species.clone(),
        found,
    };
    let entry = enter(&mut journal, &options.entry, action, true)?;
    say!("{}", logged(&journal, &entry));
    tell(&journal, &entry)?;
    Ok(ExitCode::SUCCESS)
}

/// What a count says of the turf.
pub(super) fn tell(journal: &Journal<'_>, entry: &Entry) -> anyhow::Result<()> {
    for paragraph in journal.count_said(entry, Through::CommandLine)? {
        say_wrapped(&paragraph);
    }
    Ok(())
}

impl CountValues {
    /// The names of what was given.
    pub(super) fn given(&self) -> impl Iterator<Item = &'static str> {
        [
            ("larvae", self.larvae.is_some()),
            ("samples", self.samples.is_some()),
            ("each", self.each.is_some()),
            ("per-m2", self.per_m2.is_some()),
            ("per-ft2", self.per_ft2.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, given)| given.then_some(name))
    }

    /// What was found.
    fn found(&self, area: Option<SampleArea>) -> anyhow::Result<Found> {
        match (self.per_m2, self.per_ft2) {
            (Some(_), Some(_)) => bail!("give --per-m2 or --per-ft2, not both"),
            (Some(density), None) => return self.found_density(density, area),
            (None, Some(density)) => return self.found_density(density / M2_IN_FT2, area),
            (None, None) => {}
        }
        let each = self.each.clone();
        let sum = |each: &Vec<u32>| {
            each.iter()
                .fold(0, |sum: u32, one| sum.saturating_add(*one))
        };
        let larvae = self.larvae.or(each.as_ref().map(sum));
        let samples = self.samples.or(each
            .as_ref()
            .map(|each| u32::try_from(each.len()).unwrap_or(u32::MAX)));
        match (larvae, samples, area) {
            (None, None, _) => bail!(
                "say what was found: --larvae 12 --samples 10 --area 0.25ft2, or --each 0,3,1 --area 0.25ft2, or without samples --per-m2 60 or --per-ft2 5.5"
            ),
            (_, None, _) => {
                bail!("say in how many samples the larvae were found, for example --samples 10")
            }
            (None, _, _) => {
                bail!("say how many larvae were found in all, for example --larvae 12; 0 if none")
            }
            (_, _, None) => {
                bail!("a count needs the area of one sample, for example --area 0.25ft2")
            }
            (Some(larvae), Some(samples), Some(area)) => {
                Ok(Found::of_samples(samples, area, larvae, each)?)
            }
        }
    }

    fn found_density(&self, per_m2: f64, area: Option<SampleArea>) -> anyhow::Result<Found> {
        let beside = self.larvae.is_some() || self.samples.is_some() || self.each.is_some();
        if beside || area.is_some() {
            bail!(
                "give a density (--per-m2 or --per-ft2) or the samples (--larvae, --samples, --each, --area), not both"
            );
        }
        Ok(Found::of_density(per_m2)?)
    }

    /// What was found, where whatever is not given stays as it was.
    pub(super) fn changed(&self, area: Option<SampleArea>, old: &Found) -> anyhow::Result<Found> {
        let density = self.per_m2.is_some() || self.per_ft2.is_some();
        let Found::Samples(old) = old else {
            return if self.given().next().is_none() && area.is_none() {
                Ok(old.clone())
            } else {
                self.found(area)
            };
        };
        if density || self.each.is_some() {
            return self.found(area.or((!density).then(|| old.area())));
        }
        let totals_change = self.larvae.is_some() || self.samples.is_some();
        if totals_change && old.each().is_some() {
            bail!("that count lists each sample; give the whole list anew with --each");
        }
        let each = old.each().map(<[u32]>::to_vec);
        Ok(Found::of_samples(
            self.samples.unwrap_or(old.samples()),
            area.unwrap_or(old.area()),
            self.larvae.unwrap_or(old.larvae()),
            each,
        )?)
    }
}

fn whole_number(text: &str) -> Result<u32, String> {
    text.trim()
        .parse()
        .map_err(|_| "give a whole number, 0 or more".to_owned())
}

fn number(text: &str) -> Result<f64, String> {
    text.trim()
        .parse()
        .map_err(|_| "give a number with a point, for example 5.5".to_owned())
}
