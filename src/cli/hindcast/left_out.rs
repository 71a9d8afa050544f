//! What `hatchbell hindcast` leaves out, and why.

use crate::cli::counted;
use crate::cli::width::hanging;
use crate::domain::weather::reading::Readings;
use chrono::{Datelike, NaiveDate};
use serde_json::json;

/// A year of a record that is no whole season.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Incomplete {
    pub year: i32,
    /// Days without both extremes.
    pub missing: u32,
    /// The newest day with both, if the year is cut off after it.
    pub ends: Option<NaiveDate>,
}

/// What is left out of a station.
#[derive(Debug)]
pub(super) struct LeftOut {
    pub station: String,
    /// How many whole seasons it has, if these are too few for it to be used.
    pub whole: Option<usize>,
    pub incomplete: Vec<Incomplete>,
}

/// The years from the first of a record to its last that lack days.
pub(super) fn incomplete_years(readings: &Readings) -> Vec<Incomplete> {
    let (Some(first), Some(last)) = (readings.keys().next(), readings.keys().next_back()) else {
        return Vec::new();
    };
    (first.year()..=last.year())
        .filter_map(|year| incomplete(readings, year))
        .collect()
}

fn incomplete(readings: &Readings, year: i32) -> Option<Incomplete> {
    let start = NaiveDate::from_yo_opt(year, 1)?;
    let end = NaiveDate::from_ymd_opt(year, 12, 31)?;
    let days = readings.range(start..=end);
    let known = days.filter(|(_, reading)| reading.extremes().is_some());
    let (mut count, mut newest) = (0, None);
    for (day, _) in known {
        count += 1;
        newest = Some(*day);
    }
    (count < end.ordinal()).then(|| Incomplete {
        year,
        missing: end.ordinal() - count,
        ends: newest.filter(|newest| *newest < end),
    })
}

/// A line for each station.
pub(super) fn text(left_out: &[LeftOut], missing: u32) -> String {
    let head = format!(
        "left out, with the days that each year lacks (more than {missing}, or too long a gap):"
    );
    let mut text = hanging("", &head);
    for one in left_out {
        let mut parts = Vec::new();
        if let Some(whole) = one.whole {
            parts.push(format!("all, {} only", counted(whole, "whole season")));
        }
        parts.extend(one.incomplete.iter().map(|year| in_words(*year)));
        text += &hanging("  ", &format!("{}: {}", one.station, parts.join(", ")));
    }
    text
}

fn in_words(year: Incomplete) -> String {
    let Incomplete {
        year,
        missing,
        ends,
    } = year;
    match ends {
        Some(ends) => format!("{year} ({missing}: ends {})", ends.format("%-d %B")),
        None => format!("{year} ({missing})"),
    }
}

/// The same for scripts.
pub(super) fn as_json(left_out: &LeftOut) -> serde_json::Value {
    let years: Vec<_> = left_out
        .incomplete
        .iter()
        .map(|year| {
            json!({ "year": year.year, "missing_days": year.missing, "cut_off_after": year.ends })
        })
        .collect();
    json!({
        "station": left_out.station,
        "whole_seasons_if_too_few": left_out.whole,
        "years": years,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::weather::reading::Reading;

    #[test]
    fn a_year_cut_off_at_its_end_lacks_the_days_after_it() {
        let whole = Reading {
            min: Some(1.0),
            max: Some(9.0),
        };
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let days = day("2023-01-01").iter_days().take(365 + 340);
        let mut readings: Readings = days.map(|day| (day, whole)).collect();
        readings.get_mut(&day("2023-07-01")).unwrap().max = None;
        let years = incomplete_years(&readings);
        let due = [(2023, 1, None), (2024, 26, Some(day("2024-12-05")))];
        let due = due.map(|(year, missing, ends)| Incomplete {
            year,
            missing,
            ends,
        });
        assert_eq!(years, due);
        let left_out = LeftOut {
            station: "valley".into(),
            whole: Some(1),
            incomplete: vec![years[1]],
        };
        let text = text(&[left_out], 10);
        assert!(
            text.contains("valley: all, 1 whole season only, 2024 (26: ends 5 December)"),
            "{text}"
        );
    }
}
