//! How much a file may hold. A real file of one station stays far below each of these; together
//! they keep what reads a file of any size and shape under 200 MB.

use super::Rejection;

/// Most bytes of a file, after decompression. The longest daily record of one station has under
/// 20 MB, a whole region's history 100.
pub const MOST_BYTES: u64 = 96 << 20;
/// Most bytes of a file that is packed, and is held beside what it unpacks to.
pub const MOST_PACKED_BYTES: u64 = 24 << 20;
/// Most bytes of a file in Latin-1, which grows as it becomes UTF-8.
pub const MOST_LATIN1_BYTES: usize = 32 << 20;
/// Most bytes of a row or header, quoted line ends included.
pub const LONGEST_ROW: usize = 64 << 10;
/// Most columns.
pub const MOST_COLUMNS: usize = 1000;
/// Most rows, those of other stations included.
pub const MOST_ROWS: u64 = 10_000_000;
/// Most rows and values that are refused alone; a file with more is another file.
pub const MOST_REFUSED: usize = 100_000;
/// Most days: four centuries.
pub const MOST_DAYS: usize = 146_097;
/// Most stations of a file of several, when all are listed.
pub const MOST_STATIONS_LISTED: usize = 50_000;
/// Most members of a zip archive.
pub const MOST_MEMBERS: usize = 1000;
/// Most stations of a station list or inventory.
pub const MOST_STATIONS: usize = 400_000;

/// What to do about a file that holds too much.
pub(super) const REMEDY: &str = "nothing of it was used; check the address, and ask the service for the daily values of one station, or of fewer years";

/// A row or header that does not end.
pub(super) fn long_row(line: u64) -> Rejection {
    let what = format!("the row has more than the {LONGEST_ROW} bytes that are allowed");
    Rejection::at(line, what, REMEDY)
}

/// # Errors
/// [`Rejection`] if there are more columns than allowed.
pub(super) fn check_columns(line: u64, columns: usize) -> Result<(), Rejection> {
    check(line, columns <= MOST_COLUMNS, || {
        format!("the row has {columns} columns where {MOST_COLUMNS} are allowed")
    })
}

/// # Errors
/// [`Rejection`] if there are more rows than allowed.
pub(super) fn check_rows(line: u64, rows: u64) -> Result<(), Rejection> {
    check(line, rows <= MOST_ROWS, || {
        format!("the file has more than the {MOST_ROWS} rows that are allowed")
    })
}

/// # Errors
/// [`Rejection`] if more rows and values were refused than allowed.
pub(super) fn check_refused(line: u64, refused: usize) -> Result<(), Rejection> {
    check(line, refused <= MOST_REFUSED, || {
        format!("more than {MOST_REFUSED} rows and values up to here had to be refused")
    })
}

/// # Errors
/// [`Rejection`] if there are more days than allowed.
pub(super) fn check_days(line: u64, days: usize) -> Result<(), Rejection> {
    check(line, days <= MOST_DAYS, || {
        format!("the file has more than the {MOST_DAYS} days that are allowed")
    })
}

/// # Errors
/// [`Rejection`] if there are more stations than can be listed.
pub(super) fn check_stations(line: u64, stations: usize) -> Result<(), Rejection> {
    check(line, stations <= MOST_STATIONS_LISTED, || {
        format!("the file has more than the {MOST_STATIONS_LISTED} stations that can be listed")
    })
}

fn check(line: u64, holds: bool, what: impl FnOnce() -> String) -> Result<(), Rejection> {
    if holds {
        return Ok(());
    }
    Err(Rejection::at(line, what(), REMEDY))
}
