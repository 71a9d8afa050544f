//! Words for treatments: whether to treat, which step is due, what to count, how it is watered in.

use super::advice::step_words;
use super::block::{AppliedOption, Block};
use super::count::what_more;
use super::weather::weather_words;
use super::{Reader, capitalised, joined, uncapitalised};
use crate::domain::journal::amount::Area;
use crate::domain::notation::{Notation, Units};
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{Round, SampleKind};
use crate::domain::telling::notice::{Notice, TreatmentNotice, TreatmentSubject};
use crate::domain::treatment::need::{Ground, Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::settled::{Spread, treated_part};
use crate::domain::treatment::steps::{Advice, Step};
use chrono::NaiveDate;

/// What to do about the grubs of a site.
pub(super) fn block(notice: &TreatmentNotice<'_>, site: &Site, reader: Reader<'_>) -> Block {
    let notation = reader.notation;
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
                    need_words(&notice.need, notation)
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
        let words = step_words(advice, notation);
        lines.push(if notice.advice.len() > 1 {
            format!("{name}: {words}")
        } else {
            words
        });
    }
    if notice.names_others() {
        lines.extend(instead_words(notice, first, notation));
    }
    let spread = spread_words(&notice.spread, site.area, notation);
    lines.extend((!spread.is_empty()).then_some(spread));
    lines.extend(weather_words(&notice.weather, notation));
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
        by: Some(first.window.last),
        head: head(first),
        deadline: deadline(first, notation),
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

fn deadline(first: &Advice, notation: &Notation) -> String {
    let window = first.window;
    let water = format!(
        "Water in with {} {}.",
        notation.depth(first.option.watering_in.depth_mm.value),
        within(&first.option)
    );
    match first.step {
        Step::Opens | Step::BestAhead => format!(
            "From {} to {}, best about {}. {water}",
            notation.day(window.first),
            notation.day(window.last),
            notation.day(window.best)
        ),
        Step::LastCall => format!("By {}. {water}", notation.day(window.last)),
        Step::TooLate => format!("The last one was {}.", notation.day(window.last)),
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
pub fn how_words(option: &TreatmentOption, notation: &Notation) -> String {
    let soil = option.soil.as_ref().map_or(String::new(), |soil| {
        let lowest = soil.lowest_c.value;
        match &soil.highest_c {
            Some(highest) => format!(
                " Needs soil of {} to {}.",
                notation.temperature(lowest),
                notation.temperature(highest.value)
            ),
            None => format!(" Needs soil of {} or more.", notation.temperature(lowest)),
        }
    });
    let cautions: String = option
        .cautions
        .iter()
        .map(|caution| format!(" {caution}"))
        .collect();
    format!(
        "Water in with {} {}.{soil} {}{cautions} {}",
        notation.depth(option.watering_in.depth_mm.value),
        within(option),
        option.reliability,
        option.legal
    )
}

fn instead_words(
    notice: &TreatmentNotice<'_>,
    first: &Advice,
    notation: &Notation,
) -> Option<String> {
    let others: Vec<String> = notice
        .instead
        .iter()
        .map(|one| {
            format!(
                "{} ({} to {})",
                one.name,
                notation.day(one.window.first),
                notation.day(one.window.last)
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
pub fn spread_words(spread: &[Spread<'_>], whole: Option<Area>, notation: &Notation) -> String {
    if spread.is_empty() {
        return String::new();
    }
    let all: Vec<String> = spread
        .iter()
        .map(|one| {
            format!(
                "{} on {} on {}",
                one.option.name,
                notation.area(one.area),
                notation.day(one.day)
            )
        })
        .collect();
    let part = whole
        .and_then(|whole| Some((treated_part(spread, whole)?, whole)))
        .map_or(String::new(), |(share, whole)| {
            format!(
                " That is {:.0} % of the {} here: what is told is for the rest, not for a second time.",
                share * 100.0,
                notation.area(whole)
            )
        });
    format!(
        "Logged this season: {}.{part} Mind what your label allows a season.",
        all.join("; ")
    )
}

/// Whether to treat, in a sentence or two.
pub fn need_words(need: &Need, notation: &Notation) -> String {
    match need {
        Need::Preventive(Ground::StandingDecision) => "A preventive every year is the standing decision here. Look at last autumn's counts before you follow it once more.".to_owned(),
        Need::Preventive(Ground::LastYear) => "Last year's counts or damage here were harmful, and grubs tend to come back to the same turf.".to_owned(),
        Need::Curative {
            mean_per_m2,
            counted_on,
            together: None,
        } => format!(
            "The count of {}, {}, lies above what the turf tolerates.",
            notation.day(*counted_on),
            notation.density(*mean_per_m2)
        ),
        Need::Curative {
            mean_per_m2,
            counted_on,
            together: Some(share),
        } => format!(
            "The species counted up to {}, {} together, come to {:.0} % of what the turf tolerates, though none is above it alone.",
            notation.day(*counted_on),
            notation.density(*mean_per_m2),
            share * 100.0
        ),
        Need::CountMore { mean_per_m2, more } => format!(
            "Nothing should be applied yet: this season's count, {}, is too near to what the turf tolerates to tell. {}",
            notation.density(*mean_per_m2),
            more.map_or(String::new(), what_more)
        ),
        Need::Nothing(reason) => format!("Nothing should be applied: {}", reason_words(reason, notation)),
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

fn reason_words(reason: &Reason, notation: &Notation) -> String {
    match reason {
        Reason::CountedBelow { mean_per_m2 } => format!(
            "this season's count, {}, lies below what the turf tolerates. Some grubs are normal in healthy turf.",
            notation.density(*mean_per_m2)
        ),
        Reason::Treated { on } => format!(
            "what was justified here was done on {}. Nothing more unless a count in late summer calls for it.",
            notation.day(*on)
        ),
        Reason::SomeRisk => "last year's count or damage gives some reason to look here first in late summer, and none to spread something beforehand.".to_owned(),
        Reason::LowRisk => "last year's count was low or the year passed without damage. Count in late summer.".to_owned(),
        Reason::NothingKnown => "neither counts nor damage of last year are logged, so nothing speaks for a preventive. Count in late summer; if grubs did damage last year, log it.".to_owned(),
        Reason::NoSpecies => "none of this site's species is known here; name them in the configuration (species = [\"…\"]).".to_owned(),
        Reason::NoPreventives => "this site uses no preventives. Count in late summer; only a count above what the turf tolerates justifies a curative.".to_owned(),
    }
}

/// What to count: one digging for all species.
pub(super) fn count_block(
    site: &Site,
    species: &[(&Species, (f64, f64))],
    from: Option<NaiveDate>,
    reader: Reader<'_>,
) -> Block {
    let notation = reader.notation;
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
            let (least, most) = (
                notation.density_number(*low),
                notation.density_number(*high),
            );
            if low < high {
                format!("{least} to {most} of {}", species.name)
            } else {
                format!("{least} of {}", species.name)
            }
        })
        .collect();
    Block {
        urgency: 2,
        head: "Count grubs".to_owned(),
        deadline: format!(
            "{}: {}.",
            from.map_or("Within about two weeks".to_owned(), |from| format!(
                "From {} on, within about two weeks",
                notation.day(from)
            )),
            samples_words(site.samples, lowest, site.area, notation)
        ),
        lines: vec![
            format!(
                "{names}: the larvae are {} large enough to be seen, in {}.",
                if from.is_some() { "then" } else { "now" },
                notation.top_of_soil()
            ),
            format!(
                "This turf tolerates, {}: {}.",
                notation.per_area(),
                tolerated.join(", ")
            ),
            format!("No count, no curative. {}", reader.report(&command)),
        ],
        ..Block::default()
    }
}

/// What a count comes to where it calls for nothing.
pub(super) fn counted_block(notice: &Notice<'_>, on: NaiveDate, reader: Reader<'_>) -> Block {
    let notation = reader.notation;
    let (head, mean, side, more) = match notice.need {
        Some(Need::CountMore { mean_per_m2, more }) => (
            "Count more before anything is applied",
            mean_per_m2,
            "too near to what the turf tolerates to tell",
            more.map_or(String::new(), what_more),
        ),
        Some(Need::Nothing(Reason::CountedBelow { mean_per_m2 })) => (
            "Counted: nothing to apply",
            mean_per_m2,
            "below what the turf tolerates",
            "Some grubs are normal in healthy turf. Count again if it wilts, lifts like a carpet, or animals dig.".to_owned(),
        ),
        _ => return Block::default(),
    };
    Block {
        urgency: 3,
        head: head.to_owned(),
        deadline: format!(
            "The count of {}, {}, is {side}.",
            notation.day(on),
            notation.density(mean)
        ),
        lines: (!more.is_empty()).then_some(more).into_iter().collect(),
        ..Block::default()
    }
}

/// How many samples tell enough at the threshold.
pub fn samples_words(
    kind: SampleKind,
    decisive_per_m2: f64,
    area: Option<Area>,
    notation: &Notation,
) -> String {
    let what = match kind {
        SampleKind::Flap => match notation.units {
            Units::Metric => "flaps of 15 by 15 cm (0.25 ft²)",
            Units::Us => "flaps of 6 by 6 in (0.25 ft²)",
        },
        SampleKind::Plug => match notation.units {
            Units::Metric => "plugs of a cup cutter (108 mm across)",
            Units::Us => "plugs of a cup cutter (4.25 in across)",
        },
    };
    match kind.round(decisive_per_m2, area) {
        Some(Round { samples, fields: 1 }) => format!("{samples} {what} over the whole area"),
        Some(Round { samples, fields }) => {
            format!("{samples} {what}{}", on_each_field(fields, notation))
        }
        None => format!("as many {what} over the whole area as you can"),
    }
}

/// Where turf is dug as several fields, what is dug on each; empty where it is one.
pub fn on_each_field(fields: u32, notation: &Notation) -> String {
    let part = match notation.units {
        Units::Metric => "a hectare",
        Units::Us => "2.5 acres",
    };
    match fields {
        1 => String::new(),
        fields => format!(" on each field, or on each of {fields} parts of about {part}"),
    }
}
