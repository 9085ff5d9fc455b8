//! The rules of this workspace: edges between crates, sizes of files, words.

use std::{collections::BTreeSet, fs, path::Path, process::Command};

/// The allowed edges between crates of this workspace; tests may use every crate.
const EDGES: &[(&str, &str)] = &[
    ("scionary-store", "scionary-domain"),
    ("scionary-app", "scionary-domain"),
    ("scionary-app", "scionary-store"),
    ("scionary-server", "scionary-app"),
    ("scionary-server", "scionary-domain"),
    ("scionary-server", "scionary-store"),
    ("scionary-server", "scionary-proto"),
    ("scionary-server", "scionary-show"),
    ("scionary-server", "scionary-migrations"),
    ("scionary-cli", "scionary-proto"),
    ("scionary-cli", "scionary-domain"),
    ("scionary-cli", "scionary-show"),
    ("scionary-show", "scionary-proto"),
    ("scionary-show", "scionary-domain"),
];

/// The allowed dependencies of the domain: none reads a clock, a file, a socket or randomness at run time.
const DOMAIN_USES: &[&str] = &[
    "any_ascii",
    "rust_iso3166",
    "serde",
    "serde_json",
    "sha2",
    "statrs",
    "thiserror",
    "time",
    "unicode-normalization",
    "uuid",
    "zxcvbn",
];

fn root() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

#[test]
fn crates_depend_only_along_the_arrows() {
    let metadata = cargo_metadata::MetadataCommand::new()
        .manifest_path(root().join("Cargo.toml"))
        .no_deps()
        .exec()
        .unwrap();
    let own: BTreeSet<String> = metadata.packages.iter().map(|p| p.name.to_string()).collect();
    let mut found = BTreeSet::new();
    for package in &metadata.packages {
        let name = package.name.to_string();
        if name == "scionary-tests" {
            continue;
        }
        for dependency in package.dependencies.iter().filter(|d| own.contains(&d.name)) {
            found.insert((name.clone(), dependency.name.clone()));
        }
        if name == "scionary-domain" {
            for dependency in &package.dependencies {
                let is_test = dependency.kind == cargo_metadata::DependencyKind::Development;
                assert!(
                    is_test || DOMAIN_USES.contains(&dependency.name.as_str()),
                    "the domain uses {}",
                    dependency.name
                );
            }
        }
    }
    let allowed: BTreeSet<(String, String)> =
        EDGES.iter().map(|(a, b)| ((*a).to_string(), (*b).to_string())).collect();
    assert_eq!(found, allowed, "an edge was added or has gone: see the arrows in DEVELOPERS.md");
}

/// Dependencies that only generated code uses.
const GENERATED: &[&str] = &["prost-types"];

#[test]
fn every_dependency_is_used() {
    let metadata = cargo_metadata::MetadataCommand::new()
        .manifest_path(root().join("Cargo.toml"))
        .no_deps()
        .exec()
        .unwrap();
    let sources = files(&[".rs"]);
    let mut unused = Vec::new();
    for package in &metadata.packages {
        let folder = package.manifest_path.parent().unwrap().strip_prefix(root().canonicalize().unwrap());
        let folder = format!("{}/", folder.unwrap());
        // Skip crates in folders below this crate.
        let inner: Vec<String> = metadata
            .packages
            .iter()
            .filter_map(|p| p.manifest_path.parent()?.strip_prefix(root().canonicalize().ok()?).ok())
            .map(|p| format!("{p}/"))
            .filter(|other| other.starts_with(&folder) && *other != folder)
            .collect();
        let own =
            |name: &str| name.starts_with(&folder) && !inner.iter().any(|other| name.starts_with(other));
        let text: String =
            sources.iter().filter(|(name, _)| own(name)).map(|(_, text)| text.as_str()).collect();
        for dependency in &package.dependencies {
            let name = dependency.name.replace('-', "_");
            let named = text.split(|c: char| !c.is_alphanumeric() && c != '_').any(|word| word == name);
            if !named && !GENERATED.contains(&dependency.name.as_str()) {
                unused.push(format!("{folder} names {}", dependency.name));
            }
        }
    }
    assert!(unused.is_empty(), "{unused:#?}");
}

fn files(ending: &[&str]) -> Vec<(String, String)> {
    let listed = Command::new("git")
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(listed.status.success() && !listed.stdout.is_empty(), "this runs in a checkout of git only");
    String::from_utf8(listed.stdout)
        .unwrap()
        .split('\0')
        .filter(|name| ending.iter().any(|e| name.ends_with(e)))
        .filter_map(|name| Some((name.to_string(), fs::read_to_string(root().join(name)).ok()?)))
        .collect()
}

#[test]
fn files_stay_small_and_say_what_they_are() {
    for (name, text) in files(&[".rs"]) {
        let lines = text.lines().count();
        assert!(lines <= 620, "{name} has {lines} lines: split it");
        let row = name.contains("store/src/entity/") && !name.ends_with("mod.rs");
        assert!(row || text.starts_with("//!"), "{name} does not begin with what it is (//!)");
    }
}

#[test]
fn every_method_and_field_is_documented() {
    for (name, text) in files(&[".proto"]) {
        let mut before = "";
        for line in text.lines() {
            let code = line.trim();
            let declares = code.starts_with("rpc ")
                || code.starts_with("message ")
                || code.starts_with("enum ")
                || code.starts_with("service ")
                || (code.contains(" = ")
                    && code.ends_with(';')
                    && !code.starts_with("//")
                    && !code.starts_with("option ")
                    && !code.starts_with("syntax"));
            assert!(!declares || before.starts_with("//"), "{name}: no comment above {code:?}");
            before = code;
        }
    }
}

/// No text says that plants may be moved: the plant-health authority decides.
#[test]
fn no_text_promises_that_plants_may_be_moved() {
    let banned = [
        "legal",
        "illegal",
        "legally",
        "safe to",
        "safely",
        "cleared",
        "disease-free",
        "disease free",
        "ok to send",
        "no restrictions",
    ];
    for (name, text) in files(&[".rs", ".toml", ".proto", ".csv"]) {
        if name == "tests/it/house.rs" || name.ends_with("sources.csv") || name.contains("Cargo") {
            continue;
        }
        let lower = text.to_lowercase();
        for word in banned {
            let hit = lower.match_indices(word).find(|(at, _)| {
                let edge = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric());
                edge(lower[..*at].chars().next_back()) && edge(lower[at + word.len()..].chars().next())
            });
            assert!(hit.is_none(), "{name} says {word:?}");
        }
    }
    // In files on movement and health, words that sound like a decision stay out too; rules are quoted elsewhere.
    let topics = ["movement", "offer", "crops/", "plan", "route", "health", "viability", "graft"];
    for (name, text) in files(&[".rs", ".toml", ".proto"]) {
        if name.starts_with("tests/") || !topics.iter().any(|t| name.contains(t)) {
            continue;
        }
        for word in text.to_lowercase().split(|c: char| !c.is_alphabetic()) {
            let decides = ["safe", "approved", "certified", "permitted"].contains(&word);
            assert!(!decides, "{name} says {word:?}");
        }
    }
}

#[test]
fn no_unfinished_work_and_no_paths_of_one_machine() {
    let marks = [
        concat!("to", "do!("),
        concat!("un", "implemented!("),
        concat!("FIX", "ME"),
        concat!("#[", "ignore"),
    ];
    for (name, text) in files(&[".rs", ".proto", ".sh", ".toml", "run"]) {
        for mark in marks {
            assert!(!text.contains(mark), "{name} holds {mark}");
        }
        for path in [concat!("/ro", "ot/"), concat!("/ho", "me/"), concat!("/wo", "rk/")] {
            assert!(!text.contains(path), "{name} holds {path}");
        }
    }
}

/// Words that hide who does what appear in no comment, message, data file or guide.
#[test]
fn texts_are_plain_english() {
    // Concatenated, so that this list does not match itself.
    let words = [
        concat!("some", "body"),
        concat!("no", "body"),
        concat!("as it ", "stands"),
        concat!("is ", "told"),
        concat!("bear ", "out"),
        concat!("bears ", "out"),
        concat!("reck", "on"),
        concat!("there", "of"),
        concat!("a", "new"),
    ];
    let mut found = Vec::new();
    for (name, text) in files(&[".rs", ".proto", ".toml", ".md", ".csv", ".session"]) {
        // Sources and rules are quoted as published.
        if name.contains("data/catalogue") || name.contains("data/movement") || name.contains("reference/") {
            continue;
        }
        for (number, line) in text.lines().enumerate() {
            let lower = line.to_lowercase();
            for word in words {
                let hit = lower.match_indices(word).any(|(at, _)| {
                    let edge =
                        |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric() && c != '_' && c != '-');
                    edge(lower[..at].chars().next_back()) && edge(lower[at + word.len()..].chars().next())
                });
                if hit {
                    found.push(format!("{name}:{}: {}", number + 1, line.trim()));
                }
            }
        }
    }
    assert!(found.is_empty(), "{} lines:\n{}", found.len(), found.join("\n"));
}
