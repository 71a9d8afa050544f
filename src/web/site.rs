//! The page of a site: what to do and by when, the season drawn, the options' days, what was done.

use super::answers::{NoPage, page};
use super::state::{PageConfig, PageState};
use super::viewer::Viewer;
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::drawing::SeasonDrawing;
use crate::report::plan::{HELD_BACK, HOW_TO_READ, PlanReport};
use crate::report::season_picture::SeasonPicture;

use crate::report::status::{OnDisk, ShownSites, SiteStatus, Status, StatusMoment};
use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;
use std::sync::Arc;

#[derive(Template)]
#[template(path = "site.html", config = "src/web/askama.toml")]
struct SitePage<'p> {
    plan: &'p PlanReport,
    status: &'p Status,
    /// What is due, the same with each species.
    due: &'p SiteStatus,
    pictures: Vec<(&'p SeasonPicture, SeasonDrawing<'p>)>,
    notation: &'p Notation,
    how_to_read: &'static str,
    held_back: &'static str,
}

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
            Ok(Some((
                plan,
                status,
                pictures,
                config.service.notation.clone(),
            )))
        })?;
        let (plan, status, pictures, notation) = found.ok_or(NoPage::NotFound)?;
        let due = status.sites.first().ok_or(NoPage::NotFound)?;
        page(&SitePage {
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
        })
    });
    made.await?
}
