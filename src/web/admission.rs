//! Who is let in: asked once for every address, before any handler runs, so that none can forget it.

use super::answers::NoPage;
use super::client::is_own_host;
use super::form_guard::{guarded, only_looks};
use super::notices::NOTICES;
use super::routes::PROGRAMS;
use super::state::PageState;
use super::viewer::{NoViewer, Viewer};
use crate::clock::Clock;
use crate::config::Web;
use crate::store::audit::{AuditLine, LineOfChange};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use tracing::error;

/// Whether an address is also for those who may only look: what they change there is their own.
fn is_for_readers(path: &str) -> bool {
    let below = path.strip_prefix(NOTICES);
    path == "/sign-out" || below.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// Refuses what asks for another host, and everything once the page is no longer configured.
pub(super) async fn own_host_only(
    State(shared): State<Arc<PageState>>,
    mut request: Request,
    next: Next,
) -> Response {
    let Some(web) = shared.web() else {
        return NoPage::Off.into_response();
    };
    if !is_own_host(request.headers(), &web, shared.listening()) {
        return NoPage::Misdirected.into_response();
    }
    request.extensions_mut().insert(Arc::new(web));
    next.run(request).await
}

/// Lets in whoever has a key, to look, and to change something if they may and it is from a form of
/// theirs. Every change leaves a line in the audit, written with the change.
pub(super) async fn admit(
    State(shared): State<Arc<PageState>>,
    request: Request,
    next: Next,
) -> Response {
    match admitted(shared, request, next).await {
        Ok(response) => response,
        Err(no_page) => no_page.into_response(),
    }
}

async fn admitted(
    shared: Arc<PageState>,
    request: Request,
    next: Next,
) -> Result<Response, NoPage> {
    let (parts, body) = request.into_parts();
    let web = parts.extensions.get::<Arc<Web>>().cloned();
    let web = web.ok_or(NoPage::Off)?;
    let asked = (Arc::clone(&shared), Arc::clone(&web));
    let (viewer, mut parts) = tokio::task::spawn_blocking(move || {
        let viewer = Viewer::of(&asked.0, &asked.1, &parts);
        (viewer, parts)
    })
    .await?;
    let mut viewer = match viewer {
        Ok(viewer) => viewer,
        Err(NoViewer::Stranger) if only_looks(&parts.method) && reads_pages(&parts.headers) => {
            return Err(NoPage::SignIn);
        }
        Err(NoViewer::Stranger | NoViewer::BadToken) => return Err(NoPage::NoKey),
        Err(NoViewer::Store(problem)) => return Err(problem.into()),
    };
    let path = parts.uri.path().to_owned();
    // Addresses for programs only look, and say themselves which methods they do not have.
    if only_looks(&parts.method) || path.starts_with(PROGRAMS) {
        parts.extensions.insert(viewer);
        return Ok(next.run(Request::from_parts(parts, body)).await);
    }
    if !viewer.may_write && !is_for_readers(&path) {
        return Err(NoPage::Forbidden(
            "You may look here, and change nothing. Whoever runs the service can change that.",
        ));
    }
    let line = LineOfChange::new(AuditLine {
        at: Clock::Machine.now(),
        recipient: viewer.recipient.clone(),
        way: viewer.way_in_words(),
        action: parts.method.to_string(),
        subject: path,
        client: Some(viewer.client.to_string()),
    });
    viewer.line = Some(line.clone());
    parts.extensions.insert(viewer.clone());
    let request = guarded(&viewer, &web, parts, body).await?;
    let response = next.run(request).await;
    let status = response.status();
    if !status.is_client_error() && !status.is_server_error() {
        let noted = tokio::task::spawn_blocking(move || {
            // What nothing was changed for, or by a handler that does not see to it.
            let Some(line) = line.unwritten() else {
                return;
            };
            if let Err(problem) = shared.write(|store| store.note_audit(line)) {
                error!(
                    "a line is missing in the audit: {line:?} ({})",
                    problem.in_full()
                );
            }
        });
        noted.await?;
    }
    Ok(response)
}

/// Whether somebody reads pages, and is no program that wants data.
fn reads_pages(headers: &HeaderMap) -> bool {
    let accepted = headers.get_all(header::ACCEPT).into_iter();
    accepted
        .filter_map(|list| list.to_str().ok())
        .any(|list| list.contains("text/html"))
}
