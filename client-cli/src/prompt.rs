//! Questions to a person at a terminal.

use std::io::{IsTerminal as _, Write as _};

use crate::{client::Client, error::Failure};

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

/// Asks for a yes or no; Enter means `usual`. Where no one can be asked, it fails with `piped` as the reason.
///
/// # Errors
/// Returns a [`Failure`] for a no, so that nothing is done.
pub(crate) fn confirm(client: &Client, question: &str, usual: bool, piped: &str) -> Result<(), Failure> {
    if !can_ask() || client.is_quiet() {
        let name = question.strip_prefix("Do you mean ").unwrap_or(question);
        return Err(Failure::usage(piped.to_string()).then(format!("did you mean {name}? Then type that")));
    }
    let hint = if usual { "Y/n" } else { "y/N" };
    let yes = ask(&format!("{question}? ({hint})"), None, |text| match text.to_lowercase().as_str() {
        "" => Ok(usual),
        "y" | "yes" => Ok(true),
        "n" | "no" => Ok(false),
        _ => Err("type y or n".to_string()),
    })?;
    if yes { Ok(()) } else { Err(Failure::usage("nothing was done")) }
}

/// Asks before something is deleted or ended for others; Enter means no. Where no one can be asked, it goes on: who
/// writes a script has decided.
///
/// # Errors
/// Returns a [`Failure`] for a no, so that nothing is done.
pub(crate) fn sure(client: &Client, question: &str) -> Result<(), Failure> {
    if !can_ask() || client.is_quiet() {
        return Ok(());
    }
    confirm(client, question, false, "")
}

/// Asks for one of several things by number or name, and returns its index. Enter means `usual`, if there is one.
///
/// # Errors
/// Returns a [`Failure`] when nothing more can be read.
pub(crate) fn pick(heading: &str, names: &[String], usual: Option<usize>) -> Result<usize, Failure> {
    eprintln!("{}", crate::harmless::text(heading));
    for (at, name) in names.iter().enumerate() {
        eprintln!("{:>3}  {}", at + 1, crate::harmless::text(name));
    }
    let usual = usual.map(|at| (at + 1).to_string());
    ask("Number", usual.as_deref(), |text| {
        let typed = text.to_lowercase().replace('-', " ");
        let named = names.iter().position(|name| name.to_lowercase().replace('-', " ") == typed);
        match text.parse::<usize>() {
            Ok(n) if (1..=names.len()).contains(&n) => Ok(n - 1),
            Ok(_) | Err(_) => named.ok_or_else(|| format!("type a number from 1 to {}", names.len())),
        }
    })
}

/// Asks which of several things is meant, by its number, and returns its index. Where no one can be asked, it fails and
/// lists them.
///
/// # Errors
/// Returns a [`Failure`] if none is chosen.
pub(crate) fn choose(client: &Client, heading: &str, names: &[String]) -> Result<usize, Failure> {
    if !can_ask() || client.is_quiet() {
        return Err(Failure::usage(format!("{heading} {}", names.join("; ")))
            .then("type the one that you mean in full, or its id"));
    }
    eprintln!("{}", crate::harmless::text(heading));
    for (at, name) in names.iter().enumerate() {
        eprintln!("{:>3}  {}", at + 1, crate::harmless::text(name));
    }
    let chosen = ask("Which number? (Enter for none)", None, |text| match text.parse::<usize>() {
        Ok(n) if (1..=names.len()).contains(&n) => Ok(Some(n - 1)),
        Err(_) if text.is_empty() => Ok(None),
        Ok(_) | Err(_) => Err(format!("type a number from 1 to {}", names.len())),
    })?;
    chosen.ok_or_else(|| Failure::usage("nothing was done"))
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
