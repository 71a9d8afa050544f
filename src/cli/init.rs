//! `hatchbell init`: asks what there is to know for a first plan, and writes a configuration.

use super::stations::{Lists, hyphenated, near, tables_of};
use super::{EXIT_CONFIG, configuration, feed, print, print_problems, say};
use crate::config::Config;
use crate::config::load::from_text;
use crate::config::species_file;
use crate::domain::place::globe::Place;
use anyhow::{Context, bail};
use chrono::NaiveDate;
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
    #[arg(value_name = "FILE", default_value = "hatchbell.toml")]
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
    /// Its longitude, degrees, negative west of Greenwich; only with --list
    #[arg(
        long,
        value_name = "DEGREES",
        allow_negative_numbers = true,
        requires = "list"
    )]
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
    /// The species, by their ids, with commas between
    #[arg(long, value_name = "IDS")]
    species: Option<String>,
    /// Whom to tell, as messages call them
    #[arg(long, value_name = "NAME")]
    recipient: Option<String>,
    /// How: a mail address, the https:// address of a push server, a file, or "console"
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
    let latitude = questions.ask(
        ("--latitude", options.latitude.as_deref()),
        "Its latitude in degrees, negative in the southern hemisphere",
        None,
        |text| degrees(text, 90.0),
    )?;
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
        _ => questions.ask(
            ("--station", options.station.as_deref()),
            "The weather station: an address or a file of its days (.csv, .csv.gz, .zip); \
             with --list and --inventory the nearest are proposed",
            None,
            |place| feed::station_table(place).map_err(|error| format!("{error:#}")),
        )?,
    };
    let known = species();
    let ids: Vec<&str> = known.iter().map(String::as_str).collect();
    let species = questions.ask(
        ("--species", options.species.as_deref()),
        &format!("The species, with commas between, of {}", ids.join(", ")),
        None,
        |text| chosen_species(text, &ids),
    )?;
    let recipient = questions.ask(
        ("--recipient", options.recipient.as_deref()),
        "Whom to tell, as messages call them",
        Some("the keeper"),
        text,
    )?;
    let way = questions.ask(
        ("--tell", options.tell.as_deref()),
        "How: a mail address, the https:// address of a push server, a file, or console",
        Some("console"),
        |text| Ok(HowTold::of(text)),
    )?;
    let mail_host = match way {
        HowTold::Email(_) => Some(questions.ask(
            ("--mail-host", options.mail_host.as_deref()),
            "The mail server that takes your mail",
            None,
            text,
        )?),
        _ => None,
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
        way,
        mail_host,
    })
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

/// The ids of the species that are built in.
fn species() -> Vec<String> {
    let built_in = species_file::BUILT_IN.iter();
    built_in
        .filter_map(|(file, text)| species_file::read(file, text).ok())
        .map(|species| species.id)
        .collect()
}

fn chosen_species(text: &str, known: &[&str]) -> Result<Vec<String>, String> {
    let mut chosen: Vec<String> = Vec::new();
    for id in text.split([',', ' ']).filter(|id| !id.is_empty()) {
        if !known.contains(&id) {
            return Err(super::unknown("species", id, known.iter().copied()).to_string());
        }
        if !chosen.iter().any(|one| one == id) {
            chosen.push(id.to_owned());
        }
    }
    match chosen.is_empty() {
        true => Err("name at least one".to_owned()),
        false => Ok(chosen),
    }
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
