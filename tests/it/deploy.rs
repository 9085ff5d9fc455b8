//! The deployment files match the code.

use std::{fs, path::Path, process::Command};

use scionary_server::config::{SETTINGS, sample};

fn read(name: &str) -> String {
    let path = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy")).join(name);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

#[test]
fn the_sample_settings_are_the_tables() {
    assert_eq!(
        read("scionaryd.toml"),
        sample(),
        "make it again with: scionaryd config sample > deploy/scionaryd.toml"
    );
}

#[test]
fn every_variable_that_is_set_exists() {
    for name in ["Containerfile", "compose.yaml", "scionaryd.service"] {
        for word in read(name).split(|c: char| !(c.is_ascii_uppercase() || c == '_')) {
            if word.starts_with("SCIONARYD_") && word != "SCIONARYD_CONFIG" {
                assert!(
                    SETTINGS.iter().any(|s| s.variable() == word),
                    "{name} sets {word}, which does not exist"
                );
            }
        }
    }
}

#[test]
fn the_container_is_not_run_as_root_and_the_service_is_walled_in() {
    let container = read("Containerfile");
    assert!(container.contains(":nonroot") || container.contains("USER "), "{container}");
    let service = read("scionaryd.service");
    for line in [
        "NoNewPrivileges=",
        "ProtectSystem=strict",
        "DynamicUser=yes",
        "CapabilityBoundingSet=",
        "SystemCallFilter=",
    ] {
        assert!(service.contains(line), "the unit lacks {line}");
    }
    let mut section = "";
    for line in service.lines().map(str::trim).filter(|l| !l.is_empty() && !l.starts_with('#')) {
        match line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            Some(name) => {
                section = ["Unit", "Service", "Install"]
                    .into_iter()
                    .find(|s| *s == name)
                    .expect("a section of a unit")
            }
            None => assert!(!section.is_empty() && line.contains('='), "{line} is no line of a unit"),
        }
    }
}

#[test]
fn the_compose_file_binds_to_this_machine_and_walls_the_server_in() {
    let documents = yaml_rust2::YamlLoader::load_from_str(&read("compose.yaml")).expect("YAML");
    let services = &documents[0]["services"];
    let server = &services["scionary"];
    assert_eq!(server["ports"][0].as_str(), Some("127.0.0.1:50740:50740"));
    assert_eq!(server["read_only"].as_bool(), Some(true));
    assert_eq!(server["cap_drop"][0].as_str(), Some("ALL"));
    assert_eq!(server["depends_on"]["db"]["condition"].as_str(), Some("service_healthy"));
    assert!(!services["db"]["healthcheck"].is_badvalue());
}

/// The container file copies what the build makes, and only files that exist.
#[test]
fn the_container_file_copies_what_exists() {
    let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    for line in read("Containerfile").lines().filter(|l| l.starts_with("COPY ") && !l.contains("--from=")) {
        let words: Vec<&str> = line.split_whitespace().skip(1).filter(|w| !w.starts_with("--")).collect();
        let (_, sources) = words.split_last().expect("a destination");
        for source in sources {
            assert!(root.join(source).exists(), "{line}: {source} does not exist");
        }
    }
}

/// Runs the real backup and restore, if sqlite3 is installed.
#[test]
fn a_backup_can_be_restored() {
    if Command::new("sqlite3").arg("--version").output().is_err() {
        scionary_tests::skipped("backup and restore: sqlite3 is not installed (tests/run installs it)");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let url = format!("sqlite:{}", at("live.db"));
    let server = scionary_tests::binaries::Server::start(&url, &["accounts.sign_up=open"]);
    let person = scionary_tests::binaries::Person::new(&server);
    let password = format!("{}\n", scionary_tests::client::PASSWORD);
    person.ok_with(&password, &["account", "sign-up", "rosamund"]);
    let script = |name: &str| Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy")).join(name);
    let run = |name: &str, database: &str| {
        let mut command = Command::new("sh");
        command.arg(script(name)).arg(at("copy")).env("SCIONARYD_STORAGE_DATABASE", database);
        let output = command.output().unwrap();
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    // Back up while the server runs.
    let (fine, said) = run("backup", &url);
    assert!(fine, "{said}");
    assert!(server.terminate());
    let restored = format!("sqlite:{}", at("restored.db"));
    let (fine, said) = run("restore", &restored);
    assert!(fine, "{said}");
    let (fine, _) = run("restore", &restored);
    assert!(!fine, "an existing file is not overwritten");
    let server = scionary_tests::binaries::Server::start(&restored, &[]);
    let person = scionary_tests::binaries::Person::new(&server);
    assert!(person.ok_with(&password, &["account", "sign-in", "rosamund"]).contains("Signed in"));
    assert!(server.terminate());
}
