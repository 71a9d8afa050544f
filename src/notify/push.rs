//! Push by HTTP POST to a server of the user's own.
//!
//! The address of such a server is often all that protects it, so error texts name its host and
//! nothing else, and redirects are not followed.

use super::{Parcel, SendError};
use crate::reach::{OwnResolver, Public, check_own};
use crate::retry_after::retry_after;
use crate::secret::Secret;
use crate::tls::{causes, innermost, install_tls_provider, root_certificates, tls_objection};
use chrono::SecondsFormat;
use reqwest::header::{AUTHORIZATION, CONTENT_TYPE, HeaderMap, HeaderName, HeaderValue};
use reqwest::{Client, ClientBuilder, Response, StatusCode, Url, redirect};
use serde::Serialize;
use std::fmt;
use std::sync::Arc;
use std::time::Duration;

/// Lets a server recognise a message that it has had before
/// (draft-ietf-httpapi-idempotency-key-header; its value is a quoted string).
const IDEMPOTENCY_KEY: HeaderName = HeaderName::from_static("idempotency-key");

/// Most bytes of an answer's body that are read.
const LONGEST_ANSWER: usize = 16 * 1024;

/// How long the body of an answer may take; its status has said all there is to know.
const REST_OF_ANSWER: Duration = Duration::from_secs(2);

const TITLE: HeaderName = HeaderName::from_static("title");

/// Form of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PushFormat {
    /// `application/json`: an object with the texts `id`, `title`, `text` and `created_at`
    /// (RFC 3339, UTC).
    Json,
    /// `text/plain` in UTF-8: the text alone. The title is in the header `Title`, in ASCII.
    Text,
}

impl PushFormat {
    /// The formats by their names in configuration files.
    pub const NAMED: [(&'static str, PushFormat); 2] =
        [("json", PushFormat::Json), ("text", PushFormat::Text)];
}

/// Where a push goes.
pub struct PushTarget {
    /// The address to POST to.
    pub url: Url,
    /// Form of the body.
    pub format: PushFormat,
    /// Sent as `Authorization: Bearer`.
    pub token: Option<Secret>,
}

/// Shows the host only: path and token may be secret.
impl fmt::Debug for PushTarget {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("PushTarget")
            .field("host", &host(&self.url))
            .field("format", &self.format)
            .finish_non_exhaustive()
    }
}

/// The JSON body.
#[derive(Serialize)]
struct PushBody<'p> {
    id: &'p str,
    title: &'p str,
    text: &'p str,
    created_at: String,
}

/// Sends pushes.
#[derive(Debug)]
pub struct Pusher {
    client: Client,
    /// For tokens without TLS: it reaches the own machine and network only, and goes by no proxy.
    within: Client,
    timeout: Duration,
}

impl Pusher {
    /// A pusher that names itself `user_agent`, waits for a server for `timeout` in all, and
    /// trusts the machine's root certificates, and those in `extra_ca_pem` beside them.
    ///
    /// # Errors
    /// A text that says why and what to do, if root certificates cannot be used.
    pub fn new(
        user_agent: &str,
        timeout: Duration,
        extra_ca_pem: Option<&[u8]>,
    ) -> Result<Self, String> {
        let built = |builder: ClientBuilder| {
            builder.build().map_err(|error| {
                format!(
                    "nothing can be pushed: {}; see that the machine's root certificates (package \
                     ca-certificates) and extra_ca_file are in order",
                    innermost(&error)
                )
            })
        };
        let within = client(user_agent, timeout, extra_ca_pem)?;
        let within = within.no_proxy().dns_resolver(Arc::new(OwnResolver));
        Ok(Self {
            client: built(client(user_agent, timeout, extra_ca_pem)?)?,
            within: built(within)?,
            timeout,
        })
    }

    /// Sends a message once.
    ///
    /// # Errors
    /// [`SendError::Unreachable`] for timeouts and lost connections; [`SendError::Transient`] for
    /// the statuses 408, 425, 429 and 5xx, [`SendError::Later`] if they come with `Retry-After`;
    /// [`SendError::Permanent`] for every other status that is no 2xx, for a token that no header can
    /// hold, and for one that would go over the internet without TLS.
    pub async fn send(&self, target: &PushTarget, parcel: &Parcel) -> Result<(), SendError> {
        self.send_and_hear(target, parcel).await.map(|_| ())
    }

    /// The same; returns the status that it was accepted with.
    ///
    /// # Errors
    /// As [`Pusher::send`].
    pub async fn send_and_hear(
        &self,
        target: &PushTarget,
        parcel: &Parcel,
    ) -> Result<StatusCode, SendError> {
        let host = host(&target.url);
        let headers = headers(target, parcel)
            .map_err(|problem| SendError::Permanent(format!("push to {host}: {problem}")))?;
        let is_in_the_clear = target.token.is_some() && target.url.scheme() != "https";
        let client = match is_in_the_clear {
            true => &self.within,
            false => &self.client,
        };
        if is_in_the_clear && check_own(&target.url).is_err() {
            return Err(in_the_clear(&host));
        }
        let answer = client
            .post(target.url.clone())
            .headers(headers)
            .body(body(target.format, parcel))
            .send()
            .await;
        match answer {
            Ok(answer) => {
                let status = answer.status();
                let judged = judged(&host, status, retry_after(answer.headers()));
                // A connection can be used again once the answer has been read to its end.
                let _ = tokio::time::timeout(REST_OF_ANSWER, read_to_end(answer)).await;
                judged.map(|()| status)
            }
            Err(error) => Err(self.explained(&host, &error)),
        }
    }

    /// Asks the server of an address for the head of its front page, so that nothing is told to
    /// anybody: whatever it answers, it can be reached and, by https, trusted. Neither the address's
    /// path nor a token is shown to it. Returns what was done, in words.
    ///
    /// # Errors
    /// [`SendError::Unreachable`] if there is no answer.
    pub async fn knock(&self, url: &Url) -> Result<String, SendError> {
        let host = host(url);
        let mut front = url.clone();
        front.set_path("/");
        front.set_query(None);
        front.set_fragment(None);
        match self.client.head(front).send().await {
            Ok(_) => Ok(match url.scheme() {
                "https" => format!("{host}: answers over TLS"),
                _ => format!("{host}: answers, not encrypted"),
            }),
            Err(error) => Err(self.explained(&host, &error)),
        }
    }

    fn explained(&self, host: &str, error: &reqwest::Error) -> SendError {
        if error.is_builder() {
            return SendError::Permanent(format!(
                "push to {host}: the address cannot be used; correct it in the configuration"
            ));
        }
        if causes(error).any(|cause| cause.is::<Public>()) {
            return in_the_clear(host);
        }
        SendError::Unreachable(if error.is_timeout() {
            format!("push to {host}: no answer within {:?}", self.timeout)
        } else if let Some(objection) = tls_objection(error) {
            format!(
                "push to {host}: no secure connection: {objection}; check the address and this \
                 machine's clock, and name the server's root certificate in extra_ca_file if it \
                 has one of its own"
            )
        } else {
            format!(
                "push to {host}: no answer: {}; check that the server runs and can be reached",
                innermost(error)
            )
        })
    }
}

/// A token goes over TLS, or stays in the house.
fn in_the_clear(host: &str) -> SendError {
    SendError::Permanent(format!(
        "push to {host}: the token is not sent: without TLS it goes to this machine and its own \
         network only, and this is an address of the internet; use https://"
    ))
}

/// Host and port, the only part of a push address that may be shown.
pub(super) fn host(url: &Url) -> String {
    let host = url.host_str().unwrap_or("");
    url.port()
        .map_or_else(|| host.to_owned(), |port| format!("{host}:{port}"))
}

/// Reads what is left of an answer, as far as it is short.
pub(super) async fn read_to_end(mut answer: Response) {
    let mut read = 0;
    while read < LONGEST_ANSWER
        && let Ok(Some(part)) = answer.chunk().await
    {
        read += part.len();
    }
}

/// An answer of a server that may take the same message later.
pub(super) fn passing(
    answer: &str,
    status: StatusCode,
    retry_after: Option<Duration>,
) -> Option<SendError> {
    let passes = status.is_server_error() || matches!(status.as_u16(), 408 | 425 | 429);
    passes.then(|| match retry_after {
        Some(pause) => SendError::Later(answer.to_owned(), pause),
        None => SendError::Transient(answer.to_owned()),
    })
}

/// What a status means for the message.
fn judged(host: &str, status: StatusCode, retry_after: Option<Duration>) -> Result<(), SendError> {
    if status.is_success() {
        return Ok(());
    }
    let code = status.as_u16();
    let answer = format!("push to {host}: the server answered {status}");
    if let Some(passing) = passing(&answer, status, retry_after) {
        return Err(passing);
    }
    let remedy = match code {
        300..=399 => "redirects are not followed; configure the address it leads to",
        401 | 403 => "check the token",
        404 | 405 | 410 => "check the push address",
        413 => "let the server accept longer messages",
        415 | 422 => "check that the format, json or text, is the one the server takes",
        _ => "check what the server's own log says",
    };
    Err(SendError::Permanent(format!("{answer}; {remedy}")))
}

fn headers(target: &PushTarget, parcel: &Parcel) -> Result<HeaderMap, String> {
    let mut headers = HeaderMap::new();
    let key = header_text(&quoted(&parcel.id));
    headers.insert(IDEMPOTENCY_KEY, key);
    match target.format {
        PushFormat::Json => {
            headers.insert(CONTENT_TYPE, HeaderValue::from_static("application/json"));
        }
        PushFormat::Text => {
            let plain = HeaderValue::from_static("text/plain; charset=utf-8");
            headers.insert(CONTENT_TYPE, plain);
            headers.insert(TITLE, header_text(&ascii(&parcel.title)));
        }
    }
    if let Some(token) = &target.token {
        let mut bearer = HeaderValue::from_str(&format!("Bearer {}", token.expose()))
            .map_err(|_| "the token holds a line break or a letter beyond ASCII; renew it")?;
        bearer.set_sensitive(true);
        headers.insert(AUTHORIZATION, bearer);
    }
    Ok(headers)
}

/// A header value of printable ASCII, which both callers give.
pub(super) fn header_text(ascii: &str) -> HeaderValue {
    HeaderValue::from_str(ascii).expect("printable ASCII is a header value")
}

fn body(format: PushFormat, parcel: &Parcel) -> Vec<u8> {
    match format {
        PushFormat::Json => serde_json::to_vec(&PushBody {
            id: &parcel.id,
            title: &parcel.title,
            text: &parcel.text,
            created_at: parcel.created_at.to_rfc3339_opts(SecondsFormat::Secs, true),
        })
        .expect("texts become JSON"),
        PushFormat::Text => parcel.text.clone().into_bytes(),
    }
}

/// What calls addresses that may be secret: nothing of one goes elsewhere.
///
/// # Errors
/// A text that says what is wrong with `extra_ca_pem`.
pub(super) fn client(
    user_agent: &str,
    timeout: Duration,
    extra_ca_pem: Option<&[u8]>,
) -> Result<ClientBuilder, String> {
    install_tls_provider();
    let extra = extra_ca_pem.map_or(Ok(Vec::new()), root_certificates)?;
    Ok(Client::builder()
        .user_agent(user_agent)
        .tls_certs_merge(extra)
        .timeout(timeout)
        .redirect(redirect::Policy::none())
        .referer(false))
}

/// A structured-field string (RFC 8941, 3.3.3).
fn quoted(text: &str) -> String {
    let escaped = ascii(text).replace('\\', "\\\\").replace('"', "\\\"");
    format!("\"{escaped}\"")
}

/// The text in printable ASCII, on one line, with look-alikes for what ASCII lacks and `?` where
/// there is none.
fn ascii(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            ' '..='~' => plain.push(letter),
            _ => plain.push_str(look_alike(letter)),
        }
    }
    plain.trim().to_owned()
}

/// Covers signs the service's own texts use, and the letters of names in Latin script.
#[rustfmt::skip]
fn look_alike(letter: char) -> &'static str {
    match letter {
        '°' => "deg", 'µ' | 'μ' => "u", '²' => "2", '³' => "3", '½' => "1/2", '×' => "x",
        '·' | '•' | '‐'..='―' | '−' => "-",
        '→' => "->", '←' => "<-", '≤' => "<=", '≥' => ">=", '≈' => "~", '±' => "+/-", '…' => "...",
        '‘' | '’' | '‚' | '′' => "'", '“' | '”' | '„' | '«' | '»' | '″' => "\"",
        'À'..='Å' | 'Ā' | 'Ă' | 'Ą' => "A", 'à'..='å' | 'ā' | 'ă' | 'ą' => "a",
        'Æ' => "AE", 'æ' => "ae", 'Œ' => "OE", 'œ' => "oe", 'ß' => "ss", 'ẞ' => "SS",
        'Þ' => "Th", 'þ' => "th",
        'Ç' | 'Ć' | 'Ĉ' | 'Ċ' | 'Č' => "C", 'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => "c",
        'Ð' | 'Ď' | 'Đ' => "D", 'ð' | 'ď' | 'đ' => "d",
        'È'..='Ë' | 'Ē' | 'Ĕ' | 'Ė' | 'Ę' | 'Ě' => "E",
        'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => "e",
        'Ĝ' | 'Ğ' | 'Ġ' | 'Ģ' => "G", 'ĝ' | 'ğ' | 'ġ' | 'ģ' => "g",
        'Ĥ' | 'Ħ' => "H", 'ĥ' | 'ħ' => "h",
        'Ì'..='Ï' | 'Ĩ' | 'Ī' | 'Ĭ' | 'Į' | 'İ' => "I",
        'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' => "i",
        'Ĵ' => "J", 'ĵ' => "j", 'Ķ' => "K", 'ķ' | 'ĸ' => "k",
        'Ĺ' | 'Ļ' | 'Ľ' | 'Ŀ' | 'Ł' => "L", 'ĺ' | 'ļ' | 'ľ' | 'ŀ' | 'ł' => "l",
        'Ñ' | 'Ń' | 'Ņ' | 'Ň' | 'Ŋ' => "N", 'ñ' | 'ń' | 'ņ' | 'ň' | 'ŋ' => "n",
        'Ò'..='Ö' | 'Ø' | 'Ō' | 'Ŏ' | 'Ő' => "O", 'ò'..='ö' | 'ø' | 'ō' | 'ŏ' | 'ő' => "o",
        'Ŕ' | 'Ŗ' | 'Ř' => "R", 'ŕ' | 'ŗ' | 'ř' => "r",
        'Ś' | 'Ŝ' | 'Ş' | 'Š' | 'Ș' => "S", 'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => "s",
        'Ţ' | 'Ť' | 'Ŧ' | 'Ț' => "T", 'ţ' | 'ť' | 'ŧ' | 'ț' => "t",
        'Ù'..='Ü' | 'Ũ' | 'Ū' | 'Ŭ' | 'Ů' | 'Ű' | 'Ų' => "U",
        'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' => "u",
        'Ŵ' => "W", 'ŵ' => "w", 'Ý' | 'Ŷ' | 'Ÿ' => "Y", 'ý' | 'ŷ' | 'ÿ' => "y",
        'Ź' | 'Ż' | 'Ž' => "Z", 'ź' | 'ż' | 'ž' => "z",
        // Accents that stand apart from their letter, and spaces without width.
        '\u{300}'..='\u{36f}' | '\u{ad}' | '\u{200b}'..='\u{200d}' | '\u{feff}' => "",
        _ if letter.is_whitespace() || letter.is_control() => " ",
        _ => "?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn signs_and_letters_become_look_alikes() {
        let title = "Grubs – Żaneta’s 3 greens · base 10 °C — Übersee\r\nX: y 🐛";
        let plain = "Grubs - Zaneta's 3 greens - base 10 degC - Ubersee  X: y ?";
        assert_eq!(ascii(title), plain);
    }

    #[test]
    fn quotes_within_an_id_are_escaped() {
        assert_eq!(quoted(r#"a"b\c"#), r#""a\"b\\c""#);
    }

    proptest! {
        #[test]
        fn any_title_and_id_can_be_sent(title: String, id: String) {
            header_text(&ascii(&title));
            header_text(&quoted(&id));
        }
    }
}
