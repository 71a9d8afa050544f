//! Asking line by line; what was given as an option is not asked.

use super::prompt;
use crate::cli::say;
use anyhow::{anyhow, bail};

/// Asks on standard output, and reads the answers from standard input.
#[derive(Default)]
pub(super) struct Questions {
    line: String,
}

impl Questions {
    /// The answer that the option gives, or that is typed; an empty line is the usual one. What cannot be read
    /// is asked again.
    ///
    /// # Errors
    /// If the option cannot be read, or input ends before an answer that has no usual one.
    pub fn ask<T>(
        &mut self,
        (option, given): (&str, Option<&str>),
        question: &str,
        usual: Option<&str>,
        read: impl Fn(&str) -> Result<T, String>,
    ) -> anyhow::Result<T> {
        if let Some(given) = given {
            return read(given.trim()).map_err(|why| anyhow!("{option}: {why}"));
        }
        loop {
            let shown = usual.map_or_else(String::new, |usual| format!(" [{usual}]"));
            prompt(&format!("{question}{shown}: "))?;
            self.line.clear();
            let has_ended = std::io::stdin().read_line(&mut self.line)? == 0;
            let typed = match self.line.trim() {
                "" => usual,
                typed => Some(typed),
            };
            if has_ended {
                say!("");
            }
            match typed.map(&read) {
                Some(Ok(answer)) => return Ok(answer),
                Some(Err(why)) if has_ended => bail!("{option}: {why}"),
                None if has_ended => {
                    bail!("input has ended; give {option}, or answer at a terminal")
                }
                Some(Err(why)) => say!("  {why}"),
                None => {}
            }
        }
    }
}
