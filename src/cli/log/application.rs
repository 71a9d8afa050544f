//! `hatchbell log application`: logs what was spread, with its season's total and its water.

use super::record::RecordOptions;
use super::{EntryOptions, enter, open, or_exit, say, say_wrapped};
use crate::domain::journal::amount::{Area, Rate};
use crate::domain::journal::{Application, Entry, JournalAction, SprayRecord};
use crate::domain::place::site::Site;
use crate::domain::treatment::option::TreatmentOption;
use crate::entries::{
    Journal, Through, doubted_area, known_option, logged, season_said, what_to_mind,
};
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// Something that was spread, as its label states it
///
/// Keeps the rate and the most a season may have by your label, and adds up what the season has
/// had. Says how it has to be watered in, and by when. hatchbell knows no doses: the label does.
#[derive(Args)]
pub(super) struct ApplicationOptions {
    #[command(flatten)]
    entry: EntryOptions,
    /// What was spread, by the id of the option
    #[arg(long, value_name = "ID")]
    option: String,
    /// The turf it went on: m2, ha, ft2 or acres, for example 450m2; the whole site if left out
    #[arg(long, value_name = "AREA", allow_hyphen_values = true)]
    area: Option<Area>,
    /// The rate, as on the label: an amount, a stroke and an area
    #[arg(long, value_name = "RATE", allow_hyphen_values = true)]
    rate: Option<Rate>,
    /// The most a season may have by the label, as a rate; it goes on to hold for later entries
    #[arg(long, value_name = "RATE", allow_hyphen_values = true)]
    most_a_season: Option<Rate>,
    /// Allow a day before this season
    #[arg(long)]
    earlier_season: bool,
    #[command(flatten, next_help_heading = "For the record, as your law asks for it")]
    record: RecordOptions,
}

pub(super) fn run(options: &ApplicationOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    let site = crate::cli::site(&config, &options.entry.site)?;
    let option = known_option(&config, &options.option)?;
    let spread = Application {
        option: option.id.clone(),
        area: area(options.area, site)?,
        rate: options.rate,
        most_a_season: options.most_a_season,
        record: Box::new(options.record.changed(&SprayRecord::default())),
    };
    let mut journal = open(&config, &options.entry.site)?;
    let entry = enter(
        &mut journal,
        &options.entry,
        JournalAction::Application(spread),
        options.earlier_season,
    )?;
    say!("{}", logged(&journal, &entry));
    if let Some(doubted) = doubted_area(journal.site, &entry, Through::CommandLine) {
        say_wrapped(&doubted);
    }
    tell_season(&journal, &entry)?;
    tell_watering(&journal, &entry, option)?;
    for paragraph in what_to_mind(journal.site, option) {
        say_wrapped(&paragraph);
    }
    Ok(ExitCode::SUCCESS)
}

/// The area given, or that of the site.
fn area(given: Option<Area>, site: &Site) -> anyhow::Result<Area> {
    match given.or(site.area) {
        Some(area) => Ok(area),
        None => bail!(
            "how much turf did it go on? Say --area, for example --area 450m2, or give the site \"{}\" its area in the configuration (area = \"450 m2\")",
            site.id
        ),
    }
}

/// What the season has had, against the most the label allows.
pub(super) fn tell_season(journal: &Journal<'_>, entry: &Entry) -> anyhow::Result<()> {
    if let Some(said) = season_said(journal, entry, Through::CommandLine)? {
        say_wrapped(&said);
    }
    Ok(())
}

/// How and by when it has to be watered in, or that it was by the irrigation logged.
fn tell_watering(
    journal: &Journal<'_>,
    entry: &Entry,
    option: &TreatmentOption,
) -> anyhow::Result<()> {
    let Some(said) = journal.watering_said(entry, option)? else {
        return Ok(());
    };
    say_wrapped(&said.words);
    if let Some(depth) = said.to_log_mm {
        say!(
            "  hatchbell log irrigation --site {} --depth {depth:.0}mm",
            entry.site
        );
    }
    Ok(())
}
