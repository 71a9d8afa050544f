//! `include = ["members/*.toml"]`: which files belong to a configuration.

use super::fields::{Fields, parse};
use super::problem::{Problem, SourceText};
use super::sources::{Sources, absolute};
use std::path::{Path, PathBuf};

/// A file of the configuration.
pub(super) struct ConfigFile {
    /// As it is named in messages.
    pub name: String,
    /// What its relative paths start from.
    pub folder: PathBuf,
    /// From the root on.
    pub path: String,
    /// Its text, or why it cannot be read.
    pub text: Result<String, String>,
}

impl ConfigFile {
    /// A file with its text.
    pub fn new(path: &Path, folder: &Path, text: Result<String, String>) -> Self {
        Self {
            name: path.display().to_string(),
            folder: folder.to_owned(),
            path: absolute(path).display().to_string(),
            text,
        }
    }
}

/// A file that was found, with the one that includes it.
struct Included {
    identity: PathBuf,
    includer: Option<usize>,
}

/// The main file and every file that is included, in the order in which they are named, with what is
/// wrong about including them.
pub(super) fn files(main: ConfigFile, sources: &Sources) -> (Vec<ConfigFile>, Vec<Problem>) {
    let mut found = vec![Included {
        identity: sources.identity(Path::new(&main.name)),
        includer: None,
    }];
    let mut files = vec![main];
    let mut problems = Vec::new();
    let mut next = 0;
    while next < files.len() {
        let including = included_by(next, &mut found, &files, sources, &mut problems);
        files.extend(including);
        next += 1;
    }
    (files, problems)
}

/// The files that one file includes.
fn included_by(
    which: usize,
    found: &mut Vec<Included>,
    files: &[ConfigFile],
    sources: &Sources,
    problems: &mut Vec<Problem>,
) -> Vec<ConfigFile> {
    let file = &files[which];
    let mut new = Vec::new();
    // Few files include others, so few are parsed a second time.
    let Some(text) = file
        .text
        .as_ref()
        .ok()
        .filter(|text| text.contains("include"))
    else {
        return new;
    };
    let unused = SourceText::new("", text.as_str());
    let table = parse(&unused);
    let patterns = Fields::top(&unused, &table).texts("include");
    let page = SourceText::new(file.name.as_str(), text);
    for pattern in patterns.into_iter().flatten() {
        let text = &pattern.value;
        let at = || pattern.at.clone();
        let paths = match sources.matching(&file.folder, text) {
            Ok(paths) => paths,
            Err(why) => {
                page.error(at(), format!("include names \"{text}\", which {why}"));
                continue;
            }
        };
        if paths.is_empty() {
            page.error(
                at(),
                format!(
                    "include names \"{text}\", and there is no such file in {}; make one, or leave \
                     the pattern out",
                    place(&file.folder).display()
                ),
            );
        }
        for path in paths {
            let identity = sources.identity(&path);
            if let Some(before) = found.iter().position(|one| one.identity == identity) {
                let name = path.display();
                page.error(
                    at(),
                    if leads_to(which, before, found) {
                        format!(
                            "include = \"{text}\" names {name}, which is {}: a circle; name other files",
                            match before == which {
                                true => "this file itself",
                                false => "a file that includes this one",
                            }
                        )
                    } else {
                        let by = found[before].includer.map_or("", |by| files[by].name.as_str());
                        format!("{name} is included twice, here and by {by}; include it once")
                    },
                );
                continue;
            }
            found.push(Included {
                identity,
                includer: Some(which),
            });
            let folder = path.parent().unwrap_or(Path::new("")).to_owned();
            let text = sources.read(&path).map_err(|error| error.to_string());
            new.push(ConfigFile::new(&path, &folder, text));
        }
    }
    problems.extend(page.into_problems());
    new
}

/// A folder from the root on.
fn place(folder: &Path) -> PathBuf {
    match folder.as_os_str().is_empty() {
        true => absolute(Path::new(".")),
        false => absolute(folder),
    }
}

/// Whether a file is included, over whichever others, by another or is that one.
fn leads_to(file: usize, other: usize, found: &[Included]) -> bool {
    std::iter::successors(Some(file), |one| found[*one].includer).any(|one| one == other)
}

/// Tables that stand in the main file alone.
const ONE_ONLY: [&str; 8] = [
    "service",
    "mqtt",
    "web",
    "limits",
    "notices",
    "email",
    "demo",
    "site_defaults",
];

/// Notes tables in an included file of which there is one.
pub(super) fn refuse_one_only(top: &Fields<'_, '_>, main: &str) {
    for key in ONE_ONLY {
        if top.has(key) {
            top.known(key);
            top.page().error(
                top.at_key(key),
                format!(
                    "[{key}] is there once, in {main}; an included file holds members and stations"
                ),
            );
        }
    }
}
