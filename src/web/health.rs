//! Whether the service works, for what watches it. Anybody may ask, so nothing is told but yes or no.

use super::state::PageState;
use crate::clock::Clock;
use crate::report::health::ServiceHealth;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use tracing::error;

/// The process answers.
pub(super) async fn livez() -> Response {
    answer(true)
}

/// The database can be read, and cycles run when they should.
pub(super) async fn readyz(State(shared): State<Arc<PageState>>) -> Response {
    answer(judged(shared, |health| health.runs).await)
}

/// Nobody has to look: besides, days arrive and no message was given up.
pub(super) async fn healthz(State(shared): State<Arc<PageState>>) -> Response {
    answer(judged(shared, ServiceHealth::is_well).await)
}

async fn judged(shared: Arc<PageState>, judge: fn(&ServiceHealth) -> bool) -> bool {
    let judged = tokio::task::spawn_blocking(move || {
        let now = Clock::Machine.now();
        let health =
            shared.ask(|asked| ServiceHealth::of(asked.config, asked.store, asked.today, now));
        health.map_or_else(
            |problem| {
                error!("whether all is well cannot be told: {}", problem.in_full());
                false
            },
            |health| judge(&health),
        )
    });
    judged.await.unwrap_or(false)
}

fn answer(well: bool) -> Response {
    let (status, word) = match well {
        true => (StatusCode::OK, "ok\n"),
        false => (StatusCode::SERVICE_UNAVAILABLE, "not ok\n"),
    };
    let headers = [
        (header::CONTENT_TYPE, "text/plain; charset=utf-8"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    (status, headers, word).into_response()
}
