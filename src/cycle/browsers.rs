//! Notices to browsers: where each goes, on what terms, and what is done when a browser takes no more.

use super::Engine;
use super::lines::extra_ca;
use crate::config::Config;
use crate::domain::place::site::{Channel, Recipient};
use crate::feed::fetch::user_agent;
use crate::notify::web_push::{
    BrowserAddress, NewServiceKey, NoticeTerms, WebPushSettings, WebPusher,
};
use crate::notify::wording::{BrowserEnded, browser_ended_message};
use crate::notify::{Enclosed, SendError};
use crate::secret::Secret;
use crate::store::browsers::{Browser, BrowserSaid};
use crate::store::outbox::{About, Draft, DueMessage, Waiting};
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use reqwest::Url;
use std::collections::HashMap;
use std::time::Duration;
use tracing::warn;

/// How long a notice without a last day is worth something: as long as it is tried.
const USUALLY_WORTH: TimeDelta = TimeDelta::days(14);

/// After midnight UTC the last day goes on for a while where the clocks are behind.
const AFTER_MIDNIGHT: TimeDelta = TimeDelta::hours(12);

/// Where a notice goes.
pub(super) struct BrowserTarget {
    /// The browser.
    pub browser: BrowserAddress,
    /// What goes with the notice.
    pub terms: NoticeTerms,
    /// When it is sent.
    pub now: DateTime<Utc>,
}

/// Browsers by their numbers.
pub(super) struct Browsers(HashMap<i64, Browser>);

impl Browsers {
    pub fn of(store: &Store) -> Result<Self, StoreError> {
        let all = store.browsers()?.into_iter();
        Ok(Self(all.map(|one| (one.number, one)).collect()))
    }

    /// The push service of the browser that a message is for; none if there is no such browser.
    pub fn service(&self, config: &Config, due: &DueMessage) -> Option<String> {
        let browser = self.0.get(&due.browser?)?;
        address(config, &browser.said).ok().map(|one| one.service())
    }

    /// Whether a message is for a browser that is not there, and its recipient gets it by another way.
    pub fn is_needless(&self, recipient: Option<&Recipient>, due: &DueMessage) -> bool {
        let is_there = due.browser.is_some_and(|one| self.0.contains_key(&one));
        let has_others = recipient.is_some_and(|one| one.channels.len() > 1);
        due.channel == Channel::WebPush && !is_there && has_others
    }
}

/// Makes the key by which push services know this service, if somebody may take notices in a browser and
/// there is none yet.
///
/// # Errors
/// [`StoreError`] if the database fails, or the system gives no random bytes.
pub fn make_web_push_key(config: &Config, store: &mut Store) -> Result<(), StoreError> {
    let recipients = || config.members.iter().flat_map(|one| &one.recipients);
    let is_wanted = recipients().any(|one| one.channels.contains(&Channel::WebPush));
    if is_wanted && store.web_push_public_key()?.is_none() {
        let new = NewServiceKey::random().map_err(StoreError::NoSecret)?;
        store.keep_web_push_key(&new.private, &new.public)?;
    }
    Ok(())
}

/// Where a browser gets its notices.
///
/// # Errors
/// [`SendError::Permanent`] if nothing is sent there.
pub(super) fn address(config: &Config, said: &BrowserSaid) -> Result<BrowserAddress, SendError> {
    let (endpoint, auth) = (said.endpoint.expose(), said.auth.expose());
    let read = BrowserAddress::read(endpoint, &said.key, auth, own_hosts(config));
    read.map_err(SendError::Permanent)
}

/// What notices are sent with.
///
/// # Errors
/// A text that says what cannot be read or used.
pub(super) fn web_pusher(
    config: &Config,
    private_key: &Secret,
    patience: Duration,
) -> Result<WebPusher, String> {
    WebPusher::new(&WebPushSettings {
        user_agent: &user_agent(&config.service.contact),
        contact: &contact(config),
        timeout: patience,
        extra_ca_pem: extra_ca(config)?.as_deref(),
        own_hosts: own_hosts(config),
        private_key,
    })
}

/// Whom push services may write to: an address of mail, or of the page (RFC 8292, 2.1).
fn contact(config: &Config) -> String {
    let contact = &config.service.contact;
    if contact.starts_with("mailto:") || contact.starts_with("https:") {
        return contact.clone();
    }
    if contact.contains('@') && !contact.contains(char::is_whitespace) {
        return format!("mailto:{contact}");
    }
    page(config).map_or_else(|| contact.clone(), Url::to_string)
}

/// Push services of the own network that may be asked.
fn own_hosts(config: &Config) -> &[String] {
    let web = config.web.as_ref();
    web.map_or(&[], |web| web.own_push_services.as_slice())
}

/// Where the page is reached.
pub(super) fn page(config: &Config) -> Option<&Url> {
    config.web.as_ref()?.address.as_ref()
}

/// On what terms a message goes to a browser.
fn terms(config: &Config, message: &Waiting, enclosed: &Enclosed) -> NoticeTerms {
    let after = |day: chrono::NaiveDate| {
        let midnight = day.succ_opt().unwrap_or(day).and_time(NaiveTime::MIN);
        midnight.and_utc() + AFTER_MIDNIGHT
    };
    let last = message.created_at + USUALLY_WORTH;
    NoticeTerms {
        until: message.deadline.map_or(last, after),
        urgent: message.urgent,
        task: message.task.clone(),
        opens: opens(config, message, enclosed),
    }
}

/// What a notice opens: the link that it consists of, the page of its one task, or this week's.
fn opens(config: &Config, message: &Waiting, enclosed: &Enclosed) -> Option<String> {
    let first = message.body.lines().next().unwrap_or_default();
    let page = page(config).map(Url::as_str);
    if page.is_some_and(|page| first.starts_with(page) && !first.contains(' ')) {
        return Some(first.to_owned());
    }
    match enclosed.links.as_ref().map(|links| links.sites.as_slice()) {
        Some([task]) => Some(task.address.clone()),
        _ => page.map(str::to_owned),
    }
}

/// Nobody has turned notices on.
pub(super) fn no_browser() -> SendError {
    SendError::Permanent(
        "no browser takes this recipient's notices: they turn them on at the page, under Notices"
            .to_owned(),
    )
}

impl Engine {
    /// Where a message for a browser goes, with the key it is signed by.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub(super) fn browser_target(
        &mut self,
        message: &Waiting,
        enclosed: &Enclosed,
    ) -> Result<Result<(BrowserTarget, Secret), SendError>, StoreError> {
        let recipient = match self.recipient_of(message) {
            Ok(recipient) => recipient,
            Err(problem) => return Ok(Err(problem)),
        };
        let takes = recipient.channels.contains(&Channel::WebPush);
        let found = match message.browser {
            Some(number) => self.store.browser(number)?,
            None => None,
        };
        let theirs = found.filter(|one| takes && one.owner.recipient == message.recipient);
        let Some(browser) = theirs else {
            return Ok(Err(no_browser()));
        };
        make_web_push_key(&self.config, &mut self.store)?;
        let Some(key) = self.store.web_push_private_key()? else {
            return Ok(Err(no_browser()));
        };
        Ok(address(&self.config, &browser.said).map(|browser| {
            let target = BrowserTarget {
                browser,
                terms: terms(&self.config, message, enclosed),
                now: self.clock.now(),
            };
            (target, key)
        }))
    }

    /// Forgets a browser that takes no more notices, and tells its owner by their other ways.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub(super) fn browser_ended(
        &mut self,
        message: &Waiting,
        number: i64,
        why: &str,
    ) -> Result<(), StoreError> {
        let now = self.clock.now();
        let label = self.store.browser(number)?.map(|one| one.label);
        let mut drafts = Vec::new();
        if let Some((member, recipient)) = self.config.member_and_recipient(&message.recipient) {
            let ways = recipient.channels.iter().copied();
            drafts.extend(ways.filter(|way| *way != Channel::WebPush).map(|channel| {
                let ended = BrowserEnded {
                    service: &self.config.service.name,
                    name: &recipient.name,
                    browser: label.as_deref().unwrap_or("a browser"),
                    page: page(&self.config).map(Url::as_str),
                    answer_to: self.config.answer_to(member),
                };
                let words = browser_ended_message(channel, &ended);
                Draft {
                    recipient: &recipient.id,
                    member: &member.id,
                    channel,
                    title: words.title,
                    body: words.body,
                    urgent: false,
                    about: About {
                        kinds: vec!["browser-ended"],
                        ..About::default()
                    },
                }
            }));
        }
        if self.store.forget_browser(number, &drafts, now)? {
            let recipient = &message.recipient;
            warn!(recipient, "a browser is forgotten: {why}");
        }
        Ok(())
    }
}
