//! What goes with a mail: the season's picture, links to the page, and a way to stop what is not urgent.
//! It is made when the mail is sent, the same at each attempt as long as nothing has changed.

use super::Engine;
use super::unreachable::operator;
use crate::config::Config;
use crate::domain::notation::Notation;
use crate::domain::place::site::{Channel, Recipient, Site};
use crate::link::{LinkKeys, LinkTo, new_secret, task_ends};
use crate::notify::wording::{ALL_SITES_NOTE, all_sites, links_heading, picture_caption};
use crate::notify::{Enclosed, MailPicture, NamedLink, TaskLinks};
use crate::store::links::MailStop;
use crate::store::outbox::{DueMessage, Waiting};
use crate::store::{Store, StoreError};
use chrono::NaiveDate;
use reqwest::Url;
use std::sync::Arc;
use tracing::warn;

/// Makes the picture of a site's season; none if there is nothing to draw.
pub type Illustrate = fn(&Config, &Store, &SeasonAsked<'_>) -> Result<Option<MailPicture>, String>;

/// Which season is to be shown to whom.
#[derive(Debug, Clone, Copy)]
pub struct SeasonAsked<'a> {
    /// The site's id.
    pub site: &'a str,
    /// The species that the reader hears of; `None` is all.
    pub species: Option<&'a [String]>,
    /// The day as of which it is shown.
    pub day: NaiveDate,
    /// How the reader wants numbers and dates written.
    pub notation: &'a Notation,
}

/// Pictures that were made for mails of the same delivery.
#[derive(Default)]
pub(super) struct Pictures(Vec<KeptPicture>);

/// A picture with what it was made for.
struct KeptPicture {
    site: String,
    species: Option<Vec<String>>,
    day: NaiveDate,
    notation: Notation,
    picture: Option<Arc<MailPicture>>,
}

/// Pictures that are kept at a time.
const MOST_PICTURES: usize = 32;

/// Most sites of a message that have a link of their own: as text each is two or three long lines. With
/// more one link leads to all of them.
const LINKED_SITES: usize = 8;

impl Pictures {
    pub fn forget(&mut self) {
        self.0.clear();
    }

    fn of(
        &mut self,
        asked: &SeasonAsked<'_>,
        make: impl FnOnce() -> Option<MailPicture>,
    ) -> Option<Arc<MailPicture>> {
        let is_same = |one: &&KeptPicture| {
            one.site == asked.site
                && one.species.as_deref() == asked.species
                && one.day == asked.day
                && one.notation == *asked.notation
        };
        if let Some(known) = self.0.iter().find(is_same) {
            return known.picture.clone();
        }
        if self.0.len() == MOST_PICTURES {
            self.0.remove(0);
        }
        let picture = make().map(Arc::new);
        self.0.push(KeptPicture {
            site: asked.site.to_owned(),
            species: asked.species.map(<[String]>::to_vec),
            day: asked.day,
            notation: asked.notation.clone(),
            picture: picture.clone(),
        });
        picture
    }
}

impl Engine {
    /// What goes with a message.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails. A picture that cannot be made is left out.
    pub(super) fn enclosed(&mut self, message: &Waiting) -> Result<Enclosed, StoreError> {
        if !matches!(message.channel, Channel::Email | Channel::WebPush) {
            return Ok(Enclosed::default());
        }
        let config = Arc::clone(&self.config);
        let Some((member, recipient)) = config.member_and_recipient(&message.recipient) else {
            return Ok(Enclosed::default());
        };
        let is_theirs = |id: &&String| recipient.sites.contains(id);
        let sites: Vec<&Site> = message
            .places
            .iter()
            .filter(is_theirs)
            .filter_map(|id| member.sites.iter().find(|site| site.id == *id))
            .collect();
        let mut enclosed = Enclosed {
            picture: sites
                .first()
                .filter(|_| message.channel == Channel::Email)
                .and_then(|site| self.picture(message, recipient, site)),
            ..Enclosed::default()
        };
        let title = enclosed.picture.as_ref().map(|picture| &picture.title);
        enclosed.caption = title.map(|title| picture_caption(title, sites.len()));
        let page = config.web.as_ref().and_then(|web| web.address.as_ref());
        if let Some(page) = page {
            let keys = self.link_keys()?;
            enclosed.links = task_links((&keys, page), message, recipient, &sites);
            let to = LinkTo::StopMail {
                recipient: &recipient.id,
            };
            enclosed.stop = (message.channel == Channel::Email && !is_operator(&config, recipient))
                .then(|| keys.address(page, to).into());
        }
        Ok(enclosed)
    }

    /// The keys of links, whose secret is made with the first of them.
    fn link_keys(&self) -> Result<LinkKeys, StoreError> {
        let secret = match self.store.link_secret()? {
            Some(secret) => secret,
            None => {
                let new = new_secret().map_err(StoreError::NoSecret)?;
                self.store.link_secret_or(&new)?
            }
        };
        Ok(LinkKeys::new(&secret))
    }

    fn picture(
        &mut self,
        message: &Waiting,
        recipient: &Recipient,
        site: &Site,
    ) -> Option<Arc<MailPicture>> {
        let illustrate = self.illustrate?;
        let asked = SeasonAsked {
            site: &site.id,
            species: recipient.species.as_deref(),
            day: message.created_at.date_naive(),
            notation: &recipient.notation,
        };
        let (config, store) = (&self.config, &self.store);
        self.pictures.of(&asked, || {
            illustrate(config, store, &asked).unwrap_or_else(|problem| {
                warn!(site = site.id, "mails go without a picture: {problem}");
                None
            })
        })
    }
}

/// A link for each site, or one for all where there are many.
fn task_links(
    (keys, page): (&LinkKeys, &Url),
    message: &Waiting,
    recipient: &Recipient,
    sites: &[&Site],
) -> Option<TaskLinks> {
    if sites.is_empty() {
        return None;
    }
    // The last whole day.
    let until = task_ends(message.created_at).date_naive().pred_opt()?;
    let link = |name: String, to: LinkTo<'_>| NamedLink {
        name,
        address: keys.address(page, to).into(),
    };
    let message = message.id.as_str();
    let of_site = |site: &&Site| {
        let to = LinkTo::Task {
            message,
            site: &site.id,
        };
        link(site.name.clone(), to)
    };
    let are_many = sites.len() > LINKED_SITES;
    Some(TaskLinks {
        heading: links_heading(until, &recipient.notation),
        sites: match are_many {
            true => vec![link(all_sites(sites.len()), LinkTo::Tasks { message })],
            false => sites.iter().map(of_site).collect(),
        },
        note: are_many.then_some(ALL_SITES_NOTE),
    })
}

/// Whoever runs the service hears all that it has to say: nobody else would.
fn is_operator(config: &Config, recipient: &Recipient) -> bool {
    operator(config).is_some_and(|(_, one)| one.id == recipient.id)
}

/// Why a message is not sent, if its recipient has stopped what is not urgent.
pub(super) fn stopped(
    config: &Config,
    recipient: Option<&Recipient>,
    stop: Option<&MailStop>,
    due: &DueMessage,
) -> Option<String> {
    let (recipient, stop) = (recipient?, stop?);
    if due.urgent || due.channel != Channel::Email || is_operator(config, recipient) {
        return None;
    }
    let address = config.addresses.get(&recipient.id)?.email.as_ref()?;
    (*address == stop.address).then(|| {
        format!(
            "not urgent, and its reader has stopped such mail on {} by the link in a mail",
            stop.since.date_naive()
        )
    })
}
