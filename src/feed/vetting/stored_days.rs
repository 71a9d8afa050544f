//! Holding a parsed file against the days that are stored: the station's own, and those of others.

use super::median::median;
use super::yardstick::{DAYS_TO_COMPARE, OtherStation, Yardstick};
use super::{another_unit, full_date};
use crate::domain::weather::extremes::Unit;
use crate::domain::weather::reading::{Reading, Readings};
use crate::feed::Rejection;
use crate::station_feed::dialect::{Binding, in_words};
use crate::station_feed::parsed::{Element, Parsed};
use chrono::{NaiveDate, TimeDelta};

/// A day whose maximum or minimum has moved by more than this, °C, has changed.
const CHANGED_C: f64 = 1.0;
/// More changed days than this share of the common ones are another station, unit or day: of 30 days of
/// two of 72 stations of Illinois and Indiana 27 % differ at least, and half of all pairs in 96 %.
const MOST_CHANGED: f64 = 0.2;
/// Common days needed to recognise a unit that fits what is stored.
const DAYS_FOR_UNIT: usize = 3;
/// Median difference, °C, up to which two files of one station are in the same unit; whole degrees
/// Fahrenheit are within 0.3 °C of what they were rounded from.
const SAME_UNIT_C: f64 = 0.6;
/// Median difference, °C, from which so few days are in another unit.
const OTHER_UNIT_C: f64 = 4.0;
/// Values this near, °C, are the same one, rounded in two ways.
const SAME_C: f64 = 0.3;
/// Days the same as another station's, of all common ones, that make a file that station's.
const SAME_STATION: f64 = 0.8;
/// … where the file is refused anyway and only a name is looked for.
const LIKELY_STATION: f64 = 0.6;
/// Common days needed to see that a file has moved by a day.
const DAYS_FOR_SHIFT: usize = 20;
/// Values that agree after the move, of all common ones.
const AGREES_MOVED: f64 = 0.8;
/// Values that may agree without it.
const AGREES_UNMOVED: f64 = 0.5;

/// Days that a file and a store have in common, with the largest difference of each, °C.
#[derive(Debug, Default)]
pub(super) struct Shared(Vec<(NaiveDate, f64)>);

impl Shared {
    pub fn of(readings: &Readings, stored: &Readings) -> Self {
        let of_day = |(day, new, known): (NaiveDate, &Reading, &Reading)| {
            let differences = both(new, known).into_iter().flatten();
            let largest = differences
                .map(|(new, known)| (new - known).abs())
                .max_by(f64::total_cmp)?;
            Some((day, largest))
        };
        Self(common_days(readings, stored).filter_map(of_day).collect())
    }

    /// How many there are.
    pub fn days(&self) -> usize {
        self.0.len()
    }

    fn changed(&self) -> impl Iterator<Item = &(NaiveDate, f64)> {
        self.0.iter().filter(|(_, by)| *by > CHANGED_C)
    }

    /// How many of them are the same, as a share.
    fn same(&self) -> f64 {
        let same = self.0.iter().filter(|(_, by)| *by <= SAME_C).count();
        same as f64 / self.days().max(1) as f64
    }
}

/// Days that both have, in order: one walk through either.
fn common_days<'r>(
    readings: &'r Readings,
    stored: &'r Readings,
) -> impl Iterator<Item = (NaiveDate, &'r Reading, &'r Reading)> {
    let first = readings.keys().next();
    let mut there = first
        .into_iter()
        .flat_map(|first| stored.range(first..))
        .peekable();
    readings.iter().filter_map(move |(day, new)| {
        while there.next_if(|(known, _)| *known < day).is_some() {}
        let (_, known) = there.next_if(|(known, _)| *known == day)?;
        Some((*day, new, known))
    })
}

/// Maximum and minimum that both readings have.
pub(super) fn both(new: &Reading, known: &Reading) -> [Option<(f64, f64)>; 2] {
    [new.max.zip(known.max), new.min.zip(known.min)]
}

/// Whether more days have changed than revisions change.
pub(super) fn changed_too_much(shared: &Shared) -> bool {
    shared.days() >= DAYS_TO_COMPARE
        && shared.changed().count() as f64 > MOST_CHANGED * shared.days() as f64
}

/// Refuses a file that agrees with what is stored once it is read in another unit than the bound
/// one: the service has changed its unit.
///
/// # Errors
/// [`Rejection`] naming the unit that fits.
pub(super) fn refuse_other_unit(
    parsed: &Parsed,
    shared: &Shared,
    binding: &Binding,
    known: &Yardstick,
) -> Result<(), Rejection> {
    let common = common_values(&parsed.readings, &known.stored);
    let is_another = common.len() >= 2 * DAYS_FOR_UNIT
        && median_difference(&common, |celsius| celsius) > OTHER_UNIT_C
        || changed_too_much(shared);
    match unit_that_fits(&common, binding.unit) {
        Some(unit) if is_another => Err(other_unit(unit, binding, known)),
        _ => Ok(()),
    }
}

/// Refuses a file whose days are stored as others, with the reading that explains it: a shift by a
/// day, another station.
///
/// # Errors
/// [`Rejection`] naming that reading, or the differences.
pub(super) fn refuse_other_days(
    parsed: &Parsed,
    shared: &Shared,
    binding: &Binding,
    known: &Yardstick,
) -> Result<(), Rejection> {
    let readings = &parsed.readings;
    if !changed_too_much(shared) {
        return Ok(());
    }
    let remedy = |first: &str| {
        format!(
            "{first}; if the file is right and the stored days are wrong, {} takes it",
            known.command
        )
    };
    let (what, first) = if let Some(moved) = moved_by_a_day(readings, &known.stored) {
        (
            format!("{}: {moved}", in_numbers(shared)),
            "the service or its observer has changed the day that a value is put under: look at the file"
                .to_owned(),
        )
    } else if let Some((id, days)) = whose(readings, &known.others, LIKELY_STATION) {
        (
            format!(
                "{}: these are the days of station {id} ({} of {} the same)",
                in_numbers(shared),
                days.0,
                days.1
            ),
            "check whose file this is".to_owned(),
        )
    } else {
        (
            in_numbers(shared),
            format!(
                "the feed has changed its unit or its station: {}, or give a new station its own id",
                another_unit(binding)
            ),
        )
    };
    Err(Rejection::whole(what, remedy(&first)))
}

/// How much of what is stored a file would change.
fn in_numbers(shared: &Shared) -> String {
    let mut changed: Vec<f64> = shared.changed().map(|(_, by)| *by).collect();
    changed.sort_by(f64::total_cmp);
    let day =
        |day: Option<&(NaiveDate, f64)>| day.map_or(String::new(), |(day, _)| full_date(*day));
    format!(
        "{} of the {} days that are stored already differ by {:.1} °C (median) and up to {:.1}, first on {}, last on {} ({CHANGED_C:.0} °C and a fifth of the days are left to revisions)",
        changed.len(),
        shared.days(),
        changed.get(changed.len() / 2).copied().unwrap_or_default(),
        changed.last().copied().unwrap_or_default(),
        day(shared.changed().next()),
        day(shared.changed().last())
    )
}

/// Refuses a file that shares too few days with its own station, and is the same as another one's.
///
/// # Errors
/// [`Rejection`] naming the station.
pub(super) fn refuse_other_station(
    parsed: &Parsed,
    shared: &Shared,
    known: &Yardstick,
) -> Result<(), Rejection> {
    if shared.days() >= DAYS_TO_COMPARE {
        return Ok(());
    }
    let Some((id, (same, days))) = whose(&parsed.readings, &known.others, SAME_STATION) else {
        return Ok(());
    };
    Err(Rejection::whole(
        format!(
            "these are the days of station {id}: of {days} days that are stored of it {same} are the same"
        ),
        format!(
            "check whose file this is; if it is this station's all the same, {} takes it",
            known.command
        ),
    ))
}

/// The station whose stored days a file repeats, with how many of how many are the same.
fn whose(
    readings: &Readings,
    others: &[OtherStation],
    least_share: f64,
) -> Option<(String, (usize, usize))> {
    others
        .iter()
        .map(|other| (other, Shared::of(readings, &other.readings)))
        .filter(|(_, shared)| shared.days() >= DAYS_TO_COMPARE && shared.same() >= least_share)
        .max_by(|(_, one), (_, two)| one.same().total_cmp(&two.same()))
        .map(|(other, shared)| {
            let same = (shared.same() * shared.days() as f64).round() as usize;
            (other.id.clone(), (same, shared.days()))
        })
}

/// Which extremes of a file agree with what is stored once they are moved by a day, in words.
fn moved_by_a_day(readings: &Readings, stored: &Readings) -> Option<String> {
    for (days, words) in [(-1, "the day before"), (1, "the day after")] {
        let moved = |element| {
            let unmoved = agreement(readings, stored, element, 0)?;
            let moved = agreement(readings, stored, element, days)?;
            Some(moved >= AGREES_MOVED && unmoved < AGREES_UNMOVED)
        };
        let what = match (
            moved(Element::Max).unwrap_or(false),
            moved(Element::Min).unwrap_or(false),
        ) {
            (true, true) => "maxima and minima",
            (true, false) => "maxima",
            (false, true) => "minima",
            (false, false) => continue,
        };
        return Some(format!("its {what} are those stored under {words}"));
    }
    None
}

/// The share of an extreme's values that are the same as those stored so many days later, if enough
/// are.
fn agreement(readings: &Readings, stored: &Readings, element: Element, days: i64) -> Option<f64> {
    let pairs: Vec<f64> = readings
        .iter()
        .filter_map(|(day, new)| {
            let known = stored.get(&(*day + TimeDelta::days(days)))?;
            Some((element.of(new)? - element.of(known)?).abs())
        })
        .collect();
    let same = pairs.iter().filter(|by| **by <= SAME_C).count();
    (pairs.len() >= DAYS_FOR_SHIFT).then(|| same as f64 / pairs.len() as f64)
}

/// Whether the stored days are those of the file read in the unit that they were read in, before
/// the configuration changed it: then they are wrong, and no measure for the file.
pub fn unit_was_corrected(parsed: &Parsed, binding: &Binding, known: &Yardstick) -> bool {
    let Some(before) = known.stored_unit else {
        return false;
    };
    let common = common_values(&parsed.readings, &known.stored);
    common.len() >= 2 * DAYS_FOR_UNIT
        && median_difference(&common, |celsius| celsius) > SAME_UNIT_C
        && unit_that_fits(&common, binding.unit) == Some(before)
}

fn common_values(readings: &Readings, stored: &Readings) -> Vec<(f64, f64)> {
    common_days(readings, stored)
        .flat_map(|(_, new, known)| both(new, known))
        .flatten()
        .collect()
}

/// Another unit than the bound one in which a file agrees with what is stored.
fn unit_that_fits(common: &[(f64, f64)], bound: Unit) -> Option<Unit> {
    Unit::NAMED
        .iter()
        .map(|(_, unit)| *unit)
        .filter(|unit| *unit != bound)
        .find(|unit| {
            let reread = |celsius| unit.to_celsius(as_published(bound, celsius));
            median_difference(common, reread) <= SAME_UNIT_C
        })
}

fn other_unit(unit: Unit, binding: &Binding, known: &Yardstick) -> Rejection {
    Rejection::whole(
        format!(
            "the whole file has stepped: read as {unit} it agrees with what is stored, read as {} it does not",
            binding.unit
        ),
        format!(
            "the service has changed its unit: {}",
            how_to_set(unit, binding, known)
        ),
    )
}

/// What to do where a file fits another unit.
pub(super) fn how_to_set(unit: Unit, binding: &Binding, known: &Yardstick) -> String {
    let set = if binding.dialect.units.contains(&unit) {
        format!("look at the file, then set unit = \"{unit}\" for this station")
    } else {
        format!(
            "look at the file; if it stays so, a dialect of your own with units = [\"{unit}\"] reads it, because {} files come in {} only",
            binding.dialect.name,
            in_words(&binding.dialect.units)
        )
    };
    format!("{set}; if it is right as it is, {} takes it", known.command)
}

/// What a feed wrote for a value.
pub(super) fn as_published(unit: Unit, celsius: f64) -> f64 {
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
    median(&mut differences).unwrap_or(f64::INFINITY)
}
