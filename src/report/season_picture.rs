//! The season of a species at a site as a picture: its sum sinks through the layers of the milestones,
//! beside what is usual there. Where a day or a sum lies on paper is left to whoever draws it.

use super::outlook::{GradedThreshold, MilestoneDates, SpeciesOutlook};
use super::words::counted;
use crate::config::Config;
use crate::cycle::season_courses;
use crate::domain::notation::Notation;
use crate::domain::phenology::season_course::SeasonCourse;
use crate::store::{Store, StoreError};
use chrono::NaiveDate;

/// The season of a species at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonPicture {
    /// The species' id.
    pub species: String,
    /// What it is.
    pub title: String,
    /// What it shows, in words, for those who do not see it.
    pub description: String,
    /// How the season stands against the usual one.
    pub against_usual: Option<String>,
    /// The first day drawn.
    pub first: NaiveDate,
    /// The last day drawn.
    pub last: NaiveDate,
    /// The day that is shown.
    pub today: NaiveDate,
    /// The sums.
    pub course: SeasonCourse,
    /// The milestones, from the top down.
    pub strata: Vec<Stratum>,
}

impl SeasonPicture {
    /// Whether there is a sum to be drawn.
    pub fn has_sum(&self) -> bool {
        !self.course.so_far.is_empty()
    }
}

/// A milestone as a layer: the sum at which it comes, and its days.
#[derive(Debug, Clone, PartialEq)]
pub struct Stratum {
    /// What it is called where space is short.
    pub title: &'static str,
    /// The sum at which it comes.
    pub threshold: GradedThreshold,
    /// The same in words, with its unit.
    pub sum: String,
    /// When it came or is likely.
    pub dates: MilestoneDates,
    /// The same in words.
    pub when: String,
}

/// Days drawn before the first day on which anything warms and after the last range.
const MARGIN_DAYS: u64 = 10;

/// The sum from which the drawing begins, °C·d: before it there is nothing to see.
const FIRST_SUM: f64 = 20.0;

impl SeasonPicture {
    /// The season of each species of a site, as seen on `today`.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_site(
        config: &Config,
        store: &Store,
        site: &str,
        today: NaiveDate,
    ) -> Result<Vec<Self>, StoreError> {
        Self::of_site_for(config, store, site, today, &config.service.notation)
    }

    /// The same for a reader who wants numbers and dates written in their way.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of_site_for(
        config: &Config,
        store: &Store,
        site: &str,
        today: NaiveDate,
        notation: &Notation,
    ) -> Result<Vec<Self>, StoreError> {
        let forecast = None;
        let courses = season_courses(config, store, site, today)?;
        let made = courses.into_iter().map(|(here, course)| {
            let outlook = SpeciesOutlook::of(&here, forecast, notation);
            Self::of(&outlook, course, today, notation)
        });
        Ok(made.collect())
    }

    pub(super) fn of(
        outlook: &SpeciesOutlook,
        course: SeasonCourse,
        today: NaiveDate,
        notation: &Notation,
    ) -> Self {
        let strata: Vec<Stratum> = outlook
            .milestones
            .iter()
            .map(|one| Stratum {
                title: one.title,
                threshold: one.threshold,
                sum: notation.degree_days(one.threshold.value),
                dates: one.dates,
                when: when(&one.dates, notation),
            })
            .collect();
        let (first, last) = span(outlook, &course);
        let against_usual = against_usual(&course);
        let title = format!("{}, season {}", outlook.name, outlook.season_name);
        Self {
            species: outlook.species.clone(),
            description: description(outlook, &strata, against_usual.as_deref(), notation),
            title,
            against_usual,
            first,
            last,
            today,
            course,
            strata,
        }
    }
}

/// The days drawn: from the first warmth to the end of the last range.
fn span(outlook: &SpeciesOutlook, course: &SeasonCourse) -> (NaiveDate, NaiveDate) {
    let on = |place: usize| course.start + chrono::Days::new(place as u64);
    let warm = course.so_far.iter().position(|sum| *sum >= FIRST_SUM);
    let usually = course
        .usual
        .iter()
        .position(|usual| usual.high >= FIRST_SUM);
    let first = warm
        .into_iter()
        .chain(usually)
        .min()
        .map_or(course.start, on);
    let ranges = outlook.ranges();
    let last = ranges.iter().map(|range| range.to).max();
    let newest = on(course.so_far.len());
    let last = last.unwrap_or(outlook.season_end).max(newest);
    let margin = chrono::Days::new(MARGIN_DAYS);
    (
        (first - margin).max(course.start),
        (last + margin).min(outlook.season_end),
    )
}

fn against_usual(course: &SeasonCourse) -> Option<String> {
    let seasons = counted(course.past_seasons, "past season");
    let days = |count: i64| counted(count.unsigned_abs() as usize, "day");
    Some(match course.days_ahead()? {
        0 => format!("as far as usual in {seasons}"),
        ahead @ 1.. => format!("{} ahead of the middle of {seasons}", days(ahead)),
        behind => format!("{} behind the middle of {seasons}", days(behind)),
    })
}

fn when(dates: &MilestoneDates, notation: &Notation) -> String {
    match dates {
        MilestoneDates::Passed { on, by_calendar } => {
            let mark = if *by_calendar {
                ", by the calendar"
            } else {
                ""
            };
            format!("came {}{mark}", notation.short_day(*on))
        }
        MilestoneDates::Ahead(outlook) => {
            let day = |day: Option<NaiveDate>| {
                day.map_or("later".to_owned(), |day| notation.short_day(day))
            };
            format!(
                "{} to {}, likely {}",
                day(outlook.early),
                day(outlook.late),
                day(outlook.likely)
            )
        }
        MilestoneDates::AheadWithoutDates => "no dates yet".to_owned(),
        MilestoneDates::NotThisSeason => "not this season".to_owned(),
        MilestoneDates::NotKnown => "not known".to_owned(),
    }
}

fn description(
    outlook: &SpeciesOutlook,
    strata: &[Stratum],
    against_usual: Option<&str>,
    notation: &Notation,
) -> String {
    let mut words = vec![format!(
        "{} so far, {}{}.",
        notation.degree_days(outlook.degree_days),
        outlook.data_in_words(),
        against_usual.map_or(String::new(), |words| format!(", {words}")),
    )];
    let layers = strata
        .iter()
        .map(|layer| format!("{} at {}: {}.", layer.title, layer.sum, layer.when));
    words.extend(layers);
    words.join(" ")
}
