//! Holding a parsed file against the last good one and against what is stored. Pure.
//!
//! A file can be well made and still do harm: cut off at a line's end, an older copy, in another
//! unit, with other columns. Nothing here deletes: what lost days is merged all the same, because
//! merging loses nothing, and flagged, and the larger file stays the one that later ones are held
//! against. What would change stored days for the worse is refused, and single values far outside
//! the station's own climate are held out of sums until something else speaks for them.

use super::Rejection;
use super::dialect::{Binding, in_words};
use super::parse::{Element, Parsed};
use crate::domain::telling::feed_trouble::Trouble;
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::{Reading, Readings};
use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};
use climate::{CLIMATE_DAYS, Climate};
use header::{HeaderChange, header_change};

mod climate;
mod header;

/// A newest day that goes back by so many days is a day held up by its publisher's quality check.
const BACK_DAYS: i64 = 1;
/// So many days may go from the middle of a file: publishers void single ones.
const FEW_DAYS: i64 = 3;
/// A file that begins on the first of a month has begun anew if it holds no more days than this, or
/// if it begins after the last one's end.
const NEW_PERIOD_DAYS: i64 = 31;
/// A smaller file that has grown for so long is taken for the feed's new form.
const SETTLED_AFTER: TimeDelta = TimeDelta::days(14);
/// Common days needed to recognise a unit that fits what is stored.
const DAYS_FOR_UNIT: usize = 3;
/// Median difference, °C, up to which two files of one station are in the same unit; whole degrees
/// Fahrenheit are within 0.3 °C of what they were rounded from.
const SAME_UNIT_C: f64 = 0.6;
/// Median difference, °C, from which a file is in another unit or of another place.
const OTHER_UNIT_C: f64 = 4.0;

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

/// What a file looked like: what later ones are held against.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileProfile {
    /// Rows.
    pub rows: usize,
    /// Days with both extremes.
    pub days: usize,
    /// The first of these days.
    pub first: Option<NaiveDate>,
    /// The newest of these days.
    pub newest: Option<NaiveDate>,
    /// Names in the header, in order; blank ones where a file has no header.
    pub header: Vec<String>,
}

impl FileProfile {
    /// How a parsed file looks.
    pub fn of(parsed: &Parsed, header: Vec<String>) -> Self {
        let mut whole = whole_days(&parsed.readings);
        let first = whole.next();
        let last = whole.next_back();
        Self {
            rows: parsed.rows,
            days: whole_days(&parsed.readings).count(),
            first,
            newest: last.or(first),
            header,
        }
    }
}

/// Something that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What kind of trouble it is.
    pub trouble: Trouble,
    /// What was seen, in a sentence or two.
    pub what: String,
}

/// What follows from holding a file against the last good one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileComparison {
    /// What to tell.
    pub findings: Vec<Finding>,
    /// What is only worth a line in the log.
    pub remark: Option<String>,
    /// What the next file is held against.
    pub keep: FileProfile,
}

/// Holds a file against the last good one. `shrunk_since` says since when files have been smaller
/// than that, if they have.
pub fn compare(
    readings: &Readings,
    profile: FileProfile,
    last: Option<&FileProfile>,
    binding: &Binding,
    shrunk_since: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> FileComparison {
    let Some(last) = last else {
        return FileComparison {
            keep: profile,
            ..FileComparison::default()
        };
    };
    let mut comparison = FileComparison::default();
    match header_change(&last.header, &profile.header, binding) {
        HeaderChange::None => {}
        HeaderChange::Added(names) => comparison.remark = Some(format!("new columns: {names}")),
        HeaderChange::Other(what) => comparison.findings.push(Finding {
            trouble: Trouble::Header,
            what,
        }),
    }
    let back = went_back(&profile, last);
    let settled = shrunk_since.is_some_and(|since| now - since >= SETTLED_AFTER)
        && back.is_none()
        && profile.newest > last.newest;
    let shrunk = shrunk(readings, &profile, last).filter(|_| !settled);
    comparison.keep = if back.is_some() || shrunk.is_some() {
        FileProfile {
            header: profile.header,
            ..last.clone()
        }
    } else {
        profile
    };
    comparison.findings.extend(back.into_iter().chain(shrunk));
    comparison
}

fn whole_days(readings: &Readings) -> impl DoubleEndedIterator<Item = NaiveDate> {
    readings
        .iter()
        .filter(|(_, reading)| reading.extremes().is_some())
        .map(|(day, _)| *day)
}

fn went_back(profile: &FileProfile, last: &FileProfile) -> Option<Finding> {
    let before = last.newest?;
    if profile
        .newest
        .is_some_and(|newest| (before - newest).num_days() <= BACK_DAYS)
    {
        return None;
    }
    let now = match profile.newest {
        Some(newest) => format!("The file's newest whole day is {}", full_date(newest)),
        None => "The file holds no whole day".to_owned(),
    };
    Some(Finding {
        trouble: Trouble::WentBack,
        what: format!(
            "{now} ({}); the last good one {}.",
            size(profile),
            reach(last)
        ),
    })
}

/// A file is smaller if days are gone that neither a moving window nor its end explains.
fn shrunk(readings: &Readings, profile: &FileProfile, last: &FileProfile) -> Option<Finding> {
    let (first, newest) = (profile.first?, profile.newest?);
    let (old_first, old_newest) = (last.first?, last.newest?);
    let anew = (newest - first).num_days() < NEW_PERIOD_DAYS || first > old_newest;
    if first.day() == 1 && first > old_first && anew {
        return None;
    }
    let advanced = (newest - old_newest).num_days().max(0);
    let moved = (first - old_first).num_days();
    let window = if (0..=advanced + FEW_DAYS).contains(&moved) {
        moved
    } else {
        0
    };
    let gone_at_end = (old_newest - newest).num_days().max(0);
    let still = whole_days(readings)
        .take_while(|day| *day <= old_newest)
        .count() as i64;
    let gone = last.days as i64 - still - window - gone_at_end;
    (gone > FEW_DAYS).then(|| Finding {
        trouble: Trouble::Shrunk,
        what: format!(
            "{gone} days are gone from the file: it holds {} from {} to {}; the last good one {}.",
            size(profile),
            full_date(first),
            full_date(newest),
            reach(last)
        ),
    })
}

fn size(profile: &FileProfile) -> String {
    format!("{} whole days in {} rows", profile.days, profile.rows)
}

fn reach(last: &FileProfile) -> String {
    let newest = last.newest.map_or("no day".to_owned(), full_date);
    format!("reached {newest} with {}", size(last))
}

fn full_date(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}

/// Refuses a file that agrees with what is stored once it is read in another unit than the bound
/// one: the service has changed its unit. Steps that no unit explains are left to [`super::vet`].
///
/// # Errors
/// [`Rejection`] naming the unit that fits.
pub fn unit_step(parsed: &Parsed, stored: &Readings, binding: &Binding) -> Result<(), Rejection> {
    let common: Vec<(f64, f64)> = parsed
        .readings
        .iter()
        .filter_map(|(day, new)| Some((new, stored.get(day)?)))
        .flat_map(|(new, known)| [new.max.zip(known.max), new.min.zip(known.min)])
        .flatten()
        .collect();
    if common.len() < 2 * DAYS_FOR_UNIT
        || median_difference(&common, |celsius| celsius) <= OTHER_UNIT_C
    {
        return Ok(());
    }
    let fits = Unit::NAMED
        .iter()
        .map(|(_, unit)| *unit)
        .filter(|unit| *unit != binding.unit)
        .find(|unit| {
            let reread = |celsius| unit.to_celsius(as_published(binding.unit, celsius));
            median_difference(&common, reread) <= SAME_UNIT_C
        });
    let Some(unit) = fits else {
        return Ok(());
    };
    Err(Rejection::whole(
        format!(
            "the whole file has stepped: read as {unit} it agrees with what is stored, read as {} it does not",
            binding.unit
        ),
        if binding.dialect.units.contains(&unit) {
            format!(
                "the service has changed its unit: look at the file, then set unit = \"{unit}\" for this station"
            )
        } else {
            format!(
                "the service has changed its unit: look at the file; if it stays so, a dialect of your own with units = [\"{unit}\"] reads it, because {} files come in {} only",
                binding.dialect.name,
                in_words(&binding.dialect.units)
            )
        },
    ))
}

/// What a feed wrote for a value.
fn as_published(unit: Unit, celsius: f64) -> f64 {
    match unit {
        Unit::Celsius => celsius,
        Unit::Fahrenheit => celsius * 1.8 + 32.0,
        Unit::TenthsCelsius => celsius * 10.0,
    }
}

fn median_difference(pairs: &[(f64, f64)], reread: impl Fn(f64) -> f64) -> f64 {
    let mut differences: Vec<f64> = pairs
        .iter()
        .map(|(new, known)| (reread(*new) - known).abs())
        .collect();
    differences.sort_by(f64::total_cmp);
    differences[differences.len() / 2]
}

/// A value that is held out of sums.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldValue {
    /// Its day.
    pub day: NaiveDate,
    /// Which extreme.
    pub element: Element,
    /// What the file says, °C.
    pub celsius: f64,
    /// When it was first held.
    pub since: DateTime<Utc>,
}

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
    pub fn in_words(&self) -> String {
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
pub fn value_name(day: NaiveDate, element: Element) -> String {
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
pub fn to_hold(
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
pub fn take_out(readings: &mut Readings, held: &[HeldValue]) {
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

impl Element {
    /// This extreme of a reading, °C.
    pub fn of(self, reading: &Reading) -> Option<f64> {
        match self {
            Element::Max => reading.max,
            Element::Min => reading.min,
        }
    }
}

#[cfg(test)]
mod tests;
