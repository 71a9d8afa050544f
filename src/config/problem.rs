//! What is wrong with a configuration file, and where.

use super::mention::{Mention, Mentioned};
use chrono::NaiveDate;
use std::cell::RefCell;
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
    mentions: RefCell<Vec<Mention>>,
}

impl<'t> SourceText<'t> {
    /// A page without problems.
    pub fn new(file: impl Into<String>, text: &'t str) -> Self {
        Self {
            file: file.into(),
            text,
            problems: RefCell::default(),
            mentions: RefCell::default(),
        }
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
        let (line, column) = line_and_column(self.text, at.start);
        self.problems.borrow_mut().push(Problem {
            file: self.file.clone(),
            line,
            column,
            severity,
            text,
            from,
        });
    }

    /// Notes that a key names something outside of the configuration.
    pub fn mention(&self, at: Range<usize>, what: Mentioned) {
        let (line, column) = line_and_column(self.text, at.start);
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

    /// The problems in the order of the file.
    pub fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|p| (p.line, p.column));
        problems
    }
}

fn line_and_column(text: &str, offset: usize) -> (usize, usize) {
    let offset = offset.min(text.len());
    let before = text.get(..offset).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
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
        assert_eq!(
            line_and_column("a = 1\nä = °C", "a = 1\nä = °".len()),
            (2, 6)
        );
    }

    #[test]
    fn a_misspelt_key_finds_its_neighbour() {
        let keys = ["station", "species", "turf"];
        assert_eq!(closest("staton", keys), Some("station"));
        assert_eq!(closest("zebra", keys), None);
    }
}
