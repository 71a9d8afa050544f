//! Signs that need no database: a word to the operator when it fails, a heartbeat while all is well.

use super::lines::{extra_ca, mailer, push_target, pusher};
use super::{Beat, Engine, Print, with_beat};
use crate::config::{Addresses, Config};
use crate::feed::fetch::user_agent;
use crate::notify::{Enclosed, Parcel, SendError, heartbeat};
use std::time::Duration;
use tracing::{info, warn};

/// Longest wait for a mail or push server.
const PATIENCE: Duration = Duration::from_secs(30);

impl Engine {
    /// Sends the operator a message at once, by mail and push, past the outbox. What cannot be sent
    /// is logged and forgotten, and so is what a stop interrupts.
    pub async fn alarm(&self, title: &str, text: &str, beat: Beat<'_>) {
        let config = &self.config;
        let operator = config.service.operator.as_ref();
        let Some(addresses) = operator.and_then(|id| config.addresses.get(id)) else {
            return;
        };
        if self.print != Print::Console {
            return;
        }
        let now = self.clock.now();
        let parcel = Parcel {
            id: format!("alarm-{}", now.timestamp_micros()),
            title: format!("{}: {title}", config.service.name),
            text: text.to_owned(),
            created_at: now,
            enclosed: Enclosed::default(),
        };
        let sending = async {
            say(by_mail(config, addresses, &parcel).await);
            say(by_push(config, addresses, &parcel).await);
        };
        self.unless_stopped(sending, beat).await;
    }

    /// Calls the heartbeat address, if there is one; a failure is logged and hurts nothing.
    pub async fn heartbeat(&self, beat: Beat<'_>) {
        let Some(url) = &self.config.service.heartbeat else {
            return;
        };
        let agent = user_agent(&self.config.service.contact);
        let calling = async {
            let result = match extra_ca(&self.config) {
                Ok(ca) => heartbeat::call(url, &agent, ca.as_deref()).await,
                Err(problem) => Err(problem),
            };
            if let Err(problem) = result {
                warn!("{problem}");
            }
        };
        self.unless_stopped(calling, beat).await;
    }

    /// Awaits something, beating meanwhile, until it is over or the program is to stop.
    async fn unless_stopped(&self, work: impl Future<Output = ()>, beat: Beat<'_>) {
        let mut stop = self.stop.clone();
        tokio::select! {
            () = with_beat(work, beat) => {}
            Ok(_) = stop.wait_for(|stop| *stop) => {}
        }
    }
}

fn say(result: Option<Result<(), SendError>>) {
    match result {
        Some(Ok(())) => info!("the operator was told"),
        Some(Err(problem)) => warn!("the operator could not be told: {problem}"),
        None => {}
    }
}

/// `None` if they are not reached by mail.
async fn by_mail(
    config: &Config,
    addresses: &Addresses,
    parcel: &Parcel,
) -> Option<Result<(), SendError>> {
    let (server, to) = (config.email.as_ref()?, addresses.email.as_ref()?);
    Some(match mailer(config, server, PATIENCE) {
        Ok(mut mailer) => Box::pin(mailer.send(to, parcel)).await,
        Err(problem) => Err(SendError::Transient(problem)),
    })
}

/// `None` if they are not reached by push.
async fn by_push(
    config: &Config,
    addresses: &Addresses,
    parcel: &Parcel,
) -> Option<Result<(), SendError>> {
    let target = push_target(addresses.push.as_ref()?);
    let ready = target.and_then(|target| Ok((pusher(config, PATIENCE)?, target)));
    Some(match ready {
        Ok((pusher, target)) => Box::pin(pusher.send(&target, parcel)).await,
        Err(problem) => Err(SendError::Transient(problem)),
    })
}
