//! What is wrong with a configuration file, and where.

use super::mention::{Mention, Mentioned};
use chrono::NaiveDate;
use std::cell::{Cell, OnceCell, RefCell};
use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

/// Whether a problem stops hatchbell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The configuration cannot be used.
    Error,
    /// Worth a look, but it works.
    Warning,
}

/// A problem at a place in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file as it was named.
    pub file: String,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// Whether it stops hatchbell.
    pub severity: Severity,
    /// What is wrong and what to do.
    pub text: String,
    /// The day from which it is a problem, if it is one only from a day on.
    pub from: Option<NaiveDate>,
    /// Whose mistake it is: a number that whoever reads gives out; none is everybody's.
    pub(super) whose: Option<usize>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        write!(
            f,
            "{}:{}:{}: {kind}: {}",
            self.file, self.line, self.column, self.text
        )
    }
}

/// A file's text, together with the problems found in it so far.
#[derive(Debug)]
pub struct SourceText<'t> {
    file: String,
    text: &'t str,
    problems: RefCell<Vec<Problem>>,
    /// Whose tables are read now.
    whose: Cell<Option<usize>>,
    /// Where each line begins, once somebody asks.
    lines: OnceCell<Vec<usize>>,
    /// What stands at a place, for tables whose problems do not name it.
    labels: BTreeMap<usize, String>,
    mentions: RefCell<Vec<Mention>>,
}

impl<'t> SourceText<'t> {
    /// A page without problems.
    pub fn new(file: impl Into<String>, text: &'t str) -> Self {
        Self {
            file: file.into(),
            text,
            problems: RefCell::new(Vec::new()),
            whose: Cell::new(None),
            lines: OnceCell::new(),
            labels: BTreeMap::new(),
            mentions: RefCell::default(),
        }
    }

    /// Names what stands at some places: problems there begin with it.
    pub fn label(&mut self, labels: BTreeMap<usize, String>) {
        self.labels = labels;
    }

    /// The file as it was named.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// From now on problems are somebody's alone, or everybody's; returns whose they were.
    pub(super) fn attribute(&self, whose: Option<usize>) -> Option<usize> {
        self.whose.replace(whose)
    }

    /// How many errors were noted so far.
    pub fn errors(&self) -> usize {
        let problems = self.problems.borrow();
        let errors = problems
            .iter()
            .filter(|one| one.severity == Severity::Error);
        errors.count()
    }

    /// Forgets the problems from a count on that stand at a place.
    pub(super) fn forget_at(&self, since: usize, at: usize) {
        let (line, column) = self.line_and_column(at);
        let mut seen = 0;
        self.problems.borrow_mut().retain(|problem| {
            seen += 1;
            seen <= since || (problem.line, problem.column) != (line, column)
        });
    }

    /// How many problems were noted so far.
    pub(super) fn count(&self) -> usize {
        self.problems.borrow().len()
    }

    /// The text.
    pub fn text(&self) -> &'t str {
        self.text
    }

    /// Notes an error at a byte range.
    pub fn error(&self, at: Range<usize>, text: impl Into<String>) {
        self.note(Severity::Error, at, text.into(), None);
    }

    /// Notes a warning at a byte range.
    pub fn warning(&self, at: Range<usize>, text: impl Into<String>) {
        self.note(Severity::Warning, at, text.into(), None);
    }

    /// Notes a warning at a byte range that is one only from a day on.
    pub fn warning_from(&self, day: NaiveDate, at: Range<usize>, text: impl Into<String>) {
        self.note(Severity::Warning, at, text.into(), Some(day));
    }

    fn note(&self, severity: Severity, at: Range<usize>, text: String, from: Option<NaiveDate>) {
        let problem = Problem {
            severity,
            from,
            ..self.problem(at, text)
        };
        self.problems.borrow_mut().push(problem);
    }

    /// An error at a byte range that is not noted yet.
    pub(super) fn problem(&self, at: Range<usize>, text: String) -> Problem {
        let (line, column) = self.line_and_column(at.start);
        let text = match self.labels.get(&at.start) {
            Some(label) if !text.starts_with(label.as_str()) => format!("{label}: {text}"),
            _ => text,
        };
        Problem {
            file: self.file.clone(),
            line,
            column,
            severity: Severity::Error,
            text,
            from: None,
            whose: self.whose.get(),
        }
    }

    fn line_and_column(&self, offset: usize) -> (usize, usize) {
        let offset = offset.min(self.text.len());
        let lines = self.lines.get_or_init(|| {
            let ends = self.text.match_indices('\n').map(|(at, _)| at + 1);
            std::iter::once(0).chain(ends).collect()
        });
        let line = lines.partition_point(|start| *start <= offset);
        let start = lines[line - 1];
        let before = self.text.get(start..offset).unwrap_or("");
        (line, before.chars().count() + 1)
    }

    /// Notes that a key names something outside of the configuration.
    pub fn mention(&self, at: Range<usize>, what: Mentioned) {
        let (line, column) = self.line_and_column(at.start);
        self.mentions.borrow_mut().push(Mention {
            file: self.file.clone(),
            line,
            column,
            what,
        });
    }

    /// What was mentioned so far, in the order of the file.
    pub fn take_mentions(&self) -> Vec<Mention> {
        let mut mentions = self.mentions.take();
        mentions.sort_by_key(|one| (one.line, one.column));
        mentions
    }

    /// Whether anything was noted so far.
    pub fn has_problems(&self) -> bool {
        !self.problems.borrow().is_empty()
    }

    /// The problems so far.
    pub(super) fn noted(&self) -> Vec<Problem> {
        self.problems.borrow().clone()
    }

    /// The problems in the order of the file.
    pub fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|p| (p.line, p.column));
        problems
    }
}

/// The candidate closest to a misspelt word, if any is close.
pub fn closest<'c>(word: &str, candidates: impl IntoIterator<Item = &'c str>) -> Option<&'c str> {
    candidates
        .into_iter()
        .map(|candidate| (strsim::damerau_levenshtein(word, candidate), candidate))
        .filter(|(distance, candidate)| *distance <= 1 + candidate.len() / 4)
        .min()
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_not_bytes() {
        let page = SourceText::new("", "a = 1\nä = °C");
        assert_eq!(page.line_and_column("a = 1\nä = °".len()), (2, 6));
    }

    #[test]
    fn a_misspelt_key_finds_its_neighbour() {
        let keys = ["station", "species", "turf"];
        assert_eq!(closest("staton", keys), Some("station"));
        assert_eq!(closest("zebra", keys), None);
    }
}
