//! Words for an option's days: what today is worth, what comes later, when it arrives, which species
//! it serves.

use super::{day_month, joined};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::rating::Rating;
use crate::domain::treatment::steps::{Advice, Step};
use chrono::NaiveDate;

/// What holds of an option today.
pub(super) fn step_words(advice: &Advice) -> String {
    let today = match advice.rating {
        Rating::Good => "Today is a good day.",
        Rating::Fair => "Today is a fair day.",
        Rating::Poor => "Today is a poor day.",
    };
    let mut words = today.to_owned();
    if let Some(told) = advice.moved_from {
        words += &format!(
            " The last day told before was {}; the weather has moved it.",
            day_month(told)
        );
    }
    words += &later_words(advice);
    if advice.step != Step::TooLate {
        words += &format!(" {}", arrival_words(advice));
    }
    words + &species_words(advice) + &rotation_words(&advice.option, advice.group_used_in)
}

/// What days after the last good one are worth, where that is near or over.
fn later_words(advice: &Advice) -> String {
    if !matches!(advice.step, Step::LastCall | Step::TooLate) {
        return String::new();
    }
    match advice.fair_until.map(day_month) {
        Some(until) if advice.ends_by_practice => {
            format!(" Later than practice advises, trials still found control until about {until}.")
        }
        Some(until) => format!(" Days up to about {until} are fair."),
        None => String::new(),
    }
}

/// When half of what is spread today is in the root zone, against the hatch.
fn arrival_words(advice: &Advice) -> String {
    let arrives = format!(
        "Half of it is in the root zone about {}",
        day_month(advice.arrives)
    );
    match advice.hatch_begins {
        Some(hatch) => format!("{arrives}, {}.", against_hatch(advice.arrives, hatch)),
        None => format!("{arrives}."),
    }
}

/// How a day lies to the first hatch: "four weeks after hatch begins".
pub fn against_hatch(day: NaiveDate, hatch: NaiveDate) -> String {
    let days = (day - hatch).num_days();
    let side = if days < 0 { "before" } else { "after" };
    match days.abs() {
        0..=3 => "as hatch begins".to_owned(),
        few @ 4..=10 => format!("{few} days {side} hatch begins"),
        many => format!("{} weeks {side} hatch begins", (many + 3) / 7),
    }
}

/// Which species an option serves on these days, where that is not all of them.
fn species_words(advice: &Advice) -> String {
    let mut words = String::new();
    for (name, window) in &advice.misses {
        words += &match window {
            Some(window) => format!(
                " It serves {} on these days; against {name} it would have to go down from {} to {}.",
                joined(advice.serves.iter().map(String::as_str)),
                day_month(window.first),
                day_month(window.last)
            ),
            None => format!(" It does not reach {name}."),
        };
    }
    if advice.step == Step::TooLate {
        for (name, last) in &advice.still_serves {
            words += &format!(
                " Against {name} alone it still works until {}.",
                day_month(*last)
            );
        }
    }
    words
}

/// A word where the same mode of action was used here before.
pub fn rotation_words(option: &TreatmentOption, used_in: Option<i32>) -> String {
    match (used_in, option.main_group()) {
        (Some(year), Some(group)) => format!(
            " Mode-of-action group {group} was used here in {year}: change the group between years if you can."
        ),
        _ => String::new(),
    }
}
