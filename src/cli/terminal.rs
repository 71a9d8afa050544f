//! What the terminal takes: whether it shows bold, and text in columns that fits it.

use std::io::IsTerminal;
pub(super) use textwrap::core::display_width;

/// Spaces between two columns.
pub(super) const GAP: usize = 2;

/// Whether bold may be printed: to a terminal, unless `NO_COLOR` or `TERM=dumb` asks for plain text.
pub(super) fn shows_bold() -> bool {
    let variable = |name| std::env::var(name).ok();
    takes_bold(
        std::io::stdout().is_terminal(),
        variable("NO_COLOR").as_deref(),
        variable("TERM").as_deref(),
    )
}

fn takes_bold(is_terminal: bool, no_color: Option<&str>, term: Option<&str>) -> bool {
    is_terminal && no_color.is_none_or(str::is_empty) && term != Some("dumb")
}

/// Bold, if the terminal shows that.
pub(super) fn bold(text: &str) -> String {
    if shows_bold() {
        format!("\u{1b}[1m{text}\u{1b}[0m")
    } else {
        text.to_owned()
    }
}

/// Text that cannot steer the terminal: of names and of what servers say, control characters are shown
/// as "·".
pub(super) fn printable(text: &str) -> String {
    let plain = |letter: char| if letter.is_control() { '·' } else { letter };
    text.chars().map(plain).collect()
}

/// A space at which no line is broken; printed as any other.
const UNBROKEN: char = '\u{a0}';

/// The same in one line.
pub(super) fn unbroken(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// A paragraph that fits, its lines after the first indented.
pub(super) fn wrapped(text: &str, width: usize, indent: &str) -> String {
    let options = textwrap::Options::new(width)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .subsequent_indent(indent);
    let mut lines = textwrap::fill(&printable(text), options);
    lines.push('\n');
    lines
}

/// How wide the rows are if no cell is wrapped.
pub(super) fn natural_width<const N: usize>(rows: &[[String; N]]) -> usize {
    let widths: usize = (0..N)
        .map(|column| widest(rows, column, display_width))
        .sum();
    widths + GAP * (N - 1)
}

/// Rows in columns that fit a width. The widest columns give way first, and cells are broken between
/// words; inside a word only if it is wider than its share of the terminal.
pub(super) fn columns<const N: usize>(rows: &[[String; N]], width: usize) -> Vec<String> {
    let room = width - GAP * (N - 1);
    let mut widths: [usize; N] = std::array::from_fn(|column| widest(rows, column, display_width));
    let least: [usize; N] =
        std::array::from_fn(|column| widest(rows, column, longest_word).min(room / N));
    while widths.iter().sum::<usize>() > room {
        let may_shrink = (0..N).filter(|column| widths[*column] > least[*column]);
        let Some(column) = may_shrink.max_by_key(|column| widths[*column]) else {
            break;
        };
        widths[column] -= 1;
    }
    rows.iter().flat_map(|row| lines(row, &widths)).collect()
}

fn widest<const N: usize>(
    rows: &[[String; N]],
    column: usize,
    of: impl Fn(&str) -> usize,
) -> usize {
    rows.iter().map(|row| of(&row[column])).max().unwrap_or(0)
}

fn longest_word(text: &str) -> usize {
    text.split(' ').map(display_width).max().unwrap_or(0)
}

fn lines<const N: usize>(row: &[String; N], widths: &[usize; N]) -> Vec<String> {
    let cells: [Vec<String>; N] = std::array::from_fn(|column| {
        let options = textwrap::Options::new(widths[column].max(1))
            .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit)
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .word_splitter(textwrap::WordSplitter::NoHyphenation);
        let parts = textwrap::wrap(&row[column], options);
        parts.into_iter().map(|part| part.into_owned()).collect()
    });
    let height = cells.iter().map(Vec::len).max().unwrap_or(0);
    let line = |place: usize| {
        let mut line = String::new();
        for (cell, width) in cells.iter().zip(widths) {
            let text = cell.get(place).map_or("", String::as_str);
            line += text;
            line += &" ".repeat(width.saturating_sub(display_width(text)) + GAP);
        }
        line.trim_end().replace(UNBROKEN, " ")
    };
    (0..height).map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bold_is_for_terminals_that_did_not_refuse_it() {
        assert!(takes_bold(true, None, Some("xterm")));
        assert!(takes_bold(true, Some(""), None));
        assert!(!takes_bold(false, None, Some("xterm")));
        assert!(!takes_bold(true, Some("1"), Some("xterm")));
        assert!(!takes_bold(true, None, Some("dumb")));
    }

    #[test]
    fn the_widest_column_gives_way_and_words_stay_whole() {
        let rows = [[
            "Northgate".to_owned(),
            "apply chlorantraniliprole by 25 May".to_owned(),
        ]];
        assert_eq!(natural_width(&rows), 46);
        assert_eq!(columns(&rows, 46).len(), 1);
        assert_eq!(
            columns(&rows, 40),
            [
                "Northgate  apply chlorantraniliprole by",
                "           25 May"
            ]
        );
    }

    #[test]
    fn no_line_is_wider_than_the_terminal_whatever_a_name_is_like() {
        let rows = [[
            "x".repeat(5_000),
            "apply chlorantraniliprole by 25 May".to_owned(),
        ]];
        for width in [40, 60, 80] {
            let lines = columns(&rows, width);
            assert!(lines.iter().all(|line| display_width(line) <= width));
        }
    }

    #[test]
    fn control_characters_do_not_reach_the_terminal() {
        assert_eq!(printable("a\u{1b}[2Jb\n"), "a·[2Jb·");
    }
}
