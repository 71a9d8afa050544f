//! Who looks at the page: which sites they may see there, and whether they may enter anything.
//!
//! [`super::admission`] finds out before any handler runs. A handler that shows or changes something
//! takes a [`Viewer`] and asks it.

use super::answers::NoPage;
use super::client::{Peer, client};
use super::state::PageState;
use crate::clock::Clock;
use crate::config::{Config, Web};
use crate::domain::notation::Notation;
use crate::domain::place::site::{Member, PageAccess, Site};
use crate::key::Key;
use crate::store::StoreError;
use crate::store::audit::LineOfChange;
use crate::store::page_keys::KeyOwner;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::sync::Arc;

/// Somebody who looks at the page.
#[derive(Debug, Clone)]
pub(super) struct Viewer {
    /// Their recipient id; none for whoever reaches a page without sign-in.
    pub recipient: Option<String>,
    /// Members whose sites they see; none is all.
    pub members: Option<Arc<BTreeSet<String>>>,
    /// Whether they may enter and change something.
    pub may_write: bool,
    /// Whether they run the service.
    pub is_operator: bool,
    /// By what they are known, for the audit.
    pub way: KnownBy,
    /// Where they come from.
    pub client: IpAddr,
    /// How they want numbers and dates written; none is the service's way, which programs get.
    pub notation: Option<Notation>,
    /// The line of the audit for what they change, which goes with the change; none if they only look.
    pub line: Option<LineOfChange>,
    /// What their forms bring along; nothing for programs, which have none.
    pub form_key: Option<Key>,
}

/// By what somebody is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum KnownBy {
    /// They have the machine.
    Machine,
    /// A session, with its key.
    Session(Key),
    /// A token, with its number.
    Token(i64),
}

/// Why somebody is not let in.
pub(super) enum NoViewer {
    /// They have no key.
    Stranger,
    /// They have a token that is not good.
    BadToken,
    /// The database fails.
    Store(StoreError),
}

impl From<StoreError> for NoViewer {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl Viewer {
    /// Whether they see a member's sites.
    pub fn sees(&self, member: &Member) -> bool {
        self.members
            .as_ref()
            .is_none_or(|members| members.contains(&member.id))
    }

    /// A site with its member, if there is one of this id that they see.
    ///
    /// # Errors
    /// [`NoPage::NotFound`], whichever of the two it is.
    pub fn site<'c>(&self, config: &'c Config, id: &str) -> Result<(&'c Member, &'c Site), NoPage> {
        let mut sites = config.sites();
        sites
            .find(|(member, site)| site.id == id && self.sees(member))
            .ok_or(NoPage::NotFound)
    }

    /// What a form of theirs brings along in its hidden field `form_key`.
    pub fn form_key(&self) -> &str {
        self.form_key.as_ref().map_or("", Key::expose)
    }

    /// By their key, or without one where the page has no sign-in. A token goes before: it may be of
    /// somebody who sees less.
    ///
    /// # Errors
    /// Why not.
    pub fn of(shared: &PageState, web: &Web, parts: &Parts) -> Result<Self, NoViewer> {
        let config = shared.in_force().config;
        let now = Clock::Machine.now();
        let client = of_request(parts, web);
        if let Some(value) = parts.headers.get(header::AUTHORIZATION) {
            let shown = value.to_str().ok().and_then(bearer);
            let key = shown.and_then(Key::shown).ok_or(NoViewer::BadToken)?;
            let token = shared.read(|store| store.token(&key.hash(), now))?;
            let token = token.ok_or(NoViewer::BadToken)?;
            let way = KnownBy::Token(token.number);
            let mut viewer =
                Self::known(&config, &token.owner, way, client).ok_or(NoViewer::BadToken)?;
            viewer.may_write &= !token.read_only;
            return Ok(viewer);
        }
        if !shared.wants_sign_in(web) {
            return Ok(Self {
                recipient: None,
                members: None,
                may_write: true,
                is_operator: true,
                way: KnownBy::Machine,
                client,
                notation: None,
                line: None,
                form_key: Some(shared.form_key().clone()),
            });
        }
        let key = session_key(&parts.headers, web).ok_or(NoViewer::Stranger)?;
        let owner = shared.read(|store| store.session(&key.hash(), now))?;
        let owner = owner.ok_or(NoViewer::Stranger)?;
        let form_key = key.derived("forms");
        let viewer = Self::known(&config, &owner, KnownBy::Session(key), client);
        let viewer = viewer.ok_or(NoViewer::Stranger)?;
        Ok(Self {
            form_key: Some(form_key),
            ..viewer
        })
    }

    /// A recipient who is still there, of the same member, and may see the page.
    fn known(config: &Config, owner: &KeyOwner, way: KnownBy, client: IpAddr) -> Option<Self> {
        let (member, recipient) = config.member_and_recipient(&owner.recipient)?;
        if member.id != owner.member || recipient.page == PageAccess::None {
            return None;
        }
        let is_operator = config.service.operator.as_ref() == Some(&recipient.id);
        let own = [&member.id].into_iter().chain(&recipient.manages);
        Some(Self {
            recipient: Some(recipient.id.clone()),
            members: (!is_operator).then(|| Arc::new(own.cloned().collect())),
            may_write: recipient.page == PageAccess::Write,
            is_operator,
            notation: match way {
                KnownBy::Session(_) => Some(recipient.notation.clone()),
                _ => None,
            },
            way,
            client,
            line: None,
            form_key: None,
        })
    }

    /// How they are known, in words.
    pub fn way_in_words(&self) -> String {
        match &self.way {
            KnownBy::Machine => "page without sign-in".to_owned(),
            KnownBy::Session(_) => "session".to_owned(),
            KnownBy::Token(number) => format!("token {number}"),
        }
    }
}

/// Where a request comes from.
pub(super) fn of_request(parts: &Parts, web: &Web) -> IpAddr {
    let peer = parts.extensions.get::<Peer>();
    // A request without a peer is none of the network's.
    let peer = peer.map_or(std::net::Ipv4Addr::UNSPECIFIED.into(), |peer| peer.0);
    client(&parts.headers, peer, &web.proxies)
}

fn bearer(value: &str) -> Option<&str> {
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

/// The name of the cookie with the session's key: where the address is https, browsers take it from
/// nobody else and give it to nobody else.
pub(super) fn cookie_name(web: &Web) -> &'static str {
    match (is_https(web), web.path().is_empty()) {
        (true, true) => "__Host-hatchbell",
        // One with that prefix is for the whole host.
        (true, false) => "__Secure-hatchbell",
        (false, _) => "hatchbell",
    }
}

/// Whether people reach the page by TLS.
pub(super) fn is_https(web: &Web) -> bool {
    web.address
        .as_ref()
        .is_some_and(|url| url.scheme() == "https")
}

fn session_key(headers: &HeaderMap, web: &Web) -> Option<Key> {
    let name = cookie_name(web);
    let cookies = headers.get_all(header::COOKIE).into_iter();
    let mut pairs = cookies.flat_map(|list| list.to_str().unwrap_or_default().split(';'));
    pairs.find_map(|pair| {
        let (key, value) = pair.trim().split_once('=')?;
        (key == name).then(|| Key::shown(value)).flatten()
    })
}

impl<S: Sync> FromRequestParts<S> for Viewer {
    type Rejection = NoPage;

    /// Whoever [`super::admission`] has let in.
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, NoPage> {
        let viewer = parts.extensions.get::<Self>().cloned();
        // An address for strangers has no viewer.
        viewer.ok_or_else(|| NoPage::Fault("nobody was let in here".to_owned()))
    }
}
