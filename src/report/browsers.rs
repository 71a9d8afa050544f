//! Notices in browsers: whether somebody may have them, and where they have turned them on.

use crate::config::Config;
use crate::domain::place::site::Channel;
use crate::store::browsers::{Browser, MOST_BROWSERS};
use crate::store::page_keys::KeyOwner;
use crate::store::{Store, StoreError};
use chrono::{DateTime, NaiveDate, Utc};
use ring::digest::{SHA256, digest};

/// Letters of a browser's name.
const LONGEST_LABEL: usize = 60;

/// How somebody's notices stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoticesInBrowsers {
    /// The service's public key, with which a browser turns them on; none if it cannot.
    pub key: Option<String>,
    /// Why it cannot, or what they are.
    pub words: String,
    /// Where they are on, oldest first.
    pub browsers: Vec<ShownBrowser>,
}

/// A browser in which notices are on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownBrowser {
    /// Its number.
    pub number: i64,
    /// What its owner calls it.
    pub label: String,
    /// Since when.
    pub since: NaiveDate,
    /// The SHA-256 of its address, by which it knows itself.
    pub mark: String,
}

impl NoticesInBrowsers {
    /// Those of a recipient; of nobody where people do not sign in.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails.
    pub fn of(
        config: &Config,
        store: &Store,
        owner: Option<&KeyOwner>,
    ) -> Result<Self, StoreError> {
        let nothing = |words: String| Self {
            key: None,
            words,
            browsers: Vec::new(),
        };
        let Some(owner) = owner else {
            let words = "Notices are of whoever is signed in, and here nobody signs in: sign_in = true under [web].";
            return Ok(nothing(words.to_owned()));
        };
        let found = config.member_and_recipient(&owner.recipient);
        let Some((member, recipient)) = found.filter(|(member, _)| member.id == owner.member)
        else {
            return Ok(nothing(String::new()));
        };
        if !recipient.channels.contains(&Channel::WebPush) {
            let answer_to = config.answer_to(member);
            let words = format!(
                "You have none in browsers. To have them, ask {answer_to}: web_push = true."
            );
            return Ok(nothing(words));
        }
        let browsers: Vec<ShownBrowser> = store.browsers_of(owner)?.iter().map(shown).collect();
        let is_full = browsers.len() >= MOST_BROWSERS as usize;
        let key = match !is_full {
            true => store.web_push_public_key()?,
            false => None,
        };
        let words = match (&key, is_full) {
            (Some(_), _) => {
                "What is to be done is shown by this browser, also while the page is closed. It says what your other messages say, in a few words, with the cautions."
            }
            (None, true) => {
                "Notices are on in as many browsers as there may be. End them in one to turn them on in another."
            }
            (None, false) => {
                "The service is not ready for it yet. Open this page again in a few minutes."
            }
        };
        Ok(Self {
            key,
            words: words.to_owned(),
            browsers,
        })
    }
}

/// How notices in browsers stand for all that may have them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BrowsersInUse {
    /// Browsers in which they are on.
    pub browsers: usize,
    /// Recipients who have no other way and have turned them on nowhere.
    pub unreached: Vec<String>,
}

/// How notices in browsers stand; none if nobody may have them.
///
/// # Errors
/// [`StoreError`] if the database fails.
pub fn browsers_in_use(
    config: &Config,
    store: &Store,
) -> Result<Option<BrowsersInUse>, StoreError> {
    let browsers = store.browsers()?;
    let mut in_use: Option<BrowsersInUse> = None;
    for (member, recipient) in config.members.iter().flat_map(|member| {
        let recipients = member.recipients.iter();
        recipients.map(move |recipient| (member, recipient))
    }) {
        if !recipient.channels.contains(&Channel::WebPush) {
            continue;
        }
        let is_theirs =
            |one: &&Browser| one.owner.recipient == recipient.id && one.owner.member == member.id;
        let count = browsers.iter().filter(is_theirs).count();
        let in_use = in_use.get_or_insert_default();
        in_use.browsers += count;
        if count == 0 && recipient.channels.len() == 1 {
            in_use.unreached.push(recipient.id.clone());
        }
    }
    Ok(in_use)
}

fn shown(browser: &Browser) -> ShownBrowser {
    let endpoint = browser.said.endpoint.expose();
    let mark = digest(&SHA256, endpoint.as_bytes());
    let since: DateTime<Utc> = browser.made_at;
    ShownBrowser {
        number: browser.number,
        label: browser.label.clone(),
        since: since.date_naive(),
        mark: mark
            .as_ref()
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect(),
    }
}

/// What somebody calls a browser, as it is kept.
///
/// # Errors
/// What is wrong with it.
pub fn browser_label(text: &str) -> Result<&str, &'static str> {
    let text = text.trim();
    let fits = (1..=LONGEST_LABEL).contains(&text.chars().count());
    match fits && !text.contains(char::is_control) {
        true => Ok(text),
        false => Err("A browser's name has 1 to 60 letters, on one line."),
    }
}
