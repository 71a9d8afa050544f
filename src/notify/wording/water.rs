//! Words for how applications are watered in.

use super::block::{AppliedOption, Block};
use super::weather::wet_words;
use super::{Reader, capitalised, uncapitalised};
use crate::domain::notation::{Notation, Units};
use crate::domain::place::site::Site;
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::watering::{Watering, WateringState, Wet};

/// How an application stands with its water.
pub(super) fn water_block(
    site: &Site,
    option: &TreatmentOption,
    watering: &Watering,
    wet: Option<Wet>,
    reader: Reader<'_>,
) -> Block {
    let notation = reader.notation;
    let (name, deadline) = (&option.name, notation.day(watering.deadline));
    let (head, what) = match watering.state {
        WateringState::Due | WateringState::Waiting => (
            format!("Water in {name}"),
            format!(
                "{} by {deadline}; {} are lacking.",
                notation.depth(watering.needed_mm),
                notation.depth(watering.lacking_mm())
            ),
        ),
        WateringState::Done(on) => (
            format!("{} is watered in", capitalised(name)),
            format!(
                "It had its {} on {}.",
                notation.depth(watering.needed_mm),
                notation.day(on)
            ),
        ),
        WateringState::Missed => (
            format!("{} was not watered in in time", capitalised(name)),
            format!(
                "{} were due by {deadline}; {} are lacking.",
                notation.depth(watering.needed_mm),
                notation.depth(watering.lacking_mm())
            ),
        ),
    };
    let is_open = !matches!(watering.state, WateringState::Done(_));
    let mut lines = vec![format!(
        "Counted since {}: {} of rain and {} of irrigation.",
        notation.day(watering.spread),
        notation.depth(watering.rain_mm),
        notation.depth(watering.irrigation_mm)
    )];
    if is_open {
        let command = format!(
            "hatchbell log irrigation --site {} --depth {}",
            site.id,
            match notation.units {
                Units::Metric => "13mm",
                Units::Us => "0.5in",
            }
        );
        lines.push(format!(
            "Until it is through the thatch it does nothing against grubs. If it was watered: {}",
            uncapitalised(&reader.report(&command))
        ));
        lines.extend(wet.map(|wet| wet_words(wet, notation)));
    }
    Block {
        urgency: u8::from(!is_open) * 3,
        head,
        deadline: what,
        lines,
        applied: if is_open {
            vec![AppliedOption::of(option)]
        } else {
            Vec::new()
        },
        ..Block::default()
    }
}

/// How an application stands with its water.
pub fn water_in_words(
    option: &TreatmentOption,
    watering: &Watering,
    wet: Option<Wet>,
    notation: &Notation,
) -> String {
    let counted = format!(
        "Counted: {} of rain after {}{} and {} of logged irrigation.",
        notation.depth(watering.rain_mm),
        notation.day(watering.spread),
        match watering.rain_through {
            Some(day) => format!(" (known through {})", notation.day(day)),
            None => " (the station has sent none since)".to_owned(),
        },
        notation.depth(watering.irrigation_mm)
    );
    let name = &option.name;
    let spread = notation.day(watering.spread);
    let needed = notation.depth(watering.needed_mm);
    let lacking = notation.depth(watering.lacking_mm());
    let text = match watering.state {
        WateringState::Due | WateringState::Waiting => format!(
            "{} spread on {spread} needs {needed} of water by {}, or as the label says; {lacking} are lacking. {counted} Until it is through the thatch it does nothing against grubs, and children, pets and bees meet it on the leaves. Log what you give.",
            capitalised(name),
            notation.day(watering.deadline),
        ),
        WateringState::Done(on) if watering.is_late() => format!(
            "{} spread on {spread} had its {needed} on {}, after {}: it may have lost some of its strength on the leaves. {counted}",
            capitalised(name),
            notation.day(on),
            notation.day(watering.deadline),
        ),
        WateringState::Done(on) => format!(
            "{} spread on {spread} had its {needed} on {}. {counted} The watering in is done; what the label asks beyond it goes on, such as keeping the soil moist. Keep children and pets off until the turf is dry, or longer if the label says so.",
            capitalised(name),
            notation.day(on),
        ),
        WateringState::Missed => format!(
            "{} spread on {spread} should have had {needed} by {}; {lacking} are lacking. {counted} If it was watered and not logged, log it. If not, water it in now if the label allows: what lies on the leaves and in the thatch does nothing against grubs.",
            capitalised(name),
            notation.day(watering.deadline),
        ),
    };
    let is_open = !matches!(watering.state, WateringState::Done(_));
    match wet.filter(|_| is_open) {
        Some(wet) => format!("{text} Mind the weather: {}", wet_words(wet, notation)),
        None => text,
    }
}
