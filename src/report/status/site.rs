//! Where a site stands with one of its species.

use super::due::DueStatus;
use crate::config::Config;
use crate::cycle::{SiteState, newest_day_of};
use crate::domain::notation::Notation;
use crate::domain::phenology::season_state::{Crossing, Expectation, Hold, PassedBy, SeasonState};
use crate::domain::place::site::Site;
use crate::domain::sourced_value::EvidenceGrade;
use crate::domain::telling::feed_trouble::is_stale;
use crate::domain::weather::blend::{NEWEST_DAYS, PartIn};
use crate::report::words::counted;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

/// Where a site stands with one of its species.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteStatus {
    /// The name of the member whose site it is.
    pub member: String,
    /// The member's id.
    pub member_id: String,
    /// The site's id.
    pub site: String,
    /// The site's name.
    pub site_name: String,
    /// What grows there.
    pub turf: String,
    /// The species' id.
    pub species: String,
    /// The species' name.
    pub species_name: String,
    /// The season, in words.
    pub season: String,
    /// The newest day of the sum.
    pub data_through: Option<NaiveDate>,
    /// What each of several stations gave to the newest ten days.
    pub newest_days_from: Vec<StationPart>,
    /// What neighbours lent to the days before the station's own record.
    pub past_days_from: Vec<StationPart>,
    /// The newest day, if it is too old.
    pub stale_since: Option<NaiveDate>,
    /// °C·d
    pub degree_days: f64,
    /// Days of the sum that are estimated.
    pub estimated_days: u32,
    /// The same by how they were estimated.
    pub estimated_by: EstimationMethods,
    /// Why milestones are held back.
    pub held: Option<String>,
    /// The last milestone passed.
    pub last_milestone: Option<PassedMilestone>,
    /// The next one.
    pub next_milestone: Option<NextMilestone>,
    /// What is due at the site, for all its species together.
    pub due: DueStatus,
}

/// How many days came from a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StationPart {
    /// The station's id.
    pub station: String,
    /// Days.
    pub days: usize,
}

/// The estimated days by how they were estimated.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct EstimationMethods {
    /// Days estimated by neighbours.
    pub neighbours: u32,
    /// In how many of these each neighbour has a part.
    pub neighbour_days: Vec<StationPart>,
    /// Days on a straight line between those on both sides.
    pub straight_line: u32,
    /// Days by the station's own other years.
    pub other_years: u32,
}

/// A milestone that has come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PassedMilestone {
    /// Its name for scripts.
    pub milestone: &'static str,
    /// Its title for people.
    pub title: &'static str,
    /// The day.
    pub on: NaiveDate,
    /// Whether it came by a date, before its sum.
    pub by_date_cap: bool,
}

/// The milestone that comes next.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct NextMilestone {
    /// Its name for scripts.
    pub milestone: &'static str,
    /// Its title for people.
    pub title: &'static str,
    /// °C·d
    pub threshold: f64,
    /// The low end of the threshold's range, °C·d.
    pub threshold_low: Option<f64>,
    /// The high end of the threshold's range, °C·d.
    pub threshold_high: Option<f64>,
    /// The grade of the evidence for the threshold.
    pub threshold_is: &'static str,
    /// 10 % of cases fall before this day.
    pub early: Option<NaiveDate>,
    /// Half of the cases fall before this day.
    pub likely: Option<NaiveDate>,
    /// 90 % of cases fall before this day.
    pub late: Option<NaiveDate>,
    /// Whether the likely day is the calendar's, which comes before the sum gets there.
    pub by_calendar: bool,
    /// Whether the late day is.
    pub late_by_calendar: bool,
}

/// What stands behind a day that a date cap sets.
const BY_THE_CALENDAR: &str = ", by the calendar";

/// The newest day of a site, if it is too old.
pub(in crate::report) fn stale_since(
    site: &Site,
    config: &Config,
    store: &Store,
    today: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let newest = newest_day_of(store, site)?;
    let station = config.quickest_station(site);
    Ok(newest.filter(|_| station.is_some_and(|station| is_stale(station, newest, today))))
}

impl SiteStatus {
    pub(in crate::report) fn of(
        here: &SiteState<'_>,
        due: &DueStatus,
        stale_since: Option<NaiveDate>,
    ) -> Self {
        let state = &here.state;
        Self {
            member: here.member.name.clone(),
            member_id: here.member.id.clone(),
            site: here.site.id.clone(),
            site_name: here.site.name.clone(),
            turf: here.site.turf.clone(),
            species: here.species.id.clone(),
            species_name: here.species.name.clone(),
            season: state.season.to_string(),
            data_through: state.data_through,
            newest_days_from: station_parts(here, PartIn::Newest),
            past_days_from: station_parts(here, PartIn::Past),
            stale_since,
            degree_days: (state.degree_days * 1e4).round() / 1e4,
            estimated_days: state.estimated_days,
            estimated_by: EstimationMethods {
                neighbours: here.estimated.by_neighbours,
                neighbour_days: station_parts(here, PartIn::Missing),
                straight_line: here.estimated.by_line,
                other_years: here.estimated.by_other_years,
            },
            held: state.hold.map(held),
            last_milestone: state.crossings.last().map(PassedMilestone::of),
            next_milestone: state
                .next()
                .map(|next| NextMilestone::of(here, next, state)),
            due: due.clone(),
        }
    }

    /// Whether there are no days, or none of late.
    pub fn lacks_days(&self) -> bool {
        self.stale_since.is_some() || self.data_through.is_none()
    }

    /// Whether dates are shown that rest on too many missing days.
    pub fn held_back(&self) -> bool {
        self.held.is_some() && self.data_through.is_some()
    }

    /// How far the days reach, in words.
    pub fn data_in_words(&self) -> String {
        match (self.stale_since, self.data_through) {
            (Some(since), _) => format!("stale since {since}"),
            (None, Some(day)) => day.to_string(),
            (None, None) => "none".to_owned(),
        }
    }

    /// Which of several stations the newest days come from.
    pub fn newest_days_in_words(&self) -> Option<String> {
        let is_shown = !self.newest_days_from.is_empty() && !self.lacks_days();
        is_shown.then(|| {
            format!(
                "last {NEWEST_DAYS} days: {}",
                listed(&self.newest_days_from).join(", ")
            )
        })
    }

    /// How many days are estimated.
    pub fn estimated_in_words(&self) -> Option<String> {
        let days = self.estimated_days;
        (days > 0).then(|| format!("{} est.", counted(days as usize, "day")))
    }
}

fn station_parts(here: &SiteState<'_>, of: PartIn) -> Vec<StationPart> {
    let parts = here.parts.iter().filter(|part| part.of == of);
    parts
        .map(|part| StationPart {
            station: part.station.clone(),
            days: part.days,
        })
        .collect()
}

fn listed(parts: &[StationPart]) -> Vec<String> {
    parts
        .iter()
        .map(|part| format!("{} {}", part.station, part.days))
        .collect()
}

impl EstimationMethods {
    /// How days were estimated; `None` where all were by a straight line.
    pub fn in_words(&self) -> Option<String> {
        if self.neighbours + self.other_years == 0 {
            return None;
        }
        let mut ways = listed(&self.neighbour_days);
        for (days, way) in [
            (self.straight_line, "line"),
            (self.other_years, "other years"),
        ] {
            if days > 0 {
                ways.push(format!("{way} {days}"));
            }
        }
        Some(format!("by {}", ways.join(", ")))
    }
}

/// Why milestones are held back, and what to do.
pub(super) fn held(hold: Hold) -> String {
    match hold {
        Hold::NoData => "no measured day this season yet".to_owned(),
        Hold::Gap(gap) => format!(
            "{} missing from {} to {}: too long to bridge, import them",
            counted(gap.days().unsigned_abs() as usize, "day"),
            gap.from,
            gap.to
        ),
        Hold::TooManyEstimated { estimated, limit } => format!(
            "{estimated} estimated days, more than the {limit} allowed: import the missing ones"
        ),
    }
}

impl PassedMilestone {
    fn of(crossing: &Crossing) -> Self {
        Self {
            milestone: crossing.milestone.name(),
            title: crossing.milestone.short_title(),
            on: crossing.on,
            by_date_cap: crossing.by != PassedBy::Sum,
        }
    }

    /// The day, and whether it came by the calendar.
    pub fn when(&self, notation: &Notation) -> String {
        let cap = if self.by_date_cap {
            BY_THE_CALENDAR
        } else {
            ""
        };
        format!("{}{cap}", notation.day_and_year(self.on))
    }
}

impl NextMilestone {
    fn of(here: &SiteState<'_>, next: Expectation, state: &SeasonState) -> Self {
        let threshold = here.species.threshold(next.milestone);
        let outlook = next
            .outlook
            .ok()
            .filter(|_| state.hold.is_none())
            .map(|(outlook, _)| outlook);
        Self {
            milestone: next.milestone.name(),
            title: next.milestone.short_title(),
            threshold: threshold.value,
            threshold_low: threshold.range.map(|(low, _)| low),
            threshold_high: threshold.range.map(|(_, high)| high),
            threshold_is: threshold.grade.name(),
            early: outlook.and_then(|outlook| outlook.early),
            likely: outlook.and_then(|outlook| outlook.likely),
            late: outlook.and_then(|outlook| outlook.late),
            by_calendar: outlook.is_some_and(|outlook| outlook.by_calendar.likely),
            late_by_calendar: outlook.is_some_and(|outlook| outlook.by_calendar.late),
        }
    }

    /// Whether its threshold is an estimate, not a published value.
    pub fn is_estimate(&self) -> bool {
        self.threshold_is == EvidenceGrade::Estimate.name()
    }

    /// What it is and at which sum; a star marks an estimate.
    pub fn what(&self, notation: &Notation) -> String {
        let mark = if self.is_estimate() { "*" } else { "" };
        let (sum, _) = notation.degree_day_sum(self.threshold);
        format!("{} at {sum:.0}{mark}", self.title)
    }

    /// When it is likely.
    pub fn when(&self, notation: &Notation) -> String {
        let late_by = if self.late_by_calendar {
            BY_THE_CALENDAR
        } else {
            ""
        };
        match (self.early, self.likely, self.late) {
            (Some(early), Some(likely), Some(late)) if early == late => {
                notation.short_day(likely) + late_by
            }
            (Some(early), Some(cap), _) if self.by_calendar => format!(
                "{}{BY_THE_CALENDAR} (by the sum from {})",
                notation.short_day(cap),
                notation.short_day(early)
            ),
            (Some(early), Some(likely), Some(late)) => format!(
                "about {} ({} to {}{late_by})",
                notation.short_day(likely),
                notation.short_day(early),
                notation.short_day(late)
            ),
            _ => "no date, see outlook".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn next(dates: [Option<&str>; 3], grade: EvidenceGrade) -> NextMilestone {
        let [early, likely, late] = dates.map(|date| date.map(day));
        NextMilestone {
            milestone: "hatch",
            title: "hatch",
            threshold: 820.4,
            threshold_low: None,
            threshold_high: None,
            threshold_is: grade.name(),
            early,
            likely,
            late,
            by_calendar: false,
            late_by_calendar: false,
        }
    }

    #[test]
    fn a_range_of_dates_is_told_with_its_middle_and_a_single_date_alone() {
        let dates = [Some("2026-07-01"), Some("2026-07-05"), Some("2026-07-12")];
        let range = next(dates, EvidenceGrade::Published);
        assert_eq!(
            range.when(&Notation::default()),
            "about 5 Jul (1 Jul to 12 Jul)"
        );
        let single = next([Some("2026-10-01"); 3], EvidenceGrade::Published);
        assert_eq!(single.when(&Notation::default()), "1 Oct");
        let open = next([dates[0], None, None], EvidenceGrade::Published);
        assert_eq!(open.when(&Notation::default()), "no date, see outlook");
    }

    #[test]
    fn a_day_that_the_calendar_sets_says_so() {
        let [early, likely, cap] = [Some("2026-09-05"), Some("2026-09-12"), Some("2026-09-20")];
        let told = |dates, by_calendar| {
            let by_sum = next(dates, EvidenceGrade::Estimate);
            let capped = NextMilestone {
                by_calendar,
                late_by_calendar: true,
                ..by_sum
            };
            capped.when(&Notation::default())
        };
        assert_eq!(told([cap; 3], true), "20 Sep, by the calendar");
        assert_eq!(
            told([early, cap, cap], true),
            "20 Sep, by the calendar (by the sum from 5 Sep)"
        );
        assert_eq!(
            told([early, likely, cap], false),
            "about 12 Sep (5 Sep to 20 Sep, by the calendar)"
        );
        let came = PassedMilestone {
            milestone: "window-end",
            title: "window ends",
            on: day("2026-09-20"),
            by_date_cap: true,
        };
        assert_eq!(
            came.when(&Notation::default()),
            "20 September 2026, by the calendar"
        );
    }

    #[test]
    fn a_star_marks_an_estimated_threshold() {
        assert_eq!(
            next([None; 3], EvidenceGrade::Estimate).what(&Notation::default()),
            "hatch at 820*"
        );
        assert_eq!(
            next([None; 3], EvidenceGrade::Published).what(&Notation::default()),
            "hatch at 820"
        );
    }

    fn methods(neighbours: u32, straight_line: u32, other_years: u32) -> EstimationMethods {
        let days = StationPart {
            station: "old-orchard".to_owned(),
            days: neighbours as usize,
        };
        EstimationMethods {
            neighbours,
            neighbour_days: [days].into_iter().filter(|part| part.days > 0).collect(),
            straight_line,
            other_years,
        }
    }

    #[test]
    fn how_days_were_estimated_is_said_unless_all_lie_on_a_line() {
        assert_eq!(methods(0, 3, 0).in_words(), None);
        let words = methods(2, 1, 0).in_words();
        assert_eq!(words.as_deref(), Some("by old-orchard 2, line 1"));
        let words = methods(0, 0, 12).in_words();
        assert_eq!(words.as_deref(), Some("by other years 12"));
    }
}
