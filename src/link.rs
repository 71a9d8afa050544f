//! Links that need no sign-in: each has a key that fits one thing alone, made of a secret of this
//! database, so that nobody can make one without it and none has to be kept.

use crate::key::Key;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use reqwest::Url;
use ring::hmac;

/// How long the link to a task works after the message that it came with was written.
pub const TASK_WORKS_FOR: TimeDelta = TimeDelta::days(30);

/// What a link leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkTo<'l> {
    /// What a message said is to be done at a site.
    Task {
        /// The message's id.
        message: &'l str,
        /// The site's id.
        site: &'l str,
    },
    /// What a message said is to be done at all its sites.
    Tasks {
        /// The message's id.
        message: &'l str,
    },
    /// A recipient's calendar.
    Calendar {
        /// The recipient's id.
        recipient: &'l str,
        /// How often it was given another address, which is all it takes to lock the one before.
        edition: u32,
    },
    /// Stopping a recipient's mail that is not urgent.
    StopMail {
        /// The recipient's id.
        recipient: &'l str,
    },
}

/// Makes and checks the keys.
pub struct LinkKeys(hmac::Key);

/// A new secret, as text.
///
/// # Errors
/// If the system gives no random bytes.
pub fn new_secret() -> Result<String, &'static str> {
    let key = Key::random().map_err(|_| "the system gives no random bytes")?;
    Ok(key.expose().to_owned())
}

/// When the link to a task of a message ceases to work.
pub fn task_ends(written: DateTime<Utc>) -> DateTime<Utc> {
    written + TASK_WORKS_FOR
}

impl LinkKeys {
    /// Those of a secret.
    pub fn new(secret: &str) -> Self {
        Self(hmac::Key::new(hmac::HMAC_SHA256, secret.as_bytes()))
    }

    /// The key for something.
    pub fn key(&self, to: LinkTo<'_>) -> String {
        URL_SAFE_NO_PAD.encode(hmac::sign(&self.0, &to.in_bytes()))
    }

    /// Whether a key fits something. It takes as long for each wrong one.
    pub fn fits(&self, to: LinkTo<'_>, key: &str) -> bool {
        let Ok(key) = URL_SAFE_NO_PAD.decode(key) else {
            return false;
        };
        hmac::verify(&self.0, &to.in_bytes(), &key).is_ok()
    }

    /// The whole address of something at a page.
    pub fn address(&self, page: &Url, to: LinkTo<'_>) -> Url {
        let mut address = page.clone();
        // An address of the web always has a path.
        if let Ok(mut path) = address.path_segments_mut() {
            path.pop_if_empty()
                .extend(self.parts(to).iter().map(String::as_str));
        }
        address
    }

    /// The same as seen from another address of the page: parts need no more than a host to be escaped.
    pub fn path(&self, to: LinkTo<'_>) -> String {
        let anywhere = Url::parse("http://page/");
        anywhere.map_or_else(
            |_| String::new(),
            |page| self.address(&page, to).path().to_owned(),
        )
    }

    fn parts(&self, to: LinkTo<'_>) -> Vec<String> {
        let key = self.key(to);
        let parts = match to {
            LinkTo::Task { message, site } => vec!["task", message, site, &key],
            LinkTo::Tasks { message } => vec!["tasks", message, &key],
            LinkTo::Calendar { recipient, .. } => vec!["calendar", recipient, &key],
            LinkTo::StopMail { recipient } => vec!["stop-mail", recipient, &key],
        };
        parts.into_iter().map(str::to_owned).collect()
    }
}

impl LinkTo<'_> {
    /// Different for all that differs: each part is told its length first.
    fn in_bytes(self) -> Vec<u8> {
        let edition;
        let parts = match self {
            Self::Task { message, site } => ["task", message, site],
            Self::Tasks { message } => ["tasks", message, ""],
            Self::Calendar {
                recipient,
                edition: number,
            } => {
                edition = number.to_string();
                ["calendar", recipient, &edition]
            }
            Self::StopMail { recipient } => ["stop-mail", recipient, ""],
        };
        let mut bytes = Vec::new();
        for part in parts {
            bytes.extend((part.len() as u64).to_be_bytes());
            bytes.extend(part.as_bytes());
        }
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_fits_what_it_was_made_for_and_nothing_else() {
        let keys = LinkKeys::new("a secret");
        let of = |message, site| LinkTo::Task { message, site };
        let recipient = "keeper";
        let all = [
            of("m1", "green"),
            of("m1", "lawn"),
            of("m2", "green"),
            of("m", "1green"),
            of("m1", ""),
            LinkTo::Tasks { message: "m1" },
            LinkTo::Tasks { message: "m2" },
            LinkTo::Calendar {
                recipient,
                edition: 1,
            },
            LinkTo::Calendar {
                recipient,
                edition: 2,
            },
            LinkTo::StopMail { recipient },
        ];
        for (place, one) in all.iter().enumerate() {
            let key = keys.key(*one);
            for (other, two) in all.iter().enumerate() {
                assert_eq!(keys.fits(*two, &key), place == other, "{one:?} {two:?}");
            }
            assert!(!LinkKeys::new("another").fits(*one, &key));
            assert!(!keys.fits(*one, ""));
        }
    }

    #[test]
    fn an_address_stays_below_that_of_the_page_and_escapes_what_it_names() {
        let keys = LinkKeys::new("a secret");
        let page = Url::parse("https://turf.example/grubs/").expect("an address");
        let address = keys.address(
            &page,
            LinkTo::Task {
                message: "m1",
                site: "a/b ü",
            },
        );
        let text = address.as_str();
        assert!(
            text.starts_with("https://turf.example/grubs/task/m1/a%2Fb%20%C3%BC/"),
            "{text}"
        );
    }

    #[test]
    fn two_secrets_differ() {
        assert_ne!(new_secret(), new_secret());
    }
}
