//! Reads the sources: the core does no I/O and knows no clock, the edges do not know each other,
//! reports know neither terminal nor edge, files of the domain import each other in no circle, and a
//! name stands for one type.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Sources that take values and return values; reports take the open store as well.
const PURE: [&str; 28] = [
    "src/domain",
    "src/report",
    "src/drawing",
    "src/station_feed/dialect.rs",
    "src/station_feed/memory.rs",
    "src/station_feed/parsed.rs",
    "src/station_feed/quote.rs",
    "src/station_feed/refusal.rs",
    "src/station_feed/station_year.rs",
    "src/station_feed/version.rs",
    "src/feed/codes.rs",
    "src/feed/day.rs",
    "src/feed/places.rs",
    "src/feed/trial.rs",
    "src/feed/station_list.rs",
    "src/feed/table.rs",
    "src/feed/parse.rs",
    "src/feed/vetting",
    "src/notify/wording.rs",
    "src/notify/wording",
    "src/config/fields.rs",
    "src/config/isolation.rs",
    "src/config/lists.rs",
    "src/config/member_text.rs",
    "src/config/renamed.rs",
    "src/config/site.rs",
    "src/in_force.rs",
    "src/config/problem.rs",
];

/// What reaches out of a function: files, network, processes, time, environment, output, threads.
const REACHES_OUT: [&str; 18] = [
    "std::fs",
    "std::net",
    "std::process",
    "std::env",
    "std::thread",
    "std::io",
    "SystemTime",
    "Instant",
    "Utc::now",
    "Local::now",
    "tokio",
    "reqwest",
    "rusqlite",
    "lettre",
    "async fn",
    "println!",
    "tracing::",
    ".await",
];

/// A folder and what it must not know.
const STRANGERS: [(&str, &[&str]); 10] = [
    (
        "src/domain",
        &[
            "crate::report",
            "crate::feed",
            "crate::store",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/station_feed",
        &[
            "crate::feed",
            "crate::store",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/feed",
        &[
            "crate::config",
            "crate::report",
            "crate::store",
            "crate::notify",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/notify",
        &[
            "crate::config",
            "crate::report",
            "crate::store",
            "crate::feed",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/store",
        &[
            "crate::feed",
            "crate::report",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/config",
        &[
            "crate::feed",
            "crate::report",
            "crate::store",
            "crate::cycle",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/cycle",
        &[
            "crate::report",
            "crate::cli",
            "crate::web",
            "crate::drawing",
        ],
    ),
    (
        "src/drawing",
        &[
            "crate::feed",
            "crate::store",
            "crate::notify",
            "crate::config",
            "crate::cycle",
            "crate::cli",
            "crate::web",
        ],
    ),
    (
        "src/web",
        &["crate::feed", "crate::cli", "crate::cycle", "rusqlite"],
    ),
    (
        "src/report",
        &[
            "crate::feed",
            "crate::cli",
            "crate::web",
            "crate::drawing",
            "crate::clock",
            "notify::email",
            "notify::push",
            "notify::local",
            "clap",
            "comfy_table",
            "textwrap",
            "indicatif",
            "askama",
        ],
    ),
];

const MOST_LINES: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(under: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut waiting = vec![root().join(under)];
    while let Some(path) = waiting.pop() {
        if path.is_dir() {
            waiting.extend(
                fs::read_dir(&path)
                    .unwrap()
                    .map(|entry| entry.unwrap().path()),
            );
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            found.push((path, text));
        }
    }
    assert!(!found.is_empty(), "{under} holds no sources");
    found
}

/// Lines of code without comments, and without the tests at the end; a file may be for tests as a
/// whole.
fn code(text: &str) -> Vec<(usize, &str)> {
    let tests = text.match_indices("[cfg(test)]").find(|(at, _)| {
        let next = text[*at..].lines().nth(1).unwrap_or("");
        next.ends_with('{') || text[..*at].ends_with("#!")
    });
    let program = tests.map_or(text, |(at, _)| &text[..at]);
    program
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line.split("//").next().unwrap_or("")))
        .collect()
}

fn places(under: &str, forbidden: &[&str]) -> Vec<String> {
    let mut places = Vec::new();
    for (path, text) in sources(under) {
        for (number, line) in code(&text) {
            for word in forbidden.iter().filter(|word| line.contains(**word)) {
                places.push(format!("{}:{number}: {word}", path.display()));
            }
        }
    }
    places
}

#[test]
fn the_core_does_no_io_and_knows_no_clock() {
    let found: Vec<String> = PURE
        .iter()
        .flat_map(|under| places(under, &REACHES_OUT))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn edges_do_not_know_each_other() {
    let found: Vec<String> = STRANGERS
        .iter()
        .flat_map(|(under, strangers)| places(under, strangers))
        .filter(|place| !place.contains("/tests.rs:"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// The folder of `src`, or the file beside them, that a source belongs to.
fn top_folder(path: &Path) -> String {
    let below = path.strip_prefix(root().join("src")).unwrap();
    let first = below.components().next().unwrap().as_os_str();
    first.to_str().unwrap().trim_end_matches(".rs").to_owned()
}

/// What each top-level folder of `src`, or file beside them, imports of the others, with the first
/// place of each import.
/// Tests may import what they like: they are no part of the program.
fn folder_imports() -> BTreeMap<String, BTreeMap<String, String>> {
    // The roots of the program only list its parts.
    let no_part = ["src/lib.rs", "src/main.rs"].map(|path| root().join(path));
    let all: Vec<(PathBuf, String)> = sources("src")
        .into_iter()
        .filter(|(path, _)| !path.ends_with("tests.rs") && !no_part.contains(path))
        .collect();
    let folders: BTreeSet<String> = all.iter().map(|(path, _)| top_folder(path)).collect();
    let mut imports: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    for (path, text) in &all {
        let own = top_folder(path);
        for (number, line) in code(text) {
            for after in line.split("crate::").skip(1) {
                assert!(!after.starts_with('{'), "one import a line: {line}");
                let end = after.find(|c: char| !c.is_ascii_lowercase() && c != '_');
                let name = &after[..end.unwrap_or(after.len())];
                if name != own && folders.contains(name) {
                    let place = || format!("{}:{number}", path.display());
                    let of_own = imports.entry(own.clone()).or_default();
                    of_own.entry(name.to_owned()).or_insert_with(place);
                }
            }
        }
    }
    imports
}

#[test]
fn folders_import_each_other_in_no_circle() {
    let imports = folder_imports();
    assert!(imports["cycle"].contains_key("store"), "{imports:?}");
    let graph = imports
        .iter()
        .map(|(folder, of)| (folder.clone(), of.keys().cloned().collect()))
        .collect();
    if let Some(way) = circle(&graph) {
        let places = way.windows(2).map(|step| &imports[&step[0]][&step[1]]);
        let places: Vec<&String> = places.collect();
        panic!("{}: {places:#?}", way.join(" -> "));
    }
}

#[test]
fn a_circle_is_found_however_long_it_is() {
    let of = |edges: &[(&str, &str)]| {
        let mut graph: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for (from, to) in edges {
            let of_own = graph.entry((*from).to_owned()).or_default();
            of_own.insert((*to).to_owned());
        }
        circle(&graph)
    };
    assert_eq!(of(&[("a", "b"), ("a", "c"), ("b", "d"), ("c", "d")]), None);
    let way = of(&[("a", "b"), ("b", "c"), ("c", "d"), ("d", "b")]).unwrap();
    assert_eq!(way, ["b", "c", "d", "b"]);
}

#[test]
fn only_the_clock_reads_the_time() {
    let found: Vec<String> = places("src", &["Utc::now", "Local::now", "SystemTime::now"])
        .into_iter()
        .filter(|place| !place.contains("src/clock.rs"))
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn no_source_is_too_long_to_read() {
    let long: Vec<String> = sources("src")
        .into_iter()
        .map(|(path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > MOST_LINES)
        .map(|(path, lines)| format!("{} has {lines} lines", path.display()))
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

/// The program of a file as one text, without comments and tests.
fn program(text: &str) -> String {
    let lines: Vec<&str> = code(text).into_iter().map(|(_, line)| line).collect();
    lines.join("\n")
}

/// Every path that a `use` names: `a::{b, c::d}` gives `a::b` and `a::c::d`. What it is renamed to
/// is left out.
fn paths_of_use(tree: &str) -> Vec<String> {
    let Some((stem, rest)) = tree.split_once('{') else {
        let path = tree.split(" as ").next().unwrap_or("");
        return vec![path.split_whitespace().collect()];
    };
    let inner = rest.rsplit_once('}').map_or(rest, |(inner, _)| inner);
    let mut depth = 0;
    inner
        .split(|letter| {
            depth += i32::from(letter == '{') - i32::from(letter == '}');
            letter == ',' && depth == 0
        })
        .filter(|branch| !branch.trim().is_empty())
        .flat_map(paths_of_use)
        .map(|path| format!("{}{path}", stem.split_whitespace().collect::<String>()))
        .collect()
}

/// The paths of the `use` items of a program: those that are published again, or all others.
fn imports(program: &str, published: bool) -> Vec<String> {
    let mut found = Vec::new();
    for item in program.split(';') {
        let Some(at) = item.rfind("use ") else {
            continue;
        };
        let (before, tree) = item.split_at(at);
        let before = before.lines().last().unwrap_or("").trim();
        let is_published = before.starts_with("pub");
        if (before.is_empty() || is_published) && is_published == published {
            found.extend(paths_of_use(&tree["use ".len()..]));
        }
    }
    found
}

/// Paths that stand in the code itself, such as `super::plan::Window` or `crate::domain::named`.
fn inline_paths(program: &str) -> Vec<String> {
    let is_part = |letter: char| letter.is_alphanumeric() || letter == '_' || letter == ':';
    program
        .split(|letter| !is_part(letter))
        .filter(|word| word.starts_with("super::") || word.starts_with("crate::"))
        // The stem of a `use` with braces.
        .filter(|word| !word.ends_with("::"))
        .map(str::to_owned)
        .collect()
}

/// The files of a folder as modules, each with its program: the key is the path from `crate` on.
struct Modules(BTreeMap<Vec<String>, String>);

impl Modules {
    fn under(folder: &str) -> Self {
        let module = |path: &Path| -> Vec<String> {
            let place = path.strip_prefix(root().join("src")).unwrap();
            let names = place.with_extension("");
            let names = names.iter().map(|name| name.to_str().unwrap().to_owned());
            names.filter(|name| name != "mod").collect()
        };
        Self(
            sources(folder)
                .into_iter()
                .map(|(path, text)| (module(&path), program(&text)))
                .collect(),
        )
    }

    /// A path of a module's program from `crate` on; `None` if it leads out of the crate.
    fn absolute(module: &[String], path: &str) -> Option<Vec<String>> {
        let mut place = module.to_vec();
        let mut parts = path.split("::").peekable();
        match *parts.peek()? {
            "crate" => {
                place.clear();
                parts.next();
            }
            "self" => {
                parts.next();
            }
            "super" => {
                while parts.next_if_eq(&"super").is_some() {
                    place.pop();
                }
            }
            _ => return None,
        }
        place.extend(parts.map(str::to_owned));
        Some(place)
    }

    /// The module whose file defines what a path names: what a folder publishes again leads to the
    /// file that it comes from.
    fn home(&self, path: &[String]) -> Option<Vec<String>> {
        let module = (0..=path.len())
            .rev()
            .map(|length| &path[..length])
            .find(|start| self.0.contains_key(*start))?;
        let Some(name) = path.get(module.len()) else {
            return Some(module.to_vec());
        };
        let published = imports(&self.0[module], true);
        let from = published
            .iter()
            .find_map(|again| again.strip_suffix(&format!("::{name}")));
        match from {
            Some(from) => {
                let mut place = module.to_vec();
                place.extend(from.split("::").map(str::to_owned));
                self.home(&place)
            }
            None => Some(module.to_vec()),
        }
    }

    /// Which file imports from which.
    fn graph(&self) -> BTreeMap<String, BTreeSet<String>> {
        self.0
            .iter()
            .map(|(module, program)| {
                let mut paths = imports(program, false);
                paths.extend(inline_paths(program));
                let homes = paths
                    .iter()
                    .filter_map(|path| self.home(&Self::absolute(module, path)?))
                    .filter(|home| home != module)
                    .map(|home| home.join("/"));
                (module.join("/"), homes.collect())
            })
            .collect()
    }
}

/// A circle in a graph, its first node repeated at the end.
fn circle(graph: &BTreeMap<String, BTreeSet<String>>) -> Option<Vec<String>> {
    fn follow<'g>(
        graph: &'g BTreeMap<String, BTreeSet<String>>,
        node: &'g str,
        way: &mut Vec<&'g str>,
        done: &mut BTreeSet<&'g str>,
    ) -> Option<Vec<String>> {
        if let Some(at) = way.iter().position(|passed| *passed == node) {
            let around = way[at..].iter().chain([&node]);
            return Some(around.map(|&name| name.to_owned()).collect());
        }
        if !done.insert(node) {
            return None;
        }
        way.push(node);
        let found = graph
            .get(node)
            .into_iter()
            .flatten()
            .find_map(|next| follow(graph, next, way, done));
        way.pop();
        found
    }
    let mut done = BTreeSet::new();
    graph
        .keys()
        .find_map(|node| follow(graph, node, &mut Vec::new(), &mut done))
}

/// The types that a program defines; types within an `impl` or a trait belong to it and are left
/// out.
fn types(program: &str) -> Vec<&str> {
    program
        .lines()
        .filter_map(|line| {
            let line = line.strip_prefix("pub ").unwrap_or(line);
            let line = match line.strip_prefix("pub(") {
                Some(rest) => rest.split_once(") ")?.1,
                None => line,
            };
            let (kind, rest) = line.split_once(' ')?;
            ["struct", "enum", "trait", "type", "union"]
                .contains(&kind)
                .then(|| rest.split(|letter: char| !letter.is_alphanumeric()).next())?
        })
        .collect()
}

#[test]
fn files_of_the_domain_import_each_other_in_no_circle() {
    let graph = Modules::under("src/domain").graph();
    if let Some(circle) = circle(&graph) {
        panic!("{}", circle.join(" -> "));
    }
}

#[test]
fn no_two_types_share_a_name() {
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (path, text) in sources("src") {
        for name in types(&program(&text)) {
            let place = path.display().to_string();
            places.entry(name.to_owned()).or_default().push(place);
        }
    }
    let shared: Vec<String> = places
        .into_iter()
        .filter(|(_, places)| places.len() > 1)
        .map(|(name, places)| format!("{name}: {}", places.join(", ")))
        .collect();
    assert!(shared.is_empty(), "{}", shared.join("\n"));
}

#[test]
fn errors_of_the_domain_are_no_texts() {
    let found: Vec<String> = sources("src/domain")
        .into_iter()
        .flat_map(|(path, text)| {
            let lines: Vec<String> = program(&text)
                .split_inclusive("String>")
                .filter(|part| {
                    let result = part.rfind("Result<").map(|at| &part[at..]);
                    result.is_some_and(|result| {
                        let plain: String = result.split_whitespace().collect();
                        plain.ends_with(",String>") && !plain.contains(['{', ';'])
                    })
                })
                .map(|part| {
                    let at = part.rfind("Result<").unwrap_or(0);
                    format!("{}: {}", path.display(), &part[at..])
                })
                .collect();
            lines
        })
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_circle_is_found_through_what_a_folder_publishes_again() {
    let sources = [
        ("domain", "pub fn named() {}"),
        ("domain/a", "mod x;\npub mod y;\npub use x::{Left, Other};"),
        ("domain/a/x", "use super::y::Right;\nstruct Left;"),
        (
            "domain/a/y",
            "use crate::domain::{\n    a::{Other, Left as Before},\n};\nuse std::fmt;",
        ),
        (
            "domain/b",
            "fn f() { crate::domain::named(); super::a::y::f() }",
        ),
    ];
    let modules = Modules(
        sources
            .iter()
            .map(|(path, text)| {
                (
                    path.split('/').map(str::to_owned).collect(),
                    (*text).to_owned(),
                )
            })
            .collect(),
    );
    let mut graph = modules.graph();
    let of = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect();
    assert_eq!(graph["domain/a/x"], of(&["domain/a/y"]));
    assert_eq!(graph["domain/a/y"], of(&["domain/a/x"]));
    assert_eq!(graph["domain/b"], of(&["domain", "domain/a/y"]));
    assert_eq!(
        circle(&graph),
        Some(
            ["domain/a/x", "domain/a/y", "domain/a/x"]
                .map(str::to_owned)
                .to_vec()
        )
    );
    graph.insert("domain/a/y".to_owned(), of(&["domain"]));
    assert_eq!(circle(&graph), None);
}

#[test]
fn types_are_found_whoever_may_see_them() {
    let program = "pub struct A<'a> {\npub(super) enum B {\ntype C = u8;\n    type Err = D;\n\
                   pub(in crate::domain) trait E: F {\nfn structure() {";
    assert_eq!(types(program), ["A", "B", "C", "E"]);
}

#[test]
fn the_check_itself_finds_what_it_looks_for() {
    let graph = Modules::under("src/domain").graph();
    assert!(graph["domain/treatment/planned"].contains("domain/treatment/coverage"));
    assert!(graph["domain/journal/entry"].contains("domain/scouting/found"));
    assert!(!places("src/feed/fetch.rs", &REACHES_OUT).is_empty());
    assert!(!places("src/cycle", &["crate::store"]).is_empty());
}
