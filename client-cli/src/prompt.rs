//! Asking on a terminal, and only there.

use std::io::{IsTerminal as _, Write as _};

use crate::error::Failure;

/// Whether a person can be asked.
pub(crate) fn can_ask() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Asks for a line until `check` takes it. An empty line takes `usual`, if there is one.
pub(crate) fn ask<T>(
    question: &str,
    usual: Option<&str>,
    check: impl Fn(&str) -> Result<T, String>,
) -> Result<T, Failure> {
    loop {
        let hint = usual.filter(|u| !u.is_empty()).map(|u| format!(" [{u}]")).unwrap_or_default();
        let width = textwrap::termwidth().clamp(40, 110);
        eprint!("{} ", textwrap::fill(&crate::harmless::text(&format!("{question}{hint}:")), width));
        let _ = std::io::stderr().flush();
        let mut line = String::new();
        let read = std::io::stdin().read_line(&mut line).map_err(|e| Failure::usage(e.to_string()))?;
        if read == 0 {
            return Err(Failure::usage("nothing more to read; give the missing values as options"));
        }
        let answer = if line.trim().is_empty() { usual.unwrap_or("") } else { line.trim() };
        match check(answer) {
            Ok(value) => return Ok(value),
            Err(expected) => {
                let indent = textwrap::Options::new(width).initial_indent("  ").subsequent_indent("  ");
                eprintln!("{}", textwrap::fill(&expected, indent));
            }
        }
    }
}

/// A password: asked for without showing it, or the first line of standard input where no one can be asked.
pub(crate) fn password(question: &str) -> Result<String, Failure> {
    if can_ask() {
        return rpassword::prompt_password(format!("{question}: "))
            .map_err(|e| Failure::usage(e.to_string()));
    }
    let mut line = String::new();
    std::io::stdin().read_line(&mut line).map_err(|e| Failure::usage(e.to_string()))?;
    let password = line.trim_end_matches(['\r', '\n']).to_string();
    if password.is_empty() {
        return Err(Failure::usage("a password expected on the first line of standard input"));
    }
    Ok(password)
}

/// A new password, asked for twice on a terminal.
pub(crate) fn new_password(question: &str) -> Result<String, Failure> {
    let first = password(question)?;
    if can_ask() && password("The same again")? != first {
        return Err(Failure::usage("the two passwords differ; nothing was sent"));
    }
    Ok(first)
}
