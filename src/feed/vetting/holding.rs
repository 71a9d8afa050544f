//! Values that screening doubts are held out of sums until somebody, or something, speaks for them.

use super::full_date;
use super::screening::Suspect;
use crate::domain::telling::feed_trouble::{Finding, Trouble};
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::memory::{DecidedValue, HeldValue, HoldReason};
use crate::station_feed::parsed::Element;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::collections::BTreeMap;

/// How long a value that a short record doubts must still be said before it is believed.
const BELIEVED_AFTER: TimeDelta = TimeDelta::days(1);
/// More held days than this are no weather, and time alone speaks for none of them.
const MOST_BELIEVED_DAYS: usize = 3;
/// Values named in one message; more are counted.
const VALUES_SHOWN: usize = 3;

/// What was held out of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeldOut {
    /// The station's held values: those of this file, and earlier ones of days that it does not
    /// reach.
    pub held: Vec<HeldValue>,
    /// Those that were not held before.
    pub fresh: usize,
    /// Values that time has spoken for.
    pub believed: Vec<DecidedValue>,
    /// Whether time may speak for some, so that the file must be looked at again.
    pub waits: bool,
    /// What to tell of them.
    pub finding: Option<Finding>,
    /// What became of values that were held before and are no longer, in words.
    pub released: String,
}

/// Takes what was refused before out of a file's readings: it is not asked about again.
pub fn leave_out_refused(readings: &mut Readings, decided: &[DecidedValue]) {
    for decided in decided.iter().filter(|decided| !decided.confirmed) {
        let said = readings.get(&decided.day);
        let said = said.and_then(|reading| decided.element.of(reading));
        if said.is_some_and(|said| decided.is_of(decided.day, decided.element, said)) {
            take_out(readings, decided.day, decided.element);
        }
    }
}

/// Takes the values in doubt out of a file's readings. `before` are the values that were held so
/// far. Time speaks for a value only where the station's record is too short to be sure: it is
/// believed when the file still says it a day later and no more than three days are in question.
pub fn hold_out(
    readings: &mut Readings,
    suspects: &[Suspect],
    before: &[HeldValue],
    now: DateTime<Utc>,
) -> HeldOut {
    let mut days: Vec<NaiveDate> = suspects.iter().map(|suspect| suspect.day).collect();
    days.dedup();
    let few = days.len() <= MOST_BELIEVED_DAYS;
    let reach = readings.keys().next().copied();
    let reach = reach.zip(readings.keys().next_back().copied());
    let within = |day: NaiveDate| reach.is_some_and(|(from, to)| (from..=to).contains(&day));
    // What was held before and has not been met again.
    let mut left: BTreeMap<(NaiveDate, Element), &HeldValue> = before
        .iter()
        .map(|held| ((held.day, held.element), held))
        .collect();
    let mut out = HeldOut::default();
    for suspect in suspects {
        let place = (suspect.day, suspect.element);
        let known = left.get(&place).copied();
        let known = known.filter(|held| held.is_of(suspect.day, suspect.element, suspect.celsius));
        let since = known.map_or(now, |held| held.since);
        let may_wait = suspect.thin && few;
        if may_wait && now - since >= BELIEVED_AFTER {
            out.believed.push(DecidedValue {
                day: suspect.day,
                element: suspect.element,
                celsius: suspect.celsius,
                confirmed: true,
            });
            continue;
        }
        out.waits |= may_wait;
        out.fresh += usize::from(known.is_none());
        left.remove(&place);
        take_out(readings, suspect.day, suspect.element);
        out.held.push(HeldValue {
            day: suspect.day,
            element: suspect.element,
            celsius: suspect.celsius,
            since,
            reason: suspect.reason,
            expected: suspect.expected,
        });
    }
    let (gone, kept): (Vec<&HeldValue>, Vec<&HeldValue>) =
        left.into_values().partition(|old| within(old.day));
    out.released = released(&gone, readings);
    out.held.extend(kept);
    out.held.sort_by_key(|held| (held.day, held.element));
    out.finding = finding(&out.held);
    out
}

fn take_out(readings: &mut Readings, day: NaiveDate, element: Element) {
    let Some(reading) = readings.get_mut(&day) else {
        return;
    };
    *element.of_mut(reading) = None;
    if *reading == Reading::default() {
        readings.remove(&day);
    }
}

/// What to tell of held values, if there are any: how many for which reason, the newest few, and how
/// to settle them.
pub fn finding(held: &[HeldValue]) -> Option<Finding> {
    (!held.is_empty()).then(|| Finding {
        trouble: Trouble::Outlier,
        what: format!(
            "Held: {}. By reason: {}. \"hatchbell check --data\" lists them all.",
            first_few(held.iter().rev().map(held_words)),
            by_reason(held)
        ),
    })
}

/// How many values are held for which reason.
pub fn by_reason(held: &[HeldValue]) -> String {
    let mut counts: BTreeMap<HoldReason, usize> = BTreeMap::new();
    for one in held {
        *counts.entry(one.reason).or_default() += 1;
    }
    let words: Vec<String> = counts
        .into_iter()
        .map(|(reason, count)| format!("{count} {reason}"))
        .collect();
    words.join("; ")
}

/// A held value, what was expected and why it is held, in words.
pub fn held_words(held: &HeldValue) -> String {
    let expected = match held.expected {
        Some((least, greatest)) => format!(", expected {least:.1} to {greatest:.1}"),
        None => String::new(),
    };
    format!(
        "{} {:.1} °C ({}{expected})",
        value_name(held.day, held.element),
        held.celsius,
        held.reason
    )
}

/// A value's name, for example "maximum of 5 May 2026".
fn value_name(day: NaiveDate, element: Element) -> String {
    let element = match element {
        Element::Max => "maximum",
        Element::Min => "minimum",
    };
    format!("{element} of {}", full_date(day))
}

/// What became of values that were held and are no longer.
fn released(gone: &[&HeldValue], readings: &Readings) -> String {
    let words = gone.iter().map(|old| {
        let name = value_name(old.day, old.element);
        let said = readings.get(&old.day);
        match said.and_then(|reading| old.element.of(reading)) {
            Some(said) => format!(
                "{name} was held at {:.1} °C and is taken in at {said:.1} °C",
                old.celsius
            ),
            None => format!(
                "{name} was held at {:.1} °C, and the file no longer says it",
                old.celsius
            ),
        }
    });
    if gone.is_empty() {
        return String::new();
    }
    format!("The {}.", first_few(words))
}

/// The first few, and how many more there are.
fn first_few(words: impl ExactSizeIterator<Item = String>) -> String {
    let more = words.len().saturating_sub(VALUES_SHOWN);
    let shown = words.take(VALUES_SHOWN).collect::<Vec<_>>().join("; ");
    if more > 0 {
        format!("{shown}; and {more} more")
    } else {
        shown
    }
}
