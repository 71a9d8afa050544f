//! `hatchbell log application`: logs what was spread, with its season's total and its water.

use super::{EntryOptions, Journal, or_exit, say, say_wrapped, words};
use crate::config::Config;
use crate::config::problem::closest;
use crate::cycle::waterings;
use crate::domain::journal::amount::{Area, Rate, SeasonTotal};
use crate::domain::journal::{Application, Entry, JournalAction, SeasonUse, season_use};
use crate::domain::phenology::season::Season;
use crate::domain::place::site::Site;
use crate::domain::sourced_value::SourcedValue;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::watering::{Watering, WateringState};
use crate::report::season::season_on;
use anyhow::{anyhow, bail};
use chrono::NaiveDate;
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
}

/// An area this many times the site's is doubted; measuring is not that exact.
const MORE_THAN_WHOLE: f64 = 1.05;

pub(super) fn run(options: &ApplicationOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(options.entry.config.load()).config;
    let site = crate::cli::site(&config, &options.entry.site)?;
    let spread = Application {
        option: option(&config, &options.option)?.id.clone(),
        area: area(options.area, site)?,
        rate: options.rate,
        most_a_season: options.most_a_season,
    };
    let mut journal = Journal::open(&config, &options.entry.site)?;
    let entry = journal.enter(
        &options.entry,
        JournalAction::Application(spread),
        options.earlier_season,
    )?;
    say!(
        "logged as number {}: {}. {}.",
        entry.number,
        words::action(&entry.action, &journal.config.service.notation),
        journal.place(&entry)
    );
    if let (JournalAction::Application(spread), Some(whole)) = (&entry.action, journal.site.area)
        && spread.area.m2() > whole.m2() * MORE_THAN_WHOLE
    {
        say_wrapped(&format!(
            "WARNING: {} is more than the {whole} of the whole site; if that is a slip, log edit {} --area AREA mends it.",
            spread.area, entry.number
        ));
    }
    tell_season(&journal, &entry)?;
    tell_watering(&journal, &entry, option(&config, &options.option)?)?;
    tell_what_to_mind(&journal, option(&config, &options.option)?);
    Ok(ExitCode::SUCCESS)
}

/// An option by its id.
pub(super) fn option<'c>(config: &'c Config, id: &str) -> anyhow::Result<&'c TreatmentOption> {
    config.options.get(id).ok_or_else(|| {
        let ids = || config.options.keys().map(String::as_str);
        match closest(id, ids()) {
            Some(meant) => anyhow!("there is no option \"{id}\"; did you mean \"{meant}\"?"),
            None => {
                let ids: Vec<&str> = ids().collect();
                anyhow!("there is no option \"{id}\"; there are {}", ids.join(", "))
            }
        }
    })
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
    let JournalAction::Application(spread) = &entry.action else {
        return Ok(());
    };
    if let Some(season) = season_on(journal.config, journal.site, entry.day) {
        let entries = journal.store.entries(&entry.site)?;
        let used = season_use(&entries, &spread.option, &season);
        say_wrapped(&season_words(&used, &spread.option, &season, entry.number));
    }
    Ok(())
}

fn season_words(used: &SeasonUse, option: &str, season: &Season, number: i64) -> String {
    let times = match used.times {
        1 => "1 application".to_owned(),
        more => format!("{more} applications"),
    };
    let total = match (used.most, used.total) {
        (None, _) => format!(
            "The most a season may have is not known; add it from your label: hatchbell log edit {number} --most-a-season RATE."
        ),
        (Some(most), None) => {
            format!(
                "None of them has a rate to hold against the {most} a season that your label states."
            )
        }
        (Some(most), Some(SeasonTotal::Within(share))) => format!(
            "That is {:.0} % of the {most} a season that your label states.",
            share * 100.0
        ),
        (Some(most), Some(SeasonTotal::Over(share))) => format!(
            "\nWARNING: that is {} % of the {most} a season that your label states, more than it allows if all of it lay on the same turf. Check rates, areas and maximum in log list; if they are right, put down no more of it there this season and ask a licensed applicator.",
            // Never rounded down to 100.
            ((share * 1000.0).round() / 10.0).max(100.1)
        ),
        (Some(most), Some(SeasonTotal::NotComparable)) => format!(
            "They cannot be held against the {most} a season that your label states: one is weighed, another measured out or counted. State rate and maximum in units of one kind."
        ),
    };
    let without: Vec<String> = used.without_rate.iter().map(i64::to_string).collect();
    let left_out = match without.as_slice() {
        [] => String::new(),
        [one] => format!(
            " Number {one} has no rate and is not in any sum: hatchbell log edit {one} --rate RATE adds it."
        ),
        more => format!(
            " Numbers {} have no rate and are not in any sum: hatchbell log edit NUMBER --rate RATE adds it.",
            more.join(", ")
        ),
    };
    format!("Season {season}: {times} of {option} here. {total}{left_out}")
}

/// How and by when it has to be watered in, or that it was by the irrigation logged.
fn tell_watering(
    journal: &Journal<'_>,
    entry: &Entry,
    option: &TreatmentOption,
) -> anyhow::Result<()> {
    let how = &option.watering_in;
    let followed = waterings(journal.config, &journal.store, journal.site, journal.today)?;
    let stands = match followed.iter().find(|one| one.number == entry.number) {
        Some(followed) => followed.watering,
        // Too long ago to be followed.
        None => return Ok(()),
    };
    say_wrapped(&watering_words(&stands, &how.depth_mm, journal.today));
    if !matches!(stands.state, WateringState::Done(_)) {
        say!(
            "  hatchbell log irrigation --site {} --depth {:.0}mm",
            entry.site,
            how.depth_mm.value
        );
    }
    Ok(())
}

fn watering_words(stands: &Watering, depth: &SourcedValue, today: NaiveDate) -> String {
    let water = depth_words(depth);
    let due = stands.deadline;
    let by = if due == stands.spread {
        format!("on the same day, {due}")
    } else {
        format!("by {due}")
    };
    match stands.state {
        WateringState::Done(on) => format!(
            "It had to be watered in with {water} {by}; rain and logged irrigation through {on} are enough."
        ),
        _ if due < today => {
            format!(
                "It had to be watered in with {water} {by}. If it was, log that with its depth:"
            )
        }
        _ => format!(
            "Water it in with {water} {by}, or as the label says. Then log that with its depth:"
        ),
    }
}

/// The site's own choice, cautions and law.
fn tell_what_to_mind(journal: &Journal<'_>, option: &TreatmentOption) {
    if !journal.site.choice.considers(option) {
        say_wrapped(&format!(
            "By the configuration this site would not use {}; it is logged all the same.",
            option.name
        ));
    }
    say_wrapped(&format!("{} {}", option.cautions.join(" "), option.legal));
    say_wrapped(&crate::report::BRIEF_CAUTIONS.join(" "));
}

/// "13 mm (6 to 25; from published values)".
fn depth_words(depth: &SourcedValue) -> String {
    let range = depth.range.map_or(String::new(), |(low, high)| {
        format!("{low:.0} to {high:.0}; ")
    });
    format!("{:.0} mm ({range}{})", depth.value, depth.grade.in_words())
}
