//! `hatchbell outbox`: what waits to be sent, why and until when; trying at once and giving up.

use super::width::hanging;
use super::{ConfigOption, configuration_in_use, counted, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::store::Store;
use crate::store::outbox_list::Unsent;
use anyhow::bail;
use chrono::{DateTime, Utc};
use clap::{Args, Subcommand};
use std::process::ExitCode;

/// List messages that wait to be sent; try them at once, or give them up
///
/// A message that fails is tried again after 1, 5, 15 and 60 minutes and then every 6 hours, a day
/// after a refusal; after 14 days it is given up.
#[derive(Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct OutboxOptions {
    #[command(subcommand)]
    action: Option<Action>,
    #[command(flatten)]
    list: UnsentOptions,
}

#[derive(Args)]
struct UnsentOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// List those that were given up instead
    #[arg(long)]
    given_up: bool,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

#[derive(Subcommand)]
enum Action {
    Retry(RetryOptions),
    Drop(DropOptions),
}

/// Try a message at once, also one that was given up, or all that wait
///
/// The service looks twice a minute. Quiet hours and pauses are kept to.
#[derive(Args)]
struct RetryOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The message's number
    #[arg(value_name = "NUMBER", required_unless_present = "all")]
    number: Option<i64>,
    /// All that wait
    #[arg(long, conflicts_with = "number")]
    all: bool,
}

/// Give a message up; `retry` takes that back
#[derive(Args)]
struct DropOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The message's number
    #[arg(value_name = "NUMBER")]
    number: i64,
}

pub(super) fn run(options: &OutboxOptions) -> anyhow::Result<ExitCode> {
    match &options.action {
        None => list(&options.list),
        Some(Action::Retry(options)) => retry(options),
        Some(Action::Drop(options)) => give_up(options),
    }
}

fn list(options: &UnsentOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let store = Store::open_to_read(&config.service.database)?;
    let messages = store.unsent(options.given_up)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&messages)?);
        return Ok(ExitCode::SUCCESS);
    }
    let what = match options.given_up {
        true => "was given up",
        false => "waits",
    };
    if messages.is_empty() {
        say!("nothing {what}");
        return Ok(ExitCode::SUCCESS);
    }
    let now = Clock::Machine.now();
    let text: String = messages
        .iter()
        .map(|message| in_lines(&config, message, now))
        .collect();
    say!("{}", text.trim_end());
    Ok(ExitCode::SUCCESS)
}

/// A message in a few lines.
fn in_lines(config: &Config, message: &Unsent, now: DateTime<Utc>) -> String {
    let head = format!(
        "{}  {} by {}, since {}",
        message.number,
        message.recipient,
        message.channel,
        instant(message.since)
    );
    let mut text = hanging("", &head) + &hanging("    ", &message.title);
    let tried = match message.tries {
        0 => "not tried yet".to_owned(),
        tries => format!("tried {}", counted(tries as usize, "time")),
    };
    text += &hanging("    ", &format!("{tried}; {}", until(config, message, now)));
    if let Some(why) = &message.why {
        text += &hanging("    ", why);
    }
    text
}

/// What comes next of a message, and when.
fn until(config: &Config, message: &Unsent, now: DateTime<Utc>) -> String {
    let Some(next) = message.next_try_at else {
        return "given up".to_owned();
    };
    let Some(recipient) = config.recipient(&message.recipient) else {
        return "the recipient is no longer in the configuration".to_owned();
    };
    let next = next.max(now);
    let hour = recipient.reception.not_before(next, message.urgent);
    if hour > next {
        return format!("quiet hours or a pause until {}", instant(hour));
    }
    match next == now {
        true => "due now".to_owned(),
        false => format!("next at {}", instant(next)),
    }
}

fn instant(instant: DateTime<Utc>) -> String {
    instant.format("%Y-%m-%d %H:%M UTC").to_string()
}

fn retry(options: &RetryOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let store = Store::open(&config.service.database)?;
    let count = store.retry(options.number, Clock::Machine.now())?;
    if let Some(number) = options.number
        && count == 0
    {
        bail!("no message {number} waits or was given up; see hatchbell outbox");
    }
    say!("{} due now", counted(count, "message"));
    Ok(ExitCode::SUCCESS)
}

fn give_up(options: &DropOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let store = Store::open(&config.service.database)?;
    let number = options.number;
    if !store.drop_message(number)? {
        bail!("no message {number} waits; see hatchbell outbox");
    }
    say!("message {number} is given up; to take that back: hatchbell outbox retry {number}");
    Ok(ExitCode::SUCCESS)
}
