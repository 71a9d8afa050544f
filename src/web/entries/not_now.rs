//! Tasks that are put off for some days, and taken up again.

use super::enter::open;
use super::sent::Sent;
use crate::report::task::{NotPutOff, put_off_until};
use crate::report::week::{Task, Week};
use crate::store::postponements::Postponement;
use crate::web::answers::{NoPage, refusal};
use crate::web::state::PageState;
use crate::web::viewer::Viewer;
use axum::Form;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use std::sync::Arc;

/// `POST /not-now`: puts a task off at each of some sites.
pub(in crate::web) async fn put_off(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Form(sent): Form<Vec<(String, String)>>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let sent = Sent(sent);
        let config = shared.in_force_for(&viewer).config;
        let sites: Vec<&str> = sent.all("site").collect();
        let back = back_to(&sent, sites.first().copied());
        // All of them, or none.
        let mut found = Vec::new();
        for site in &sites {
            found.push(viewer.site(&config, site)?.1);
        }
        let Ok(days) = sent.one("days").parse::<u32>() else {
            let why = NotPutOff::Days.to_string();
            return Ok(refusal("Not put off", &why, &back));
        };
        let Some(site) = found.first() else {
            return Ok(refusal("Not put off", "Tick at least one site.", &back));
        };
        let week = shared.week(&viewer)?;
        let journal = open(&config, site, &viewer)?;
        let mut postponements = Vec::new();
        for site in &found {
            // What is no longer due there, need not be put off.
            let Some(task) = task_of(&week, &site.id, sent.one("task")) else {
                continue;
            };
            match put_off_until(journal.today, days, task.by) {
                Ok(until) => postponements.push(Postponement {
                    site: site.id.clone(),
                    task: task.what.to_owned(),
                    option: task.option.clone().unwrap_or_default(),
                    until,
                }),
                Err(why) => {
                    let why = format!("{}: {why}.", site.name);
                    return Ok(refusal("Not put off", &why, &back));
                }
            }
        }
        journal.store.change_with(journal.line.as_ref(), |store| {
            let mut all = postponements.iter();
            all.try_for_each(|one| store.put_off(one, journal.now))
        })?;
        Ok(Redirect::to(&back).into_response())
    });
    made.await?
}

/// `POST /sites/lawn/show-again`: a task is no longer put off.
pub(in crate::web) async fn show_again(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Path(site): Path<String>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let sent = Sent(sent);
        let config = shared.in_force_for(&viewer).config;
        let (_, site) = viewer.site(&config, &site)?;
        let journal = open(&config, site, &viewer)?;
        let line = journal.line.as_ref();
        let task = sent.one("task");
        let store = &journal.store;
        store.change_with(line, |store| store.take_up_again(&site.id, task))?;
        Ok(Redirect::to(&back_to(&sent, Some(&site.id))).into_response())
    });
    made.await?
}

/// The page that a form stood on.
fn back_to(sent: &Sent, site: Option<&str>) -> String {
    match (sent.one("from"), site) {
        ("site", Some(site)) => format!("/sites/{site}"),
        _ => "/".to_owned(),
    }
}

/// The task of a kind that is due at a site.
fn task_of<'w>(week: &'w Week, site: &str, what: &str) -> Option<&'w Task> {
    let mut tasks = week.layers.iter().flat_map(|layer| &layer.tasks);
    tasks.find(|task| {
        task.what == what && task.form().is_some() && task.sites.iter().any(|one| one.id == site)
    })
}
