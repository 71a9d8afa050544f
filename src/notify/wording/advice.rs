//! Words for an option's days: what today is worth, what comes later, when it arrives, which species
//! it serves.

use super::joined;
use crate::domain::notation::Notation;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::rating::Rating;
use crate::domain::treatment::steps::{Advice, Step};
use chrono::NaiveDate;

/// What holds of an option today, or on the first of its days where that is ahead.
pub(super) fn step_words(advice: &Advice, notation: &Notation) -> String {
    let mut words = today_words(advice).to_owned();
    if let Some(told) = advice.moved_from {
        words += &format!(
            " The last day told before was {}; the weather has moved it.",
            notation.day(told)
        );
    }
    words += &later_words(advice, notation);
    if advice.step != Step::TooLate {
        words += &format!(" {}", arrival_words(advice, notation));
    }
    words += &species_words(advice, notation);
    words += &rotation_words(&advice.option, advice.group_used_in);
    words.trim_start().to_owned()
}

/// What today is worth; nothing where the days are ahead, or are over though today meets as much.
fn today_words(advice: &Advice) -> &'static str {
    match advice.rating {
        _ if advice.is_ahead => "",
        Rating::Good if advice.step == Step::TooLate => "",
        Rating::Good => "Today is a good day.",
        Rating::Fair => "Today is a fair day.",
        Rating::Poor => "Today is a poor day.",
    }
}

/// What days after the last good one are worth, where that is near or over.
fn later_words(advice: &Advice, notation: &Notation) -> String {
    if !matches!(advice.step, Step::LastCall | Step::TooLate) {
        return String::new();
    }
    match advice.fair_until.map(|day| notation.day(day)) {
        Some(until) if advice.ends_by_practice => {
            format!(" Later than practice advises, trials still found control until about {until}.")
        }
        Some(until) => format!(" Days up to about {until} are fair."),
        None => String::new(),
    }
}

/// When half of what is spread on that day is in the root zone, against the hatch.
fn arrival_words(advice: &Advice, notation: &Notation) -> String {
    let half = if advice.is_ahead {
        format!("Spread on {}, half", notation.day(advice.day))
    } else {
        "Half".to_owned()
    };
    let arrives = format!(
        "{half} of it is in the root zone about {}",
        notation.day(advice.arrives)
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
fn species_words(advice: &Advice, notation: &Notation) -> String {
    let mut words = String::new();
    for (name, window) in &advice.misses {
        words += &match window {
            Some(window) => format!(
                " It serves {} on these days; against {name} it would have to go down from {} to {}.",
                joined(advice.serves.iter().map(String::as_str)),
                notation.day(window.first),
                notation.day(window.last)
            ),
            None => format!(" It does not reach {name}."),
        };
    }
    if advice.step == Step::TooLate {
        for (name, last) in &advice.still_serves {
            words += &format!(
                " Against {name} alone it still works until {}.",
                notation.day(*last)
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
