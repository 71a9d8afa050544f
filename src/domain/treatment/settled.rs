//! What was spread, and whether that is what was called for.

use crate::domain::journal::amount::Area;
use crate::domain::treatment::hatching::Hatching;
use crate::domain::treatment::need::{Need, Reason};
use crate::domain::treatment::option::{Purpose, TreatmentOption};
use crate::domain::treatment::rating::FAIR;
use chrono::NaiveDate;

/// Something that was spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread<'o> {
    /// What.
    pub option: &'o TreatmentOption,
    /// When.
    pub day: NaiveDate,
    /// On how much turf.
    pub area: Area,
}

/// An application counts as a treatment if it meets at least this share of what its option's best
/// day does. A choice.
const MET: f64 = FAIR;

/// A site counts as treated from this share of its area on. A choice.
const WHOLE: f64 = 0.9;

/// The share of a site that was spread on, 0 to 1, if that leaves a part of it untreated. Parts of a
/// site are taken to lie side by side.
pub fn treated_part(spread: &[Spread<'_>], whole: Area) -> Option<f64> {
    let m2 = spread.iter().fold(0.0, |sum, one| sum + one.area.m2());
    Some(m2 / whole.m2()).filter(|share| *share < WHOLE)
}

/// What an application of a day meets as a share of what the option's best day does, whatever the soil
/// and however early; `None` if no day meets anything.
fn share_of_best(
    option: &TreatmentOption,
    purpose: Purpose,
    hatching: &Hatching,
    day: NaiveDate,
) -> Option<f64> {
    let coverage = hatching.coverage(option);
    let best = coverage.window_for(purpose)?.best;
    Some(coverage.mean_on(day).unwrap_or(0.0) / coverage.mean_on(best)?)
}

/// The need as it stands after what was spread this season: options of the purpose it calls for, on
/// days on which they meet the hatch, on the whole area where that is known. A curative must have
/// gone down on the day of the count or later.
pub fn settled(need: Need, spread: &[Spread<'_>], area: Option<Area>, hatching: &Hatching) -> Need {
    let Some(wanted) = need.purpose() else {
        return need;
    };
    let since = match need {
        Need::Curative { counted_on, .. } => Some(counted_on),
        _ => None,
    };
    let met: Vec<Spread<'_>> = spread
        .iter()
        .filter(|one| since.is_none_or(|counted_on| one.day >= counted_on))
        .filter(|one| one.option.serves(wanted))
        .filter(|one| {
            share_of_best(one.option, wanted, hatching, one.day).is_some_and(|share| share >= MET)
        })
        .copied()
        .collect();
    let is_whole = area.is_none_or(|area| treated_part(&met, area).is_none());
    match met.last() {
        Some(last) if is_whole => Need::Nothing(Reason::Treated { on: last.day }),
        _ => need,
    }
}

#[cfg(test)]
mod tests {
    use super::super::kit::{hatching, option, species};
    use super::*;
    use crate::domain::treatment::need::Ground;

    const WANTED: Need = Need::Preventive(Ground::StandingDecision);

    #[test]
    fn a_site_counts_as_treated_from_nine_tenths_of_its_area_on() {
        let option = option("imidacloprid");
        let hatching = hatching(&species("japanese-beetle"), 0.0);
        let best = hatching.coverage(&option).window().unwrap().best;
        let after = |areas: &[&str]| {
            let spread: Vec<Spread<'_>> = areas
                .iter()
                .map(|area| Spread {
                    option: &option,
                    day: best,
                    area: area.parse().unwrap(),
                })
                .collect();
            let whole: Area = "450 m2".parse().unwrap();
            (
                settled(WANTED, &spread, Some(whole), &hatching),
                treated_part(&spread, whole),
            )
        };
        let treated = Need::Nothing(Reason::Treated { on: best });
        assert_eq!(after(&["405 m2"]), (treated, None));
        assert_eq!(after(&["225 m2", "180 m2"]), (treated, None));
        assert_eq!(after(&["360 m2"]), (WANTED, Some(0.8)));
        assert_eq!(after(&["225 m2"]), (WANTED, Some(0.5)));
        assert_eq!(after(&[]), (WANTED, Some(0.0)));
    }
}
