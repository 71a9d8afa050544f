//! Answers for programs under `/api/v1`: the values of [`crate::report`] as JSON, described by
//! `/api/v1/openapi.json`. What the description says of limits, `question.rs` holds to.

mod answers;
mod description;
mod problem;
mod question;

use super::state::PageState;
use axum::Router;
use axum::extract::State;
use axum::http::header;
use axum::routing::get;
use problem::ProblemDetails;
use std::sync::Arc;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Every address for programs, below the one it is nested at.
pub(super) fn api() -> Router<Arc<PageState>> {
    let (router, described) = described();
    // Texts and numbers can always be written.
    let described = async move |State(shared): State<Arc<PageState>>| {
        let mut described = described.clone();
        let web = shared.web();
        let below = web.as_ref().map_or("", |web| web.path());
        for server in described.servers.iter_mut().flatten() {
            server.url.insert_str(0, below);
        }
        let kind = [(header::CONTENT_TYPE, "application/json")];
        (kind, described.to_pretty_json().unwrap_or_default())
    };
    router
        .route("/openapi.json", get(described))
        .fallback(async || ProblemDetails::no_address())
        .method_not_allowed_fallback(async || ProblemDetails::other_method())
}

/// Their paths, below the one they are nested at.
pub(super) fn api_paths() -> Vec<String> {
    let (_, description) = described();
    let paths = description.paths.paths.into_keys();
    paths.chain(["/openapi.json".to_owned()]).collect()
}

fn described() -> (Router<Arc<PageState>>, utoipa::openapi::OpenApi) {
    OpenApiRouter::with_openapi(description::Description::openapi())
        .routes(routes!(answers::week))
        .routes(routes!(answers::sites))
        .routes(routes!(answers::site_status))
        .routes(routes!(answers::site_plan))
        .routes(routes!(answers::site_outlook))
        .routes(routes!(answers::site_season))
        .routes(routes!(answers::stations))
        .routes(routes!(answers::outbox))
        .split_for_parts()
}
