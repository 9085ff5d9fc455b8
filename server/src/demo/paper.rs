//! Plain printing within the width of the terminal.

use crate::say::say;

/// What the tour prints on.
pub(super) struct Paper {
    width: usize,
}

impl Paper {
    pub(super) fn new() -> Self {
        let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).unwrap_or(80);
        Self { width: columns.clamp(40, 100) }
    }
    pub(super) fn title(&self, text: &str) {
        say!("\n{text}\n{}", "=".repeat(text.chars().count()));
    }
    pub(super) fn text(&self, text: &str) {
        say!("{}", textwrap::fill(text, self.width));
    }
    pub(super) fn command(&self, text: &str) {
        say!("  $ {text}");
    }
    /// A line under a bullet or a label.
    pub(super) fn item(&self, label: &str, text: &str) {
        let first = format!("  {label} ");
        let rest = " ".repeat(first.chars().count().min(6));
        say!(
            "{}",
            textwrap::fill(
                text,
                textwrap::Options::new(self.width).initial_indent(&first).subsequent_indent(&rest)
            )
        );
    }
}
