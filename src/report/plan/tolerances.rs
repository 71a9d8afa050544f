//! How many larvae the turf of a site tolerates, in words.

use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::notify::wording::limits;

/// How many larvae the turf tolerates: one sentence for all species whose numbers are equal.
pub(super) fn tolerances<'s>(
    site: &Site,
    species: impl Iterator<Item = &'s Species>,
    notation: &Notation,
) -> Vec<String> {
    let mut alike: Vec<(&Species, Vec<&str>)> = Vec::new();
    for one in species {
        let numbers = |of: &Species| {
            let threshold = &of.action_threshold;
            (threshold.low_per_m2, threshold.high_per_m2, threshold.grade)
        };
        match alike
            .iter_mut()
            .find(|(other, _)| numbers(other) == numbers(one))
        {
            Some((_, names)) => names.push(&one.name),
            None => alike.push((one, vec![&one.name])),
        }
    }
    let sentence = |(one, names): (&Species, Vec<&str>)| {
        let named = Species {
            name: alternatives(&names),
            ..one.clone()
        };
        limits(&named, site.condition, notation)
    };
    alike.into_iter().map(sentence).collect()
}

/// "A", "A or B", "A, B or C".
fn alternatives(names: &[&str]) -> String {
    match names.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} or {last}", others.join(", ")),
        _ => names.concat(),
    }
}
