//! Long output on a terminal goes through a pager: `PAGER`, or else `less`, which ends by itself where all fits.

use std::{
    io::{IsTerminal as _, Write as _},
    process::{Command, Stdio},
};

/// Lines that fit any screen: no pager is started for them.
const SHORT: usize = 22;

/// Shows a long text with a pager, where a person reads on a terminal. Returns whether it was shown.
pub(crate) fn shown(text: &str) -> bool {
    if text.lines().count() <= SHORT || !std::io::stdout().is_terminal() || !std::io::stdin().is_terminal() {
        return false;
    }
    let wanted = std::env::var("PAGER").unwrap_or_default();
    let mut words = wanted.split_whitespace();
    let program = words.next().unwrap_or("less");
    let mut command = Command::new(program);
    command.args(words).stdin(Stdio::piped());
    // F: end where all fits. R: keep colours. X: leave the text on the screen.
    if wanted.is_empty() {
        command.arg("-FRX");
    }
    let Ok(mut child) = command.spawn() else { return false };
    let colours = anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never;
    let text = if colours { text.to_string() } else { anstream::adapter::strip_str(text).to_string() };
    if let Some(mut input) = child.stdin.take() {
        // Who leaves the pager early has seen enough.
        let _ = input.write_all(text.as_bytes());
    }
    child.wait().is_ok_and(|status| status.success())
}
