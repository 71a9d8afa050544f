//! Single values far outside the station's own climate: held out of sums until something else speaks
//! for them.

use super::climate::{CLIMATE_DAYS, Climate};
use super::full_date;
use crate::domain::telling::feed_trouble::{Finding, Trouble};
use crate::domain::weather::reading::{Reading, Readings};
use crate::station_feed::memory::HeldValue;
use crate::station_feed::parsed::Element;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

/// A value this far, °C, beyond all stored ones of its time of year is held, where ten years are
/// stored.
pub const OUTLIER_MARGIN_C: f64 = 5.0;
/// Differences from the stored value below this, °C, are no news.
const NEWS_C: f64 = 1.0;
/// Two values this near, °C, are the same one: late revisions are of 0.1 °C.
const SAME_VALUE_C: f64 = 0.25;
/// A neighbour this near, °C, speaks for a held value.
const NEIGHBOUR_AGREES_C: f64 = 5.0;
/// How long a held value must still be said before it is believed.
const BELIEVED_AFTER: TimeDelta = TimeDelta::days(1);
/// More held days than this are no weather, and time alone speaks for none of them.
const MOST_BELIEVED_DAYS: usize = 3;
/// Values named in one message; more are counted.
const VALUES_SHOWN: usize = 3;

/// A new value far outside the station's own climate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unlikely {
    /// Its day.
    pub day: NaiveDate,
    /// Which extreme.
    pub element: Element,
    /// What the file says, °C.
    pub celsius: f64,
    /// The least and greatest stored value of that time of year, °C.
    pub known: (f64, f64),
}

impl Unlikely {
    /// The value and what it is held against, in words.
    fn in_words(&self) -> String {
        format!(
            "{} {:.1} °C (the station's own within {CLIMATE_DAYS} days of that date, in all stored years: {:.1} to {:.1})",
            value_name(self.day, self.element),
            self.celsius,
            self.known.0,
            self.known.1
        )
    }
}

/// A value's name, for example "maximum of 5 May 2026".
fn value_name(day: NaiveDate, element: Element) -> String {
    let element = match element {
        Element::Max => "maximum",
        Element::Min => "minimum",
    };
    format!("{element} of {}", full_date(day))
}

/// New or changed values far beyond every stored value of their time of year: by more than
/// [`OUTLIER_MARGIN_C`] where ten years are stored, by 12 °C where two are and 15 °C where one is. A
/// station with less has no climate yet, and none of its values are.
pub fn unlikely(readings: &Readings, stored: &Readings) -> Vec<Unlikely> {
    let mut climate = None;
    let mut found = Vec::new();
    for (day, reading) in readings {
        let known = stored.get(day).copied().unwrap_or_default();
        for element in [Element::Max, Element::Min] {
            let Some(celsius) = element.of(reading) else {
                continue;
            };
            if element
                .of(&known)
                .is_some_and(|old| (old - celsius).abs() < NEWS_C)
            {
                continue;
            }
            let climate = climate.get_or_insert_with(|| Climate::of(stored));
            if let Some((known, margin)) = climate.extremes(*day, element)
                && (celsius < known.0 - margin || celsius > known.1 + margin)
            {
                found.push(Unlikely {
                    day: *day,
                    element,
                    celsius,
                    known,
                });
            }
        }
    }
    found
}

/// Which of the unlikely values stay out of sums. A value is believed when a neighbour's is near,
/// or when the file still says it a day later and no more than three days are in question.
pub(super) fn to_hold(
    unlikely: &[Unlikely],
    held: &[HeldValue],
    neighbours: &[Readings],
    now: DateTime<Utc>,
) -> Vec<HeldValue> {
    let mut days: Vec<NaiveDate> = unlikely.iter().map(|one| one.day).collect();
    days.dedup();
    let time_speaks = days.len() <= MOST_BELIEVED_DAYS;
    unlikely
        .iter()
        .filter_map(|one| {
            let since = held
                .iter()
                .find(|held| {
                    held.day == one.day
                        && held.element == one.element
                        && (held.celsius - one.celsius).abs() <= SAME_VALUE_C
                })
                .map_or(now, |held| held.since);
            let agreed = neighbours.iter().any(|readings| {
                readings
                    .get(&one.day)
                    .and_then(|reading| one.element.of(reading))
                    .is_some_and(|there| (there - one.celsius).abs() <= NEIGHBOUR_AGREES_C)
            });
            let believed = agreed || (time_speaks && now - since >= BELIEVED_AFTER);
            (!believed).then_some(HeldValue {
                day: one.day,
                element: one.element,
                celsius: one.celsius,
                since,
            })
        })
        .collect()
}

/// Takes held values out of readings.
pub(super) fn take_out(readings: &mut Readings, held: &[HeldValue]) {
    for one in held {
        let Some(reading) = readings.get_mut(&one.day) else {
            continue;
        };
        match one.element {
            Element::Max => reading.max = None,
            Element::Min => reading.min = None,
        }
        if *reading == Reading::default() {
            readings.remove(&one.day);
        }
    }
}

/// What was held out of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeldOut {
    /// The values.
    pub held: Vec<HeldValue>,
    /// What to tell of them.
    pub finding: Option<Finding>,
    /// What became of values that were held before and are no longer, in words.
    pub released: String,
}

/// Takes the unlikely values that nothing speaks for out of a file's readings. `before` are the
/// values that were held so far; `neighbours` have the days of the unlikely ones.
pub fn hold_out(
    readings: &mut Readings,
    unlikely: &[Unlikely],
    before: &[HeldValue],
    neighbours: &[Readings],
    now: DateTime<Utc>,
) -> HeldOut {
    let held = to_hold(unlikely, before, neighbours, now);
    let released = released(before, &held, readings);
    take_out(readings, &held);
    let words: Vec<String> = unlikely
        .iter()
        .filter(|one| {
            held.iter()
                .any(|held| held.day == one.day && held.element == one.element)
        })
        .map(Unlikely::in_words)
        .collect();
    let finding = (!words.is_empty()).then(|| Finding {
        trouble: Trouble::Outlier,
        what: format!("The file says: {}.", first_few(&words)),
    });
    HeldOut {
        held,
        finding,
        released,
    }
}

/// What became of values that were held and are no longer.
fn released(before: &[HeldValue], held: &[HeldValue], readings: &Readings) -> String {
    let words: Vec<String> = before
        .iter()
        .filter(|old| {
            !held
                .iter()
                .any(|held| held.day == old.day && held.element == old.element)
        })
        .map(|old| {
            let name = value_name(old.day, old.element);
            let now = readings
                .get(&old.day)
                .and_then(|reading| old.element.of(reading));
            match now {
                Some(now) => format!(
                    "{name} was held at {:.1} °C and is taken in at {now:.1} °C",
                    old.celsius
                ),
                None => format!(
                    "{name} was held at {:.1} °C, and the file no longer says it",
                    old.celsius
                ),
            }
        })
        .collect();
    if words.is_empty() {
        return String::new();
    }
    format!("The {}.", first_few(&words))
}

/// The first few, and how many more there are.
fn first_few(words: &[String]) -> String {
    let shown = words.iter().take(VALUES_SHOWN).cloned().collect::<Vec<_>>();
    let more = words.len() - shown.len();
    let shown = shown.join("; ");
    if more > 0 {
        format!("{shown}; and {more} more")
    } else {
        shown
    }
}
