//! What went wrong, for programs: problem details by RFC 9457.

use crate::store::StoreError;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use tracing::error;
use utoipa::ToSchema;

/// ProblemDetails details (RFC 9457). The type is always `about:blank`: the status says which problem it is.
#[derive(Debug, Serialize, ToSchema)]
pub(crate) struct ProblemDetails {
    /// The HTTP status.
    status: u16,
    /// The same in words.
    title: &'static str,
    /// What it is here, and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    detail: Option<String>,
}

impl ProblemDetails {
    fn of(status: StatusCode, detail: Option<String>) -> Self {
        Self {
            status: status.as_u16(),
            title: status.canonical_reason().unwrap_or("ProblemDetails"),
            detail,
        }
    }

    /// The question has a mistake.
    pub fn bad_question(detail: String) -> Self {
        Self::of(StatusCode::BAD_REQUEST, Some(detail))
    }

    /// There is no such thing, or not for whoever asks: these are not told apart.
    pub fn not_found(detail: &str) -> Self {
        Self::of(StatusCode::NOT_FOUND, Some(detail.to_owned()))
    }

    /// It is not for whoever asks.
    pub fn forbidden(detail: &str) -> Self {
        Self::of(StatusCode::FORBIDDEN, Some(detail.to_owned()))
    }

    /// There is no such address.
    pub fn no_address() -> Self {
        Self::not_found("there is no such address; /api/v1/openapi.json lists those there are")
    }

    /// The address takes another method.
    pub fn other_method() -> Self {
        let detail = "this address answers GET and HEAD only";
        Self::of(StatusCode::METHOD_NOT_ALLOWED, Some(detail.to_owned()))
    }

    /// The program has made a mistake.
    pub fn fault(what: &str) -> Self {
        error!("a program cannot be answered: {what}");
        let detail = "a mistake of the program, which its journal tells";
        Self::of(StatusCode::INTERNAL_SERVER_ERROR, Some(detail.to_owned()))
    }
}

impl From<StoreError> for ProblemDetails {
    fn from(problem: StoreError) -> Self {
        error!("a program cannot be answered: {}", problem.in_full());
        let detail = "what is stored cannot be read; the service's journal has the reason";
        Self::of(StatusCode::SERVICE_UNAVAILABLE, Some(detail.to_owned()))
    }
}

impl IntoResponse for ProblemDetails {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        // Numbers and texts can always be written.
        let body = serde_json::to_vec(&self).unwrap_or_default();
        (status, kind, body).into_response()
    }
}
