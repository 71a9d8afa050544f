//! Why a fetch gave nothing.

use reqwest::StatusCode;
use std::time::Duration;

/// Why a fetch gave nothing. `at` is host and path, or the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(missing_docs, reason = "the messages say what each field is")]
pub enum FetchError {
    /// The client itself cannot be made.
    #[error("nothing can be fetched by http or https: {what}")]
    Setup {
        /// Why, and what to do.
        what: String,
    },
    /// The address cannot be used.
    #[error("{at}: the address cannot be used: {what}; correct it in the configuration")]
    Address { at: String, what: String },
    /// There was no connection, or it was lost before the answer.
    #[error(
        "{at}: no answer: {what}; check the address and this machine's network, or wait for the \
         next look"
    )]
    Connection { at: String, what: String },
    /// TLS does not accept the server.
    #[error(
        "{at}: no secure connection: {what}; check the address and this machine's clock, and name \
         the server's root certificate in extra_ca_file if it has one of its own"
    )]
    Tls { at: String, what: String },
    /// It took too long.
    #[error(
        "{at}: not done within {limit:?}; the server or the network is slow, wait for the next look"
    )]
    Timeout { at: String, limit: Duration },
    /// The server answered with a status that is no success.
    #[error("{at}: the server answered {status}{}; {}", asked_to_wait(.retry_after), status_remedy(*.status))]
    Status {
        at: String,
        status: StatusCode,
        /// The pause that the server asked for.
        retry_after: Option<Duration>,
    },
    /// The server sent us elsewhere, and we did not go.
    #[error(
        "{at}: redirect not followed: {what}; look up the file's present address and configure it"
    )]
    Redirect { at: String, what: String },
    /// The end is missing.
    #[error(
        "{at}: cut short: {what}; wait for the next look, and if it stays so, ask the publisher"
    )]
    CutShort { at: String, what: String },
    /// Gzip that does not decompress.
    #[error("{at}: damaged: {what}; get the file by hand and see whether gzip can read it")]
    Damaged { at: String, what: String },
    /// More bytes than allowed.
    #[error(
        "{at}: larger than the {max_bytes} bytes a feed may have when decompressed; configure a \
         feed of one station, or of fewer years"
    )]
    TooLarge { at: String, max_bytes: u64 },
    /// More bytes than allowed before decompression.
    #[error(
        "{at}: larger than the {max_bytes} bytes a feed may have while compressed; configure a feed \
         of one station, or of fewer years"
    )]
    TooLargePacked { at: String, max_bytes: u64 },
    /// A file of this machine cannot be read.
    #[error("{at}: {what}; {remedy}")]
    File {
        at: String,
        what: String,
        remedy: &'static str,
    },
}

fn asked_to_wait(pause: &Option<Duration>) -> String {
    pause.map_or(String::new(), |pause| {
        format!(" and asks to wait {} s", pause.as_secs())
    })
}

fn status_remedy(status: StatusCode) -> &'static str {
    match status.as_u16() {
        401 | 403 | 407 => "check whether the publisher asks for a key or has blocked this machine",
        404 | 410 => "the file is not there; check the address in the configuration",
        429 => "it is asked too often; look less often in the schedule",
        408 | 500..=599 => "the trouble is on its side; wait for the next look",
        _ => "check in a browser what the address gives",
    }
}

impl FetchError {
    /// Whether the same fetch may go well later without anybody changing anything.
    pub fn is_transient(&self) -> bool {
        match self {
            Self::Connection { .. } | Self::Timeout { .. } | Self::CutShort { .. } => true,
            Self::Status { status, .. } => {
                status.is_server_error() || matches!(status.as_u16(), 408 | 429)
            }
            _ => false,
        }
    }

    /// The pause that the server asked for, if it did.
    pub(super) fn retry_after(&self) -> Option<Duration> {
        match self {
            Self::Status { retry_after, .. } => *retry_after,
            _ => None,
        }
    }
}
