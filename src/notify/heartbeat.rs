//! The heartbeat: an address of the user's own that is called while all is well, so that silence is
//! noticed by somebody else. Its path may be a secret, so error texts name its host and nothing else.

use super::push::{client, host};
use crate::tls::innermost;
use reqwest::Url;
use std::time::Duration;

/// Longest wait for an answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Calls an address once, by GET; what it answers beyond its status is not read.
///
/// # Errors
/// A text that says what is wrong.
pub async fn call(url: &Url, user_agent: &str, extra_ca_pem: Option<&[u8]>) -> Result<(), String> {
    let host = host(url);
    let client = client(user_agent, PATIENCE, extra_ca_pem)?
        .build()
        .map_err(|error| format!("heartbeat to {host}: {}", innermost(&error)))?;
    let answer = client.get(url.clone()).send().await;
    let status = answer
        .map_err(|error| format!("heartbeat to {host}: no answer: {}", innermost(&error)))?
        .status();
    if status.is_success() {
        Ok(())
    } else {
        Err(format!("heartbeat to {host}: the server answered {status}"))
    }
}
