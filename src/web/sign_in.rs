//! Signing in by a link that is sent to a recipient's own address, and signing out.
//!
//! A link is good once and for a short while. Opening it shows a button, and the button signs in:
//! programs that look into mails open links, and press no buttons.

use super::answers::{NoPage, page};
use super::form_guard::{NOT_A_FORM, is_own_form};
use super::state::PageState;
use super::viewer::{KnownBy, Viewer, cookie_name, is_https, of_request};
use crate::clock::Clock;
use crate::config::{Config, Web};
use crate::domain::place::site::{Channel, Member, PageAccess, Recipient};
use crate::key::Key;
use crate::notify::wording::{SignInLink, sign_in_message};
use crate::store::StoreError;
use crate::store::audit::AuditLine;
use crate::store::outbox::{About, Draft};
use crate::store::page_keys::{KeyOwner, LINK_LASTS, NewKey, SIGN_IN};
use askama::Template;
use axum::extract::{Path, State};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::{Extension, Form};
use chrono::TimeDelta;
use serde::Deserialize;
use std::net::IpAddr;
use std::sync::Arc;
use tracing::error;

/// How long a session is good.
const SESSION_LASTS: TimeDelta = TimeDelta::days(30);
/// Where a link that is good no more leads: what opens there is such a link's page.
const LAPSED: &str = "/sign-in/lapsed";
/// Recipients of one address who get a link each.
const MOST_OF_AN_ADDRESS: usize = 8;
/// Longest text that can be an address.
const LONGEST_ADDRESS: usize = 254;

#[derive(Template)]
#[template(path = "sign_in.html", config = "src/web/askama.toml")]
struct SignInPage<'c> {
    service: &'c str,
    answer_to: &'c str,
}

#[derive(Template)]
#[template(path = "sign_in_sent.html", config = "src/web/askama.toml")]
struct SentPage<'c> {
    service: &'c str,
    answer_to: &'c str,
    minutes: i64,
}

#[derive(Template)]
#[template(path = "sign_in_link.html", config = "src/web/askama.toml")]
struct LinkPage<'c> {
    service: &'c str,
    /// Whose link it is; none if it is good no more.
    name: Option<&'c str>,
    link: &'c str,
}

/// Who wants to sign in.
#[derive(Deserialize)]
pub(super) struct WhoAsks {
    /// A mail address, or a recipient's id.
    who: String,
}

type SharedPage = State<Arc<PageState>>;
type WebTable = Extension<Arc<Web>>;

/// Where a link is asked for.
pub(super) async fn sign_in(State(shared): SharedPage, web: WebTable) -> Result<Response, NoPage> {
    if !shared.wants_sign_in(&web) {
        return Ok(Redirect::to("/").into_response());
    }
    let service = &shared.in_force().config.service;
    let page = page(&SignInPage {
        service: &service.name,
        answer_to: &service.answer_to,
    })?;
    Ok(unstored(page))
}

/// Sends a link, if there is somebody of this address. The answer is the same if there is nobody, and
/// does not wait for what is done.
pub(super) async fn ask_for_link(
    State(shared): SharedPage,
    Extension(web): WebTable,
    parts: Parts,
    Form(WhoAsks { who }): Form<WhoAsks>,
) -> Result<Redirect, NoPage> {
    if !shared.wants_sign_in(&web) {
        return Err(NoPage::NotFound);
    }
    if !is_own_form(&parts.headers, &web) {
        return Err(NoPage::Forbidden(NOT_A_FORM));
    }
    let client = of_request(&parts, &web);
    let who = who.trim().to_ascii_lowercase();
    shared.try_of_client(client).map_err(NoPage::TooOften)?;
    if who.len() <= LONGEST_ADDRESS {
        shared.try_of_address(&who).map_err(NoPage::TooOften)?;
        tokio::task::spawn_blocking(move || {
            if let Err(problem) = send_links(&shared, &web, &who, client) {
                error!("no link to sign in can be sent: {problem}");
            }
        });
    }
    Ok(Redirect::to("/sign-in/sent"))
}

/// What is said once a link was asked for.
pub(super) async fn sent(State(shared): SharedPage) -> Result<Html<String>, NoPage> {
    let service = &shared.in_force().config.service;
    page(&SentPage {
        service: &service.name,
        answer_to: &service.answer_to,
        minutes: LINK_LASTS.num_minutes(),
    })
}

/// A link that is opened: a button.
pub(super) async fn link(
    State(shared): SharedPage,
    Path(link): Path<String>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let owner = match Key::shown(&link) {
            Some(key) => {
                let now = Clock::Machine.now();
                shared.read(|store| store.sign_in_link(&key.hash(), now))?
            }
            None => None,
        };
        let found = owner.as_ref().and_then(|owner| still_there(&config, owner));
        page(&LinkPage {
            service: &config.service.name,
            name: found.map(|(_, recipient)| recipient.name.as_str()),
            link: &link,
        })
    });
    Ok(unstored(made.await??))
}

/// The button below a link: the link is taken, and a session begins.
pub(super) async fn take_link(
    State(shared): SharedPage,
    Extension(web): WebTable,
    Path(link): Path<String>,
    parts: Parts,
) -> Result<Response, NoPage> {
    if !is_own_form(&parts.headers, &web) {
        return Err(NoPage::Forbidden(NOT_A_FORM));
    }
    let client = of_request(&parts, &web);
    shared.try_of_client(client).map_err(NoPage::TooOften)?;
    let again = Redirect::to(LAPSED).into_response();
    let Some(link) = Key::shown(&link) else {
        return Ok(again);
    };
    let session = Key::random().map_err(|error| NoPage::Fault(error.to_string()))?;
    let kept = session.clone();
    let begun = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let now = Clock::Machine.now();
        let link = link.hash();
        let Some(owner) = shared.read(|store| store.sign_in_link(&link, now))? else {
            return Ok(false);
        };
        if still_there(&config, &owner).is_none() {
            return Ok(false);
        }
        let key = NewKey {
            hash: &kept.hash(),
            owner: &owner,
            now,
            lapses_at: now + SESSION_LASTS,
        };
        let line = line_of(&owner, "link", "signed in", client);
        shared.write(|store| store.begin_session(&link, &key, &line))
    });
    let begun: Result<bool, StoreError> = begun.await?;
    if !begun? {
        return Ok(again);
    }
    let cookie = cookie(&web, session.expose(), SESSION_LASTS);
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
}

/// Ends the session.
pub(super) async fn sign_out(
    State(shared): SharedPage,
    Extension(web): WebTable,
    viewer: Viewer,
) -> Result<Response, NoPage> {
    let line = viewer.line;
    let KnownBy::Session(key) = viewer.way else {
        return Err(NoPage::NotFound);
    };
    let ended = tokio::task::spawn_blocking(move || {
        shared.write(|store| {
            store.change_with(line.as_ref(), |store| {
                store.end_session(&key.hash(), Clock::Machine.now())
            })
        })
    });
    ended.await??;
    let cookie = cookie(&web, "", TimeDelta::zero());
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/sign-in")).into_response())
}

/// A page that no browser keeps.
fn unstored(page: Html<String>) -> Response {
    (StatusCode::OK, [(header::CACHE_CONTROL, "no-store")], page).into_response()
}

fn cookie(web: &Web, value: &str, lasts: TimeDelta) -> String {
    let secure = match is_https(web) {
        true => "; Secure",
        false => "",
    };
    format!(
        "{}={value}; Path={}/; HttpOnly; SameSite=Lax; Max-Age={}{secure}",
        cookie_name(web),
        web.path(),
        lasts.num_seconds()
    )
}

/// The recipient whose a key is, if they are still there and may see the page.
fn still_there<'c>(config: &'c Config, owner: &KeyOwner) -> Option<(&'c Member, &'c Recipient)> {
    let (member, recipient) = config.member_and_recipient(&owner.recipient)?;
    let may = member.id == owner.member && recipient.page != PageAccess::None;
    may.then_some((member, recipient))
}

fn line_of(owner: &KeyOwner, way: &str, action: &str, client: IpAddr) -> AuditLine {
    AuditLine {
        at: Clock::Machine.now(),
        recipient: Some(owner.recipient.clone()),
        way: way.to_owned(),
        action: action.to_owned(),
        subject: "page".to_owned(),
        client: Some(client.to_string()),
    }
}

/// Sends a link to each recipient whom somebody can mean: all of a mail address, by mail, or the one of
/// an id, by mail or else by their first way.
fn send_links(shared: &PageState, web: &Web, who: &str, client: IpAddr) -> Result<(), String> {
    let config = shared.in_force().config;
    let mut sent = 0;
    for member in &config.members {
        for recipient in &member.recipients {
            let Some(channel) = meant_by(&config, recipient, who) else {
                continue;
            };
            if recipient.page == PageAccess::None || sent == MOST_OF_AN_ADDRESS {
                continue;
            }
            send_link(shared, web, &config, (member, recipient, channel), client)?;
            sent += 1;
        }
    }
    if sent > 0 {
        shared.ring();
    }
    Ok(())
}

/// The way by which a recipient gets a link, if they are meant.
fn meant_by(config: &Config, recipient: &Recipient, who: &str) -> Option<Channel> {
    let email = config.addresses.get(&recipient.id)?.email.as_deref();
    if email.is_some_and(|email| bare(email).eq_ignore_ascii_case(who)) {
        return Some(Channel::Email);
    }
    let ways = [Channel::Email, Channel::Push, Channel::WebPush];
    let best = ways
        .into_iter()
        .find(|way| recipient.channels.contains(way));
    let way = best.or(recipient.channels.first().copied());
    way.filter(|_| recipient.id == who)
}

/// A mail address without the name before it.
fn bare(email: &str) -> &str {
    let inner = email.rsplit_once('<').map(|(_, address)| address);
    inner
        .map_or(email, |inner| inner.trim_end_matches('>'))
        .trim()
}

fn send_link(
    shared: &PageState,
    web: &Web,
    config: &Config,
    (member, recipient, channel): (&Member, &Recipient, Channel),
    client: IpAddr,
) -> Result<(), String> {
    let key = Key::random().map_err(|error| error.to_string())?;
    let own = format!("http://{}/", shared.listening());
    let base = web
        .address
        .as_ref()
        .map_or(own.as_str(), |url| url.as_str());
    let message = sign_in_message(
        channel,
        &SignInLink {
            service: &config.service.name,
            name: &recipient.name,
            link: &format!("{base}sign-in/{}", key.expose()),
            minutes: LINK_LASTS.num_minutes(),
            answer_to: config.answer_to(member),
        },
    );
    let draft = Draft {
        recipient: &recipient.id,
        member: &member.id,
        channel,
        title: message.title,
        body: message.body,
        urgent: true,
        about: About {
            kinds: vec![SIGN_IN],
            places: Vec::new(),
            ..About::default()
        },
    };
    let owner = KeyOwner {
        recipient: recipient.id.clone(),
        member: member.id.clone(),
    };
    let now = Clock::Machine.now();
    let link = NewKey {
        hash: &key.hash(),
        owner: &owner,
        now,
        lapses_at: now + LINK_LASTS,
    };
    let line = line_of(&owner, channel.name(), "asked for a link", client);
    let noted = shared.write(|store| store.note_sign_in_link(&link, &[draft], &line));
    noted.map_err(|problem| problem.in_full())
}
