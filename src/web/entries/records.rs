//! The record of what was spread at a site in a season, to print or as comma-separated values.

use crate::report::records::SeasonRecords;
use crate::web::answers::{NoPage, page};
use crate::web::state::PageState;
use crate::web::viewer::Viewer;
use askama::Template;
use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "records.html", config = "src/web/askama.toml")]
struct RecordsPage<'r> {
    records: &'r SeasonRecords,
}

/// `GET /sites/lawn/records/2026`, and `2026.csv`.
pub(in crate::web) async fn records(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, file)): Path<(String, String)>,
) -> Result<Response, NoPage> {
    let (year, is_csv) = match file.strip_suffix(".csv") {
        Some(year) => (year, true),
        None => (file.as_str(), false),
    };
    let year: i32 = year.parse().map_err(|_| NoPage::NotFound)?;
    if !(1700..=2200).contains(&year) {
        return Err(NoPage::NotFound);
    }
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        let of = viewer.site(&config, &site)?;
        let records = shared
            .ask(|asked| SeasonRecords::of(&config, asked.store, of, Some(year), asked.today))?;
        if !is_csv {
            return Ok(page(&RecordsPage { records: &records })?.into_response());
        }
        let table = records.to_csv();
        let table = table.map_err(|problem| NoPage::Fault(problem.to_string()))?;
        let headers = [
            (
                header::CONTENT_TYPE,
                "text/csv; charset=utf-8; header=present".to_owned(),
            ),
            (
                header::CONTENT_DISPOSITION,
                format!(
                    "attachment; filename=\"records-{}-{year}.csv\"",
                    records.site
                ),
            ),
        ];
        Ok((headers, table).into_response())
    });
    made.await?
}
