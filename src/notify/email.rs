//! Mail by SMTP: one connection for many messages, encrypted unless the server is on this machine.

use std::error::Error as _;
use std::net::IpAddr;
use std::time::Duration;

use lettre::address::Envelope;
use lettre::message::Mailbox;
use lettre::transport::smtp;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS, Mechanism};
use lettre::transport::smtp::client::{AsyncSmtpConnection, AsyncTokioStream, TlsParameters};
use lettre::transport::smtp::commands::Auth;
use lettre::transport::smtp::extension::ClientId;
use lettre::transport::smtp::response::Response;
use rustls::pki_types::ServerName;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tracing::debug;

use crate::notify::{Parcel, SendError};
use crate::secret::Secret;
use crate::tls::{causes, innermost};

mod bounded;
mod letter;
mod page;
mod paragraphs;
mod security;
mod sign_in;

use bounded::{Bounded, Secured};
pub use letter::{check_address, message_id};
use letter::{mailbox, message, without_controls};
pub(super) use security::tls_connector;
use security::{Security, speaks_tls};

/// How long the server may take over saying goodbye; the message is safe by then.
const GOODBYE: Duration = Duration::from_secs(2);

/// A server that has not greeted us by then may be waiting for TLS.
const GREETING: Duration = Duration::from_secs(3);

/// The server closes the connection (RFC 5321, 4.2.3).
const CLOSING: u16 = 421;

/// Most characters of a server's answer that are repeated in an error.
const LONGEST_ANSWER: usize = 300;

/// How the connection to the mail server is encrypted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SmtpSecurity {
    /// Starts in the clear and changes to TLS before anything is said; never goes on without.
    StartTls,
    /// TLS from the first byte.
    Tls,
    /// None. Only for a server on this machine.
    Plain,
}

impl SmtpSecurity {
    /// Names used in the configuration.
    pub const NAMED: [(&'static str, SmtpSecurity); 3] = [
        ("starttls", Self::StartTls),
        ("tls", Self::Tls),
        ("plain", Self::Plain),
    ];

    /// The port such servers usually listen on.
    pub fn usual_port(self) -> u16 {
        match self {
            Self::StartTls => 587,
            Self::Tls => 465,
            Self::Plain => 25,
        }
    }
}

/// The mail server and how to use it.
#[derive(Debug, Clone)]
pub struct SmtpSettings {
    /// Host name, or address without brackets. The certificate must be for it.
    pub host: String,
    /// Port, 1 to 65535.
    pub port: u16,
    /// Encryption.
    pub security: SmtpSecurity,
    /// User name; goes with `password`.
    pub username: Option<String>,
    /// Password; goes with `username`.
    pub password: Option<Secret>,
    /// Sender: `name@example.org` or `Name <name@example.org>`.
    pub from: String,
    /// Longest time one message may take, from looking up the host to the server's last answer.
    pub timeout: Duration,
    /// PEM certificates of further authorities to trust, beside the system's.
    pub extra_ca_pem: Option<Vec<u8>>,
}

/// Sends messages through one mail server.
pub struct Mailer {
    host: String,
    port: u16,
    security: Security,
    credentials: Option<Credentials>,
    /// The password as it is and as it travels, to be kept out of errors.
    hidden: Vec<String>,
    from: Mailbox,
    timeout: Duration,
    /// The connection that the last message went over.
    kept: Option<AsyncSmtpConnection>,
    /// What the server said when it accepted the last message.
    accepted: String,
}

/// What was under way when a delivery failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SmtpStep {
    Connect,
    Secure,
    SignIn,
    HandOver,
}

impl SmtpStep {
    /// What failed and what to look at.
    fn advice(self) -> &'static str {
        match self {
            Self::Connect => "connecting failed; check host, port, security and certificate",
            Self::Secure => {
                "changing to TLS failed and nothing was sent; check that the server offers STARTTLS \
                 and whose authority signed its certificate"
            }
            Self::SignIn => "signing in failed; check user name and password",
            Self::HandOver => "the message was not accepted for now",
        }
    }
}

impl Mailer {
    /// Checks the settings. Nothing is sent yet.
    ///
    /// # Errors
    ///
    /// If a setting is out of range, the sender is no address, user name and password do not come
    /// together, the certificates cannot be read, or `Plain` is asked for a distant server.
    pub fn new(settings: &SmtpSettings) -> Result<Self, String> {
        check_server(settings)?;
        let credentials = credentials(settings)?;
        Ok(Self {
            host: settings.host.clone(),
            port: settings.port,
            security: Security::of(settings)?,
            hidden: match (&credentials, &settings.password) {
                (Some(credentials), Some(password)) => travelling_forms(credentials, password),
                _ => Vec::new(),
            },
            credentials,
            from: mailbox(&settings.from).map_err(|error| format!("sender: {error}"))?,
            timeout: settings.timeout,
            kept: None,
            accepted: String::new(),
        })
    }

    /// Sends `parcel` to `to`, `name@example.org` or `Name <name@example.org>`, over the connection
    /// that is open already if it still is. The same parcel makes the same message each time,
    /// Message-ID and Date included.
    ///
    /// # Errors
    ///
    /// Permanent if `to` is no address, or the server refuses this message or recipient for good
    /// (5xx). Transient if it does not take this message for now (4xx). Unreachable for everything
    /// that would hold for another message too: no connection, no trust in the certificate, no
    /// encryption, a refused sign-in, no answer in time.
    pub async fn send(&mut self, to: &str, parcel: &Parcel) -> Result<(), SendError> {
        let to =
            mailbox(to).map_err(|error| SendError::Permanent(format!("recipient: {error}")))?;
        let recipients = vec![to.email.clone()];
        let message = message(&self.from, to, parcel)
            .map_err(|error| SendError::Permanent(format!("message {}: {error}", parcel.id)))?;
        let envelope = Envelope::new(Some(self.from.email.clone()), recipients)
            .map_err(|error| SendError::Permanent(error.to_string()))?;
        let message = message.formatted();
        let kept = self.kept.take();
        let delivery = self.deliver(kept, &envelope, &message);
        match tokio::time::timeout(self.timeout, delivery).await {
            Ok(Ok((connection, answer))) => {
                self.kept = Some(connection);
                self.accepted = self.on_one_line(&answer);
                Ok(())
            }
            Ok(Err(error)) => Err(error),
            Err(_) => Err(SendError::Unreachable(format!(
                "mail server {}: the message was not accepted within {} s; check that the server answers",
                self.place(),
                self.timeout.as_secs_f64(),
            ))),
        }
    }

    /// What the server said when it accepted the last message, on one line.
    pub fn accepted(&self) -> &str {
        &self.accepted
    }

    /// Takes leave of the server, which may not answer: what it accepted is safe.
    pub async fn close(&mut self) {
        if let Some(mut connection) = self.kept.take() {
            let _ = tokio::time::timeout(GOODBYE, connection.quit()).await;
        }
    }

    /// Returns the connection once the server has accepted the message. One that was kept may have
    /// been closed by the server meanwhile, or be closed instead of an answer (421): then a new one
    /// takes its place.
    async fn deliver(
        &self,
        kept: Option<AsyncSmtpConnection>,
        envelope: &Envelope,
        message: &[u8],
    ) -> Result<(AsyncSmtpConnection, String), SendError> {
        if let Some(mut kept) = kept
            && kept.test_connected().await
        {
            match kept.send(envelope, message).await {
                Ok(answer) => return Ok((kept, words(&answer))),
                Err(error) if error.status().map(u16::from) == Some(CLOSING) => {}
                Err(error) => return Err(self.failure(SmtpStep::HandOver, &error)),
            }
        }
        let mut connection = self.connect().await?;
        let sent = connection.send(envelope, message).await;
        let answer = sent.map_err(|error| self.failure(SmtpStep::HandOver, &error))?;
        Ok((connection, words(&answer)))
    }

    /// A connection that is encrypted and signed in.
    async fn connect(&self) -> Result<AsyncSmtpConnection, SendError> {
        let own_name = ClientId::default();
        let failed = |step| move |error: smtp::Error| self.failure(step, &error);
        let stream: Box<dyn AsyncTokioStream> = match &self.security {
            Security::Tls(connector) => Box::new(self.secured(connector).await?),
            Security::Plain => Box::new(self.stream().await?),
            Security::StartTls(_, connector) => {
                let stream = self.stream().await?;
                self.is_greeted(&stream, connector).await?;
                Box::new(stream)
            }
        };
        let mut connection = AsyncSmtpConnection::connect_with_transport(stream, &own_name)
            .await
            .map_err(failed(SmtpStep::Connect))?;
        if let Security::StartTls(tls, _) = &self.security {
            let secured = connection
                .starttls(TlsParameters::clone(tls), &own_name)
                .await;
            secured.map_err(failed(SmtpStep::Secure))?;
        }
        if let Some(credentials) = &self.credentials {
            let signed_in = connection.auth(DEFAULT_MECHANISMS, credentials).await;
            signed_in.map_err(failed(SmtpStep::SignIn))?;
        }
        Ok(connection)
    }

    /// A connection on which the server can say only so much.
    async fn stream(&self) -> Result<Bounded, SendError> {
        let stream = TcpStream::connect((self.host.as_str(), self.port)).await;
        let stream = stream.map_err(|error| {
            self.unreachable(&format!("{}: {error}", SmtpStep::Connect.advice()))
        })?;
        // A message goes out in two pieces, and the second must not wait until the server has
        // acknowledged the first: that is 40 ms each.
        if let Err(error) = stream.set_nodelay(true) {
            debug!("small pieces wait for each other: {error}");
        }
        Ok(Bounded::new(stream))
    }

    /// The same under TLS from the first byte.
    async fn secured(&self, connector: &TlsConnector) -> Result<Secured, SendError> {
        let stream = self.stream().await?;
        match connector.connect(self.server_name()?, stream).await {
            Ok(stream) => Ok(Secured(stream)),
            Err(error) if speaks_in_the_clear(&error) => Err(self.unreachable(
                "it greets in the clear where TLS was expected; set security = \"starttls\", or the \
                 port for TLS, usually 465",
            )),
            Err(error) => Err(self.unreachable(&format!(
                "{}: {}",
                SmtpStep::Connect.advice(),
                innermost(&error)
            ))),
        }
    }

    /// A server that greets late is waited for, unless a second connection shows that it speaks TLS
    /// from the first byte: such a one waits for us.
    async fn is_greeted(
        &self,
        stream: &Bounded,
        connector: &TlsConnector,
    ) -> Result<(), SendError> {
        let greeting = tokio::time::timeout(GREETING, stream.has_spoken());
        if greeting.await.is_ok() {
            return Ok(());
        }
        let other = self.stream().await?;
        let handshake = connector.connect(self.server_name()?, other);
        match tokio::time::timeout(GREETING, handshake).await {
            Ok(handshake) if speaks_tls(&handshake) => Err(self.unreachable(
                "it speaks TLS from the first byte where a greeting was expected; set security = \
                 \"tls\", or the port for STARTTLS, usually 587",
            )),
            _ => Ok(()),
        }
    }

    fn server_name(&self) -> Result<ServerName<'static>, SendError> {
        ServerName::try_from(self.host.clone())
            .map_err(|error| self.unreachable(&format!("its name is no host name: {error}")))
    }

    fn unreachable(&self, what: &str) -> SendError {
        SendError::Unreachable(format!("mail server {}: {what}", self.place()))
    }

    fn failure(&self, step: SmtpStep, error: &smtp::Error) -> SendError {
        let status = error.status().map(u16::from);
        let refused_for_good = refused_for_good(step, status);
        let advice = match step {
            SmtpStep::HandOver if refused_for_good => "the message was refused",
            SmtpStep::HandOver if status.is_some_and(wants_sign_in) => {
                "the server wants a user name and password; check both"
            }
            step => step.advice(),
        };
        let text = format!(
            "mail server {}: {advice}: {}",
            self.place(),
            self.answer(error)
        );
        let about_the_message = step == SmtpStep::HandOver
            && status.is_some_and(|code| code != CLOSING && !wants_sign_in(code));
        match (refused_for_good, about_the_message) {
            (true, _) => SendError::Permanent(text),
            (false, true) => SendError::Transient(text),
            (false, false) => SendError::Unreachable(text),
        }
    }

    /// What the server or the system said, on one line, without the password.
    fn answer(&self, error: &smtp::Error) -> String {
        let mut said = String::new();
        let mut source = error.source();
        while let Some(inner) = source {
            said = inner.to_string();
            source = inner.source();
        }
        if said.is_empty() && error.status().is_none() {
            said = error.to_string();
        }
        let said = self.on_one_line(&said);
        match error.status() {
            Some(code) => format!("{code} {said}").trim_end().to_owned(),
            None => said,
        }
    }

    /// What was said, cut to what may be shown.
    fn on_one_line(&self, said: &str) -> String {
        let mut said = without_controls(said);
        for hidden in &self.hidden {
            said = said.replace(hidden, "[secret]");
        }
        said.chars().take(LONGEST_ANSWER).collect()
    }

    fn place(&self) -> String {
        place(&self.host, self.port)
    }
}

/// An answer's code and text.
fn words(answer: &Response) -> String {
    let text: Vec<&str> = answer.message().collect();
    format!("{} {}", answer.code(), text.join(" "))
}

/// Only what is said about the message itself is final. A server that turns everybody away, or a
/// password that has run out, says nothing about the message.
fn refused_for_good(step: SmtpStep, status: Option<u16>) -> bool {
    step == SmtpStep::HandOver
        && status.is_some_and(|code| (500..600).contains(&code) && !wants_sign_in(code))
}

/// Codes of RFC 4954 for a missing, refused or too weak sign-in.
fn wants_sign_in(code: u16) -> bool {
    matches!(code, 530 | 534 | 535 | 538)
}

fn place(host: &str, port: u16) -> String {
    if host.contains(':') {
        format!("[{host}]:{port}")
    } else {
        format!("{host}:{port}")
    }
}

fn check_server(settings: &SmtpSettings) -> Result<(), String> {
    let host = &settings.host;
    if ServerName::try_from(host.as_str()).is_err() {
        return Err(format!(
            "mail server {host:?}: not a host name or address; write one like mail.example.org"
        ));
    }
    if settings.port == 0 {
        return Err(format!(
            "mail server {host}: port 0 cannot be reached; use 1 to 65535"
        ));
    }
    if settings.timeout.is_zero() {
        return Err(format!(
            "mail server {host}: the timeout is zero; allow some seconds"
        ));
    }
    if settings.security == SmtpSecurity::Plain && !is_this_machine(host) {
        return Err(format!(
            "mail server {host}: mail without encryption only goes to a server on this machine \
             (localhost, 127.0.0.1, ::1); use starttls or tls"
        ));
    }
    Ok(())
}

fn is_this_machine(host: &str) -> bool {
    host.eq_ignore_ascii_case("localhost")
        || host
            .parse::<IpAddr>()
            .is_ok_and(|address| address.is_loopback())
}

fn credentials(settings: &SmtpSettings) -> Result<Option<Credentials>, String> {
    let host = &settings.host;
    match (&settings.username, &settings.password) {
        (Some(name), Some(password)) => Ok(Some(Credentials::new(
            name.clone(),
            password.expose().to_owned(),
        ))),
        (None, None) => Ok(None),
        (Some(_), None) => Err(format!(
            "mail server {host}: user name without password; give both"
        )),
        (None, Some(_)) => Err(format!(
            "mail server {host}: password without user name; give both"
        )),
    }
}

/// The encoded sign-ins, one per mechanism, and the password itself, which comes last since it may
/// be a part of the others.
fn travelling_forms(credentials: &Credentials, password: &Secret) -> Vec<String> {
    let commands = [
        Auth::new(Mechanism::Plain, credentials.clone(), None),
        Auth::new(
            Mechanism::Login,
            credentials.clone(),
            Some("Password".into()),
        ),
    ];
    let encoded = commands.into_iter().flatten().filter_map(|command| {
        let command = command.to_string();
        command.split_whitespace().next_back().map(str::to_owned)
    });
    let password = std::iter::once(password.expose().to_owned());
    encoded
        .chain(password)
        .filter(|form| !form.is_empty())
        .collect()
}

/// Whether what came was no TLS at all.
fn speaks_in_the_clear(error: &std::io::Error) -> bool {
    causes(error)
        .filter_map(|cause| cause.downcast_ref::<rustls::Error>())
        .any(|cause| matches!(cause, rustls::Error::InvalidMessage(_)))
}

#[cfg(test)]
mod tests;
