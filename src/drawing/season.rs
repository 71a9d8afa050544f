//! A season: days run to the right, and the sum sinks through the ground.

use crate::report::outlook::MilestoneDates;
use crate::report::season_picture::{SeasonPicture, Stratum};
use askama::Template;
use chrono::{Datelike, Days, NaiveDate};
use std::fmt::Write;

/// Width and height, and the height of the ground's surface, in user units: as many as a narrow phone
/// has pixels.
const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 252.0;
const SURFACE: f64 = 34.0;
/// Space below the deepest layer.
const FOOT: f64 = 16.0;

/// A season with everything in its place.
#[derive(Template)]
#[template(path = "season.svg", config = "src/drawing/askama.toml")]
pub struct SeasonDrawing<'p> {
    /// What tells its ids from those of others on the same page.
    id: &'p str,
    title: &'p str,
    description: &'p str,
    width: f64,
    height: f64,
    surface: f64,
    today: Option<f64>,
    months: Vec<(f64, String)>,
    layers: Vec<DrawnLayer<'p>>,
    usual: String,
    median: String,
    so_far: String,
    tip: Option<(f64, f64)>,
}

/// A milestone's layer.
struct DrawnLayer<'p> {
    title: &'p str,
    /// Which one, for its colour.
    number: usize,
    /// Where its sum lies.
    y: f64,
    /// Whether its name stands on the right, because another's stands on the left.
    is_right: bool,
    /// Its own range.
    top: f64,
    depth: f64,
    /// Its days at the surface: from, to, likely.
    range: Option<(f64, f64, Option<f64>)>,
    /// The day it came.
    came: Option<f64>,
}

impl<'p> SeasonDrawing<'p> {
    /// Places everything.
    pub fn of(picture: &'p SeasonPicture) -> Self {
        let scale = SeasonScale::of(picture);
        let band = || {
            let usual = picture.course.usual.iter().enumerate();
            usual.filter(|(place, _)| scale.holds(scale.day(*place)))
        };
        let mut usual = Path::default();
        for (place, one) in band() {
            usual.to(scale.x(scale.day(place)), scale.y(one.low));
        }
        for (place, one) in band().collect::<Vec<_>>().into_iter().rev() {
            usual.to(scale.x(scale.day(place)), scale.y(one.high));
        }
        let mut median = Path::default();
        for (place, one) in band() {
            median.to(scale.x(scale.day(place)), scale.y(one.median));
        }
        let mut so_far = Path::default();
        let mut tip = None;
        for (place, sum) in picture.course.so_far.iter().enumerate() {
            if scale.holds(scale.day(place)) {
                let at = (scale.x(scale.day(place)), scale.y(*sum));
                so_far.to(at.0, at.1);
                tip = Some(at);
            }
        }
        let mut layers: Vec<DrawnLayer<'p>> = picture
            .strata
            .iter()
            .enumerate()
            .map(|(number, stratum)| scale.layer(number, stratum))
            .collect();
        keep_names_apart(&mut layers);
        Self {
            id: &picture.species,
            title: &picture.title,
            description: &picture.description,
            width: WIDTH,
            height: HEIGHT,
            surface: SURFACE,
            today: scale.holds(picture.today).then(|| scale.x(picture.today)),
            months: scale.months(),
            layers,
            usual: usual.0,
            median: median.0,
            so_far: so_far.0,
            tip,
        }
    }
}

/// Names so near to each other would be printed over one another on a phone, where they are large.
const NAME_HEIGHT: f64 = 20.0;

/// A month's name needs so much room; where there is less it is left out.
const MONTH_WIDTH: f64 = 38.0;

fn keep_names_apart(layers: &mut [DrawnLayer<'_>]) {
    for place in 1..layers.len() {
        let before = &layers[place - 1];
        let is_near = layers[place].y - before.y < NAME_HEIGHT;
        layers[place].is_right = is_near && !before.is_right;
    }
}

/// Points joined by lines, as SVG writes them.
#[derive(Default)]
struct Path(String);

impl Path {
    fn to(&mut self, x: f64, y: f64) {
        let command = if self.0.is_empty() { 'M' } else { 'L' };
        // Writing to a string cannot fail.
        let _ = write!(self.0, "{command}{x} {y}");
    }
}

/// Which days and sums lie where.
struct SeasonScale {
    start: NaiveDate,
    first: NaiveDate,
    last: NaiveDate,
    deepest: f64,
}

impl SeasonScale {
    fn of(picture: &SeasonPicture) -> Self {
        let deepest = picture.strata.iter().map(|layer| {
            let threshold = layer.threshold;
            threshold.high.unwrap_or(threshold.value)
        });
        Self {
            start: picture.course.start,
            first: picture.first,
            last: picture.last,
            deepest: deepest.fold(100.0, f64::max),
        }
    }

    /// The day at a place of the course.
    fn day(&self, place: usize) -> NaiveDate {
        self.start + Days::new(place as u64)
    }

    fn holds(&self, day: NaiveDate) -> bool {
        (self.first..=self.last).contains(&day)
    }

    fn x(&self, day: NaiveDate) -> f64 {
        let length = (self.last - self.first).num_days().max(1) as f64;
        let passed = (day.clamp(self.first, self.last) - self.first).num_days() as f64;
        rounded(WIDTH * passed / length)
    }

    fn y(&self, sum: f64) -> f64 {
        let room = HEIGHT - SURFACE - FOOT;
        rounded((SURFACE + room * sum / self.deepest).min(HEIGHT))
    }

    fn layer<'p>(&self, number: usize, stratum: &'p Stratum) -> DrawnLayer<'p> {
        let threshold = stratum.threshold;
        let top = self.y(threshold.low.unwrap_or(threshold.value));
        let bottom = self.y(threshold.high.unwrap_or(threshold.value));
        let (mut range, mut came) = (None, None);
        match stratum.dates {
            MilestoneDates::Passed { on, .. } if self.holds(on) => came = Some(self.x(on)),
            MilestoneDates::Ahead(outlook) => {
                if let Some(early) = outlook.early {
                    let from = self.x(early);
                    let to = self.x(outlook.late.unwrap_or(self.last));
                    let likely = outlook.likely.map(|day| self.x(day));
                    range = Some((from, rounded((to - from).max(2.0)), likely));
                }
            }
            _ => {}
        }
        DrawnLayer {
            title: stratum.title,
            number,
            y: self.y(threshold.value),
            is_right: false,
            top,
            depth: rounded((bottom - top).max(1.0)),
            range,
            came,
        }
    }

    /// The first days of months with their names.
    fn months(&self) -> Vec<(f64, String)> {
        self.first
            .iter_days()
            .take_while(|day| self.holds(*day))
            .filter(|day| day.day() == 1)
            .map(|day| {
                let x = self.x(day);
                let fits = x <= WIDTH - MONTH_WIDTH;
                let name = fits.then(|| day.format("%b").to_string());
                (x, name.unwrap_or_default())
            })
            .collect()
    }
}

fn rounded(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
