//! Delivering: what is due in the outbox, one message after the other.

use super::{Beat, Engine, Print, Report, with_beat};
use crate::config::{Addresses, Config, EmailServer};
use crate::domain::place::site::Channel;
use crate::feed::fetch::user_agent;
use crate::notify::email::{Mailer, SmtpSettings};
use crate::notify::push::{PushTarget, Pusher};
use crate::notify::{Parcel, SendError, local};
use crate::secret::{Secret, SecretSource};
use crate::store::StoreError;
use crate::store::outbox::Waiting;
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use std::time::Duration;
use tracing::{error, info, warn};

/// Longest wait for a mail or push server.
const PATIENCE: Duration = Duration::from_secs(60);

impl Engine {
    /// Sends what is due and whose recipient hears at this hour. Each success is noted before the next message is tried.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails; servers that refuse are noted.
    pub async fn deliver(&mut self, beat: Beat<'_>, report: &mut Report) -> Result<(), StoreError> {
        let names: HashMap<String, String> = self
            .config
            .members
            .iter()
            .flat_map(|member| &member.recipients)
            .map(|recipient| (recipient.id.clone(), recipient.name.clone()))
            .collect();
        for message in self.store.due(self.clock.now())? {
            if *self.stop.borrow() {
                return Ok(());
            }
            let now = self.clock.now();
            // A replay goes from day to day and knows no hours.
            if self.print != Print::All && waits_for_its_hour(&self.config, &message, now) {
                report.for_their_hour += 1;
                continue;
            }
            self.store.attempt(&message, now)?;
            let result = with_beat(self.send(&message, names.get(&message.recipient)), beat).await;
            let now = self.clock.now();
            match result {
                Ok(()) => {
                    self.store.sent(message.number, now)?;
                    report.sent += 1;
                    info!(
                        recipient = message.recipient,
                        channel = message.channel.name(),
                        id = message.id,
                        "sent"
                    );
                }
                Err(problem) => {
                    report.unsent += 1;
                    let refused = matches!(problem, SendError::Permanent(_));
                    let given_up =
                        self.store
                            .not_sent(&message, &problem.to_string(), refused, now)?;
                    log_unsent(&message, &problem, given_up);
                }
            }
            beat();
        }
        Ok(())
    }

    /// Sends a message to a recipient, by the name in the configuration.
    async fn send(&mut self, message: &Waiting, name: Option<&String>) -> Result<(), SendError> {
        let parcel = Parcel {
            id: message.id.clone(),
            title: message.title.clone(),
            text: message.body.clone(),
            created_at: message.created_at,
        };
        let (Some(name), Some(addresses)) = (name, self.config.addresses.get(&message.recipient))
        else {
            return Err(SendError::Permanent(format!(
                "recipient {} is no longer in the configuration",
                message.recipient
            )));
        };
        let printed = match message.channel {
            Channel::Console => true,
            Channel::Email | Channel::Push => self.print != Print::Console,
            Channel::File => self.print == Print::All,
        };
        if printed {
            let to = addressee(name, message.channel, addresses);
            return local::print(&mut self.output, &to, &parcel);
        }
        match message.channel {
            Channel::Email => mail(&self.config, addresses, &parcel).await,
            Channel::Push => push(&self.config, addresses, &parcel).await,
            Channel::File | Channel::Console => match &addresses.file {
                Some(path) => local::append(path, name, &parcel),
                None => Err(no_address("file")),
            },
        }
    }
}

/// Whether a message must wait because its recipient has quiet hours or a pause. These are looked up
/// when it is to be sent, so a change of them also serves messages that wait, and an attempt that is
/// repeated keeps to them too.
pub fn waits_for_its_hour(config: &Config, message: &Waiting, now: DateTime<Utc>) -> bool {
    config
        .recipient(&message.recipient)
        .is_some_and(|recipient| recipient.reception.not_before(now, message.urgent) > now)
}

fn log_unsent(message: &Waiting, problem: &SendError, given_up: bool) {
    let (recipient, channel) = (&message.recipient, message.channel.name());
    if given_up {
        error!(
            recipient,
            channel,
            id = message.id,
            "given up after two weeks: {problem}"
        );
    } else {
        warn!(
            recipient,
            channel,
            id = message.id,
            "not sent, kept for later: {problem}"
        );
    }
}

/// Who and how, for printed messages.
fn addressee(name: &str, channel: Channel, addresses: &Addresses) -> String {
    match (channel, &addresses.email) {
        (Channel::Email, Some(email)) => format!("{name} by email, {email}"),
        (Channel::Push, _) => format!("{name} by push"),
        _ => name.to_owned(),
    }
}

fn no_address(channel: &str) -> SendError {
    SendError::Permanent(format!(
        "the recipient no longer has an address for {channel} in the configuration"
    ))
}

async fn mail(config: &Config, addresses: &Addresses, parcel: &Parcel) -> Result<(), SendError> {
    let (Some(server), Some(to)) = (&config.email, &addresses.email) else {
        return Err(no_address("email"));
    };
    let settings = smtp_settings(config, server).map_err(SendError::Transient)?;
    let mailer = Mailer::new(&settings).map_err(SendError::Transient)?;
    mailer.send(to, parcel).await
}

/// Secrets are read at every attempt, so a renewed one needs no restart.
fn load(source: Option<&SecretSource>) -> Result<Option<Secret>, String> {
    source
        .map(|source| source.load().map_err(|error| error.to_string()))
        .transpose()
}

fn smtp_settings(config: &Config, server: &EmailServer) -> Result<SmtpSettings, String> {
    Ok(SmtpSettings {
        host: server.host.clone(),
        port: server.port,
        security: server.security,
        username: server.username.clone(),
        password: load(server.password.as_ref())?,
        from: server.from.clone(),
        timeout: PATIENCE,
        extra_ca_pem: extra_ca(config)?,
    })
}

async fn push(config: &Config, addresses: &Addresses, parcel: &Parcel) -> Result<(), SendError> {
    let Some(address) = &addresses.push else {
        return Err(no_address("push"));
    };
    let target = PushTarget {
        url: address.url.clone(),
        format: address.format,
        token: load(address.token.as_ref()).map_err(SendError::Transient)?,
    };
    let ca = extra_ca(config).map_err(SendError::Transient)?;
    let agent = user_agent(&config.service.contact);
    let pusher = Pusher::new(&agent, PATIENCE, ca.as_deref()).map_err(SendError::Transient)?;
    pusher.send(&target, parcel).await
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
