//! Reading the configuration and its species and dialect files from disk.

use super::fields::{Fields, parse};
use super::include::{self, ConfigFile};
use super::isolation::{Whose, clashes, isolate, read_again};
use super::members::{KnownIds, ReadMember, member};
use super::mention::Mention;
use super::page_access::{check_managed, refuse_operator, refuse_rights};
use super::problem::{Problem, Severity, SourceText};
use super::site::SiteDefaults;
use super::sources::Sources;
use super::{
    Config, dialect_file, mqtt, option_file, renamed, service, species_file, stations, web,
};
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::treatment::option::TreatmentOption;
use crate::in_force::{InForce, KeptFile, KeptMember, Standing};
use crate::station_feed::dialect::Dialect;
use chrono::NaiveDate;
use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::DeTable;

/// A configuration that can be used, with what is worth a look in it.
#[derive(Debug)]
pub struct Loaded {
    /// The configuration.
    pub config: Config,
    /// Warnings, also those that are to be given only from a day on.
    pub warnings: Vec<Problem>,
    /// What is written down of it.
    pub standing: Standing,
    /// Files, folders and secrets of this machine that it names.
    pub mentions: Vec<Mention>,
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

/// Gives the members that were in force, as the database has them.
pub type LastGood<'k> = &'k dyn Fn(&Path) -> Vec<KeptMember>;

/// Loads a configuration file and everything it names.
///
/// # Errors
/// Every problem in every file, in file order; an unreadable file is a problem at its first line.
pub fn load(path: &Path) -> Result<Loaded, Vec<Problem>> {
    from_disk(path, None)
}

/// The same, but mistakes that concern one member alone are [`Standing::faults`]: their last good
/// tables go on, and one who has none is left out.
///
/// # Errors
/// As [`load`], if there is a mistake that concerns all.
pub fn load_isolating(path: &Path, last_good: LastGood<'_>) -> Result<Loaded, Vec<Problem>> {
    from_disk(path, Some(last_good))
}

/// Loads a configuration as it was when the service read it.
///
/// # Errors
/// As [`load`].
pub fn load_kept(
    in_force: &InForce,
    files: &[KeptFile],
    last_good: LastGood<'_>,
) -> Result<Loaded, Vec<Problem>> {
    let path = PathBuf::from(&in_force.file);
    whole(&path, Sources::kept(files), Some(last_good))
}

fn from_disk(path: &Path, last_good: Option<LastGood<'_>>) -> Result<Loaded, Vec<Problem>> {
    whole(path, Sources::disk(), last_good)
}

fn whole(
    path: &Path,
    sources: Sources,
    last_good: Option<LastGood<'_>>,
) -> Result<Loaded, Vec<Problem>> {
    let text = sources.read(path).map_err(|error| {
        vec![unreadable(
            path,
            &format!("cannot be read ({error}); name an existing TOML file with --config"),
        )]
    })?;
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    read(ConfigFile::new(path, &folder, Ok(text)), sources, last_good)
}

/// The database that a configuration names, even if much else is wrong with it.
pub fn database_of(path: &Path) -> Option<PathBuf> {
    let text = fs::read_to_string(path).ok()?;
    let page = SourceText::new("", &text);
    let table = parse(&page);
    let service = Fields::top(&page, &table).table("service")?;
    service::path_in(&service, "database", path.parent()?)
}

/// Loads a configuration from its text; `folder` is what its relative paths start from.
///
/// # Errors
/// As [`load`].
pub fn from_text(file: &str, text: &str, folder: &Path) -> Result<Loaded, Vec<Problem>> {
    let sources = Sources::disk();
    sources.remember(Path::new(file), text);
    let main = ConfigFile::new(Path::new(file), folder, Ok(text.to_owned()));
    read(main, sources, None)
}

/// A file that was parsed.
struct Page<'t> {
    /// Its number among the files.
    file: usize,
    source: SourceText<'t>,
    table: Spanned<DeTable<'t>>,
}

/// Parses the files. Mistakes in an included one that holds members only are not everybody's.
fn pages<'t>(
    files: &'t [ConfigFile],
    whose: &mut Vec<Whose>,
    problems: &mut Vec<Problem>,
) -> Vec<Page<'t>> {
    let mut pages = Vec::new();
    for (number, file) in files.iter().enumerate() {
        let mut own = |problems: Vec<Problem>| -> Vec<Problem> {
            let of = whose.len();
            whose.push(Whose {
                id: None,
                name: file.name.clone(),
                path: file.path.clone(),
            });
            let own = |problem| Problem {
                whose: Some(of),
                ..problem
            };
            problems.into_iter().map(own).collect()
        };
        let text = match &file.text {
            Ok(text) => text,
            Err(why) => {
                let problem = unreadable(Path::new(&file.name), &format!("cannot be read ({why})"));
                problems.extend(own(vec![problem]));
                continue;
            }
        };
        let source = SourceText::new(file.name.as_str(), text);
        let mut table = parse(&source);
        let values = table.get_ref();
        let is_shared =
            number == 0 || values.contains_key("station") || values.contains_key("include");
        if source.errors() > 0 {
            // What a half-read table lacks would only hide the syntax error.
            let found = source.into_problems();
            problems.extend(if is_shared { found } else { own(found) });
            continue;
        }
        if !is_shared {
            own(Vec::new());
            source.attribute(Some(whose.len() - 1));
        }
        renamed::rename(&renamed::RENAMED, table.get_mut(), &source);
        pages.push(Page {
            file: number,
            source,
            table,
        });
    }
    pages
}

fn is_everybodys(problem: &Problem) -> bool {
    problem.severity == Severity::Error && problem.whose.is_none()
}

fn read(
    main: ConfigFile,
    sources: Sources,
    last_good: Option<LastGood<'_>>,
) -> Result<Loaded, Vec<Problem>> {
    let (files, mut problems) = include::files(main, &sources);
    let mut whose: Vec<Whose> = Vec::new();
    let pages = pages(&files, &mut whose, &mut problems);
    if problems.iter().any(is_everybodys) {
        return Err(problems);
    }
    let tops: Vec<Fields<'_, '_>> = pages
        .iter()
        .map(|page| Fields::top(&page.source, &page.table))
        .collect();
    let folder_of = |number: usize| files[pages[number].file].folder.as_path();
    let top = &tops[0];
    let folder = folder_of(0);
    let mut elsewhere = Vec::new();

    let service = service::service(top, folder);
    let species = species(service.species_dir.as_deref(), &mut elsewhere, &sources);
    let dialects = dialects(service.dialect_dir.as_deref(), &mut elsewhere, &sources);
    let options = options(service.option_dir.as_deref(), &mut elsewhere, &sources);
    let limits = service::limits(top);
    let notices = service::notices(top);
    let email = service::email(top, folder);
    let demo = service::demo(top);
    let web = web::web(top);
    let mqtt = mqtt::mqtt(top, folder, &service.clear_token_hosts);
    let with_folders = tops.iter().enumerate();
    let with_folders = with_folders.map(|(number, top)| (top, folder_of(number)));
    let mut stations = stations::stations(with_folders, &dialects);
    let usual = Notation::default();
    let service_notation = service.service.as_ref().map(|service| &service.notation);
    let known = KnownIds {
        stations: &stations.ids,
        species: &species,
        options: &options,
        has_mail_server: top.has("email"),
        notation: service_notation.unwrap_or(&usual),
        sources: &sources,
        page_takes_browsers: web.as_ref().is_some_and(web::Web::takes_browsers),
        clear_token_hosts: &service.clear_token_hosts,
        main: &files[0].path,
    };
    let defaults = SiteDefaults::below(top, &known);
    let mut members: Vec<ReadMember> = Vec::new();
    let mut page_of = Vec::new();
    for (number, top) in tops.iter().enumerate() {
        let file = &files[pages[number].file];
        let _ = top.texts("include");
        if number > 0 {
            include::refuse_one_only(top, &files[0].name);
        }
        for table in top.tables("member") {
            let place = (whose.len(), file.folder.as_path());
            let read = member(table, place, defaults, &known);
            page_of.push(number);
            whose.push(Whose {
                id: read.id.clone(),
                name: file.name.clone(),
                path: file.path.clone(),
            });
            members.push(read);
        }
    }
    if !tops.iter().any(|top| top.has("member")) {
        top.page()
            .error(top.at(), "there must be at least one [[member]]");
    } else if problems.is_empty() && pages.iter().all(|page| page.source.errors() == 0) {
        // What is mistaken may have been a site.
        if !members.iter().any(ReadMember::has_site) {
            top.page().error(
                top.at(),
                "no [[member]] has a [[member.site]] or a sites_file, so there is nothing to watch",
            );
        }
    }
    for top in &tops {
        top.note_unknown();
    }
    let ids: Vec<&str> = members.iter().filter_map(|one| one.id.as_deref()).collect();
    let main = files[0].name.as_str();
    for (member, &number) in members.iter().zip(&page_of) {
        let page = &pages[number].source;
        // Whoever stands in a file that cannot be read is not known by their id.
        if problems.is_empty() {
            check_managed(page, member, &ids);
        }
        if number > 0 {
            refuse_rights(page, member, main);
            if let Some(operator) = &service.operator {
                let file = files[pages[number].file].name.as_str();
                refuse_operator((&pages[0].source, main), operator, (member, file));
            }
        }
    }
    for member in &mut members {
        elsewhere.append(&mut member.elsewhere);
    }

    // What was noted so far, in the order of the files.
    let noted = || pages.iter().flat_map(|page| page.source.noted());
    let mut found: Vec<Problem> = noted().chain(elsewhere.iter().cloned()).collect();
    found.extend(problems.iter().cloned());
    let ids_clash = !clashes(&members, &whose, &[]).is_empty();
    let mistaken = ids_clash || found.iter().any(|one| one.severity == Severity::Error);
    let may_isolate = last_good.filter(|_| mistaken && !found.iter().any(is_everybodys));
    let before = match (may_isolate, &service.service) {
        (Some(last_good), Some(service)) => read_again(last_good(&service.database), &known),
        _ => Vec::new(),
    };
    let clashing = clashes(&members, &whose, &before);
    found.extend(clashing.iter().cloned());
    elsewhere.extend(clashing);
    problems.extend(elsewhere);
    let all = |problems: Vec<Problem>| {
        let pages = pages.iter().flat_map(|page| page.source.noted());
        in_order(pages.chain(problems).collect(), &files)
    };
    if mistaken && may_isolate.is_none() {
        return Err(all(problems));
    }
    let isolated = match isolate(members, &whose, &found, before) {
        Ok(isolated) => isolated,
        Err(more) => {
            problems.extend(more);
            return Err(all(problems));
        }
    };
    let mut addresses = BTreeMap::new();
    let mut members = Vec::new();
    for read in isolated.members {
        addresses.extend(read.addresses);
        members.extend(read.member);
    }

    service::check_operator(top, service.operator.as_ref(), &members);
    mqtt::warn_of_missing_sites(top, mqtt.as_ref(), &members);
    let read_for = stations::read_for(&stations.feeds, &members);
    for top in &tops {
        stations::warn_of_unread(top, &read_for);
    }
    let latitude = |id: &String| Some(read_for.get(id.as_str())?.latitude);
    let latitudes: Vec<Option<f64>> = stations.feeds.keys().map(latitude).collect();
    let problems = all(problems);
    if problems.iter().any(is_everybodys) {
        return Err(problems);
    }
    for (feed, latitude) in stations.feeds.values_mut().zip(latitudes) {
        feed.binding.latitude = latitude;
    }
    let parts = (service.service, limits, email, demo);
    let (Some(service), Some(limits), Some(email), Some(demo)) = parts else {
        unreachable!("a part is missing only if a problem was noted");
    };
    let file = files[0].path.clone();
    drop(tops);
    let pages = pages.iter();
    let mentions = pages.flat_map(|page| page.source.take_mentions());
    let (files, digest) = sources.finish();
    Ok(Loaded {
        config: Config {
            places: super::places(&members),
            service,
            limits,
            notices,
            stations: stations.feeds,
            members,
            addresses,
            email,
            species,
            dialects,
            options,
            demo,
            web,
            mqtt,
        },
        warnings: problems
            .into_iter()
            .filter(|one| one.severity == Severity::Warning)
            .collect(),
        standing: Standing {
            file,
            digest,
            files,
            members: isolated.kept,
            faults: isolated.faults,
        },
        mentions: mentions.collect(),
    })
}

/// Problems in the order of the files, those of other files last.
fn in_order(mut problems: Vec<Problem>, files: &[ConfigFile]) -> Vec<Problem> {
    let places: HashMap<&str, usize> = files
        .iter()
        .enumerate()
        .map(|(place, file)| (file.name.as_str(), place))
        .collect();
    problems.sort_by_key(|one| {
        let place = places.get(one.file.as_str()).copied();
        let place = place.unwrap_or(files.len());
        // Other files keep their own order.
        let within = (place < files.len()).then_some((one.line, one.column));
        (place, within)
    });
    problems
}

fn species(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    sources: &Sources,
) -> BTreeMap<String, Species> {
    overridden(
        &species_file::BUILT_IN,
        folder,
        species_file::read,
        |species| species.id.clone(),
        problems,
        sources,
    )
}

fn options(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    sources: &Sources,
) -> BTreeMap<String, TreatmentOption> {
    overridden(
        &option_file::BUILT_IN,
        folder,
        option_file::read,
        |option| option.id.clone(),
        problems,
        sources,
    )
}

fn dialects(
    folder: Option<&Path>,
    problems: &mut Vec<Problem>,
    sources: &Sources,
) -> BTreeMap<String, Dialect> {
    overridden(
        &dialect_file::BUILT_IN,
        folder,
        dialect_file::read,
        |dialect| dialect.name.clone(),
        problems,
        sources,
    )
}

/// The built-in files, then those of the folder, which replace built-in ones of the same id.
fn overridden<T>(
    built_in: &[(&str, &str)],
    folder: Option<&Path>,
    read: impl Fn(&str, &str) -> Result<T, Vec<Problem>>,
    id: impl Fn(&T) -> String,
    problems: &mut Vec<Problem>,
    sources: &Sources,
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
    for path in folder.map_or_else(Vec::new, |folder| toml_files(folder, sources, &mut unread)) {
        match sources.read(&path) {
            Ok(text) => add(&path.display().to_string(), &text),
            Err(error) => unread.push(unreadable(&path, &format!("cannot be read ({error})"))),
        }
    }
    problems.append(&mut unread);
    all
}

fn toml_files(folder: &Path, sources: &Sources, problems: &mut Vec<Problem>) -> Vec<PathBuf> {
    sources.toml_files(folder).unwrap_or_else(|error| {
        problems.push(unreadable(
            folder,
            &format!("this folder cannot be read ({error}); create it or leave the key out"),
        ));
        Vec::new()
    })
}

fn unreadable(path: &Path, text: &str) -> Problem {
    Problem {
        file: path.display().to_string(),
        line: 1,
        column: 1,
        severity: Severity::Error,
        text: text.to_owned(),
        from: None,
        whose: None,
    }
}
