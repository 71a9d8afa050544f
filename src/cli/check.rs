//! `hatchbell check`.

use super::{ConfigOption, configuration, counted};
use clap::Args;
use std::process::ExitCode;

/// Check the configuration, without touching network or database
///
/// Reads the configuration and every species and dialect file it names, and reports all problems
/// at once as file:line:column. Exit code 0 if it can be used, 78 if not.
#[derive(Args)]
pub(super) struct Options {
    #[command(flatten)]
    config: ConfigOption,
}

pub(super) fn run(options: &Options) -> ExitCode {
    let path = &options.config.config;
    match configuration(path) {
        Ok(loaded) => {
            let config = loaded.config;
            println!(
                "{} is fine: {}, {}, {}, {}",
                path.display(),
                counted(config.stations.len(), "station"),
                counted(config.members.len(), "member"),
                counted(config.sites().count(), "site"),
                counted(config.addresses.len(), "recipient"),
            );
            ExitCode::SUCCESS
        }
        Err(code) => code,
    }
}
