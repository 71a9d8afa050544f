//! Ranges of days drawn in the terminal: one line for each, three days a column.

use crate::report::DateRange;
use chrono::{Datelike, Days, NaiveDate};

/// Days that a column stands for.
const DAYS_A_COLUMN: i64 = 3;

/// Ranges of days below each other, with a mark on `today`; empty if there is nothing to draw.
pub(super) fn chart(ranges: &[DateRange], today: NaiveDate) -> String {
    let first = ranges.iter().map(|range| range.from).min();
    let last = ranges.iter().map(|range| range.to).max();
    let (Some(first), Some(last)) = (first, last) else {
        return String::new();
    };
    let start = first.min(today) - Days::new(6);
    let start = start.with_day(1).unwrap_or(start);
    let end = last.max(today) + Days::new(6);
    let column = |day: NaiveDate| ((day - start).num_days().max(0) / DAYS_A_COLUMN) as usize;
    let width = column(end) + 1;
    let titles = ranges.iter().map(|range| range.title.chars().count()).max();
    let margin = titles.unwrap_or(0).max(5) + 2;
    let mut text = format!("\n{:margin$}{}\n", "", months(start, end, column, width));
    for range in ranges {
        let mut row = vec!['·'; width];
        row[column(range.from)..=column(range.to)].fill('━');
        if let Some(middle) = range.middle {
            row[column(middle)] = '●';
        }
        text += &format!(
            "{:<margin$}{}\n",
            range.title,
            row.iter().collect::<String>()
        );
    }
    let mark: String = (0..=column(today))
        .map(|at| if at == column(today) { '^' } else { ' ' })
        .collect();
    text + &format!("{:<margin$}{mark}\n\n", "today")
}

/// The names of the months above their first days.
fn months(
    start: NaiveDate,
    end: NaiveDate,
    column: impl Fn(NaiveDate) -> usize,
    width: usize,
) -> String {
    let mut row = vec![' '; width + 4];
    for day in start.iter_days().take_while(|day| *day <= end) {
        if day.day() == 1 {
            let name = day.format("%b").to_string();
            for (offset, letter) in name.chars().enumerate() {
                row[column(day) + offset] = letter;
            }
        }
    }
    row.into_iter().collect::<String>().trim_end().to_owned()
}
