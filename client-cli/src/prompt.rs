//! Questions to a person at a terminal.

use std::io::{IsTerminal as _, Write as _};

use crate::error::Failure;

/// Returns whether a person can answer: standard input and standard error are terminals.
pub(crate) fn can_ask() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Asks until `check` accepts the line. An empty line means `usual`, if there is one.
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

/// Reads a password: without echo from a terminal, or else the first line of standard input.
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

/// Reads a new password; a terminal asks for it twice.
pub(crate) fn new_password(question: &str) -> Result<String, Failure> {
    let first = password(question)?;
    if can_ask() && password("The same again")? != first {
        return Err(Failure::usage("the two passwords differ; nothing was sent"));
    }
    Ok(first)
}
