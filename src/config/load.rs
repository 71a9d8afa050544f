//! Reading the configuration and its species and dialect files from disk.

use super::fields::{Fields, parse};
use super::problem::{Problem, Severity, SourceText};
use super::{Config, dialect_file, members, option_file, service, species_file, stations};
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::treatment::option::TreatmentOption;
use crate::station_feed::dialect::Dialect;
use chrono::NaiveDate;
use std::collections::BTreeMap;
use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

/// A configuration that can be used, with what is worth a look in it.
#[derive(Debug)]
pub struct Loaded {
    /// The configuration.
    pub config: Config,
    /// Warnings, also those that are to be given only from a day on.
    pub warnings: Vec<Problem>,
    /// A digest of the text of all its files, which another text is unlikely to share.
    pub digest: String,
}

impl Loaded {
    /// The warnings to give on a day of the machine; a demonstration has days of its own.
    pub fn warnings_on(&self, today: NaiveDate) -> impl Iterator<Item = &Problem> {
        let demo = self.config.demo;
        let today = demo.map_or(today, |demo| demo.starts.date_naive());
        self.warnings
            .iter()
            .filter(move |warning| warning.from.is_none_or(|from| from <= today))
    }
}

/// Loads a configuration file and everything it names.
///
/// # Errors
/// Every problem in every file, in file order; an unreadable file is a problem at its first line.
pub fn load(path: &Path) -> Result<Loaded, Vec<Problem>> {
    let text = fs::read_to_string(path).map_err(|error| {
        vec![unreadable(
            path,
            &format!("cannot be read ({error}); name an existing TOML file with --config"),
        )]
    })?;
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    from_text(&path.display().to_string(), &text, &folder)
}

/// Loads a configuration from its text; `folder` is what its relative paths start from.
///
/// # Errors
/// As [`load`].
pub fn from_text(file: &str, text: &str, folder: &Path) -> Result<Loaded, Vec<Problem>> {
    let page = SourceText::new(file, text);
    let table = parse(&page);
    if page.has_problems() {
        // What a half-read table lacks would only hide the syntax error.
        return Err(page.into_problems());
    }
    let top = Fields::top(&page, &table);
    let mut elsewhere = Vec::new();
    let mut digest = DefaultHasher::new();
    text.hash(&mut digest);

    let service = service::service(&top, folder);
    let species = species(service.species_dir.as_deref(), &mut elsewhere, &mut digest);
    let dialects = dialects(service.dialect_dir.as_deref(), &mut elsewhere, &mut digest);
    let options = options(service.option_dir.as_deref(), &mut elsewhere, &mut digest);
    let limits = service::limits(&top);
    let notices = service::notices(&top);
    let email = service::email(&top, folder);
    let demo = service::demo(&top);
    let stations = stations::stations(&top, folder, &dialects);
    let usual = Notation::default();
    let members = members::members(
        &top,
        members::KnownIds {
            folder,
            stations: &stations.ids,
            species: &species,
            options: &options,
            has_mail_server: top.has("email"),
            notation: service
                .service
                .as_ref()
                .map_or(&usual, |service| &service.notation),
            clear_token_hosts: &service.clear_token_hosts,
        },
    );
    if let Some((members, _)) = &members {
        service::check_operator(&top, service.operator.as_ref(), members);
        stations::warn_of_unread(&top, &stations::read_for(&stations.feeds, members));
    }
    top.finish();

    let mut problems = page.into_problems();
    problems.extend(elsewhere);
    if problems.iter().any(|p| p.severity == Severity::Error) {
        return Err(problems);
    }
    let parts = (service.service, limits, email, demo, members);
    let (Some(service), Some(limits), Some(email), Some(demo), Some((members, addresses))) = parts
    else {
        unreachable!("a part is missing only if a problem was noted");
    };
    let mut feeds = stations.feeds;
    let latitudes: Vec<Option<f64>> = {
        let read_for = stations::read_for(&feeds, &members);
        let latitude = |id: &String| Some(read_for.get(id.as_str())?.latitude);
        feeds.keys().map(latitude).collect()
    };
    for (feed, latitude) in feeds.values_mut().zip(latitudes) {
        feed.binding.latitude = latitude;
    }
    Ok(Loaded {
        config: Config {
            service,
            limits,
            notices,
            stations: feeds,
            members,
            addresses,
            email,
            species,
            dialects,
            options,
            demo,
        },
        warnings: problems,
        digest: format!("{:016x}", digest.finish()),
    })
}

fn species(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    digest: &mut DefaultHasher,
) -> BTreeMap<String, Species> {
    overridden(
        &species_file::BUILT_IN,
        folder,
        species_file::read,
        |species| species.id.clone(),
        problems,
        digest,
    )
}

fn options(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    digest: &mut DefaultHasher,
) -> BTreeMap<String, TreatmentOption> {
    overridden(
        &option_file::BUILT_IN,
        folder,
        option_file::read,
        |option| option.id.clone(),
        problems,
        digest,
    )
}

fn dialects(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    digest: &mut DefaultHasher,
) -> BTreeMap<String, Dialect> {
    overridden(
        &dialect_file::BUILT_IN,
        folder,
        dialect_file::read,
        |dialect| dialect.name.clone(),
        problems,
        digest,
    )
}

/// The built-in files, then those of the folder, which replace built-in ones of the same id.
fn overridden<T>(
    built_in: &[(&str, &str)],
    folder: Option<&Path>,
    read: impl Fn(&str, &str) -> Result<T, Vec<Problem>>,
    id: impl Fn(&T) -> String,
    problems: &mut Vec<Problem>,
    digest: &mut DefaultHasher,
) -> BTreeMap<String, T> {
    let mut all = BTreeMap::new();
    let mut add = |file: &str, text: &str| match read(file, text) {
        Ok(value) => {
            all.insert(id(&value), value);
        }
        Err(found) => problems.extend(found),
    };
    for (file, text) in built_in {
        add(file, text);
    }
    let mut unread = Vec::new();
    for path in folder.map_or_else(Vec::new, |folder| toml_files(folder, &mut unread)) {
        match fs::read_to_string(&path) {
            Ok(text) => {
                text.hash(digest);
                add(&path.display().to_string(), &text);
            }
            Err(error) => unread.push(unreadable(&path, &format!("cannot be read ({error})"))),
        }
    }
    problems.append(&mut unread);
    all
}

fn toml_files(folder: &Path, problems: &mut Vec<Problem>) -> Vec<PathBuf> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => {
            problems.push(unreadable(
                folder,
                &format!("this folder cannot be read ({error}); create it or leave the key out"),
            ));
            return Vec::new();
        }
    };
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    files.sort();
    files
}

fn unreadable(path: &Path, text: &str) -> Problem {
    Problem {
        file: path.display().to_string(),
        line: 1,
        column: 1,
        severity: Severity::Error,
        text: text.to_owned(),
        from: None,
    }
}
