//! A look back as a page to print: one file that fetches nothing and runs nothing.

use super::season_report::{COUNTS, DATES, SeasonReport};
use super::time_line::TimeLine;
use crate::domain::look_back::LookBack;
use askama::Template;

/// What every page holds, so that a page can be told from other files.
pub(super) const MARK: &str = "<meta name=\"generator\" content=\"hatchbell season\"/>";

#[derive(Template)]
#[template(path = "page.html", config = "src/cli/season/askama.toml")]
struct PrintedPage<'p> {
    mark: &'static str,
    season_report: &'p SeasonReport,
    dates: [&'static str; 8],
    counts: [&'static str; 4],
    time_line: Option<TimeLine>,
}

/// The page.
///
/// # Errors
/// What the template says; it has no reason to.
pub(super) fn page(
    season_report: &SeasonReport,
    season: &LookBack,
) -> Result<String, askama::Error> {
    PrintedPage {
        mark: MARK,
        season_report,
        dates: DATES,
        counts: COUNTS,
        time_line: TimeLine::of(&season_report.title, season),
    }
    .render()
}
