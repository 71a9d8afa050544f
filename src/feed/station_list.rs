//! The station list and the inventory of GHCN-Daily: fixed-width text, a line a station, and a line
//! for each element of a station. Pure.
//!
//! Columns are counted from 1, as in the format's own description: list `ID` 1–11, `LATITUDE`
//! 13–20, `LONGITUDE` 22–30, `ELEVATION` 32–37, `STATE` 39–40, `NAME` 42–71; inventory `ID`,
//! `LATITUDE` and `LONGITUDE` the same, `ELEMENT` 32–35, `FIRSTYEAR` 37–40, `LASTYEAR` 42–45.

use super::Rejection;
use super::limits::MOST_STATIONS;
use crate::domain::place::globe::Place;
use crate::domain::place::years::Years;
use crate::station_feed::quote::quoted;
use std::collections::HashMap;
use std::ops::RangeInclusive;

/// What the list says where it does not know a height.
const NO_ELEVATION: f64 = -999.9;
/// Heights a station on land can have, m.
const ELEVATIONS: RangeInclusive<f64> = -450.0..=9000.0;
/// Years a daily record can have.
const YEARS: RangeInclusive<i32> = 1700..=2200;
/// A file with more bad lines than this share is another file, or damaged.
const MOST_BAD: f64 = 0.01;
/// … if they are at least this many, or half of all.
const FEW_BAD: usize = 3;
/// Most bytes of a line.
const MOST_LINE_BYTES: usize = 1000;
/// Most characters of a line that are shown.
const LONGEST_LINE: usize = 60;

/// A station of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// Its code, 11 characters.
    pub code: String,
    /// Its name, in capitals as it stands.
    pub name: String,
    /// Where it stands.
    pub place: Place,
    /// Height above sea level, m.
    pub elevation_m: Option<f64>,
}

/// The years of a station's two extremes, where the inventory has them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spans {
    /// Years with daily maxima (`TMAX`).
    pub maximum: Option<Years>,
    /// Years with daily minima (`TMIN`).
    pub minimum: Option<Years>,
}

/// Lines that are none of the file's own.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BadLines {
    /// How many.
    pub count: usize,
    /// The first one with its number, counted from 1.
    pub first: Option<(u64, String)>,
    /// Whether the file stops in mid-line, as one does that was cut off on the way.
    pub cut_off: bool,
}

/// The station list as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StationList {
    /// Its stations in the order of the file.
    pub stations: Vec<Listed>,
    /// What could not be read.
    pub bad: BadLines,
}

/// The inventory as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Inventory {
    /// Stations with at least one of the two extremes.
    pub spans: HashMap<String, Spans>,
    /// The last year of any element of any station: how far the inventory reaches.
    pub newest_year: i32,
    /// What could not be read.
    pub bad: BadLines,
}

/// Reads a station list.
///
/// # Errors
/// [`Rejection`] if the file is none: another kind of file, the inventory, or one whose columns
/// have moved.
pub fn station_list(bytes: &[u8]) -> Result<StationList, Rejection> {
    let mut stations = Vec::new();
    let bad = read(bytes, ListKind::List, |line| {
        stations.push(listed(line)?);
        Some(stations.len())
    })?;
    Ok(StationList { stations, bad })
}

/// Reads an inventory. Elements other than the two extremes only tell how far it reaches.
///
/// # Errors
/// As [`station_list`].
pub fn inventory(bytes: &[u8]) -> Result<Inventory, Rejection> {
    let mut inventory = Inventory::default();
    inventory.bad = read(bytes, ListKind::Inventory, |line| {
        let (code, element, years) = span(line)?;
        inventory.newest_year = inventory.newest_year.max(years.last);
        if matches!(element, "TMAX" | "TMIN") {
            let spans = inventory.spans.entry(code.to_owned()).or_default();
            if element == "TMAX" {
                spans.maximum = Some(years);
            } else {
                spans.minimum = Some(years);
            }
        }
        Some(inventory.spans.len())
    })?;
    Ok(inventory)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ListKind {
    List,
    Inventory,
}

impl ListKind {
    fn name(self) -> &'static str {
        match self {
            ListKind::List => "station list (ghcnd-stations.txt)",
            ListKind::Inventory => "inventory (ghcnd-inventory.txt)",
        }
    }
}

/// Takes each line, and is told how many stations there are by then; lines that are not taken are
/// counted.
fn read(
    bytes: &[u8],
    kind: ListKind,
    mut take: impl FnMut(&str) -> Option<usize>,
) -> Result<BadLines, Rejection> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.trim_ascii().is_empty() {
        return Err(Rejection::whole(
            format!("the file is empty where the {} is due", kind.name()),
            "download it again",
        ));
    }
    let mut bad = BadLines {
        cut_off: bytes.last() != Some(&b'\n'),
        ..BadLines::default()
    };
    let mut good = 0;
    let lines = bytes.split(|byte| *byte == b'\n');
    for (number, line) in (1..).zip(lines) {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.trim_ascii().is_empty() {
            continue;
        }
        if line.len() > MOST_LINE_BYTES {
            let start = String::from_utf8_lossy(&line[..MOST_LINE_BYTES]);
            let bad = (bad.count + 1, good + bad.count + 1);
            return Err(refused(kind, number, &start, bad));
        }
        // Names may hold a stray byte of another encoding; the columns before them are ASCII.
        let text = String::from_utf8_lossy(line);
        if let Some(stations) = take(&text) {
            good += 1;
            if stations > MOST_STATIONS {
                return Err(Rejection::at(
                    number,
                    format!("the file has more than the {MOST_STATIONS} stations that are allowed"),
                    "take the file as the publisher serves it",
                ));
            }
        } else {
            bad.count += 1;
            bad.first.get_or_insert_with(|| (number, text.into_owned()));
        }
    }
    let share = bad.count as f64 / (good + bad.count) as f64;
    match &mut bad.first {
        Some((line, text)) if bad.count >= good || (bad.count >= FEW_BAD && share > MOST_BAD) => {
            Err(refused(kind, *line, text, (bad.count, good + bad.count)))
        }
        first => {
            if let Some((_, text)) = first {
                *text = quoted(text, LONGEST_LINE);
            }
            Ok(bad)
        }
    }
}

/// Why a file is not what it should be, told from its first bad line.
fn refused(kind: ListKind, line: u64, text: &str, (bad, all): (usize, usize)) -> Rejection {
    let due = kind.name();
    let shown = quoted(text.trim(), LONGEST_LINE);
    let start = text.trim_start().chars().next();
    let words: Vec<&str> = text.split_whitespace().collect();
    let is_other = match kind {
        ListKind::List => span(text).is_some(),
        ListKind::Inventory => listed(text).is_some(),
    };
    let (what, remedy) = if is_other {
        let other = match kind {
            ListKind::List => ListKind::Inventory,
            ListKind::Inventory => ListKind::List,
        };
        (
            format!("this is the {}, not the {due}", other.name()),
            "name the station list first and the inventory second",
        )
    } else if start == Some('<') {
        (
            format!("this is a web page, not the {due}: {shown}"),
            "download the file itself; the address may have moved or the service be down",
        )
    } else if start == Some('{') {
        (
            format!("this is JSON, not the {due}: {shown}"),
            "download the fixed-width text file of that name",
        )
    } else if text.starts_with("PK\u{3}\u{4}") || text.contains('\0') {
        (
            format!("this is an archive or binary file, not the {due}"),
            "unpack it first, or download the text file of that name",
        )
    } else if has_moved_columns(&words) {
        (
            format!(
                "{bad} of {all} lines have a station but not in the columns of the {due} (first: {shown})"
            ),
            "take the file as it is served: an editor, a spreadsheet or a copy from a page moves its columns",
        )
    } else {
        (
            format!("{bad} of {all} lines are none of the {due} (first: {shown})"),
            "check that this is the file, as it is served, and whole",
        )
    };
    Rejection::at(line, what, remedy)
}

/// Whether the words of a line are those of a station, wherever they stand.
fn has_moved_columns(words: &[&str]) -> bool {
    let [code, latitude, longitude, ..] = words else {
        return false;
    };
    let degrees = |text: &str| text.parse::<f64>().unwrap_or(f64::NAN);
    is_code(code) && Place::new(degrees(latitude), degrees(longitude)).is_some()
}

fn listed(line: &str) -> Option<Listed> {
    let (code, place) = head(line)?;
    let elevation = number(columns(line, 32, 37)?)?;
    if elevation != NO_ELEVATION && !ELEVATIONS.contains(&elevation) {
        return None;
    }
    let name: String = line
        .get(41..)
        .unwrap_or_default()
        .chars()
        .take(30)
        .collect();
    let name = quoted(name.trim(), 30);
    Some(Listed {
        code: code.to_owned(),
        name: if name.is_empty() {
            code.to_owned()
        } else {
            name
        },
        place,
        elevation_m: (elevation != NO_ELEVATION).then_some(elevation),
    })
}

fn span(line: &str) -> Option<(&str, &str, Years)> {
    let (code, _) = head(line)?;
    let element = columns(line, 32, 35)?;
    let is_element = element
        .bytes()
        .all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
    let year = |from, to| {
        let year: i32 = columns(line, from, to)?.parse().ok()?;
        YEARS.contains(&year).then_some(year)
    };
    let years = Years {
        first: year(37, 40)?,
        last: year(42, 45)?,
    };
    (is_element && years.first <= years.last).then_some((code, element, years))
}

/// What a line of either file begins with.
fn head(line: &str) -> Option<(&str, Place)> {
    let code = columns(line, 1, 11).filter(|code| is_code(code))?;
    let place = Place::new(
        number(columns(line, 13, 20)?)?,
        number(columns(line, 22, 30)?)?,
    )?;
    Some((code, place))
}

fn is_code(text: &str) -> bool {
    text.len() == 11
        && text
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-'))
}

/// The text in columns `from` to `to`, counted from 1, with a blank or the line's end after it.
fn columns(line: &str, from: usize, to: usize) -> Option<&str> {
    let after = line.as_bytes().get(to);
    line.get(from - 1..to)
        .filter(|_| matches!(after, None | Some(b' ')))
}

/// A number set flush right with one blank or more before it, but for the sign.
fn number(text: &str) -> Option<f64> {
    let digits = text.trim_start();
    let plain = digits
        .bytes()
        .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'-'));
    digits.parse().ok().filter(|_| plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIST: &str = "\
ZZW00000001  41.8000  -30.1000  212.0    HARBOUR MEADOW (INVENTED)      GSN     03772
ZZ1XYAB0002  41.8123  -30.2000 -999.9 XY OLD ORCHARD 2.1 NW
ZZC00000003 -41.8000  130.1000   -3.5    LOW FIELD
";
    const INVENTORY: &str = "\
ZZW00000001  41.8000  -30.1000 TMAX 1948 2026
ZZW00000001  41.8000  -30.1000 TMIN 1950 2026
ZZW00000001  41.8000  -30.1000 PRCP 1940 2026
ZZ1XYAB0002  41.8123  -30.2000 PRCP 2009 2025
ZZC00000003 -41.8000  130.1000 TMAX 1990 2004
";

    fn said(result: Result<impl std::fmt::Debug, Rejection>) -> String {
        result.expect_err("it must be refused").to_string()
    }

    #[test]
    fn a_station_is_read_from_its_columns() {
        let list = station_list(LIST.as_bytes()).unwrap();
        assert_eq!(list.bad, BadLines::default());
        assert_eq!(list.stations.len(), 3);
        let meadow = &list.stations[0];
        assert_eq!(meadow.code, "ZZW00000001");
        assert_eq!(meadow.name, "HARBOUR MEADOW (INVENTED)");
        assert_eq!(meadow.elevation_m, Some(212.0));
        assert_eq!(list.stations[1].elevation_m, None);
        let field = list.stations[2].place;
        assert_eq!((field.latitude(), field.longitude()), (-41.8, 130.1));
    }

    #[test]
    fn the_inventory_gives_the_years_of_both_extremes_and_how_far_it_reaches() {
        let inventory = inventory(INVENTORY.as_bytes()).unwrap();
        assert_eq!(inventory.newest_year, 2026);
        assert_eq!(inventory.spans.len(), 2);
        let spans = inventory.spans["ZZW00000001"];
        let years = |first| Years { first, last: 2026 };
        assert_eq!(spans.maximum, Some(years(1948)));
        assert_eq!(spans.minimum, Some(years(1950)));
        assert_eq!(inventory.spans["ZZC00000003"].minimum, None);
    }

    #[test]
    fn swapped_files_are_told() {
        for message in [
            said(station_list(INVENTORY.as_bytes())),
            said(inventory(LIST.as_bytes())),
        ] {
            assert!(message.contains("line 1: this is the"), "{message}");
            assert!(message.contains("list first"), "{message}");
        }
    }

    #[test]
    fn other_files_are_told_for_what_they_are() {
        let page = "<!DOCTYPE html>\n<html>\n<body>moved</body>\n";
        assert!(said(station_list(page.as_bytes())).contains("web page"));
        assert!(said(inventory(b"{\"error\": 1}\n")).contains("JSON"));
        assert!(said(station_list(b"PK\x03\x04..\n")).contains("unpack"));
        assert!(said(inventory(b" \n\n")).contains("empty"));
        let csv = "ZZW00000001,41.8,-30.1,212.0\n";
        assert!(said(station_list(csv.as_bytes())).contains("1 of 1 lines"));
    }

    #[test]
    fn columns_that_have_moved_are_told() {
        let left: String = LIST.lines().map(|line| format!(" {line}\n")).collect();
        let single = LIST.replace("  ", " ");
        for text in [left, single, INVENTORY.replace("  ", " ")] {
            let message = said(station_list(text.as_bytes()));
            assert!(message.contains("not in the columns"), "{message}");
        }
    }

    #[test]
    fn a_few_bad_lines_are_counted_and_many_refuse_the_file() {
        let good = LIST.repeat(100);
        let few = format!("{good}a remark\nanother\n");
        let bad = station_list(few.as_bytes()).unwrap().bad;
        assert_eq!(bad.count, 2);
        assert_eq!(bad.first, Some((301, "a remark".to_owned())));
        let many = format!("{good}{}", "a remark\n".repeat(4));
        let message = said(station_list(many.as_bytes()));
        assert!(message.contains("line 301: 4 of 304 lines"), "{message}");
    }

    #[test]
    fn a_short_file_is_refused_if_half_of_its_lines_are_bad() {
        let line = |text: &str| text.lines().next().unwrap().to_owned() + "\n";
        let one_of_each = line(LIST) + &line(INVENTORY);
        said(station_list(one_of_each.as_bytes()));
        said(inventory(one_of_each.as_bytes()));
        let more = one_of_each + &line(LIST);
        assert_eq!(station_list(more.as_bytes()).unwrap().bad.count, 1);
    }

    #[test]
    fn a_line_with_an_impossible_value_is_bad() {
        let list = LIST.lines().next().unwrap();
        let span = INVENTORY.lines().next().unwrap();
        assert!(listed(list).is_some() && self::span(span).is_some());
        for (from, to) in [
            (" 41.8000", " 91.8000"),
            (" -30.1000", "-190.1000"),
            (" 212.0", "9212.0"),
            (" 41.8000", "     nan"),
            (" 212.0", "  inf "),
            ("ZZW00000001", "ZZW0000 001"),
        ] {
            assert_eq!(listed(&list.replace(from, to)), None, "{to}");
        }
        for (from, to) in [
            ("1948", "2027"),
            ("1948", "+948"),
            ("TMAX", "tmax"),
            ("2026", "20"),
        ] {
            assert_eq!(self::span(&span.replace(from, to)), None, "{to}");
        }
    }

    #[test]
    fn a_file_that_stops_in_mid_line_shows_it() {
        let cut = INVENTORY.trim_end().strip_suffix("04").unwrap();
        let bad = inventory(cut.as_bytes()).unwrap().bad;
        assert!(bad.cut_off);
        assert_eq!(bad.count, 1);
        assert!(!station_list(LIST.as_bytes()).unwrap().bad.cut_off);
    }

    #[test]
    fn a_name_of_another_encoding_does_not_cost_the_station() {
        let latin = b"ZZC00000003 -41.8000  130.1000   -3.5    LOW F\xcfELD \x1b[2J\n";
        let stations = station_list(latin).unwrap().stations;
        assert_eq!(stations[0].name, "LOW F\u{fffd}ELD \u{fffd}[2J");
    }
}
