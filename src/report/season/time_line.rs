//! The season as rows of marks on days: ranges told against the days that came, applications,
//! counts. Where a day lies on paper is left to whoever draws it.

use crate::domain::look_back::{Applied, LookBack, MilestoneReview, OfSpecies};
use crate::domain::notation::Notation;
use chrono::{Days, NaiveDate};

/// Days left free on both sides; what is at work for months is cut off there.
const MARGIN_DAYS: u64 = 14;

/// A season to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeLine {
    /// What it is.
    pub title: String,
    /// What it shows, in words.
    pub description: String,
    /// The first day drawn.
    pub first: NaiveDate,
    /// The last day drawn.
    pub last: NaiveDate,
    /// Its rows, from top to bottom.
    pub rows: Vec<TimeLineRow>,
}

/// A row of a time line.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeLineRow {
    /// What stands before it.
    pub label: String,
    /// Whether it is a heading, without marks.
    pub is_heading: bool,
    /// What lies on it.
    pub marks: Vec<TimeLineMark>,
}

/// Something on a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TimeLineMark {
    /// A range that was told.
    Range(NaiveDate, NaiveDate),
    /// The likely day that was told.
    Likely(NaiveDate),
    /// The day that came.
    Came(NaiveDate),
    /// The day something was first told.
    Told(NaiveDate),
    /// Days on which larvae hatch.
    Hatching(NaiveDate, NaiveDate),
    /// Days on which an application is at work in the root zone.
    AtWork(NaiveDate, NaiveDate),
    /// The day it was spread.
    Spread(NaiveDate),
    /// A count with its mean, per m².
    Count(NaiveDate, f64),
}

impl TimeLine {
    /// The time line of a season; `None` if there is nothing to draw.
    pub(super) fn of(title: &str, season: &LookBack, notation: &Notation) -> Option<Self> {
        let rows = rows(season);
        let marks = || rows.iter().flat_map(|row| &row.marks);
        let first = marks().map(|mark| mark.days().0).min()? - Days::new(MARGIN_DAYS);
        let last = marks().map(TimeLineMark::drawn_to).max()? + Days::new(MARGIN_DAYS);
        let described: Vec<String> = rows
            .iter()
            .filter_map(|row| row.in_words(notation))
            .collect();
        Some(Self {
            title: format!("Time line of {title}"),
            description: described.join(" "),
            first: first.max(season.season.start),
            last: last.min(season.season.end),
            rows,
        })
    }
}

impl TimeLineMark {
    /// Its first and its last day.
    pub fn days(&self) -> (NaiveDate, NaiveDate) {
        match *self {
            Self::Range(from, to) | Self::Hatching(from, to) | Self::AtWork(from, to) => (from, to),
            Self::Likely(on) | Self::Came(on) | Self::Told(on) => (on, on),
            Self::Spread(on) | Self::Count(on, _) => (on, on),
        }
    }

    /// The last day that the drawing has to reach for it.
    fn drawn_to(&self) -> NaiveDate {
        match *self {
            Self::AtWork(from, _) => from,
            _ => self.days().1,
        }
    }

    fn in_words(&self, notation: &Notation) -> String {
        match *self {
            Self::Range(from, to) => {
                format!("range told {} to {}", notation.day(from), notation.day(to))
            }
            Self::Told(on) => format!("first told on {}", notation.day(on)),
            Self::Likely(on) => format!("likely {}", notation.day(on)),
            Self::Came(on) => format!("came {}", notation.day(on)),
            Self::Hatching(from, to) => format!("{} to {}", notation.day(from), notation.day(to)),
            Self::AtWork(from, to) => {
                format!("at work {} to {}", notation.day(from), notation.day(to))
            }
            Self::Spread(on) => format!("spread {}", notation.day(on)),
            Self::Count(on, per_m2) => {
                format!("{} {}", notation.day(on), notation.density(per_m2))
            }
        }
    }
}

impl TimeLineRow {
    fn in_words(&self, notation: &Notation) -> Option<String> {
        if self.is_heading {
            return Some(format!("{}:", self.label));
        }
        let marks: Vec<String> = self
            .marks
            .iter()
            .map(|mark| mark.in_words(notation))
            .collect();
        (!marks.is_empty()).then(|| format!("{}: {}.", self.label, marks.join(", ")))
    }
}

fn rows(season: &LookBack) -> Vec<TimeLineRow> {
    let mut rows: Vec<TimeLineRow> = season
        .species
        .iter()
        .flat_map(|species| of_species(species, season))
        .collect();
    if !season.applied.is_empty() {
        rows.push(heading("Applied, and at work"));
        rows.extend(season.applied.iter().map(application));
    }
    rows
}

fn heading(label: &str) -> TimeLineRow {
    TimeLineRow {
        label: label.to_owned(),
        is_heading: true,
        marks: Vec::new(),
    }
}

fn of_species(species: &OfSpecies, season: &LookBack) -> Vec<TimeLineRow> {
    let mut rows = vec![heading(&species.name)];
    rows.extend(species.milestones.iter().filter_map(milestone));
    if let Ok(span) = &species.hatch {
        let end = span.most.unwrap_or(season.through).max(span.half);
        rows.push(TimeLineRow {
            label: "larvae hatching".to_owned(),
            is_heading: false,
            marks: vec![TimeLineMark::Hatching(span.first, end)],
        });
    }
    let counts: Vec<TimeLineMark> = species
        .counts
        .all
        .iter()
        .filter(|one| (season.season.start..=season.season.end).contains(&one.day))
        .map(|one| TimeLineMark::Count(one.day, one.reading.mean_per_m2))
        .collect();
    if !counts.is_empty() {
        rows.push(TimeLineRow {
            label: "counts".to_owned(),
            is_heading: false,
            marks: counts,
        });
    }
    rows
}

fn milestone(one: &MilestoneReview) -> Option<TimeLineRow> {
    let mut marks = Vec::new();
    if let Some(first) = one.first() {
        if let (Some(early), Some(late)) = (first.early, first.late) {
            marks.push(TimeLineMark::Range(early, late));
        }
        marks.push(TimeLineMark::Likely(first.likely));
        marks.push(TimeLineMark::Told(first.told_on));
    }
    marks.extend(one.came.map(TimeLineMark::Came));
    (!marks.is_empty()).then(|| TimeLineRow {
        label: one.milestone.short_title().to_owned(),
        is_heading: false,
        marks,
    })
}

fn application(one: &Applied) -> TimeLineRow {
    let mut marks = Vec::new();
    marks.extend(one.active.map(|(from, to)| TimeLineMark::AtWork(from, to)));
    marks.push(TimeLineMark::Spread(one.day));
    TimeLineRow {
        label: one.name.clone(),
        is_heading: false,
        marks,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::phenology::season::{MonthDay, Season};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn spread(active_to: &str) -> Applied {
        Applied {
            number: 1,
            day: day("2026-06-20"),
            option: "clothianidin".to_owned(),
            name: "Clothianidin".to_owned(),
            purpose: None,
            area: "45 m2".parse().unwrap(),
            rate: None,
            share_of_site: None,
            watering: None,
            active: Some((day("2026-06-01"), day(active_to))),
            met: Vec::new(),
            counted_before: false,
        }
    }

    fn season(applied: Vec<Applied>) -> LookBack {
        LookBack {
            season: Season::starting_in(2026, MonthDay::parse("01-01").unwrap()),
            through: day("2026-12-31"),
            is_over: true,
            species: Vec::new(),
            told: Vec::new(),
            applied,
            irrigation: (0.0, 0),
            damage: Vec::new(),
        }
    }

    #[test]
    fn what_is_at_work_for_months_does_not_stretch_the_drawing() {
        let line = TimeLine::of(
            "Lawn",
            &season(vec![spread("2027-04-01")]),
            &Notation::default(),
        )
        .unwrap();
        assert_eq!(line.first, day("2026-05-18"));
        assert_eq!(line.last, day("2026-07-04"));
        assert_eq!(
            line.description,
            "Applied, and at work: Clothianidin: at work 1 June to 1 April, spread 20 June."
        );
    }

    #[test]
    fn a_season_without_marks_is_not_drawn() {
        assert_eq!(
            TimeLine::of("Lawn", &season(Vec::new()), &Notation::default()),
            None
        );
    }
}
