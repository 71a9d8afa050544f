//! `hatchbell status`: prints what is due at every site, or JSON.

use super::terminal::{
    GAP, bold, columns, display_width, natural_width, printable, unbroken, wrapped,
};
use super::{DateOption, ShownConfig, counted, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::domain::treatment::due::Urgency;
use crate::report::status::{OnDisk, ShownSites, SiteStatus, Status, StatusMoment};
use crate::store::Store;
use clap::Args;
use std::process::ExitCode;

mod details;

/// Show what is due at every site, worst first
///
/// One line for each site: what to do there and by when, or what comes next. Many sites are summed up
/// by member; --member shows a member's. --site shows where a site stands with each of its species:
/// the newest measured day, degree-days so far, the last milestone passed and the next one. What is
/// wrong, such as a station that has gone quiet, follows below.
#[derive(Args)]
pub(super) struct StatusOptions {
    #[command(flatten)]
    config: ShownConfig,
    #[command(flatten)]
    date: DateOption,
    /// Only the sites of this member, by its id
    #[arg(long, value_name = "ID")]
    member: Option<String>,
    /// Only this site, by its id, with all there is to know
    #[arg(long, value_name = "ID")]
    site: Option<String>,
    /// Only sites with this species, by its id
    #[arg(long, value_name = "ID")]
    species: Option<String>,
    /// Only what is wrong; exit code 3 if anything is
    #[arg(long)]
    problems: bool,
    /// Print JSON for scripts instead of a table
    #[arg(long)]
    json: bool,
}

/// Exit code for trouble that `--problems` shows.
const EXIT_PROBLEMS: u8 = 3;

/// More sites than this are summed up by member.
const MOST_SITES: usize = 60;

/// Of more trouble than this, a table is followed by one of each kind.
const MOST_PROBLEMS: usize = 6;

pub(super) fn run(options: &StatusOptions) -> anyhow::Result<ExitCode> {
    let read = or_exit!(options.config.load_running());
    let loaded = &read.loaded;
    let config = &loaded.config;
    let shown = shown(options, config)?;
    let store = Store::open_to_read(&config.service.database)?;
    let today = options.date.or_today(config, &store)?;
    let moment = StatusMoment {
        today,
        now: Clock::Machine.now(),
        configuration: match &read.wrong {
            Some((errors, first)) => OnDisk::Wrong {
                errors: *errors,
                first,
            },
            None => OnDisk::Usable(&loaded.standing.digest),
        },
        faults: &loaded.standing.faults,
    };
    let status = Status::of(config, &store, shown, moment)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&status)?);
    } else {
        let text = if options.problems {
            all_problems(&status)
        } else {
            text(&status, shown, &config.service.notation)
        };
        super::print(format_args!("{text}"));
    }
    Ok(if options.problems && !status.problems.is_empty() {
        ExitCode::from(EXIT_PROBLEMS)
    } else {
        ExitCode::SUCCESS
    })
}

/// What the options ask for, if there is such a thing.
fn shown<'o>(options: &'o StatusOptions, config: &Config) -> anyhow::Result<ShownSites<'o>> {
    let StatusOptions {
        member,
        site,
        species,
        ..
    } = options;
    if let Some(id) = member {
        let members = config.members.iter().map(|member| member.id.as_str());
        super::known("member", id, members)?;
    }
    if let Some(id) = site {
        super::site(config, id)?;
    }
    if let Some(id) = species {
        super::known("species", id, config.species.keys().map(String::as_str))?;
    }
    Ok(ShownSites {
        members: None,
        sites: None,
        member: member.as_deref(),
        site: site.as_deref(),
        species: species.as_deref(),
    })
}

fn text(status: &Status, shown: ShownSites<'_>, notation: &Notation) -> String {
    let width = super::width::columns();
    let mut text = wrapped(&heading(status), width, "  ");
    let sites = status.worst_first();
    if sites.is_empty() {
        text += "no site is like that\n";
    } else if shown.site.is_some() {
        text += &details::text(status, width, notation);
    } else if sites.len() > MOST_SITES && shown.member.is_none() {
        text += &by_member(&sites, width);
    } else {
        text += &by_site(&sites, width);
    }
    text += &footer(status, width);
    if let Some(configuration) = &status.configuration {
        text += &wrapped(&configuration.in_words(), width, "  ");
    }
    text
}

fn heading(status: &Status) -> String {
    format!("{}, {}", status.service, status.date)
}

/// A line for each site, with the member where there are several and room for it, or where a site's
/// name alone does not tell it.
fn by_site(sites: &[&SiteStatus], width: usize) -> String {
    let several = sites.iter().any(|site| site.member != sites[0].member);
    if several {
        let head = ["Member", "Site", "To do"].map(str::to_owned);
        let rows = sites.iter().map(|site| {
            [
                printable(&site.member),
                printable(&site.site_name),
                to_do(site),
            ]
        });
        let rows: Vec<_> = [head].into_iter().chain(rows).collect();
        if natural_width(&rows) <= width {
            return table(&rows, width);
        }
    }
    let alike = |name: &str| sites.iter().filter(|site| site.site_name == name).count();
    let name = |site: &SiteStatus| {
        let name = if several && alike(&site.site_name) > 1 {
            format!("{}, {}", site.member, site.site_name)
        } else {
            site.site_name.clone()
        };
        printable(&name)
    };
    let names: Vec<String> = sites.iter().map(|site| name(site)).collect();
    let widest = names.iter().map(|name| display_width(name)).max();
    let room = width.saturating_sub(widest.unwrap_or(0) + GAP);
    let head = ["Site", "To do"].map(str::to_owned);
    let rows = sites.iter().zip(names).map(|(site, name)| {
        let to_do = to_do(site);
        // What stands in brackets is left out before a second line is taken.
        let fits = display_width(&to_do) <= room;
        let shorter = to_do.split_once(" (").map(|(before, _)| before.to_owned());
        [name, shorter.filter(|_| !fits).unwrap_or(to_do)]
    });
    table(&[head].into_iter().chain(rows).collect::<Vec<_>>(), width)
}

/// What is due there; a number is not parted from what follows it, nor what stands in brackets.
fn to_do(site: &SiteStatus) -> String {
    let words = printable(&site.due.words);
    let (before, brackets) = match words.split_once(" (") {
        Some((before, brackets)) => (before, format!(" ({}", unbroken(brackets))),
        None => (words.as_str(), String::new()),
    };
    let mut text = String::new();
    for word in before.split(' ') {
        text += word;
        let is_number = word.bytes().all(|byte| byte.is_ascii_digit());
        text += &if is_number {
            unbroken(" ")
        } else {
            " ".to_owned()
        };
    }
    text.trim_end().to_owned() + &brackets
}

/// A line for each member with something to do, and one for all the others.
fn by_member(sites: &[&SiteStatus], width: usize) -> String {
    let mut members: Vec<Vec<&SiteStatus>> = Vec::new();
    let mut place_of = std::collections::HashMap::new();
    for site in sites {
        let place = *place_of.entry(&site.member_id).or_insert_with(|| {
            members.push(Vec::new());
            members.len() - 1
        });
        members[place].push(site);
    }
    let (busy, idle): (Vec<_>, Vec<_>) = members
        .into_iter()
        .partition(|sites| sites[0].due.urgency.presses());
    let head = ["Member", "Id", "Sites", "First to do"].map(str::to_owned);
    let rows = busy.iter().map(|sites| {
        let first = sites[0];
        let works = sites.iter().filter(|site| site.due.urgency.presses());
        [
            printable(&first.member),
            first.member_id.clone(),
            format!("{} of {}", works.count(), sites.len()),
            to_do(first),
        ]
    });
    let rows: Vec<[String; 4]> = [head].into_iter().chain(rows).collect();
    let mut text = String::new();
    if !busy.is_empty() {
        text += &if natural_width(&rows) <= width {
            table(&rows, width)
        } else {
            let without_id: Vec<[String; 3]> = rows
                .into_iter()
                .map(|[member, _, sites, first]| [member, sites, first])
                .collect();
            table(&without_id, width)
        };
    }
    if !idle.is_empty() {
        let sites = idle.iter().map(Vec::len).sum();
        let (members, sites) = (counted(idle.len(), "member"), counted(sites, "site"));
        let ahead = |site: &&&SiteStatus| site.due.urgency >= Urgency::ApplyLater;
        let next = idle.iter().flatten().find(ahead);
        let next = next.and_then(|site| site.due.words.rsplit("; ").next());
        let next = next.map_or(String::new(), |words| format!("; next: {words}"));
        let line = format!("{members} with {sites}: nothing to do now{next}");
        text += &wrapped(&line, width, "  ");
    }
    text + &wrapped(
        "a member's sites: hatchbell status --member ID",
        width,
        "  ",
    )
}

fn table<const N: usize>(rows: &[[String; N]], width: usize) -> String {
    let lines = columns(rows, width);
    let mut text = String::new();
    for (place, line) in lines.iter().enumerate() {
        text += &if place == 0 { bold(line) } else { line.clone() };
        text += "\n";
    }
    text
}

/// What is wrong, if anything is; of much, one of each kind.
fn footer(status: &Status, width: usize) -> String {
    let problems = &status.problems;
    if problems.is_empty() {
        return String::new();
    }
    let mut text = "\n".to_owned();
    let of_kind = |kind| problems.iter().filter(move |one| one.kind == kind).count();
    let mut told = None;
    for problem in problems {
        if problems.len() <= MOST_PROBLEMS {
            text += &wrapped(&format!("! {}", problem.what), width, "  ");
        } else if told != Some(problem.kind) {
            told = Some(problem.kind);
            let more = match of_kind(problem.kind) - 1 {
                0 => String::new(),
                more => format!("; {more} more like it"),
            };
            text += &wrapped(&format!("! {}{more}", problem.what), width, "  ");
        }
    }
    if problems.len() > MOST_PROBLEMS {
        text += &wrapped("all of it: hatchbell status --problems", width, "  ");
    }
    text
}

fn all_problems(status: &Status) -> String {
    let width = super::width::columns();
    let mut text = wrapped(&heading(status), width, "  ");
    for problem in &status.problems {
        text += &wrapped(&format!("! {}", problem.what), width, "  ");
    }
    if status.problems.is_empty() {
        text += "nothing is wrong\n";
    }
    text
}
