//! What was counted in a season, and how counts changed.

use crate::domain::look_back::{Change, Counted, CountedBrood, Counts, OfSpecies};
use crate::domain::notation::Notation;
use crate::domain::scouting::Verdict;
use crate::notify::wording::what_was_found_in_brief;
use crate::report::words::percent;

/// The heads of the columns of counts.
pub const COUNTS: [&str; 4] = ["day", "whose larvae", "found", "against the turf"];

/// A row for each count.
pub(super) fn count_rows(counts: &Counts, notation: &Notation) -> Vec<[String; 4]> {
    counts
        .all
        .iter()
        .map(|one| {
            [
                notation.day_and_year(one.day),
                brood(one.brood).to_owned(),
                what_was_found_in_brief(&one.reading, notation),
                against_turf(one).to_owned(),
            ]
        })
        .collect()
}

/// What the turf tolerates, and how counts changed from brood to brood.
pub(super) fn count_notes(species: &OfSpecies, notation: &Notation) -> Vec<String> {
    if species.counts.all.is_empty() {
        return vec![format!("No count of {} is logged.", species.name)];
    }
    let (low, high) = species.tolerance;
    let tolerated = if low == high {
        notation.density(low)
    } else {
        notation.densities(low, high)
    };
    let mut notes = vec![format!("The turf is taken to tolerate {tolerated}.")];
    let between = species.counts.from_brood_to_brood();
    notes.extend(between.map(|between| change(&between, notation)));
    notes
}

/// The last count, in a sentence.
pub(super) fn counts_in_short(species: &OfSpecies, notation: &Notation) -> Option<String> {
    let last = species.counts.all.last()?;
    Some(format!(
        "{}: the last count, {}, found {}, {} ({} larvae).",
        species.name,
        notation.day_and_year(last.day),
        notation.density(last.reading.mean_per_m2),
        against_turf(last),
        brood(last.brood),
    ))
}

/// Whose larvae were counted.
fn brood(brood: CountedBrood) -> &'static str {
    match brood {
        CountedBrood::Before => "the year before's",
        CountedBrood::TooSoon => "too soon to count",
        CountedBrood::This => "this season's",
        CountedBrood::Later => "this season's, later",
    }
}

/// What a count says of the turf.
fn against_turf(counted: &Counted) -> &'static str {
    match counted.reading.verdict {
        Verdict::Below => "below what the turf tolerates",
        Verdict::Near => "near it: cannot tell",
        Verdict::Above => "above what the turf tolerates",
    }
}

/// From one count to another.
pub(super) fn change(change: &Change<'_>, notation: &Notation) -> String {
    let (before, after) = (change.before, change.after);
    let ratio = change.ratio().map_or(String::new(), |ratio| {
        if ratio < 1.0 {
            format!(", down to {}", percent(ratio))
        } else {
            format!(", {ratio:.1} times as many")
        }
    });
    let clear = match change.is_clear() {
        Some(true) => "The ranges lie apart: chance alone does not explain it.",
        Some(false) => "The ranges overlap: it may be chance.",
        None => "How sure that is, is not known.",
    };
    format!(
        "From {} ({}) to {} ({}): from {} to {}{ratio}. {clear}",
        notation.day_and_year(before.day),
        brood(before.brood),
        notation.day_and_year(after.day),
        brood(after.brood),
        notation.density(before.reading.mean_per_m2),
        notation.density(after.reading.mean_per_m2),
    )
}
