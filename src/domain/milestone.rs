//! Milestones: where a site stands with a species, what it has passed, what comes next.
//!
//! Sums are never kept: they are made anew from the stored days each time, so a corrected or late
//! day needs no path of its own.

use super::season::Season;
use super::series::{Day, Gap, Readings, season_days};
use super::species::Species;
use chrono::{Days, NaiveDate};

/// What people are told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Milestone {
    /// Adults leave the soil.
    AdultFlight,
    /// Females lay eggs.
    EggLay,
    /// First larvae hatch.
    Hatch,
    /// End of the susceptible early-instar window: about half the larvae are in the third instar.
    WindowEnd,
}

impl Milestone {
    /// All milestones in the order of the season.
    pub const ALL: [Milestone; 4] = [
        Milestone::AdultFlight,
        Milestone::EggLay,
        Milestone::Hatch,
        Milestone::WindowEnd,
    ];

    /// Every milestone with the name it has in the store and in configuration files.
    pub const NAMED: [(&'static str, Milestone); 4] = [
        ("adult-flight", Milestone::AdultFlight),
        ("egg-lay", Milestone::EggLay),
        ("hatch", Milestone::Hatch),
        ("window-end", Milestone::WindowEnd),
    ];

    /// The name in the store and in configuration files.
    pub fn name(self) -> &'static str {
        crate::domain::name_of(&Self::NAMED, self)
    }

    /// The milestone a name stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        crate::domain::named(&Self::NAMED, name)
    }

    /// What it is called in text.
    pub fn title(self) -> &'static str {
        match self {
            Milestone::AdultFlight => "adult flight",
            Milestone::EggLay => "egg lay",
            Milestone::Hatch => "hatch",
            Milestone::WindowEnd => "end of the susceptible window",
        }
    }

    /// What it is called where space is short.
    pub fn short_title(self) -> &'static str {
        match self {
            Milestone::AdultFlight => "flight",
            Milestone::EggLay => "egg lay",
            Milestone::Hatch => "hatch",
            Milestone::WindowEnd => "window ends",
        }
    }

    /// The milestone after this one.
    pub fn next(self) -> Option<Self> {
        let position = Self::ALL.iter().position(|m| *m == self)?;
        Self::ALL.get(position + 1).copied()
    }
}

/// How much may be estimated before a milestone is held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Longest gap that is bridged, days.
    pub longest_gap_days: u32,
    /// Most estimated days a season's sum may contain.
    pub most_estimated_days: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            longest_gap_days: 10,
            most_estimated_days: 15,
        }
    }
}

/// What made a milestone count as passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PassedBy {
    /// The sum reached the threshold.
    Sum,
    /// The date cap came first.
    DateCap,
}

/// A milestone passed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Which one.
    pub milestone: Milestone,
    /// The day on which the sum reached the threshold, or the date cap.
    pub on: NaiveDate,
    /// What made it count.
    pub by: PassedBy,
    /// Degree-days at the end of that day, °C·d.
    pub degree_days: f64,
    /// Estimated days in the sum to that day.
    pub estimated_days: u32,
}

/// Why milestones are held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// No measured day in this season yet.
    NoData,
    /// A gap too long to bridge.
    Gap(Gap),
    /// More estimated days than allowed.
    TooManyEstimated {
        /// Estimated days in the sum.
        estimated: u32,
        /// The limit.
        limit: u32,
    },
}

/// When the next milestone may be expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Which milestone.
    pub milestone: Milestone,
    /// Its dates at the pace of the last days, or `None` if that is too slow or too far to say.
    pub dates: Option<ExpectedDates>,
}

/// A date range at the pace of the last [`PACE_DAYS`] days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ExpectedDates {
    /// At the low end of the threshold's range.
    pub earliest: NaiveDate,
    /// At the threshold.
    pub likely: NaiveDate,
    /// At the high end of the threshold's range.
    pub latest: NaiveDate,
}

/// Days whose mean daily gain sets the pace of an [`Expectation`].
pub const PACE_DAYS: usize = 14;

/// An expectation further ahead than this many days is not given a date: the pace of two weeks
/// says nothing about it.
pub const FARTHEST_AHEAD_DAYS: f64 = 45.0;

/// Where a site stands with a species.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The season looked at.
    pub season: Season,
    /// The newest measured day of the season.
    pub data_through: Option<NaiveDate>,
    /// Degree-days of the gap-free run of days, °C·d.
    pub degree_days: f64,
    /// Estimated days in that sum.
    pub estimated_days: u32,
    /// Milestones passed, in order.
    pub crossings: Vec<Crossing>,
    /// Why further milestones are held back, if they are.
    pub hold: Option<Hold>,
    /// What comes next.
    pub next: Option<Expectation>,
}

/// Works out where a site stands with a species on `today`.
///
/// # Method
/// Daily degree-days by the species' own model are summed from the season's start over the
/// gap-free run of days (see [`season_days`]). A milestone is passed on the first day at whose end
/// the sum is at or above its threshold. The window also ends on the species' date cap if the sum
/// has not got there. Milestones whose sum holds more estimated days than allowed are held back.
///
/// # Units
/// °C and °C·d; `latitude` in degrees.
///
/// # Valid range
/// Any readings; days after `today` are ignored.
pub fn standing(
    species: &Species,
    latitude: f64,
    readings: &Readings,
    today: NaiveDate,
    limits: Limits,
) -> Standing {
    let season = species.season_on(today, latitude);
    let series = season_days(readings, &season, today, limits.longest_gap_days);
    let daily = daily_sums(species, &series.days);
    let end = daily.last();
    let degree_days = end.map_or(0.0, |day| day.sum);
    let estimated_days = end.map_or(0, |day| day.estimated);
    let cap = species.window_cap(&season, latitude);

    let mut crossings = crossings_by_sum(species, &daily, limits.most_estimated_days);
    crossings.retain(|crossing| crossing.on <= cap);
    if today >= cap
        && crossings
            .last()
            .is_none_or(|c| c.milestone != Milestone::WindowEnd)
    {
        let at_cap = daily.iter().rev().find(|day| day.date <= cap);
        crossings.push(Crossing {
            milestone: Milestone::WindowEnd,
            on: cap,
            by: PassedBy::DateCap,
            degree_days: at_cap.map_or(0.0, |day| day.sum),
            estimated_days: at_cap.map_or(0, |day| day.estimated),
        });
    }

    let hold = if series.data_through.is_none() {
        Some(Hold::NoData)
    } else if let Some(gap) = series.broken_by {
        Some(Hold::Gap(gap))
    } else if estimated_days > limits.most_estimated_days {
        Some(Hold::TooManyEstimated {
            estimated: estimated_days,
            limit: limits.most_estimated_days,
        })
    } else {
        None
    };
    let next = next_milestone(&crossings).map(|milestone| Expectation {
        milestone,
        dates: if hold.is_none() {
            expected_dates(species, milestone, &daily, cap)
        } else {
            None
        },
    });
    Standing {
        season,
        data_through: series.data_through,
        degree_days,
        estimated_days,
        crossings,
        hold,
        next,
    }
}

struct DailySum {
    date: NaiveDate,
    gain: f64,
    sum: f64,
    estimated: u32,
}

fn daily_sums(species: &Species, days: &[Day]) -> Vec<DailySum> {
    let mut sum = 0.0;
    let mut estimated = 0;
    days.iter()
        .enumerate()
        .map(|(i, day)| {
            let next_min = days.get(i + 1).map(|next| next.extremes.min());
            let gain = species.model.degree_days(day.extremes, next_min);
            sum += gain;
            estimated += u32::from(day.estimated);
            DailySum {
                date: day.date,
                gain,
                sum,
                estimated,
            }
        })
        .collect()
}

fn crossings_by_sum(species: &Species, daily: &[DailySum], most_estimated: u32) -> Vec<Crossing> {
    Milestone::ALL
        .into_iter()
        .filter_map(|milestone| {
            let threshold = species.threshold(milestone).value;
            let day = daily.iter().find(|day| day.sum >= threshold)?;
            (day.estimated <= most_estimated).then_some(Crossing {
                milestone,
                on: day.date,
                by: PassedBy::Sum,
                degree_days: day.sum,
                estimated_days: day.estimated,
            })
        })
        .collect()
}

/// The first milestone not passed; none once the window has ended.
fn next_milestone(crossings: &[Crossing]) -> Option<Milestone> {
    match crossings.last() {
        None => Some(Milestone::AdultFlight),
        Some(last) => last.milestone.next(),
    }
}

/// Dates at the mean gain of the last [`PACE_DAYS`] days.
fn expected_dates(
    species: &Species,
    milestone: Milestone,
    daily: &[DailySum],
    cap: NaiveDate,
) -> Option<ExpectedDates> {
    let end = daily.last()?;
    let recent = &daily[daily.len().checked_sub(PACE_DAYS)?..];
    let pace = recent.iter().map(|day| day.gain).sum::<f64>() / PACE_DAYS as f64;
    let threshold = species.threshold(milestone);
    let (low, high) = threshold
        .range
        .unwrap_or((threshold.value, threshold.value));
    let days_to = |target: f64| ((target - end.sum) / pace).ceil().max(1.0);
    let likely = days_to(threshold.value);
    if likely.is_nan() || likely > FARTHEST_AHEAD_DAYS {
        return None;
    }
    let on = |days: f64| {
        // Far beyond any season, and safely within the calendar.
        let date = end.date + Days::new(days.min(400.0) as u64);
        if milestone == Milestone::WindowEnd {
            date.min(cap)
        } else {
            date
        }
    };
    Some(ExpectedDates {
        earliest: on(days_to(low)),
        likely: on(likely),
        latest: on(days_to(high)),
    })
}
