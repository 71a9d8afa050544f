//! A number with its range, how solid it is and its source, as species and option files have it.

use super::fields::{Fields, Located};
use crate::domain::sourced_value::{EvidenceGrade, SourcedValue};
use std::ops::RangeInclusive;

/// A table `[key]` with `value`, `low` and `high`, `grade` and `source`, that must be there.
pub(super) fn required_figure(
    top: &Fields<'_, '_>,
    key: &'static str,
    bounds: RangeInclusive<f64>,
) -> Option<SourcedValue> {
    if !top.has(key) {
        top.page()
            .error(top.at(), format!("the file needs a table [{key}]"));
    }
    sourced_value(top, key, bounds)
}

/// The same where it may be left out.
pub(super) fn sourced_value(
    top: &Fields<'_, '_>,
    key: &'static str,
    bounds: RangeInclusive<f64>,
) -> Option<SourcedValue> {
    let table = top.table(key)?;
    let value = table.required_number("value", bounds.clone(), "14.0");
    let low = table.number("low", bounds.clone());
    let high = table.number("high", bounds);
    let grade = table.required_choice("solidity", &EvidenceGrade::NAMED);
    let source = table.required_text("source", "where the number comes from");
    let range = range(&table, "value", value.as_ref(), low, high);
    table.finish();
    Some(SourcedValue {
        value: value?.value,
        range: range?,
        grade: grade?.value,
        source: source?.value,
    })
}

/// `None` if the range is wrong, `Some(None)` if there is none.
pub(super) fn range(
    table: &Fields<'_, '_>,
    key: &str,
    value: Option<&Located<f64>>,
    low: Option<Located<f64>>,
    high: Option<Located<f64>>,
) -> Option<Option<(f64, f64)>> {
    let value = value?.value;
    match (low, high) {
        (None, None) if !table.has("low") && !table.has("high") => Some(None),
        (Some(low), Some(high)) if low.value <= value && value <= high.value => {
            Some(Some((low.value, high.value)))
        }
        (Some(low), Some(_)) => {
            table.page().error(
                low.at,
                format!("low, {key} = {value} and high must be in rising order"),
            );
            None
        }
        _ => {
            table
                .page()
                .error(table.at(), "low and high go together: give both or neither");
            None
        }
    }
}
