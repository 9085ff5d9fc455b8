//! The terminal pictures in the docs match today's output of the client. `SCIONARY_UPDATE_PICTURES=1` draws them again.

use std::{fs, path::PathBuf};

use scionary_tests::{
    Database,
    binaries::{Person, Server, folder},
    client::PASSWORD,
};

/// Commands on the demo's invented cultivars: the picture's name, and the typed words.
const SHOWN: [(&str, &[&str]); 6] = [
    ("lookup", &["lookup", "lantan moth"]),
    ("odds", &["odds", "Lantern Moth", "--plants", "3", "--batch", "20"]),
    ("routes", &["routes", "Quarrymead", "--height", "4", "--have-scion"]),
    (
        "plan",
        &[
            "plan",
            "draft",
            "Lantern Moth",
            "--way",
            "seed",
            "--start",
            "2040-02-01",
            "--place",
            "-27.47,153.02",
        ],
    ),
    ("season", &["season", "Lantern Moth", "Quarrymead", "Old Tollhouse", "--crop", "mango", "--south"]),
    ("rates", &["graft", "rates", "--crop", "mango", "--south"]),
];

/// Formats the arguments as a shell command.
fn typed(arguments: &[&str]) -> String {
    let word = |a: &&str| if a.contains(' ') { format!("\"{a}\"") } else { (*a).to_string() };
    format!("$ scionary {}", arguments.iter().map(word).collect::<Vec<_>>().join(" "))
}

fn furnish(url: &str, server: &Server) -> Person {
    let code = std::process::Command::new(folder().join("scionaryd"))
        .args(["steward-code", "--database", url])
        .output()
        .unwrap();
    let code = String::from_utf8(code.stdout).unwrap();
    let code = code.split_whitespace().last().unwrap().to_string();
    let grower = Person::new(server);
    let twice = format!("{PASSWORD}\n{PASSWORD}\n");
    grower.ok_with(&twice, &["account", "sign-up", "odalind", "--code", &code]);
    grower.ok_with(&twice, &["account", "sign-in", "odalind"]);
    let see = |cultivar: &str, first: &str, last: &str| {
        let place = ["--place", "-27.47,153.02", "--first-ripe", first, "--last-ripe", last];
        grower.ok(&[&["evidence", "add", cultivar, "--crop", "mango"][..], &place].concat());
    };
    see("Lantern Moth", "2024-12-20", "2025-01-18");
    see("Lantern Moth", "2025-12-28", "2026-01-25");
    see("Quarrymead", "2025-02-10", "2025-03-20");
    let log = |who: &Person, method: &str, day: &str, made: &str, took: &str| {
        let entry = ["--method", method, "--day", day, "--made", made, "--took", took, "--south"];
        who.ok(&[&["graft", "log", "Quarrymead", "--crop", "mango"][..], &entry].concat());
    };
    let mut others = Vec::new();
    for handle in ["tobin", "sefa"] {
        let invited = grower.ok(&["--json", "account", "invite"]);
        let code = serde_json::from_str::<serde_json::Value>(&invited).unwrap()["code"]
            .as_str()
            .unwrap()
            .to_string();
        let other = Person::new(server);
        other.ok_with(&twice, &["account", "sign-up", handle, "--code", &code]);
        other.ok_with(&twice, &["account", "sign-in", handle]);
        others.push(other);
    }
    for (who, cleft, chip) in [(&grower, "10", "3"), (&others[0], "9", "5"), (&others[1], "11", "4")] {
        log(who, "cleft", "2025-10-12", "12", cleft);
        log(who, "chip-bud", "2025-03-02", "8", chip);
    }
    grower
}

#[test]
fn pictures_show_what_is_printed() {
    let database = Database::sqlite();
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..");
    let demo = root.join("server/data/demo");
    let server = Server::start(
        &database.url,
        &[&format!("data.catalogue_folders={}", demo.canonicalize().unwrap().display())],
    );
    let person = furnish(&database.url, &server);
    let update = std::env::var_os("SCIONARY_UPDATE_PICTURES").is_some();
    for (name, arguments) in SHOWN {
        let printed = person.on_a_terminal(80, arguments);
        let plain: String = anstyle_svg::Term::new().render_html(&printed);
        assert!(!plain.contains('\u{1b}'), "{name}: an escape that is no style");
        let text = format!("{}\n{printed}", typed(arguments));
        let picture = anstyle_svg::Term::new().render_svg(&text);
        let file = root.join(format!("server/docs/pictures/{name}.svg"));
        if update {
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(&file, &picture).unwrap();
        }
        let kept = fs::read_to_string(&file).unwrap_or_default();
        assert!(
            kept == picture,
            "server/docs/pictures/{name}.svg is out of date: SCIONARY_UPDATE_PICTURES=1 cargo test -p scionary-tests --test it pictures"
        );
    }
    assert!(server.terminate());
}
