//! Telling the operator, by another way, of recipients who cannot be reached.

use super::{Engine, Report};
use crate::config::Config;
use crate::domain::place::site::{Channel, Member, Recipient};
use crate::notify::wording::{Message, Undelivered, undelivered_message};
use crate::store::StoreError;
use crate::store::outbox::{About, Draft};
use crate::store::unreachable::Unreachable;

/// Whoever runs hatchbell, if the configuration names them, with the member whose recipient they are.
pub(super) fn operator(config: &Config) -> Option<(&Member, &Recipient)> {
    config.member_and_recipient(config.service.operator.as_ref()?)
}

/// A message to the operator by one of their ways.
pub(super) fn operator_draft<'c>(
    (member, operator): (&'c Member, &'c Recipient),
    channel: Channel,
    message: Message,
    about: About<'c>,
) -> Draft<'c> {
    Draft {
        recipient: &operator.id,
        member: &member.id,
        channel,
        title: message.title,
        body: message.body,
        urgent: false,
        about,
    }
}

impl Engine {
    /// Writes a message about each recipient who cannot be reached and of whom the operator does
    /// not know. Says whether there were any.
    pub(super) fn tell_of_unreachable(&mut self, report: &mut Report) -> Result<bool, StoreError> {
        let Some(whose) = operator(&self.config) else {
            return Ok(false);
        };
        let (_, operator) = whose;
        let now = self.clock.now();
        let found = self.store.newly_unreachable(now)?;
        let mut drafts = Vec::new();
        for one in &found {
            let name = self.config.recipient(&one.recipient);
            let undelivered = Undelivered {
                name: name.map_or(one.recipient.as_str(), |recipient| &recipient.name),
                channel: one.channel,
                messages: one.messages,
                since: one.since,
                why: &one.why,
            };
            drafts.extend(ways(operator, one).into_iter().map(|channel| {
                let service = &self.config.service.name;
                let message = undelivered_message(service, &operator.name, channel, &undelivered);
                let about = About {
                    kinds: vec!["undelivered"],
                    places: Vec::new(),
                    ..About::default()
                };
                operator_draft(whose, channel, message, about)
            }));
        }
        if found.is_empty() {
            return Ok(false);
        }
        report.messages += drafts.len();
        self.store.note_unreachable(&found, &drafts, now)?;
        Ok(!drafts.is_empty())
    }
}

/// The operator's ways but the one that fails; that one too if there is no other and it is somebody
/// else whom it does not reach.
fn ways(operator: &Recipient, one: &Unreachable) -> Vec<Channel> {
    let others = operator.channels.iter().copied();
    let others: Vec<Channel> = others.filter(|way| *way != one.channel).collect();
    match others.is_empty() && operator.id != one.recipient {
        true => operator.channels.clone(),
        false => others,
    }
}
