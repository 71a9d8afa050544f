//! Words for what was dug up: how dense the grubs are and what that says of the turf.

use super::capitalised;
use crate::domain::notation::Notation;
use crate::domain::phenology::species::Species;
use crate::domain::scouting::{CountReading, More, SampleKind, TurfCondition, Verdict};
use crate::domain::treatment::need::Brood;

/// How samples are dug. Common practice, no source.
pub fn how_to_dig(kind: SampleKind, notation: &Notation) -> String {
    let (lift, put_back) = match kind {
        SampleKind::Flap => (
            "For each, cut three sides of a flap, fold it back",
            "put the flap back",
        ),
        SampleKind::Plug => ("Lift each plug, break it up", "put it back"),
    };
    format!(
        "Spread the samples over the whole turf in a zigzag, also where it looks sound. {lift}, and count the white grubs in {} and in the roots; {put_back}, press it down and water it. Write down every sample, also those without larvae (common practice, no source).",
        notation.top_of_soil()
    )
}

/// How many larvae the turf of a site tolerates, with what that rests on.
pub fn limits(species: &Species, condition: Option<TurfCondition>, notation: &Notation) -> String {
    let threshold = &species.action_threshold;
    let range = format!(
        "{} ({})",
        notation.densities(threshold.low_per_m2, threshold.high_per_m2),
        threshold.grade.in_words()
    );
    let Some(condition) = condition else {
        return format!(
            "Turf tolerates {range} of {} larvae before damage begins.",
            species.name
        );
    };
    let point = match condition {
        TurfCondition::Irrigated => "the high end",
        TurfCondition::Unirrigated => "the low end",
        TurfCondition::Stressed => "half of the low end",
    };
    format!(
        "{} turf tolerates {} of {} larvae before damage begins: {point} of the range for the species, {range}; which point holds is a rule of thumb (common practice, no source).",
        capitalised(condition.name()),
        notation.density(condition.limit_per_m2(threshold)),
        species.name,
    )
}

/// Mean and range of a count.
pub fn what_was_found(reading: &CountReading, notation: &Notation) -> String {
    let mean = notation.density(reading.mean_per_m2);
    match &reading.density {
        Some(range) => format!(
            "Mean {mean}; in 9 of 10 cases the true mean is {}, if samples were spread over the turf.",
            notation.densities(range.low_per_m2, range.high_per_m2)
        ),
        None => format!(
            "Mean {mean}. How sure that is, is not known, so half to twice of it is allowed for; samples and larvae would tell (--samples, --larvae, --area)."
        ),
    }
}

/// The same on a line: "52 per m², 27 to 103 in 9 of 10 cases".
pub fn what_was_found_in_brief(reading: &CountReading, notation: &Notation) -> String {
    let mean = notation.density(reading.mean_per_m2);
    match &reading.density {
        Some(range) => format!(
            "{mean}, {} to {} in 9 of 10 cases",
            notation.density_number(range.low_per_m2),
            notation.density_number(range.high_per_m2)
        ),
        None => format!("{mean}, how sure is not known"),
    }
}

/// What a count says of a site's turf, by whose larvae they were, and what to do next; `plan` is where
/// the plan of the site stands: "hatchbell plan lawn".
pub fn what_it_says(reading: &CountReading, brood: Brood, plan: &str) -> String {
    let side = match reading.verdict {
        Verdict::Below => "BELOW what the turf tolerates.",
        Verdict::Near => "NEAR what the turf tolerates: this count cannot tell.",
        Verdict::Above => "ABOVE what the turf tolerates.",
    };
    let next = match (brood, reading.verdict) {
        (Brood::Earlier, _) => "It is of larvae before last season's and decides nothing any more.".to_owned(),
        (Brood::TooSoon, _) => "Eggs are laid, and this season's larvae are too few or too small to be counted yet: it decides nothing. Count again in late summer; you are told when.".to_owned(),
        (_, Verdict::Near) => reading.more.map_or(String::new(), what_more),
        (Brood::Last, Verdict::Below) => "It is of last season's larvae and speaks against a preventive for the next.".to_owned(),
        (Brood::Last, Verdict::Above) => format!(
            "It is of last season's larvae and speaks for a preventive against the next: {plan} shows which and when. The label, local rules and a licensed applicator decide."
        ),
        (Brood::This, Verdict::Below) => "Nothing need be applied. Count again if turf wilts, lifts like a carpet, or animals dig.".to_owned(),
        (Brood::This, Verdict::Above) => format!(
            "A curative may be justified: {plan} shows which still works. The label, local rules and a licensed applicator decide."
        ),
    };
    format!("{side} {next}")
}

/// What noted damage, or that there was none, counts for.
pub fn what_damage_counts_for(brood: Brood) -> &'static str {
    match brood {
        Brood::Earlier => {
            "That was before last season's larvae and decides nothing any more; check the date."
        }
        Brood::Last | Brood::TooSoon => {
            "It counts as last season's, for the decision on a preventive this season."
        }
        Brood::This => "It counts as this season's, for the decision on a preventive next season.",
    }
}

pub(super) fn what_more(more: More) -> String {
    match more {
        More::Samples(1) => {
            "1 more sample of the same size would, if the mean stays as it is.".to_owned()
        }
        More::Samples(more) => {
            format!("{more} more samples of the same size would, if the mean stays as it is.")
        }
        More::TooClose => "Its mean is so close that more digging would hardly help: how the turf looks, and whether animals dig, decides.".to_owned(),
        More::Condition => "Its mean lies within that range, so how the turf stands decides and not more digging: watered, healthy turf tolerates more, dry or weak turf less. The configuration can say which (condition = \"irrigated\", \"unirrigated\" or \"stressed\").".to_owned(),
        More::Unknown => "Dig and log samples.".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::scouting::Found;
    use crate::domain::scouting::SampleArea;

    const RANGE: (f64, f64) = (86.0, 161.0);

    fn said(samples: u32, larvae: u32) -> String {
        let area = SampleArea::from_ft2(1.0).unwrap();
        let found = Found::of_samples(samples, area, larvae, None).unwrap();
        what_it_says(
            &CountReading::of(&found, RANGE),
            Brood::This,
            "hatchbell plan lawn",
        )
    }

    #[test]
    fn a_low_count_says_that_nothing_need_be_applied() {
        let low = said(20, 20);
        assert!(low.starts_with("BELOW") && low.contains("Nothing need be applied"));
    }

    #[test]
    fn a_high_count_leads_to_the_plan_and_leaves_the_decision_to_the_label() {
        let high = said(20, 800);
        assert!(high.starts_with("ABOVE") && high.contains("hatchbell plan lawn"));
        assert!(high.contains("The label, local rules and a licensed applicator decide"));
    }

    #[test]
    fn a_count_that_cannot_tell_says_how_many_more_samples_would() {
        let near = said(3, 12);
        assert!(near.starts_with("NEAR"), "{near}");
        assert!(
            near.contains("more samples of the same size would"),
            "{near}"
        );
        assert!(
            !near.contains("curative") && !near.contains("Nothing need"),
            "{near}"
        );
    }

    #[test]
    fn a_density_alone_asks_for_samples() {
        let found = Found::of_density(100.0).unwrap();
        let reading = CountReading::of(&found, RANGE);
        let said = what_it_says(&reading, Brood::This, "hatchbell plan lawn");
        assert!(said.starts_with("NEAR") && said.ends_with("Dig and log samples."));
        assert!(
            what_was_found(&reading, &Notation::default())
                .contains("How sure that is, is not known")
        );
    }
}
