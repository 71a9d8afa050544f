//! The page of a site: what to do and by when, the season drawn, the options' days, what was done.

use super::answers::{NoPage, page};
use super::state::PageState;
use super::viewer::Viewer;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::drawing::SeasonDrawing;
use crate::report::plan::{HELD_BACK, HOW_TO_READ, PlanReport};
use crate::report::season::season_on;
use crate::report::season_picture::SeasonPicture;

use crate::report::status::{ShownSites, SiteStatus, Status, StatusMoment};
use crate::report::task::{LAST_DAY, USUAL_DAYS, form_of, most_days, until_of};
use crate::store::postponements::Postponement;
use crate::store::{Store, StoreError};
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
    status: &'p Status,
    /// What is due, the same with each species.
    due: &'p SiteStatus,
    pictures: Vec<(&'p SeasonPicture, SeasonDrawing<'p>)>,
    notation: &'p Notation,
    how_to_read: &'static str,
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

/// What the page of a site shows to whoever may see it.
pub(super) struct SiteShown {
    plan: PlanReport,
    status: Status,
    pictures: Vec<SeasonPicture>,
    put_off: Vec<Postponement>,
    year: i32,
}

impl SiteShown {
    /// # Errors
    /// [`StoreError`] if the database fails, or the site is gone.
    pub(super) fn of(
        config: &Config,
        store: &Store,
        site: &str,
        moment: StatusMoment<'_>,
    ) -> Result<Option<Self>, StoreError> {
        let today = moment.today;
        let Some(of) = config.sites().find(|(_, one)| one.id == site) else {
            return Ok(None);
        };
        let shown = ShownSites {
            site: Some(site),
            ..ShownSites::default()
        };
        let season = season_on(config, of.1, today);
        Ok(Some(Self {
            plan: PlanReport::of(config, store, of, today)?,
            status: Status::of(config, store, shown, moment)?,
            pictures: SeasonPicture::of_site(config, store, site, today)?,
            put_off: store.put_off_on(today)?,
            year: season.map_or(today, |season| season.start).year(),
        }))
    }
}

pub(super) async fn site(
    State(shared): State<Arc<PageState>>,
    Path(site): Path<String>,
    viewer: Viewer,
) -> Result<Html<String>, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        if viewer.site(&config, &site).is_err() {
            return Err(NoPage::NotFound);
        }
        let found = shared.site(&site)?;
        let shown = found.as_ref().as_ref().ok_or(NoPage::NotFound)?;
        let due = shown.status.sites.first().ok_or(NoPage::NotFound)?;
        let most = most_days(shown.plan.day, due.due.by);
        let due_of = due.due.option.as_deref();
        page(&SitePage {
            viewer: &viewer,
            plan: &shown.plan,
            due,
            status: &shown.status,
            pictures: shown
                .pictures
                .iter()
                .map(|picture| (picture, SeasonDrawing::of(picture)))
                .collect(),
            notation: &config.service.notation,
            how_to_read: HOW_TO_READ,
            held_back: HELD_BACK,
            form: form_of(due.due.what),
            until: until_of(&shown.put_off, &due.site, due.due.what, due_of),
            usual_days: USUAL_DAYS.min(most),
            most_days: most,
            last_day: LAST_DAY,
            kinds: ENTRY_LINKS,
            year: shown.year,
        })
    });
    made.await?
}
