//! `hatchbell calendar`: the secret address of somebody's calendar.

use super::{ConfigOption, known, or_exit, say, say_wrapped};
use crate::link::{LinkKeys, LinkTo, new_secret};
use crate::store::Store;
use crate::store::links::CalendarEdition;
use anyhow::{Context, anyhow};
use clap::Args;
use std::process::ExitCode;

/// Print the secret address of a recipient's calendar
///
/// A calendar program that subscribes to it shows the milestones of the recipient's sites as ranges, the
/// days of what is called for, and the days to count on, and moves them as they move. Who manages members,
/// coordinates all or runs the service has all their sites in it. What no longer holds, or is no longer
/// told to its reader, stays for 60 days as called off. Whoever has the
/// address can read it, without signing in; --renew gives another one and --close none, and either
/// way the one before no longer works. The page must be on, and web.address say how people reach it.
#[derive(Args)]
pub(super) struct CalendarOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Whose calendar, by the recipient's id in the configuration
    recipient: String,
    /// Give it another address
    #[arg(long, conflicts_with = "close")]
    renew: bool,
    /// Close it
    #[arg(long)]
    close: bool,
}

pub(super) fn run(options: &CalendarOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(super::configuration_in_use(&options.config.config)).config;
    let id = options.recipient.as_str();
    let recipients = config.members.iter().flat_map(|one| &one.recipients);
    known("recipient", id, recipients.map(|one| one.id.as_str()))?;
    let (member, _) = config
        .member_and_recipient(id)
        .context("the recipient has gone")?;
    let page = config.web.as_ref().and_then(|web| web.address.as_ref());
    let page = page.context(
        "a calendar needs the page: set address in the table [web] to the address under which \
         people reach it, for example address = \"https://turf.example/\"",
    )?;
    // A database that is not there yet is not made by this.
    drop(Store::open_to_read(&config.service.database)?);
    let store = Store::open(&config.service.database)?;
    let before = store.calendar_edition(id)?;
    let is_theirs = before.as_ref().is_some_and(|one| one.member == member.id);
    let number = before.as_ref().map_or(0, |one| one.edition);
    let is_open = before.as_ref().is_some_and(|one| one.is_open);
    let edition = CalendarEdition {
        edition: match options.renew || !is_theirs || !is_open {
            true => number + 1,
            false => number,
        },
        is_open: !options.close,
        member: member.id.clone(),
    };
    store.note_calendar_edition(id, &edition)?;
    if options.close {
        say_wrapped("The calendar is closed; no address of it works any more.");
        return Ok(ExitCode::SUCCESS);
    }
    let secret = new_secret().map_err(|error| anyhow!(error))?;
    let keys = LinkKeys::new(&store.link_secret_or(&secret)?);
    let to = LinkTo::Calendar {
        recipient: id,
        edition: edition.edition,
    };
    say!("{}", keys.address(page, to));
    Ok(ExitCode::SUCCESS)
}
