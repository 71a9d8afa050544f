//! The keys `units` and `dates`: how somebody wants numbers and dates written.

use super::fields::Fields;
use crate::domain::notation::{DatePattern, Dates, Notation, Units};

/// What a table says, else what is usual; `None` if it cannot be meant, which is noted.
pub(super) fn notation(table: &Fields<'_, '_>, usual: &Notation) -> Option<Notation> {
    let units = table.choice("units", &Units::NAMED);
    let dates = match table.text("dates") {
        None => Some(usual.dates.clone()),
        Some(text) if text.value == "iso" => Some(Dates::Iso),
        Some(text) => match DatePattern::parse(&text.value) {
            Ok(pattern) => Some(Dates::Pattern(pattern)),
            Err(error) => {
                table.page().error(
                    text.at,
                    format!(
                        "dates = \"{}\" is no way to write a day: {error}; write \"iso\", \"%-d %B\" (7 July) or \"%B %-d\" (July 7)",
                        text.value
                    ),
                );
                None
            }
        },
    };
    Some(Notation {
        units: units.map_or(usual.units, |units| units.value),
        dates: dates?,
    })
}
