//! Files of many stations and rows, GHCN-Daily's by_year and by_station: read as a stream, in
//! memory that does not grow with the file.
//!
//! A row is `ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME`, with or without a header. What is
//! wanted of it goes two ways: rows of configured stations are gathered and parsed as any feed
//! ([`row_batch`]); with [`WantedStations::every_station`] the values of all stations are packed
//! ([`archive`]). What is held is handed on as a [`BulkPart`] when there is much of it.

use super::Rejection;
use super::day::parse_date;
use super::limits::check_columns;
use super::table::{refuse_what_is_no_csv, shorten};
use crate::station_feed::dialect::{Binding, Dialect};
use crate::station_feed::parsed::Parsed;
use archive::{Archive, Harvest};
use chrono::NaiveDate;
use field_splitter::{FieldSplitter, LongRowColumns};
use row_batch::RowBatches;
use std::io::Read;

pub mod archive;
mod field_splitter;
pub mod row_batch;

/// Bytes read at a time; no line may be longer.
pub const CHUNK_BYTES: usize = 1 << 20;

/// What is looked for in a file.
#[derive(Debug, Clone)]
pub struct WantedStations<'w> {
    /// How the rows are laid out: columns by position, station and date first, with or without a
    /// header.
    pub dialect: &'w Dialect,
    /// Stations whose rows are parsed by their bindings; each has a code.
    pub stations: Vec<&'w Binding>,
    /// Whether the values of every station are packed as well.
    pub every_station: bool,
    /// Rows dated after the day after this one are refused.
    pub today: NaiveDate,
    /// How much is held before it is handed on.
    pub limits: BulkLimits,
}

/// How much of a file is held in memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BulkLimits {
    /// Bytes of rows of configured stations. A part is ended at the next change of station or year.
    pub batch_bytes: usize,
    /// Years of stations that are packed, up to 2.2 kB each. There are more than in any one year
    /// of GHCN-Daily, so a by_year file makes one part.
    pub station_years: usize,
}

/// Files that are packed at once at most: each may hold its limit of station years.
pub const MOST_PACKED_AT_ONCE: usize = 4;

impl BulkLimits {
    /// The limits of each of this many files that are read at once.
    pub fn of_each(readers: usize) -> Self {
        Self {
            batch_bytes: (32 << 20) / readers.max(1),
            station_years: 65_536,
        }
    }
}

/// What a stretch of a file said.
#[derive(Debug, Default)]
pub struct BulkPart {
    /// What configured stations said, by their place in [`WantedStations::stations`].
    pub stations: Vec<(usize, Result<Parsed, Rejection>)>,
    /// The values of every station.
    pub harvest: Harvest,
}

/// Why a file was not read to its end.
#[derive(Debug, thiserror::Error)]
pub enum BulkError {
    /// The bytes ended or failed.
    #[error("{0}")]
    Read(#[from] std::io::Error),
    /// The bytes are not what they should be.
    #[error("{0}")]
    Refused(Rejection),
}

impl From<Rejection> for BulkError {
    fn from(rejection: Rejection) -> Self {
        Self::Refused(rejection)
    }
}

/// Reads a file to its end and hands on what it holds, part by part. Returns the number of rows.
///
/// # Errors
/// [`BulkError`] if the source fails, is no file of such rows or stops in mid-line, or if `hand_on`
/// fails. Parts handed on before are whole days of their stations and may be kept.
pub fn read(
    source: impl Read,
    wanted: &WantedStations<'_>,
    hand_on: &mut dyn FnMut(BulkPart) -> std::io::Result<()>,
) -> Result<u64, BulkError> {
    let mut batches = RowBatches::new(wanted);
    let mut archive = match wanted.every_station {
        true => Some(Archive::new(wanted)?),
        false => None,
    };
    let columns = LongRowColumns::of(wanted.dialect)?;
    let mut width = 0;
    let mut rows = 0;
    let last = each_line(source, &mut |number, line| {
        if line.is_empty() {
            return Ok(());
        }
        if width == 0 {
            width = FieldSplitter::new(line).width;
            check_columns(number, width)?;
            batches.set_width(width);
            if is_header(number, line, columns, wanted.dialect)? {
                return Ok(());
            }
        }
        rows += 1;
        let packed_full = archive.as_ref().is_some_and(|a| a.is_full_before(line));
        if packed_full || batches.is_full_before(line) {
            hand_on(part(&mut batches, archive.as_mut())?)?;
        }
        batches.take(number, line)?;
        match &mut archive {
            Some(archive) => Ok(archive.take(number, line, width)?),
            None => Ok(()),
        }
    })?;
    let last_width = FieldSplitter::new(&last.1).width;
    if last_width < width {
        return Err(Rejection::at(
            last.0,
            format!("the last row has {last_width} of {width} fields, so the file was cut off"),
            "get it again",
        )
        .into());
    }
    hand_on(part(&mut batches, archive.as_mut())?)?;
    Ok(rows)
}

fn part(
    batches: &mut RowBatches<'_>,
    archive: Option<&mut Archive<'_>>,
) -> Result<BulkPart, Rejection> {
    Ok(BulkPart {
        harvest: archive
            .map(Archive::harvest)
            .transpose()?
            .unwrap_or_default(),
        stations: batches.parsed(),
    })
}

/// Whether the first line is a header: it has no date where one is due, but the right names.
fn is_header(
    number: u64,
    line: &[u8],
    columns: LongRowColumns,
    dialect: &Dialect,
) -> Result<bool, Rejection> {
    let split = FieldSplitter::new(line);
    let date = split.field(columns.date);
    if parse_date(&String::from_utf8_lossy(date), &dialect.date_formats).is_some() {
        return Ok(false);
    }
    let named = |column: &crate::station_feed::dialect::Column, field: &[u8]| {
        let mut names = column.names.iter();
        names.any(|name| field.eq_ignore_ascii_case(name.as_bytes()))
    };
    let all = &dialect.columns;
    if named(&all.station, split.field(columns.station))
        && named(&all.date, split.field(columns.date))
        && named(&all.element, split.field(columns.element))
        && named(&all.value, split.field(columns.value))
        && named(&all.quality, split.field(columns.quality))
    {
        return Ok(true);
    }
    Err(Rejection::at(
        number,
        format!(
            "neither a row ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,… nor a header of that order: {}",
            shorten(&String::from_utf8_lossy(line))
        ),
        "a file of one station in another form is imported with --station ID FILE",
    ))
}

/// What is done with a line and its number.
type Take<'t> = &'t mut dyn FnMut(u64, &[u8]) -> Result<(), BulkError>;

/// Calls for each line, without its line end, with its number from 1. Returns the last one that is
/// not empty.
fn each_line(mut source: impl Read, take: Take<'_>) -> Result<(u64, Vec<u8>), BulkError> {
    let mut buffer = vec![0; CHUNK_BYTES];
    let (mut held, mut number) = (0, 0);
    let mut last = (0, Vec::new());
    loop {
        let read = fill(&mut source, &mut buffer[held..])?;
        let end = held + read;
        let mut rest = &buffer[..end];
        if number == 0 {
            rest = rest.strip_prefix(b"\xef\xbb\xbf").unwrap_or(rest);
            refuse_what_is_no_csv(rest)?;
        }
        let mut newest: (u64, &[u8]) = (0, &[]);
        while let Some(length) = memchr::memchr(b'\n', rest) {
            number += 1;
            let line = &rest[..length];
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            take(number, line)?;
            if !line.is_empty() {
                newest = (number, line);
            }
            rest = &rest[length + 1..];
        }
        if newest.0 > 0 {
            last = (newest.0, newest.1.to_vec());
        }
        if read == 0 && rest.is_empty() {
            return Ok(last);
        }
        let start = end - rest.len();
        if read == 0 || (start == 0 && end == buffer.len()) {
            return Err(unfinished(number + 1, read == 0).into());
        }
        buffer.copy_within(start..end, 0);
        held = end - start;
    }
}

/// Reads until the buffer is full or the source ends.
fn fill(source: &mut impl Read, buffer: &mut [u8]) -> std::io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match source.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(read) => filled += read,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

fn unfinished(line: u64, at_the_end: bool) -> Rejection {
    if at_the_end {
        Rejection::at(
            line,
            "the file stops in mid-line, so it was cut off on the way or is still being written",
            "get it again",
        )
    } else {
        Rejection::at(
            line,
            format!("the line is longer than {CHUNK_BYTES} bytes, so this is not CSV"),
            "look at the file by hand",
        )
    }
}

/// The first field of a line. Long rows begin with their station's code.
fn code_of(line: &[u8]) -> &[u8] {
    &line[..memchr::memchr(b',', line).unwrap_or(line.len())]
}

/// Where the year of a line ends: station and date are its first fields.
fn year_of(line: &[u8]) -> usize {
    (code_of(line).len() + 5).min(line.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(source: impl Read) -> Result<Vec<(u64, Vec<u8>)>, BulkError> {
        let mut lines = Vec::new();
        each_line(source, &mut |number, line| {
            lines.push((number, line.to_vec()));
            Ok(())
        })?;
        Ok(lines)
    }

    /// A source that gives a few bytes at a time.
    struct Trickle<'b>(&'b [u8]);

    impl Read for Trickle<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            let length = self.0.len().min(3).min(buffer.len());
            buffer[..length].copy_from_slice(&self.0[..length]);
            self.0 = &self.0[length..];
            Ok(length)
        }
    }

    #[test]
    fn lines_come_whole_however_the_bytes_arrive() {
        let text: Vec<u8> = (0..200_000)
            .flat_map(|n| format!("line {n}\r\n").into_bytes())
            .collect();
        assert!(text.len() > 2 * CHUNK_BYTES);
        let found = lines(Trickle(&text)).unwrap();
        assert_eq!(found.len(), 200_000);
        for (index, (number, line)) in found.iter().enumerate() {
            assert_eq!(*number, index as u64 + 1);
            assert_eq!(line, format!("line {index}").as_bytes());
        }
    }

    #[test]
    fn a_line_without_an_end_is_refused_with_its_number() {
        let error = lines(&b"one\ntwo\nthr"[..]).unwrap_err().to_string();
        assert!(error.starts_with("line 3: "), "{error}");
        assert!(error.contains("mid-line"), "{error}");
    }

    #[test]
    fn a_line_longer_than_the_buffer_is_refused() {
        let error = lines(std::io::repeat(b'x')).unwrap_err().to_string();
        assert!(error.starts_with("line 1: "), "{error}");
        assert!(error.contains("longer than 1048576 bytes"), "{error}");
    }
}
