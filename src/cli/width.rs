//! How wide what is printed may be.

use super::TEXT_COLUMNS;
use terminal_size::{Width, terminal_size_of};
use textwrap::{Options, WordSplitter};

/// Columns where neither a terminal nor `COLUMNS` says how many there are.
const USUAL_COLUMNS: usize = 80;

/// Narrower than this nothing is laid out.
const FEWEST_COLUMNS: usize = 60;

/// More than any screen has: what says so is a mistake.
const MOST_COLUMNS: usize = 10_000;

/// Columns of standard output: those of the terminal, else `COLUMNS`, else 80; 60 or more.
pub(super) fn columns() -> usize {
    let terminal = terminal_size_of(std::io::stdout()).map(|(Width(columns), _)| columns.into());
    let variable = std::env::var("COLUMNS").ok();
    chosen(terminal, variable.as_deref())
}

fn chosen(terminal: Option<usize>, variable: Option<&str>) -> usize {
    let is_sensible = |columns: &usize| (1..=MOST_COLUMNS).contains(columns);
    terminal
        .filter(is_sensible)
        .or_else(|| variable?.trim().parse().ok().filter(is_sensible))
        .unwrap_or(USUAL_COLUMNS)
        .max(FEWEST_COLUMNS)
}

/// Columns of running text: long lines are hard to read on a wide screen.
pub(super) fn text_columns() -> usize {
    columns().min(TEXT_COLUMNS)
}

/// How text is wrapped: between words, never at the hyphens of a date or a range.
pub(super) fn wrapping(columns: usize) -> Options<'static> {
    Options::new(columns).word_splitter(WordSplitter::NoHyphenation)
}

/// A paragraph wrapped to [`text_columns`], with a line end.
pub(super) fn wrapped(paragraph: &str) -> String {
    textwrap::fill(paragraph, wrapping(text_columns())) + "\n"
}

/// The same behind an indent, all lines but the first by two columns more.
pub(super) fn hanging(indent: &str, paragraph: &str) -> String {
    let further = format!("{indent}  ");
    let options = wrapping(text_columns())
        .initial_indent(indent)
        .subsequent_indent(&further);
    textwrap::fill(paragraph, options) + "\n"
}

#[cfg(test)]
mod tests {
    use super::chosen;

    #[test]
    fn the_terminal_comes_before_the_variable_and_both_before_eighty() {
        assert_eq!(chosen(Some(132), Some("70")), 132);
        assert_eq!(chosen(None, Some(" 70 ")), 70);
        assert_eq!(chosen(None, None), 80);
    }

    #[test]
    fn a_width_that_makes_no_sense_is_passed_over() {
        for nonsense in ["", "0", "-80", "wide", "1e9", "99999999"] {
            assert_eq!(chosen(None, Some(nonsense)), 80, "{nonsense}");
        }
        assert_eq!(chosen(Some(0), Some("70")), 70, "a terminal without a size");
    }

    #[test]
    fn nothing_is_laid_out_for_fewer_than_sixty_columns() {
        assert_eq!(chosen(Some(20), None), 60);
        assert_eq!(chosen(None, Some("59")), 60);
    }
}
