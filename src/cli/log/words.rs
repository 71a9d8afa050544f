//! Entries of the journal in words.

use crate::domain::journal::{Application, JournalAction};
use crate::domain::notation::Notation;
use crate::domain::scouting::Count;
use crate::domain::scouting::Found;
use crate::report::scout::sample_area;

/// What was done or seen: "imidacloprid on 450 m² at 0.2 kg/100 m², that is 0.9 kg".
pub(super) fn action(action: &JournalAction, notation: &Notation) -> String {
    match action {
        JournalAction::Catch { species } => format!("catch of {species}"),
        JournalAction::Application(spread) => application(spread),
        JournalAction::Count { species, found } => count(species, found, notation),
        JournalAction::Irrigation { depth } => format!("{depth} of water"),
        JournalAction::Note { damage: None } => "note".to_owned(),
        JournalAction::Note { damage: Some(true) } => "damage by grubs".to_owned(),
        JournalAction::Note {
            damage: Some(false),
        } => "no damage by grubs".to_owned(),
    }
}

/// The same with everything that was stated.
pub(super) fn whole_action(what: &JournalAction, notation: &Notation) -> String {
    let more = match what {
        JournalAction::Application(spread) => spread
            .most_a_season
            .map(|most| format!("; at most {most} a season by the label")),
        JournalAction::Count {
            found: Found::Samples(count),
            ..
        } => count.each().map(|each| {
            let each: Vec<String> = each.iter().map(u32::to_string).collect();
            format!("; {}", each.join(", "))
        }),
        _ => None,
    };
    action(what, notation) + &more.unwrap_or_default()
}

fn application(spread: &Application) -> String {
    let rate = spread.rate.map_or(String::new(), |rate| {
        format!(" at {rate}, that is {}", rate.on(spread.area))
    });
    format!("{} on {}{rate}", spread.option, spread.area)
}

fn count(species: &str, found: &Found, notation: &Notation) -> String {
    match found {
        Found::Samples(count) => format!(
            "{} of {species} in {}: {}",
            larvae(count.larvae()),
            samples(count),
            notation.density(found.mean_per_m2())
        ),
        Found::Density(per_m2) => format!("{species}: {}", notation.density(*per_m2)),
    }
}

fn larvae(count: u32) -> String {
    match count {
        0 => "no larvae".to_owned(),
        1 => "1 larva".to_owned(),
        more => format!("{more} larvae"),
    }
}

fn samples(count: &Count) -> String {
    let area = sample_area(count.area());
    match count.samples() {
        1 => format!("1 sample of {area}"),
        more => format!("{more} samples of {area}"),
    }
}
