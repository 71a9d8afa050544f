//! A milestone of an outlook: its threshold, and when it came or is likely.

use crate::cycle::SiteState;
use crate::domain::notation::Notation;
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{CHANCE_DAYS, Outlook};
use crate::domain::phenology::season_state::{Expectation, PassedBy, SeasonState};
use crate::domain::sourced_value::EvidenceGrade;
use crate::report::words::thousandths;
use chrono::NaiveDate;
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Stands behind a date that the calendar sets.
pub const BY_CALENDAR_MARK: &str = "†";

/// A milestone with its threshold and its dates.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct MilestoneOutlook {
    /// Its name for scripts.
    pub milestone: &'static str,
    /// Its title for people.
    #[serde(skip)]
    pub title: &'static str,
    /// Where it falls.
    pub threshold: GradedThreshold,
    /// When it came or is likely.
    #[serde(flatten)]
    #[schema(value_type = WrittenDates)]
    pub dates: MilestoneDates,
}

/// A threshold with its own range, °C·d.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct GradedThreshold {
    /// Default.
    pub value: f64,
    /// Low end.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
    /// How solid it is: `published`, `handbook`, `local`, `practice` or `estimate`.
    pub grade: &'static str,
}

/// When a milestone came or is likely.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum MilestoneDates {
    /// It has come.
    Passed {
        /// The day.
        on: NaiveDate,
        /// Whether the calendar set it, before its sum was reached.
        by_calendar: bool,
    },
    /// It lies ahead.
    Ahead(#[serde(serialize_with = "for_scripts")] Outlook),
    /// It lies ahead, and no dates can be given.
    AheadWithoutDates,
    /// It does not come in this season.
    NotThisSeason,
    /// Whether it came is not known: days are missing.
    NotKnown,
}

/// [`MilestoneDates`] as it is written, for descriptions of it.
#[derive(Serialize, ToSchema)]
#[serde(tag = "state", rename_all = "kebab-case")]
#[expect(dead_code, reason = "it describes what is written, and is never made")]
enum WrittenDates {
    /// It has come.
    Passed {
        /// The day.
        on: NaiveDate,
        /// Whether the calendar set it, before its sum was reached.
        by_calendar: bool,
    },
    /// It lies ahead.
    Ahead(DatesAhead),
    /// It lies ahead, and no dates can be given.
    AheadWithoutDates,
    /// It does not come in this season.
    NotThisSeason,
    /// Whether it came is not known: days are missing.
    NotKnown,
}

/// What [`for_scripts`] writes.
#[derive(Serialize, ToSchema)]
struct DatesAhead {
    /// 10 % of cases fall before this day.
    early: Option<NaiveDate>,
    /// Half of the cases fall before this day.
    likely: Option<NaiveDate>,
    /// 90 % of cases fall before this day.
    late: Option<NaiveDate>,
    /// Which of these days the calendar sets.
    by_calendar: SetByCalendar,
    /// The chance that it has come, 0 to 1.
    by_now: f64,
    /// The chance that it comes within so many days, 0 to 1.
    within_days: BTreeMap<String, f64>,
    /// The chance that it does not come this season, 0 to 1.
    never: f64,
}

/// Which days of an outlook the calendar sets, before a sum gets there.
#[derive(Serialize, ToSchema)]
struct SetByCalendar {
    /// The early one.
    early: bool,
    /// The likely one.
    likely: bool,
    /// The late one.
    late: bool,
}

/// The dates and chances of an outlook, shares in thousandths.
fn for_scripts<S: Serializer>(outlook: &Outlook, to: S) -> Result<S::Ok, S::Error> {
    let by = outlook.by_calendar;
    let chances = CHANCE_DAYS.into_iter().zip(outlook.within);
    let within: BTreeMap<u32, f64> = chances
        .map(|(days, chance)| (days, thousandths(chance)))
        .collect();
    let mut map = to.serialize_map(None)?;
    map.serialize_entry("early", &outlook.early)?;
    map.serialize_entry("likely", &outlook.likely)?;
    map.serialize_entry("late", &outlook.late)?;
    map.serialize_entry(
        "by_calendar",
        &BTreeMap::from([
            ("early", by.early),
            ("likely", by.likely),
            ("late", by.late),
        ]),
    )?;
    map.serialize_entry("by_now", &thousandths(outlook.passed))?;
    map.serialize_entry("within_days", &within)?;
    map.serialize_entry("never", &thousandths(outlook.never))?;
    map.end()
}

impl MilestoneOutlook {
    pub(super) fn of(here: &SiteState<'_>, milestone: Milestone) -> Self {
        let threshold = here.species.threshold(milestone);
        Self {
            milestone: milestone.name(),
            title: milestone.short_title(),
            threshold: GradedThreshold {
                value: threshold.value,
                low: threshold.range.map(|(low, _)| low),
                high: threshold.range.map(|(_, high)| high),
                grade: threshold.grade.name(),
            },
            dates: MilestoneDates::of(&here.state, milestone),
        }
    }

    /// The dates and chances, one after the other: 10, 50 and 90 %, by now, and within
    /// [`CHANCE_DAYS`]. Fewer where it has passed or
    /// no dates can be given. [`BY_CALENDAR_MARK`] stands behind a date that the calendar sets.
    pub fn dates_in_words(&self, notation: &Notation) -> Vec<String> {
        let marked = |day: NaiveDate, by_calendar: bool| {
            let mark = if by_calendar { BY_CALENDAR_MARK } else { "" };
            notation.short_day(day) + mark
        };
        match &self.dates {
            MilestoneDates::Passed { on, by_calendar } => {
                vec!["passed".to_owned(), marked(*on, *by_calendar)]
            }
            MilestoneDates::Ahead(outlook) => {
                let by = outlook.by_calendar;
                let date = |(date, by_calendar): (Option<NaiveDate>, bool)| match date {
                    Some(day) => marked(day, by_calendar),
                    None => "not reached".to_owned(),
                };
                let percent = |share: f64| format!("{:.0} %", share * 100.0);
                let dates = [
                    (outlook.early, by.early),
                    (outlook.likely, by.likely),
                    (outlook.late, by.late),
                ]
                .map(date);
                let chances = std::iter::once(outlook.passed).chain(outlook.within);
                dates.into_iter().chain(chances.map(percent)).collect()
            }
            MilestoneDates::AheadWithoutDates => vec!["no dates".to_owned()],
            MilestoneDates::NotThisSeason => vec!["not this season".to_owned()],
            MilestoneDates::NotKnown => vec!["not known".to_owned()],
        }
    }
}

impl GradedThreshold {
    /// Whether it is an estimate.
    pub fn is_estimate(&self) -> bool {
        self.grade == EvidenceGrade::Estimate.name()
    }

    /// With its range; a star marks an estimate.
    pub fn in_words(&self, notation: &Notation) -> String {
        let mark = if self.is_estimate() { "*" } else { "" };
        let sum = |celsius: f64| format!("{:.0}", notation.degree_day_sum(celsius).0);
        let value = sum(self.value);
        match (self.low, self.high) {
            (Some(low), Some(high)) => format!("{value}{mark} ({}-{})", sum(low), sum(high)),
            _ => format!("{value}{mark}"),
        }
    }
}

impl MilestoneDates {
    fn of(state: &SeasonState, milestone: Milestone) -> Self {
        let mut crossings = state.crossings.iter();
        let mut ahead = state.ahead.iter();
        if let Some(crossing) = crossings.find(|one| one.milestone == milestone) {
            return Self::Passed {
                on: crossing.on,
                by_calendar: crossing.by != PassedBy::Sum,
            };
        }
        match ahead.find(|one| one.milestone == milestone) {
            Some(Expectation {
                outlook: Ok((outlook, _)),
                ..
            }) => Self::Ahead(*outlook),
            Some(_) => Self::AheadWithoutDates,
            None if state.hold.is_some() => Self::NotKnown,
            None => Self::NotThisSeason,
        }
    }
}
