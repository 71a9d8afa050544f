//! The season as a drawing: ranges told against the days that came, applications, counts. Only
//! shapes tell things apart, so that it can be printed in black.

use crate::domain::look_back::{Applied, LookBack, MilestoneReview, OfSpecies};
use askama::Template;
use chrono::{Datelike, Days, NaiveDate};

/// Days left free on both sides; what is at work for months is cut off there.
const MARGIN_DAYS: u64 = 14;

/// Width of the labels and of the whole drawing, and height of a row, in user units.
const LABELS: f64 = 190.0;
const WIDTH: f64 = 760.0;
const ROW: f64 = 22.0;
/// Height of the names of the months.
const HEAD: f64 = 22.0;

/// A drawing in the making.
#[derive(Template)]
#[template(path = "time_line.svg", config = "src/cli/season/askama.toml")]
pub(super) struct TimeLine {
    title: String,
    /// What it shows, in words.
    description: String,
    height: f64,
    labels: f64,
    width: f64,
    months: Vec<(f64, String)>,
    rows: Vec<TimeLineRow>,
}

/// A line of it.
struct TimeLineRow {
    /// Height of its middle.
    y: f64,
    label: String,
    is_heading: bool,
    shapes: Vec<Shape>,
}

/// What is drawn on a line.
enum Shape {
    /// A range that was told, from `x` on.
    Range { x: f64, width: f64 },
    /// The likely day of it.
    Likely { x: f64 },
    /// A day that came.
    Came { x: f64 },
    /// The day something was first told.
    Told { x: f64 },
    /// A time in which something goes on.
    Span { x: f64, width: f64 },
    /// A day on which something was spread.
    Spread { x: f64 },
    /// A count, with its mean.
    Count { x: f64, words: String },
}

/// What a line shows before it is placed.
struct TimeLineMark {
    label: String,
    is_heading: bool,
    marks: Vec<Mark>,
}

/// Something on a line, by its days.
enum Mark {
    Range(NaiveDate, NaiveDate),
    Likely(NaiveDate),
    Came(NaiveDate),
    Told(NaiveDate),
    Hatching(NaiveDate, NaiveDate),
    AtWork(NaiveDate, NaiveDate),
    Spread(NaiveDate),
    Count(NaiveDate, f64),
}

impl TimeLine {
    /// Draws a season; `None` if there is nothing to draw.
    pub(super) fn of(title: &str, season: &LookBack) -> Option<Self> {
        let lines = lines(season);
        let days = || lines.iter().flat_map(|line| &line.marks).map(Mark::days);
        let first = days().map(|(from, _)| from).min()? - Days::new(MARGIN_DAYS);
        let last = lines
            .iter()
            .flat_map(|line| &line.marks)
            .map(Mark::drawn_to)
            .max()?
            + Days::new(MARGIN_DAYS);
        let scale = Scale {
            first: first.max(season.season.start),
            last: last.min(season.season.end),
        };
        let rows: Vec<TimeLineRow> = lines
            .iter()
            .enumerate()
            .map(|(index, line)| TimeLineRow {
                y: HEAD + ROW * (index as f64 + 0.5),
                label: line.label.clone(),
                is_heading: line.is_heading,
                shapes: line
                    .marks
                    .iter()
                    .filter_map(|mark| scale.shape(mark))
                    .collect(),
            })
            .collect();
        Some(Self {
            title: format!("Time line of {title}"),
            description: lines
                .iter()
                .filter_map(TimeLineMark::in_words)
                .collect::<Vec<_>>()
                .join(" "),
            height: HEAD + ROW * rows.len() as f64 + 4.0,
            labels: LABELS,
            width: WIDTH,
            months: scale.months(),
            rows,
        })
    }
}

/// Which days lie where.
struct Scale {
    first: NaiveDate,
    last: NaiveDate,
}

impl Scale {
    /// Where the beginning of a day lies.
    fn x(&self, day: NaiveDate) -> f64 {
        let length = ((self.last - self.first).num_days() + 1).max(1) as f64;
        let passed = (day.clamp(self.first, self.last) - self.first).num_days() as f64;
        rounded(LABELS + (WIDTH - LABELS) * passed / length)
    }

    fn holds(&self, day: NaiveDate) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// A mark in its place; `None` if it lies outside.
    fn shape(&self, mark: &Mark) -> Option<Shape> {
        let (from, to) = mark.days();
        if to < self.first || from > self.last {
            return None;
        }
        let x = self.x(from);
        let width = rounded((self.x(to) - x).max(2.0));
        Some(match mark {
            Mark::Range(..) => Shape::Range { x, width },
            Mark::Hatching(..) | Mark::AtWork(..) => Shape::Span { x, width },
            Mark::Told(_) => Shape::Told { x },
            Mark::Likely(_) => Shape::Likely { x },
            Mark::Came(_) => Shape::Came { x },
            Mark::Spread(_) => Shape::Spread { x },
            Mark::Count(_, per_m2) => Shape::Count {
                x,
                words: format!("{per_m2:.0}"),
            },
        })
    }

    /// The first days of months with their names.
    fn months(&self) -> Vec<(f64, String)> {
        self.first
            .iter_days()
            .take_while(|day| self.holds(*day))
            .filter(|day| day.day() == 1)
            .map(|day| (self.x(day), day.format("%b").to_string()))
            .collect()
    }
}

fn rounded(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}

impl Mark {
    fn days(&self) -> (NaiveDate, NaiveDate) {
        match *self {
            Mark::Range(from, to) | Mark::Hatching(from, to) | Mark::AtWork(from, to) => (from, to),
            Mark::Likely(on) | Mark::Came(on) | Mark::Told(on) => (on, on),
            Mark::Spread(on) | Mark::Count(on, _) => (on, on),
        }
    }

    /// The last day that the drawing has to reach for it.
    fn drawn_to(&self) -> NaiveDate {
        match *self {
            Mark::AtWork(from, _) => from,
            _ => self.days().1,
        }
    }

    fn in_words(&self) -> String {
        let short = |day: NaiveDate| day.format("%-d %B").to_string();
        match *self {
            Mark::Range(from, to) => format!("range told {} to {}", short(from), short(to)),
            Mark::Told(on) => format!("first told on {}", short(on)),
            Mark::Likely(on) => format!("likely {}", short(on)),
            Mark::Came(on) => format!("came {}", short(on)),
            Mark::Hatching(from, to) => format!("{} to {}", short(from), short(to)),
            Mark::AtWork(from, to) => format!("at work {} to {}", short(from), short(to)),
            Mark::Spread(on) => format!("spread {}", short(on)),
            Mark::Count(on, per_m2) => format!("{} {per_m2:.0} per m²", short(on)),
        }
    }
}

impl TimeLineMark {
    fn in_words(&self) -> Option<String> {
        if self.is_heading {
            return Some(format!("{}:", self.label));
        }
        let marks: Vec<String> = self.marks.iter().map(Mark::in_words).collect();
        (!marks.is_empty()).then(|| format!("{}: {}.", self.label, marks.join(", ")))
    }
}

fn lines(season: &LookBack) -> Vec<TimeLineMark> {
    let mut lines: Vec<TimeLineMark> = season
        .species
        .iter()
        .flat_map(|species| of_species(species, season))
        .collect();
    if !season.applied.is_empty() {
        lines.push(heading("Applied, and at work"));
        lines.extend(season.applied.iter().map(application));
    }
    lines
}

fn heading(label: &str) -> TimeLineMark {
    TimeLineMark {
        label: label.to_owned(),
        is_heading: true,
        marks: Vec::new(),
    }
}

fn of_species(species: &OfSpecies, season: &LookBack) -> Vec<TimeLineMark> {
    let mut lines = vec![heading(&species.name)];
    lines.extend(species.milestones.iter().filter_map(milestone));
    if let Ok(span) = &species.hatch {
        let end = span.most.unwrap_or(season.through).max(span.half);
        lines.push(TimeLineMark {
            label: "larvae hatching".to_owned(),
            is_heading: false,
            marks: vec![Mark::Hatching(span.first, end)],
        });
    }
    let counts: Vec<Mark> = species
        .counts
        .all
        .iter()
        .filter(|one| (season.season.start..=season.season.end).contains(&one.day))
        .map(|one| Mark::Count(one.day, one.reading.mean_per_m2))
        .collect();
    if !counts.is_empty() {
        lines.push(TimeLineMark {
            label: "counts, per m²".to_owned(),
            is_heading: false,
            marks: counts,
        });
    }
    lines
}

fn milestone(one: &MilestoneReview) -> Option<TimeLineMark> {
    let mut marks = Vec::new();
    if let Some(first) = one.first() {
        if let (Some(early), Some(late)) = (first.early, first.late) {
            marks.push(Mark::Range(early, late));
        }
        marks.push(Mark::Likely(first.likely));
        marks.push(Mark::Told(first.told_on));
    }
    marks.extend(one.came.map(Mark::Came));
    (!marks.is_empty()).then(|| TimeLineMark {
        label: one.milestone.short_title().to_owned(),
        is_heading: false,
        marks,
    })
}

fn application(one: &Applied) -> TimeLineMark {
    let mut marks = Vec::new();
    marks.extend(one.active.map(|(from, to)| Mark::AtWork(from, to)));
    marks.push(Mark::Spread(one.day));
    TimeLineMark {
        label: one.name.clone(),
        is_heading: false,
        marks,
    }
}
