//! A station's days as a dense row, for checks that look at the days beside.

use crate::domain::weather::reading::Readings;
use crate::feed::vetting::time_of_year::{YEAR, place_in_year};
use crate::station_feed::parsed::Element;
use chrono::{Datelike, Days, NaiveDate};

/// Days that a record may span; what is farther apart is no record of one station.
const LONGEST: i64 = 400 * YEAR as i64;

/// A day's maximum and minimum, °C; not a number where unknown.
pub(super) type MaxAndMin = [f64; 2];

/// A day of which nothing is known.
const NOTHING: MaxAndMin = [f64::NAN; 2];

/// Daily maxima and minima without holes in their order.
#[derive(Debug, Clone, Default)]
pub(super) struct DenseDays {
    first: NaiveDate,
    days: Vec<MaxAndMin>,
    /// The place in a leap year of each day, from 0.
    places: Vec<u16>,
}

/// The place of an extreme in a [`MaxAndMin`].
pub(super) fn slot(element: Element) -> usize {
    match element {
        Element::Max => 0,
        Element::Min => 1,
    }
}

impl DenseDays {
    /// Readings, with those of `over` laid over them.
    pub fn of(readings: &Readings, over: &Readings) -> Self {
        let ends = |readings: &Readings| {
            let first = readings.keys().next().copied();
            first.zip(readings.keys().next_back().copied())
        };
        let (first, last) = match (ends(readings), ends(over)) {
            (Some(a), Some(b)) => (a.0.min(b.0), a.1.max(b.1)),
            (Some(ends), None) | (None, Some(ends)) => ends,
            (None, None) => return Self::default(),
        };
        let first = first.max(last - chrono::TimeDelta::days(LONGEST));
        let length = (last - first).num_days() as usize + 1;
        let mut days = vec![NOTHING; length];
        for (day, reading) in readings.range(first..).chain(over.range(first..)) {
            let pair = &mut days[(*day - first).num_days() as usize];
            for (value, known) in [reading.max, reading.min].iter().zip(pair) {
                *known = value.unwrap_or(*known);
            }
        }
        let dates = first.iter_days().take(length);
        Self {
            first,
            days,
            places: dates.map(|day| place_in_year(day) as u16).collect(),
        }
    }

    /// How many days there are.
    pub fn len(&self) -> usize {
        self.days.len()
    }

    /// The place of a day, if it lies within.
    pub fn index(&self, day: NaiveDate) -> Option<usize> {
        let index = usize::try_from((day - self.first).num_days()).ok()?;
        (index < self.days.len()).then_some(index)
    }

    /// The day at a place.
    pub fn day(&self, index: usize) -> NaiveDate {
        self.first + Days::new(index as u64)
    }

    /// Both extremes of a day; unknown ones are not a number.
    pub fn pair(&self, index: usize) -> MaxAndMin {
        self.days.get(index).copied().unwrap_or(NOTHING)
    }

    /// A known extreme, some days after (or before) a place.
    pub fn near(&self, index: usize, step: isize, slot: usize) -> Option<f64> {
        let value = self.days.get(index.checked_add_signed(step)?)?[slot];
        (!value.is_nan()).then_some(value)
    }

    /// A known extreme.
    pub fn value(&self, index: usize, slot: usize) -> Option<f64> {
        self.near(index, 0, slot)
    }

    /// The place of a day in a leap year, from 0.
    pub fn place(&self, index: usize) -> usize {
        usize::from(self.places[index])
    }

    /// Makes a value unknown.
    pub fn clear(&mut self, index: usize, slot: usize) {
        self.days[index][slot] = f64::NAN;
    }

    /// The known values of an extreme within some days of a place in the year, of all years.
    pub fn around(&self, place: usize, within: usize, slot: usize) -> Vec<f64> {
        let mut values = Vec::new();
        self.each_around(place, within, |index| {
            values.extend(self.value(index, slot));
        });
        values
    }

    /// Hands over the places of all days within some days of a place in the year, of all years.
    pub fn each_around(&self, place: usize, within: usize, mut take: impl FnMut(usize)) {
        let first_year = self.first.year();
        let last_year = match self.days.len() {
            0 => return,
            length => self.day(length - 1).year(),
        };
        // One year more on both sides: days around New Year belong to the year before or after.
        for year in first_year - 1..=last_year + 1 {
            let Some(start) = NaiveDate::from_ymd_opt(year, 1, 1) else {
                continue;
            };
            let leap = start.leap_year();
            let late = usize::from(!leap && place > 58);
            let centre = (start - self.first).num_days() + (place - late) as i64;
            let from = (centre - within as i64).max(0);
            let to = (centre + within as i64).min(self.days.len() as i64 - 1);
            for index in from..=to {
                take(index as usize);
            }
        }
    }
}
