//! What links with a key of their own lead to: a task, a calendar, and stopping mail. Nobody signs in for
//! them; whoever has the address has what it is for, and nothing else.

use super::answers::{NoPage, page};
use super::calendar_text::CalendarText;
use super::overview::NAMED_SITES;
use super::state::PageState;
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::domain::place::site::{Member, Recipient, Site};
use crate::link::{LinkKeys, LinkTo, task_ends};
use crate::report::BRIEF_CAUTIONS;
use crate::report::calendar::ReaderCalendar;
use crate::report::plan::PlanReport;
use crate::report::site_view::SiteView;
use crate::report::status::{OnDisk, ShownSites, SiteStatus, Status, StatusMoment};
use crate::report::week::Week;
use crate::store::links::MailStop;
use crate::store::{Store, StoreError};
use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::NaiveDate;
use ring::digest::{SHA256, digest};
use std::collections::HashMap;
use std::sync::Arc;
use tracing::info;

#[derive(Template)]
#[template(path = "task.html", config = "src/web/askama.toml")]
struct TaskPage<'p> {
    plan: &'p PlanReport,
    due: &'p SiteStatus,
    notation: &'p Notation,
    written: NaiveDate,
    last_day: NaiveDate,
}

/// What is to be done at the site of a message.
pub(super) async fn task(
    State(shared): State<Arc<PageState>>,
    Path((message, site, key)): Path<(String, String, String)>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let found = shared.ask(|asked| {
            let (config, store) = (asked.config, asked.store);
            let to = LinkTo::Task {
                message: &message,
                site: &site,
            };
            if !fits(store, to, &key)? {
                return Ok(Err(NoPage::NotFound));
            }
            let told = match told(config, store, &message, asked.today)? {
                Ok(told) => told,
                Err(why) => return Ok(Err(why)),
            };
            let Some(site_of) = told.sites.iter().find(|(_, one)| one.id == site) else {
                return Ok(Err(NoPage::NotFound));
            };
            let notation = told.reader.notation.clone();
            let config = shared.in_force_in(Some(&notation)).config;
            let view = SiteView::of(&config, store, *site_of, asked.today)?;
            Ok(Ok((view, notation, told.written, told.ends)))
        })?;
        let (view, notation, written, ends) = found?;
        let view = view.ok_or(NoPage::NotFound)?;
        let due = view.species.first().ok_or(NoPage::NotFound)?;
        let shown = page(&TaskPage {
            plan: &view.plan,
            due,
            notation: &notation,
            written,
            last_day: ends.pred_opt().unwrap_or(ends),
        })?;
        Ok(unkept(shown))
    });
    made.await?
}

#[derive(Template)]
#[template(path = "tasks.html", config = "src/web/askama.toml")]
struct TasksPage<'p> {
    week: &'p Week,
    /// The addresses of the sites' tasks, by the sites' ids.
    addresses: &'p HashMap<String, String>,
    /// Sites of a task that are named before the others are folded away.
    named: usize,
    cautions: [&'static str; 2],
    notation: &'p Notation,
    written: NaiveDate,
    last_day: NaiveDate,
}

/// What is to be done at all sites of a message.
pub(super) async fn tasks(
    State(shared): State<Arc<PageState>>,
    Path((message, key)): Path<(String, String)>,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let in_force = shared.in_force();
        let found = shared.ask(|asked| {
            let (config, store) = (asked.config, asked.store);
            let to = LinkTo::Tasks { message: &message };
            let Some(keys) = store.link_secret()?.map(|secret| LinkKeys::new(&secret)) else {
                return Ok(Err(NoPage::NotFound));
            };
            if !keys.fits(to, &key) {
                return Ok(Err(NoPage::NotFound));
            }
            let told = match told(config, store, &message, asked.today)? {
                Ok(told) => told,
                Err(why) => return Ok(Err(why)),
            };
            let addresses: HashMap<String, String> = told
                .sites
                .iter()
                .map(|(_, site)| {
                    let to = LinkTo::Task {
                        message: &message,
                        site: &site.id,
                    };
                    (site.id.clone(), keys.path(to))
                })
                .collect();
            let sites = addresses.keys().cloned().collect();
            let shown = ShownSites {
                sites: Some(&sites),
                ..ShownSites::default()
            };
            let moment = StatusMoment {
                today: asked.today,
                now: Clock::Machine.now(),
                configuration: OnDisk::Usable(&in_force.digest),
                faults: &[],
            };
            let notation = told.reader.notation.clone();
            let config = shared.in_force_in(Some(&notation)).config;
            let week = Week::of(&Status::of(&config, store, shown, moment)?, false);
            Ok(Ok((week, addresses, notation, told.written, told.ends)))
        })?;
        let (week, addresses, notation, written, ends) = found?;
        let shown = page(&TasksPage {
            week: &week,
            addresses: &addresses,
            named: NAMED_SITES,
            cautions: BRIEF_CAUTIONS,
            notation: &notation,
            written,
            last_day: ends.pred_opt().unwrap_or(ends),
        })?;
        Ok(unkept(shown))
    });
    made.await?
}

/// What a message told, as far as its reader may still see it.
struct ToldTasks<'c> {
    reader: &'c Recipient,
    /// Its sites that are still theirs.
    sites: Vec<(&'c Member, &'c Site)>,
    written: NaiveDate,
    /// The first day on which its links no longer work.
    ends: NaiveDate,
}

fn told<'c>(
    config: &'c Config,
    store: &Store,
    message: &str,
    today: NaiveDate,
) -> Result<Result<ToldTasks<'c>, NoPage>, StoreError> {
    let Some(of) = store.message_of_task(message)? else {
        return Ok(Err(NoPage::NotFound));
    };
    let ends = task_ends(of.created_at).date_naive();
    if today >= ends {
        return Ok(Err(NoPage::Lapsed));
    }
    let whose = config.member_and_recipient(&of.recipient);
    let whose = whose.filter(|(member, _)| of.member.as_ref().is_none_or(|id| *id == member.id));
    let Some((member, reader)) = whose else {
        return Ok(Err(NoPage::NotFound));
    };
    let is_theirs = |site: &&Site| of.places.contains(&site.id) && reader.sites.contains(&site.id);
    let sites = member.sites.iter().filter(is_theirs);
    Ok(Ok(ToldTasks {
        reader,
        sites: sites.map(|site| (member, site)).collect(),
        written: of.created_at.date_naive(),
        ends,
    }))
}

/// Whether a key fits; none does before the first link was made.
fn fits(store: &Store, to: LinkTo<'_>, key: &str) -> Result<bool, StoreError> {
    let secret = store.link_secret()?;
    Ok(secret.is_some_and(|secret| LinkKeys::new(&secret).fits(to, key)))
}

/// A page that no browser keeps: its address is a key.
fn unkept(page: Html<String>) -> Response {
    ([(header::CACHE_CONTROL, "no-store")], page).into_response()
}

/// A recipient's calendar.
pub(super) async fn calendar(
    State(shared): State<Arc<PageState>>,
    Path((recipient, key)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let in_force = shared.in_force();
        let config = &in_force.config;
        let of = shared.ask(|asked| reader_of_calendar(config, asked.store, &recipient, &key))?;
        let of = of.ok_or(NoPage::NotFound)?;
        let make = || calendar_text(&shared, config, of);
        let text = shared.calendar(&in_force, &recipient, make)?;
        Ok(calendar_answer(&text, &headers))
    });
    made.await?
}

/// The text of a reader's calendar, written down before anybody sees it.
fn calendar_text(
    shared: &PageState,
    config: &Arc<Config>,
    (member, reader): (&Member, &Recipient),
) -> Result<String, NoPage> {
    let now = Clock::Machine.now();
    let (holds, before, today, install) = shared.ask(|asked| {
        let (store, today) = (asked.store, asked.today);
        let holds = ReaderCalendar::of(config, (member, reader), |sites| {
            shared.site_calendars(config, store, today, sites)
        })?;
        let mut before = store.events_seen_by(&reader.id)?;
        for (site, holds) in &holds.known {
            if !before.contains_key(site) {
                before.insert(site.clone(), store.shared_events(site, holds)?);
            }
        }
        Ok((holds, before, today, store.install()?))
    })?;
    let mut events = holds.published(before.clone(), today, now);
    if events != before {
        let mut store = Store::open(&config.service.database)?;
        events = store.publish_events(&reader.id, |seen| {
            let mut latest = before;
            latest.extend(seen);
            holds.published(latest, today, now)
        })?;
    }
    let name = format!("{}: {}", config.service.name, reader.name);
    let mut text = CalendarText::new(&name, &install);
    for (site, events) in &events {
        for event in events.iter().filter(|event| event.is_shown(now)) {
            text.event(site, event);
        }
    }
    Ok(text.finish())
}

fn reader_of_calendar<'c>(
    config: &'c Config,
    store: &Store,
    recipient: &str,
    key: &str,
) -> Result<Option<(&'c Member, &'c Recipient)>, StoreError> {
    let Some(edition) = store.calendar_edition(recipient)? else {
        return Ok(None);
    };
    let to = LinkTo::Calendar {
        recipient,
        edition: edition.edition,
    };
    if !edition.is_open || !fits(store, to, key)? {
        return Ok(None);
    }
    let found = config.member_and_recipient(recipient);
    Ok(found.filter(|(member, _)| member.id == edition.member))
}

/// The file, unless the reader has it already.
fn calendar_answer(text: &str, headers: &HeaderMap) -> Response {
    let tag = URL_SAFE_NO_PAD.encode(digest(&SHA256, text.as_bytes()));
    let tag = format!("\"{tag}\"");
    let known = headers.get(header::IF_NONE_MATCH);
    let known = known.and_then(|value| value.to_str().ok());
    let is_known = known.is_some_and(|known| known.split(',').any(|one| one.trim() == tag));
    let headers = [
        (header::ETAG, tag),
        (
            header::CONTENT_TYPE,
            "text/calendar; charset=utf-8".to_owned(),
        ),
    ];
    if is_known {
        return (StatusCode::NOT_MODIFIED, headers).into_response();
    }
    (headers, text.to_owned()).into_response()
}

#[derive(Template)]
#[template(path = "stop.html", config = "src/web/askama.toml")]
struct StopPage<'p> {
    name: &'p str,
    answer_to: &'p str,
    recipient: &'p str,
    key: &'p str,
    since: Option<NaiveDate>,
    notation: &'p Notation,
}

/// What a request to the page that stops mail wants.
#[derive(Clone, Copy)]
enum StopWish {
    Look,
    Stop,
    SendAgain,
}

/// Whoever looks, a mail scanner for one, changes nothing.
pub(super) async fn stop_page(
    shared: State<Arc<PageState>>,
    path: Path<(String, String)>,
) -> Result<Response, NoPage> {
    answer_stop(shared, path, StopWish::Look).await
}

/// One click, of a mail program or of the button (RFC 8058): whatever the body says, and without cookies.
pub(super) async fn stop(
    shared: State<Arc<PageState>>,
    path: Path<(String, String)>,
) -> Result<Response, NoPage> {
    answer_stop(shared, path, StopWish::Stop).await
}

pub(super) async fn send_again(
    shared: State<Arc<PageState>>,
    path: Path<(String, String)>,
) -> Result<Response, NoPage> {
    answer_stop(shared, path, StopWish::SendAgain).await
}

async fn answer_stop(
    State(shared): State<Arc<PageState>>,
    Path((recipient, key)): Path<(String, String)>,
    wish: StopWish,
) -> Result<Response, NoPage> {
    let made = tokio::task::spawn_blocking(move || {
        let config = shared.in_force().config;
        let to = LinkTo::StopMail {
            recipient: &recipient,
        };
        let is_fit = shared.ask(|asked| fits(asked.store, to, &key))?;
        let whose = config.member_and_recipient(&recipient);
        let address = config.addresses.get(&recipient);
        let address = address.and_then(|one| one.email.as_ref());
        let ((member, reader), address) = match (whose, address) {
            (Some(whose), Some(address)) if is_fit => (whose, address),
            _ => return Err(NoPage::NotFound),
        };
        match wish {
            StopWish::Look => {}
            StopWish::Stop => {
                let stop = MailStop {
                    since: Clock::Machine.now(),
                    address: address.clone(),
                };
                let store = Store::open(&config.service.database)?;
                store.note_mail_stop(&recipient, Some(&stop))?;
                info!(
                    recipient,
                    "mail that is not urgent is stopped by its reader"
                );
            }
            StopWish::SendAgain => {
                let store = Store::open(&config.service.database)?;
                store.note_mail_stop(&recipient, None)?;
                info!(recipient, "all mail is sent again, as its reader wants");
            }
        }
        let stop = shared.ask(|asked| Ok(asked.store.mail_stops()?.remove(&recipient)))?;
        let stop = stop.filter(|stop| stop.address == *address);
        let shown = page(&StopPage {
            name: &reader.name,
            answer_to: config.answer_to(member),
            recipient: &recipient,
            key: &key,
            since: stop.map(|stop| stop.since.date_naive()),
            notation: &reader.notation,
        })?;
        Ok(unkept(shown))
    });
    made.await?
}
