//! Sentences of a look back.

use crate::domain::look_back::{
    Applied, Change, Counted, CountedBrood, Foretelling, HatchSpan, Held, Met, MilestoneReview,
    NotKnown, NoticeScore, OfSpecies, SentNotice, Timing,
};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::season_state::PassedBy;
use crate::domain::scouting::Verdict;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::plan::Step;
use crate::domain::treatment::watering::{Watering, WateringState};
use crate::notify::wording::density;
use chrono::NaiveDate;

/// "7 July".
pub(super) fn day_month(day: NaiveDate) -> String {
    day.format("%-d %B").to_string()
}

/// "7 Jul", where space is short.
pub(super) fn short(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
}

/// "7 July 2026".
pub(super) fn whole(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}

/// "1 day", "3 days".
pub(super) fn days(days: i64) -> String {
    crate::cli::counted(days.unsigned_abs() as usize, "day")
}

/// "62 %"; small shares are not rounded to none.
fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.01 {
        "under 1 %".to_owned()
    } else {
        format!("{:.0} %", share * 100.0)
    }
}

/// "29 June to 16 July"; `None` if the notice kept no range.
pub(super) fn range(notice: &Foretelling) -> Option<String> {
    range_in(notice, day_month)
}

/// The same with days in another form.
pub(super) fn range_in(notice: &Foretelling, form: fn(NaiveDate) -> String) -> Option<String> {
    let early = form(notice.early?);
    Some(match notice.late {
        Some(late) => format!("{early} to {}", form(late)),
        None => format!("{early} or later"),
    })
}

/// How the day that came lay to a range.
pub(super) fn held(held: Held) -> String {
    match held {
        Held::Inside => "inside it".to_owned(),
        Held::Before(early) => format!("{} before it", days(early)),
        Held::After(late) => format!("{} after it", days(late)),
    }
}

/// How the day that came lay to the likely day.
pub(super) fn off(late_by_days: i64) -> String {
    match late_by_days {
        0 => "on the day".to_owned(),
        late if late > 0 => format!("{} later", days(late)),
        early => format!("{} earlier", days(early)),
    }
}

/// When a milestone came.
pub(super) fn came(reckoning: &MilestoneReview, species: &OfSpecies, is_over: bool) -> String {
    match (reckoning.came, reckoning.by) {
        (Some(on), Some(PassedBy::Sum)) => short(on),
        (Some(on), _) => format!("by date, {}", short(on)),
        (None, _) if species.is_held => "not known".to_owned(),
        (None, _) if is_over => "did not come".to_owned(),
        (None, _) => "not yet".to_owned(),
    }
}

/// How the hatch went, in a sentence.
pub(super) fn hatch_in_short(species: &OfSpecies, is_over: bool) -> String {
    let name = &species.name;
    let Some(hatch) = species.milestone(Milestone::Hatch) else {
        return String::new();
    };
    let Some(came) = hatch.came else {
        return match (species.is_held, is_over) {
            (true, _) => format!(
                "{name}: days of the season are missing, so whether and when larvae hatched is not known."
            ),
            (false, true) => {
                format!("{name}: by the temperature sum hatch never came this season.")
            }
            (false, false) => format!("{name}: by the temperature sum hatch has not come yet."),
        };
    };
    let came_on = format!(
        "{name}: hatch came on {} by the temperature sum",
        day_month(came)
    );
    let Some(first) = hatch.first() else {
        return format!("{came_on}; no early notice of it is on record.");
    };
    let warning = days(first.warning_days(came));
    match (range(first), first.held(came)) {
        (Some(range), Some(Held::Inside)) => {
            format!("{came_on}, inside the range told {warning} before ({range}).")
        }
        (Some(range), Some(Held::Before(early))) => format!(
            "{came_on}, {} before the range told {warning} ahead ({range}).",
            days(early)
        ),
        (Some(range), Some(Held::After(late))) => format!(
            "{came_on}, {} after the range told {warning} ahead ({range}).",
            days(late)
        ),
        _ => format!(
            "{came_on}; {} had been told as likely {warning} before.",
            day_month(first.likely)
        ),
    }
}

/// When larvae hatched.
pub(super) fn hatch_span(span: &HatchSpan, is_settled: bool) -> String {
    let most = match span.most {
        Some(most) => format!("and 19 in 20 by {}", day_month(most)),
        None => "and the last of them not before the date by which they are gone".to_owned(),
    };
    let how = if is_settled {
        "By the model"
    } else {
        "By the model, from the days so far and the outlook,"
    };
    format!(
        "{how} 1 in 20 larvae has hatched by {}, half by {} {most}.",
        day_month(span.first),
        day_month(span.half)
    )
}

/// What people must know of a species beside its dates.
pub(super) fn notes(species: &OfSpecies, season_end: NaiveDate) -> Vec<String> {
    let mut notes = Vec::new();
    match species.watched_from {
        Some(from) if from <= season_end => {
            let unseen = |one: &MilestoneReview| one.came.is_some_and(|came| came <= from);
            if species.milestones.iter().any(unseen) {
                notes.push(format!(
                    "It is watched since {}; what came up to that day was not told.",
                    whole(from)
                ));
            }
        }
        _ => notes.push("It was not watched in this season: nothing was told, and the dates are worked out from stored temperatures.".to_owned()),
    }
    if species.is_held {
        notes.push(
            "Days are missing or too many are estimated, so some milestones were held back."
                .to_owned(),
        );
    }
    for announced in species.milestones.iter().filter_map(|one| one.announced) {
        let recorded = announced.recorded;
        let title = recorded.milestone.title();
        if recorded.withdrawn {
            notes.push(format!(
                "The {title} told for {} was taken back.",
                day_month(recorded.on)
            ));
        } else if let Some(to) = recorded.corrected_to {
            notes.push(format!(
                "The {title} told for {} was corrected to {}.",
                day_month(recorded.on),
                day_month(to)
            ));
        }
    }
    match &species.hatch {
        Ok(span) => notes.push(hatch_span(span, species.is_settled)),
        Err(why) => notes.push(format!("When larvae hatched is not known: {why}.")),
    }
    if let Some(first) = species.catches.first() {
        notes.push(format!(
            "Adults were first caught or seen on {}; the thresholds are moved by it.",
            day_month(*first)
        ));
    }
    notes
}

/// How far off the notices were.
pub(super) fn score(score: &NoticeScore, of: &str) -> String {
    let ranges = match score.ranges {
        0 => "No range of them was kept".to_owned(),
        ranges => format!(
            "{} of {} held the day that came",
            score.held,
            crate::cli::counted(ranges, "range")
        ),
    };
    let lean = if score.mean_late_days.abs() < 0.05 {
        "neither early nor late on the whole".to_owned()
    } else if score.mean_late_days > 0.0 {
        format!(
            "{:.1} days later than told on the whole",
            score.mean_late_days
        )
    } else {
        format!(
            "{:.1} days earlier than told on the whole",
            -score.mean_late_days
        )
    };
    let (shortest, longest) = score.warning_days;
    let warning = if shortest == longest {
        days(longest)
    } else {
        format!("{shortest} to {}", days(longest))
    };
    format!(
        "{of}: {ranges} (8 in 10 are meant to). The likely day was off by {:.1} days on average over {}; it came {lean}. Warning: {warning}.",
        score.mean_error_days,
        crate::cli::counted(score.notices, "notice"),
    )
}

/// What was applied, on how much turf.
pub(super) fn applied(applied: &Applied) -> String {
    let rate = applied.rate.map_or(String::new(), |rate| {
        format!(", at {rate}, that is {}", rate.on(applied.area))
    });
    let share = match applied.share_of_site {
        Some(share) if (share - 1.0).abs() < 0.005 => " (the whole site)".to_owned(),
        Some(share) => format!(" ({} of the site)", percent(share)),
        None => String::new(),
    };
    format!("{} on {}{share}{rate}", applied.name, applied.area)
}

/// How it was watered in.
pub(super) fn watered(watering: &Watering) -> String {
    let needed = watering.needed_mm;
    let counted = format!(
        "{:.0} mm of rain and {:.0} mm of logged irrigation",
        watering.rain_mm, watering.irrigation_mm
    );
    let due = day_month(watering.deadline);
    match watering.state {
        WateringState::Done(on) if watering.is_late() => format!(
            "Watered in late: the {needed:.0} mm it needs had come on {}, {} after {due} ({counted}).",
            day_month(on),
            days((on - watering.deadline).num_days()),
        ),
        WateringState::Done(on) => format!(
            "Watered in in time: the {needed:.0} mm it needs had come on {}, due by {due} ({counted}).",
            day_month(on)
        ),
        WateringState::Due => format!(
            "Watering in is due by {due}: {:.0} of {needed:.0} mm are lacking ({counted}).",
            watering.lacking_mm()
        ),
        WateringState::Waiting => format!(
            "Whether it was watered in by {due} is not known yet: rain of these days has not arrived ({counted})."
        ),
        WateringState::Missed if watering.rain_through.is_none() => format!(
            "Whether it was watered in is not known: {:.0} of the {needed:.0} mm due by {due} are logged as irrigation, and the station sent no rain.",
            watering.irrigation_mm
        ),
        WateringState::Missed => format!(
            "Not watered in, by the record: {:.0} of the {needed:.0} mm due by {due} are lacking ({counted}).",
            watering.lacking_mm()
        ),
    }
}

/// The verdict on an application, in two or three words.
pub(super) fn timing(timing: Timing) -> &'static str {
    match timing {
        Timing::TooEarly => "too early",
        Timing::Early => "early",
        Timing::InTime => "in time",
        Timing::Late => "late",
        Timing::TooLate => "too late",
    }
}

/// The verdict on an application against a species, in a sentence.
pub(super) fn verdict(applied: &Applied, species: &str, met: &Result<Met, NotKnown>) -> String {
    let name = &applied.name;
    let on = day_month(applied.day);
    let Ok(met) = met else {
        return format!("Whether {name} of {on} was in time against {species} is not known.");
    };
    let window = met.window;
    let (first, last) = (day_month(window.first), day_month(window.last));
    let why = match met.timing {
        Timing::InTime => format!("within the days worth it, {first} to {last}"),
        Timing::TooEarly | Timing::Early => format!(
            "{} before the first day worth it, {first}",
            days((window.first - met.from).num_days())
        ),
        Timing::Late | Timing::TooLate => format!(
            "{} after the last day worth it, {last}",
            days((met.from - window.last).num_days())
        ),
    };
    let but = match applied.is_watered() {
        Some(false) => {
            ", but the water it needs is not on record: if it did not get it, it did little"
        }
        _ => "",
    };
    let watering = applied.watering.as_ref();
    let water = match watering.map(|water| (water.state, water.is_late())) {
        Some((WateringState::Done(done), true)) => {
            format!(", watered in late on {},", day_month(done))
        }
        _ => String::new(),
    };
    let part = match applied.share_of_site {
        Some(share) if share < 0.995 => format!(" on {} of the site", percent(share)),
        _ => String::new(),
    };
    format!(
        "{name} of {on}{part}{water} was {} against {species}, {why}; it met {} of the hatch there{but}.",
        timing(met.timing),
        percent(met.share.mean),
    )
}

/// What an application met of a species.
pub(super) fn met(met: &Met, spread: NaiveDate, is_settled: bool) -> Vec<String> {
    let outlook = if is_settled { "" } else { " (partly outlook)" };
    let away = match met.days_from_best() {
        0 => "that day".to_owned(),
        late if late > 0 => format!("{} before", days(late)),
        early => format!("{} later", days(early)),
    };
    let mut lines = vec![format!(
        "It met {} ({} to {}) of the hatching larvae while they were open to it{outlook}; the best day of this option, {} ({away}), would have met {}.",
        percent(met.share.mean),
        percent(met.share.low),
        percent(met.share.high),
        day_month(met.window.best),
        percent(met.best),
    )];
    if met.from != spread {
        lines.push(format!(
            "This counts from {}, when the water it needs had come.",
            day_month(met.from)
        ));
    }
    lines.push(format!(
        "Half of it was in the root zone about {}; by then {} of the larvae had hatched and {} were in their third instar.",
        day_month(met.arrived),
        percent(met.hatched),
        percent(met.grown)
    ));
    lines
}

/// What is to be said of an application beside its timing.
pub(super) fn beside(applied: &Applied) -> Vec<String> {
    let uncalled = applied.purpose == Some(Purpose::Curative) && !applied.counted_before;
    let late = applied.watering.is_some_and(|water| water.is_late());
    let notes = [
        (
            uncalled,
            "No count of this season's larvae was logged before it, so nothing on record called for it.",
        ),
        (
            late,
            "What lay on the leaves until the water came may have lost some of its strength; the shares do not allow for that.",
        ),
    ];
    let due = notes.iter().filter(|(is_due, _)| *is_due);
    due.map(|(_, note)| (*note).to_owned()).collect()
}

/// Whose larvae were counted.
pub(super) fn brood(brood: CountedBrood) -> &'static str {
    match brood {
        CountedBrood::Before => "the year before's",
        CountedBrood::TooSoon => "too soon to count",
        CountedBrood::This => "this season's",
        CountedBrood::Later => "this season's, later",
    }
}

/// What a count says of the turf.
pub(super) fn against_turf(counted: &Counted) -> &'static str {
    match counted.reading.verdict {
        Verdict::Below => "below what the turf bears",
        Verdict::Near => "near it: cannot tell",
        Verdict::Above => "above what the turf bears",
    }
}

/// From one count to another.
pub(super) fn change(change: &Change<'_>) -> String {
    let (before, after) = (change.before, change.after);
    let ratio = change.ratio().map_or(String::new(), |ratio| {
        if ratio < 1.0 {
            format!(", down to {}", percent(ratio))
        } else {
            format!(", {ratio:.1} times as many")
        }
    });
    let clear = match change.is_clear() {
        Some(true) => "The ranges lie apart: chance alone does not explain it.",
        Some(false) => "The ranges overlap: it may be chance.",
        None => "How sure that is, is not known.",
    };
    format!(
        "From {} ({}) to {} ({}): from {} to {}{ratio}. {clear}",
        whole(before.day),
        brood(before.brood),
        whole(after.day),
        brood(after.brood),
        density(before.reading.mean_per_m2),
        density(after.reading.mean_per_m2),
    )
}

/// What was told.
pub(super) fn told(what: &SentNotice) -> String {
    let about = |day: Option<NaiveDate>| {
        day.map_or(String::new(), |day| format!(" about {}", day_month(day)))
    };
    match what {
        SentNotice::Foretold { species, notice } => {
            let range = range(notice).map_or(String::new(), |range| format!(" ({range})"));
            format!(
                "{species}: {} likely {}{range}",
                notice.milestone.title(),
                day_month(notice.likely)
            )
        }
        SentNotice::Passed { species, recorded } => {
            let after = match (recorded.withdrawn, recorded.corrected_to) {
                (true, _) => "; taken back later".to_owned(),
                (false, Some(to)) => format!("; corrected later to {}", day_month(to)),
                (false, None) => String::new(),
            };
            format!(
                "{species}: {} on {}{after}",
                recorded.milestone.title(),
                day_month(recorded.on)
            )
        }
        SentNotice::Treatment {
            species,
            option,
            step,
            due,
        } => {
            let step = match step {
                Step::Opens => "worth it now, best day",
                Step::BestAhead => "its best days are near,",
                Step::LastCall => "its last useful day is near,",
                Step::TooLate => "it is too late for it, since",
            };
            format!("{species}, {option}: {step}{}", about(*due))
        }
        SentNotice::Count { species } => format!("{species}: time to count grubs"),
        SentNotice::Overtaken {
            species,
            nothing_left: true,
        } => format!("{species}: nothing works now"),
        SentNotice::Overtaken { species, .. } => format!("{species}: hold back"),
        SentNotice::Water {
            number,
            option,
            step,
            due,
        } => {
            let what = match option {
                Some(option) => format!("{option} (number {number})"),
                None => format!("application number {number}, taken back since"),
            };
            let by = due.map_or(String::new(), |due| format!(" by {}", day_month(due)));
            match step.as_str() {
                "done" => format!("{what}: watered in"),
                "missed" => format!("{what}: not watered in{by}"),
                _ => format!("{what}: to be watered in{by}"),
            }
        }
    }
}
