//! `hatchbell member`: tokens for programs, sessions, and who did what on the page.

use super::width::hanging;
use super::{ConfigOption, configuration_in_use, counted, known, or_exit, say};
use crate::clock::Clock;
use crate::config::Config;
use crate::domain::place::site::PageAccess;
use crate::key::Key;
use crate::store::Store;
use crate::store::audit::AuditLine;
use crate::store::page_keys::{KeyOwner, LINK_LASTS, ListedToken, NewKey};
use anyhow::bail;
use chrono::{DateTime, TimeDelta, Utc};
use clap::{Args, Subcommand};
use std::process::ExitCode;

/// Give programs tokens for the page, take them back, end sessions, and see who did what
///
/// A token acts as its recipient: it sees their sites and no others. What a recipient may do stands in
/// the configuration (page, manages). Whoever leaves the configuration loses their tokens and sessions.
#[derive(Args)]
pub(super) struct MemberOptions {
    #[command(subcommand)]
    action: MemberAction,
}

#[derive(Subcommand)]
enum MemberAction {
    Token(TokenOptions),
    Tokens(TokenListOptions),
    Revoke(RevokeOptions),
    Link(LinkOptions),
    SignOut(SignOutOptions),
    Audit(AuditOptions),
}

/// Make a token and print it, this once
///
/// A program sends it as a header: Authorization: Bearer TOKEN.
#[derive(Args)]
struct TokenOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Id of the recipient whom the program acts as
    #[arg(value_name = "RECIPIENT")]
    recipient: String,
    /// Days it is good
    #[arg(long, value_name = "DAYS", default_value_t = 365, value_parser = clap::value_parser!(u32).range(1..=3650))]
    days: u32,
    /// It changes nothing
    #[arg(long)]
    read_only: bool,
}

/// List all tokens there have been
#[derive(Args)]
struct TokenListOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Revoke a token at once and for good
#[derive(Args)]
struct RevokeOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Its number
    #[arg(value_name = "ID")]
    id: i64,
}

/// Print a link to sign in by, for somebody who gets no messages yet
///
/// It is good once, for 15 minutes.
#[derive(Args)]
struct LinkOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Id of the recipient who signs in by it
    #[arg(value_name = "RECIPIENT")]
    recipient: String,
}

/// End all sessions of a recipient and the notices in their browsers at once, for example of a lost phone
#[derive(Args)]
struct SignOutOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Id of the recipient
    #[arg(value_name = "RECIPIENT")]
    recipient: String,
}

/// Show who changed what on the page and who signed in, oldest first
#[derive(Args)]
struct AuditOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// How many lines, the newest
    #[arg(long, value_name = "LINES", default_value_t = 50)]
    last: u32,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(options: &MemberOptions) -> anyhow::Result<ExitCode> {
    match &options.action {
        MemberAction::Token(options) => token(options),
        MemberAction::Tokens(options) => tokens(options),
        MemberAction::Revoke(options) => revoke(options),
        MemberAction::Link(options) => link(options),
        MemberAction::SignOut(options) => sign_out(options),
        MemberAction::Audit(options) => audit(options),
    }
}

fn token(options: &TokenOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let owner = owner(&config, &options.recipient)?;
    let key = Key::random()?;
    let now = Clock::Machine.now();
    let lapses_at = now + TimeDelta::days(i64::from(options.days));
    let token = NewKey {
        hash: &key.hash(),
        owner: &owner,
        now,
        lapses_at,
    };
    let line = by_command("made a token", &owner.recipient, now);
    let mut store = Store::open(&config.service.database)?;
    let number = store.note_token(&token, options.read_only, &line)?;
    // Apart from the token, so that scripts get that alone.
    eprintln!(
        "token {number} acts as {}, {}, until {}; it is not shown again",
        owner.recipient,
        what_it_may(options.read_only),
        lapses_at.date_naive()
    );
    say!("{}", key.expose());
    Ok(ExitCode::SUCCESS)
}

fn link(options: &LinkOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let Some(web) = config.web.as_ref().filter(|web| web.sign_in) else {
        bail!("nobody signs in: [web] needs sign_in = true");
    };
    let owner = owner(&config, &options.recipient)?;
    let key = Key::random()?;
    let now = Clock::Machine.now();
    let link = NewKey {
        hash: &key.hash(),
        owner: &owner,
        now,
        lapses_at: now + LINK_LASTS,
    };
    let line = by_command("made a link", &owner.recipient, now);
    Store::open(&config.service.database)?.note_sign_in_link(&link, &[], &line)?;
    let own = format!("http://{}/", web.listen);
    let page = web
        .address
        .as_ref()
        .map_or(own.as_str(), |url| url.as_str());
    say!("{page}sign-in/{}", key.expose());
    Ok(ExitCode::SUCCESS)
}

/// A recipient who may see the page.
fn owner(config: &Config, id: &str) -> anyhow::Result<KeyOwner> {
    let ids = config.members.iter().flat_map(|one| &one.recipients);
    known("recipient", id, ids.map(|one| one.id.as_str()))?;
    let Some((member, recipient)) = config.member_and_recipient(id) else {
        bail!("there is no recipient \"{id}\"");
    };
    if recipient.page == PageAccess::None {
        bail!(
            "recipient \"{id}\" has page = \"none\"; a token acts as somebody who may see the page"
        );
    }
    Ok(KeyOwner {
        recipient: recipient.id.clone(),
        member: member.id.clone(),
    })
}

fn what_it_may(read_only: bool) -> &'static str {
    match read_only {
        true => "read only",
        false => "may do what they may",
    }
}

fn by_command(action: &str, subject: &str, now: DateTime<Utc>) -> AuditLine {
    AuditLine {
        at: now,
        recipient: None,
        way: "command".to_owned(),
        action: action.to_owned(),
        subject: subject.to_owned(),
        client: None,
    }
}

fn tokens(options: &TokenListOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let tokens = Store::open_to_read(&config.service.database)?.tokens()?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&tokens)?);
        return Ok(ExitCode::SUCCESS);
    }
    if tokens.is_empty() {
        say!("there is no token; hatchbell member token RECIPIENT makes one");
        return Ok(ExitCode::SUCCESS);
    }
    let now = Clock::Machine.now();
    let text: String = tokens.iter().map(|token| in_a_line(token, now)).collect();
    say!("{}", text.trim_end());
    Ok(ExitCode::SUCCESS)
}

fn in_a_line(token: &ListedToken, now: DateTime<Utc>) -> String {
    let until = token.lapses_at.date_naive();
    let state = match token.revoked_at {
        Some(at) => format!("revoked {}", at.date_naive()),
        None if token.lapses_at <= now => format!("lapsed {until}"),
        None => format!("good until {until}"),
    };
    let may = what_it_may(token.read_only);
    let words = format!("{}  {}: {may}, {state}", token.number, token.recipient);
    hanging("", &words)
}

fn revoke(options: &RevokeOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let id = options.id;
    let line = by_command("revoked", &format!("token {id}"), Clock::Machine.now());
    if !Store::open(&config.service.database)?.revoke_token(id, &line)? {
        bail!("no token {id} is good; see hatchbell member tokens");
    }
    say!("token {id} is revoked");
    Ok(ExitCode::SUCCESS)
}

fn sign_out(options: &SignOutOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let id = &options.recipient;
    let ids = config.members.iter().flat_map(|one| &one.recipients);
    known("recipient", id, ids.map(|one| one.id.as_str()))?;
    let line = by_command("ended sessions", id, Clock::Machine.now());
    let ended = Store::open(&config.service.database)?.end_sessions_of(id, &line)?;
    say!("{} of {id} ended", counted(ended, "session"));
    Ok(ExitCode::SUCCESS)
}

fn audit(options: &AuditOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration_in_use(&options.config.config)).config;
    let lines = Store::open_to_read(&config.service.database)?.audit(options.last)?;
    if options.json {
        say!("{}", serde_json::to_string_pretty(&lines)?);
        return Ok(ExitCode::SUCCESS);
    }
    if lines.is_empty() {
        say!("nobody has signed in or changed anything on the page");
        return Ok(ExitCode::SUCCESS);
    }
    let text: String = lines.iter().map(audit_line).collect();
    say!("{}", text.trim_end());
    Ok(ExitCode::SUCCESS)
}

fn audit_line(line: &AuditLine) -> String {
    let who = line.recipient.as_deref().unwrap_or("-");
    let client = line.client.as_deref();
    let from = client.map_or(String::new(), |client| format!(", from {client}"));
    let words = format!(
        "{}  {who} ({}): {} {}{from}",
        line.at.format("%Y-%m-%d %H:%M UTC"),
        line.way,
        line.action,
        line.subject
    );
    hanging("", &words)
}
