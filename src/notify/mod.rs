//! Telling people: the wording of messages (pure) and the ways they leave the house.

use chrono::{DateTime, Utc};
use std::time::Duration;

pub mod email;
pub mod heartbeat;
pub mod local;
pub mod push;
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
}
