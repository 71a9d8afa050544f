//! A season drawn in the terminal: one line for each milestone, three days a column.

use chrono::{Datelike, Days, NaiveDate};

/// Days that a column stands for.
const DAYS_A_COLUMN: i64 = 3;

/// A drawing in the making.
pub(super) struct Chart {
    today: NaiveDate,
    lines: Vec<ChartLine>,
}

struct ChartLine {
    title: String,
    from: NaiveDate,
    middle: Option<NaiveDate>,
    to: NaiveDate,
}

impl Chart {
    /// An empty drawing with a mark on `today`.
    pub(super) fn new(today: NaiveDate) -> Self {
        Self {
            today,
            lines: Vec::new(),
        }
    }

    /// A line with a single day.
    pub(super) fn point(&mut self, title: &str, on: NaiveDate) {
        self.range(title, on, Some(on), on);
    }

    /// A line with a range and, if known, its middle.
    pub(super) fn range(
        &mut self,
        title: &str,
        from: NaiveDate,
        middle: Option<NaiveDate>,
        to: NaiveDate,
    ) {
        self.lines.push(ChartLine {
            title: title.to_owned(),
            from,
            middle,
            to,
        });
    }

    /// The drawing; empty if there is nothing to draw.
    pub(super) fn draw(&self) -> String {
        let first = self.lines.iter().map(|line| line.from).min();
        let last = self.lines.iter().map(|line| line.to).max();
        let (Some(first), Some(last)) = (first, last) else {
            return String::new();
        };
        let start = first.min(self.today) - Days::new(6);
        let start = start.with_day(1).unwrap_or(start);
        let end = last.max(self.today) + Days::new(6);
        let column = |day: NaiveDate| ((day - start).num_days().max(0) / DAYS_A_COLUMN) as usize;
        let width = column(end) + 1;
        let titles = self
            .lines
            .iter()
            .map(|line| line.title.chars().count())
            .max();
        let margin = titles.unwrap_or(0).max(5) + 2;
        let mut text = format!("\n{:margin$}{}\n", "", months(start, end, column, width));
        for line in &self.lines {
            let mut row = vec!['·'; width];
            row[column(line.from)..=column(line.to)].fill('━');
            if let Some(middle) = line.middle {
                row[column(middle)] = '●';
            }
            text += &format!(
                "{:<margin$}{}\n",
                line.title,
                row.iter().collect::<String>()
            );
        }
        let mark: String = (0..=column(self.today))
            .map(|at| if at == column(self.today) { '^' } else { ' ' })
            .collect();
        text + &format!("{:<margin$}{mark}\n\n", "today")
    }
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
