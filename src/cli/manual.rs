//! `hatchbell man` and `hatchbell completions`: what packages carry beside the program, made from the
//! commands themselves.

use super::{CommandLine, say};
use anyhow::Context;
use clap::{Args, CommandFactory};
use clap_complete::Shell;
use std::path::PathBuf;
use std::process::ExitCode;

/// Write the manual pages, one for each command, into a folder
#[derive(Args)]
pub(super) struct ManOptions {
    /// The folder, which is there already
    folder: PathBuf,
}

/// Print what makes a shell complete hatchbell's commands
#[derive(Args)]
pub(super) struct CompletionsOptions {
    /// The shell
    shell: Shell,
}

pub(super) fn man(options: &ManOptions) -> anyhow::Result<ExitCode> {
    clap_mangen::generate_to(CommandLine::command(), &options.folder).with_context(|| {
        format!(
            "the manual pages cannot be written to {}",
            options.folder.display()
        )
    })?;
    Ok(ExitCode::SUCCESS)
}

pub(super) fn completions(options: &CompletionsOptions) -> ExitCode {
    let mut text = Vec::new();
    clap_complete::generate(
        options.shell,
        &mut CommandLine::command(),
        "hatchbell",
        &mut text,
    );
    say!("{}", String::from_utf8_lossy(&text).trim_end());
    ExitCode::SUCCESS
}
