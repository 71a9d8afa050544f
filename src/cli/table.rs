//! Tables without lines that are never wider than they may be, and never break a word: columns that
//! do not fit move to a line of their own below the row.

use super::width::wrapping;
use std::fmt::Write as _;
use textwrap::core::display_width;

/// Blanks between columns.
const GAP: usize = 2;

/// A table whose rows may be shorter than its heads.
pub(super) struct FittedTable {
    /// One for each column; what moves below a row stands behind its head there.
    pub heads: Vec<String>,
    /// The cells.
    pub rows: Vec<Vec<String>>,
    /// How many columns may stay beside each other, the most first: columns that belong together
    /// move together.
    pub may_stay: &'static [usize],
    /// The columns from this one on are aligned right.
    pub right_from: usize,
}

impl FittedTable {
    /// The table in so many columns, with a line end.
    pub(super) fn in_columns(&self, columns: usize) -> String {
        let of = |stay: usize| self.widths(stay);
        let fits = |widths: &Vec<usize>| total(widths) <= columns;
        let mut candidates = self.may_stay.iter().map(|stay| of(*stay));
        let widths = candidates.clone().find(fits).unwrap_or_else(|| {
            let mut widths = candidates.next_back().unwrap_or_default();
            let over = total(&widths).saturating_sub(columns);
            if let Some(first) = widths.first_mut() {
                *first = first.saturating_sub(over).max(1);
            }
            widths
        });
        let mut text = self.line(&self.heads, &widths);
        for row in &self.rows {
            text += &self.line(row, &widths);
            text += &self.below(row, widths.len(), columns);
        }
        text
    }

    /// The widths of the first columns.
    fn widths(&self, stay: usize) -> Vec<usize> {
        let rows = || std::iter::once(&self.heads).chain(&self.rows);
        let width = |place: usize| {
            let cells = rows().filter_map(|row| row.get(place));
            cells.map(|cell| display_width(cell)).max().unwrap_or(0)
        };
        // A column that no row reaches is not shown.
        let filled = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        (0..stay.min(filled)).map(width).collect()
    }

    /// The cells that stay; a first one that is too long goes on below itself.
    fn line(&self, cells: &[String], widths: &[usize]) -> String {
        let mut line = String::new();
        let mut rest = Vec::new();
        for (place, (cell, width)) in cells.iter().zip(widths).enumerate() {
            let mut cell = cell.clone();
            if place == 0 && display_width(&cell) > *width {
                let mut parts = textwrap::wrap(&cell, wrapping(*width)).into_iter();
                let first = parts.next().unwrap_or_default().into_owned();
                rest = parts.map(std::borrow::Cow::into_owned).collect();
                cell = first;
            }
            let blanks = " ".repeat(width.saturating_sub(display_width(&cell)));
            line += &if place < self.right_from {
                cell + &blanks
            } else {
                blanks + &cell
            };
            line += &" ".repeat(GAP);
        }
        let mut text = format!("{}\n", line.trim_end());
        for part in rest {
            let _ = writeln!(text, "{part}");
        }
        text
    }

    /// The cells that do not stay, each behind its head; empty if there are none.
    fn below(&self, cells: &[String], stay: usize, columns: usize) -> String {
        let moved = self.heads.iter().zip(cells).skip(stay);
        let moved: Vec<String> = moved
            .filter(|(_, cell)| !cell.is_empty())
            .map(|(head, cell)| format!("{head}: {cell}"))
            .collect();
        if moved.is_empty() {
            return String::new();
        }
        let options = wrapping(columns)
            .initial_indent("  ")
            .subsequent_indent("    ");
        textwrap::fill(&moved.join(", "), options) + "\n"
    }
}

fn total(widths: &[usize]) -> usize {
    widths.iter().sum::<usize>() + GAP * widths.len().saturating_sub(1)
}

#[cfg(test)]
mod tests {
    use super::FittedTable;

    fn table(name: &str) -> FittedTable {
        let row = |cells: [&str; 4]| cells.map(str::to_owned).to_vec();
        FittedTable {
            heads: row(["", "from", "chance", "now"]),
            rows: vec![
                row([name, "1 May", "5 %", "wait until 3 June"]),
                vec!["short".to_owned(), "over".to_owned()],
            ],
            may_stay: &[4, 3, 2],
            right_from: 2,
        }
    }

    #[test]
    fn columns_that_fit_stand_beside_each_other() {
        let due = "             from   chance                now\n\
                   galleriae x  1 May     5 %  wait until 3 June\n\
                   short        over\n";
        assert_eq!(table("galleriae x").in_columns(45), due);
    }

    #[test]
    fn a_last_column_that_does_not_fit_stands_below_its_row() {
        let due = "             from   chance\n\
                   galleriae x  1 May     5 %\n  now: wait until 3 June\n\
                   short        over\n";
        assert_eq!(table("galleriae x").in_columns(44), due);
    }

    #[test]
    fn as_many_columns_move_as_have_to() {
        let due = "             from\n\
                   galleriae x  1 May\n  chance: 5 %, now:\n    wait until 3 June\n\
                   short        over\n";
        assert_eq!(table("galleriae x").in_columns(21), due);
    }

    #[test]
    fn a_long_name_goes_on_below_itself_between_words() {
        let due = "           from\n\
                   Bacillus   1 May\ngalleriae\n  chance: 5 %,\n    now: wait\n    until 3 June\n\
                   short      over\n";
        assert_eq!(table("Bacillus galleriae").in_columns(16), due);
    }

    #[test]
    fn a_column_that_no_row_reaches_is_not_shown() {
        let mut table = table("galleriae x");
        table.rows.remove(0);
        assert_eq!(table.in_columns(60), "       from\nshort  over\n");
    }
}
