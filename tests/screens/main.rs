//! Every screen of the client, as the `*.session` files in this folder record them. `SCIONARY_UPDATE_SCREENS=1` writes
//! the files again; `session.rs` describes their format.
#![allow(missing_docs, reason = "tests say what they show in their names")]

mod plain;
mod run;
mod session;

use std::{collections::BTreeSet, fmt::Write as _, path::PathBuf};

use clap::CommandFactory as _;

use session::{Step, parse, words};

/// Unchanged lines shown around a difference.
const AROUND: usize = 3;

fn file(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("screens/{name}.session"))
}

/// Returns the lines in which two texts differ, with some unchanged lines around them.
fn differences(recorded: &str, now: &str) -> String {
    let (old, new): (Vec<&str>, Vec<&str>) = (recorded.lines().collect(), now.lines().collect());
    let before = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let rests = old[before..].iter().rev().zip(new[before..].iter().rev());
    let after = rests.take_while(|(a, b)| a == b).count();
    let (a, b) = (&old[before..old.len() - after], &new[before..new.len() - after]);
    // Lengths of the longest common subsequence of the remaining lines.
    let mut common = vec![vec![0_u32; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            common[i][j] =
                if a[i] == b[j] { common[i + 1][j + 1] + 1 } else { common[i + 1][j].max(common[i][j + 1]) };
        }
    }
    let mut lines: Vec<(char, &str)> = old[..before].iter().map(|l| (' ', *l)).collect();
    let (mut i, mut j) = (0, 0);
    while i < a.len() || j < b.len() {
        if i < a.len() && j < b.len() && a[i] == b[j] {
            lines.push((' ', a[i]));
            (i, j) = (i + 1, j + 1);
        } else if j == b.len() || i < a.len() && common[i + 1][j] >= common[i][j + 1] {
            lines.push(('-', a[i]));
            i += 1;
        } else {
            lines.push(('+', b[j]));
            j += 1;
        }
    }
    lines.extend(old[old.len() - after..].iter().map(|l| (' ', *l)));
    let near = |at: usize| {
        lines[at.saturating_sub(AROUND)..lines.len().min(at + AROUND + 1)]
            .iter()
            .any(|(mark, _)| *mark != ' ')
    };
    let mut out = String::new();
    let mut left_out = false;
    for (at, (mark, line)) in lines.iter().enumerate() {
        // Show the command that a difference belongs to.
        let command = *mark == ' ' && line.starts_with("$ ");
        let of = command
            && lines[at + 1..]
                .iter()
                .take_while(|(m, l)| !(*m == ' ' && l.starts_with("$ ")))
                .any(|(mark, _)| *mark != ' ');
        if near(at) || of {
            if std::mem::take(&mut left_out) {
                out.push_str("  ⋮\n");
            }
            let _ = writeln!(out, "{mark} {line}");
        } else {
            left_out = true;
        }
    }
    out
}

fn compare(name: &str, now: &str) {
    let file = file(name);
    let recorded = std::fs::read_to_string(&file).unwrap_or_default();
    if std::env::var_os("SCIONARY_UPDATE_SCREENS").is_some() {
        std::fs::write(&file, now).unwrap();
    } else if recorded != now {
        panic!(
            "screens differ from tests/screens/{name}.session (- recorded, + now):\n{}\nIf that is as it should be: SCIONARY_UPDATE_SCREENS=1 cargo test -p scionary-tests --test screens {name}",
            differences(&recorded, now)
        );
    }
}

macro_rules! sessions {
    ($($name:ident),* $(,)?) => {
        /// The names of the session files.
        const SESSIONS: &[&str] = &[$(stringify!($name)),*];
        $(
            #[test]
            fn $name() {
                let name = stringify!($name);
                let text = std::fs::read_to_string(file(name)).unwrap();
                compare(name, &run::played(&text));
            }
        )*
    };
}
sessions![
    account, alert, claim, club, colour, cultivar, curation, evening, evidence, inbox, lookup, lot, me,
    missing, movement, offer, plan, round, unions, want,
];

/// Returns every command with subcommands, and every command without, as the words that people type.
fn commands() -> (Vec<String>, Vec<String>) {
    fn walk(command: &clap::Command, path: &str, all: &mut (Vec<String>, Vec<String>)) {
        let name = format!("{path}{}", command.get_name());
        let subs: Vec<_> = command.get_subcommands().filter(|s| s.get_name() != "help").collect();
        for sub in &subs {
            walk(sub, &format!("{name} "), all);
        }
        if subs.is_empty() { all.1.push(name) } else { all.0.push(name) }
    }
    let mut command = scionary_cli::args::Arguments::command();
    command.build();
    let mut all = (Vec::new(), Vec::new());
    walk(&command, "", &mut all);
    all
}

/// Every command without subcommands has a screen.
#[test]
fn every_command_has_a_screen() {
    let (_, leaves) = commands();
    let mut shown = BTreeSet::new();
    let mut screens = 0;
    for name in SESSIONS {
        for step in parse(&std::fs::read_to_string(file(name)).unwrap()) {
            let Step::Command(typed) = step else { continue };
            let typed = words(&typed.line);
            if !typed.iter().any(|w| w == "scionary") {
                continue;
            }
            screens += 1;
            // The words of a command come before its arguments; options of every command can come first.
            let mut path = "scionary".to_string();
            for word in typed.iter().skip_while(|w| *w != "scionary").skip(1) {
                let longer = format!("{path} {word}");
                if leaves.iter().any(|l| *l == longer || l.starts_with(&format!("{longer} "))) {
                    path = longer;
                }
            }
            shown.insert(path);
        }
    }
    println!("{screens} screens of {} commands", shown.len());
    let missing: Vec<&String> = leaves.iter().filter(|l| !shown.contains(*l)).collect();
    assert!(missing.is_empty(), "no file of tests/screens shows {missing:#?}");
    for entry in std::fs::read_dir(file("x").parent().unwrap()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let played = name == "help" || SESSIONS.contains(&name.as_str());
        assert!(path.extension().is_some_and(|e| e != "session") || played, "{name} is never played");
    }
}

/// Records the help of every command as printed.
#[test]
fn help() {
    let (groups, leaves) = commands();
    let config = tempfile::tempdir().unwrap();
    let mut all: Vec<&String> = groups.iter().chain(&leaves).collect();
    all.sort();
    let mut now = String::from("# Written from the commands that there are.\n");
    for command in all {
        let mut words: Vec<&str> = command.split(' ').skip(1).collect();
        words.push("--help");
        let output = run::client(config.path()).args(&words).output().unwrap();
        assert!(output.status.success(), "{command} --help");
        let _ = writeln!(now, "$ {command} --help");
        for line in plain::plain(&String::from_utf8(output.stdout).unwrap(), &Vec::new()).lines() {
            let _ = writeln!(now, "{}", format!("  {line}").trim_end());
        }
        now.push('\n');
    }
    compare("help", &format!("{}\n", now.trim_end()));
}

#[test]
fn a_difference_is_shown_with_its_command() {
    let old = "# x\n$ scionary a\n  1\n  2\n  3\n  4\n  5\n  6\n\n$ scionary b\n  7\n";
    let new = old.replace("  6\n", "  six\n");
    assert_eq!(
        differences(old, &new),
        "  ⋮\n  $ scionary a\n  ⋮\n    3\n    4\n    5\n-   6\n+   six\n  \n  $ scionary b\n    7\n"
    );
    assert_eq!(differences(old, old), "");
}
