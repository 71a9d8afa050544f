//! Rows of configured stations, gathered from a stream and parsed as any feed is.

use super::field_splitter::FieldSplitter;
use super::{WantedStations, code_of, year_of};
use crate::feed::Rejection;
use crate::feed::limits::check_refused;
use crate::feed::parse::parse;
use crate::station_feed::dialect::{Dialect, Header};
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::{RefusedRow, Why};
use std::collections::HashMap;

/// Most bytes of the rows of one station and year, beyond what a batch may hold. A real year has
/// under a megabyte.
const MOST_YEAR_BYTES: usize = 4 << 20;

/// The rows of one station.
#[derive(Default)]
struct RowBatch {
    /// The rows as they stand, with their line ends.
    rows: Vec<u8>,
    /// The line of each.
    lines: Vec<u64>,
    /// Rows of another width than the file's.
    odd: Vec<RefusedRow>,
}

/// The rows of all configured stations since the last part.
pub(super) struct RowBatches<'w> {
    wanted: &'w WantedStations<'w>,
    /// Places in [`WantedStations::stations`] by code.
    places: HashMap<&'w [u8], Vec<usize>>,
    batches: Vec<RowBatch>,
    width: usize,
    held: usize,
    /// The start of the last row that was taken, through the year.
    last: Vec<u8>,
    /// The last code that was no station's; the rows of a station come together.
    passed_over: Vec<u8>,
}

impl<'w> RowBatches<'w> {
    pub(super) fn new(wanted: &'w WantedStations<'w>) -> Self {
        let mut places: HashMap<&[u8], Vec<usize>> = HashMap::new();
        for (place, binding) in wanted.stations.iter().enumerate() {
            if let Some(code) = &binding.code {
                places.entry(code.as_bytes()).or_default().push(place);
            }
        }
        Self {
            wanted,
            places,
            batches: wanted
                .stations
                .iter()
                .map(|_| RowBatch::default())
                .collect(),
            width: 0,
            held: 0,
            last: Vec::new(),
            passed_over: Vec::new(),
        }
    }

    /// How many fields a row of this file has.
    pub(super) fn set_width(&mut self, width: usize) {
        self.width = width;
    }

    /// Whether what is held is to be handed on before this line: there is much of it, and the line
    /// begins another station or year, so no day is torn apart.
    pub(super) fn is_full_before(&self, line: &[u8]) -> bool {
        self.held >= self.wanted.limits.batch_bytes && !line.starts_with(&self.last)
    }

    /// # Errors
    /// [`Rejection`] if one station and year has more rows, or more bad ones, than can be.
    pub(super) fn take(&mut self, number: u64, line: &[u8]) -> Result<(), Rejection> {
        if self.places.is_empty() {
            return Ok(());
        }
        let code = code_of(line);
        if code == self.passed_over {
            return Ok(());
        }
        let Some(places) = self.places.get(code) else {
            self.passed_over.clear();
            self.passed_over.extend_from_slice(code);
            return Ok(());
        };
        let width = FieldSplitter::new(line).width;
        for place in places {
            let row_batch = &mut self.batches[*place];
            if width != self.width {
                row_batch.odd.push(RefusedRow {
                    line: number,
                    why: Why::Width,
                    field: format!("{width} where {} are due", self.width),
                });
                check_refused(number, row_batch.odd.len())?;
                continue;
            }
            row_batch.rows.extend_from_slice(line);
            row_batch.rows.push(b'\n');
            row_batch.lines.push(number);
            self.held += line.len() + 1;
        }
        if !line.starts_with(&self.last) || self.last.is_empty() {
            self.last.clear();
            self.last.extend_from_slice(&line[..year_of(line)]);
        }
        if self.held > self.wanted.limits.batch_bytes + MOST_YEAR_BYTES {
            return Err(Rejection::at(
                number,
                format!(
                    "the rows of one station and year have more than {MOST_YEAR_BYTES} bytes up to here"
                ),
                "no such year is real; get the file again from its publisher",
            ));
        }
        Ok(())
    }

    /// Parses what is held and lets go of it.
    pub(super) fn parsed(&mut self) -> Vec<(usize, Result<Parsed, Rejection>)> {
        self.held = 0;
        let batches = self.batches.iter_mut().enumerate();
        batches
            .filter(|(_, row_batch)| !row_batch.lines.is_empty() || !row_batch.odd.is_empty())
            .map(|(place, row_batch)| {
                let row_batch = std::mem::take(row_batch);
                (
                    place,
                    parse_batch(row_batch, self.width, self.wanted, place),
                )
            })
            .collect()
    }
}

fn parse_batch(
    row_batch: RowBatch,
    width: usize,
    wanted: &WantedStations<'_>,
    place: usize,
) -> Result<Parsed, Rejection> {
    let mut text = header(wanted.dialect, width);
    text.extend_from_slice(&row_batch.rows);
    let mut binding = wanted.stations[place].clone();
    binding.dialect = Dialect {
        header: Header::Required,
        ..wanted.dialect.clone()
    };
    binding.unit = wanted.dialect.units[0];
    // The header is line 1 of the batch.
    let in_file = |line: u64| {
        let row = usize::try_from(line).unwrap_or(0).checked_sub(2);
        row.and_then(|row| row_batch.lines.get(row))
            .copied()
            .unwrap_or(line)
    };
    match parse(&text, &binding, wanted.today) {
        Ok(mut parsed) => {
            for row in &mut parsed.refused {
                row.line = in_file(row.line);
            }
            parsed.refused.extend(row_batch.odd);
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
