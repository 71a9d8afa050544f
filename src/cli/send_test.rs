//! `hatchbell send-test`: one test message to one recipient, and what the server says to it.

use super::width::hanging;
use super::{ConfigOption, Terminal, configuration, known, or_exit, print, runtime};
use crate::cli::terminal::printable;
use crate::clock::Clock;
use crate::config::Config;
use crate::cycle::{KnownBrowsers, send_test};
use crate::domain::place::site::{Channel, Member, Recipient};
use crate::store::Store;
use crate::store::page_keys::KeyOwner;
use anyhow::bail;
use clap::Args;
use std::process::ExitCode;

/// Send a test message to a recipient, by each of their channels
///
/// The message says that it is a test, of which member and sites they would be told, and that there is
/// nothing to do. It goes at once and past the outbox, so a running service is not disturbed; quiet
/// hours are not kept to. What the servers answer is printed; exit code 1 if one of them does not accept
/// it.
#[derive(Args)]
pub(super) struct SendTestOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The recipient, by their id
    #[arg(value_name = "RECIPIENT")]
    recipient: String,
}

pub(super) fn run(options: &SendTestOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let id = options.recipient.as_str();
    known("recipient", id, config.addresses.keys().map(String::as_str))?;
    let Some(whom) = config.member_and_recipient(id) else {
        bail!("there is no recipient \"{id}\"");
    };
    let mut terminal = Terminal;
    let known = match whom.1.channels.contains(&Channel::WebPush) {
        true => known_browsers(&config, whom)?,
        false => KnownBrowsers::default(),
    };
    let sending = send_test(&config, whom, &known, Clock::Machine.now(), &mut terminal);
    let sent = runtime()?.block_on(sending);
    for one in &sent {
        let (verdict, words) = match &one.answer {
            Ok(words) => ("sent", words),
            Err(words) => ("not sent", words),
        };
        let line = format!("{verdict} by {}: {words}", one.channel.name());
        print(format_args!("{}", hanging("", &printable(&line))));
    }
    Ok(match sent.iter().all(|one| one.answer.is_ok()) {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// The browsers in which a recipient has turned notices on.
fn known_browsers(
    config: &Config,
    (member, recipient): (&Member, &Recipient),
) -> anyhow::Result<KnownBrowsers> {
    let store = Store::open_to_read(&config.service.database)?;
    let owner = KeyOwner {
        recipient: recipient.id.clone(),
        member: member.id.clone(),
    };
    Ok(KnownBrowsers {
        browsers: store.browsers_of(&owner)?,
        private_key: store.web_push_private_key()?,
    })
}
