//! Words for what was dug up: how dense the grubs are and what that says of the turf.

use crate::domain::scouting::{Limits, M2_IN_FT2, More, Reading, TurfCondition, Verdict};
use crate::domain::site::Site;
use crate::domain::species::Species;

/// A density: "52 per m² (4.8 per ft²)".
pub fn density(per_m2: f64) -> String {
    format!("{per_m2:.0} per m² ({:.1} per ft²)", per_m2 * M2_IN_FT2)
}

/// How many larvae the turf of a site bears, with what that rests on.
pub fn limits(species: &Species, condition: Option<TurfCondition>) -> String {
    let threshold = &species.action_threshold;
    let range = format!(
        "{} ({})",
        span(threshold.low_per_m2, threshold.high_per_m2),
        threshold.solidity.in_words()
    );
    match condition {
        None => format!("turf bears {range} of {} larvae", species.name),
        Some(condition) => format!(
            "turf that is {} bears {} of {} larvae: a rule of thumb (common practice, no source) within {range}",
            condition.name(),
            density(Limits::of(threshold, Some(condition)).low_per_m2),
            species.name,
        ),
    }
}

/// Mean and range of a count.
pub fn what_was_found(reading: &Reading) -> String {
    let mean = density(reading.mean_per_m2);
    match &reading.density {
        Some(range) => format!(
            "Mean {mean}; the true mean lies at {} in 9 of 10 cases, if samples were spread over the turf.",
            span(range.low_per_m2, range.high_per_m2)
        ),
        None => format!(
            "Mean {mean}. How sure that is, is not known; samples and larvae would tell (--samples, --larvae, --area)."
        ),
    }
}

/// What a count says of a site's turf, and what to do next.
pub fn what_it_says(reading: &Reading, species: &Species, site: &Site) -> String {
    let bears = format!("what the turf bears ({})", limits(species, site.condition));
    let by_mean = match reading.density {
        Some(_) => "",
        None => "By its mean alone: ",
    };
    match reading.verdict {
        Verdict::Below => format!(
            "{by_mean}BELOW {bears}. Nothing need be applied. Count again if turf wilts, lifts like a carpet, or animals dig."
        ),
        Verdict::Near => format!(
            "{by_mean}NEAR {bears}: this count cannot tell. {}",
            reading.more.map_or(String::new(), what_more)
        ),
        Verdict::Above => format!(
            "{by_mean}ABOVE {bears}. A curative may be justified: hatchbell plan {} shows which still works. The label, local rules and a licensed applicator decide.",
            site.id
        ),
    }
}

fn what_more(more: More) -> String {
    match more {
        More::Samples(1) => {
            "1 more sample of the same size would, if the mean stays as it is.".to_owned()
        }
        More::Samples(more) => {
            format!("{more} more samples of the same size would, if the mean stays as it is.")
        }
        More::TooClose => "Its mean is so close that more digging would hardly help: how the turf looks, and whether animals dig, decides.".to_owned(),
        More::Condition => "Its mean lies within that range, so how the turf stands decides and not more digging: watered, healthy turf bears more, dry or weak turf less. The configuration can say which (condition = \"irrigated\", \"unirrigated\" or \"stressed\").".to_owned(),
        More::Unknown => "Dig and log samples.".to_owned(),
    }
}

fn span(low_per_m2: f64, high_per_m2: f64) -> String {
    format!(
        "{low_per_m2:.0} to {high_per_m2:.0} per m² ({:.1} to {:.1} per ft²)",
        low_per_m2 * M2_IN_FT2,
        high_per_m2 * M2_IN_FT2
    )
}
