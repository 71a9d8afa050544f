//! Files of many stations and rows, GHCN-Daily's by_year and by_station: read as a stream, in
//! memory that does not grow with the file.
//!
//! A row is `ID,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBSTIME`, with or without a header. What is
//! wanted of it goes two ways: rows of configured stations are gathered and parsed as any feed
//! ([`sheaf`]); with [`Wanted::every_station`] the values of all stations are packed
//! ([`archive`]). What is held is handed on as a [`Part`] when there is much of it.

use super::Rejection;
use super::dialect::{Binding, Dialect};
use super::table::{long_row_width, refuse_what_is_no_csv};
use archive::{Archive, Harvest};
use chrono::NaiveDate;
use sheaf::Sheaves;
use std::io::Read;

use super::parse::Parsed;

pub mod archive;
pub mod sheaf;

/// Bytes read at a time; no line may be longer.
pub const CHUNK_BYTES: usize = 1 << 20;

/// What is looked for in a file.
#[derive(Debug, Clone)]
pub struct Wanted<'w> {
    /// How the rows are laid out: columns by position, with or without a header.
    pub dialect: &'w Dialect,
    /// Stations whose rows are parsed by their bindings; each has a code.
    pub stations: Vec<&'w Binding>,
    /// Whether the values of every station are packed as well.
    pub every_station: bool,
    /// Rows dated after the day after this one are refused.
    pub today: NaiveDate,
    /// How much is held before it is handed on.
    pub limits: Limits,
}

/// How much of a file is held in memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of rows of configured stations. A part is ended at the next change of station or year.
    pub sheaf_bytes: usize,
    /// Years of stations that are packed, up to 2.2 kB each.
    pub station_years: usize,
}

impl Limits {
    /// Limits of a process that reads this many files at once: together they hold no more than one
    /// alone would.
    pub fn shared_by(readers: usize) -> Self {
        let readers = readers.max(1);
        Self {
            sheaf_bytes: (32 << 20) / readers,
            station_years: 49_152 / readers,
        }
    }
}

/// What a stretch of a file said.
#[derive(Debug, Default)]
pub struct Part {
    /// What configured stations said, by their place in [`Wanted::stations`].
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
/// [`BulkError`] if the source fails, is no file of such rows, or stops in mid-line. Parts handed
/// on before are whole days of their stations and may be kept.
pub fn read(
    source: impl Read,
    wanted: &Wanted<'_>,
    hand_on: &mut dyn FnMut(Part),
) -> Result<u64, BulkError> {
    let mut sheaves = Sheaves::new(wanted);
    let mut archive = wanted.every_station.then(|| Archive::new(wanted));
    let mut width = 0;
    let mut rows = 0;
    each_line(source, &mut |number, line| {
        if width == 0 {
            if line.is_empty() {
                return Ok(());
            }
            let (columns, is_header) = long_row_width(line, number, wanted.dialect)?;
            width = columns;
            sheaves.set_width(width);
            if is_header {
                return Ok(());
            }
        }
        if line.is_empty() {
            return Ok(());
        }
        rows += 1;
        if sheaves.is_full_before(line) || archive.as_ref().is_some_and(|a| a.is_full_before(line))
        {
            hand_on(part(&mut sheaves, archive.as_mut()));
        }
        sheaves.take(number, line);
        match &mut archive {
            Some(archive) => archive.take(number, line, width),
            None => Ok(()),
        }
    })?;
    hand_on(part(&mut sheaves, archive.as_mut()));
    Ok(rows)
}

fn part(sheaves: &mut Sheaves<'_>, archive: Option<&mut Archive<'_>>) -> Part {
    Part {
        stations: sheaves.parsed(),
        harvest: archive.map(Archive::harvest).unwrap_or_default(),
    }
}

/// Calls for each line, without its line end, with its number from 1.
fn each_line(
    mut source: impl Read,
    take: &mut dyn FnMut(u64, &[u8]) -> Result<(), Rejection>,
) -> Result<(), BulkError> {
    let mut buffer = vec![0; CHUNK_BYTES];
    let (mut held, mut number) = (0, 0);
    loop {
        let read = fill(&mut source, &mut buffer[held..])?;
        let end = held + read;
        let mut rest = &buffer[..end];
        if number == 0 {
            rest = rest.strip_prefix(b"\xef\xbb\xbf").unwrap_or(rest);
            refuse_what_is_no_csv(rest)?;
        }
        while let Some(length) = memchr::memchr(b'\n', rest) {
            number += 1;
            let line = &rest[..length];
            take(number, line.strip_suffix(b"\r").unwrap_or(line))?;
            rest = &rest[length + 1..];
        }
        if read == 0 && rest.is_empty() {
            return Ok(());
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

/// The first field of a line.
fn code_of(line: &[u8]) -> &[u8] {
    &line[..memchr::memchr(b',', line).unwrap_or(line.len())]
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

    #[test]
    fn the_limits_are_shared_by_all_readers() {
        let alone = Limits::shared_by(1);
        for readers in 2..64 {
            let shared = Limits::shared_by(readers);
            assert!(shared.station_years * readers <= alone.station_years);
            assert!(shared.sheaf_bytes * readers <= alone.sheaf_bytes);
            assert!(shared.station_years > 0);
        }
    }
}
