//! Rows of configured stations, gathered from a stream and parsed as any feed is.

use super::{Wanted, code_of, year_of};
use crate::feed::Rejection;
use crate::feed::dialect::{Binding, Dialect, Header};
use crate::feed::parse::{Parsed, parse};
use std::collections::HashMap;

/// The rows of one station.
#[derive(Default)]
struct Sheaf {
    /// The rows as they stand, with their line ends.
    rows: Vec<u8>,
    /// The line of each.
    lines: Vec<u64>,
}

/// The rows of all configured stations since the last part.
pub(super) struct Sheaves<'w> {
    wanted: &'w Wanted<'w>,
    /// Places in [`Wanted::stations`] by code.
    places: HashMap<&'w [u8], Vec<usize>>,
    sheaves: Vec<Sheaf>,
    header: Vec<u8>,
    held: usize,
    /// The start of the last row that was taken, through the year.
    last: Vec<u8>,
    /// The last code that was no station's; the rows of a station come together.
    passed_over: Vec<u8>,
}

impl<'w> Sheaves<'w> {
    pub(super) fn new(wanted: &'w Wanted<'w>) -> Self {
        let mut places: HashMap<&[u8], Vec<usize>> = HashMap::new();
        for (place, binding) in wanted.stations.iter().enumerate() {
            if let Some(code) = &binding.code {
                places.entry(code.as_bytes()).or_default().push(place);
            }
        }
        Self {
            wanted,
            places,
            sheaves: wanted.stations.iter().map(|_| Sheaf::default()).collect(),
            header: Vec::new(),
            held: 0,
            last: Vec::new(),
            passed_over: Vec::new(),
        }
    }

    /// How many fields a row of this file has.
    pub(super) fn set_width(&mut self, width: usize) {
        self.header = header(self.wanted.dialect, width);
    }

    /// Whether what is held is to be handed on before this line: there is much of it, and the line
    /// begins another station or year, so no day is torn apart.
    pub(super) fn is_full_before(&self, line: &[u8]) -> bool {
        self.held >= self.wanted.limits.sheaf_bytes && !line.starts_with(&self.last)
    }

    pub(super) fn take(&mut self, number: u64, line: &[u8]) {
        if self.places.is_empty() {
            return;
        }
        let code = code_of(line);
        if code == self.passed_over {
            return;
        }
        let Some(places) = self.places.get(code) else {
            self.passed_over.clear();
            self.passed_over.extend_from_slice(code);
            return;
        };
        for place in places {
            let sheaf = &mut self.sheaves[*place];
            sheaf.rows.extend_from_slice(line);
            sheaf.rows.push(b'\n');
            sheaf.lines.push(number);
            self.held += line.len() + 1;
        }
        if !line.starts_with(&self.last) || self.last.is_empty() {
            self.last.clear();
            self.last.extend_from_slice(&line[..year_of(line)]);
        }
    }

    /// Parses what is held and lets go of it.
    pub(super) fn parsed(&mut self) -> Vec<(usize, Result<Parsed, Rejection>)> {
        self.held = 0;
        let sheaves = self.sheaves.iter_mut().enumerate();
        sheaves
            .filter(|(_, sheaf)| !sheaf.lines.is_empty())
            .map(|(place, sheaf)| {
                let Sheaf { rows, lines } = std::mem::take(sheaf);
                let mut text = self.header.clone();
                text.extend_from_slice(&rows);
                let parsed = parse_sheaf(&text, &lines, self.wanted, self.wanted.stations[place]);
                (place, parsed)
            })
            .collect()
    }
}

fn parse_sheaf(
    text: &[u8],
    lines: &[u64],
    wanted: &Wanted<'_>,
    binding: &Binding,
) -> Result<Parsed, Rejection> {
    let mut binding = binding.clone();
    binding.dialect = Dialect {
        header: Header::Required,
        ..wanted.dialect.clone()
    };
    binding.unit = wanted.dialect.units[0];
    // The header is line 1 of the sheaf.
    let in_file = |line: u64| {
        let row = usize::try_from(line).unwrap_or(0).checked_sub(2);
        row.and_then(|row| lines.get(row)).copied().unwrap_or(line)
    };
    match parse(text, &binding, wanted.today) {
        Ok(mut parsed) => {
            for row in &mut parsed.refused {
                row.line = in_file(row.line);
            }
            Ok(parsed)
        }
        Err(rejection) => Err(Rejection {
            line: rejection.line.map(in_file),
            ..rejection
        }),
    }
}

/// A header for rows of this dialect and width, by which any row of another width is known.
fn header(dialect: &Dialect, width: usize) -> Vec<u8> {
    let columns = &dialect.columns;
    let named = [
        &columns.station,
        &columns.date,
        &columns.element,
        &columns.value,
        &columns.quality,
    ];
    let names: Vec<&str> = (0..width)
        .map(|position| {
            named
                .iter()
                .find(|column| column.position == Some(position))
                .and_then(|column| column.names.first())
                .map_or("-", String::as_str)
        })
        .collect();
    let mut header = names.join(",").into_bytes();
    header.push(b'\n');
    header
}
