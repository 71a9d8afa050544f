//! The heartbeat: an address of the user's own that is called while all is well, so that silence is
//! noticed by somebody else. Its path may be a secret, so error texts name its host and nothing else.

use super::push::host;
use crate::tls::{innermost, install_tls_provider, root_certificates};
use reqwest::{Client, Url, redirect};
use std::time::Duration;

/// Longest wait for an answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// Calls an address once, by GET; what it answers beyond its status is not read.
///
/// # Errors
/// A text that says what is wrong.
pub async fn call(url: &Url, user_agent: &str, extra_ca_pem: Option<&[u8]>) -> Result<(), String> {
    install_tls_provider();
    let extra = extra_ca_pem.map_or(Ok(Vec::new()), root_certificates)?;
    let host = host(url);
    let client = Client::builder()
        .user_agent(user_agent)
        .tls_certs_merge(extra)
        .timeout(PATIENCE)
        .redirect(redirect::Policy::none())
        .referer(false)
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
