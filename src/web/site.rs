//! The page of a site: what to do and by when, the season drawn, the options' days, what was done.

use super::answers::{NoPage, page};
use super::state::{PageConfig, PageState};
use super::viewer::Viewer;
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::drawing::SeasonDrawing;
use crate::report::plan::{HELD_BACK, HOW_TO_READ, PlanReport};
use crate::report::season::season_on;
use crate::report::season_picture::SeasonPicture;

use crate::report::status::{OnDisk, ShownSites, SiteStatus, Status, StatusMoment};
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

pub(super) async fn site(
    State(shared): State<Arc<PageState>>,
    Path(site): Path<String>,
    viewer: Viewer,
) -> Result<Html<String>, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let PageConfig { digest, faults, .. } = shared.in_force();
        let found = shared.ask(|asked| {
            let config: &Config = asked.config;
            let Ok(of) = viewer.site(config, &site) else {
                return Ok(None);
            };
            let plan = PlanReport::of(config, asked.store, of, asked.today)?;
            let shown = ShownSites {
                site: Some(&site),
                ..ShownSites::default()
            };
            let moment = StatusMoment {
                today: asked.today,
                now: Clock::Machine.now(),
                configuration: OnDisk::Usable(&digest),
                faults: &faults,
            };
            let status = Status::of(config, asked.store, shown, moment)?;
            let pictures = SeasonPicture::of_site(config, asked.store, &site, asked.today)?;
            let put_off = asked.store.put_off_on(asked.today)?;
            let season = season_on(config, of.1, asked.today);
            let year = season.map_or(asked.today, |season| season.start).year();
            Ok(Some((
                plan,
                status,
                pictures,
                config.service.notation.clone(),
                put_off,
                year,
            )))
        })?;
        let (plan, status, pictures, notation, put_off, year) = found.ok_or(NoPage::NotFound)?;
        let due = status.sites.first().ok_or(NoPage::NotFound)?;
        let most = most_days(plan.day, due.due.by);
        page(&SitePage {
            viewer: &viewer,
            plan: &plan,
            due,
            status: &status,
            pictures: pictures
                .iter()
                .map(|picture| (picture, SeasonDrawing::of(picture)))
                .collect(),
            notation: &notation,
            how_to_read: HOW_TO_READ,
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
