//! A look back as a page to print: one file that fetches nothing and runs nothing.

use super::sheet::{COUNTS, DATES, Sheet};
use super::time_line::TimeLine;
use crate::domain::look_back::LookBack;
use askama::Template;

/// What every page holds, so that a page can be told from other files.
pub(super) const MARK: &str = "<meta name=\"generator\" content=\"hatchbell season\"/>";

#[derive(Template)]
#[template(path = "page.html", config = "src/cli/season/askama.toml")]
struct Page<'p> {
    mark: &'static str,
    sheet: &'p Sheet,
    dates: [&'static str; 8],
    counts: [&'static str; 4],
    time_line: Option<TimeLine>,
}

/// The page.
///
/// # Errors
/// What the template says; it has no reason to.
pub(super) fn page(sheet: &Sheet, season: &LookBack) -> Result<String, askama::Error> {
    Page {
        mark: MARK,
        sheet,
        dates: DATES,
        counts: COUNTS,
        time_line: TimeLine::of(&sheet.title, season),
    }
    .render()
}
