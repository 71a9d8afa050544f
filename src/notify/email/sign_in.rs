//! Signing in at the mail server without sending anything.

use super::{GOODBYE, Mailer, Security};
use crate::notify::SendError;
use tokio::time::timeout;

impl Mailer {
    /// Connects, signs in if there is a user name, and takes leave. Returns what was done, in words.
    ///
    /// # Errors
    /// As for [`Mailer::send`], for everything that is not about a message.
    pub async fn sign_in(&self) -> Result<String, SendError> {
        let place = self.place();
        let mut connection = timeout(self.timeout, self.connect()).await.map_err(|_| {
            SendError::Unreachable(format!(
                "mail server {place}: no answer within {} s; check that the server answers",
                self.timeout.as_secs_f64(),
            ))
        })??;
        let _ = timeout(GOODBYE, connection.quit()).await;
        let how = match &self.security {
            Security::Tls(_) => "over TLS",
            Security::StartTls(..) => "over STARTTLS",
            Security::Plain => "unencrypted, on this machine",
        };
        Ok(match self.credentials {
            Some(_) => format!("{place}: signed in {how}"),
            None => format!("{place}: answers {how}; no user name is configured"),
        })
    }
}
