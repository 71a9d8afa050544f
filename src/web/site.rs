//! The page of a site: what to do and by when, the season drawn, the options' days, what was done.

use super::answers::{NoPage, page};
use super::state::PageState;
use super::viewer::Viewer;
use crate::domain::notation::Notation;
use crate::drawing::SeasonDrawing;
use crate::report::plan::{HELD_BACK, PlanReport};
use crate::report::season::season_on;
use crate::report::season_picture::SeasonPicture;
use crate::report::site_view::SiteView;
use crate::report::status::SiteStatus;
use crate::report::task::{LAST_DAY, USUAL_DAYS, form_of, most_days, until_of};
use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;
use chrono::Datelike;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "site.html", config = "src/web/askama.toml")]
struct SitePage<'p> {
    viewer: &'p Viewer,
    plan: &'p PlanReport,
    view: &'p SiteView,
    /// What is due, the same with each species.
    due: &'p SiteStatus,
    pictures: Vec<(&'p SeasonPicture, SeasonDrawing<'p>)>,
    notation: &'p Notation,
    held_back: &'static str,
    /// The form that logs what is due as done, by its name.
    form: Option<&'static str>,
    /// The day on which what is due is shown again, if it is put off.
    until: Option<chrono::NaiveDate>,
    usual_days: u32,
    most_days: u32,
    /// Why it is not put off on its last day.
    last_day: &'static str,
    kinds: [(&'static str, &'static str); 6],
    year: i32,
}

/// What can be entered at a site: the name of each form, and its words.
const ENTRY_LINKS: [(&str, &str); 6] = [
    ("application", "Spread something"),
    ("water", "Watered"),
    ("count", "Counted grubs"),
    ("catch", "Caught or saw beetles"),
    ("damage", "Saw damage, or none"),
    ("note", "A note"),
];

pub(super) async fn site(
    State(shared): State<Arc<PageState>>,
    Path(site): Path<String>,
    viewer: Viewer,
) -> Result<Html<String>, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let view = shared.site(&viewer, &site)?;
        let view = (*view).as_ref().ok_or(NoPage::NotFound)?;
        let due = view.species.first().ok_or(NoPage::NotFound)?;
        let config = shared.in_force_for(&viewer).config;
        let most = most_days(view.plan.day, due.due.by);
        let (_, of) = viewer.site(&config, &site)?;
        let put_off = shared.read(|store| store.put_off_on(view.plan.day))?;
        let season = season_on(&config, of, view.plan.day);
        let year = season.map_or(view.plan.day, |season| season.start).year();
        page(&SitePage {
            viewer: &viewer,
            plan: &view.plan,
            due,
            view,
            pictures: view
                .pictures
                .iter()
                .map(|picture| (picture, SeasonDrawing::of(picture)))
                .collect(),
            notation: &config.service.notation,
            held_back: HELD_BACK,
            form: form_of(due.due.what),
            until: until_of(&put_off, &due.site, due.due.what, due.due.option.as_deref()),
            usual_days: USUAL_DAYS.min(most),
            most_days: most,
            last_day: LAST_DAY,
            kinds: ENTRY_LINKS,
            year,
        })
    });
    made.await?
}
