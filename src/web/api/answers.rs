//! Each address for programs: the same values as the screens, as JSON.

use super::description::{BadQuestion, Forbidden, NotFound, SiteParameter};
use super::problem::ProblemDetails;
use super::question::{Asking, ListPart, NothingElse, OfYear, OnDay, SiteId};
use crate::clock::Clock;
use crate::domain::place::site::{Member, Site};
use crate::report::outlook::OutlookReport;
use crate::report::plan::PlanReport;
use crate::report::season::{NoSeason, SeasonReport, SeasonValues};
use crate::report::sites::ListedSite;
use crate::report::status::{
    OnDisk, OutboxStatus, ShownSites, SiteStatus, StationStatus, Status, StatusMoment,
};
use crate::report::week::Week;
use crate::store::StoreError;
use crate::web::state::{PageConfig, PageState, Question};
use crate::web::viewer::Viewer;
use axum::Json;
use axum::extract::State;
use std::sync::Arc;

type PageShared = State<Arc<PageState>>;

/// Works an answer out where it may wait for the disk.
async fn worked_out<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, ProblemDetails> + Send + 'static,
) -> Result<Json<T>, ProblemDetails> {
    match tokio::task::spawn_blocking(work).await {
        Ok(answer) => answer.map(Json),
        Err(fault) => Err(ProblemDetails::fault(&fault.to_string())),
    }
}

/// Asks about one site that may be seen.
fn of_site<T>(
    shared: &PageState,
    viewer: &Viewer,
    site: &str,
    answer: impl FnOnce(&Question<'_>, (&Member, &Site)) -> Result<T, StoreError>,
) -> Result<T, ProblemDetails> {
    let found = shared.ask(|asked| {
        let mut sites = asked.config.sites();
        let of = sites.find(|(member, one)| one.id == site && viewer.sees(member));
        of.map(|of| answer(&asked, of)).transpose()
    })?;
    found.ok_or_else(|| ProblemDetails::not_found("there is no such site"))
}

fn status(
    shared: &PageState,
    asked: &Question<'_>,
    shown: ShownSites<'_>,
    day: chrono::NaiveDate,
) -> Result<Status, StoreError> {
    let PageConfig { digest, faults, .. } = shared.in_force();
    let moment = StatusMoment {
        today: day,
        now: Clock::Machine.now(),
        configuration: OnDisk::Usable(&digest),
        faults: &faults,
    };
    Status::of(asked.config, asked.store, shown, moment)
}

/// What is to be done this week, worst first
#[utoipa::path(get, path = "/week", responses(
    (status = 200, body = Week), (status = 400, response = BadQuestion),
))]
pub(super) async fn week(
    State(shared): PageShared,
    viewer: Viewer,
    _: Asking<NothingElse>,
) -> Result<Json<Week>, ProblemDetails> {
    worked_out(move || Ok(Week::clone(&*shared.week(&viewer)?))).await
}

/// The sites that may be seen, in the order of the configuration
#[utoipa::path(get, path = "/sites", params(ListPart), responses(
    (status = 200, body = [ListedSite]), (status = 400, response = BadQuestion), (status = 404, response = NotFound),
))]
pub(super) async fn sites(
    State(shared): PageShared,
    viewer: Viewer,
    Asking(part): Asking<ListPart>,
) -> Result<Json<Vec<ListedSite>>, ProblemDetails> {
    let config = shared.in_force().config;
    let seen: Vec<_> = config
        .sites()
        .filter(|(member, _)| viewer.sees(member))
        .collect();
    let from = match part.after() {
        None => 0,
        Some(id) => {
            let place = seen.iter().position(|(_, site)| site.id == id);
            1 + place.ok_or_else(|| ProblemDetails::not_found("after: there is no such site"))?
        }
    };
    let listed = seen.into_iter().skip(from).take(part.limit());
    Ok(Json(listed.map(ListedSite::of).collect()))
}

/// Where a site stands with each of its species, and what is due there
#[utoipa::path(get, path = "/sites/{site}/status", params(SiteParameter, OnDay), responses(
    (status = 200, body = [SiteStatus]), (status = 400, response = BadQuestion), (status = 404, response = NotFound),
))]
pub(super) async fn site_status(
    State(shared): PageShared,
    viewer: Viewer,
    SiteId(site): SiteId,
    Asking(on): Asking<OnDay>,
) -> Result<Json<Vec<SiteStatus>>, ProblemDetails> {
    worked_out(move || {
        of_site(&shared, &viewer, &site, |asked, _| {
            let shown = ShownSites {
                site: Some(&site),
                ..ShownSites::default()
            };
            Ok(status(&shared, asked, shown, on.or(asked.today))?.sites)
        })
    })
    .await
}

/// Whether to treat at a site, which option still works, and on which days
#[utoipa::path(get, path = "/sites/{site}/plan", params(SiteParameter, OnDay), responses(
    (status = 200, body = PlanReport), (status = 400, response = BadQuestion), (status = 404, response = NotFound),
))]
pub(super) async fn site_plan(
    State(shared): PageShared,
    viewer: Viewer,
    SiteId(site): SiteId,
    Asking(on): Asking<OnDay>,
) -> Result<Json<PlanReport>, ProblemDetails> {
    worked_out(move || {
        of_site(&shared, &viewer, &site, |asked, of| {
            PlanReport::of(asked.config, asked.store, of, on.or(asked.today))
        })
    })
    .await
}

/// A site's milestones weeks ahead, as date ranges
#[utoipa::path(get, path = "/sites/{site}/outlook", params(SiteParameter, OnDay), responses(
    (status = 200, body = OutlookReport), (status = 400, response = BadQuestion), (status = 404, response = NotFound),
))]
pub(super) async fn site_outlook(
    State(shared): PageShared,
    viewer: Viewer,
    SiteId(site): SiteId,
    Asking(on): Asking<OnDay>,
) -> Result<Json<OutlookReport>, ProblemDetails> {
    worked_out(move || {
        of_site(&shared, &viewer, &site, |asked, of| {
            OutlookReport::of(asked.config, asked.store, of, on.or(asked.today))
        })
    })
    .await
}

/// A season of a site looked back on: the object that `hatchbell season --json` prints
#[utoipa::path(get, path = "/sites/{site}/season", params(SiteParameter, OfYear), responses(
    (status = 200, body = SeasonValues), (status = 400, response = BadQuestion), (status = 404, response = NotFound),
))]
pub(super) async fn site_season(
    State(shared): PageShared,
    viewer: Viewer,
    SiteId(site): SiteId,
    Asking(of_year): Asking<OfYear>,
) -> Result<Json<SeasonValues>, ProblemDetails> {
    worked_out(move || {
        let season = of_site(&shared, &viewer, &site, |asked, of| {
            let made = SeasonReport::of(asked.config, asked.store, of, of_year.year(), asked.today);
            match made {
                Err(NoSeason::Store(problem)) => Err(problem),
                other => Ok(other),
            }
        })?;
        match season {
            Ok(season) => Ok(season.values()),
            Err(none) => Err(ProblemDetails::not_found(&none.to_string())),
        }
    })
    .await
}

/// How every station's feed goes
#[utoipa::path(get, path = "/stations", responses(
    (status = 200, body = [StationStatus]), (status = 400, response = BadQuestion),
))]
pub(super) async fn stations(
    State(shared): PageShared,
    _: Viewer,
    _: Asking<NothingElse>,
) -> Result<Json<Vec<StationStatus>>, ProblemDetails> {
    worked_out(move || {
        let stations =
            shared.ask(|asked| StationStatus::of_all(asked.config, asked.store, asked.today))?;
        Ok(stations)
    })
    .await
}

/// What became of the messages, for the operator
#[utoipa::path(get, path = "/outbox", responses(
    (status = 200, body = OutboxStatus), (status = 400, response = BadQuestion), (status = 403, response = Forbidden),
))]
pub(super) async fn outbox(
    State(shared): PageShared,
    viewer: Viewer,
    _: Asking<NothingElse>,
) -> Result<Json<OutboxStatus>, ProblemDetails> {
    worked_out(move || {
        if !viewer.is_operator {
            return Err(ProblemDetails::forbidden(
                "messages are the operator's to see",
            ));
        }
        let now = Clock::Machine.now();
        Ok(shared.ask(|asked| OutboxStatus::of(asked.config, asked.store, now))?)
    })
    .await
}
