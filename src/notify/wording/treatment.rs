//! Words for treatments: whether to treat, which step is due, what to count, how it is watered in.

use super::advice::step_words;
use super::block::{AppliedOption, Block};
use super::count::{density, what_more};
use super::weather::{weather_words, wet_words};
use super::{Reader, capitalised, day_month, joined, uncapitalised};
use crate::domain::journal::amount::Area;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{Round, SampleKind};
use crate::domain::telling::notice::{TreatmentNotice, TreatmentSubject};
use crate::domain::treatment::need::{Ground, Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::settled::{Spread, treated_part};
use crate::domain::treatment::steps::{Advice, Step};
use crate::domain::treatment::watering::{Watering, WateringState, Wet};

/// What to do about the grubs of a site.
pub(super) fn block(notice: &TreatmentNotice<'_>, site: &Site, reader: Reader<'_>) -> Block {
    let species = joined(notice.species.iter().map(|species| species.name.as_str()));
    let first = match notice.subject() {
        TreatmentSubject::Step(first) => first,
        TreatmentSubject::NothingLeft => {
            return Block {
                urgency: 1,
                head: "Too many grubs, and nothing here works on them now".to_owned(),
                deadline:
                    "Water and feed the turf; a licensed applicator may know what else is allowed."
                        .to_owned(),
                lines: vec![format!(
                    "{} Repair what they damage, and note it for next year.",
                    need_words(&notice.need)
                )],
                ..Block::default()
            };
        }
        TreatmentSubject::HoldBack => {
            return Block {
                urgency: 0,
                head: "Hold back: apply nothing now".to_owned(),
                deadline: need_in_brief(&notice.need).to_owned(),
                lines: vec!["What was told before no longer holds.".to_owned()],
                ..Block::default()
            };
        }
    };
    let mut lines = vec![format!(
        "Against {species}. {}",
        need_in_brief(&notice.need)
    )];
    for advice in &notice.advice {
        let name = capitalised(&advice.option.name);
        let words = step_words(advice);
        lines.push(if notice.advice.len() > 1 {
            format!("{name}: {words}")
        } else {
            words
        });
    }
    if notice.names_others() {
        lines.extend(instead_words(notice, first));
    }
    let spread = spread_words(&notice.spread, site.area);
    lines.extend((!spread.is_empty()).then_some(spread));
    lines.extend(weather_words(&notice.weather));
    if first.step != Step::TooLate {
        let command = format!(
            "hatchbell log application --site {} --option {}",
            site.id, first.option.id
        );
        lines.push(format!(
            "By a planning model, estimated. When it is down: {}",
            uncapitalised(&reader.report(&command))
        ));
    }
    let applied = notice
        .advice
        .iter()
        .filter(|advice| advice.step != Step::TooLate);
    Block {
        urgency: u8::from(first.step != Step::LastCall),
        head: head(first),
        deadline: deadline(first),
        lines,
        applied: applied
            .map(|advice| AppliedOption::of(&advice.option))
            .collect(),
        ..Block::default()
    }
}

fn head(first: &Advice) -> String {
    let name = &first.option.name;
    match first.step {
        Step::Opens | Step::BestAhead => format!("Apply {name}"),
        Step::LastCall => format!("Last week for {name}"),
        Step::TooLate if first.still_works() => format!("The good days for {name} are over"),
        Step::TooLate => format!("Too late for {name}"),
    }
}

fn deadline(first: &Advice) -> String {
    let window = first.window;
    let water = format!(
        "Water in with {:.0} mm {}.",
        first.option.watering_in.depth_mm.value,
        within(&first.option)
    );
    match first.step {
        Step::Opens | Step::BestAhead => format!(
            "From {} to {}, best about {}. {water}",
            day_month(window.first),
            day_month(window.last),
            day_month(window.best)
        ),
        Step::LastCall => format!("By {}. {water}", day_month(window.last)),
        Step::TooLate => format!("The last one was {}.", day_month(window.last)),
    }
}

fn within(option: &TreatmentOption) -> String {
    match option.watering_in.within_days.value {
        same_day if same_day < 1.0 => "on the same day".to_owned(),
        1.0 => "within a day".to_owned(),
        days => format!("within {days:.0} days"),
    }
}

/// How an option is watered in, how reliable it is, its cautions and the law.
pub fn how_words(option: &TreatmentOption) -> String {
    let soil = option.soil.as_ref().map_or(String::new(), |soil| {
        let lowest = soil.lowest_c.value;
        match &soil.highest_c {
            Some(highest) => format!(" Needs soil of {lowest} to {} °C.", highest.value),
            None => format!(" Needs soil of {lowest} °C or more."),
        }
    });
    let cautions: String = option
        .cautions
        .iter()
        .map(|caution| format!(" {caution}"))
        .collect();
    format!(
        "Water in with {:.0} mm {}.{soil} {}{cautions} {}",
        option.watering_in.depth_mm.value,
        within(option),
        option.reliability,
        option.legal
    )
}

fn instead_words(notice: &TreatmentNotice<'_>, first: &Advice) -> Option<String> {
    let others: Vec<String> = notice
        .instead
        .iter()
        .map(|one| {
            format!(
                "{} ({} to {})",
                one.name,
                day_month(one.window.first),
                day_month(one.window.last)
            )
        })
        .collect();
    if !others.is_empty() {
        return Some(format!("Instead: {}.", others.join("; ")));
    }
    (!first.still_works()).then(|| {
        "Nothing else of this site's choice is in time. Count the grubs when you are told to."
            .to_owned()
    })
}

/// What was spread this season, so that nothing is spread twice; empty if nothing was.
pub fn spread_words(spread: &[Spread<'_>], whole: Option<Area>) -> String {
    if spread.is_empty() {
        return String::new();
    }
    let all: Vec<String> = spread
        .iter()
        .map(|one| {
            format!(
                "{} on {} on {}",
                one.option.name,
                one.area,
                day_month(one.day)
            )
        })
        .collect();
    let part = whole
        .and_then(|whole| Some((treated_part(spread, whole)?, whole)))
        .map_or(String::new(), |(share, whole)| {
            format!(
                " That is {:.0} % of the {whole} here: what is told is for the rest, not for a second time.",
                share * 100.0
            )
        });
    format!(
        "Logged this season: {}.{part} Mind what your label allows a season.",
        all.join("; ")
    )
}

/// Whether to treat, in a sentence or two.
pub fn need_words(need: &Need) -> String {
    match need {
        Need::Preventive(Ground::StandingDecision) => "A preventive every year is the standing decision here. Look at last autumn's counts before you follow it once more.".to_owned(),
        Need::Preventive(Ground::LastYear) => "Last year's counts or damage here were harmful, and grubs tend to come back to the same turf.".to_owned(),
        Need::Curative {
            mean_per_m2,
            counted_on,
            together: None,
        } => format!(
            "The count of {}, {}, lies above what the turf bears.",
            day_month(*counted_on),
            density(*mean_per_m2)
        ),
        Need::Curative {
            mean_per_m2,
            counted_on,
            together: Some(share),
        } => format!(
            "The species counted up to {}, {} together, come to {:.0} % of what the turf bears, though none is above it alone.",
            day_month(*counted_on),
            density(*mean_per_m2),
            share * 100.0
        ),
        Need::CountMore { mean_per_m2, more } => format!(
            "Nothing should be applied yet: this season's count, {}, is too near to what the turf bears to tell. {}",
            density(*mean_per_m2),
            more.map_or(String::new(), what_more)
        ),
        Need::Nothing(reason) => format!("Nothing should be applied: {}", reason_words(reason)),
    }
}

pub(super) fn need_in_brief(need: &Need) -> &'static str {
    match need {
        Need::Preventive(Ground::StandingDecision) => {
            "A preventive every year is the standing decision here."
        }
        Need::Preventive(Ground::LastYear) => "Last year's grubs here justify a preventive.",
        Need::Curative { .. } => "The count is above what the turf tolerates.",
        Need::CountMore { .. } => "Nothing to apply before more samples are dug.",
        Need::Nothing(Reason::CountedBelow { .. }) => {
            "Nothing to apply: the count is below what the turf tolerates."
        }
        Need::Nothing(Reason::Treated { .. }) => "Nothing more to apply: it has been done.",
        Need::Nothing(Reason::NoPreventives) => "Nothing to apply: no preventives are used here.",
        Need::Nothing(Reason::LowRisk) => "Nothing to apply: last year's grubs were few.",
        Need::Nothing(Reason::SomeRisk | Reason::NothingKnown | Reason::NoSpecies) => {
            "Nothing to apply: nothing known of last year calls for it."
        }
    }
}

fn reason_words(reason: &Reason) -> String {
    match reason {
        Reason::CountedBelow { mean_per_m2 } => format!(
            "this season's count, {}, lies below what the turf bears. Some grubs are normal in healthy turf.",
            density(*mean_per_m2)
        ),
        Reason::Treated { on } => format!(
            "what was justified here was done on {}. Nothing more unless a count in late summer calls for it.",
            day_month(*on)
        ),
        Reason::SomeRisk => "last year's count or damage gives some reason to look here first in late summer, and none to spread something beforehand.".to_owned(),
        Reason::LowRisk => "last year's count was low or the year passed without damage. Count in late summer.".to_owned(),
        Reason::NothingKnown => "neither counts nor damage of last year are logged, so nothing speaks for a preventive. Count in late summer; if grubs did damage last year, log it (hatchbell log note --site SITE --date DAY --damage yes).".to_owned(),
        Reason::NoSpecies => "none of this site's species is known here; name them in the configuration (species = [\"…\"]).".to_owned(),
        Reason::NoPreventives => "this site uses no preventives. Count in late summer; only a count above what the turf bears justifies a curative.".to_owned(),
    }
}

/// What to count: one digging for all species.
pub(super) fn count_block(
    site: &Site,
    species: &[(&Species, (f64, f64))],
    reader: Reader<'_>,
) -> Block {
    let lows = species.iter().map(|(_, (low, _))| *low);
    let lowest = lows.fold(f64::INFINITY, f64::min);
    let names = joined(species.iter().map(|(species, _)| species.name.as_str()));
    let command = format!(
        "hatchbell log count --site {} --species {} --each 0,3,1 --area {}",
        site.id,
        species.first().map_or("", |(species, _)| &species.id),
        site.samples.area_in_text()
    );
    let tolerated: Vec<String> = species
        .iter()
        .map(|(species, (low, high))| {
            if low < high {
                format!("{low:.0} to {high:.0} of {}", species.name)
            } else {
                format!("{low:.0} of {}", species.name)
            }
        })
        .collect();
    Block {
        urgency: 2,
        head: "Count grubs".to_owned(),
        deadline: format!(
            "Within about two weeks: {}.",
            samples_words(site.samples, lowest, site.area)
        ),
        lines: vec![
            format!(
                "{names}: the larvae are now large enough to be seen, in the top 5 to 10 cm of soil."
            ),
            format!("This turf tolerates, per m²: {}.", tolerated.join(", ")),
            format!("No count, no curative. {}", reader.report(&command)),
        ],
        ..Block::default()
    }
}

/// How an application stands with its water.
pub(super) fn water_block(
    site: &Site,
    option: &TreatmentOption,
    watering: &Watering,
    wet: Option<Wet>,
    reader: Reader<'_>,
) -> Block {
    let (name, deadline) = (&option.name, day_month(watering.deadline));
    let (head, what) = match watering.state {
        WateringState::Due | WateringState::Waiting => (
            format!("Water in {name}"),
            format!(
                "{:.0} mm by {deadline}; {:.0} mm are lacking.",
                watering.needed_mm,
                watering.lacking_mm()
            ),
        ),
        WateringState::Done(on) => (
            format!("{} is watered in", capitalised(name)),
            format!(
                "It had its {:.0} mm on {}.",
                watering.needed_mm,
                day_month(on)
            ),
        ),
        WateringState::Missed => (
            format!("{} was not watered in in time", capitalised(name)),
            format!(
                "{:.0} mm were due by {deadline}; {:.0} mm are lacking.",
                watering.needed_mm,
                watering.lacking_mm()
            ),
        ),
    };
    let is_open = !matches!(watering.state, WateringState::Done(_));
    let mut lines = vec![format!(
        "Counted since {}: {:.0} mm of rain and {:.0} mm of irrigation.",
        day_month(watering.spread),
        watering.rain_mm,
        watering.irrigation_mm
    )];
    if is_open {
        let command = format!("hatchbell log irrigation --site {} --depth 13mm", site.id);
        lines.push(format!(
            "Until it is through the thatch it does nothing against grubs. If it was watered: {}",
            uncapitalised(&reader.report(&command))
        ));
        lines.extend(wet.map(wet_words));
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

/// How many samples tell enough at the threshold.
pub fn samples_words(kind: SampleKind, decisive_per_m2: f64, area: Option<Area>) -> String {
    let what = match kind {
        SampleKind::Flap => "flaps of 0.25 ft² (15 by 15 cm)",
        SampleKind::Plug => "plugs of a cup cutter (108 mm across)",
    };
    match kind.round(decisive_per_m2, area) {
        Some(Round { samples, fields: 1 }) => format!("{samples} {what} over the whole area"),
        Some(Round { samples, fields }) => format!(
            "{samples} {what} on each field, or on each of {fields} parts of about a hectare"
        ),
        None => format!("as many {what} over the whole area as you can"),
    }
}

/// How an application stands with its water.
pub fn water_in_words(option: &TreatmentOption, watering: &Watering, wet: Option<Wet>) -> String {
    let counted = format!(
        "Counted: {:.0} mm of rain after {}{} and {:.0} mm of logged irrigation.",
        watering.rain_mm,
        day_month(watering.spread),
        match watering.rain_through {
            Some(day) => format!(" (known through {})", day_month(day)),
            None => " (the station has sent none since)".to_owned(),
        },
        watering.irrigation_mm
    );
    let name = &option.name;
    let spread = day_month(watering.spread);
    let needed = watering.needed_mm;
    let text = match watering.state {
        WateringState::Due | WateringState::Waiting => format!(
            "{} spread on {spread} needs {needed:.0} mm of water by {}, or as the label says; {:.0} mm are lacking. {counted} Until it is through the thatch it does nothing against grubs, and children, pets and bees meet it on the leaves. Log what you give (hatchbell log irrigation).",
            capitalised(name),
            day_month(watering.deadline),
            watering.lacking_mm(),
        ),
        WateringState::Done(on) if watering.is_late() => format!(
            "{} spread on {spread} had its {needed:.0} mm on {}, after {}: it may have lost some of its strength on the leaves. {counted}",
            capitalised(name),
            day_month(on),
            day_month(watering.deadline),
        ),
        WateringState::Done(on) => format!(
            "{} spread on {spread} had its {needed:.0} mm on {}. {counted} The watering in is done; what the label asks beyond it goes on, such as keeping the soil moist. Keep children and pets off until the turf is dry, or longer if the label says so.",
            capitalised(name),
            day_month(on),
        ),
        WateringState::Missed => format!(
            "{} spread on {spread} should have had {needed:.0} mm by {}; {:.0} mm are lacking. {counted} If it was watered and not logged, log it. If not, water it in now if the label allows: what lies on the leaves and in the thatch does nothing against grubs.",
            capitalised(name),
            day_month(watering.deadline),
            watering.lacking_mm(),
        ),
    };
    let is_open = !matches!(watering.state, WateringState::Done(_));
    match wet.filter(|_| is_open) {
        Some(wet) => format!("{text} Mind the weather: {}", wet_words(wet)),
        None => text,
    }
}
