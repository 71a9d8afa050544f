//! `[flags]` and `[[row_condition]]`: which values and rows of a file count.

use crate::config::fields::Fields;
use crate::station_feed::dialect::{Column, FlagRule, Otherwise, RowCondition};

/// The quality flag's place within a flags field, and which flags mean that a value has failed.
pub(super) fn flags(top: &Fields<'_, '_>) -> (Option<usize>, FlagRule) {
    let Some(flags) = top.table("flags") else {
        return (None, FlagRule::AnyIsBad);
    };
    let part = flags.whole("quality_part", 1..=20);
    let good = values(&flags, "good");
    let bad = values(&flags, "bad");
    if good.is_some() && bad.is_some() {
        flags.page().error(
            flags.at(),
            "[flags] names either the good flags or the bad ones; what is in neither list would be neither",
        );
    }
    let rule = match (good, bad) {
        (Some(good), _) => FlagRule::Good(good),
        (None, Some(bad)) => FlagRule::Bad(bad),
        (None, None) => FlagRule::AnyIsBad,
    };
    flags.finish();
    (part.map(|part| part.value as usize - 1), rule)
}

/// What rows must say in certain columns.
pub(super) fn conditions(top: &Fields<'_, '_>) -> Vec<RowCondition> {
    top.tables("row_condition")
        .into_iter()
        .filter_map(condition)
        .collect()
}

fn condition(table: Fields<'_, '_>) -> Option<RowCondition> {
    let names = needed(&table, "column", "[\"ob_hour_count\"]");
    let is = needed(&table, "is", "[\"24\"]");
    let otherwise = table.required_choice("otherwise", &Otherwise::NAMED);
    table.finish();
    Some(RowCondition {
        column: Column {
            names: names?,
            position: None,
        },
        is: is?,
        otherwise: otherwise?.value,
    })
}

fn needed(table: &Fields<'_, '_>, key: &'static str, example: &str) -> Option<Vec<String>> {
    let values = values(table, key);
    if values.as_ref().is_none_or(Vec::is_empty) {
        table.page().error(
            table.at(),
            format!(
                "{} needs {key}, for example {key} = {example}",
                table.name()
            ),
        );
        return None;
    }
    values
}

fn values(table: &Fields<'_, '_>, key: &'static str) -> Option<Vec<String>> {
    let texts = table.texts(key)?;
    Some(texts.into_iter().map(|text| text.value).collect())
}
