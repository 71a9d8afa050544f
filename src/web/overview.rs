//! The first page: what is to be done this week at all sites, worst first.

use super::answers::{NoPage, page};
use super::state::PageState;
use crate::domain::notation::Notation;
use crate::report::BRIEF_CAUTIONS;
use crate::report::week::Week;
use askama::Template;
use axum::extract::State;
use axum::response::Html;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "overview.html", config = "src/web/askama.toml")]
struct Overview<'w> {
    week: &'w Week,
    notation: &'w Notation,
    cautions: [&'static str; 2],
    /// Sites of a task that are named before the others are folded away.
    named: usize,
    /// Whether sites of several members are shown.
    several: bool,
}

/// Sites of a task that are named before the others are folded away.
const NAMED_SITES: usize = 8;

pub(super) async fn overview(State(shared): State<Arc<PageState>>) -> Result<Html<String>, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let week = shared.week()?;
        let config = shared.in_force().config;
        page(&Overview {
            week: &week,
            notation: &config.service.notation,
            cautions: BRIEF_CAUTIONS,
            named: NAMED_SITES,
            several: config.members.len() > 1,
        })
    });
    made.await?
}
