//! Entries from the page: forms for what was done and seen, the journal with corrections, tasks that
//! are put off, and the record of what was spread. The rules are those of [`crate::entries`].

use super::answers::NoPage;
use super::origin::{cannot_be_borrowed, may_come_from_here};
use super::state::PageState;
use crate::config::Config;
use crate::domain::place::site::{Member, Site};
use axum::Router;
use axum::http::HeaderMap;
use axum::http::header::HOST;
use axum::routing::{get, post};
use std::sync::Arc;

mod enter;
mod form;
mod journal;
mod kind;
mod not_now;
mod records;
mod sent;

/// The addresses of entries.
pub(super) fn routes() -> Router<Arc<PageState>> {
    Router::new()
        .route(
            "/sites/{site}/enter/{kind}",
            get(enter::blank).post(enter::take),
        )
        .route("/sites/{site}/journal", get(journal::journal))
        .route(
            "/sites/{site}/journal/{number}",
            get(enter::filled).post(enter::correct),
        )
        .route(
            "/sites/{site}/journal/{number}/take-back",
            post(journal::take_back),
        )
        .route("/not-now", post(not_now::put_off))
        .route("/sites/{site}/show-again", post(not_now::show_again))
        .route("/sites/{site}/records/{file}", get(records::records))
}

/// A site that whoever asks may read, with its member.
///
/// # Errors
/// [`NoPage::NotFound`] for one that there is not, or not for them.
pub(super) fn readable<'c>(config: &'c Config, id: &str) -> Result<(&'c Member, &'c Site), NoPage> {
    let found = config.sites().find(|(_, site)| site.id == id);
    found.ok_or(NoPage::NotFound)
}

/// A site that whoever sends a form may write to, with its member: the one place that decides it.
///
/// # Errors
/// [`NoPage::NotFound`] for a site that there is not, or not for them; [`NoPage::Foreign`] if the form
/// is none of ours.
pub(super) fn writable<'c>(
    config: &'c Config,
    id: &str,
    headers: &HeaderMap,
) -> Result<(&'c Member, &'c Site), NoPage> {
    let asked = headers.get(HOST).and_then(|host| host.to_str().ok());
    let public = config.web.as_ref().and_then(|web| web.address.as_ref());
    let public = public.and_then(|address| {
        let host = address.host_str()?;
        Some(match address.port() {
            Some(port) => format!("{host}:{port}"),
            None => host.to_owned(),
        })
    });
    let is_ours = |host: &str| cannot_be_borrowed(host) || public.as_deref() == Some(host);
    let asked = asked.filter(|host| is_ours(host));
    let mut hosts = asked.into_iter().chain(public.as_deref());
    if !hosts.any(|host| may_come_from_here(headers, host)) {
        return Err(NoPage::Foreign);
    }
    readable(config, id)
}
