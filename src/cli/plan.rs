//! `hatchbell plan`.

use super::chart::Chart;
use super::{ConfigOption, configuration, or_exit, say, today};
use crate::cycle::{Site, hatching, site_standings};
use crate::domain::coverage::{Coverage, Window};
use crate::domain::treatment::{Purpose, TreatmentOption};
use crate::store::Store;
use anyhow::bail;
use chrono::{Days, NaiveDate};
use clap::Args;
use comfy_table::{ContentArrangement, Table, presets};
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
    /// Show the plan as of this day, by the days stored now
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day)]
    date: Option<NaiveDate>,
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
    if !config.sites().any(|(_, site)| site.id == options.site) {
        let ids: Vec<&str> = config.sites().map(|(_, site)| site.id.as_str()).collect();
        bail!(
            "there is no site \"{}\"; there are {}",
            options.site,
            ids.join(", ")
        );
    }
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.map_or_else(|| today(&config, &store), Ok)?;
    for here in site_standings(&config, &store, today)? {
        if here.site.id != options.site {
            continue;
        }
        say!(
            "{} ({}), {today}\n{}, season {}",
            here.site.name,
            here.member.name,
            here.species.name,
            here.standing.season
        );
        say!("{}\n", decide_first(&here));
        match hatching(&config, &store, &here, today)? {
            Err(why) => say!("No dates can be given: {why}.\n"),
            Ok(hatching) => {
                let mut planned: Vec<Planned<'_>> = config
                    .options
                    .values()
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
                // What still works first, the one that meets most before the others.
                planned.sort_by(|a, b| {
                    (a.window.last < today)
                        .cmp(&(b.window.last < today))
                        .then(b.still(today).total_cmp(&a.still(today)))
                });
                say!("{}", table(&planned, today));
                say!("{}", chart(&planned, today));
            }
        }
    }
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

fn short(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
}
