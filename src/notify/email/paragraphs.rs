//! The text of a message as what it is made of, so that a mail can show it in a window of any width:
//! what [`crate::notify::wording`] wrapped to columns becomes whole lines, lists and tables again. No word
//! is added, left out or moved. Pure.

use crate::notify::wording::COLUMNS;
use textwrap::core::display_width;

/// What stands between two empty lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Paragraph {
    /// The first line, where others follow that it is about.
    pub head: Option<String>,
    /// What follows.
    pub parts: Vec<MailPart>,
}

/// A part of a paragraph.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum MailPart {
    /// A line, as long as it is.
    Line(String),
    /// Things one below the other.
    List(Vec<String>),
    /// Rows of cells below their headings.
    Table {
        /// The first row.
        headings: Vec<String>,
        /// The others.
        rows: Vec<MailRow>,
    },
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum MailRow {
    /// A line across the table, over rows that belong to it.
    Group(String),
    /// Cells side by side.
    Cells(Vec<String>),
}

/// What a text is made of.
pub(super) fn paragraphs(text: &str) -> Vec<Paragraph> {
    let lines: Vec<&str> = text.lines().map(str::trim_end).collect();
    lines
        .split(|line| line.is_empty())
        .filter(|lines| !lines.is_empty())
        .map(|lines| Paragraph::of(parts(lines)))
        .collect()
}

impl Paragraph {
    fn of(mut parts: Vec<MailPart>) -> Self {
        let head = match &parts[..] {
            [MailPart::Line(line), _, ..] => Some(line.clone()),
            _ => None,
        };
        if head.is_some() {
            parts.remove(0);
        }
        Self { head, parts }
    }
}

/// What the lines of a list's items begin with, and what those of a table's rows.
const ITEM: &str = "- ";
const INDENT: &str = "  ";

fn parts(lines: &[&str]) -> Vec<MailPart> {
    let mut parts: Vec<MailPart> = Vec::new();
    let mut rest = lines;
    let mut before = "";
    while let Some((&line, later)) = rest.split_first() {
        if let Some(item) = line.strip_prefix(ITEM) {
            match parts.last_mut() {
                Some(MailPart::List(items)) => items.push(item.to_owned()),
                _ => parts.push(MailPart::List(vec![item.to_owned()])),
            }
        } else if let (true, Some(MailPart::List(items))) =
            (line.starts_with(INDENT), parts.last_mut())
            && let Some(item) = items.last_mut()
        {
            *item = format!("{item} {}", line.trim_start());
        } else if line.starts_with(INDENT) {
            let is_row = |line: &&str| line.starts_with(INDENT);
            let length = rest.iter().rposition(is_row).map_or(1, |last| last + 1);
            let (table, later) = rest.split_at(length);
            parts.push(self::table(table));
            (rest, before) = (later, "");
            continue;
        } else {
            match parts.last_mut() {
                Some(MailPart::Line(whole)) if is_wrapped(before, line) => {
                    *whole = format!("{whole} {line}");
                }
                _ => parts.push(MailPart::Line(line.to_owned())),
            }
        }
        (rest, before) = (later, line);
    }
    parts
}

/// Whether a line was broken because the next word had no room in it.
fn is_wrapped(line: &str, next: &str) -> bool {
    let word = next.split(' ').next().unwrap_or_default();
    display_width(line) + 1 + display_width(word) > COLUMNS
}

/// A table; where its columns begin is seen in its first row.
fn table(lines: &[&str]) -> MailPart {
    let begins: Vec<usize> = lines.first().map_or_else(Vec::new, |heading| {
        let letters: Vec<char> = heading.chars().collect();
        let begins = |place: &usize| {
            letters[*place] != ' '
                && letters[..*place]
                    .iter()
                    .rev()
                    .take(2)
                    .all(|one| *one == ' ')
        };
        (0..letters.len()).filter(begins).collect()
    });
    let cells = |line: &str| -> Vec<String> {
        let letters: Vec<char> = line.chars().collect();
        let end = |place: usize| *begins.get(place + 1).unwrap_or(&usize::MAX);
        let cell = |(place, begin): (usize, &usize)| {
            let cell = letters.iter().take(end(place)).skip(*begin);
            cell.collect::<String>().trim().to_owned()
        };
        begins.iter().enumerate().map(cell).collect()
    };
    let row = |line: &&str| match line.starts_with(INDENT) {
        true => MailRow::Cells(cells(line).iter().map(|cell| unbroken(cell)).collect()),
        false => MailRow::Group((*line).to_owned()),
    };
    MailPart::Table {
        headings: lines
            .first()
            .map_or_else(Vec::new, |heading| cells(heading)),
        rows: lines.iter().skip(1).map(row).collect(),
    }
}

/// A range of dates that breaks between its days, and not between a day and its month.
fn unbroken(range: &str) -> String {
    let day_before_month = |pair: &[char]| pair[0].is_ascii_digit() && pair[1] == ' ';
    let letters: Vec<char> = range.chars().collect();
    let mut unbroken = letters.clone();
    for (place, pair) in letters.windows(2).enumerate() {
        if day_before_month(pair) {
            unbroken[place + 1] = '\u{a0}';
        }
    }
    unbroken.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(text: &str) -> MailPart {
        MailPart::Line(text.to_owned())
    }

    fn headed<const N: usize>(head: &str, parts: [MailPart; N]) -> Paragraph {
        Paragraph {
            head: Some(head.to_owned()),
            parts: parts.to_vec(),
        }
    }

    #[test]
    fn wrapped_lines_become_whole_and_others_stay_apart() {
        let long = "Sum at the Lower Green: 412 degree-days, read through 12 July, from the";
        let text = format!(
            "Apply it: The lawn\nBy 20 July.\n{long}\nnearest station.\nAnother line.\n\nFor Ann.\n"
        );
        assert_eq!(
            paragraphs(&text),
            [
                headed(
                    "Apply it: The lawn",
                    [
                        line("By 20 July."),
                        line(&format!("{long} nearest station.")),
                        line("Another line."),
                    ]
                ),
                Paragraph {
                    head: None,
                    parts: vec![line("For Ann.")]
                },
            ]
        );
    }

    #[test]
    fn items_of_a_list_are_whole_again() {
        let text =
            "To do:\n- Apply it by 20 July: here,\n  there and elsewhere\n- Count grubs: here";
        let items = [
            "Apply it by 20 July: here, there and elsewhere",
            "Count grubs: here",
        ];
        let items = items.map(str::to_owned).to_vec();
        assert_eq!(
            paragraphs(text),
            [headed("To do:", [MailPart::List(items)])]
        );
    }

    #[test]
    fn a_table_is_cut_where_its_headings_begin() {
        let text = "The season ahead: The lawn\n  flight         egg lay        hatch\nBeetle\n  \
                    passed         calendar 2 Jul 12-29 Jul\nDates are estimates.";
        let cells = |words: [&str; 3]| words.map(str::to_owned).to_vec();
        assert_eq!(
            paragraphs(text),
            [headed(
                "The season ahead: The lawn",
                [
                    MailPart::Table {
                        headings: cells(["flight", "egg lay", "hatch"]),
                        rows: vec![
                            MailRow::Group("Beetle".to_owned()),
                            MailRow::Cells(cells([
                                "passed",
                                "calendar 2\u{a0}Jul",
                                "12-29\u{a0}Jul"
                            ])),
                        ],
                    },
                    line("Dates are estimates."),
                ]
            )]
        );
    }
}
