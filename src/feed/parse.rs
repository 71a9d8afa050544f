//! CSV bytes into readings, by the rules of a dialect. Pure.
//!
//! A file that is not what it should be is refused as a whole; a row that cannot be true is
//! refused alone and reported with its line. csv and `f64` accept much that no thermometer says
//! (`NaN`, `inf`, a short row, a number cut in half), so each is checked here.

use super::Rejection;
use super::codes::{Codes, Flags, number};
use super::day::refuse_other_cadence;
use super::limits::{check_days, check_refused};
use super::places::{Cells, Places};
use super::table::{Row, Table, open};
use super::unpack::unpacked;
use crate::domain::weather::extremes::{COLDEST_C, Unit, WARMEST_C, is_plausible};
use crate::domain::weather::rain::is_plausible_rain;
use crate::domain::weather::reading::Reading;
use crate::domain::weather::wind::{WindUnit, is_plausible_wind};
use crate::station_feed::dialect::{Binding, Otherwise, plain_code};
use crate::station_feed::parsed::Element;
use crate::station_feed::parsed::Parsed;
use crate::station_feed::refusal::{RefusedRow, Why};
use chrono::{Days, NaiveDate};

/// Parses a file bound to a station. Rows dated after the day after `today` are refused (a day of
/// grace for places ahead of UTC).
///
/// # Errors
/// [`Rejection`] if the file as a whole is not what the binding says or more than
/// [`super::limits`] allow; see [`open`] and the checks for cadence and stations here. Numbers are vetted in [`super::vetting`].
pub fn parse(bytes: &[u8], binding: &Binding, today: NaiveDate) -> Result<Parsed, Rejection> {
    let dialect = &binding.dialect;
    let text = unpacked(bytes, dialect)?;
    let mut table = open(&text, dialect)?;
    let places = Places::find(&table, binding)?;
    let provisional = u64::from(dialect.provisional_days);
    let mut reader = Intake {
        binding,
        missing: Codes::new(&dialect.missing, dialect.decimal_comma),
        trace: Codes::new(&dialect.rain_trace, dialect.decimal_comma),
        flags: Flags::of(dialect),
        newest_allowed: today + Days::new(1),
        newest_settled: (provisional > 0).then(|| today - Days::new(provisional)),
        parsed: Parsed::default(),
        other_station: None,
        station_seen: None,
        lines: std::collections::HashMap::new(),
    };
    while let Some(row) = table.next_row()? {
        reader.row(&table, &row, &places)?;
        reader.check_limits(row.line)?;
    }
    reader.finish()
}

struct Intake<'b> {
    binding: &'b Binding,
    /// Codes for "no value".
    missing: Codes,
    /// Codes for rain too little to measure.
    trace: Codes,
    flags: Flags,
    newest_allowed: NaiveDate,
    /// The newest day that no longer moves, where the dialect says so.
    newest_settled: Option<NaiveDate>,
    parsed: Parsed,
    other_station: Option<String>,
    station_seen: Option<String>,
    /// The last line that spoke of a day, where its extremes stand in different rows.
    lines: std::collections::HashMap<NaiveDate, u64>,
}

impl Intake<'_> {
    fn row(&mut self, table: &Table<'_>, row: &Row, places: &Places) -> Result<(), Rejection> {
        if !table.is_whole(row) {
            if !self.may_be_ours(row, places) {
                return Ok(());
            }
            let counted = format!("{} where {} are due", row.width(), table.width());
            self.refuse(row, Why::Width, &counted);
            return Ok(());
        }
        if let Some(station) = places.station
            && !self.is_our_station(row, &row.field(station))?
        {
            return Ok(());
        }
        if !self.counts(row, places) {
            return Ok(());
        }
        self.parsed.rows += 1;
        let text = places.day.text(row);
        let Some(day) = places.day.day(&text, &self.binding.dialect.date_formats) else {
            refuse_other_cadence(row.line, &text)?;
            self.refuse(row, Why::Date, &text);
            return Ok(());
        };
        if self.newest_settled.is_some_and(|newest| day > newest) {
            self.parsed.provisional += 1;
            return Ok(());
        }
        match places.cells {
            Cells::Day {
                tmax,
                tmin,
                tmax_flags,
                tmin_flags,
                rain,
                rain_flags,
                wind,
            } => {
                let max = self.value(row, tmax, tmax_flags, (day, Element::Max));
                let min = self.value(row, tmin, tmin_flags, (day, Element::Min));
                self.keep_day(row, day, min, max);
                if let Some(rain) = rain {
                    self.keep_rain(row, places, rain, rain_flags, day);
                }
                if let Some(wind) = wind {
                    self.keep_wind(row, wind, day);
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
                    && let Some(celsius) = self.value(row, Some(value), quality, (day, element))
                {
                    self.keep_value(row, day, element, celsius);
                }
            }
        }
        Ok(())
    }

    /// # Errors
    /// [`Rejection`] if there are more days or refused rows than a file may have.
    fn check_limits(&self, line: u64) -> Result<(), Rejection> {
        let parsed = &self.parsed;
        check_refused(line, parsed.refused.len())?;
        let days = [parsed.readings.len(), parsed.rain.len(), parsed.wind.len()];
        check_days(line, days.into_iter().max().unwrap_or_default())
    }

    /// Whether a row meets the dialect's conditions.
    fn counts(&mut self, row: &Row, places: &Places) -> bool {
        for condition in &places.conditions {
            let field = row.field(condition.column);
            if condition.is.hold(&field) {
                continue;
            }
            if condition.otherwise == Otherwise::Refuse {
                self.refuse(row, Why::OtherKind, &field);
            }
            return false;
        }
        true
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
        let flagged = flags.is_some_and(|flags| self.flags.failed(&row.field(flags)).is_some());
        if self.missing.hold(&text) || flagged || day > self.newest_allowed {
            return;
        }
        let amount = if self.trace.hold(&text) {
            Some(0.0)
        } else {
            number(&text, self.binding.dialect.decimal_comma)
        };
        let rain = amount.map(|amount| places.rain_unit.rain_to_mm(amount));
        match rain.filter(|mm| is_plausible_rain(*mm)) {
            Some(mm) => {
                self.parsed.rain.entry(day).or_insert(mm);
            }
            None => self.refuse(row, Why::Rain, &text),
        }
    }

    /// Wind is an aid, as rain is.
    fn keep_wind(&mut self, row: &Row, (index, unit): (usize, WindUnit), day: NaiveDate) {
        let text = row.field(index);
        if self.missing.hold(&text) || day > self.newest_allowed {
            return;
        }
        let speed = number(&text, self.binding.dialect.decimal_comma);
        let speed = speed.map(|speed| unit.to_ms(speed));
        match speed.filter(|ms| is_plausible_wind(*ms)) {
            Some(ms) => {
                self.parsed.wind.entry(day).or_insert(ms);
            }
            None => self.refuse(row, Why::Wind, &text),
        }
    }

    fn refuse(&mut self, row: &Row, why: Why, field: &str) {
        let refused = RefusedRow::new(row.line, why, field);
        self.parsed.refused.push(refused);
    }

    /// Whether a row of a wrong width may be our station's: it is not if it names another one.
    fn may_be_ours(&mut self, row: &Row, places: &Places) -> bool {
        let (Some(ours), Some(place)) = (&self.binding.code, places.station) else {
            return true;
        };
        if place >= row.width() {
            return true;
        }
        let is_ours = plain_code(&row.field(place)) == ours;
        if is_ours {
            self.station_seen.get_or_insert_with(|| ours.clone());
        }
        is_ours
    }

    /// Rows of other stations are passed over if the binding names a code; a file of several
    /// stations without one is refused.
    fn is_our_station(&mut self, row: &Row, code: &str) -> Result<bool, Rejection> {
        let code = plain_code(code);
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

    /// A value in °C, or `None` if it is missing or refused.
    fn value(
        &mut self,
        row: &Row,
        index: Option<usize>,
        flags: Option<usize>,
        of: (NaiveDate, Element),
    ) -> Option<f64> {
        let text = row.field(index?).into_owned();
        if self.missing.hold(&text) {
            return None;
        }
        self.parsed.values += 1;
        if let Some(flags) = flags
            && let Some(flag) = self.flags.failed(&row.field(flags))
        {
            self.refuse(row, Why::Flagged, &format!("{text}, flag {flag}"));
            self.parsed.failed.push(of);
            return None;
        }
        let Some(number) = number(&text, self.binding.dialect.decimal_comma) else {
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
        match completed(known, new) {
            Some(whole) if whole == known => {}
            Some(whole) => {
                self.parsed.readings.insert(day, whole);
                self.lines.insert(day, row.line);
            }
            None => self.refuse(row, Why::Twice, &day.to_string()),
        }
    }

    fn keep_value(&mut self, row: &Row, day: NaiveDate, element: Element, celsius: f64) {
        if self.is_future(row, day) {
            return;
        }
        self.lines.insert(day, row.line);
        let reading = self.parsed.readings.entry(day).or_default();
        let slot = element.of_mut(reading);
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

    /// Where a row has one extreme only, the pair is complete only at the end.
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

/// A day said twice: an extreme that the first row lacks is the second one's. `None` if they say
/// different things.
fn completed(known: Reading, new: Reading) -> Option<Reading> {
    let one = |known: Option<f64>, new: Option<f64>| match (known, new) {
        (Some(known), Some(new)) if known != new => None,
        (known, new) => Some(known.or(new)),
    };
    Some(Reading {
        min: one(known.min, new.min)?,
        max: one(known.max, new.max)?,
    })
}
