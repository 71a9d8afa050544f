//! How far a long command has got, on standard error. Only a terminal shows it: what is read by a
//! program, or by people on a terminal that cannot move its cursor, stays as it is.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressFinish, ProgressStyle};
use std::ffi::OsStr;
use std::fmt::Arguments;
use std::io::{IsTerminal, Result, Write};
use std::time::Duration;

const BYTES: &str = "{bar:30} {binary_bytes} of {binary_total_bytes}, {eta} left  {msg}";
const STEPS: &str = "{bar:30} {pos} of {len} {prefix}, {eta} left  {msg}";
const WORKING: &str = "{spinner} {msg}";

/// Time between two pictures of something without steps.
const TICK: Duration = Duration::from_millis(120);

/// So many bytes to go through.
pub(super) fn bytes(total: u64) -> ProgressBar {
    bar(ProgressBar::with_draw_target(Some(total), target()), BYTES)
}

/// So many things to go through: "days", "stations".
pub(super) fn steps(total: usize, things: &'static str) -> ProgressBar {
    let bar = bar(
        ProgressBar::with_draw_target(Some(total as u64), target()),
        STEPS,
    );
    bar.set_prefix(things);
    bar
}

/// Something that takes its time and has no steps.
pub(super) fn working(on: &'static str) -> ProgressBar {
    let bar = bar(ProgressBar::with_draw_target(None, target()), WORKING);
    bar.set_message(on);
    bar.enable_steady_tick(TICK);
    bar
}

fn bar(bar: ProgressBar, template: &str) -> ProgressBar {
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.with_finish(ProgressFinish::AndClear)
}

fn target() -> ProgressDrawTarget {
    let term = std::env::var_os("TERM");
    if is_shown(std::io::stderr().is_terminal(), term.as_deref()) {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    }
}

/// Whether a terminal named by TERM can show progress.
fn is_shown(is_terminal: bool, term: Option<&OsStr>) -> bool {
    is_terminal && term.is_some_and(|term| !term.is_empty() && term != "dumb")
}

/// Writes beside a bar on the same terminal: the bar makes room and comes back below.
pub(super) struct AboveBar<W> {
    /// The bar.
    pub bar: ProgressBar,
    /// What is written to.
    pub to: W,
}

impl<W: Write> Write for AboveBar<W> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize> {
        self.bar.suspend(|| self.to.write(bytes))
    }

    fn flush(&mut self) -> Result<()> {
        self.to.flush()
    }

    /// At once, so that the bar moves once for a whole message.
    fn write_fmt(&mut self, text: Arguments<'_>) -> Result<()> {
        self.bar.suspend(|| self.to.write_fmt(text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_terminal_that_can_move_its_cursor_shows_progress() {
        let term = |name| Some(OsStr::new(name));
        assert!(is_shown(true, term("xterm-256color")));
        assert!(!is_shown(true, term("dumb")));
        assert!(!is_shown(true, term("")));
        assert!(!is_shown(true, None));
        assert!(!is_shown(false, term("xterm-256color")));
    }

    #[test]
    fn every_layout_can_be_read() {
        for template in [BYTES, STEPS, WORKING] {
            assert!(ProgressStyle::with_template(template).is_ok(), "{template}");
        }
    }

    #[test]
    fn what_is_written_beside_a_bar_arrives_whole() {
        let mut above = AboveBar {
            bar: ProgressBar::hidden(),
            to: Vec::new(),
        };
        writeln!(above, "{} of {}", 1, 2).unwrap();
        above.write_all(b"end").unwrap();
        assert_eq!(above.to, b"1 of 2\nend");
    }
}
