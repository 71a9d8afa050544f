//! The keys of a `[[member.site]]` that say what its people would use, and how its turf stands.

use super::fields::{Fields, Located};
use super::problem::closest;
use crate::domain::journal::amount::Area;
use crate::domain::treatment::choice::{Choice, Preventives};
use crate::domain::treatment::option::TreatmentOption;
use std::collections::{BTreeMap, BTreeSet};

/// What the site's people would use; what cannot be meant is noted.
pub(super) fn choice(table: &Fields<'_, '_>, known: &BTreeMap<String, TreatmentOption>) -> Choice {
    let only = table.texts("options");
    let without = table.texts("without").unwrap_or_default();
    for name in only.iter().flatten().chain(&without) {
        check_name(table, name, known);
    }
    let preventives = table
        .choice("preventives", &Preventives::NAMED)
        .map(|policy| policy.value);
    let plain = |names: Vec<Located<String>>| names.into_iter().map(|name| name.value).collect();
    let choice = Choice {
        only: only.map(plain),
        without: plain(without),
        preventives: preventives.unwrap_or_default(),
    };
    if choice.only.is_some() && !known.values().any(|option| choice.considers(option)) {
        table.page().warning(
            table.at(),
            "options and without leave nothing this site would use; only counting is told of",
        );
    }
    choice
}

/// Notes a name that is neither an option nor a group.
fn check_name(
    table: &Fields<'_, '_>,
    name: &Located<String>,
    known: &BTreeMap<String, TreatmentOption>,
) {
    let names: BTreeSet<&str> = known
        .values()
        .flat_map(|option| [option.id.as_str(), option.group.as_str()])
        .collect();
    if names.contains(name.value.as_str()) {
        return;
    }
    let hint = match closest(&name.value, names.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("there are {}", Vec::from_iter(names).join(", ")),
    };
    table.page().error(
        name.at.clone(),
        format!(
            "there is no treatment option or group \"{}\"; {hint}",
            name.value
        ),
    );
}

/// The area of the turf, if it is given.
pub(super) fn area(table: &Fields<'_, '_>) -> Option<Area> {
    let text = table.text("area")?;
    match text.value.parse() {
        Ok(area) => Some(area),
        Err(error) => {
            table.page().error(text.at, format!("area: {error}"));
            None
        }
    }
}
