//! Delivering: what is due in the outbox, side by side to all servers, to each one message after
//! the other. One task uses the database; those that wait for servers only bring back how it went.

use super::browsers::{Browsers, no_browser};
use super::enclosing::stopped;
use super::lines::{Addressee, Done, Line, Server, no_address, parcel};
use super::{Beat, Engine, Print, Report, with_beat};
use crate::config::Addresses;
use crate::domain::place::site::{Channel, Recipient};
use crate::notify::{Enclosed, SendError, local};
use crate::store::StoreError;
use crate::store::outbox::{DueMessage, Waiting};
use crate::store::pauses::Retry;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::{HashMap, VecDeque};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tracing::{error, info, warn};

/// Servers that are sent to at once.
const SIDE_BY_SIDE: usize = 64;

/// How long an attempt under way may take once the program is to stop. One that is broken off is
/// made again after the next start, under the same id.
const LAST_MOMENTS: Duration = Duration::from_secs(3);

/// How often a delivery looks whether a cycle or a digest is due.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// Longest time for which a server that asks for a pause is left alone with all other messages.
const LONGEST_REST: TimeDelta = TimeDelta::minutes(15);

/// What there is to send.
#[derive(Default)]
struct Queue {
    /// Numbers of messages that stay in the house.
    at_home: Vec<i64>,
    /// Those for servers.
    lines: VecDeque<Line>,
}

impl Engine {
    /// Sends what is due and whose recipient hears at this hour, and tells the operator of
    /// recipients who cannot be reached. Each attempt is noted before it is made, each success
    /// before the next message goes to the same server.
    ///
    /// # Errors
    /// [`StoreError`] if the database fails; servers that refuse are noted.
    pub async fn deliver(&mut self, beat: Beat<'_>, report: &mut Report) -> Result<(), StoreError> {
        self.send_due(beat, report).await?;
        if self.tell_of_unreachable(report)? {
            self.send_due(beat, report).await?;
        }
        Ok(())
    }

    async fn send_due(&mut self, beat: Beat<'_>, report: &mut Report) -> Result<(), StoreError> {
        let queue = self.queue(report)?;
        for number in queue.at_home {
            if *self.stop.borrow() {
                return Ok(());
            }
            if let Some(message) = self.store.waiting(number)? {
                self.store.attempt(&message, self.clock.now())?;
                let result = self.hand_over(&message);
                self.note_attempt(&message, result, report)?;
                beat();
            }
        }
        self.pictures.forget();
        self.send_to_servers(queue.lines, beat, report).await
    }

    /// Puts what is due in lines, page by page of the outbox; only numbers are kept.
    fn queue(&mut self, report: &mut Report) -> Result<Queue, StoreError> {
        let now = self.clock.now();
        let recipients = self.config.members.iter().flat_map(|one| &one.recipients);
        let recipients: HashMap<&str, &Recipient> =
            recipients.map(|one| (one.id.as_str(), one)).collect();
        self.resting
            .retain(|_, until| *until > now && *until <= now + LONGEST_REST);
        let stops = self.store.mail_stops()?;
        let browsers = Browsers::of(&self.store)?;
        let mut queue = Queue::default();
        let mut lines: HashMap<Server, Line> = HashMap::new();
        let mut order = Vec::new();
        let mut last = 0;
        loop {
            let page = self.store.due(now, last)?;
            let Some(newest) = page.last() else { break };
            last = newest.number;
            for due in page {
                let recipient = recipients.get(due.recipient.as_str()).copied();
                let stop = stops.get(&due.recipient);
                if let Some(why) = stopped(&self.config, recipient, stop, &due) {
                    self.store.give_up_stopped(due.number, &why)?;
                    continue;
                }
                if browsers.is_needless(recipient, &due) {
                    self.store.drop_for_no_browser(due.number)?;
                    continue;
                }
                // A replay goes from day to day and knows no hours.
                if self.print != Print::All && waits_for_its_hour(recipient, &due, now) {
                    report.for_their_hour += 1;
                    continue;
                }
                let server = match prints(self.print, due.channel) {
                    true => None,
                    false if due.channel == Channel::WebPush => {
                        browsers.service(&self.config, &due).map(Server::WebPush)
                    }
                    false => Server::of(&self.config, &due.recipient, due.channel),
                };
                let Some(server) = server else {
                    queue.at_home.push(due.number);
                    continue;
                };
                if self.resting.contains_key(&server) {
                    report.unsent += 1;
                    continue;
                }
                let line = lines.entry(server.clone()).or_insert_with(|| {
                    order.push(server.clone());
                    Line::new(server)
                });
                line.numbers.push_back(due.number);
            }
        }
        let in_order = order.iter().filter_map(|server| lines.remove(server));
        queue.lines = in_order.collect();
        Ok(queue)
    }

    /// Sends to all servers at once. A server that takes nothing is left alone until the next look.
    /// After a while it gives way to a cycle or a digest that has become due.
    async fn send_to_servers(
        &mut self,
        mut lines: VecDeque<Line>,
        beat: Beat<'_>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let stopped = last_moments_over(self.stop.clone());
        tokio::pin!(stopped);
        let mut under_way: JoinSet<Option<Done>> = JoinSet::new();
        let mut next_look = self.clock.steady() + self.least_delivery;
        let mut gives_way = false;
        loop {
            if !gives_way && self.clock.steady() >= next_look {
                gives_way = self.is_due()? || self.is_digest_due()?;
                next_look = self.clock.steady() + LOOK_EVERY;
            }
            while under_way.len() < SIDE_BY_SIDE
                && !*self.stop.borrow()
                && !gives_way
                && let Some(line) = lines.pop_front()
            {
                self.send_next(line, &mut under_way, report)?;
            }
            if under_way.is_empty() {
                if gives_way {
                    let left: usize = lines.iter().map(|line| line.numbers.len()).sum();
                    report.unsent += left;
                    info!(
                        left,
                        "the rest is sent after the cycle or digest that is due"
                    );
                }
                return Ok(());
            }
            let over = with_beat(next_over(&mut under_way, stopped.as_mut()), beat).await;
            let Some(over) = over else { return Ok(()) };
            beat();
            let Some(done) = over else { continue };
            let mut line = done.line;
            if self.note_sending(&line.server, &done.message, done.result, report)? {
                report.unsent += line.numbers.len();
                line.numbers.clear();
            }
            match line.numbers.is_empty() {
                true => farewell(line, &mut under_way),
                false => lines.push_back(line),
            }
        }
    }

    /// Begins to send the next message of a line that still waits.
    fn send_next(
        &mut self,
        mut line: Line,
        under_way: &mut JoinSet<Option<Done>>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        while let Some(number) = line.numbers.pop_front() {
            if *self.stop.borrow() {
                break;
            }
            let Some(message) = self.store.waiting(number)? else {
                continue;
            };
            self.store.attempt(&message, self.clock.now())?;
            let enclosed = self.enclosed(&message)?;
            let target = match &line.server {
                Server::WebPush(_) => {
                    let target = self.browser_target(&message, &enclosed)?;
                    target.and_then(|target| line.prepare_browser(&self.config, target))
                }
                _ => self
                    .recipient_of(&message)
                    .and_then(|_| line.prepare(&self.config, &message)),
            };
            match target {
                Ok(target) => {
                    begin((line, target), message, enclosed, under_way);
                    return Ok(());
                }
                Err(problem) => {
                    if self.note_sending(&line.server, &message, Err(problem), report)? {
                        report.unsent += line.numbers.len();
                        break;
                    }
                }
            }
        }
        farewell(line, under_way);
        Ok(())
    }

    /// Notes how an attempt at a server went. Says whether the server takes nothing for now.
    fn note_sending(
        &mut self,
        server: &Server,
        message: &Waiting,
        result: Result<(), SendError>,
        report: &mut Report,
    ) -> Result<bool, StoreError> {
        if let (Err(SendError::Gone(why)), Some(browser)) = (&result, message.browser) {
            report.unsent += 1;
            self.browser_ended(message, browser, why)?;
            // What waited for it goes elsewhere by now, and is looked for anew.
            return Ok(true);
        }
        let takes_nothing = match &result {
            Err(SendError::Unreachable(_)) => true,
            Err(SendError::Later(_, pause)) => {
                let pause = TimeDelta::from_std(*pause).unwrap_or(LONGEST_REST);
                let until = self.clock.now() + pause.min(LONGEST_REST);
                self.resting.insert(server.clone(), until);
                true
            }
            _ => false,
        };
        self.note_attempt(message, result, report)?;
        Ok(takes_nothing)
    }

    fn note_attempt(
        &mut self,
        message: &Waiting,
        result: Result<(), SendError>,
        report: &mut Report,
    ) -> Result<(), StoreError> {
        let now = self.clock.now();
        let Err(problem) = result else {
            self.store.sent(message.number, now)?;
            report.sent += 1;
            info!(
                recipient = message.recipient,
                channel = message.channel.name(),
                id = message.id,
                "sent"
            );
            return Ok(());
        };
        report.unsent += 1;
        let retry = match &problem {
            SendError::Transient(_) | SendError::Unreachable(_) => Retry::Soon,
            SendError::Later(_, pause) => {
                TimeDelta::from_std(*pause).map_or(Retry::Refused, Retry::After)
            }
            SendError::Permanent(_) | SendError::Gone(_) => Retry::Refused,
        };
        let given_up = self
            .store
            .not_sent(message, &problem.to_string(), retry, now)?;
        log_unsent(message, &problem, given_up);
        Ok(())
    }

    /// Who a message is for. One whose recipient's id belongs to another member by now is refused.
    pub(super) fn recipient_of(&self, message: &Waiting) -> Result<&Recipient, SendError> {
        let Some((member, recipient)) = self.config.member_and_recipient(&message.recipient) else {
            return Err(SendError::Permanent(format!(
                "recipient {} is no longer in the configuration",
                message.recipient
            )));
        };
        match &message.member {
            Some(meant) if *meant != member.id => Err(SendError::Permanent(format!(
                "it was meant for recipient {} of member {meant}, and {} is now of member {}",
                message.recipient, message.recipient, member.id
            ))),
            _ => Ok(recipient),
        }
    }

    /// Prints a message or appends it to a file.
    fn hand_over(&mut self, message: &Waiting) -> Result<(), SendError> {
        let name = &self.recipient_of(message)?.name;
        let Some(addresses) = self.config.addresses.get(&message.recipient) else {
            return Err(no_address(message.channel));
        };
        let parcel = parcel(message, Enclosed::default());
        if prints(self.print, message.channel) {
            let to = addressee(name, message.channel, addresses);
            return local::print(&mut self.output, &to, &parcel);
        }
        match &addresses.file {
            _ if message.channel == Channel::WebPush => Err(no_browser()),
            Some(path) if message.channel == Channel::File => local::append(path, name, &parcel),
            _ => Err(no_address(message.channel)),
        }
    }
}

/// Sends a message in a task of its own.
fn begin(
    (line, target): (Line, Addressee),
    message: Waiting,
    enclosed: Enclosed,
    under_way: &mut JoinSet<Option<Done>>,
) {
    under_way.spawn(async move { Some(line.send(target, message, enclosed).await) });
}

/// Takes leave of a server; nobody waits for it but the end of the delivery.
fn farewell(line: Line, under_way: &mut JoinSet<Option<Done>>) {
    under_way.spawn(async move {
        line.close().await;
        None
    });
}

/// Ends some moments after the program is told to stop.
async fn last_moments_over(mut stop: watch::Receiver<bool>) {
    // Where nobody can say stop any more, nobody will.
    if stop.wait_for(|stop| *stop).await.is_err() {
        std::future::pending::<()>().await;
    }
    tokio::time::sleep(LAST_MOMENTS).await;
}

/// The next attempt that is over, or a farewell; nothing if the program has waited long enough.
async fn next_over(
    under_way: &mut JoinSet<Option<Done>>,
    stopped: impl Future<Output = ()>,
) -> Option<Option<Done>> {
    tokio::select! {
        biased;
        over = under_way.join_next() => Some(over?.ok().flatten()),
        () = stopped => None,
    }
}

/// Whether messages of a channel are printed.
fn prints(print: Print, channel: Channel) -> bool {
    match channel {
        Channel::Console => true,
        Channel::Email | Channel::Push | Channel::WebPush => print != Print::Console,
        Channel::File => print == Print::All,
    }
}

/// Whether a message must wait because its recipient has quiet hours or a pause. These are looked up
/// when it is to be sent, so a change of them also serves messages that wait, and an attempt that is
/// repeated keeps to them too.
pub fn waits_for_its_hour(
    recipient: Option<&Recipient>,
    due: &DueMessage,
    now: DateTime<Utc>,
) -> bool {
    !due.asked_for
        && recipient.is_some_and(|recipient| recipient.reception.not_before(now, due.urgent) > now)
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
        (Channel::WebPush, _) => format!("{name} in a browser"),
        _ => name.to_owned(),
    }
}
