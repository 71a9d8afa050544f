//! `hatchbell backup` and `hatchbell restore`: the database as one file, and back again.

use super::{ConfigOption, configuration, or_exit, say, say_wrapped};
use crate::clock::Clock;
use crate::store::backup::back_up;
use crate::store::restore::restore;
use clap::Args;
use std::path::PathBuf;
use std::process::ExitCode;

/// Copy the database into one file, also while the service runs
///
/// The file is whole and of one moment, checked, and readable by its owner only (mode 0600). Keep the
/// configuration with it, and the files of its secrets. `hatchbell restore` puts it back.
#[derive(Args)]
pub(super) struct BackupOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The file to write; its folder must exist
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Write over a file that is there
    #[arg(long)]
    overwrite: bool,
}

/// Put a backup in the place of the database; the service must be stopped
///
/// The file is looked at first: it must be a sound database of hatchbell, of this version or an older
/// one (the next start brings it up to date). It is copied, so it stays as it is. The database that was
/// there is kept beside, under a name that is printed; nothing is deleted. What was told after the
/// backup was made may be told again, from the next start on; no new message gets an id that another
/// one had. Run it as the user the service runs as.
#[derive(Args)]
pub(super) struct RestoreOptions {
    #[command(flatten)]
    config: ConfigOption,
    /// The backup
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

pub(super) fn run_backup(options: &BackupOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let made = back_up(&config.service.database, &options.file, options.overwrite)?;
    say!(
        "{}: {:.1} MB, schema {}, checked",
        options.file.display(),
        made.bytes as f64 / 1e6,
        made.schema
    );
    Ok(ExitCode::SUCCESS)
}

pub(super) fn run_restore(options: &RestoreOptions) -> anyhow::Result<ExitCode> {
    let config = or_exit!(configuration(&options.config.config)).config;
    let database = &config.service.database;
    let mark = Clock::Machine.now().format("%Y%m%dT%H%M%S%3fZ").to_string();
    let restored = restore(&options.file, database, &mark)?;
    say!(
        "{} is now {} (schema {})",
        database.display(),
        options.file.display(),
        restored.schema
    );
    if let Some(kept) = restored.kept {
        say!("the one before is kept: {}", kept.display());
    }
    say_wrapped(
        "Start the service: it catches up, and may tell again what was told after the backup. Tokens that \
         were revoked and sessions that ended after it are good again: hatchbell member tokens, sign-out.",
    );
    Ok(ExitCode::SUCCESS)
}
