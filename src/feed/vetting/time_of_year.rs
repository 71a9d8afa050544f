//! The time of year, alike in leap years and others.

use chrono::{Datelike, NaiveDate};

/// Days of a leap year.
pub(super) const YEAR: usize = 366;

/// A day's place in a leap year, from 0.
pub(super) fn place_in_year(day: NaiveDate) -> usize {
    let is_after_february = day.ordinal0() > 58;
    day.ordinal0() as usize + usize::from(is_after_february && !day.leap_year())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_has_the_place_that_it_has_in_a_leap_year() {
        let first = NaiveDate::from_ymd_opt(1999, 1, 1).unwrap();
        for day in first.iter_days().take(3 * YEAR) {
            let in_leap_year = day.with_year(2024).unwrap();
            assert_eq!(place_in_year(day), in_leap_year.ordinal0() as usize);
        }
    }
}
