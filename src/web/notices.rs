//! Notices in browsers: the one page with a script. It asks the browser for an address, and sends it with
//! a form as any other.

use super::answers::{NoPage, page, refusal};
use super::state::PageState;
use super::viewer::{KnownBy, Viewer};
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::domain::place::site::Channel;
use crate::key::Key;
use crate::notify::web_push::BrowserAddress;
use crate::report::browsers::{NoticesInBrowsers, browser_label};
use crate::secret::Secret;
use crate::store::browsers::{BrowserSaid, NewBrowser};
use crate::store::page_keys::KeyOwner;
use askama::Template;
use axum::Form;
use axum::extract::{Path, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::sync::Arc;

/// Below it lies what is for whoever is signed in, whether they may enter anything or not.
pub(super) const NOTICES: &str = "/notices";

/// What a browser may do with this page: also run its script, and the one that shows notices.
const POLICY: &str = "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const SCRIPT: &str = include_str!("templates/notices.js");
const WORKER: &str = include_str!("templates/notices-worker.js");

#[derive(Template)]
#[template(path = "notices.html", config = "src/web/askama.toml")]
struct NoticesPage<'p> {
    viewer: &'p Viewer,
    notices: &'p NoticesInBrowsers,
    notation: &'p Notation,
}

/// What the script has put into the form.
#[derive(Deserialize)]
pub(super) struct BrowserForm {
    endpoint: String,
    key: String,
    auth: String,
    label: String,
}

/// Where a viewer turns notices on and off.
pub(super) async fn notices(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let owner = owner(&config, &viewer);
        let notices = shared.read(|store| NoticesInBrowsers::of(&config, store, owner.as_ref()))?;
        let recipient = owner.and_then(|owner| config.recipient(&owner.recipient));
        let notation = recipient.map_or(&config.service.notation, |one| &one.notation);
        page(&NoticesPage {
            viewer: &viewer,
            notices: &notices,
            notation,
        })
    });
    let shown = made.await??;
    let policy = HeaderValue::from_static(POLICY);
    Ok(([(header::CONTENT_SECURITY_POLICY, policy)], shown).into_response())
}

/// Keeps the browser that the script of the page has asked for an address.
pub(super) async fn turn_on(
    State(shared): State<Arc<PageState>>,
    viewer: Viewer,
    Form(form): Form<BrowserForm>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let (owner, session) = signed_in(&config, &viewer)?;
        let recipient = config.recipient(&owner.recipient);
        if recipient.is_none_or(|one| !one.channels.contains(&Channel::WebPush)) {
            return Err(NoPage::NotFound);
        }
        let refused = |why: &str| Ok(refusal("Notices are not turned on", why, NOTICES));
        let label = match browser_label(&form.label) {
            Ok(label) => label,
            Err(why) => return refused(why),
        };
        let own = config
            .web
            .as_ref()
            .map(|web| web.own_push_services.as_slice());
        let own = own.unwrap_or_default();
        if let Err(why) = BrowserAddress::read(&form.endpoint, &form.key, &form.auth, own) {
            return refused(&format!("Nothing is sent there: {why}."));
        }
        let said = BrowserSaid {
            endpoint: Secret::new(form.endpoint),
            key: form.key,
            auth: Secret::new(form.auth),
        };
        let new = NewBrowser {
            owner: &owner,
            session: &session.hash(),
            said: &said,
            label,
            now: Clock::Machine.now(),
        };
        if !shared.write(|store| store.keep_browser(&new))? {
            return refused("They are on in as many browsers as there may be.");
        }
        // Something may have waited for it.
        shared.ring();
        Ok(Redirect::to(NOTICES).into_response())
    });
    made.await?
}

/// Ends the notices in one of a viewer's browsers.
pub(super) async fn end(
    State(shared): State<Arc<PageState>>,
    Path(number): Path<i64>,
    viewer: Viewer,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let (owner, _) = signed_in(&config, &viewer)?;
        let now = Clock::Machine.now();
        match shared.write(|store| store.end_browser(number, &owner, now))? {
            true => Ok(Redirect::to(NOTICES).into_response()),
            false => Err(NoPage::NotFound),
        }
    });
    made.await?
}

/// The script of the page.
pub(super) async fn script() -> impl IntoResponse {
    as_script(SCRIPT)
}

/// What shows notices.
pub(super) async fn worker() -> impl IntoResponse {
    as_script(WORKER)
}

fn as_script(text: &'static str) -> ([(HeaderName, &'static str); 2], &'static str) {
    let headers = [
        (header::CONTENT_TYPE, "text/javascript; charset=utf-8"),
        (header::CACHE_CONTROL, "no-cache"),
    ];
    (headers, text)
}

/// Whose notices a viewer sees.
fn owner(config: &Config, viewer: &Viewer) -> Option<KeyOwner> {
    let (member, recipient) = config.member_and_recipient(viewer.recipient.as_deref()?)?;
    Some(KeyOwner {
        recipient: recipient.id.clone(),
        member: member.id.clone(),
    })
}

/// Somebody who is signed in: programs have no browser.
fn signed_in<'v>(config: &Config, viewer: &'v Viewer) -> Result<(KeyOwner, &'v Key), NoPage> {
    match (owner(config, viewer), &viewer.way) {
        (Some(owner), KnownBy::Session(session)) => Ok((owner, session)),
        _ => Err(NoPage::NotFound),
    }
}
