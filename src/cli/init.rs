//! `hatchbell init`: asks what there is to know for a first plan, and writes a configuration.

use super::feed::{self, FoundStation};
use super::stations::{Lists, hyphenated, near, tables_of};
use super::{EXIT_CONFIG, INIT_FILE, configuration, print, print_problems, say, say_wrapped};
use crate::clock::Clock;
use crate::config::Config;
use crate::config::load::from_text;
use crate::config::problem::closest;
use crate::config::species_file;
use crate::domain::phenology::species::Species;
use crate::domain::place::globe::Place;
use anyhow::{Context, bail};
use chrono::{Datelike, NaiveDate};
use clap::Args;
use questions::Questions;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use text::{Answers, HowTold};

mod questions;
mod text;

/// Write a first configuration: asks what is not given as an option
///
/// Asks for the name, where weather services can reach you, the place, a station, the species, and
/// whom to tell how; each has an option, and with all of them nothing is asked. A station is an address
/// or a file of its days, which is tried as "hatchbell feed try" does; with the station list and inventory of
/// GHCN-Daily (see hatchbell help stations) the nearest that still report are proposed, with --archive also by how many of
/// their days are missing. Nothing is overwritten, and what is written is checked first.
#[derive(Args)]
pub(super) struct InitOptions {
    /// The file to write
    #[arg(value_name = "FILE", default_value = INIT_FILE)]
    file: PathBuf,
    /// What messages come from: the name of the co-op, club or garden
    #[arg(long)]
    name: Option<String>,
    /// Where weather services can reach you: a mail address or a web page
    #[arg(long, value_name = "ADDRESS")]
    contact: Option<String>,
    /// The site's name
    #[arg(long, value_name = "NAME")]
    site: Option<String>,
    /// The site's latitude, degrees, negative in the southern hemisphere
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    latitude: Option<String>,
    /// Its longitude, degrees, negative west of Greenwich; used with --list only
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    longitude: Option<String>,
    /// Its height above sea level, m, for choosing among the stations of --list
    #[arg(
        long,
        value_name = "M",
        allow_negative_numbers = true,
        requires = "list"
    )]
    elevation: Option<f64>,
    /// The station: an address or a file of its days; with --list, the number of one proposed
    #[arg(long, value_name = "URL-OR-FILE")]
    station: Option<String>,
    /// A station list (ghcnd-stations.txt), a file or an address
    #[arg(long, value_name = "LIST", requires = "inventory")]
    list: Option<String>,
    /// Its inventory (ghcnd-inventory.txt), a file or an address
    #[arg(long, value_name = "INVENTORY", requires = "list")]
    inventory: Option<String>,
    /// Judge by this day whether stations of the list still report; the default is today
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = super::day, requires = "list")]
    date: Option<NaiveDate>,
    /// A configuration whose database holds the archive (import --bulk --every-station), which tells how many
    /// days of a station are missing
    #[arg(long, value_name = "CONFIG", requires = "list")]
    archive: Option<PathBuf>,
    /// The species, by their ids or names, with commas between
    #[arg(long, value_name = "SPECIES")]
    species: Option<String>,
    /// Whom to tell, as messages call them
    #[arg(long, value_name = "NAME")]
    recipient: Option<String>,
    /// How: a mail address, the https:// address of a push server, a file with / or . in its name, or
    /// "console"; several with commas between
    #[arg(long, value_name = "HOW")]
    tell: Option<String>,
    /// The mail server that takes your mail, if --tell is a mail address
    #[arg(long, value_name = "HOST")]
    mail_host: Option<String>,
}

pub(super) fn run(options: &InitOptions) -> anyhow::Result<ExitCode> {
    let file = &options.file;
    refuse_if_there(file)?;
    let answers = asked(options)?;
    let text = text::configuration(&answers);
    let folder = std::path::absolute(file)?;
    let folder = folder.parent().unwrap_or(Path::new("."));
    if let Err(problems) = from_text(&file.display().to_string(), &text, folder) {
        print_problems(&problems);
        eprintln!(
            "hatchbell: with these answers the configuration cannot be used, so nothing was written"
        );
        return Ok(ExitCode::from(EXIT_CONFIG));
    }
    std::fs::File::create_new(file)
        .and_then(|mut new| new.write_all(text.as_bytes()))
        .with_context(|| format!("{} cannot be written", file.display()))?;
    if let Some(span) = answers.span {
        say_span(span, file);
    }
    let shown = file.display();
    say!("{shown} written. Next:\n");
    let program = program();
    say!("  {program} run --once --config {shown}");
    say!("  {program} plan {} --config {shown}", answers.site_id);
    Ok(ExitCode::SUCCESS)
}

fn refuse_if_there(file: &Path) -> anyhow::Result<()> {
    match std::fs::symlink_metadata(file) {
        Ok(_) => bail!(
            "{} is there already and was left as it is; name another file",
            file.display()
        ),
        Err(_) => Ok(()),
    }
}

fn asked(options: &InitOptions) -> anyhow::Result<Answers> {
    let mut questions = Questions::default();
    let text = |text: &str| Ok(text.to_owned());
    let name = questions.ask(
        ("--name", options.name.as_deref()),
        "What messages come from: the name of your co-op, club or garden",
        Some("Our turf"),
        text,
    )?;
    let contact = questions.ask(
        ("--contact", options.contact.as_deref()),
        "Where weather services can reach you: a mail address or a web page",
        None,
        contact,
    )?;
    let site = questions.ask(
        ("--site", options.site.as_deref()),
        "The first site's name",
        Some("The lawn"),
        text,
    )?;
    let mut latitude = questions.ask(
        ("--latitude", options.latitude.as_deref()),
        "Its latitude in degrees, negative in the southern hemisphere",
        None,
        |text| degrees(text, 90.0),
    )?;
    let mut span = None;
    let (station, station_tables) = match (&options.list, &options.inventory) {
        (Some(list), Some(inventory)) => {
            let longitude = questions.ask(
                ("--longitude", options.longitude.as_deref()),
                "Its longitude in degrees, negative west of Greenwich",
                None,
                |text| degrees(text, 180.0),
            )?;
            let place = Place::new(latitude, longitude).context("there is no such place")?;
            let archive = match &options.archive {
                Some(path) => Some(with_archive(path)?),
                None => None,
            };
            let near = near(&Lists {
                list,
                inventory,
                contact: &contact,
                place,
                elevation_m: options.elevation,
                date: options.date,
                archive: archive.as_ref(),
            })?;
            if near.is_empty() {
                bail!("no station of the list still reports; name one with --station instead");
            }
            for (index, one) in near.iter().enumerate() {
                say!("  {}  {}", index + 1, one.words);
            }
            let chosen = questions.ask(
                ("--station", options.station.as_deref()),
                "Which of these; the others stand in for its missing days",
                Some("1"),
                |text| match text.parse::<usize>() {
                    Ok(number) if (1..=near.len()).contains(&number) => Ok(number - 1),
                    _ => Err(format!("give a number from 1 to {}", near.len())),
                },
            )?;
            tables_of(&near, chosen)
        }
        _ => {
            if options.longitude.is_some() {
                say!(
                    "--longitude is used with --list only, to propose stations; nothing else needs it"
                );
            }
            let found = questions.ask(
                ("--station", options.station.as_deref()),
                "The weather station: an address or a file of its days (.csv, .csv.gz, .zip); \
                 with --list and --inventory the nearest are proposed",
                None,
                |place| feed::found_station(place).map_err(|error| format!("{error:#}")),
            )?;
            latitude = fitting(&mut questions, options, latitude, &found)?;
            span = found.span();
            (found.id, found.table)
        }
    };
    let known = species();
    let ids: Vec<&str> = known.iter().map(|one| one.id.as_str()).collect();
    let species = questions.ask(
        ("--species", options.species.as_deref()),
        &format!("The species, with commas between, of {}", ids.join(", ")),
        None,
        |text| chosen_species(text, &known),
    )?;
    let recipient = questions.ask(
        ("--recipient", options.recipient.as_deref()),
        "Whom to tell, as messages call them",
        Some("the keeper"),
        text,
    )?;
    let ways = questions.ask(
        ("--tell", options.tell.as_deref()),
        "How: a mail address, the https:// address of a push server, a file with / or . in its name, or \
         console; several with commas between",
        Some("console"),
        HowTold::all_of,
    )?;
    let by_mail = ways.iter().any(|way| matches!(way, HowTold::Email(_)));
    let mail_host = match by_mail {
        true => Some(questions.ask(
            ("--mail-host", options.mail_host.as_deref()),
            "The mail server that takes your mail",
            None,
            text,
        )?),
        false => None,
    };
    Ok(Answers {
        site_id: id_of(&site, "lawn"),
        member_id: id_of(&name, "our-turf"),
        recipient_id: id_of(&recipient, "keeper"),
        name,
        contact,
        site,
        latitude,
        station,
        station_tables,
        species,
        recipient,
        ways,
        mail_host,
        span,
    })
}

/// The latitude, which the station's days must fit: a slip of its sign is asked about here, where it can
/// be mended.
fn fitting(
    questions: &mut Questions,
    options: &InitOptions,
    latitude: f64,
    station: &FoundStation,
) -> anyhow::Result<f64> {
    let Some(why) = station.misfit(latitude) else {
        return Ok(latitude);
    };
    if options.latitude.is_some() {
        bail!("--latitude: {why}");
    }
    say!("  {why}");
    questions.ask(
        ("--latitude", None),
        "The site's latitude in degrees, negative in the southern hemisphere",
        None,
        |text| {
            let latitude = degrees(text, 90.0)?;
            station.misfit(latitude).map_or(Ok(latitude), Err)
        },
    )
}

/// Older than this, days, a station's newest day makes no plan of this year. A choice, as for suggestions
/// of a lag.
const OLDEST_NEWEST_DAYS: i64 = 30;

/// The days that the station has, and what can be done with those of a station that has ended.
fn say_span((first, last): (NaiveDate, NaiveDate), file: &Path) {
    let today = Clock::Machine.now().date_naive();
    let has = format!("The station has days from {first} to {last}");
    if (today - last).num_days() <= OLDEST_NEWEST_DAYS {
        return say_wrapped(&format!("{has}."));
    }
    // A season needs its summer; before that the year before is whole.
    let year = match last.month() >= 7 || first.year() == last.year() {
        true => last.year(),
        false => last.year() - 1,
    };
    say_wrapped(&format!(
        "{has}, and none of the last {OLDEST_NEWEST_DAYS} days, so there is no plan of this year; hatchbell replay --season {year} --config {} shows a past one.",
        file.display()
    ));
}

/// The configuration whose database holds the archive.
fn with_archive(path: &Path) -> anyhow::Result<Config> {
    match configuration(path) {
        Ok(loaded) => Ok(loaded.config),
        Err(_) => bail!(
            "--archive: {} cannot be used; hatchbell check --config {0} says why",
            path.display()
        ),
    }
}

/// The program as it was called, so that what is printed can be typed.
fn program() -> String {
    let called = std::env::args().next();
    let called = called.filter(|path| path.contains('/') && !path.contains(char::is_whitespace));
    called.unwrap_or_else(|| "hatchbell".to_owned())
}

/// The species that are built in.
fn species() -> Vec<Species> {
    let built_in = species_file::BUILT_IN.iter();
    built_in
        .filter_map(|(file, text)| species_file::read(file, text).ok())
        .collect()
}

/// The ids of what was named by ids or names, with commas between; ids may have blanks between as well.
fn chosen_species(text: &str, known: &[Species]) -> Result<Vec<String>, String> {
    let mut chosen: Vec<String> = Vec::new();
    let named = text.split(',').map(str::trim).filter(|one| !one.is_empty());
    for one in named {
        let ids = match species_of(one, known) {
            Ok(id) => vec![id],
            Err(why) => {
                let words = one.split_whitespace().map(|word| species_of(word, known));
                words.collect::<Result<_, _>>().map_err(|_| why)?
            }
        };
        for id in ids {
            if !chosen.contains(&id) {
                chosen.push(id);
            }
        }
    }
    match chosen.is_empty() {
        true => Err("name at least one".to_owned()),
        false => Ok(chosen),
    }
}

/// The id of a species by its id or name, whatever the capitals.
fn species_of(text: &str, known: &[Species]) -> Result<String, String> {
    let written = hyphenated(text);
    let meant = |one: &&Species| one.id == written || hyphenated(&one.name) == written;
    if let Some(one) = known.iter().find(meant) {
        return Ok(one.id.clone());
    }
    let ids = || known.iter().map(|one| one.id.as_str());
    Err(match closest(&written, ids()) {
        Some(meant) => format!("there is no species \"{text}\"; did you mean \"{meant}\"?"),
        None => super::unknown("species", text, ids()).to_string(),
    })
}

fn contact(text: &str) -> Result<String, String> {
    let is_address = text.starts_with("mailto:") || text.starts_with("http");
    match (is_address, text.contains('@')) {
        (true, _) => Ok(text.to_owned()),
        (false, true) => Ok(format!("mailto:{text}")),
        (false, false) => Err("give a mail address or an https:// address".to_owned()),
    }
}

fn degrees(text: &str, most: f64) -> Result<f64, String> {
    let read: Option<f64> = text.parse().ok();
    read.filter(|degrees| (-most..=most).contains(degrees))
        .ok_or_else(|| format!("give degrees from -{most} to {most}, for example 41.8"))
}

/// An id made of a name.
fn id_of(name: &str, otherwise: &str) -> String {
    const LONGEST: usize = 40;
    let id: String = hyphenated(name).chars().take(LONGEST).collect();
    match id.trim_matches('-') {
        "" => otherwise.to_owned(),
        id => id.to_owned(),
    }
}

/// Prints without a line end, before an answer.
fn prompt(text: &str) -> std::io::Result<()> {
    print(format_args!("{text}"));
    std::io::stdout().flush()
}
