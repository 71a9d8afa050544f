//! Words for treatments: whether to treat, which step is due, what to count, how it is watered in.

use super::advice::step_words;
use super::count::{density, how_to_dig, limits, what_more};
use super::weather::{weather_words, wet_words};
use super::{capitalised, day_month, joined, labelled, wrapped};
use crate::domain::journal::amount::Area;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::species::Species;
use crate::domain::place::site::Site;
use crate::domain::scouting::{Round, SampleKind};
use crate::domain::telling::notice::{Notice, TreatmentNotice, TreatmentSubject};
use crate::domain::treatment::coverage::Window;
use crate::domain::treatment::need::{Ground, Need, Reason};
use crate::domain::treatment::option::TreatmentOption;
use crate::domain::treatment::settled::{Spread, treated_part};
use crate::domain::treatment::steps::Step;
use crate::domain::treatment::watering::{Watering, WateringState, Wet};

/// The head of a message about treatments: the most urgent step first.
pub(super) fn headline(notice: &TreatmentNotice<'_>) -> String {
    let species = &joined(notice.species.iter().map(|species| species.name.as_str()));
    let first = match notice.subject() {
        TreatmentSubject::Step(first) => first,
        TreatmentSubject::NothingLeft => {
            return format!("{species}, above what the turf bears, and nothing here works now");
        }
        TreatmentSubject::HoldBack => {
            return format!("{species}, hold back: nothing should be applied now");
        }
    };
    let name = &first.option.name;
    let what = match first.step {
        Step::Opens if first.best_is_past => format!(
            "{name} still works, last good day about {}",
            day_month(first.window.last)
        ),
        Step::Opens => format!(
            "the time for {name} has come, best about {}",
            day_month(first.window.best)
        ),
        Step::BestAhead => format!(
            "best days for {name} about {}",
            day_month(first.window.best)
        ),
        Step::LastCall => format!(
            "last good day for {name} about {}",
            day_month(first.window.last)
        ),
        Step::TooLate if first.still_works() => {
            format!("the good days for {name} are over")
        }
        Step::TooLate => format!("too late for {name}"),
    };
    let more = match notice.advice.len() {
        1 => String::new(),
        2 => ", and another option".to_owned(),
        n => format!(", and {} other options", n - 1),
    };
    format!("{species}, {what}{more}")
}

/// The paragraphs of a mail about treatments.
pub(super) fn paragraphs(notice: &TreatmentNotice<'_>, whole: Option<Area>) -> Vec<String> {
    let why = need_words(&notice.need);
    if notice.subject() == TreatmentSubject::HoldBack {
        return vec![
            labelled("What changed", &why),
            labelled("What it means", TAKEN_BACK),
        ];
    }
    let mut paragraphs = vec![labelled("Why treat", &why)];
    if !notice.spread.is_empty() {
        paragraphs.push(labelled("So far", &spread_words(&notice.spread, whole)));
    }
    for advice in &notice.advice {
        let name = capitalised(&advice.option.name);
        paragraphs.push(labelled(&name, &step_words(advice)));
        if advice.step != Step::TooLate {
            paragraphs.push(wrapped(&how_words(&advice.option), "  ", "  "));
        }
    }
    if notice.names_others() {
        paragraphs.push(labelled("Instead", &instead_words(notice)));
    }
    let weather = weather_words(&notice.weather);
    if !weather.is_empty() {
        paragraphs.push(labelled("Weather", &weather.join(" ")));
    }
    paragraphs.push(labelled("How sure", HOW_SURE));
    paragraphs
}

const TAKEN_BACK: &str = "What was told here of treatments no longer holds: a later count, or an entry corrected or taken back, says otherwise. What is in the shed can wait; hatchbell plan shows how things stand.";

const HOW_SURE: &str = "A planning model: it compares days and options, it does not promise a result. Most of its figures are common practice or estimates; hatchbell plan and config/options show them. When something has been spread, log it (hatchbell log application): reminders of other options stop and the watering in is followed.";

/// The same in brief, for push messages.
pub(super) fn brief(notice: &TreatmentNotice<'_>) -> String {
    if notice.subject() == TreatmentSubject::HoldBack {
        return format!("{} {TAKEN_BACK}", need_words(&notice.need));
    }
    let mut text = need_in_brief(&notice.need).to_owned();
    for advice in &notice.advice {
        let name = capitalised(&advice.option.name);
        text += &match advice.step {
            Step::TooLate => format!(
                " {name}: the last good day was {}.",
                day_month(advice.window.last)
            ),
            _ => format!(
                " {name}: {}; water in with {:.0} mm {}.",
                days_words(advice.window),
                advice.option.watering_in.depth_mm.value,
                within(&advice.option),
            ),
        };
    }
    if notice.names_others() {
        text += &format!(" Instead: {}", instead_words(notice));
    }
    for sentence in weather_words(&notice.weather) {
        text += &format!(" {sentence}");
    }
    text
}

pub(super) fn days_words(window: Window) -> String {
    format!(
        "apply it from {} to {}, best about {}",
        day_month(window.first),
        day_month(window.last),
        day_month(window.best)
    )
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

fn instead_words(notice: &TreatmentNotice<'_>) -> String {
    if !notice.instead.is_empty() {
        let others: Vec<String> = notice
            .instead
            .iter()
            .map(|one| format!("{} ({})", one.name, days_words(one.window),))
            .collect();
        return format!("{}.", others.join("; "));
    }
    match notice.need {
        Need::Curative { .. } => "Nothing else of this site's choice still works on these larvae. Water and feed the turf so that it bears them, repair what they damage, and note the damage for next year's decision; a licensed applicator may know what else is allowed.".to_owned(),
        _ => "Nothing else of this site's choice is in time. Count the grubs when they are large enough; you are told when. Only a count above what the turf bears justifies a curative.".to_owned(),
    }
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
            "A preventive, by this site's standing decision."
        }
        Need::Preventive(Ground::LastYear) => "A preventive: last year's grubs justify it.",
        Need::Curative { .. } => "A curative: the count is above what the turf bears.",
        Need::CountMore { .. } => "Nothing should be applied before more samples are dug.",
        Need::Nothing(_) => "Nothing should be applied; hatchbell plan says why.",
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

/// What to count, and how: one digging for all species.
pub(super) fn count_words(site: &Site, species: &[(&Species, (f64, f64))]) -> String {
    let limits: Vec<String> = species
        .iter()
        .map(|(species, _)| limits(species, site.condition))
        .collect();
    let lows = species.iter().map(|(_, (low, _))| *low);
    let logs: Vec<String> = species
        .iter()
        .map(|(species, _)| {
            format!(
                "hatchbell log count --site {} --species {} --each 0,3,1 --area {}",
                site.id,
                species.id,
                site.samples.area_in_text()
            )
        })
        .collect();
    format!(
        "By now many of the larvae are large enough to be seen. Dig {}. {} {} Log what you find ({}): it decides about a curative now and about a preventive next year. No count, no curative.",
        samples_words(site.samples, lows.fold(f64::INFINITY, f64::min), site.area),
        how_to_dig(site.samples),
        limits.join(" "),
        logs.join("; "),
    )
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

/// The head of a message about watering in.
pub(super) fn water_headline(option: &TreatmentOption, watering: &Watering) -> String {
    let name = &option.name;
    match watering.state {
        WateringState::Due | WateringState::Waiting => {
            format!("water in {name} by {}", day_month(watering.deadline))
        }
        WateringState::Done(_) => format!("{name} is watered in"),
        WateringState::Missed => format!("{name} was not watered in in time"),
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

/// The label of what a milestone means.
pub(super) fn meaning_label(notice: &Notice<'_>, milestone: Milestone) -> &'static str {
    if notice.is_for_others() && milestone != Milestone::WindowEnd {
        "What it means where a treatment is justified"
    } else {
        "What it means"
    }
}

/// The label of what to get ready.
pub(super) fn readiness(notice: &Notice<'_>) -> &'static str {
    if notice.is_for_others() {
        "What to get ready where a treatment is justified"
    } else {
        "What to get ready"
    }
}

/// Whether anything should be applied here at all; empty where it is not known.
pub(super) fn this_site(notice: &Notice<'_>) -> String {
    notice.need.as_ref().map_or(String::new(), |need| {
        labelled("This site", &need_words(need))
    })
}
