//! The days of one option, and what holds of it today.

use crate::domain::treatment::coverage::{Share, Window};
use crate::domain::treatment::need::Need;
use crate::domain::treatment::option::Purpose;
use crate::domain::treatment::plan::Planned;
use crate::report::DateRange;
use crate::report::words::{days, short_day, thousandths};
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
            range: one
                .in_time(today)
                .then(|| range(&one.option.name, window, today)),
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
    if !one.in_time(today) {
        let arrives = short_day(one.arrives(today));
        return format!("too late: half would be down about {arrives}");
    }
    let is_counted = matches!(need, Need::Curative { .. });
    let waits_for_count = one.purpose == Purpose::Curative && !is_counted;
    in_time(one.window, waits_for_count, today)
}

/// What holds today of an option that still has a day worth it.
fn in_time(window: Window, waits_for_count: bool, today: NaiveDate) -> String {
    match (waits_for_count, today < window.first) {
        (true, true) => "too early; and only after a count".to_owned(),
        (true, false) => "only after a count that calls for it".to_owned(),
        (false, true) => "too early".to_owned(),
        (false, false) => match (window.last - today).num_days() {
            0 => "today is the last day".to_owned(),
            left => format!("{} left", days(left)),
        },
    }
}

/// The days worth it, as far as they are drawn.
fn range(title: &str, window: Window, today: NaiveDate) -> DateRange {
    let from = window.first.max(today - Days::new(DAYS_DRAWN_BACK));
    DateRange {
        title: title.to_owned(),
        from,
        middle: Some(window.best).filter(|best| *best >= from),
        to: window.last,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn window() -> Window {
        Window {
            first: day("2026-05-10"),
            best: day("2026-06-01"),
            last: day("2026-07-20"),
        }
    }

    #[test]
    fn days_left_are_counted_to_the_last_day_worth_it() {
        let now = |today| in_time(window(), false, day(today));
        assert_eq!(now("2026-05-09"), "too early");
        assert_eq!(now("2026-05-10"), "71 days left");
        assert_eq!(now("2026-07-19"), "1 day left");
        assert_eq!(now("2026-07-20"), "today is the last day");
    }

    #[test]
    fn a_curative_waits_for_a_count_that_calls_for_it() {
        let now = |today| in_time(window(), true, day(today));
        assert_eq!(now("2026-05-09"), "too early; and only after a count");
        assert_eq!(now("2026-07-20"), "only after a count that calls for it");
    }

    #[test]
    fn a_drawing_leaves_out_days_long_past_and_a_best_day_among_them() {
        let drawn = range("carbaryl", window(), day("2026-06-20"));
        assert_eq!(drawn.from, day("2026-05-21"));
        assert_eq!(drawn.middle, Some(day("2026-06-01")));
        let later = range("carbaryl", window(), day("2026-07-10"));
        assert_eq!(later.from, day("2026-06-10"));
        assert_eq!(later.middle, None);
        assert_eq!(later.to, day("2026-07-20"));
    }

    fn meets_today(meets_today: Option<MetShare>) -> OptionPlan {
        OptionPlan {
            option: "carbaryl".to_owned(),
            name: "carbaryl".to_owned(),
            group: "1A".to_owned(),
            purpose: "curative",
            restricted: true,
            first: window().first,
            best: window().best,
            last: window().last,
            meets_today,
            meets_at_best: 0.98765,
            meets_at_best_left: 0.5,
            in_root_zone: day("2026-06-01"),
            too_late: false,
            now: String::new(),
            range: None,
        }
    }

    #[test]
    fn scripts_get_shares_in_thousandths_and_people_in_percent() {
        let share = MetShare {
            mean: 0.49461,
            low: 0.1,
            high: 0.99951,
        };
        let option = meets_today(Some(share));
        assert_eq!(option.meets_today_in_words(), "49 % (10-100)");
        assert_eq!(option.name_in_words(), "carbaryl*");
        let json = serde_json::to_value(&option).unwrap();
        assert_eq!(json["meets_today"]["mean"], 0.495);
        assert_eq!(json["meets_at_best"], 0.988);
        assert!(json.get("now").is_none());
        assert_eq!(meets_today(None).meets_today_in_words(), "nothing");
    }
}
