//! Which address shows what, and what every answer says to the browser.

use super::answers::NoPage;
use super::overview::overview;
use super::site::site;
use super::state::PageState;
use axum::Router;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use std::any::Any;
use std::sync::Arc;
use std::time::Duration;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;

/// Longest time for an answer.
const PATIENCE: Duration = Duration::from_secs(20);
/// Most bytes of a form.
const MOST_BYTES: usize = 64 * 1024;

/// What a browser may do with a page: nothing but show it and send its own forms.
const POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const STYLE: &str = include_str!("templates/style.css");

/// Every address there is.
pub(super) fn routes(shared: Arc<PageState>) -> Router {
    Router::new()
        .route("/", get(overview))
        .route("/sites/{site}", get(site))
        .route("/style.css", get(style))
        .merge(super::entries::routes())
        .fallback(async || NoPage::NotFound)
        .with_state(shared)
        .layer(RequestBodyLimitLayer::new(MOST_BYTES))
        .layer(TimeoutLayer::with_status_code(
            StatusCode::SERVICE_UNAVAILABLE,
            PATIENCE,
        ))
        .layer(CatchPanicLayer::custom(fault))
        .layer(header_of(header::CONTENT_SECURITY_POLICY, POLICY))
        .layer(header_of(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(header_of(header::REFERRER_POLICY, "same-origin"))
        .layer(unless_set(header::CACHE_CONTROL, "private, no-cache"))
}

fn header_of(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::overriding(name, HeaderValue::from_static(value))
}

fn unless_set(name: HeaderName, value: &'static str) -> SetResponseHeaderLayer<HeaderValue> {
    SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
}

async fn style() -> impl IntoResponse {
    let headers = [
        (header::CONTENT_TYPE, "text/css; charset=utf-8"),
        (header::CACHE_CONTROL, "private, max-age=3600"),
    ];
    (headers, STYLE)
}

/// What a panic ends in. Its words are in the journal already.
fn fault(_: Box<dyn Any + Send>) -> Response {
    NoPage::Fault("a fault in the program".to_owned()).into_response()
}
