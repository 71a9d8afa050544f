//! What is remembered of a feed between two of its files.

use super::parsed::{Element, Parsed};
use crate::domain::weather::reading::Readings;
use chrono::{DateTime, NaiveDate, Utc};

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

/// Days with both extremes.
pub fn whole_days(readings: &Readings) -> impl DoubleEndedIterator<Item = NaiveDate> {
    readings
        .iter()
        .filter(|(_, reading)| reading.extremes().is_some())
        .map(|(day, _)| *day)
}

/// Why a value is held out of sums.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HoldReason {
    /// Maximum and minimum are both nought.
    Nought,
    /// The same value day after day.
    Streak,
    /// The same week is found elsewhere.
    Duplicate,
    /// Beyond all other values of the time of year.
    Gap,
    /// Many spreads from the mean of the time of year.
    Outlier,
    /// A week or month whose mean is no weather.
    Level,
    /// Maximum and minimum are too far apart.
    Range,
    /// Far above or below both days beside it.
    Spike,
    /// No neighbour is near it.
    Neighbours,
}

impl HoldReason {
    /// Every reason with the name it has in the store.
    pub const NAMED: [(&'static str, HoldReason); 9] = [
        ("nought", HoldReason::Nought),
        ("streak", HoldReason::Streak),
        ("duplicate", HoldReason::Duplicate),
        ("gap", HoldReason::Gap),
        ("outlier", HoldReason::Outlier),
        ("level", HoldReason::Level),
        ("range", HoldReason::Range),
        ("spike", HoldReason::Spike),
        ("neighbours", HoldReason::Neighbours),
    ];

    /// The name in the store.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The reason a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }
}

impl std::fmt::Display for HoldReason {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        to.write_str(match self {
            HoldReason::Nought => "maximum and minimum both 0 °C or 0 °F",
            HoldReason::Streak => "the same day after day",
            HoldReason::Duplicate => "a week that is found elsewhere too",
            HoldReason::Gap => "beyond all others of the time of year",
            HoldReason::Outlier => "far from the mean of the time of year",
            HoldReason::Level => "a week or month that is no weather",
            HoldReason::Range => "maximum and minimum too far apart",
            HoldReason::Spike => "a spike or dip",
            HoldReason::Neighbours => "no neighbour is near it",
        })
    }
}

/// Two values this near, °C, are the same one: late revisions are of 0.1 °C.
const SAME_VALUE_C: f64 = 0.25;

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
    /// Why; values that were held before reasons were kept were beyond all others.
    pub reason: HoldReason,
    /// What would have been expected, °C from and to, where that can be said.
    pub expected: Option<(f64, f64)>,
}

impl HeldValue {
    /// Whether it is this value of a day.
    pub fn is_of(&self, day: NaiveDate, element: Element, celsius: f64) -> bool {
        let same = (self.celsius - celsius).abs() <= SAME_VALUE_C;
        self.day == day && self.element == element && same
    }
}

/// What somebody has decided of a value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DecidedValue {
    /// Its day.
    pub day: NaiveDate,
    /// Which extreme.
    pub element: Element,
    /// The value, °C.
    pub celsius: f64,
    /// Whether it counts; otherwise it stays out.
    pub confirmed: bool,
}

impl DecidedValue {
    /// Whether it is of this value of a day.
    pub fn is_of(&self, day: NaiveDate, element: Element, celsius: f64) -> bool {
        let same = (self.celsius - celsius).abs() <= SAME_VALUE_C;
        self.day == day && self.element == element && same
    }
}
