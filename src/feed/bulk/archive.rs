//! The values of every station of a file, packed: a slot of two bytes for each day of a year.
//!
//! Rows are refused by the rules of [`parse`](mod@crate::feed::parse), which
//! `tests/feeds/bulk_import.rs` holds against each other. One is stricter: values are whole tenths, as
//! these files have them.

use super::field_splitter::{FieldSplitter, LongRowColumns, no_long_rows};
use super::{WantedStations, code_of as first_field};
use crate::domain::weather::extremes::is_plausible;
use crate::domain::weather::rain::is_plausible_rain;
use crate::feed::Rejection;
use crate::feed::day::parse_date;
use crate::station_feed::refusal::{Refusals, Why};
use crate::station_feed::station_year::{FAILED, Packed, SLOTS, StationYear, UNKNOWN, YearPage};
use chrono::{Datelike, Days, NaiveDate};
use std::collections::HashMap;
use std::collections::hash_map::Entry;

/// Days of a station that lie side by side in memory. Few, so that what a day's rows touch fits into
/// a processor's cache.
const RUN: usize = 16;
/// How many places are looked at behind the last one before the code is looked up.
const HOPS: usize = 8;

/// What a stretch of a file gave.
#[derive(Debug, Clone, Default)]
pub struct Harvest {
    /// Rows and values that were refused alone.
    pub refused: Refusals,
    /// Rows looked at.
    pub rows: usize,
    places: Vec<YearPlace>,
    /// For each run of days of the year, the values of each strip. A day's rows of all stations then
    /// lie close together, as they do in by_year files.
    runs: [Vec<[i16; RUN]>; SLOTS.div_ceil(RUN)],
    strips: u32,
}

/// Where a station's year is. It is small, because all are passed for each day of a file.
#[derive(Debug, Clone)]
struct YearPlace {
    /// See [`key`].
    key: u128,
    /// A strip for each of [`Packed::NAMED`], or [`NONE`].
    strips: [u32; 3],
    /// The place of the next code in the order of the file.
    next: u32,
}

/// No strip.
const NONE: u32 = u32::MAX;

impl Harvest {
    /// How many years of stations there are.
    pub fn len(&self) -> usize {
        self.places.len()
    }

    /// Whether there is nothing.
    pub fn is_empty(&self) -> bool {
        self.places.is_empty()
    }

    /// The years of stations, by year and code. Days whose minimum exceeds the maximum have no
    /// temperatures.
    pub fn station_years(&self) -> impl Iterator<Item = StationYear> {
        let mut order: Vec<(i32, String, &YearPlace)> = self
            .places
            .iter()
            .map(|place| (year_of(place.key), code_of(place.key), place))
            .collect();
        order.sort_unstable_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        order.into_iter().map(|(year, code, place)| {
            let pages = place.strips.map(|strip| self.page(strip).map(Box::new));
            let mut year = StationYear { code, year, pages };
            drop_swapped(&mut year);
            year
        })
    }

    fn page(&self, strip: u32) -> Option<YearPage> {
        let mut page = [UNKNOWN; SLOTS];
        for (days, run) in page.chunks_mut(RUN).zip(&self.runs) {
            if let Some(known) = run.get(strip as usize) {
                days.copy_from_slice(&known[..days.len()]);
            }
        }
        (strip != NONE).then_some(page)
    }

    /// The slot of a day, if it is held.
    fn known(&self, place: usize, packed: Packed, ordinal: usize) -> i16 {
        let strip = self.places[place].strips[packed as usize];
        let run = &self.runs[ordinal / RUN];
        run.get(strip as usize)
            .map_or(UNKNOWN, |days| days[ordinal % RUN])
    }

    /// The slot of a day, made if it is not there.
    fn slot(&mut self, place: usize, packed: Packed, ordinal: usize) -> &mut i16 {
        let strip = &mut self.places[place].strips[packed as usize];
        if *strip == NONE {
            *strip = self.strips;
            self.strips += 1;
        }
        let run = &mut self.runs[ordinal / RUN];
        if run.len() <= *strip as usize {
            run.resize(self.strips as usize, [UNKNOWN; RUN]);
        }
        &mut run[*strip as usize][ordinal % RUN]
    }
}

/// The longest code there is room for; those of GHCN-Daily have 11 letters and digits.
const LONGEST_CODE: usize = 14;
/// More refused rows than this share mean that the file is not what it should be.
const MOST_REFUSED: f64 = 0.25;
/// … if they are at least this many.
const FEW_REFUSED: usize = 8;

/// Packs rows.
pub(super) struct Archive<'w> {
    wanted: &'w WantedStations<'w>,
    columns: LongRowColumns,
    /// Names of elements, shortened; see [`name`].
    elements: [u64; 3],
    newest_allowed: NaiveDate,
    places: HashMap<u128, usize>,
    harvest: Harvest,
    last_day: Option<([u8; 8], NaiveDate)>,
    last_place: usize,
}

impl<'w> Archive<'w> {
    pub(super) fn new(wanted: &'w WantedStations<'w>) -> Result<Self, Rejection> {
        let elements = wanted.dialect.elements.as_ref();
        let elements = elements.ok_or_else(|| no_long_rows(wanted.dialect))?;
        let rain = elements.rain.as_deref().unwrap_or_default();
        let elements = [&elements.tmax, &elements.tmin, rain].map(|text| name(text.as_bytes()));
        if elements[..2].contains(&0) {
            return Err(no_long_rows(wanted.dialect));
        }
        Ok(Self {
            wanted,
            columns: LongRowColumns::of(wanted.dialect)?,
            elements,
            newest_allowed: wanted.today + Days::new(1),
            places: HashMap::new(),
            harvest: Harvest::default(),
            last_day: None,
            last_place: 0,
        })
    }

    /// Whether what is held is to be handed on before this line: there is much of it, and the line
    /// begins another year of a station.
    pub(super) fn is_full_before(&self, line: &[u8]) -> bool {
        self.harvest.len() >= self.wanted.limits.station_years && {
            let year = line
                .get(first_field(line).len() + 1..)
                .and_then(|date| number(date.get(..4)?));
            let key = year.and_then(|year| key(first_field(line), year.into()));
            key.is_some_and(|key| !self.places.contains_key(&key))
        }
    }

    /// Lets go of what is held.
    ///
    /// # Errors
    /// [`Rejection`] if so many rows make no sense that the others cannot be trusted.
    pub(super) fn harvest(&mut self) -> Result<Harvest, Rejection> {
        self.places.clear();
        self.last_place = 0;
        let harvest = std::mem::take(&mut self.harvest);
        refused_share(&harvest)?;
        Ok(harvest)
    }

    pub(super) fn take(&mut self, line: u64, row: &[u8], width: usize) -> Result<(), Rejection> {
        let split = FieldSplitter::new(row);
        self.harvest.rows += 1;
        if split.width != width {
            let counted = || format!("{} where {width} are due", split.width);
            self.harvest.refused.add(line, Why::Width, counted);
            return Ok(());
        }
        let date = split.field(self.columns.date);
        let Some(day) = self.day(date) else {
            self.refuse(line, Why::Date, date);
            return Ok(());
        };
        let element = name(split.field(self.columns.element));
        let packed = match self.elements.iter().position(|known| *known == element) {
            Some(0) => Packed::Max,
            Some(1) => Packed::Min,
            Some(_) if element != 0 => Packed::Rain,
            _ => return Ok(()),
        };
        let text = split.field(self.columns.value);
        let missing = &self.wanted.dialect.missing;
        if missing.iter().any(|missing| missing.as_bytes() == text) {
            return Ok(());
        }
        let station = split.field(self.columns.station);
        let quality = split.field(self.columns.quality);
        let flagged = !quality.is_empty() && quality != b"null";
        if packed == Packed::Rain && (flagged || day > self.newest_allowed) {
            return Ok(());
        }
        if flagged {
            let field = || format!("{}, flag {}", shown(text), shown(quality));
            self.harvest.refused.add(line, Why::Flagged, field);
            return self.keep(line, station, day, packed, FAILED);
        }
        let value = number(text);
        let refused = match (packed, value) {
            (Packed::Rain, value) => value
                .is_none_or(|value| !is_plausible_rain(f64::from(value) / 10.0))
                .then_some(Why::Rain),
            (_, None) => Some(Why::NotANumber),
            (_, Some(value)) if !is_plausible(f64::from(value) / 10.0) => Some(Why::OutOfBounds),
            _ if day > self.newest_allowed => Some(Why::Future),
            _ => None,
        };
        match (refused, value) {
            (Some(why), _) => self.refuse(line, why, text),
            (None, Some(value)) => return self.keep(line, station, day, packed, value),
            (None, None) => {}
        }
        Ok(())
    }

    fn refuse(&mut self, line: u64, why: Why, field: &[u8]) {
        self.harvest.refused.add(line, why, || shown(field));
    }

    /// The day of a date; that of the last row is remembered.
    fn day(&mut self, date: &[u8]) -> Option<NaiveDate> {
        match &self.last_day {
            Some((known, day)) if known == date => Some(*day),
            _ => {
                let day = parse_date(&shown(date), &self.wanted.dialect.date_formats)?;
                self.last_day = date.try_into().ok().map(|date| (date, day));
                Some(day)
            }
        }
    }

    fn keep(
        &mut self,
        line: u64,
        code: &[u8],
        day: NaiveDate,
        packed: Packed,
        value: i16,
    ) -> Result<(), Rejection> {
        let place = self.place(line, code, day.year())?;
        let ordinal = day.ordinal0() as usize;
        let slot = self.harvest.slot(place, packed, ordinal);
        match *slot {
            UNKNOWN => *slot = value,
            FAILED => return Ok(()),
            known if known == value => return Ok(()),
            _ if value == FAILED => {
                *slot = value;
                return Ok(());
            }
            // Rain is an aid: the first amount stays.
            _ if packed == Packed::Rain => return Ok(()),
            _ => {
                let refused = &mut self.harvest.refused;
                refused.add(line, Why::Twice, || day.to_string());
                return Ok(());
            }
        }
        let other = match packed {
            Packed::Max => Packed::Min,
            Packed::Min => Packed::Max,
            Packed::Rain => return Ok(()),
        };
        let pair = (value, self.harvest.known(place, other, ordinal));
        let (min, max) = if packed == Packed::Min {
            pair
        } else {
            (pair.1, pair.0)
        };
        if is_swapped(min, max) {
            let pair = || {
                let (min, max) = (f64::from(min) / 10.0, f64::from(max) / 10.0);
                format!("{day}: {min:.1} and {max:.1} °C")
            };
            self.harvest.refused.add(line, Why::Swapped, pair);
        }
        Ok(())
    }

    /// Where a station's year is held. In these files stations follow each other every day in the
    /// same order, so the last place and those behind it are looked at first.
    fn place(&mut self, line: u64, code: &[u8], year: i32) -> Result<usize, Rejection> {
        let no_code = || {
            Rejection::at(
                line,
                format!("\"{}\" where a station's code is due", shown(code)),
                "this is no GHCN-Daily file of long rows; look at it by hand",
            )
        };
        let key = key(code, year).ok_or_else(no_code)?;
        let last = self.last_place;
        let held = &mut self.harvest.places;
        let mut place = last;
        for _ in 0..HOPS {
            match held.get(place) {
                Some(known) if known.key == key => {
                    self.last_place = place;
                    return Ok(place);
                }
                Some(known) => place = known.next as usize,
                None => break,
            }
        }
        let place = match self.places.entry(key) {
            Entry::Occupied(known) => *known.get(),
            Entry::Vacant(_) if !code.iter().all(u8::is_ascii_graphic) => return Err(no_code()),
            Entry::Vacant(new) => {
                let place = *new.insert(held.len());
                let next = held.get(last).map_or(0, |last| last.next);
                held.push(YearPlace {
                    key,
                    strips: [NONE; 3],
                    next,
                });
                held[last].next = u32::try_from(place).unwrap_or(0);
                place
            }
        };
        self.last_place = place;
        Ok(place)
    }
}

/// The first eight bytes of a name in one number; 0 for none, and for longer ones, which are
/// nobody's here.
fn name(text: &[u8]) -> u64 {
    if let Ok(four) = text.try_into() {
        return u32::from_le_bytes(four).into();
    }
    let mut bytes = [0; 8];
    match bytes.get_mut(..text.len()) {
        Some(start) => start.copy_from_slice(text),
        None => return 0,
    }
    u64::from_le_bytes(bytes)
}

/// A station's code and a year in one number, or `None` for what has no room.
fn key(code: &[u8], year: i32) -> Option<u128> {
    let year = u128::from(u16::try_from(year).ok()?) << (8 * LONGEST_CODE);
    let mut bytes = [0; 16];
    match code.first_chunk::<11>() {
        Some(usual) if code.len() == 11 => bytes[..11].copy_from_slice(usual),
        _ if code.is_empty() || code.len() > LONGEST_CODE => return None,
        _ => bytes[..code.len()].copy_from_slice(code),
    }
    Some(u128::from_le_bytes(bytes) | year)
}

fn year_of(key: u128) -> i32 {
    (key >> (8 * LONGEST_CODE)) as i32
}

fn code_of(key: u128) -> String {
    let bytes = key.to_le_bytes();
    let code = bytes[..LONGEST_CODE].split(|byte| *byte == 0).next();
    shown(code.unwrap_or_default())
}

/// A whole number of tenths.
fn number(text: &[u8]) -> Option<i16> {
    let (sign, digits) = match text {
        [b'-', digits @ ..] => (-1, digits),
        digits => (1, digits),
    };
    if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let whole = digits.iter().fold(0_i32, |sum, digit| {
        sum.saturating_mul(10)
            .saturating_add(i32::from(digit - b'0'))
    });
    // What has no room is beyond all bounds as well.
    let held = (sign * whole).clamp(i32::from(FAILED) + 1, i32::from(i16::MAX));
    i16::try_from(held).ok()
}

fn shown(field: &[u8]) -> String {
    String::from_utf8_lossy(field).into_owned()
}

/// Whether both are known and cannot be true together.
fn is_swapped(min: i16, max: i16) -> bool {
    min > max && max > FAILED
}

fn drop_swapped(year: &mut StationYear) {
    let [Some(maxima), Some(minima), _] = &mut year.pages else {
        return;
    };
    for (max, min) in maxima.iter_mut().zip(minima.iter_mut()) {
        if is_swapped(*min, *max) {
            (*max, *min) = (UNKNOWN, UNKNOWN);
        }
    }
}

fn refused_share(harvest: &Harvest) -> Result<(), Rejection> {
    let beside_the_point = [Why::Flagged, Why::Future, Why::Rain];
    let refused = harvest.refused.count_without(&beside_the_point);
    if refused < FEW_REFUSED || refused as f64 <= MOST_REFUSED * harvest.rows as f64 {
        return Ok(());
    }
    Err(Rejection::whole(
        format!(
            "{refused} of {} rows make no sense: {}",
            harvest.rows, harvest.refused
        ),
        "this is no GHCN-Daily file of long rows, or it is damaged; look at it by hand",
    ))
}
