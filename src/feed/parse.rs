//! CSV bytes into readings, by the rules of a dialect. Pure.
//!
//! A file that is not what it should be is refused as a whole; a row that cannot be true is
//! refused alone and reported with its line. csv and `f64` accept much that no thermometer says
//! (`NaN`, `inf`, a short row, a number cut in half), so each is checked here.

use super::Rejection;
use super::dialect::{Binding, Layout};
use super::heading::{rain_unit_in_brackets, unit_in_brackets};
use super::refusal::{RefusedRow, Why};
use super::table::{Row, Table, open};
use crate::domain::rain::{Rain, is_plausible_rain};
use crate::domain::series::{Reading, Readings};
use crate::domain::temperature::{COLDEST_C, Unit, WARMEST_C, is_plausible};
use chrono::{Days, NaiveDate};

/// What a file said.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parsed {
    /// Readings by day, °C.
    pub readings: Readings,
    /// Rain by day, mm. Days without a row or a value are unknown, not dry.
    pub rain: Rain,
    /// Values that failed the publisher's quality check: a stored one is no longer good.
    pub failed: Vec<(NaiveDate, Element)>,
    /// Rows and values that were refused alone.
    pub refused: Vec<RefusedRow>,
    /// Rows looked at.
    pub rows: usize,
    /// Values looked at: given, not missing.
    pub values: usize,
    /// The first value with a fraction and its line, to tell a raw-tenths feed from others.
    pub first_fraction: Option<(u64, String)>,
}

/// Parses a file bound to a station. Rows dated after the day after `today` are refused (a day of
/// grace for places ahead of UTC).
///
/// # Errors
/// [`Rejection`] if the file as a whole is not what the binding says; see [`open`] and the checks
/// for cadence and stations here. Numbers are vetted in [`super::vet`].
pub fn parse(bytes: &[u8], binding: &Binding, today: NaiveDate) -> Result<Parsed, Rejection> {
    let mut table = open(bytes, &binding.dialect)?;
    let places = Places::find(&table, binding)?;
    let mut reader = Intake {
        binding,
        newest_allowed: today + Days::new(1),
        parsed: Parsed::default(),
        other_station: None,
        station_seen: None,
        lines: std::collections::HashMap::new(),
    };
    while let Some(row) = table.next_row()? {
        reader.row(&table, &row, &places)?;
    }
    reader.finish()
}

/// A date in one of the forms, or `None`. Forms that chrono would read loosely (`%Y` takes a short
/// year) are held to four-digit years.
pub(in crate::feed) fn parse_date(text: &str, formats: &[String]) -> Option<NaiveDate> {
    let four_digits = text.len() >= 8 && text.as_bytes()[..4].iter().all(u8::is_ascii_digit);
    formats
        .iter()
        .filter(|_| four_digits)
        .find_map(|format| NaiveDate::parse_from_str(text, format).ok())
}

enum Cells {
    Day {
        tmax: usize,
        tmin: usize,
        tmax_flags: Option<usize>,
        tmin_flags: Option<usize>,
        rain: Option<usize>,
        rain_flags: Option<usize>,
    },
    Value {
        element: usize,
        value: usize,
        quality: Option<usize>,
    },
}

struct Places {
    station: Option<usize>,
    /// The unit that rain goes by; see [`Unit::rain_to_mm`].
    rain_unit: Unit,
    date: usize,
    cells: Cells,
}

impl Places {
    fn find(table: &Table<'_>, binding: &Binding) -> Result<Self, Rejection> {
        let columns = &binding.dialect.columns;
        let cells = match binding.dialect.layout {
            Layout::RowADay => Cells::Day {
                tmax: in_bound_unit(table, binding, table.need(&columns.tmax, "daily maximum")?)?,
                tmin: in_bound_unit(table, binding, table.need(&columns.tmin, "daily minimum")?)?,
                tmax_flags: table.find(&columns.tmax_flags),
                tmin_flags: table.find(&columns.tmin_flags),
                rain: table.find(&columns.rain),
                rain_flags: table.find(&columns.rain_flags),
            },
            Layout::RowAValue => Cells::Value {
                element: table.need(&columns.element, "element")?,
                value: in_bound_unit(table, binding, table.need(&columns.value, "value")?)?,
                quality: table.find(&columns.quality),
            },
        };
        let rain_name = table.find(&columns.rain).and_then(|i| table.name_of(i));
        Ok(Self {
            station: table.find(&columns.station),
            rain_unit: rain_name
                .and_then(rain_unit_in_brackets)
                .unwrap_or(binding.unit),
            date: table.need(&columns.date, "day")?,
            cells,
        })
    }
}

/// A column whose header names another unit in brackets than the one that is bound is refused.
fn in_bound_unit(table: &Table<'_>, binding: &Binding, index: usize) -> Result<usize, Rejection> {
    match table.name_of(index).and_then(unit_in_brackets) {
        Some(unit) if unit != binding.unit => Err(Rejection::at(
            table.header_line(),
            format!(
                "the header says {unit}, but the station is bound to {}",
                binding.unit
            ),
            format!("set unit = \"{unit}\", or ask the service for the other unit"),
        )),
        _ => Ok(index),
    }
}

/// One of a day's two extremes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Element {
    /// The maximum.
    Max,
    /// The minimum.
    Min,
}

struct Intake<'b> {
    binding: &'b Binding,
    newest_allowed: NaiveDate,
    parsed: Parsed,
    other_station: Option<String>,
    station_seen: Option<String>,
    /// The last line that spoke of a day, in files with a row a value.
    lines: std::collections::HashMap<NaiveDate, u64>,
}

impl Intake<'_> {
    fn row(&mut self, table: &Table<'_>, row: &Row, places: &Places) -> Result<(), Rejection> {
        if !table.is_whole(row) {
            let counted = format!("{} where {} are due", row.width(), table.width());
            self.refuse(row, Why::Width, &counted);
            return Ok(());
        }
        if let Some(station) = places.station
            && !self.is_our_station(row, &row.field(station))?
        {
            return Ok(());
        }
        self.parsed.rows += 1;
        let text = row.field(places.date);
        let Some(day) = parse_date(&text, &self.binding.dialect.date_formats) else {
            self.refuse_other_cadence(row, &text)?;
            self.refuse(row, Why::Date, &text);
            return Ok(());
        };
        match places.cells {
            Cells::Day {
                tmax,
                tmin,
                tmax_flags,
                tmin_flags,
                rain,
                rain_flags,
            } => {
                let max = self.value(row, tmax, tmax_flags, (day, Element::Max));
                let min = self.value(row, tmin, tmin_flags, (day, Element::Min));
                self.keep_day(row, day, min, max);
                if let Some(rain) = rain {
                    self.keep_rain(row, places, rain, rain_flags, day);
                }
            }
            Cells::Value {
                element,
                value,
                quality,
            } => {
                let name = row.field(element);
                if self.is_rain(&name) {
                    self.keep_rain(row, places, value, quality, day);
                } else if let Some(element) = self.element(&name)
                    && let Some(celsius) = self.value(row, value, quality, (day, element))
                {
                    self.keep_value(row, day, element, celsius);
                }
            }
        }
        Ok(())
    }

    fn element(&self, name: &str) -> Option<Element> {
        let elements = self.binding.dialect.elements.as_ref()?;
        if name == elements.tmax {
            Some(Element::Max)
        } else if name == elements.tmin {
            Some(Element::Min)
        } else {
            None
        }
    }

    fn is_rain(&self, name: &str) -> bool {
        let elements = self.binding.dialect.elements.as_ref();
        elements.is_some_and(|elements| elements.rain.as_deref() == Some(name))
    }

    /// Rain is an aid: what is wrong with it is reported and refuses nothing else.
    fn keep_rain(
        &mut self,
        row: &Row,
        places: &Places,
        index: usize,
        flags: Option<usize>,
        day: NaiveDate,
    ) {
        let text = row.field(index);
        let flagged = flags.is_some_and(|flags| self.quality_flag(&row.field(flags)).is_some());
        if self.is_missing(&text) || flagged || day > self.newest_allowed {
            return;
        }
        let rain = number(&text).map(|number| places.rain_unit.rain_to_mm(number));
        match rain.filter(|mm| is_plausible_rain(*mm)) {
            Some(mm) => {
                self.parsed.rain.entry(day).or_insert(mm);
            }
            None => self.refuse(row, Why::Rain, &text),
        }
    }

    fn refuse(&mut self, row: &Row, why: Why, field: &str) {
        self.parsed.refused.push(RefusedRow {
            line: row.line,
            why,
            field: field.to_owned(),
        });
    }

    /// Rows of other stations are passed over if the binding names a code; a file of several
    /// stations without one is refused.
    fn is_our_station(&mut self, row: &Row, code: &str) -> Result<bool, Rejection> {
        let code = code.strip_prefix("GHCND:").unwrap_or(code);
        if let Some(wanted) = &self.binding.code {
            let ours = code == wanted;
            if ours {
                self.station_seen.get_or_insert_with(|| code.to_owned());
            } else {
                self.other_station.get_or_insert_with(|| code.to_owned());
            }
            return Ok(ours);
        }
        let seen = self.station_seen.get_or_insert_with(|| code.to_owned());
        if seen == code {
            return Ok(true);
        }
        Err(Rejection::at(
            row.line,
            format!("the file holds several stations ({seen}, {code})"),
            "name the one you mean with code = \"…\" in its [[station]]",
        ))
    }

    /// Monthly and hourly files come under the same names as daily ones.
    fn refuse_other_cadence(&self, row: &Row, text: &str) -> Result<(), Rejection> {
        let digits = text.chars().filter(char::is_ascii_digit).count();
        let cadence = if text.contains('T') || text.contains(':') || digits > 8 {
            "hours: this is an hourly file"
        } else if digits == 6 && text.starts_with(|c: char| c.is_ascii_digit()) {
            "months: this is a monthly file"
        } else if digits == 4 && text.len() == 5 {
            "days of no year: this is a file of long-term normals"
        } else {
            return Ok(());
        };
        Err(Rejection::at(
            row.line,
            format!("\"{text}\" where a day is due; the rows are {cadence}"),
            "name the station's daily file; files of other cadences have the same name in other folders",
        ))
    }

    /// A value in °C, or `None` if it is missing or refused.
    fn value(
        &mut self,
        row: &Row,
        index: usize,
        flags: Option<usize>,
        of: (NaiveDate, Element),
    ) -> Option<f64> {
        let text = row.field(index).into_owned();
        if self.is_missing(&text) {
            return None;
        }
        self.parsed.values += 1;
        if let Some(flags) = flags
            && let Some(flag) = self.quality_flag(&row.field(flags))
        {
            self.refuse(row, Why::Flagged, &format!("{text}, flag {flag}"));
            self.parsed.failed.push(of);
            return None;
        }
        let Some(number) = number(&text) else {
            self.refuse(row, Why::NotANumber, &text);
            return None;
        };
        if number.fract() != 0.0 && self.parsed.first_fraction.is_none() {
            self.parsed.first_fraction = Some((row.line, text.clone()));
        }
        let celsius = self.binding.unit.to_celsius(number);
        if !is_plausible(celsius) {
            let shown = match self.binding.unit {
                Unit::Celsius => format!("{text} °C"),
                _ => format!("{text}, which is {celsius:.1} °C"),
            };
            self.refuse(
                row,
                Why::OutOfBounds,
                &format!("{shown}; real ones lie from {COLDEST_C} to {WARMEST_C} °C"),
            );
            return None;
        }
        Some(celsius)
    }

    fn is_missing(&self, text: &str) -> bool {
        self.binding.dialect.missing.iter().any(|m| m == text)
    }

    /// The quality flag in a flags field, if it is set.
    fn quality_flag(&self, flags: &str) -> Option<String> {
        let flag = match self.binding.dialect.quality_part {
            Some(part) => flags.split(',').nth(part).unwrap_or(""),
            None => flags,
        };
        let flag = flag.trim();
        (!flag.is_empty() && flag != "null").then(|| flag.to_owned())
    }

    fn keep_day(&mut self, row: &Row, day: NaiveDate, min: Option<f64>, max: Option<f64>) {
        if min.is_none() && max.is_none() {
            return;
        }
        if self.is_future(row, day) {
            return;
        }
        if let (Some(min), Some(max)) = (min, max)
            && min > max
        {
            self.refuse(
                row,
                Why::Swapped,
                &format!("{day}: {min:.1} and {max:.1} °C"),
            );
            return;
        }
        let new = Reading { min, max };
        let known = *self.parsed.readings.entry(day).or_insert(new);
        if known != new {
            self.refuse(row, Why::Twice, &day.to_string());
        }
    }

    fn keep_value(&mut self, row: &Row, day: NaiveDate, element: Element, celsius: f64) {
        if self.is_future(row, day) {
            return;
        }
        self.lines.insert(day, row.line);
        let reading = self.parsed.readings.entry(day).or_default();
        let slot = match element {
            Element::Max => &mut reading.max,
            Element::Min => &mut reading.min,
        };
        match *slot {
            None => *slot = Some(celsius),
            Some(known) if known == celsius => {}
            Some(_) => self.refuse(row, Why::Twice, &day.to_string()),
        }
    }

    fn is_future(&mut self, row: &Row, day: NaiveDate) -> bool {
        let future = day > self.newest_allowed;
        if future {
            self.refuse(row, Why::Future, &day.to_string());
        }
        future
    }

    fn finish(mut self) -> Result<Parsed, Rejection> {
        if let (Some(code), None) = (&self.binding.code, &self.station_seen)
            && let Some(other) = &self.other_station
        {
            return Err(Rejection::whole(
                format!("the file holds {other} but nothing of {code}"),
                "check the address and the station's code",
            ));
        }
        self.refuse_swapped_pairs();
        Ok(self.parsed)
    }

    /// In a file with a row a value the pair is complete only at the end.
    fn refuse_swapped_pairs(&mut self) {
        let swapped: Vec<(NaiveDate, Reading)> = self
            .parsed
            .readings
            .iter()
            .filter(|(_, r)| matches!((r.min, r.max), (Some(min), Some(max)) if min > max))
            .map(|(day, reading)| (*day, *reading))
            .collect();
        for (day, reading) in swapped {
            self.parsed.readings.remove(&day);
            self.parsed.refused.push(RefusedRow {
                line: self.lines.get(&day).copied().unwrap_or_default(),
                why: Why::Swapped,
                field: format!(
                    "{day}: {:.1} and {:.1} °C",
                    reading.min.unwrap_or_default(),
                    reading.max.unwrap_or_default()
                ),
            });
        }
    }
}

/// A finite decimal number. `NaN`, `inf` and hexadecimal floats are not numbers here.
fn number(text: &str) -> Option<f64> {
    let plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    text.parse::<f64>()
        .ok()
        .filter(|number| plain && number.is_finite())
}
