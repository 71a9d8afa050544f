//! The days of one option, and what holds of it today.

use crate::domain::treatment::coverage::Share;
use crate::domain::treatment::need::Need;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::plan::Planned;
use crate::report::DateRange;
use crate::report::words::{counted, short_day, thousandths};
use chrono::{Days, NaiveDate};
use serde::{Serialize, Serializer};

/// Days before today that a drawing goes back.
const DAYS_DRAWN_BACK: u64 = 30;

/// The days of one option.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OptionPlan {
    /// The option's id.
    pub option: String,
    /// The option's name.
    #[serde(skip)]
    pub name: String,
    /// The group of active ingredients.
    pub group: String,
    /// What it would be spread for here.
    pub purpose: &'static str,
    /// Whether it is restricted or forbidden in many places.
    pub restricted: bool,
    /// The first day worth it.
    pub first: NaiveDate,
    /// The best day.
    pub best: NaiveDate,
    /// The last day worth it.
    pub last: NaiveDate,
    /// Share of the hatching larvae met by an application of today.
    pub meets_today: Option<MetShare>,
    /// The same of the best day.
    #[serde(serialize_with = "in_thousandths")]
    pub meets_at_best: f64,
    /// The same of the best day left.
    #[serde(serialize_with = "in_thousandths")]
    pub meets_at_best_left: f64,
    /// When half of an application of today is in the root zone.
    pub in_root_zone: NaiveDate,
    /// Whether no day worth it is left.
    pub too_late: bool,
    /// What holds today.
    #[serde(skip)]
    pub now: String,
    /// The days worth it, to be drawn; `None` if they are over.
    #[serde(skip)]
    pub range: Option<DateRange>,
}

/// A share of the hatching larvae, 0 to 1, with its range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MetShare {
    /// Mean.
    #[serde(serialize_with = "in_thousandths")]
    pub mean: f64,
    /// Low end.
    #[serde(serialize_with = "in_thousandths")]
    pub low: f64,
    /// High end.
    #[serde(serialize_with = "in_thousandths")]
    pub high: f64,
}

fn in_thousandths<S: Serializer>(share: &f64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(thousandths(*share))
}

impl OptionPlan {
    pub(super) fn of(one: &Planned<'_>, need: &Need, today: NaiveDate) -> Self {
        let window = one.window;
        let meets_today = one.coverage.on(today);
        Self {
            option: one.option.id.clone(),
            name: one.option.name.clone(),
            group: one.option.group.clone(),
            purpose: one.purpose.name(),
            restricted: one.option.restricted,
            first: window.first,
            best: window.best,
            last: window.last,
            meets_today: meets_today.map(|Share { mean, low, high }| MetShare { mean, low, high }),
            meets_at_best: one.met_on(window.best),
            meets_at_best_left: one.still(today),
            in_root_zone: one.arrives(today),
            too_late: !one.in_time(today),
            now: now(one, need, today),
            range: range(one, today),
        }
    }

    /// Its name; a star marks what is restricted.
    pub fn name_in_words(&self) -> String {
        let mark = if self.restricted { "*" } else { "" };
        format!("{}{mark}", self.name)
    }

    /// What an application of today would meet.
    pub fn meets_today_in_words(&self) -> String {
        self.meets_today.map_or("nothing".to_owned(), |share| {
            format!(
                "{:.0} % ({:.0}-{:.0})",
                share.mean * 100.0,
                share.low * 100.0,
                share.high * 100.0
            )
        })
    }
}

/// What holds today.
fn now(one: &Planned<'_>, need: &Need, today: NaiveDate) -> String {
    let window = one.window;
    let is_counted = matches!(need, Need::Curative { .. });
    let curative = one.purpose == Purpose::Curative && !is_counted;
    if !one.in_time(today) {
        let arrives = one.arrives(today);
        return format!("too late: half would be down about {}", short_day(arrives));
    }
    match (curative, today < window.first) {
        (true, true) => "too early; and only after a count".to_owned(),
        (true, false) => "only after a count that calls for it".to_owned(),
        (false, true) => "too early".to_owned(),
        (false, false) => match (window.last - today).num_days() {
            0 => "today is the last day".to_owned(),
            days => format!("{} left", counted(days as usize, "day")),
        },
    }
}

fn range(one: &Planned<'_>, today: NaiveDate) -> Option<DateRange> {
    let window = one.window;
    let from = window.first.max(today - Days::new(DAYS_DRAWN_BACK));
    one.in_time(today).then(|| DateRange {
        title: one.option.name.clone(),
        from,
        middle: Some(window.best).filter(|best| *best >= from),
        to: window.last,
    })
}
