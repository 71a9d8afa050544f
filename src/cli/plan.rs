//! `hatchbell plan`.

use super::chart::Chart;
use super::{CAUTIONS, ConfigOption, DateOption, configuration, counted, or_exit, say};
use crate::config::Config;
use crate::cycle::{Case, Followed, SiteState, plans, waterings, wet_here};
use crate::domain::treatment::need::{Ground, Need, together};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::plan::{Planned, ranked};
use crate::notify::wording::{
    how_words, limits, need_words, spread_words, water_in_words, wet_words,
};
use crate::store::Store;
use chrono::{Days, NaiveDate};
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
use json::{PlanDocument, SpeciesPlan, Water};
use std::collections::BTreeMap;
use std::process::ExitCode;

mod json;

/// Show whether to treat at a site, which option still works, and by when it must be down
///
/// For each species of the site: whether anything should be applied, by what was counted and what
/// the site's people have decided, and for each option they would use, by active ingredient, the
/// first, best and last day on which an application, watered in the same day, is worth it, and the
/// share of the hatching larvae that one of today would meet while they are open to it. A planning
/// model: it compares days, it does not promise a result.
#[derive(Args)]
pub(super) struct PlanOptions {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
    /// Print JSON for scripts
    #[arg(long)]
    json: bool,
}

/// Days before today that the drawing goes back.
const DAYS_DRAWN_BACK: u64 = 30;

/// Columns that running text is wrapped to.
const COLUMNS: usize = 88;

/// A species of the site with its decision, and the options ranked or why there are none.
type Answer<'p> = (
    &'p SiteState<'p>,
    &'p Case,
    Result<Vec<Planned<'p>>, String>,
);

pub(super) fn run(options: &PlanOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let site = super::site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let weather = wet_here(&store, site, today)?.map(wet_words);
    let followed = waterings(&config, &store, site, today)?;
    let plans = plans(&config, &store, today, &site.id)?;
    let ranked: Vec<Answer<'_>> = plans
        .iter()
        .map(|(here, case, hatching)| {
            let planned = match hatching {
                Ok(hatching) => Ok(ranked(
                    config.options.values(),
                    &site.choice,
                    &case.need,
                    hatching,
                    today,
                )),
                Err(why) => Err(why.to_string()),
            };
            (here, case, planned)
        })
        .collect();
    if options.json {
        let plan = PlanDocument {
            site: &site.id,
            day: today,
            species: ranked
                .iter()
                .map(|(here, case, planned)| {
                    let planned = planned.as_deref().map_err(Clone::clone);
                    SpeciesPlan::of(here, case, planned, today)
                })
                .collect(),
            watering: followed.iter().map(Water::of).collect(),
            weather,
            cautions: CAUTIONS,
        };
        say!("{}", serde_json::to_string_pretty(&plan)?);
        return Ok(ExitCode::SUCCESS);
    }
    for (here, case, planned) in &ranked {
        super::print(format_args!("{}", text(here, case, planned, today)));
    }
    if let Some(first) = ranked.first() {
        super::print(format_args!("{}", so_far(&config, first, today)));
    }
    super::print(format_args!("{}", all_species(&ranked)));
    super::print(format_args!("{}", without_a_day(&config, &ranked)));
    super::print(format_args!("{}", left_out(&config, site)));
    super::print(format_args!("{}", water(&followed, weather)));
    let mut to_mind: BTreeMap<&str, &TreatmentOption> = BTreeMap::new();
    for one in ranked
        .iter()
        .filter_map(|(.., planned)| planned.as_ref().ok())
        .flatten()
    {
        if one.in_time(today) {
            to_mind.insert(&one.option.id, one.option);
        }
    }
    super::print(format_args!("{}", what_to_mind(to_mind.into_values())));
    say!(
        "* restricted or forbidden in many places. Shares are of the hatching larvae met while they are"
    );
    say!("open to it, by a planning model; how many die depends on the product, the turf and the");
    say!(
        "water. Most figures are common practice or estimates, with their sources in config/options."
    );
    for caution in CAUTIONS {
        say!("{caution}");
    }
    Ok(ExitCode::SUCCESS)
}

fn text(
    here: &SiteState<'_>,
    case: &Case,
    planned: &Result<Vec<Planned<'_>>, String>,
    today: NaiveDate,
) -> String {
    let mut text = format!(
        "{} ({}), {today}\n{}, season {}\n",
        here.site.name, here.member.name, here.species.name, here.state.season
    );
    text += &decision(here, case);
    match planned {
        Err(why) => text += &format!("No dates can be given: {why}.\n\n"),
        Ok(planned) if planned.is_empty() => {
            text += "Nothing that this site would use meets this species.\n\n";
        }
        Ok(planned) => {
            text += &format!(
                "\n{}\n{}",
                table(planned, &case.need, today),
                chart(planned, today)
            );
        }
    }
    text
}

/// Whether to treat at all comes before with what.
fn decision(here: &SiteState<'_>, case: &Case) -> String {
    let treat = match case.need {
        Need::Preventive(Ground::LastYear) => "A preventive is justified. ",
        Need::Curative { .. } => "A curative may be justified. ",
        _ => "",
    };
    let words = format!(
        "{treat}{} {}",
        need_words(&case.need),
        limits(&here.species, here.site.condition)
    );
    let after = match case.need.purpose() {
        Some(_) => "",
        None => "\nThe days below are for information:",
    };
    let held = match here.state.hold {
        Some(_) => {
            "\nMilestones are held back here, see hatchbell status: the dates below rest on\ntoo many missing days to go by."
        }
        None => "",
    };
    textwrap::fill(&words, COLUMNS) + held + after + "\n"
}

/// What was spread this season, and entries whose option is not there any more.
fn so_far(config: &Config, (here, case, _): &Answer<'_>, today: NaiveDate) -> String {
    let spread = case.spread(config, here, today);
    let unknown = case.unknown(config).map(|(number, option)| {
        format!(
            "Number {number} of the journal names the option \"{option}\", which is not there any more; it does not count."
        )
    });
    std::iter::once(spread_words(&spread, here.site.area))
        .chain(unknown)
        .filter(|words| !words.is_empty())
        .map(|words| textwrap::fill(&words, COLUMNS) + "\n\n")
        .collect()
}

/// What the counts of several species come to together, if that is more than the turf bears.
fn all_species(answers: &[Answer<'_>]) -> String {
    let counted: Vec<(f64, f64)> = answers
        .iter()
        .filter_map(|(_, case, _)| {
            let (_, found) = case.evidence.this_brood.as_ref()?;
            Some((found.mean_per_m2(), case.tolerance.1))
        })
        .collect();
    match together(&counted) {
        Some(share) if share > 1.0 => {
            let words = format!(
                "Together the species counted come to {:.0} % of what the turf bears, though none does alone: decide as if one were above.",
                share * 100.0
            );
            textwrap::fill(&words, COLUMNS) + "\n\n"
        }
        _ => String::new(),
    }
}

/// The options that the site would use and that have no day worth it.
fn without_a_day(config: &Config, answers: &[Answer<'_>]) -> String {
    let mut text = String::new();
    for (here, _, planned) in answers {
        let Ok(planned) = planned else { continue };
        let names: Vec<&str> = config
            .options
            .values()
            .filter(|option| here.site.choice.considers(option))
            .filter(|option| planned.iter().all(|one| one.option.id != option.id))
            .map(|option| option.name.as_str())
            .collect();
        if !names.is_empty() {
            let words = format!(
                "Without a day on which they would meet larvae of {} this season: {}.",
                here.species.name,
                names.join(", ")
            );
            text += &(textwrap::fill(&words, COLUMNS) + "\n\n");
        }
    }
    text
}

/// The options that the site would not use.
fn left_out(config: &Config, site: &crate::domain::place::site::Site) -> String {
    let names: Vec<&str> = config
        .options
        .values()
        .filter(|option| !site.choice.considers(option))
        .map(|option| option.name.as_str())
        .collect();
    if names.is_empty() {
        return String::new();
    }
    let words = format!("Not among what this site would use: {}.", names.join(", "));
    textwrap::fill(&words, COLUMNS) + "\n\n"
}

/// Watering in, and what the weather says.
fn water(followed: &[Followed<'_>], weather: Option<String>) -> String {
    let mut paragraphs: Vec<String> = followed
        .iter()
        .map(|one| water_in_words(one.option, &one.watering, None))
        .collect();
    paragraphs.extend(weather.map(|words| format!("Weather: {words}")));
    paragraphs
        .iter()
        .map(|words| textwrap::fill(words, COLUMNS) + "\n\n")
        .collect()
}

fn table(planned: &[Planned<'_>], need: &Need, today: NaiveDate) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    table.set_header([
        "",
        "first",
        "best",
        "last",
        "best meets",
        "today meets",
        "now",
    ]);
    for one in planned {
        let share = one
            .coverage
            .on(today)
            .map_or("nothing".to_owned(), |share| {
                format!(
                    "{:.0} % ({:.0}-{:.0})",
                    share.mean * 100.0,
                    share.low * 100.0,
                    share.high * 100.0
                )
            });
        let mark = if one.option.restricted { "*" } else { "" };
        table.add_row([
            format!("{}{mark}", one.option.name),
            short(one.window.first),
            short(one.window.best),
            short(one.window.last),
            format!("{:.0} %", one.met_on(one.window.best) * 100.0),
            share,
            now(one, need, today),
        ]);
    }
    table.trim_fmt()
}

/// What holds today.
fn now(one: &Planned<'_>, need: &Need, today: NaiveDate) -> String {
    let window = one.window;
    let is_counted = matches!(need, Need::Curative { .. });
    let curative = one.purpose == Purpose::Curative && !is_counted;
    if !one.in_time(today) {
        let arrives = one.arrives(today);
        return format!("too late: half would be down about {}", short(arrives));
    }
    match (curative, today < window.first) {
        (true, true) => "too early; and only after a count".to_owned(),
        (true, false) => "only after a count that calls for it".to_owned(),
        (false, true) => "too early".to_owned(),
        (false, false) => match (window.last - today).num_days() {
            0 => "today is the last day".to_owned(),
            days => format!("{} left", counted(days as usize, "day")),
        },
    }
}

fn chart(planned: &[Planned<'_>], today: NaiveDate) -> String {
    let mut chart = Chart::new(today);
    for one in planned.iter().filter(|one| one.window.last >= today) {
        let window = one.window;
        let from = window.first.max(today - Days::new(DAYS_DRAWN_BACK));
        let best = Some(window.best).filter(|best| *best >= from);
        chart.range(&one.option.name, from, best, window.last);
    }
    chart.draw()
}

/// Watering in, reliability, cautions and law of options.
fn what_to_mind<'o>(options: impl Iterator<Item = &'o TreatmentOption>) -> String {
    let how = textwrap::Options::new(COLUMNS).subsequent_indent("  ");
    let mut text = String::new();
    for option in options {
        text += &textwrap::fill(&format!("{}: {}", option.name, how_words(option)), &how);
        text += "\n";
    }
    text + "\n"
}

fn short(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
}
