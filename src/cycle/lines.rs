//! Lines of messages: one for each server, which is sent them one after the other over one
//! connection.

use super::browsers::{BrowserTarget, web_pusher};
use crate::config::{Addresses, Config, EmailServer, PushAddress};
use crate::domain::place::site::Channel;
use crate::feed::fetch::user_agent;
use crate::notify::email::{Mailer, SmtpSettings};
use crate::notify::push::{PushTarget, Pusher};
use crate::notify::web_push::WebPusher;
use crate::notify::{Enclosed, Parcel, SendError};
use crate::secret::{Secret, SecretSource};
use crate::store::outbox::Waiting;
use std::collections::VecDeque;
use std::time::Duration;

/// Longest wait for a mail or push server.
const PATIENCE: Duration = Duration::from_secs(60);

/// A server that messages go to.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Server {
    /// The mail server.
    Mail,
    /// A push server, by scheme, host and port.
    Push(String),
    /// A push service of browsers, by scheme, host and port.
    WebPush(String),
}

impl Server {
    /// The server for a recipient's channel; none if the message stays in the house, there is no
    /// address for it, or it is for a browser, which the store knows.
    pub fn of(config: &Config, recipient: &str, channel: Channel) -> Option<Self> {
        let addresses = config.addresses.get(recipient)?;
        match channel {
            Channel::Email => {
                (config.email.is_some() && addresses.email.is_some()).then_some(Self::Mail)
            }
            Channel::Push => {
                let url = &addresses.push.as_ref()?.url;
                Some(Self::Push(url.origin().ascii_serialization()))
            }
            Channel::WebPush | Channel::File | Channel::Console => None,
        }
    }
}

/// The messages for a server, and the connection to it.
pub(super) struct Line {
    /// Whose line it is.
    pub server: Server,
    /// Numbers of messages, oldest first.
    pub numbers: VecDeque<i64>,
    connection: Connection,
}

enum Connection {
    Closed,
    Mail(Box<Mailer>),
    Push(Pusher),
    WebPush(Box<WebPusher>),
}

/// An attempt that is over.
pub(super) struct Done {
    /// The line, for the next one.
    pub line: Line,
    /// What was sent.
    pub message: Waiting,
    /// How it went.
    pub result: Result<(), SendError>,
}

/// Where a message goes.
pub(super) enum Addressee {
    Mail(String),
    Push(PushTarget),
    WebPush(Box<BrowserTarget>),
}

impl Line {
    /// A line with nobody in it.
    pub fn new(server: Server) -> Self {
        Self {
            server,
            numbers: VecDeque::new(),
            connection: Connection::Closed,
        }
    }

    /// Makes what is needed to send to a recipient. Secrets are read anew, so a renewed one needs no
    /// restart.
    ///
    /// # Errors
    /// [`SendError`] if there is no address any more, or a secret or certificate cannot be read.
    pub fn prepare(&mut self, config: &Config, message: &Waiting) -> Result<Addressee, SendError> {
        let Some(addresses) = config.addresses.get(&message.recipient) else {
            return Err(no_address(message.channel));
        };
        match self.server {
            Server::Mail => self.prepare_mail(config, addresses),
            Server::Push(_) => self.prepare_push(config, addresses),
            Server::WebPush(_) => Err(no_address(message.channel)),
        }
    }

    fn prepare_mail(
        &mut self,
        config: &Config,
        addresses: &Addresses,
    ) -> Result<Addressee, SendError> {
        let (Some(server), Some(to)) = (&config.email, &addresses.email) else {
            return Err(no_address(Channel::Email));
        };
        if !matches!(self.connection, Connection::Mail(_)) {
            let mailer = mailer(config, server, PATIENCE).map_err(SendError::Unreachable)?;
            self.connection = Connection::Mail(Box::new(mailer));
        }
        Ok(Addressee::Mail(to.clone()))
    }

    fn prepare_push(
        &mut self,
        config: &Config,
        addresses: &Addresses,
    ) -> Result<Addressee, SendError> {
        let Some(address) = &addresses.push else {
            return Err(no_address(Channel::Push));
        };
        if !matches!(self.connection, Connection::Push(_)) {
            let pusher = pusher(config, PATIENCE).map_err(SendError::Unreachable)?;
            self.connection = Connection::Push(pusher);
        }
        let target = push_target(address).map_err(SendError::Transient)?;
        Ok(Addressee::Push(target))
    }

    /// Makes what is needed to send to a browser.
    ///
    /// # Errors
    /// [`SendError`] if the key or a certificate cannot be used.
    pub fn prepare_browser(
        &mut self,
        config: &Config,
        (target, key): (BrowserTarget, Secret),
    ) -> Result<Addressee, SendError> {
        if !matches!(self.connection, Connection::WebPush(_)) {
            let pusher = web_pusher(config, &key, PATIENCE).map_err(SendError::Unreachable)?;
            self.connection = Connection::WebPush(Box::new(pusher));
        }
        Ok(Addressee::WebPush(Box::new(target)))
    }

    /// Sends one message.
    pub async fn send(mut self, target: Addressee, message: Waiting, enclosed: Enclosed) -> Done {
        let parcel = parcel(&message, enclosed);
        let result = match (&mut self.connection, &target) {
            (Connection::Mail(mailer), Addressee::Mail(to)) => mailer.send(to, &parcel).await,
            (Connection::Push(pusher), Addressee::Push(target)) => {
                pusher.send(target, &parcel).await
            }
            (Connection::WebPush(pusher), Addressee::WebPush(to)) => {
                let sent = pusher.send(&to.browser, &parcel, &to.terms, to.now);
                sent.await.map(|_| ())
            }
            _ => Err(no_address(message.channel)),
        };
        Done {
            line: self,
            message,
            result,
        }
    }

    /// Takes leave of the server.
    pub async fn close(self) {
        if let Connection::Mail(mut mailer) = self.connection {
            mailer.close().await;
        }
    }
}

/// A message as it goes out.
pub(super) fn parcel(message: &Waiting, enclosed: Enclosed) -> Parcel {
    Parcel {
        id: message.id.clone(),
        title: message.title.clone(),
        text: message.body.clone(),
        created_at: message.created_at,
        enclosed,
    }
}

/// The recipient has no address for a channel any more.
pub(super) fn no_address(channel: Channel) -> SendError {
    SendError::Permanent(format!(
        "the recipient no longer has an address for {} in the configuration",
        channel.name()
    ))
}

/// What mail is sent with. The password is read anew.
///
/// # Errors
/// A text that says what cannot be read or used.
pub(super) fn mailer(
    config: &Config,
    server: &EmailServer,
    patience: Duration,
) -> Result<Mailer, String> {
    Mailer::new(&SmtpSettings {
        host: server.host.clone(),
        port: server.port,
        security: server.security,
        username: server.username.clone(),
        password: load(server.password.as_ref())?,
        from: server.from.clone(),
        timeout: patience,
        extra_ca_pem: extra_ca(config)?,
    })
}

/// What pushes are sent with.
///
/// # Errors
/// A text that says what cannot be read or used.
pub(super) fn pusher(config: &Config, patience: Duration) -> Result<Pusher, String> {
    let agent = user_agent(&config.service.contact);
    Pusher::new(&agent, patience, extra_ca(config)?.as_deref())
}

/// Where a push goes. The token is read anew.
///
/// # Errors
/// A text that says why the token cannot be read.
pub(super) fn push_target(address: &PushAddress) -> Result<PushTarget, String> {
    Ok(PushTarget {
        url: address.url.clone(),
        format: address.format,
        token: load(address.token.as_ref())?,
    })
}

fn load(source: Option<&SecretSource>) -> Result<Option<Secret>, String> {
    source
        .map(|source| source.load().map_err(|error| error.to_string()))
        .transpose()
}

/// The further root certificates, if any are configured.
///
/// # Errors
/// A text naming the file if it cannot be read.
pub(super) fn extra_ca(config: &Config) -> Result<Option<Vec<u8>>, String> {
    config
        .service
        .extra_ca_file
        .as_ref()
        .map(|path| {
            std::fs::read(path).map_err(|error| {
                format!("extra_ca_file {} cannot be read: {error}", path.display())
            })
        })
        .transpose()
}
