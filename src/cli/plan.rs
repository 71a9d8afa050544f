//! `hatchbell plan`.

use super::chart::Chart;
use super::{ConfigOption, DateOption, configuration, counted, or_exit, say};
use crate::cycle::{Site, hatchings};
use crate::domain::coverage::{Coverage, Hatching, Window};
use crate::domain::treatment::{Purpose, TreatmentOption};
use crate::store::Store;
use chrono::{Days, NaiveDate};
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
use std::collections::BTreeMap;
use std::process::ExitCode;

/// Show which treatment still works at a site, and by when it must be down
///
/// For each species of the site and each option, by active ingredient: the first, best and last
/// day on which an application, watered in the same day, is worth it, and the share of the hatching
/// larvae that one of today would meet while they are open to it. A planning model: it compares
/// days, it does not promise a result.
#[derive(Args)]
pub(super) struct Options {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// The site, by its id in the configuration
    site: String,
}

/// Days before today that the drawing goes back.
const DAYS_DRAWN_BACK: u64 = 30;

/// An option with what its days would meet.
struct Planned<'o> {
    option: &'o TreatmentOption,
    coverage: Coverage,
    window: Window,
}

pub(super) fn run(options: &Options) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    super::site(&config, &options.site)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let mut to_mind: BTreeMap<&str, &TreatmentOption> = BTreeMap::new();
    for (here, hatching) in hatchings(&config, &store, today, &options.site)? {
        say!(
            "{} ({}), {today}\n{}, season {}",
            here.site.name,
            here.member.name,
            here.species.name,
            here.standing.season
        );
        say!("{}\n", decide_first(&here));
        match hatching {
            Err(why) => say!("No dates can be given: {why}.\n"),
            Ok(hatching) => {
                let planned = ranked(config.options.values(), &hatching, today);
                say!("{}", table(&planned, today));
                super::print(format_args!("{}", chart(&planned, today)));
                let in_time = planned.iter().filter(|one| one.window.last >= today);
                to_mind.extend(in_time.map(|one| (one.option.id.as_str(), one.option)));
            }
        }
    }
    super::print(format_args!("{}", what_to_mind(to_mind.into_values())));
    say!(
        "* restricted or forbidden in many places. Shares compare days of one option; how many larvae"
    );
    say!("die depends on the product, the turf and the water. Most figures are common practice or");
    say!("estimates; they stand with their sources in config/options.");
    say!(
        "The label is the law; local rules and a licensed applicator decide. Never on turf in bloom;"
    );
    say!("keep off water; children and pets off until it is watered in and dry.");
    Ok(ExitCode::SUCCESS)
}

/// The options that meet anything: what still works first, the one that meets most before others.
fn ranked<'o>(
    options: impl Iterator<Item = &'o TreatmentOption>,
    hatching: &Hatching,
    today: NaiveDate,
) -> Vec<Planned<'o>> {
    let mut planned: Vec<Planned<'_>> = options
        .filter_map(|option| {
            let coverage = hatching.coverage(option);
            let window = coverage.window()?;
            Some(Planned {
                option,
                coverage,
                window,
            })
        })
        .collect();
    planned.sort_by(|a, b| {
        (a.window.last < today)
            .cmp(&(b.window.last < today))
            .then(b.still(today).total_cmp(&a.still(today)))
    });
    planned
}

impl Planned<'_> {
    /// What the best day from today on would meet.
    fn still(&self, today: NaiveDate) -> f64 {
        let day = self.window.best.max(today);
        self.coverage.on(day).map_or(0.0, |share| share.mean)
    }
}

/// Whether to treat at all comes before with what.
fn decide_first(here: &Site<'_>) -> String {
    let bears = &here.species.action_threshold;
    format!(
        "Decide first whether to treat: turf bears {:.0} to {:.0} of these larvae per m² before damage\nbegins ({}). Without counts or damage last year, nothing need be applied.",
        bears.low_per_m2,
        bears.high_per_m2,
        bears.solidity.in_words()
    )
}

fn table(planned: &[Planned<'_>], today: NaiveDate) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic);
    table.set_header(["", "first", "best", "last", "today meets", "now"]);
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
            share,
            now(one, today),
        ]);
    }
    table.trim_fmt()
}

/// What holds today.
fn now(one: &Planned<'_>, today: NaiveDate) -> String {
    let window = one.window;
    let curative = one.option.purpose == Purpose::Curative;
    if today > window.last {
        let arrives = today + Days::new(one.option.arrival_days.value.round() as u64);
        return format!(
            "too late: of today's, half is in the root zone about {}",
            short(arrives)
        );
    }
    match (curative, today < window.first) {
        (true, true) => "too early; and only after a count".to_owned(),
        (true, false) => "only after a count that calls for it".to_owned(),
        (false, true) => "too early".to_owned(),
        (false, false) => format!("{} days left", (window.last - today).num_days()),
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
    let mut text = String::new();
    for option in options {
        let watering = &option.watering_in;
        let within = match watering.within_days.value {
            same_day if same_day < 1.0 => "on the same day".to_owned(),
            days => format!("within {}", counted(days.round() as usize, "day")),
        };
        let soil = option.soil.as_ref().map_or(String::new(), |soil| {
            let lowest = soil.lowest_c.value;
            match &soil.highest_c {
                Some(highest) => format!(" Needs soil of {lowest} to {} °C.", highest.value),
                None => format!(" Needs soil of {lowest} °C or more."),
            }
        });
        let words = format!(
            "{}: water in with {:.0} mm {within}.{soil} {} {} {}",
            option.name,
            watering.depth_mm.value,
            option.reliability,
            option.cautions.join(" "),
            option.legal
        );
        text += &textwrap::fill(
            &words,
            textwrap::Options::new(COLUMNS).subsequent_indent("  "),
        );
        text += "\n";
    }
    text + "\n"
}

/// Columns that running text is wrapped to.
const COLUMNS: usize = 88;

fn short(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
}
