//! The guides: every command in them is one that the programs accept.

use std::{fs, path::Path};

use clap::Parser as _;

/// Splits a line as a shell does, with double quotes and comments only.
fn words(line: &str) -> Vec<String> {
    let line = line.split(" # ").next().unwrap_or(line);
    line.split('"')
        .enumerate()
        .flat_map(|(place, part)| match place % 2 {
            1 => vec![part.to_string()],
            _ => part.split_whitespace().map(String::from).collect(),
        })
        .collect()
}

/// Returns the commands of a guide: the lines of its code blocks that start with a program's name.
fn commands(text: &str) -> Vec<String> {
    text.lines()
        .filter_map(|line| line.strip_prefix("    "))
        .map(|line| line.trim().trim_start_matches("$ ").to_string())
        .filter(|line| line.starts_with("scionary ") || line.starts_with("scionaryd "))
        .collect()
}

#[test]
fn every_command_of_the_guides_can_be_typed() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut guides = vec![root.join("README.md"), root.join("deploy/README.md")];
    for entry in fs::read_dir(root.join("server/docs")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "md") {
            guides.push(path);
        }
    }
    let (mut wrong, mut seen) = (Vec::new(), 0);
    for guide in guides {
        for command in commands(&fs::read_to_string(&guide).unwrap()) {
            seen += 1;
            // What a shell writes to a file is no part of the command.
            let words = words(command.split(" > ").next().unwrap_or(&command));
            let parsed = match words.first().map(String::as_str) {
                Some("scionary") => scionary_cli::args::Arguments::try_parse_from(&words)
                    .map(|_| ())
                    .map_err(|e| e.to_string()),
                _ => scionary_server::command::read(&words),
            };
            if let Err(error) = parsed {
                wrong.push(format!("{}: {command}\n  {error}", guide.display()));
            }
        }
    }
    assert!(seen > 100, "{seen} commands were found");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The README takes five minutes to read.
#[test]
fn the_readme_is_short() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let words = fs::read_to_string(root.join("README.md")).unwrap().split_whitespace().count();
    assert!(words <= 900, "{words} words");
}

/// Every link of a guide has a target.
#[test]
fn links_of_the_guides_lead_somewhere() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut guides = vec![root.join("README.md"), root.join("DEVELOPERS.md"), root.join("deploy/README.md")];
    guides.extend(fs::read_dir(root.join("server/docs")).unwrap().map(|e| e.unwrap().path()));
    for guide in guides.into_iter().filter(|p| p.extension().is_some_and(|e| e == "md")) {
        let text = fs::read_to_string(&guide).unwrap();
        for link in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let path = link.split('#').next().unwrap_or_default();
            if path.is_empty() || path.contains("://") {
                continue;
            }
            assert!(guide.parent().unwrap().join(path).exists(), "{}: {link}", guide.display());
        }
    }
}
