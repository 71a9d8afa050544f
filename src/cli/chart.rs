//! Ranges of days drawn in the terminal: one line for each, three days a column, more where three do
//! not fit.

use super::width::wrapping;
use crate::report::DateRange;
use chrono::{Datelike, Days, NaiveDate};
use textwrap::core::display_width;

/// Fewest days that a column stands for.
const FEWEST_DAYS_A_COLUMN: i64 = 3;

/// Where the titles leave fewer columns than this, they stand above their lines.
const FEWEST_COLUMNS_DRAWN: usize = 24;

/// Days of the shortest month.
const SHORTEST_MONTH: i64 = 28;

/// What stands before the mark of today.
const TODAY: &str = "today";

/// Columns between a title and its line.
const GAP: usize = 2;

/// Ranges of days below each other in so many columns, with a mark on `today`; empty if there is
/// nothing to draw.
pub(super) fn chart(ranges: &[DateRange], today: NaiveDate, columns: usize) -> String {
    let first = ranges.iter().map(|range| range.from).min();
    let last = ranges.iter().map(|range| range.to).max();
    let (Some(first), Some(last)) = (first, last) else {
        return String::new();
    };
    let start = first.min(today) - Days::new(6);
    let start = start.with_day(1).unwrap_or(start);
    let end = last.max(today) + Days::new(6);

    let titles = ranges.iter().map(|range| display_width(&range.title)).max();
    let beside = titles.unwrap_or(0).max(TODAY.len()) + GAP;
    let titles_above = beside + FEWEST_COLUMNS_DRAWN > columns;
    let margin = if titles_above {
        TODAY.len() + GAP
    } else {
        beside
    };
    let room = columns.saturating_sub(margin).max(FEWEST_COLUMNS_DRAWN);
    let days = DayColumns::of(start, end, room);

    let mut text = format!("\n{:margin$}{}\n", "", days.months(end, room));
    for range in ranges {
        let line = days.line(range, end);
        if titles_above {
            text += &(textwrap::fill(&range.title, wrapping(columns)) + "\n");
            text += &format!("{:margin$}{line}\n", "");
        } else {
            let blanks = margin - display_width(&range.title);
            text += &format!("{}{:blanks$}{line}\n", range.title, "");
        }
    }
    let before = days.column(today);
    text + &format!("{TODAY:<margin$}{:before$}^\n\n", "")
}

/// Days on columns.
struct DayColumns {
    start: NaiveDate,
    days_a_column: i64,
}

impl DayColumns {
    /// So many days a column that all of them fit.
    fn of(start: NaiveDate, end: NaiveDate, room: usize) -> Self {
        let days = (end - start).num_days() + 1;
        let fitting = (days as usize).div_ceil(room) as i64;
        Self {
            start,
            days_a_column: fitting.max(FEWEST_DAYS_A_COLUMN),
        }
    }

    fn column(&self, day: NaiveDate) -> usize {
        ((day - self.start).num_days().max(0) / self.days_a_column) as usize
    }

    fn line(&self, range: &DateRange, end: NaiveDate) -> String {
        let mut line = vec!['·'; self.column(end) + 1];
        line[self.column(range.from)..=self.column(range.to)].fill('━');
        if let Some(middle) = range.middle {
            line[self.column(middle)] = '●';
        }
        line.into_iter().collect()
    }

    /// The names of the months above their first days, a letter each where three leave no gap.
    fn months(&self, end: NaiveDate, room: usize) -> String {
        let letters = if SHORTEST_MONTH / self.days_a_column > 3 {
            3
        } else {
            1
        };
        let mut row = vec![' '; room];
        let days = self.start.iter_days().take_while(|day| *day <= end);
        for day in days.filter(|day| day.day() == 1) {
            let name = day.format("%b").to_string();
            let at = self.column(day);
            if at + letters <= room {
                for (place, letter) in row[at..].iter_mut().zip(name.chars().take(letters)) {
                    *place = letter;
                }
            }
        }
        row.into_iter().collect::<String>().trim_end().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn drawn(title: &str, columns: usize) -> String {
        let range = DateRange {
            title: title.to_owned(),
            from: day("2026-06-10"),
            middle: Some(day("2026-06-22")),
            to: day("2026-10-20"),
        };
        chart(&[range], day("2026-05-01"), columns)
    }

    fn widest(text: &str) -> usize {
        text.lines().map(display_width).max().unwrap()
    }

    /// From 1 April (six days before 1 May) to 26 October: 1 May is day 30, in column 10, and so on.
    #[test]
    fn where_there_is_room_a_column_stands_for_three_days() {
        let line = format!("{}━━━━●{}··", "·".repeat(23), "━".repeat(40));
        let due = format!(
            "\n       Apr       May       Jun       Jul       Aug        Sep       Oct\n\
             hatch  {line}\ntoday            ^\n\n"
        );
        assert_eq!(drawn("hatch", 120), due);
    }

    #[test]
    fn a_narrow_drawing_takes_more_days_a_column_and_letters_for_months() {
        let narrow = drawn("Bacillus thuringiensis galleriae", 60);
        assert!(widest(&narrow) <= 60, "{narrow}");
        let months = narrow.lines().nth(1).unwrap();
        let letters: Vec<&str> = months.split_whitespace().collect();
        assert_eq!(letters, ["A", "M", "J", "J", "A", "S", "O"], "{narrow}");
        assert!(narrow.contains('●') && narrow.contains('^'), "{narrow}");
    }

    #[test]
    fn titles_that_leave_no_room_stand_above_their_lines() {
        let title = "a mixture of two species of nematodes, by hand";
        let drawn = drawn(title, 60);
        assert!(drawn.contains(&format!("\n{title}\n       ·")), "{drawn}");
        assert!(widest(&drawn) <= 60, "{drawn}");
    }
}
