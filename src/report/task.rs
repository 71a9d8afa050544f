//! What can be done with a task: logged as done by a form, or put off for some days.

use super::week::Task;
use crate::domain::notation::Notation;
use crate::store::postponements::Postponement;
use chrono::{Days, NaiveDate};

/// The most days that a task can be put off by. A choice: a season's windows are weeks.
pub const MOST_DAYS: u32 = 30;

/// Days that a task is put off by if nothing else is said. A choice.
pub const USUAL_DAYS: u32 = 3;

/// Why a task is not put off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPutOff {
    /// Not so many days.
    #[error("put it off by 1 to {MOST_DAYS} days")]
    Days,
    /// It is the last day.
    #[error("today is the last day for it, so it cannot be put off")]
    LastDay,
    /// Its last day comes before.
    #[error("the last day for it is {by}: put it off by at most {most} days, or log it as done")]
    TooLong {
        /// The last day for it.
        by: NaiveDate,
        /// The most days it can be put off by.
        most: i64,
    },
}

/// The day on which a task is shown again that is put off by so many days. What is overdue already can
/// be put off too.
///
/// # Errors
/// [`NotPutOff`].
pub fn put_off_until(
    today: NaiveDate,
    days: u32,
    by: Option<NaiveDate>,
) -> Result<NaiveDate, NotPutOff> {
    if !(1..=MOST_DAYS).contains(&days) {
        return Err(NotPutOff::Days);
    }
    let until = today + Days::new(u64::from(days));
    match by {
        Some(by) if by == today => Err(NotPutOff::LastDay),
        Some(by) if (today..until).contains(&by) => Err(NotPutOff::TooLong {
            by,
            most: (by - today).num_days(),
        }),
        _ => Ok(until),
    }
}

/// The most days that a task can be put off by, so that it is shown again on its last day; none on that day.
pub fn most_days(today: NaiveDate, by: Option<NaiveDate>) -> u32 {
    let left = by.map(|by| (by - today).num_days());
    let left = left.filter(|left| *left >= 0);
    left.and_then(|left| u32::try_from(left).ok())
        .map_or(MOST_DAYS, |left| left.min(MOST_DAYS))
}

/// Why a task is not offered to be put off on its last day.
pub const LAST_DAY: &str = "Today is the last day for it: it cannot be put off.";

/// "put off until 12 June: apply imidacloprid by 13 July".
pub fn put_off_words(task: &str, until: NaiveDate, notation: &Notation) -> String {
    format!("put off until {}: {task}", notation.short_day(until))
}

/// The form that logs a task as done, by its name; `None` if there is nothing to log.
pub fn form_of(what: &str) -> Option<&'static str> {
    match what {
        "water" | "water-overdue" => Some("water"),
        "apply" | "last-week" => Some("application"),
        "count" => Some("count"),
        _ => None,
    }
}

impl Task {
    /// The form that logs it as done, by its name.
    pub fn form(&self) -> Option<&'static str> {
        form_of(self.what)
    }

    /// The most days that it can be put off by.
    pub fn most_days(&self, today: NaiveDate) -> u32 {
        most_days(today, self.by)
    }

    /// Days that it is put off by if nothing else is said.
    pub fn usual_days(&self, today: NaiveDate) -> u32 {
        USUAL_DAYS.min(self.most_days(today))
    }
}

/// That of a site's task that it is put off until.
pub fn until_of(
    put_off: &[Postponement],
    site: &str,
    what: &str,
    option: Option<&str>,
) -> Option<NaiveDate> {
    let found = put_off
        .iter()
        .find(|one| one.site == site && one.task == what && one.option == option.unwrap_or(""));
    found.map(|one| one.until)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn every_number_of_days_that_is_offered_is_taken_and_none_is_offered_on_the_last_day() {
        let today = day("2026-06-10");
        for by in [
            "2026-06-08",
            "2026-06-10",
            "2026-06-11",
            "2026-06-13",
            "2026-09-01",
        ] {
            let by = Some(day(by));
            let most = most_days(today, by);
            for days in 1..=most {
                assert!(put_off_until(today, days, by).is_ok(), "{by:?} {days}");
            }
            assert!(put_off_until(today, most + 1, by).is_err(), "{by:?} {most}");
        }
        assert_eq!(most_days(today, Some(today)), 0);
        assert_eq!(most_days(today, None), MOST_DAYS);
    }

    #[test]
    fn a_task_is_shown_again_on_its_last_day_at_the_latest() {
        let today = day("2026-06-10");
        let until = |days, by: &str| put_off_until(today, days, Some(day(by)));
        assert_eq!(until(3, "2026-06-13"), Ok(day("2026-06-13")));
        assert_eq!(
            until(4, "2026-06-13"),
            Err(NotPutOff::TooLong {
                by: day("2026-06-13"),
                most: 3
            })
        );
        assert_eq!(until(1, "2026-06-10"), Err(NotPutOff::LastDay));
        // Overdue.
        assert_eq!(until(1, "2026-06-09"), Ok(day("2026-06-11")));
        assert_eq!(put_off_until(today, 0, None), Err(NotPutOff::Days));
        assert_eq!(put_off_until(today, 31, None), Err(NotPutOff::Days));
    }
}
