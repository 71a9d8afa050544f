//! Web Push: notices to browsers, through the push service that each browser names.
//!
//! Where a browser gets its notices is for whoever has that address to send to, so error texts name its
//! host and nothing else, and redirects are not followed. Browsers are members', and whatever they name
//! is asked in the service's place: only by https, and never in the own network.
//!
//! References: RFC 8030 (delivery), RFC 8291 (encryption), RFC 8292 (who sends).

mod encryption;
mod service_key;

pub use service_key::{NewServiceKey, ServiceKey};

use super::push::{client, header_text, host, passing, read_to_end};
use super::{Parcel, SendError};
use crate::reach::{IsPublic, NotPublic, PublicResolver, check_host, is_public};
use crate::retry_after::retry_after;
use crate::secret::Secret;
use crate::tls::{causes, innermost, tls_objection};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use encryption::{BrowserKeys, MOST_PLAIN, encrypted};
use reqwest::header::{AUTHORIZATION, CONTENT_ENCODING, CONTENT_TYPE, HeaderMap, HeaderName};
use reqwest::header::{HeaderValue, InvalidHeaderValue};
use reqwest::{Client, StatusCode, Url};
use ring::digest::{SHA256, digest};
use serde::Serialize;
use std::sync::Arc;
use std::time::Duration;

const TTL: HeaderName = HeaderName::from_static("ttl");
const URGENCY: HeaderName = HeaderName::from_static("urgency");
const TOPIC: HeaderName = HeaderName::from_static("topic");

/// Longest address of a browser.
const LONGEST_ADDRESS: usize = 2048;
/// Letters of a topic (RFC 8030, 5.4).
const TOPIC_LETTERS: usize = 32;
/// Shortest and longest time for which a push service keeps what a browser has not fetched.
const KEPT_FOR: [TimeDelta; 2] = [TimeDelta::hours(1), TimeDelta::days(28)];
/// How long the body of an answer may take; its status has said all there is to know.
const REST_OF_ANSWER: Duration = Duration::from_secs(2);

/// A browser that takes notices.
#[derive(Clone)]
pub struct BrowserAddress {
    endpoint: Url,
    keys: BrowserKeys,
}

/// What goes with a notice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoticeTerms {
    /// Until when it is worth something.
    pub until: DateTime<Utc>,
    /// Whether it is about work.
    pub urgent: bool,
    /// What it is about, where a newer notice of the same takes its place.
    pub task: Option<String>,
    /// The address that it opens.
    pub opens: Option<String>,
}

/// What the browser's worker reads.
#[derive(Serialize)]
struct ShownNotice<'s> {
    title: &'s str,
    body: &'s str,
    /// One of the same tag takes its place.
    tag: &'s str,
    opens: Option<&'s str>,
}

/// Shows the host only.
impl std::fmt::Debug for BrowserAddress {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let host = host(&self.endpoint);
        formatter
            .debug_tuple("BrowserAddress")
            .field(&host)
            .finish()
    }
}

impl BrowserAddress {
    /// What a browser says of itself: its address at a push service, its public key and its
    /// authentication secret, both base64url. `own` are hosts that may be in the own network, and
    /// need no TLS.
    ///
    /// # Errors
    /// A text that says why nothing can be sent there.
    pub fn read(endpoint: &str, key: &str, auth: &str, own: &[String]) -> Result<Self, String> {
        let no_keys = "the browser's keys cannot be used";
        let url = (endpoint.len() <= LONGEST_ADDRESS).then(|| Url::parse(endpoint).ok());
        let url = url
            .flatten()
            .ok_or("the browser's address cannot be read")?;
        if !url.username().is_empty() || url.password().is_some() || url.fragment().is_some() {
            return Err("the browser's address cannot be used".to_owned());
        }
        let browser = Self {
            keys: BrowserKeys {
                public: decoded(key).ok_or(no_keys)?,
                auth: decoded(auth).ok_or(no_keys)?,
            },
            endpoint: url,
        };
        browser.check(own, is_public)?;
        // A key that is no point of the curve shows when something is encrypted for it.
        encrypted(b"", &browser.keys).map_err(|_| no_keys)?;
        Ok(browser)
    }

    /// # Errors
    /// Why nothing is sent there.
    fn check(&self, own: &[String], is_public: IsPublic) -> Result<(), String> {
        if self.is_own(own) {
            return Ok(());
        }
        if self.endpoint.scheme() != "https" {
            return Err("the browser's address is not https".to_owned());
        }
        check_host(&self.endpoint, is_public).map_err(|own| format!("the browser's address: {own}"))
    }

    fn is_own(&self, own: &[String]) -> bool {
        let host = self.endpoint.host_str().unwrap_or_default();
        let is_web = matches!(self.endpoint.scheme(), "http" | "https");
        is_web && own.iter().any(|one| one == host)
    }

    /// Its push service: scheme, host and port.
    pub fn service(&self) -> String {
        self.endpoint.origin().ascii_serialization()
    }
}

fn decoded<const N: usize>(text: &str) -> Option<[u8; N]> {
    let bytes = URL_SAFE_NO_PAD.decode(text.trim_end_matches('=')).ok()?;
    bytes.try_into().ok()
}

/// Sends notices to browsers.
#[derive(Debug)]
pub struct WebPusher {
    /// For push services of the internet: it reaches public addresses only.
    outside: Client,
    /// For those of the own network that are named.
    own: Client,
    own_hosts: Vec<String>,
    key: ServiceKey,
    contact: String,
    timeout: Duration,
}

/// What notices are sent with.
#[derive(Debug)]
pub struct WebPushSettings<'s> {
    /// How the service names itself to servers.
    pub user_agent: &'s str,
    /// Whom push services may write to: `mailto:` or `https:`.
    pub contact: &'s str,
    /// Longest wait for one.
    pub timeout: Duration,
    /// Further root certificates.
    pub extra_ca_pem: Option<&'s [u8]>,
    /// Hosts of push services in the own network.
    pub own_hosts: &'s [String],
    /// The private part of the service's key.
    pub private_key: &'s Secret,
}

impl WebPusher {
    /// # Errors
    /// A text that says why, if root certificates or the key cannot be used.
    pub fn new(settings: &WebPushSettings<'_>) -> Result<Self, String> {
        let client = || client(settings.user_agent, settings.timeout, settings.extra_ca_pem);
        let failed =
            |error: reqwest::Error| format!("nothing can be pushed: {}", innermost(&error));
        let guarded = client()?.dns_resolver(Arc::new(PublicResolver(is_public)));
        Ok(Self {
            outside: guarded.build().map_err(failed)?,
            own: client()?.no_proxy().build().map_err(failed)?,
            own_hosts: settings.own_hosts.to_vec(),
            key: ServiceKey::read(settings.private_key)?,
            contact: settings.contact.to_owned(),
            timeout: settings.timeout,
        })
    }

    /// Sends a notice to a browser once; returns the status that it was accepted with.
    ///
    /// # Errors
    /// [`SendError::Gone`] if the browser takes no more notices; else as
    /// [`Pusher::send`](super::push::Pusher::send).
    pub async fn send(
        &self,
        to: &BrowserAddress,
        parcel: &Parcel,
        terms: &NoticeTerms,
        now: DateTime<Utc>,
    ) -> Result<StatusCode, SendError> {
        let host = host(&to.endpoint);
        let refused = |why: String| SendError::Permanent(format!("web push to {host}: {why}"));
        to.check(&self.own_hosts, is_public).map_err(refused)?;
        let plain = shown(&to.keys, parcel, terms);
        let plain = plain.ok_or_else(|| refused("it is too long".to_owned()))?;
        let body = encrypted(&plain, &to.keys);
        let body = body.map_err(|_| refused("the browser's key cannot be used".to_owned()))?;
        let authorization = self.key.authorization(&to.service(), &self.contact, now);
        let authorization = authorization.map_err(|why| SendError::Transient(why.to_owned()))?;
        let headers = headers(&to.keys, terms, &authorization, now);
        let headers = headers.map_err(|error| refused(error.to_string()))?;
        let client = match to.is_own(&self.own_hosts) {
            true => &self.own,
            false => &self.outside,
        };
        let request = client.post(to.endpoint.clone()).headers(headers).body(body);
        match request.send().await {
            Ok(answer) => {
                let status = answer.status();
                let judged = judged(&host, status, retry_after(answer.headers()));
                let _ = tokio::time::timeout(REST_OF_ANSWER, read_to_end(answer)).await;
                judged.map(|()| status)
            }
            Err(error) => Err(self.explained(&host, &error)),
        }
    }

    fn explained(&self, host: &str, error: &reqwest::Error) -> SendError {
        if let Some(own) = causes(error).find_map(|cause| cause.downcast_ref::<NotPublic>()) {
            return SendError::Permanent(format!("web push to {host}: {own}"));
        }
        SendError::Unreachable(if error.is_timeout() {
            format!("web push to {host}: no answer within {:?}", self.timeout)
        } else if let Some(objection) = tls_objection(error) {
            format!("web push to {host}: no secure connection: {objection}")
        } else {
            format!("web push to {host}: no answer: {}", innermost(error))
        })
    }
}

/// What a status means for the notice.
fn judged(host: &str, status: StatusCode, retry_after: Option<Duration>) -> Result<(), SendError> {
    if status.is_success() {
        return Ok(());
    }
    let code = status.as_u16();
    let answer = format!("web push to {host}: the push service answered {status}");
    if let Some(passing) = passing(&answer, status, retry_after) {
        return Err(passing);
    }
    let remedy = match code {
        404 | 410 => {
            let words = format!("{answer}: the browser takes notices no more");
            return Err(SendError::Gone(words));
        }
        400 | 401 | 403 => {
            "turn notices off in that browser and on again, and see that the clock is right"
        }
        413 => "it takes no notice so long",
        _ => "turn notices off in that browser and on again",
    };
    Err(SendError::Permanent(format!("{answer}; {remedy}")))
}

fn headers(
    to: &BrowserKeys,
    terms: &NoticeTerms,
    authorization: &str,
    now: DateTime<Utc>,
) -> Result<HeaderMap, InvalidHeaderValue> {
    let [least, most] = KEPT_FOR;
    let kept_for = (terms.until - now).clamp(least, most).num_seconds();
    let urgency = match terms.urgent {
        true => "high",
        false => "normal",
    };
    let mut authorization = HeaderValue::from_str(authorization)?;
    authorization.set_sensitive(true);
    let mut headers = HeaderMap::from_iter([
        (AUTHORIZATION, authorization),
        (CONTENT_ENCODING, HeaderValue::from_static("aes128gcm")),
        (
            CONTENT_TYPE,
            HeaderValue::from_static("application/octet-stream"),
        ),
        (TTL, kept_for.into()),
        (URGENCY, HeaderValue::from_static(urgency)),
    ]);
    if let Some(task) = &terms.task {
        headers.insert(TOPIC, header_text(&topic(task, to)));
    }
    Ok(headers)
}

/// A task as push services are told it. They cannot guess it without what the browser and we alone know.
fn topic(task: &str, to: &BrowserKeys) -> String {
    let bytes = [&to.auth[..], task.as_bytes()].concat();
    let mut topic = URL_SAFE_NO_PAD.encode(digest(&SHA256, &bytes));
    topic.truncate(TOPIC_LETTERS);
    topic
}

/// What the browser reads. A text that is too long loses words before its last line, where cautions stand.
fn shown(to: &BrowserKeys, parcel: &Parcel, terms: &NoticeTerms) -> Option<Vec<u8>> {
    let task = terms.task.as_deref();
    let tag = task.map_or_else(|| parcel.id.clone(), |task| topic(task, to));
    let (text, last) = match parcel.text.rsplit_once('\n') {
        Some((text, last)) => (text, format!("\n{last}")),
        None => (parcel.text.as_str(), String::new()),
    };
    let mut room = text.chars().count();
    let mut opens = terms.opens.as_deref();
    loop {
        let begin: String = text.chars().take(room).collect();
        let cut = if begin.len() < text.len() { "…" } else { "" };
        let json = serde_json::to_vec(&ShownNotice {
            title: &parcel.title,
            body: &format!("{begin}{cut}{last}"),
            tag: &tag,
            opens,
        });
        let json = json.expect("texts become JSON");
        if json.len() <= MOST_PLAIN {
            return Some(json);
        }
        match room {
            0 if opens.is_some() => opens = None,
            // Only a title and cautions that nobody writes do not fit.
            0 => return None,
            _ => room = room.saturating_sub((json.len() - MOST_PLAIN).div_ceil(4).max(1)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notify::Enclosed;
    use serde_json::Value;

    const KEY: &str =
        "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4";
    const AUTH: &str = "BTBZMqHH6r4Tts7J_aSIgg";

    fn terms() -> NoticeTerms {
        NoticeTerms {
            until: "2026-07-14T00:00:00Z".parse().unwrap(),
            urgent: true,
            task: Some("apply mill-lane-lawn imidacloprid".to_owned()),
            opens: Some("https://turf.three-brooks.example/task/1/lawn/k".to_owned()),
        }
    }

    fn read(endpoint: &str) -> Result<BrowserAddress, String> {
        BrowserAddress::read(endpoint, KEY, AUTH, &["push.home.example".to_owned()])
    }

    #[test]
    fn a_browser_leads_the_service_to_public_https_addresses_only() {
        for good in [
            "https://push.example.org/a/b?c=d",
            "https://1.1.1.1:8443/x",
            "http://push.home.example/x",
        ] {
            assert!(read(good).is_ok(), "{good}");
        }
        for bad in [
            "http://push.example.org/a",
            "https://127.0.0.1/a",
            "https://127.1/a",
            "https://192.168.1.1/a",
            "https://[::1]/a",
            "https://[::ffff:10.0.0.1]/a",
            "https://169.254.169.254/latest",
            "https://user@push.example.org/a",
            "ftp://push.home.example/a",
            "file:///etc/passwd",
            "nonsense",
            "",
        ] {
            assert!(read(bad).is_err(), "{bad}");
        }
        assert!(read(&format!("https://push.example.org/{}", "a".repeat(2048))).is_err());
        let with_keys =
            |key, auth| BrowserAddress::read("https://push.example.org/a", key, auth, &[]);
        assert!(with_keys(KEY, AUTH).is_ok());
        assert!(with_keys(AUTH, AUTH).is_err());
        assert!(with_keys(KEY, KEY).is_err());
        assert!(with_keys(&URL_SAFE_NO_PAD.encode([4; 65]), AUTH).is_err());
    }

    #[test]
    fn it_is_kept_until_the_deadline_and_one_of_the_same_task_takes_its_place() {
        let now = "2026-07-06T00:00:00Z".parse().unwrap();
        let keys = read_keys();
        let of = |terms: &NoticeTerms| headers(&keys, terms, "vapid t=a", now).unwrap();
        let sent = of(&terms());
        assert_eq!(sent["ttl"], (8 * 86_400).to_string());
        assert_eq!(sent["urgency"], "high");
        let letters = sent["topic"].to_str().unwrap();
        assert_eq!(letters.len(), 32);
        assert!(!letters.contains("lawn"));
        assert_eq!(of(&terms())["topic"], letters);
        let other = NoticeTerms {
            task: Some("apply mill-lane-lawn trichlorfon".to_owned()),
            until: now - TimeDelta::days(1),
            urgent: false,
            ..terms()
        };
        let sent = of(&other);
        assert_ne!(sent["topic"], letters);
        assert_eq!(sent["ttl"], "3600");
        assert_eq!(sent["urgency"], "normal");
    }

    #[test]
    fn a_notice_that_is_too_long_keeps_its_last_line_and_fits_one_record() {
        let cautions = "Cautions: the label is the law.";
        let parcel = Parcel {
            id: "1".to_owned(),
            title: "Apply it".to_owned(),
            text: format!("{}\n{cautions}", "Übersee \"🐛\" ".repeat(900)),
            created_at: "2026-07-06T00:00:00Z".parse().unwrap(),
            enclosed: Enclosed::default(),
        };
        let plain = shown(&read_keys(), &parcel, &terms()).unwrap();
        assert!(plain.len() <= MOST_PLAIN && plain.len() > MOST_PLAIN - 200);
        let read: Value = serde_json::from_slice(&plain).unwrap();
        let body = read["body"].as_str().unwrap();
        assert!(body.ends_with(&format!("…\n{cautions}")), "{body}");
        let keys = read_keys();
        assert!(encrypted(&plain, &keys).unwrap().len() <= 4096);
    }

    fn read_keys() -> BrowserKeys {
        read("https://push.example.org/a").unwrap().keys
    }

    #[test]
    fn a_browser_that_is_gone_is_told_from_a_service_that_is_busy_or_refuses() {
        let of = |code: u16, pause| {
            judged("push", StatusCode::from_u16(code).unwrap(), pause).unwrap_err()
        };
        for code in [404, 410] {
            assert!(matches!(of(code, None), SendError::Gone(_)));
        }
        let pause = Duration::from_secs(90);
        assert!(matches!(of(429, Some(pause)), SendError::Later(_, one) if one == pause));
        assert!(matches!(of(503, None), SendError::Transient(_)));
        for code in [301, 400, 401, 403, 413] {
            assert!(matches!(of(code, None), SendError::Permanent(_)), "{code}");
        }
    }
}
