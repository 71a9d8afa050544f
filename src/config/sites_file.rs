//! A file of sites as spreadsheets write them: CSV, a row a site, a column a key of
//! `[[member.site]]`. Each row becomes such a table, so that it is read and checked like one.

use super::fields::Fields;
use super::members::KnownIds;
use super::problem::{Problem, SourceText, closest};
use super::site::{ReadSite, SiteDefaults, site};
use csv::{ErrorKind, ReaderBuilder, StringRecord, Trim};
use std::collections::BTreeMap;
use std::path::PathBuf;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What a cell of a column holds.
#[derive(Clone, Copy, PartialEq)]
enum Holds {
    Text,
    Number,
    /// Several texts, with semicolons or spaces between them.
    Texts,
}

/// The columns there are.
const COLUMNS: [(&str, Holds); 14] = [
    ("id", Holds::Text),
    ("name", Holds::Text),
    ("turf", Holds::Text),
    ("latitude", Holds::Number),
    ("station", Holds::Text),
    ("stations", Holds::Texts),
    ("order", Holds::Text),
    ("species", Holds::Texts),
    ("condition", Holds::Text),
    ("samples", Holds::Text),
    ("area", Holds::Text),
    ("options", Holds::Texts),
    ("without", Holds::Texts),
    ("preventives", Holds::Text),
];

/// What some spreadsheets put before the first line.
const BYTE_ORDER_MARK: &str = "\u{feff}";

/// The sites of a file.
pub(super) struct FromFile {
    /// The sites, each with the error should somebody else have its id.
    pub sites: Vec<(ReadSite, Problem)>,
    /// What is wrong.
    pub problems: Vec<Problem>,
}

/// Reads a file of sites of a member, by number; `Err` says why it cannot be read.
pub(super) fn sites(
    (path, number): (PathBuf, usize),
    defaults: &[SiteDefaults<'_>],
    known: &KnownIds<'_>,
) -> Result<FromFile, String> {
    let text = known.sources.read_named(&path).map_err(|error| {
        format!(
            "sites_file {} cannot be read ({error}); it must be a CSV file in UTF-8",
            path.display()
        )
    })?;
    let mut page = SourceText::new(path.display().to_string(), &text);
    page.attribute(Some(number));
    let file = CsvText::of(&text);
    let mut sites = Vec::new();
    let Some((header, rows)) = file.rows(&page) else {
        return Ok(FromFile {
            sites,
            problems: page.into_problems(),
        });
    };
    let Some(columns) = columns(&header, &page) else {
        return Ok(FromFile {
            sites,
            problems: page.into_problems(),
        });
    };
    if rows.is_empty() {
        page.error(
            0..0,
            "there is no site below the header; add a row for each",
        );
    }
    let mut labels = BTreeMap::new();
    for row in &rows {
        for (place, cell) in row.places.iter().zip(&row.record) {
            if let (false, Some((name, _))) = (cell.is_empty(), columns.get(place.0)) {
                labels.insert(place.1, (*name).to_owned());
            }
        }
    }
    page.label(labels);
    for row in &rows {
        let table = row.table(&columns);
        let own = Fields::of(&page, &table, row.end..row.end, "this row");
        let read = site(&own, defaults, known);
        let at = read
            .id
            .as_ref()
            .map_or(row.end..row.end, |id| id.at.clone());
        let id = read.id().unwrap_or_default();
        let clash = page.problem(at, format!("id \"{id}\" is there twice; ids are unique"));
        sites.push((read, clash));
    }
    Ok(FromFile {
        sites,
        problems: page.into_problems(),
    })
}

/// What each column holds; none if one is not known.
fn columns(header: &SiteRow, page: &SourceText<'_>) -> Option<Vec<(&'static str, Holds)>> {
    let mut columns: Vec<(&'static str, Holds)> = Vec::new();
    let names = || COLUMNS.iter().map(|(name, _)| *name);
    let before = page.errors();
    for (place, cell) in header.places.iter().zip(&header.record) {
        let at = place.1..place.1;
        let name = cell.to_lowercase();
        match COLUMNS.iter().find(|(known, _)| *known == name) {
            Some((known, _)) if columns.iter().any(|(other, _)| other == known) => {
                page.error(at, format!("the column {known} is there twice"));
            }
            Some(column) => columns.push(*column),
            None => {
                let hint = match closest(&name, names()) {
                    Some(near) => format!("did you mean {near}?"),
                    None => format!("there are {}", names().collect::<Vec<_>>().join(", ")),
                };
                page.error(at, format!("there is no column \"{cell}\"; {hint}"));
            }
        }
    }
    (page.errors() == before).then_some(columns)
}

/// The text of a file of sites.
struct CsvText<'t> {
    text: &'t str,
    /// Bytes before the header.
    skipped: usize,
    delimiter: u8,
}

/// A row with its places: the number and the start of each cell.
struct SiteRow {
    record: StringRecord,
    places: Vec<(usize, usize)>,
    end: usize,
}

impl<'t> CsvText<'t> {
    /// Semicolons separate where the header has them: spreadsheets write those where a comma is the
    /// decimal sign.
    fn of(text: &'t str) -> Self {
        let plain = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
        let header = plain.lines().next().unwrap_or("");
        Self {
            text,
            skipped: text.len() - plain.len(),
            delimiter: if header.contains(';') { b';' } else { b',' },
        }
    }

    /// The header and the other rows; none if the file cannot be understood, which is noted.
    fn rows(&self, page: &SourceText<'_>) -> Option<(SiteRow, Vec<SiteRow>)> {
        let mut reader = ReaderBuilder::new()
            .has_headers(false)
            .delimiter(self.delimiter)
            .trim(Trim::All)
            .from_reader(&self.text.as_bytes()[self.skipped..]);
        let mut rows: Vec<SiteRow> = Vec::new();
        for record in reader.records() {
            match record {
                Ok(record) => rows.push(self.row(record)),
                Err(error) => {
                    let at = error
                        .position()
                        .map_or(0, |at| self.start(at.byte() as usize));
                    let why = match error.kind() {
                        ErrorKind::UnequalLengths {
                            expected_len, len, ..
                        } => format!(
                            "this row has {len} cells and the header has {expected_len}; give every \
                             row as many"
                        ),
                        _ => format!("this is not CSV: {error}"),
                    };
                    page.error(at..at, why);
                    return None;
                }
            }
        }
        if rows.is_empty() {
            page.error(
                0..0,
                "the file is empty; its first line names the columns, for example id,name,station",
            );
            return None;
        }
        let header = rows.remove(0);
        Some((header, rows))
    }

    /// Where a record begins that is said to begin at a byte after the mark: after the line's end.
    fn start(&self, byte: usize) -> usize {
        let from = (self.skipped + byte).min(self.text.len());
        let rest = &self.text.as_bytes()[from..];
        let ends = rest.iter().take_while(|byte| matches!(byte, b'\r' | b'\n'));
        from + ends.count()
    }

    fn row(&self, record: StringRecord) -> SiteRow {
        let byte = record.position().map_or(0, csv::Position::byte);
        let start = self.start(byte as usize);
        let bytes = self.text.as_bytes();
        let mut starts = vec![start];
        let mut quoted = false;
        let mut end = start;
        while let Some(&byte) = bytes.get(end) {
            match byte {
                b'"' => quoted = !quoted,
                b'\r' | b'\n' if !quoted => break,
                _ if byte == self.delimiter && !quoted => starts.push(end + 1),
                _ => {}
            }
            end += 1;
        }
        let past_spaces = |mut at: usize| {
            while at < end && bytes[at] == b' ' {
                at += 1;
            }
            at
        };
        SiteRow {
            record,
            places: starts.into_iter().map(past_spaces).enumerate().collect(),
            end,
        }
    }
}

impl SiteRow {
    /// The row as the table that it stands for. An empty cell is a key that is not there.
    fn table<'r>(&'r self, columns: &[(&'static str, Holds)]) -> DeTable<'r> {
        let mut table = DeTable::new();
        for ((cell, place), (name, holds)) in self.record.iter().zip(&self.places).zip(columns) {
            if cell.is_empty() {
                continue;
            }
            let at = place.1..place.1;
            let text = |text: &'r str| Spanned::new(at.clone(), DeValue::String(text.into()));
            let value = match holds {
                Holds::Text => text(cell),
                Holds::Number => match DeValue::parse(cell).map(Spanned::into_inner) {
                    Ok(number @ (DeValue::Integer(_) | DeValue::Float(_))) => {
                        Spanned::new(at.clone(), number)
                    }
                    _ => text(cell),
                },
                Holds::Texts => {
                    let parts = cell.split(|letter: char| letter == ';' || letter.is_whitespace());
                    let parts = parts.filter(|part| !part.is_empty()).map(text);
                    Spanned::new(at.clone(), DeValue::Array(parts.collect()))
                }
            };
            table.insert(Spanned::new(at, (*name).into()), value);
        }
        table
    }
}
