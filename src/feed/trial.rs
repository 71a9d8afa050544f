//! Trying a file of unknown kind: which dialects read it, in which unit, and what they find. Pure.

use super::Rejection;
use super::codes::Codes;
use super::limits::check_stations;
use super::parse::parse;
use super::places::Places;
use super::table::{Row, Table, open};
use super::unpack::unpacked;
use super::vetting::vet_alone;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::Readings;
use crate::station_feed::dialect::{Binding, Column, Dialect, plain_code};
use crate::station_feed::parsed::Parsed;
use chrono::NaiveDate;
use std::cmp::Reverse;

/// The mean daily range that units are judged by where several are possible, °C: 5 to 15 °C is usual
/// on land (common practice, no source).
const USUAL_RANGE_C: f64 = 10.0;

/// What a caller knows of the file already.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// The unit, if it is not to be guessed.
    pub unit: Option<Unit>,
    /// The station's code, where a file holds several.
    pub code: Option<String>,
}

/// How a file reads in one unit.
#[derive(Debug, Clone)]
pub struct UnitTrial {
    /// The unit.
    pub unit: Unit,
    /// The mean daily range in °C, where there are days with both extremes; or why the unit is out.
    pub outcome: Result<Option<f64>, Rejection>,
}

/// What a file has of a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StationRows {
    /// Its code.
    pub code: String,
    /// Rows of it.
    pub rows: usize,
    /// Those of them that have a maximum or minimum.
    pub with_extreme: usize,
}

/// A dialect that reads the file.
#[derive(Debug, Clone)]
pub struct Trial<'d> {
    /// The dialect.
    pub dialect: &'d Dialect,
    /// The unit that fits best.
    pub unit: Unit,
    /// All units that were tried, in the dialect's order.
    pub units: Vec<UnitTrial>,
    /// The station that was read, where the file has codes.
    pub code: Option<String>,
    /// Every station in the file, in the file's order.
    pub stations: Vec<StationRows>,
    /// What is read from which column.
    pub columns: Vec<(&'static str, String)>,
    /// What the file says.
    pub parsed: Parsed,
}

impl Trial<'_> {
    /// Days with both extremes.
    pub fn whole_days(&self) -> usize {
        let readings = self.parsed.readings.values();
        readings
            .filter(|reading| reading.extremes().is_some())
            .count()
    }

    /// The mean daily range in the unit that fits best, °C.
    fn range(&self) -> Option<f64> {
        self.units
            .iter()
            .find(|tried| tried.unit == self.unit)
            .and_then(|tried| tried.outcome.clone().ok()?)
    }

    /// Whether other units than the best are possible.
    pub fn is_unit_open(&self) -> bool {
        self.units
            .iter()
            .filter(|tried| tried.outcome.is_ok())
            .count()
            > 1
    }
}

/// A dialect that does not read the file.
#[derive(Debug, Clone)]
pub struct Misfit<'d> {
    /// The dialect.
    pub dialect: &'d Dialect,
    /// Whether the file has the dialect's columns, so that the reason is about the file itself.
    pub has_columns: bool,
    /// Why it does not fit.
    pub rejection: Rejection,
}

/// Tries a dialect on a file.
///
/// # Errors
/// Why the file is not of this dialect, or fits none of its units.
pub fn try_dialect<'d>(
    bytes: &[u8],
    dialect: &'d Dialect,
    known: &Known,
    today: NaiveDate,
) -> Result<Trial<'d>, Misfit<'d>> {
    let misfit = |has_columns| {
        move |rejection| Misfit {
            dialect,
            has_columns,
            rejection,
        }
    };
    let text = unpacked(bytes, dialect).map_err(misfit(false))?;
    let columns = columns(&text, dialect).map_err(misfit(false))?;
    read(bytes, &text, columns, dialect, known, today).map_err(misfit(true))
}

/// What is read from which column.
fn columns(text: &[u8], dialect: &Dialect) -> Result<Vec<(&'static str, String)>, Rejection> {
    let table = open(text, dialect)?;
    let mut binding = bound(dialect, Unit::Celsius, None);
    let mut found = Places::find(&table, &binding).map(|_| ());
    for unit in &dialect.units {
        binding.unit = *unit;
        found = found.or_else(|_| Places::find(&table, &binding).map(|_| ()));
    }
    found.map(|()| used_columns(&table, dialect))
}

fn bound(dialect: &Dialect, unit: Unit, code: Option<String>) -> Binding {
    Binding {
        dialect: dialect.clone(),
        unit,
        code,
        latitude: None,
    }
}

fn read<'d>(
    bytes: &[u8],
    text: &[u8],
    columns: Vec<(&'static str, String)>,
    dialect: &'d Dialect,
    known: &Known,
    today: NaiveDate,
) -> Result<Trial<'d>, Rejection> {
    let stations = stations(open(text, dialect)?, dialect)?;
    // A model's days to come are what it is for.
    let today = if dialect.model {
        NaiveDate::from_ymd_opt(9999, 1, 1).unwrap_or(today)
    } else {
        today
    };
    // A rain gauge is nobody's choice.
    let mut measured = stations.iter().filter(|station| station.with_extreme > 0);
    let first = measured.next().or(stations.first());
    let given = known.code.as_deref().map(plain_code);
    let code = given
        .map(str::to_owned)
        .or(first.map(|station| station.code.clone()));
    let units = match known.unit {
        Some(unit) => vec![unit],
        None => dialect.units.clone(),
    };
    let mut tried = Vec::new();
    let mut best: Option<(f64, Unit, Parsed)> = None;
    for unit in units {
        let binding = bound(dialect, unit, code.clone());
        let outcome = parse(bytes, &binding, today).and_then(|parsed| {
            vet_alone(&parsed, &binding)?;
            Ok(parsed)
        });
        let outcome = outcome.map(|parsed| {
            let range = mean_range(&parsed.readings);
            let distance = range.map_or(f64::MAX, |range| (range - USUAL_RANGE_C).abs());
            if best
                .as_ref()
                .is_none_or(|(nearest, ..)| distance < *nearest)
            {
                best = Some((distance, unit, parsed));
            }
            range
        });
        tried.push(UnitTrial { unit, outcome });
    }
    match best {
        Some((_, unit, parsed)) => Ok(Trial {
            dialect,
            unit,
            units: tried,
            code,
            stations,
            columns,
            parsed,
        }),
        None => Err(no_unit(tried)),
    }
}

/// Tries dialects on a file: those that fit, the best first, and why the others do not.
pub fn try_dialects<'d>(
    bytes: &[u8],
    dialects: impl IntoIterator<Item = &'d Dialect>,
    known: &Known,
    today: NaiveDate,
) -> (Vec<Trial<'d>>, Vec<Misfit<'d>>) {
    let (mut fitting, mut others) = (Vec::new(), Vec::new());
    for dialect in dialects {
        match try_dialect(bytes, dialect, known, today) {
            Ok(trial) => fitting.push(trial),
            Err(misfit) => others.push(misfit),
        }
    }
    fitting.sort_by(|a, b| {
        let order = |trial: &Trial<'_>| {
            (
                Reverse(trial.whole_days()),
                trial.parsed.refused.len(),
                Reverse(trial.columns.len()),
            )
        };
        let away = |trial: &Trial<'_>| {
            trial
                .range()
                .map_or(f64::MAX, |range| (range - USUAL_RANGE_C).abs())
        };
        order(a)
            .cmp(&order(b))
            .then(away(a).total_cmp(&away(b)))
            .then(a.dialect.units.len().cmp(&b.dialect.units.len()))
    });
    (fitting, others)
}

/// One unit that is out says why; of several the first reason that is not about all of them.
fn no_unit(tried: Vec<UnitTrial>) -> Rejection {
    let reasons: Vec<(Unit, Rejection)> = tried
        .into_iter()
        .filter_map(|tried| Some((tried.unit, tried.outcome.err()?)))
        .collect();
    let mut each = reasons.iter().map(|(_, rejection)| &rejection.what);
    let first = each.next().cloned().unwrap_or_default();
    if each.all(|what| *what == first) {
        return reasons.into_iter().next().map_or_else(
            || Rejection::whole("no unit was tried", "name one"),
            |(_, rejection)| rejection,
        );
    }
    let listed: Vec<String> = reasons
        .iter()
        .map(|(unit, rejection)| format!("{unit}: {}", rejection.what))
        .collect();
    Rejection::whole(
        format!("none of its units fits ({})", listed.join("; ")),
        "look at the file by hand",
    )
}

fn mean_range(readings: &Readings) -> Option<f64> {
    let ranges: Vec<f64> = readings
        .values()
        .filter_map(|reading| reading.extremes())
        .map(|day| day.max() - day.min())
        .collect();
    (!ranges.is_empty()).then(|| ranges.iter().sum::<f64>() / ranges.len() as f64)
}

/// Every station of a file, in the file's order.
fn stations(mut table: Table<'_>, dialect: &Dialect) -> Result<Vec<StationRows>, Rejection> {
    let Some(column) = table.find(&dialect.columns.station) else {
        return Ok(Vec::new());
    };
    let extremes = SeenExtremes::find(&table, dialect);
    let mut order: Vec<StationRows> = Vec::new();
    let mut places = std::collections::HashMap::new();
    while let Some(row) = table.next_row()? {
        if !table.is_whole(&row) {
            continue;
        }
        let field = row.field(column);
        let code = plain_code(&field);
        check_stations(row.line, order.len())?;
        let place = *places.entry(code.to_owned()).or_insert_with(|| {
            order.push(StationRows {
                code: code.to_owned(),
                rows: 0,
                with_extreme: 0,
            });
            order.len() - 1
        });
        order[place].rows += 1;
        order[place].with_extreme += usize::from(extremes.are_in(&row));
    }
    Ok(order)
}

/// Where a row says that it has a maximum or minimum.
struct SeenExtremes<'d> {
    values: Vec<usize>,
    missing: Codes,
    /// The element column and the names of the two there (a row a value).
    named: Option<(usize, [&'d str; 2])>,
}

impl<'d> SeenExtremes<'d> {
    fn find(table: &Table<'_>, dialect: &'d Dialect) -> Self {
        let columns = &dialect.columns;
        let values = [&columns.tmax, &columns.tmin, &columns.value];
        let element = table.find(&columns.element);
        Self {
            values: values.into_iter().filter_map(|c| table.find(c)).collect(),
            missing: Codes::new(&dialect.missing, dialect.decimal_comma),
            named: element.zip(dialect.elements.as_ref().map(|e| [&*e.tmax, &*e.tmin])),
        }
    }

    fn are_in(&self, row: &Row) -> bool {
        let named = self
            .named
            .is_none_or(|(column, names)| names.contains(&&*row.field(column)));
        let mut values = self.values.iter();
        named && values.any(|column| !self.missing.hold(&row.field(*column)))
    }
}

fn used_columns(table: &Table<'_>, dialect: &Dialect) -> Vec<(&'static str, String)> {
    let columns = &dialect.columns;
    let looked_at: [(&'static str, &Column); 15] = [
        ("station", &columns.station),
        ("day", &columns.date),
        ("year", &columns.year),
        ("month", &columns.month),
        ("day of the month", &columns.day),
        ("maximum", &columns.tmax),
        ("its flags", &columns.tmax_flags),
        ("minimum", &columns.tmin),
        ("its flags", &columns.tmin_flags),
        ("rain", &columns.rain),
        ("its flags", &columns.rain_flags),
        ("wind", &columns.wind),
        ("element", &columns.element),
        ("value", &columns.value),
        ("its flags", &columns.quality),
    ];
    let conditions = dialect
        .conditions
        .iter()
        .map(|condition| ("rows that count", &condition.column));
    looked_at
        .into_iter()
        .chain(conditions)
        .filter_map(|(what, column)| {
            let index = table.find(column)?;
            let name = table.name_of(index).map(str::to_owned);
            Some((
                what,
                name.unwrap_or_else(|| format!("column {}", index + 1)),
            ))
        })
        .collect()
}
