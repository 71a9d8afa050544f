//! The journal of a site: what was entered, with what is said of it, corrections, and taking back.

use super::enter::{open, reading};
use crate::config::Config;
use crate::domain::place::site::Site;
use crate::entries::whole_action;
use crate::store::{Store, StoreError};
use crate::web::answers::{NoPage, page};
use crate::web::state::PageState;
use crate::web::viewer::Viewer;
use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "journal.html", config = "src/web/askama.toml")]
struct JournalPage<'j> {
    viewer: &'j Viewer,
    site: &'j Site,
    said: Vec<String>,
    entries: Vec<ShownEntry>,
}

/// An entry as it is listed.
struct ShownEntry {
    number: i64,
    day: String,
    words: String,
    remark: Option<String>,
}

/// The address of a site's journal.
pub(super) fn address(site: &str) -> String {
    // Ids hold nothing that would have to be encoded; what does is no id.
    format!("/sites/{site}/journal")
}

/// `GET /sites/lawn/journal?said=12`: the journal, below what is said of an entry.
pub(in crate::web) async fn journal(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path(site): Path<String>,
    Query(asked_for): Query<Vec<(String, String)>>,
) -> Result<Html<String>, NoPage> {
    let said = asked_for.iter().find(|(name, _)| name == "said");
    let said: Option<i64> = said.and_then(|(_, number)| number.parse().ok());
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        let (_, site) = viewer.site(&config, &site)?;
        let entries = shared.ask(|asked| listed(&config, asked.store, site))?;
        page(&JournalPage {
            viewer: &viewer,
            site,
            said: match said {
                Some(number) => said_of(&config, site, number)?,
                None => Vec::new(),
            },
            entries,
        })
    });
    made.await?
}

/// What is said of an entry now.
fn said_of(config: &Config, site: &Site, number: i64) -> Result<Vec<String>, NoPage> {
    let journal = reading(config, site)?;
    match journal.store.entry(number)? {
        Some(entry) if entry.site == site.id => journal
            .all_said(&entry)
            .map_err(|problem| NoPage::Fault(problem.to_string())),
        _ => Ok(vec![format!("Number {number} no longer counts.")]),
    }
}

/// The newest first.
fn listed(config: &Config, store: &Store, site: &Site) -> Result<Vec<ShownEntry>, StoreError> {
    let notation = &config.service.notation;
    let entries = store.entries(&site.id)?;
    Ok(entries
        .into_iter()
        .rev()
        .map(|entry| ShownEntry {
            number: entry.number,
            day: notation.day_and_year(entry.day),
            words: whole_action(&entry.action, notation),
            remark: entry.remark,
        })
        .collect())
}

/// `POST /sites/lawn/journal/12/take-back`: the entry no longer counts.
pub(in crate::web) async fn take_back(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path((site, number)): Path<(String, i64)>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force_for(&viewer).config;
        let (_, site) = viewer.site(&config, &site)?;
        let journal = open(&config, site, &viewer)?;
        let entry = journal.store.entry(number)?;
        if entry.is_some_and(|entry| entry.site == site.id) {
            let line = journal.line.as_ref();
            let store = &journal.store;
            store.change_with(line, |store| store.undo(number, journal.now))?;
        }
        // Whoever sends it twice is told the same.
        let address = address(&site.id);
        Ok(Redirect::to(&format!("{address}?said={number}")).into_response())
    });
    made.await?
}
