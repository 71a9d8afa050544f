//! Biofix: a trap catch or first sighting at the site re-anchors the season there.
//!
//! What is caught is adult flight; later milestones move with it by the same sum. In a season
//! without a catch yet, earlier seasons' catches at the site speak with the published threshold.

use crate::domain::phenology::species::{Species, Threshold};
use crate::domain::sourced_value::EvidenceGrade;

/// The published threshold counts as much as this many seasons of catches at the site. A choice,
/// not a published value: two seasons of one's own outweigh the table.
pub const PUBLISHED_COUNTS_AS_SEASONS: f64 = 2.0;

/// What a site's catches say about its flight threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// What is added to every threshold of the species at this site, °C·d.
    pub shift: f64,
    /// What it rests on.
    pub by: AnchoredBy,
}

/// What an anchor rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AnchoredBy {
    /// This season's catch.
    ThisSeason,
    /// Catches of earlier seasons together with the published threshold.
    EarlierSeasons {
        /// How many.
        seasons: usize,
    },
}

/// Re-anchors flight by the sum at this season's first catch, or by earlier seasons' sums.
///
/// # Method
/// With a catch this season the site's threshold is the sum on that day. Otherwise it is the mean
/// of the published value, counted [`PUBLISHED_COUNTS_AS_SEASONS`] times, and the sums at the
/// first catches of earlier seasons: `(2 T + Σ S) / (2 + n)`. The shift is its difference to the
/// published value `T`. Without any catch there is none.
///
/// # Units
/// °C·d by the species' own model and start.
///
/// # Valid range
/// Sums at or above zero. A catch before the sum has begun to rise moves flight to zero.
///
/// # References
/// Shrinkage of a mean towards a prior value: any textbook of statistics. The weight is ours.
///
/// # Examples
/// ```
/// use hatchbell::domain::phenology::biofix::{AnchoredBy, anchor};
/// use hatchbell::domain::sourced_value::EvidenceGrade;
/// use hatchbell::domain::phenology::species::Threshold;
/// let flight = Threshold { value: 560.0, range: Some((500.0, 660.0)), grade: EvidenceGrade::Published, source: String::new() };
/// assert_eq!(anchor(&flight, Some(600.0), &[]).unwrap().shift, 40.0);
/// // Two earlier seasons at 600 count as much as the published value.
/// let learnt = anchor(&flight, None, &[600.0, 600.0]).unwrap();
/// assert_eq!(learnt.shift, 20.0);
/// assert_eq!(learnt.by, AnchoredBy::EarlierSeasons { seasons: 2 });
/// assert!(anchor(&flight, None, &[]).is_none());
/// ```
pub fn anchor(flight: &Threshold, this_season: Option<f64>, earlier: &[f64]) -> Option<Anchor> {
    if let Some(sum) = this_season {
        return Some(Anchor {
            shift: sum - flight.value,
            by: AnchoredBy::ThisSeason,
        });
    }
    if earlier.is_empty() {
        return None;
    }
    let caught: f64 = earlier.iter().sum();
    let weight = PUBLISHED_COUNTS_AS_SEASONS + earlier.len() as f64;
    let local = (PUBLISHED_COUNTS_AS_SEASONS * flight.value + caught) / weight;
    Some(Anchor {
        shift: local - flight.value,
        by: AnchoredBy::EarlierSeasons {
            seasons: earlier.len(),
        },
    })
}

/// The species with every threshold moved; none goes below zero.
pub fn anchored(species: &Species, shift: f64) -> Species {
    let moved = |value: f64| (value + shift).max(0.0);
    let mut species = species.clone();
    for stage in &mut species.stages {
        let threshold = &mut stage.threshold;
        threshold.value = moved(threshold.value);
        threshold.grade = EvidenceGrade::Local;
        threshold.range = threshold.range.map(|(low, high)| (moved(low), moved(high)));
    }
    species
}
