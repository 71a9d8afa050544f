//! Telling people: the wording of messages (pure) and the ways they leave the house.

use chrono::{DateTime, Utc};
use std::sync::Arc;
use std::time::Duration;

pub mod email;
pub mod heartbeat;
pub mod local;
pub mod mqtt;
pub mod push;
pub mod web_push;
pub mod wording;

/// A message on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parcel {
    /// The same at every attempt; Message-ID and push id are made of it.
    pub id: String,
    /// Subject or title.
    pub title: String,
    /// Text.
    pub text: String,
    /// When it was decided on.
    pub created_at: DateTime<Utc>,
    /// What goes with it by mail.
    pub enclosed: Enclosed,
}

/// What goes with a mail beside what it says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Enclosed {
    /// The season of the first site that it is about.
    pub picture: Option<Arc<MailPicture>>,
    /// What stands below the picture: whose site and which season it shows.
    pub caption: Option<String>,
    /// Where each site's task is shown.
    pub links: Option<TaskLinks>,
    /// The address at which its reader can stop what is not urgent.
    pub stop: Option<String>,
}

/// A picture in a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailPicture {
    /// What it is of.
    pub title: String,
    /// What it shows, for those who do not see it.
    pub description: String,
    /// The picture, a PNG.
    pub png: Vec<u8>,
}

/// Links to what is to be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TaskLinks {
    /// What they are, and until when they work.
    pub heading: String,
    /// One for each site, or one for all of them.
    pub sites: Vec<NamedLink>,
    /// What the one for all shows, and to whom.
    pub note: Option<&'static str>,
}

/// An address with what it leads to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedLink {
    /// What it leads to.
    pub name: String,
    /// The address.
    pub address: String,
}

impl Enclosed {
    /// The link that stops what is not urgent.
    pub fn stop_link(&self) -> Option<NamedLink> {
        self.stop.as_ref().map(|address| NamedLink {
            name: wording::STOP_WORDS.to_owned(),
            address: address.clone(),
        })
    }
}

/// Why a message was not accepted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// It may go through later.
    #[error("{0}")]
    Transient(String),
    /// The server asks for this pause.
    #[error("{0}")]
    Later(String, Duration),
    /// The server takes nothing for now, whatever the message.
    #[error("{0}")]
    Unreachable(String),
    /// It will not go through as it is.
    #[error("{0}")]
    Permanent(String),
    /// The browser that it is for takes notices no more.
    #[error("{0}")]
    Gone(String),
}
