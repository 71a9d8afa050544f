//! A site's milestones weeks ahead, as date ranges, and what the ranges rest on.

use super::{DateRange, counted, short_day};
use crate::config::Config;
use crate::cycle::{SiteState, site_states};
use crate::domain::phenology::biofix::{Anchor, AnchoredBy};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{Basis, FULL_SEASONS, Outlook};
use crate::domain::phenology::season_state::{Expectation, PassedBy, SeasonState};
use crate::domain::sourced_value::EvidenceGrade;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// What to do with a range, for everyone who is shown one.
pub const HOW_TO_PLAN: &str = "Plan with the range, not with its middle. The label, local rules and a licensed applicator decide what is done.";

/// Stands behind a date that the calendar sets.
pub const BY_CALENDAR_MARK: &str = "†";

/// The milestones of one species at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteOutlook {
    /// The site's name.
    pub site: String,
    /// The name of the member whose site it is.
    pub member: String,
    /// The day that is shown.
    pub day: NaiveDate,
    /// The species' name.
    pub species: String,
    /// The season, in words.
    pub season: String,
    /// The last day of the season.
    pub season_end: NaiveDate,
    /// °C·d
    pub degree_days: f64,
    /// The station's name.
    pub station: String,
    /// The newest day of the sum.
    pub data_through: Option<NaiveDate>,
    /// Days of the sum that are estimated.
    pub estimated_days: u32,
    /// By how much and by what the site's thresholds are moved.
    pub anchor: Option<String>,
    /// Every milestone in the order of a season.
    pub milestones: Vec<MilestoneOutlook>,
    /// What the dates rest on, a sentence each.
    pub basis: Vec<String>,
}

/// A milestone with its threshold and its dates.
#[derive(Debug, Clone, PartialEq)]
pub struct MilestoneOutlook {
    /// Its title.
    pub title: &'static str,
    /// °C·d
    pub threshold: f64,
    /// The threshold's own range, °C·d.
    pub threshold_range: Option<(f64, f64)>,
    /// Whether the threshold is an estimate, not a published value.
    pub is_estimate: bool,
    /// When it came or is likely.
    pub dates: MilestoneDates,
}

/// When a milestone came or is likely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MilestoneDates {
    /// It has come.
    Passed {
        /// The day.
        on: NaiveDate,
        /// Whether the calendar set it, before its sum was reached.
        by_calendar: bool,
    },
    /// It lies ahead.
    Ahead(Outlook),
    /// It lies ahead, and no dates can be given.
    AheadWithoutDates,
    /// It does not come in this season.
    NotThisSeason,
}

/// The outlook of each species at a site, as seen on `today`.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn site_outlooks(
    config: &Config,
    store: &Store,
    site: &str,
    today: NaiveDate,
) -> Result<Vec<SiteOutlook>, StoreError> {
    Ok(site_states(config, store, today)?
        .iter()
        .filter(|here| here.site.id == site)
        .map(|here| SiteOutlook::of(here, today))
        .collect())
}

impl SiteOutlook {
    fn of(here: &SiteState<'_>, today: NaiveDate) -> Self {
        let state = &here.state;
        Self {
            site: here.site.name.clone(),
            member: here.member.name.clone(),
            day: today,
            species: here.species.name.clone(),
            season: state.season.to_string(),
            season_end: state.season.end,
            degree_days: state.degree_days,
            station: here.feed.station.name.clone(),
            data_through: state.data_through,
            estimated_days: state.estimated_days,
            anchor: here.anchor.map(anchor_in_words),
            milestones: Milestone::ALL
                .into_iter()
                .map(|milestone| MilestoneOutlook::of(here, milestone))
                .collect(),
            basis: basis(state.next()),
        }
    }

    /// How far the days reach, in words.
    pub fn data_in_words(&self) -> String {
        match self.data_through {
            Some(day) => format!("data through {day}"),
            None => "no data this season".to_owned(),
        }
    }

    /// Whether a threshold is an estimate.
    pub fn has_estimate(&self) -> bool {
        self.milestones.iter().any(|one| one.is_estimate)
    }

    /// Whether a date is the calendar's and no sum's.
    pub fn has_date_by_calendar(&self) -> bool {
        self.milestones.iter().any(|one| match one.dates {
            MilestoneDates::Passed { by_calendar, .. } => by_calendar,
            MilestoneDates::Ahead(outlook) => outlook.by_calendar.late,
            MilestoneDates::AheadWithoutDates | MilestoneDates::NotThisSeason => false,
        })
    }

    /// The dates to be drawn: a day for what has come, a range for what lies ahead.
    pub fn ranges(&self) -> Vec<DateRange> {
        let range = |one: &MilestoneOutlook| {
            let (from, middle, to) = match one.dates {
                MilestoneDates::Passed { on, .. } => (on, Some(on), on),
                MilestoneDates::Ahead(outlook) => {
                    let late = outlook.late.unwrap_or(self.season_end);
                    (outlook.early?, outlook.likely, late)
                }
                MilestoneDates::AheadWithoutDates | MilestoneDates::NotThisSeason => return None,
            };
            Some(DateRange {
                title: one.title.to_owned(),
                from,
                middle,
                to,
            })
        };
        self.milestones.iter().filter_map(range).collect()
    }
}

impl MilestoneOutlook {
    fn of(here: &SiteState<'_>, milestone: Milestone) -> Self {
        let threshold = here.species.threshold(milestone);
        Self {
            title: milestone.short_title(),
            threshold: threshold.value,
            threshold_range: threshold.range,
            is_estimate: threshold.grade == EvidenceGrade::Estimate,
            dates: MilestoneDates::of(&here.state, milestone),
        }
    }

    /// The threshold with its range; a star marks an estimate.
    pub fn threshold_in_words(&self) -> String {
        let mark = if self.is_estimate { "*" } else { "" };
        match self.threshold_range {
            Some((low, high)) => format!("{:.0}{mark} ({low:.0}-{high:.0})", self.threshold),
            None => format!("{:.0}{mark}", self.threshold),
        }
    }

    /// The dates and chances, one after the other: 10, 50 and 90 %, by now, and within
    /// [`CHANCE_DAYS`](crate::domain::phenology::outlook::CHANCE_DAYS). Fewer where it has passed or
    /// no dates can be given. [`BY_CALENDAR_MARK`] stands behind a date that the calendar sets.
    pub fn dates_in_words(&self) -> Vec<String> {
        let marked = |day: NaiveDate, by_calendar: bool| {
            let mark = if by_calendar { BY_CALENDAR_MARK } else { "" };
            short_day(day) + mark
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
            None => Self::NotThisSeason,
        }
    }
}

fn anchor_in_words(anchor: Anchor) -> String {
    let by = match anchor.by {
        AnchoredBy::ThisSeason => "this season's first catch at the site".to_owned(),
        AnchoredBy::EarlierSeasons { seasons } => format!(
            "first catches of {} at the site",
            counted(seasons, "earlier season")
        ),
    };
    format!(
        "All thresholds are moved by {:+.0} °C·d by {by}.",
        anchor.shift
    )
}

fn basis(next: Option<Expectation>) -> Vec<String> {
    match next.map(|next| next.outlook) {
        None => vec!["The season is over for this species.".to_owned()],
        Some(Err(why)) => vec![format!("No dates: {why}.")],
        Some(Ok((_, basis))) => made_of(&basis),
    }
}

fn made_of(basis: &Basis) -> Vec<String> {
    let forecast = match basis.forecast_days {
        0 => String::new(),
        days => format!(", {} of a model's forecast", counted(days, "day")),
    };
    let mut sentences = vec![format!(
        "Made of days observed through {}{forecast}, {} of the station, and each threshold's own range.",
        basis.data_through,
        counted(basis.past_seasons, "past season"),
    )];
    if basis.is_thin() {
        sentences.push(format!(
            "Under {FULL_SEASONS} past seasons the ranges are widened: import more history."
        ));
    }
    sentences
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::outlook::ByCalendar;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn ahead(early: Option<&str>, late: Option<&str>) -> MilestoneOutlook {
        MilestoneOutlook {
            title: "hatch",
            threshold: 820.0,
            threshold_range: Some((700.0, 900.0)),
            is_estimate: true,
            dates: MilestoneDates::Ahead(Outlook {
                early: early.map(day),
                likely: Some(day("2026-07-10")),
                late: late.map(day),
                passed: 0.0,
                within: [0.05, 0.5, 1.0],
                never: 0.0,
                by_calendar: ByCalendar::default(),
            }),
        }
    }

    fn outlook(milestones: Vec<MilestoneOutlook>) -> SiteOutlook {
        SiteOutlook {
            site: "Lawn".to_owned(),
            member: "Mill".to_owned(),
            day: day("2026-06-20"),
            species: "Beetle".to_owned(),
            season: "2026".to_owned(),
            season_end: day("2026-12-31"),
            degree_days: 500.0,
            station: "Meadow".to_owned(),
            data_through: None,
            estimated_days: 0,
            anchor: None,
            milestones,
            basis: Vec::new(),
        }
    }

    #[test]
    fn a_milestone_ahead_shows_three_dates_and_four_chances() {
        let words = ahead(Some("2026-07-01"), None).dates_in_words();
        let shown = [
            "1 Jul",
            "10 Jul",
            "not reached",
            "0 %",
            "5 %",
            "50 %",
            "100 %",
        ];
        assert_eq!(words, shown);
    }

    #[test]
    fn a_mark_stands_behind_a_date_that_the_calendar_sets() {
        let passed = |by_calendar| MilestoneOutlook {
            dates: MilestoneDates::Passed {
                on: day("2026-10-01"),
                by_calendar,
            },
            ..ahead(None, None)
        };
        assert_eq!(passed(true).dates_in_words(), ["passed", "1 Oct†"]);
        assert_eq!(passed(false).dates_in_words(), ["passed", "1 Oct"]);
        assert!(outlook(vec![passed(false), passed(true)]).has_date_by_calendar());

        let by_sum = ahead(Some("2026-07-01"), Some("2026-07-20"));
        let mut capped = by_sum.clone();
        if let MilestoneDates::Ahead(outlook) = &mut capped.dates {
            outlook.by_calendar.late = true;
        }
        assert_eq!(capped.dates_in_words()[..3], ["1 Jul", "10 Jul", "20 Jul†"]);
        assert!(outlook(vec![by_sum.clone(), capped]).has_date_by_calendar());
        assert!(!outlook(vec![by_sum, passed(false)]).has_date_by_calendar());
    }

    #[test]
    fn a_star_marks_an_estimated_threshold() {
        let estimated = ahead(None, None);
        assert_eq!(estimated.threshold_in_words(), "820* (700-900)");
        let published = MilestoneOutlook {
            is_estimate: false,
            threshold_range: None,
            ..estimated
        };
        assert_eq!(published.threshold_in_words(), "820");
    }

    #[test]
    fn a_range_without_an_end_is_drawn_to_the_end_of_the_season() {
        let open = outlook(vec![ahead(Some("2026-07-01"), None), ahead(None, None)]);
        let drawn = DateRange {
            title: "hatch".to_owned(),
            from: day("2026-07-01"),
            middle: Some(day("2026-07-10")),
            to: day("2026-12-31"),
        };
        assert_eq!(open.ranges(), [drawn]);
    }

    #[test]
    fn few_past_seasons_are_told_of() {
        let rests_on = |past_seasons, forecast_days| {
            made_of(&Basis {
                data_through: day("2026-06-17"),
                forecast_days,
                past_seasons,
            })
        };
        assert_eq!(
            rests_on(FULL_SEASONS, 1),
            [
                "Made of days observed through 2026-06-17, 1 day of a model's forecast, 10 past seasons of the station, and each threshold's own range."
            ]
        );
        let few = rests_on(FULL_SEASONS - 1, 0);
        assert_eq!(
            few[1],
            "Under 10 past seasons the ranges are widened: import more history."
        );
    }
}
