//! Entries of the journal in words.

use crate::domain::journal::{Application, JournalAction, SprayRecord};
use crate::domain::notation::Notation;
use crate::domain::scouting::Count;
use crate::domain::scouting::Found;
use crate::report::scout::sample_area;
use chrono::NaiveTime;

/// What was done or seen: "imidacloprid on 450 m² at 0.2 kg/100 m², that is 0.9 kg".
pub fn action(action: &JournalAction, notation: &Notation) -> String {
    match action {
        JournalAction::Catch { species, beetles } => match beetles {
            None => format!("catch of {species}"),
            Some(0) => format!("no {species} caught"),
            Some(beetles) => format!("catch of {beetles} {species}"),
        },
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
pub fn whole_action(what: &JournalAction, notation: &Notation) -> String {
    let more = match what {
        JournalAction::Application(spread) => {
            let most = spread
                .most_a_season
                .map(|most| format!("; at most {most} a season by the label"));
            let record = record_in_words(&spread.record);
            let record = (!record.is_empty()).then(|| format!("; {record}"));
            Some(most.unwrap_or_default() + &record.unwrap_or_default())
        }
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

/// What is written down of an application beside option, area and rate: "product X, from 06:30 to 08:00".
pub fn record_in_words(record: &SprayRecord) -> String {
    let text = |title: &str, value: &Option<String>| {
        value.as_ref().map(|value| format!("{title} {value}"))
    };
    let time = |title: &str, time: Option<NaiveTime>| {
        time.map(|time| format!("{title} {}", time.format("%H:%M")))
    };
    let parts = [
        text("product", &record.product),
        text("registration", &record.registration),
        text("on", &record.part),
        time("from", record.started),
        time("to", record.ended),
        text("by", &record.applicator),
        text("certificate", &record.certificate),
        text("against", &record.target),
        record.wind.map(|wind| format!("wind {wind}")),
        text("wind from", &record.wind_from),
        record.temperature.map(|warmth| format!("air {warmth}")),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(", ")
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
