//! `hatchbell status`.

use super::{ConfigOption, DateOption, configuration, counted, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{SiteState, newest_day_of, site_states};
use crate::domain::phenology::season_state::{Crossing, Expectation, Hold, PassedBy, SeasonState};
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::weather::blend::{NEWEST_DAYS, PartIn};
use crate::store::Store;
use crate::store::feeds::FeedState;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use clap::Args;
use comfy_table::{Attribute, Cell, Color, ContentArrangement, Table, presets};
use serde::Serialize;
use std::process::ExitCode;

/// Show where every site stands
///
/// One row for each site and species: the newest measured day, degree-days so far, the last
/// milestone passed and the next one with its likely date and range; `hatchbell outlook` shows
/// more. A station that has gone quiet shows as "stale since".
#[derive(Args)]
pub(super) struct StatusOptions {
    #[command(flatten)]
    config: ConfigOption,
    #[command(flatten)]
    date: DateOption,
    /// Print JSON for scripts instead of a table
    #[arg(long)]
    json: bool,
}

/// Findings that say what the last attempt ran into.
const FAILURES: [&str; 2] = ["refused", "unreachable"];

/// Everything status shows; also the shape of `--json`.
#[derive(Serialize)]
struct Overview {
    service: String,
    date: NaiveDate,
    last_cycle: Option<DateTime<Utc>>,
    sites: Vec<SiteRow>,
    stations: Vec<StationRow>,
    outbox: OutboxRow,
}

#[derive(Serialize)]
struct SiteRow {
    member: String,
    site: String,
    site_name: String,
    turf: String,
    species: String,
    species_name: String,
    season: String,
    data_through: Option<NaiveDate>,
    /// What each of several stations gave to the newest ten days
    newest_days_from: Vec<PartRow>,
    stale_since: Option<NaiveDate>,
    /// °C·d
    degree_days: f64,
    estimated_days: u32,
    estimated_by: EstimatedRow,
    held: Option<String>,
    last_milestone: Option<MilestoneRow>,
    next_milestone: Option<NextRow>,
}

#[derive(Serialize)]
struct PartRow {
    station: String,
    days: usize,
}

/// The estimated days by how they were estimated.
#[derive(Serialize)]
struct EstimatedRow {
    neighbours: u32,
    /// In how many of these each neighbour has a part
    neighbour_days: Vec<PartRow>,
    straight_line: u32,
    other_years: u32,
}

#[derive(Serialize)]
struct MilestoneRow {
    milestone: &'static str,
    title: &'static str,
    on: NaiveDate,
    by_date_cap: bool,
}

#[derive(Serialize)]
struct NextRow {
    milestone: &'static str,
    title: &'static str,
    /// °C·d
    threshold: f64,
    threshold_low: Option<f64>,
    threshold_high: Option<f64>,
    threshold_is: &'static str,
    /// 10, 50 and 90 % dates
    early: Option<NaiveDate>,
    likely: Option<NaiveDate>,
    late: Option<NaiveDate>,
}

#[derive(Serialize)]
struct StationRow {
    station: String,
    name: String,
    newest_day: Option<NaiveDate>,
    stale: bool,
    failing_since: Option<DateTime<Utc>>,
    problem: Option<String>,
    findings: Vec<FindingRow>,
    revisions: u32,
}

/// Something that is wrong with a feed.
#[derive(Serialize)]
struct FindingRow {
    trouble: &'static str,
    since: DateTime<Utc>,
    what: String,
}

#[derive(Serialize)]
struct OutboxRow {
    waiting: u32,
    failing: u32,
    sent: u32,
    given_up: u32,
    problems: Vec<String>,
}

pub(super) fn run(options: &StatusOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(&config, &store)?;
    let overview = overview(&config, &store, today)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&overview)?);
    } else {
        super::print(format_args!("{}", text(&overview)));
    }
    Ok(ExitCode::SUCCESS)
}

fn overview(config: &Config, store: &Store, today: NaiveDate) -> anyhow::Result<Overview> {
    let mut stations = Vec::new();
    for feed in &config.stations {
        let station = &feed.station;
        let newest_day = store.newest_day(&station.id)?;
        let FeedState {
            failing_since,
            problem,
            ..
        } = store.feed(&station.id)?;
        stations.push(StationRow {
            station: station.id.clone(),
            name: station.name.clone(),
            newest_day,
            stale: is_stale(station, newest_day, today),
            failing_since,
            problem,
            findings: findings(store, &station.id, today)?,
            revisions: store.revisions(&station.id)?,
        });
    }
    let sites = site_states(config, store, today)?
        .iter()
        .map(|site| Ok(site_row(site, stale_since(site, config, store, today)?)))
        .collect::<anyhow::Result<_>>()?;
    let tally = store.tally()?;
    Ok(Overview {
        service: config.service.name.clone(),
        date: today,
        last_cycle: store.last_cycle()?,
        sites,
        stations,
        outbox: OutboxRow {
            waiting: tally.waiting,
            failing: tally.failing,
            sent: tally.sent,
            given_up: tally.given_up,
            problems: store.delivery_problems(Clock::Machine.now())?,
        },
    })
}

fn findings(store: &Store, station: &str, today: NaiveDate) -> anyhow::Result<Vec<FindingRow>> {
    let now = today.and_time(NaiveTime::MIN).and_utc();
    let found = store.findings_to_show(station, now)?;
    Ok(found
        .into_iter()
        .map(|finding| FindingRow {
            trouble: finding.trouble.name(),
            since: finding.since,
            what: finding.what,
        })
        .collect())
}

/// The newest day, if it is too old.
fn stale_since(
    here: &SiteState<'_>,
    config: &Config,
    store: &Store,
    today: NaiveDate,
) -> anyhow::Result<Option<NaiveDate>> {
    let newest = newest_day_of(store, here.site)?;
    let station = config.quickest_station(here.site);
    Ok(newest.filter(|_| station.is_some_and(|station| is_stale(station, newest, today))))
}

fn site_row(here: &SiteState<'_>, stale_since: Option<NaiveDate>) -> SiteRow {
    let state = &here.state;
    SiteRow {
        member: here.member.name.clone(),
        site: here.site.id.clone(),
        site_name: here.site.name.clone(),
        turf: here.site.turf.clone(),
        species: here.species.id.clone(),
        species_name: here.species.name.clone(),
        season: state.season.to_string(),
        data_through: state.data_through,
        newest_days_from: part_rows(here, PartIn::Newest),
        stale_since,
        degree_days: (state.degree_days * 1e4).round() / 1e4,
        estimated_days: state.estimated_days,
        estimated_by: EstimatedRow {
            neighbours: here.estimated.by_neighbours,
            neighbour_days: part_rows(here, PartIn::Missing),
            straight_line: here.estimated.by_line,
            other_years: here.estimated.by_other_years,
        },
        held: state.hold.map(held),
        last_milestone: state.crossings.last().map(last_row),
        next_milestone: state.next().map(|next| next_row(here, next, state)),
    }
}

fn part_rows(here: &SiteState<'_>, of: PartIn) -> Vec<PartRow> {
    let parts = here.parts.iter().filter(|part| part.of == of);
    parts
        .map(|part| PartRow {
            station: part.station.clone(),
            days: part.days,
        })
        .collect()
}

fn held(hold: Hold) -> String {
    match hold {
        Hold::NoData => "no measured day this season yet".to_owned(),
        Hold::Gap(gap) => format!(
            "{} missing from {} to {}: too long to bridge, import them",
            counted(gap.days().unsigned_abs() as usize, "day"),
            gap.from,
            gap.to
        ),
        Hold::TooManyEstimated { estimated, limit } => format!(
            "{estimated} estimated days, more than the {limit} allowed: import the missing ones"
        ),
    }
}

fn last_row(crossing: &Crossing) -> MilestoneRow {
    MilestoneRow {
        milestone: crossing.milestone.name(),
        title: crossing.milestone.short_title(),
        on: crossing.on,
        by_date_cap: crossing.by != PassedBy::Sum,
    }
}

fn next_row(here: &SiteState<'_>, next: Expectation, state: &SeasonState) -> NextRow {
    let threshold = here.species.threshold(next.milestone);
    let outlook = next
        .outlook
        .ok()
        .filter(|_| state.hold.is_none())
        .map(|(outlook, _)| outlook);
    NextRow {
        milestone: next.milestone.name(),
        title: next.milestone.short_title(),
        threshold: threshold.value,
        threshold_low: threshold.range.map(|(low, _)| low),
        threshold_high: threshold.range.map(|(_, high)| high),
        threshold_is: threshold.grade.name(),
        early: outlook.and_then(|outlook| outlook.early),
        likely: outlook.and_then(|outlook| outlook.likely),
        late: outlook.and_then(|outlook| outlook.late),
    }
}

fn text(overview: &Overview) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_HORIZONTAL_ONLY)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_header(
            [
                "Site",
                "Species",
                "Data through",
                "°C·d",
                "Last milestone",
                "Next milestone",
            ]
            .map(|title| Cell::new(title).add_attribute(Attribute::Bold)),
        );
    let mut member = "";
    for row in &overview.sites {
        let first_of_member = row.member != member;
        member = &row.member;
        table.add_row(cells(row, first_of_member));
    }
    let mut text = format!("{}, {}\n{table}\n", overview.service, overview.date);
    for station in &overview.stations {
        if let Some(problem) = &station.problem {
            text += &format!("{}: {problem}\n", station.name);
        }
        for finding in &station.findings {
            // Why a file fails stands there already.
            if station.problem.is_none() || !FAILURES.contains(&finding.trouble) {
                let since = finding.since.format("%Y-%m-%d");
                text += &format!("{}, since {since}: {}\n", station.name, finding.what);
            }
        }
    }
    let last = overview
        .last_cycle
        .map_or("no cycle has run yet".to_owned(), |last| {
            format!("last cycle {}", last.format("%Y-%m-%d %H:%M UTC"))
        });
    text += &format!("{last}; {}\n", outbox_words(&overview.outbox));
    for problem in &overview.outbox.problems {
        text += &format!("not delivered: {problem}\n");
    }
    if overview.sites.iter().any(is_estimate) {
        text += "* the threshold is an estimate, not a published value\n";
    }
    text
}

fn is_estimate(row: &SiteRow) -> bool {
    row.next_milestone
        .as_ref()
        .is_some_and(|next| next.threshold_is == "estimate")
}

fn cells(row: &SiteRow, first_of_member: bool) -> Vec<Cell> {
    let site = if first_of_member {
        format!("{}\n  {}", row.member, row.site_name)
    } else {
        format!("  {}", row.site_name)
    };
    let data = match (row.stale_since, row.data_through) {
        (Some(since), _) => Cell::new(format!("stale since {since}")).fg(Color::Red),
        (None, Some(day)) => Cell::new(format!("{day}{}", parts(&row.newest_days_from))),
        (None, None) => Cell::new("none").fg(Color::Red),
    };
    let estimated = match row.estimated_days {
        0 => String::new(),
        days => format!(
            "\n{} est.{}",
            counted(days as usize, "day"),
            ways(&row.estimated_by)
        ),
    };
    let last = row
        .last_milestone
        .as_ref()
        .map_or("none yet".to_owned(), |last| {
            let cap = if last.by_date_cap { ", by date" } else { "" };
            format!("{}\n{}{cap}", last.title, last.on)
        });
    let next = match (&row.held, &row.next_milestone) {
        (Some(reason), _) => Cell::new(format!("held: {reason}")).fg(Color::Yellow),
        (None, Some(next)) => Cell::new(next_words(next)),
        (None, None) => Cell::new("none this season"),
    };
    vec![
        Cell::new(site),
        Cell::new(&row.species_name),
        data,
        Cell::new(format!("{:.0}{estimated}", row.degree_days)),
        Cell::new(last),
        next,
    ]
}

/// Which of several stations the newest days come from.
fn parts(parts: &[PartRow]) -> String {
    if parts.is_empty() {
        return String::new();
    }
    let parts: Vec<String> = parts
        .iter()
        .map(|part| format!("{} {}", part.station, part.days))
        .collect();
    format!("\nlast {NEWEST_DAYS} days: {}", parts.join(", "))
}

/// How days were estimated; nothing where all were by a straight line.
fn ways(estimated: &EstimatedRow) -> String {
    if estimated.neighbours + estimated.other_years == 0 {
        return String::new();
    }
    let mut ways: Vec<String> = estimated
        .neighbour_days
        .iter()
        .map(|part| format!("{} {}", part.station, part.days))
        .collect();
    for (days, way) in [
        (estimated.straight_line, "line"),
        (estimated.other_years, "other years"),
    ] {
        if days > 0 {
            ways.push(format!("{way} {days}"));
        }
    }
    format!("\nby {}", ways.join(", "))
}

fn next_words(next: &NextRow) -> String {
    let mark = if next.threshold_is == "estimate" {
        "*"
    } else {
        ""
    };
    let when = match (next.early, next.likely, next.late) {
        (Some(early), Some(likely), Some(late)) if early == late => {
            likely.format("%-d %b").to_string()
        }
        (Some(earliest), Some(likely), Some(latest)) => format!(
            "about {} ({} to {})",
            likely.format("%-d %b"),
            earliest.format("%-d %b"),
            latest.format("%-d %b")
        ),
        _ => "no date, see outlook".to_owned(),
    };
    format!("{} at {:.0}{mark}\n{when}", next.title, next.threshold)
}

fn outbox_words(outbox: &OutboxRow) -> String {
    let mut words = vec![counted(outbox.sent as usize, "message") + " sent"];
    if outbox.waiting > 0 {
        words.push(format!(
            "{} waiting, {} of them after a failed attempt",
            outbox.waiting, outbox.failing
        ));
    }
    if outbox.given_up > 0 {
        words.push(format!("{} given up", outbox.given_up));
    }
    words.join("; ")
}
