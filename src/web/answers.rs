//! Answers: pages, and what went wrong in words.

use crate::store::StoreError;
use askama::Template;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::time::Duration;
use tracing::error;

/// Why there is no page.
#[derive(Debug)]
pub(super) enum NoPage {
    /// There is no such thing, or not for whoever asks.
    NotFound,
    /// The link worked for a while, which is over.
    Lapsed,
    /// Whoever asks has to sign in first.
    SignIn,
    /// A program that asks has no good token.
    NoKey,
    /// Whoever asks may not do this, and why.
    Forbidden(&'static str),
    /// They have tried too often, and may again after a while.
    TooOften(Duration),
    /// Another host was asked for.
    Misdirected,
    /// There is to be no page any more.
    Off,
    /// The database fails.
    Store(StoreError),
    /// The program has made a mistake.
    Fault(String),
}

/// A page that says why there is none.
#[derive(Template)]
#[template(path = "failure.html", config = "src/web/askama.toml")]
struct FailurePage<'f> {
    title: &'f str,
    words: &'f str,
    /// Where to go on.
    back: &'f str,
}

impl From<StoreError> for NoPage {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<askama::Error> for NoPage {
    fn from(error: askama::Error) -> Self {
        Self::Fault(error.to_string())
    }
}

impl From<tokio::task::JoinError> for NoPage {
    fn from(error: tokio::task::JoinError) -> Self {
        Self::Fault(error.to_string())
    }
}

impl IntoResponse for NoPage {
    fn into_response(self) -> Response {
        let mut headers = HeaderMap::new();
        let (status, title, words) = match self {
            Self::SignIn => return Redirect::to("/sign-in").into_response(),
            Self::NoKey => {
                let scheme = HeaderValue::from_static("Bearer");
                headers.insert(header::WWW_AUTHENTICATE, scheme);
                (
                    StatusCode::UNAUTHORIZED,
                    "Who asks is not known",
                    "Sign in, or send a token that is good: Authorization: Bearer, then the token.",
                )
            }
            Self::Forbidden(why) => (StatusCode::FORBIDDEN, "That may not be done", why),
            Self::TooOften(wait) => {
                let seconds = wait.as_secs() + 1;
                headers.insert(header::RETRY_AFTER, seconds.into());
                (
                    StatusCode::TOO_MANY_REQUESTS,
                    "Too often",
                    "Wait some minutes, then try again.",
                )
            }
            Self::Misdirected => (
                StatusCode::MISDIRECTED_REQUEST,
                "Not here",
                "This page has another address. Whoever runs the service sets it as address under [web].",
            ),
            Self::Off => (
                StatusCode::SERVICE_UNAVAILABLE,
                "There is no page any more",
                "Whoever runs the service has taken it away.",
            ),
            Self::NotFound => (
                StatusCode::NOT_FOUND,
                "There is no such page",
                "Perhaps the site has another id now.",
            ),
            Self::Lapsed => (
                StatusCode::GONE,
                "This link has lapsed",
                "It came with a message that is too old to go by. A newer message has a newer link.",
            ),
            Self::Store(problem) => {
                error!("a page cannot be shown: {}", problem.in_full());
                (
                    StatusCode::SERVICE_UNAVAILABLE,
                    "The page cannot be shown now",
                    "What is stored cannot be read. Whoever runs the service finds the reason in its journal.",
                )
            }
            Self::Fault(problem) => {
                error!("a page cannot be shown: {problem}");
                (
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "The page cannot be shown",
                    "The program has made a mistake, which its journal tells.",
                )
            }
        };
        let page = FailurePage {
            title,
            words,
            back: "/",
        }
        .render();
        (
            status,
            headers,
            Html(page.unwrap_or_else(|_| title.to_owned())),
        )
            .into_response()
    }
}

/// A page that says why nothing was done, with the way back.
pub(super) fn refusal(title: &str, words: &str, back: &str) -> Response {
    let page = FailurePage { title, words, back }.render();
    let page = Html(page.unwrap_or_else(|_| words.to_owned()));
    (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
}

/// A page.
///
/// # Errors
/// [`NoPage::Fault`] if the template has a fault.
pub(super) fn page(template: &impl Template) -> Result<Html<String>, NoPage> {
    Ok(Html(template.render()?))
}
