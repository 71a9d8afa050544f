//! The season as a drawing. Only shapes tell things apart, so that it can be printed in black.

use crate::report::season::{TimeLine, TimeLineMark};
use askama::Template;
use chrono::{Datelike, NaiveDate};

/// Width of the labels and of the whole drawing, and height of a row, in user units.
const LABELS: f64 = 190.0;
const WIDTH: f64 = 760.0;
const ROW: f64 = 22.0;
/// Height of the names of the months.
const HEAD: f64 = 22.0;

/// A time line with everything in its place.
#[derive(Template)]
#[template(path = "drawing.svg", config = "src/cli/season/askama.toml")]
pub(super) struct Drawing<'t> {
    title: &'t str,
    /// What it shows, in words.
    description: &'t str,
    height: f64,
    labels: f64,
    width: f64,
    months: Vec<(f64, String)>,
    rows: Vec<DrawnRow<'t>>,
}

/// A row of it.
struct DrawnRow<'t> {
    /// Height of its middle.
    y: f64,
    label: &'t str,
    is_heading: bool,
    shapes: Vec<Shape>,
}

/// What is drawn on a row.
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

impl<'t> Drawing<'t> {
    /// Places everything.
    pub(super) fn of(time_line: &'t TimeLine) -> Self {
        let scale = Scale {
            first: time_line.first,
            last: time_line.last,
        };
        let rows: Vec<DrawnRow<'t>> = time_line
            .rows
            .iter()
            .enumerate()
            .map(|(index, row)| DrawnRow {
                y: HEAD + ROW * (index as f64 + 0.5),
                label: &row.label,
                is_heading: row.is_heading,
                shapes: row
                    .marks
                    .iter()
                    .filter_map(|mark| scale.shape(mark))
                    .collect(),
            })
            .collect();
        Self {
            title: &time_line.title,
            description: &time_line.description,
            height: HEAD + ROW * rows.len() as f64 + 4.0,
            labels: LABELS,
            width: WIDTH,
            months: scale.months(),
            rows,
        }
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
    fn shape(&self, mark: &TimeLineMark) -> Option<Shape> {
        let (from, to) = mark.days();
        if to < self.first || from > self.last {
            return None;
        }
        let x = self.x(from);
        let width = rounded((self.x(to) - x).max(2.0));
        Some(match mark {
            TimeLineMark::Range(..) => Shape::Range { x, width },
            TimeLineMark::Hatching(..) | TimeLineMark::AtWork(..) => Shape::Span { x, width },
            TimeLineMark::Told(_) => Shape::Told { x },
            TimeLineMark::Likely(_) => Shape::Likely { x },
            TimeLineMark::Came(_) => Shape::Came { x },
            TimeLineMark::Spread(_) => Shape::Spread { x },
            TimeLineMark::Count(_, per_m2) => Shape::Count {
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
