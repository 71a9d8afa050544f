//! `hatchbell reload`: lets the running service read its configuration anew, and waits for what
//! becomes of it.

use super::{ConfigOption, EXIT_CONFIG, say};
use crate::config::load::database_of;
use crate::daemon::door::{ReloadVerdict, socket_of};
use anyhow::{Context, anyhow, bail};
use clap::Args;
use std::io::{ErrorKind, Read};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// Let the running service read its configuration anew, and wait for its verdict
///
/// Exit code 0: all of it is in force. 78: it has mistakes, which are printed. A mistake in what all
/// members share (service, stations, mail) refuses the whole, and the old configuration stays in
/// force. One in a member's own tables, included file or file of sites concerns that member alone:
/// the rest is in force, their last good configuration goes on, and a new member is left out until it
/// is mended. An id that two members claim stays with whoever had it. 1: the service does not run, or
/// gives no answer in time. Run this as root or as the user of the service.
#[derive(Args)]
pub(super) struct ReloadOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// Seconds to wait: a cycle that is under way is ended first
    #[arg(long, value_name = "SECONDS", default_value_t = 80, value_parser = clap::value_parser!(u64).range(1..))]
    wait: u64,
}

pub(super) fn run(options: &ReloadOptions) -> anyhow::Result<ExitCode> {
    let path = &options.config.config;
    let database = database_of(path).ok_or_else(|| {
        anyhow!(
            "{} does not say which database the service uses; mend [service] (hatchbell check), then \
             reload",
            path.display()
        )
    })?;
    let verdict = ask(&socket_of(&database), Duration::from_secs(options.wait))?;
    for problem in &verdict.problems {
        eprintln!("{problem}");
    }
    if verdict.faulty {
        eprintln!("hatchbell: {}", verdict.words);
        return Ok(ExitCode::from(EXIT_CONFIG));
    }
    say!("{}", verdict.words);
    Ok(ExitCode::SUCCESS)
}

/// Asks the service at a socket.
fn ask(socket: &Path, wait: Duration) -> anyhow::Result<ReloadVerdict> {
    let mut stream = match UnixStream::connect(socket) {
        Ok(stream) => stream,
        Err(error) => match error.kind() {
            ErrorKind::NotFound | ErrorKind::ConnectionRefused => bail!(
                "no service runs on this database ({}); it reads the configuration when it starts",
                socket.display()
            ),
            ErrorKind::PermissionDenied => bail!(
                "{} is not for this user; run this as root or as the user the service runs as",
                socket.display()
            ),
            _ => return Err(error).context(format!("{} cannot be used", socket.display())),
        },
    };
    stream.set_read_timeout(Some(wait))?;
    let mut answer = String::new();
    match stream.read_to_string(&mut answer) {
        Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => bail!(
            "no verdict within {} s: the service is busy with a cycle and reads the configuration \
             after it; hatchbell status then says what is in force",
            wait.as_secs()
        ),
        other => other.context("the service broke off")?,
    };
    if answer.is_empty() {
        bail!("the service ended before it gave a verdict; see its log");
    }
    serde_json::from_str(&answer)
        .context("the service gave an answer of another version; restart it")
}
