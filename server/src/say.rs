//! Lines for a person. A reader who has gone away (`| head`) is no mistake: what is left to say is not said.

use std::{
    fmt::Arguments,
    io::Write as _,
    sync::atomic::{AtomicBool, Ordering},
};

static GONE: AtomicBool = AtomicBool::new(false);

/// Prints a line, while someone reads.
pub(crate) fn line(text: Arguments<'_>) {
    if !gone() && writeln!(std::io::stdout().lock(), "{text}").is_err() {
        GONE.store(true, Ordering::Relaxed);
    }
}

/// Whether whoever read has gone away.
pub(crate) fn gone() -> bool {
    GONE.load(Ordering::Relaxed)
}

/// `println!` for readers who may go away.
macro_rules! say {
    () => { $crate::say::line(format_args!("")) };
    ($($text:tt)*) => { $crate::say::line(format_args!($($text)*)) };
}
pub(crate) use say;
