//! A season as a page to print: one file that fetches nothing and runs nothing.

use super::drawing::Drawing;
use crate::report::season::{COUNTS, DATES, SeasonReport};
use askama::Template;

/// What every page holds, so that a page can be told from other files.
pub(super) const MARK: &str = "<meta name=\"generator\" content=\"hatchbell season\"/>";

#[derive(Template)]
#[template(path = "page.html", config = "src/cli/season/askama.toml")]
struct PrintedPage<'p> {
    mark: &'static str,
    season: &'p SeasonReport,
    dates: [&'static str; 8],
    counts: [&'static str; 4],
    drawing: Option<Drawing<'p>>,
}

/// The page.
///
/// # Errors
/// What the template says; it has no reason to.
pub(super) fn page(season: &SeasonReport) -> Result<String, askama::Error> {
    PrintedPage {
        mark: MARK,
        season,
        dates: DATES,
        counts: COUNTS,
        drawing: season.time_line.as_ref().map(Drawing::of),
    }
    .render()
}
