//! What was counted in a season, and how counts changed.

use crate::domain::look_back::{Change, Counted, CountedBrood, Counts, OfSpecies};
use crate::domain::scouting::Verdict;
use crate::notify::wording::{density, what_was_found_in_brief};
use crate::report::words::{percent, whole_day};

/// The heads of the columns of counts.
pub const COUNTS: [&str; 4] = ["day", "whose larvae", "found", "against the turf"];

/// A row for each count.
pub(super) fn count_rows(counts: &Counts) -> Vec<[String; 4]> {
    counts
        .all
        .iter()
        .map(|one| {
            [
                whole_day(one.day),
                brood(one.brood).to_owned(),
                what_was_found_in_brief(&one.reading),
                against_turf(one).to_owned(),
            ]
        })
        .collect()
}

/// What the turf bears, and how counts changed from brood to brood.
pub(super) fn count_notes(species: &OfSpecies) -> Vec<String> {
    if species.counts.all.is_empty() {
        return vec![format!("No count of {} is logged.", species.name)];
    }
    let (low, high) = species.tolerance;
    let bears = if low == high {
        density(low)
    } else {
        format!("{} to {}", density(low), density(high))
    };
    let mut notes = vec![format!("The turf is taken to bear {bears}.")];
    let between = species.counts.from_brood_to_brood();
    notes.extend(between.map(|between| change(&between)));
    notes
}

/// The last count, in a sentence.
pub(super) fn counts_in_short(species: &OfSpecies) -> Option<String> {
    let last = species.counts.all.last()?;
    Some(format!(
        "{}: the last count, {}, found {}, {} ({} larvae).",
        species.name,
        whole_day(last.day),
        density(last.reading.mean_per_m2),
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
        Verdict::Below => "below what the turf bears",
        Verdict::Near => "near it: cannot tell",
        Verdict::Above => "above what the turf bears",
    }
}

/// From one count to another.
pub(super) fn change(change: &Change<'_>) -> String {
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
        whole_day(before.day),
        brood(before.brood),
        whole_day(after.day),
        brood(after.brood),
        density(before.reading.mean_per_m2),
        density(after.reading.mean_per_m2),
    )
}
