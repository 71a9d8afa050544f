//! A site's milestones weeks ahead, as date ranges, and what the ranges rest on.

use super::words::capitalised;
use super::{DateRange, counted};
use crate::config::Config;
use crate::cycle::{SiteState, states_of_site};
use crate::domain::notation::Notation;
use crate::domain::phenology::biofix::{Anchor, AnchoredBy};
use crate::domain::phenology::milestone::Milestone;
use crate::domain::phenology::outlook::{Basis, FULL_SEASONS};
use crate::domain::phenology::past_season::Lender;
use crate::domain::phenology::season_state::Hold;
use crate::domain::place::site::{Member, Site};
use crate::domain::weather::foretold_days::JUMP;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

mod milestone;

pub use milestone::{BY_CALENDAR_MARK, GradedThreshold, MilestoneDates, MilestoneOutlook};

/// What to do with a range, for everyone who is shown one.
pub const HOW_TO_PLAN: &str = "Plan with the range, not with its middle. The label, local rules and a licensed applicator decide what is done.";

/// The milestones of a site. What is not for scripts is left out of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OutlookReport {
    /// The site's id.
    pub site: String,
    /// The site's name.
    #[serde(skip)]
    pub site_name: String,
    /// The name of the member whose site it is.
    #[serde(skip)]
    pub member: String,
    /// The day that is shown.
    pub day: NaiveDate,
    /// Each species.
    pub species: Vec<SpeciesOutlook>,
}

/// The milestones of one species at a site.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpeciesOutlook {
    /// The species' id.
    pub species: String,
    /// The species' name.
    #[serde(skip)]
    pub name: String,
    /// The year the season starts in.
    pub season: i32,
    /// The season, in words.
    #[serde(skip)]
    pub season_name: String,
    /// The last day of the season.
    pub season_end: NaiveDate,
    /// °C·d
    pub degree_days: f64,
    /// The station's id.
    pub station: String,
    /// The station's name.
    #[serde(skip)]
    pub station_name: String,
    /// The newest day of the sum.
    pub data_through: Option<NaiveDate>,
    /// Days of the sum that are estimated.
    pub estimated_days: u32,
    /// By how much and by what the site's thresholds are moved.
    #[serde(rename = "thresholds_moved")]
    pub anchor: Option<String>,
    /// Every milestone in the order of a season.
    pub milestones: Vec<MilestoneOutlook>,
    /// What the dates ahead rest on.
    pub basis: Option<OutlookBasis>,
    /// Why there are none.
    pub no_dates: Option<String>,
}

/// What dates ahead rest on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct OutlookBasis {
    /// Observed through this day.
    pub data_through: NaiveDate,
    /// Days of a model's forecast after it.
    pub forecast_days: usize,
    /// When that was taken in.
    pub forecast_issued: Option<DateTime<Utc>>,
    /// The day from which on it is not used, because it jumps to it.
    pub forecast_jumps_on: Option<NaiveDate>,
    /// Past seasons of the station that stand for the rest.
    pub past_seasons: usize,
    /// How many of these are borrowed from neighbouring stations, corrected by month.
    pub borrowed_seasons: usize,
    /// Whether they are made up from daily normals.
    pub from_normals: bool,
    /// Whether the ranges are widened because these are few.
    pub is_widened: bool,
}

impl OutlookReport {
    /// The outlook of each species at a site, as seen on `today`.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        (member, site): (&Member, &Site),
        today: NaiveDate,
    ) -> Result<Self, StoreError> {
        let forecast = store.forecast(&site.station, today)?;
        let issued = forecast.map(|forecast| forecast.issued);
        let notation = &config.service.notation;
        Ok(Self {
            site: site.id.clone(),
            site_name: site.name.clone(),
            member: member.name.clone(),
            day: today,
            species: states_of_site(config, store, today, &site.id)?
                .iter()
                .map(|here| SpeciesOutlook::of(here, issued, notation))
                .collect(),
        })
    }
}

impl SpeciesOutlook {
    pub(super) fn of(
        here: &SiteState<'_>,
        issued: Option<DateTime<Utc>>,
        notation: &Notation,
    ) -> Self {
        let state = &here.state;
        let next = state.next().map(|next| next.outlook);
        let (basis, no_dates) = match next {
            None if state.hold == Some(Hold::NoData) => {
                (None, Some("no day of the season is measured".to_owned()))
            }
            None => (None, Some("the season is over for this species".to_owned())),
            Some(Err(why)) => (None, Some(why.to_string())),
            Some(Ok((_, basis))) => (Some(OutlookBasis::of(&basis, issued)), None),
        };
        Self {
            species: here.species.id.clone(),
            name: here.species.name.clone(),
            season: state.season.year,
            season_name: state.season.to_string(),
            season_end: state.season.end,
            degree_days: (state.degree_days * 1e4).round() / 1e4,
            station: here.feed.station.id.clone(),
            station_name: here.feed.station.name.clone(),
            data_through: state.data_through,
            estimated_days: state.estimated_days,
            anchor: here.anchor.map(|anchor| anchor_in_words(anchor, notation)),
            milestones: Milestone::ALL
                .into_iter()
                .map(|milestone| MilestoneOutlook::of(here, milestone))
                .collect(),
            basis,
            no_dates,
        }
    }

    /// What the dates rest on, or why there are none, a sentence each.
    pub fn basis_in_words(&self) -> Vec<String> {
        match (&self.basis, &self.no_dates) {
            (Some(basis), _) => basis.in_words(),
            (None, Some(why)) if self.is_over() => vec![format!("{}.", capitalised(why))],
            (None, Some(why)) => vec![format!("No dates: {why}.")],
            (None, None) => Vec::new(),
        }
    }

    /// Whether no milestone lies ahead.
    fn is_over(&self) -> bool {
        !self.milestones.iter().any(|one| {
            matches!(
                one.dates,
                MilestoneDates::Ahead(_)
                    | MilestoneDates::AheadWithoutDates
                    | MilestoneDates::NotKnown
            )
        })
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
        self.milestones
            .iter()
            .any(|one| one.threshold.is_estimate())
    }

    /// Whether a date is the calendar's and no sum's.
    pub fn has_date_by_calendar(&self) -> bool {
        self.milestones.iter().any(|one| match one.dates {
            MilestoneDates::Passed { by_calendar, .. } => by_calendar,
            MilestoneDates::Ahead(outlook) => outlook.by_calendar.late,
            MilestoneDates::AheadWithoutDates
            | MilestoneDates::NotThisSeason
            | MilestoneDates::NotKnown => false,
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
                MilestoneDates::AheadWithoutDates
                | MilestoneDates::NotThisSeason
                | MilestoneDates::NotKnown => return None,
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

fn anchor_in_words(anchor: Anchor, notation: &Notation) -> String {
    let (shift, unit) = notation.degree_day_sum(anchor.shift);
    match anchor.by {
        AnchoredBy::ThisSeason { seen, peak, last } => {
            let of = match (peak, last) {
                (false, _) => "first catch",
                (true, false) => "first catch and peak",
                (true, true) => "first catch, peak and last catch",
            };
            let (seen, _) = notation.degree_day_sum(seen);
            format!(
                "All thresholds are moved by {shift:+.0} {unit} by this season's {of} at the site; alone that says {seen:+.0}, and the table and earlier seasons count beside it."
            )
        }
        AnchoredBy::EarlierSeasons { seasons } => format!(
            "All thresholds are moved by {shift:+.0} {unit} by catches of {} at the site, beside the table.",
            counted(seasons, "earlier season")
        ),
    }
}

impl OutlookBasis {
    fn of(basis: &Basis, issued: Option<DateTime<Utc>>) -> Self {
        Self {
            data_through: basis.data_through,
            forecast_days: basis.forecast_days,
            forecast_issued: issued.filter(|_| basis.forecast_days > 0),
            forecast_jumps_on: basis.forecast_jumps_on,
            past_seasons: basis.past_seasons,
            borrowed_seasons: basis
                .borrowed
                .filter(|borrowed| borrowed.from == Lender::Neighbours)
                .map_or(0, |borrowed| {
                    basis.past_seasons.saturating_sub(borrowed.own_seasons)
                }),
            from_normals: basis
                .borrowed
                .is_some_and(|borrowed| borrowed.from == Lender::Normals),
            is_widened: basis.is_thin(),
        }
    }

    fn in_words(&self) -> Vec<String> {
        let forecast = match self.forecast_days {
            0 => String::new(),
            days => format!(
                ", {} of a model's forecast for what such days have been worth",
                counted(days, "day")
            ),
        };
        let past = match (self.from_normals, self.borrowed_seasons) {
            (true, _) => "the daily normals with a spread of years".to_owned(),
            (false, 0) => format!(
                "{} of the station",
                counted(self.past_seasons, "past season")
            ),
            (false, borrowed) => format!(
                "{}, {borrowed} of them borrowed from neighbouring stations and corrected by month",
                counted(self.past_seasons, "past season")
            ),
        };
        let mut sentences = vec![format!(
            "Made of days observed through {}{forecast}, {past}, and each threshold's own range.",
            self.data_through,
        )];
        if let Some(day) = self.forecast_jumps_on {
            sentences.push(format!(
                "The forecast jumps by {JUMP:.0} °C or more to {day}: it is not used from that day on."
            ));
        }
        if self.from_normals || self.borrowed_seasons > 0 {
            sentences.push(
                "The station has too short a past of its own; where that was tried, dates were off by up to an eighth more, and ranges held as often.".to_owned(),
            );
        }
        if self.is_widened {
            sentences.push(format!(
                "Under {FULL_SEASONS} past seasons the ranges are widened: import more history."
            ));
        }
        sentences
    }
}

#[cfg(test)]
mod tests;
