//! What public feeds have really done wrong, one by one, each on a small file of invented stations:
//! it is survived, refused with a reason, or reported. A test's name begins with the number of its
//! defect; those marked * are in `tests/feeds/guards.rs`, because they show only over several downloads.
//!
//!  1 late revisions of a tenth             16 lines above the header, any number of them
//!  2 a large revision, taken back later    17 commas in quoted names, broken quotes
//!  3 a value voided, then restored         18 an error text with status 200
//!  4 a truncated file that is valid *      19 a header alone, a blank year
//!  5 an older copy *                       20 unknown flags, "null", trailing commas
//!  6 an old id, served but frozen *        21 a day twice
//!  7 a service that ended *                22 values of several days, days shifted by the hour
//!  8 placeholder rows, days to come           of observation
//!  9 a minimum above the maximum           23 a station that moved
//! 10 absent days, blank cells, codes       24 days of other hours
//! 11 one of the pair only                  25 a span that the file's name gets wrong
//! 12 a switch of the unit *                26 a repair that outlives its defect
//! 13 a code for no value among decimals    27 a server over its limit
//! 14 headers that change                   28 a file that went through a spreadsheet
//! 15 byte order marks, Latin-1, CRLF       29 files of other cadences under the same name

mod bodies;
mod days;
mod revisions;
mod services;

use crate::support::{command, engine, feeds, http_server};
use hatchbell::station_feed::dialect::Binding;
use hatchbell::station_feed::parsed::Parsed;

const TODAY: &str = "2026-07-10";

/// A file that must be taken.
fn taken(text: &str, binding: &Binding) -> Parsed {
    feeds::take(text.as_bytes(), binding, TODAY).expect("this file must be taken")
}

/// The message of a file that must be refused as a whole.
fn refusal(text: &str, binding: &Binding) -> String {
    feeds::take(text.as_bytes(), binding, TODAY)
        .expect_err("this file must be refused")
        .to_string()
}

/// Minimum and maximum of a day.
fn pair(parsed: &Parsed, day: &str) -> (Option<f64>, Option<f64>) {
    parsed
        .readings
        .get(&feeds::date(day))
        .map_or((None, None), |reading| (reading.min, reading.max))
}

fn says(message: &str, words: &[&str]) {
    for word in words {
        assert!(message.contains(word), "{message:?} does not say {word:?}");
    }
}
