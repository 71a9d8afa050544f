//! Answers: pages, and what went wrong in words.

use crate::store::StoreError;
use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use tracing::error;

/// Why there is no page.
#[derive(Debug)]
pub(super) enum NoPage {
    /// There is no such thing, or not for whoever asks.
    NotFound,
    /// A form that was not sent from one of our pages.
    Foreign,
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
        let (status, title, words) = match self {
            Self::NotFound => (
                StatusCode::NOT_FOUND,
                "There is no such page",
                "Perhaps the site has another id now.",
            ),
            Self::Foreign => (
                StatusCode::FORBIDDEN,
                "Nothing was changed",
                "The form was not sent from a page of this service. Open the page anew and send it from there. If it was, by a name of this service, whoever runs it sets that name as address in [web].",
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
        (status, Html(page.unwrap_or_else(|_| title.to_owned()))).into_response()
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
