//! Where a file has what the dialect names.

use super::Rejection;
use super::codes::Codes;
use super::day::DayPlace;
use super::heading::{rain_unit_in_brackets, unit_in_brackets, wind_unit_in_brackets};
use super::table::Table;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::wind::WindUnit;
use crate::station_feed::dialect::{Binding, Column, Columns, Layout, Otherwise};

/// The columns with values.
pub(super) enum Cells {
    /// A row a day.
    Day {
        tmax: Option<usize>,
        tmin: Option<usize>,
        tmax_flags: Option<usize>,
        tmin_flags: Option<usize>,
        rain: Option<usize>,
        rain_flags: Option<usize>,
        wind: Option<(usize, WindUnit)>,
    },
    /// A row a value.
    Value {
        element: usize,
        value: usize,
        quality: Option<usize>,
    },
}

/// A condition that rows must meet.
pub(super) struct Condition {
    pub(super) column: usize,
    pub(super) is: Codes,
    pub(super) otherwise: Otherwise,
}

/// All columns that are looked at.
pub(super) struct Places {
    pub(super) station: Option<usize>,
    /// The unit that rain goes by; see [`Unit::rain_to_mm`].
    pub(super) rain_unit: Unit,
    pub(super) day: DayPlace,
    pub(super) conditions: Vec<Condition>,
    pub(super) cells: Cells,
}

impl Places {
    /// # Errors
    /// [`Rejection`] if a column is missing, or its name tells another unit.
    pub(super) fn find(table: &Table<'_>, binding: &Binding) -> Result<Self, Rejection> {
        let columns = &binding.dialect.columns;
        let rain_name = table.find(&columns.rain).and_then(|i| table.name_of(i));
        let mut conditions = Vec::new();
        for condition in &binding.dialect.conditions {
            conditions.push(Condition {
                column: table.need(&condition.column, "rows that count")?,
                is: Codes::new(&condition.is, false),
                otherwise: condition.otherwise,
            });
        }
        Ok(Self {
            station: table.find(&columns.station),
            rain_unit: rain_name
                .and_then(rain_unit_in_brackets)
                .unwrap_or(binding.unit),
            cells: match binding.dialect.layout {
                Layout::RowADay => day_cells(table, binding)?,
                Layout::RowAValue => Cells::Value {
                    element: table.need(&columns.element, "element")?,
                    value: in_bound_unit(table, binding, table.need(&columns.value, "value")?)?,
                    quality: table.find(&columns.quality),
                },
            },
            day: day_place(table, columns)?,
            conditions,
        })
    }
}

fn day_place(table: &Table<'_>, columns: &Columns) -> Result<DayPlace, Rejection> {
    if columns.date.exists() {
        return Ok(DayPlace::One(table.need(&columns.date, "day")?));
    }
    Ok(DayPlace::Parts([
        table.need(&columns.year, "day's year")?,
        table.need(&columns.month, "day's month")?,
        table.need(&columns.day, "day of the month")?,
    ]))
}

fn day_cells(table: &Table<'_>, binding: &Binding) -> Result<Cells, Rejection> {
    let columns = &binding.dialect.columns;
    let may_lack = |other: &Column| binding.dialect.either_extreme && table.find(other).is_some();
    let extreme = |column: &Column, other: &Column, what: &str| {
        if table.find(column).is_none() && may_lack(other) {
            return Ok(None);
        }
        in_bound_unit(table, binding, table.need(column, what)?).map(Some)
    };
    Ok(Cells::Day {
        tmax: extreme(&columns.tmax, &columns.tmin, "daily maximum")?,
        tmin: extreme(&columns.tmin, &columns.tmax, "daily minimum")?,
        tmax_flags: table.find(&columns.tmax_flags),
        tmin_flags: table.find(&columns.tmin_flags),
        rain: table.find(&columns.rain),
        rain_flags: table.find(&columns.rain_flags),
        wind: table.find(&columns.wind).and_then(|index| {
            let named = table.name_of(index).and_then(wind_unit_in_brackets);
            Some((index, named.or(binding.dialect.wind_unit)?))
        }),
    })
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
