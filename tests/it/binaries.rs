//! The real binaries: what a grower types and reads.

use std::process::Command;

use scionary_tests::{
    Database,
    binaries::{Person, Server, folder},
    client::PASSWORD,
    samples::in_days,
};

fn day(days: i64) -> String {
    let d = in_days(days);
    format!("{:04}-{:02}-{:02}", d.year, d.month, d.day)
}

fn twice() -> String {
    format!("{PASSWORD}\n")
}

/// The README's five minutes, with its exact commands.
#[test]
fn from_zero_to_a_club_with_two_members() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &[]);
    let code = Command::new(folder().join("scionaryd"))
        .args(["steward-code", "--database", &database.url])
        .output()
        .unwrap();
    let code = String::from_utf8(code.stdout).unwrap().trim().to_string();
    let rosamund = Person::new(&server);
    rosamund.ok(&["connect", &format!("http://{}", server.address)]);
    rosamund.ok_with(
        &twice(),
        &["account", "sign-up", "rosamund", "--name", "Rosamund Pike-Alder", "--code", &code],
    );
    let said = rosamund.ok_with(&twice(), &["account", "sign-in", "rosamund"]);
    assert!(said.starts_with("Signed in as Rosamund Pike-Alder until "), "{said}");
    let invited: serde_json::Value =
        serde_json::from_str(&rosamund.ok(&["--json", "account", "invite", "--note", "Tobin"])).unwrap();
    let tobin = Person::new(&server);
    tobin.fails(3, &["account", "whoami"]);
    tobin.ok_with(&twice(), &["account", "sign-up", "tobin", "--code", invited["code"].as_str().unwrap()]);
    tobin.ok_with(&twice(), &["account", "sign-in", "tobin"]);
    assert!(rosamund.ok(&["account", "invitations"]).contains("used"));

    let posted: serde_json::Value = serde_json::from_str(&rosamund.ok(&[
        "--json",
        "offer",
        "post",
        "--cultivar",
        "R2E2",
        "--material",
        "seedling",
        "--quantity",
        "5",
        "--terms",
        "gift",
        "--until",
        &day(20),
        "--place",
        "-19.6,-24.9",
        "--area",
        "XB-NS",
        "--place-label",
        "Larkwater",
        "--by",
        "collect,meeting",
        "--grown-at",
        "XB-NS:2024-03",
        "--form",
        "in-medium",
        "--purpose",
        "planting",
        "--symptoms",
        "no",
        "--pests",
        "yes:a few scale insects",
        "--sprayed",
        "unknown",
        "--treatment",
        "2026-05-01;washed;soap;self",
    ]))
    .unwrap();
    let id = posted["offer"]["offer_id"].as_str().unwrap();
    let found = tobin.ok(&["offer", "search", "r2e2", "--near", "-19.5,-24.9", "--within", "40"]);
    assert!(
        found.contains("about 11 km, 5 R2E2 seedlings, gift") && found.trim_start().starts_with("1  "),
        "{found}"
    );
    let shown = tobin.ok(&["offer", "show", id]);
    for part in [
        "yes: a few scale insects",
        "XB-NS since 2024-03",
        "washed with soap (not official)",
        "not a certificate",
        "both kinds of seed",
        "plant-health authority",
    ] {
        assert!(shown.replace('\n', " ").contains(part), "{part}\n{shown}");
    }
    assert!(shown.lines().all(|l| l.chars().count() <= 80), "{shown}");
    tobin.fails(3, &["offer", "withdraw", id]);
    assert!(rosamund.ok(&["offer", "change", id, "--quantity", "3", "--pests", "no"]).contains("3 plants"));
    let said = rosamund.fails(1, &["offer", "change", id, "--quantity", "2", "--version", "1"]);
    assert!(
        said.contains("you have version 1, it is at version 2") && said.contains("show it again"),
        "{said}"
    );
    rosamund.ok(&["offer", "withdraw", id]);
    assert!(tobin.ok(&["offer", "search", "R2E2"]).contains("No open offer fits"));
    assert!(rosamund.ok(&["offer", "list"]).contains("[withdrawn]"));
    rosamund.ok(&["account", "sign-out"]);
    rosamund.fails(3, &["account", "whoami"]);
    // Structured: one JSON object a line, a line for each call, and no secret in any.
    let log = server.log();
    assert!(log.lines().all(|l| serde_json::from_str::<serde_json::Value>(l).is_ok()), "{log}");
    assert!(log.matches("/scionary.v1.AccountService/SignIn").count() >= 2, "{log}");
    for secret in [PASSWORD, &code, invited["code"].as_str().unwrap(), "sst_", "scale insects"] {
        assert!(!log.contains(secret), "the log holds {secret}");
    }
    assert!(server.terminate());
}

#[test]
fn a_look_up_answers_first_and_fits_the_terminal() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &[]);
    let person = Person::new(&server);
    let text = person.ok(&["lookup", "kensigton", "pride"]);
    assert!(
        text.contains("You typed “kensigton pride”: one letter differs from “Kensington")
            && text
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains("no one on file has counted whether"),
        "{text}"
    );
    for name in ["golek", "peach", "R2 E2", "sabre", "volkamer lemon", "lula", "keitt"] {
        for flags in [&["lookup"][..], &["lookup", "--evidence"][..], &["cultivar", "show"][..]] {
            let mut arguments = flags.to_vec();
            arguments.push(name);
            let output = person.run(&arguments);
            let text = String::from_utf8(output.stdout).unwrap();
            for line in text.lines().filter(|l| !l.contains("http")) {
                assert!(line.chars().count() <= 80, "{arguments:?}: {line}");
            }
        }
    }
    let said = person.fails(4, &["lookup", "xyzzy"]);
    assert!(said.contains("nothing is on file as “xyzzy”"), "{said}");
    let said = person.fails(2, &["lookup", "kent", "--crop", "durian"]);
    assert!(said.contains("crops on file expected"), "{said}");
    // An empty registry says that it is empty.
    let empty = Server::start(&Database::empty_sqlite().url, &["data.reference_catalogue=false"]);
    let newcomer = Person::new(&empty);
    assert!(newcomer.ok(&["crop", "list"]).contains("No crop is on file yet"));
    assert!(newcomer.ok(&["cultivar", "list"]).contains("No cultivar is on file here yet"));
    assert!(newcomer.ok(&["status"]).contains("none yet"));
    assert!(newcomer.fails(4, &["crop", "show", "mango"]).contains("loads a"));
    empty.kill();
    assert!(
        person.ok(&["cultivar", "list", "--seed", "comes-true"]).contains("No cultivar on file “comes true”")
    );
    // Every command prints valid JSON.
    for arguments in [
        &["lookup", "golek"][..],
        &["status"],
        &["crop", "list"],
        &["crop", "show", "citrus"],
        &["cultivar", "list", "--seed", "not-true"],
        &["cultivar", "search", "carabo"],
        &["cultivar", "show", "Manila"],
        &["cultivar", "evidence", "Manila"],
        &["offer", "search"],
    ] {
        let mut all = vec!["--json"];
        all.extend(arguments);
        let _: serde_json::Value =
            serde_json::from_str(&person.ok(&all)).unwrap_or_else(|e| panic!("{all:?}: {e}"));
        assert!(!person.ok(arguments).is_empty());
    }
    let json: serde_json::Value = serde_json::from_str(&person.ok(&["--json", "lookup", "golek"])).unwrap();
    assert_eq!(json["report"]["answer"], "SEED_ANSWER_PARTLY_TRUE");
    assert_eq!(json["guessed"], false);
    let failed = person.run(&["--json", "lookup", "kent", "--crop", "durian"]);
    let error: serde_json::Value = serde_json::from_slice(&failed.stderr).unwrap();
    assert_eq!(
        (error["error"]["reason"].as_str(), error["error"]["exit_code"].as_i64()),
        (Some("FIELDS_WRONG"), Some(2))
    );
    assert!(server.terminate());
}

#[test]
fn the_session_is_the_users_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open"]);
    let person = Person::new(&server);
    person.ok(&["connect", &format!("http://{}", server.address)]);
    person.ok_with(&twice(), &["account", "sign-up", "rosamund"]);
    let shown = person.ok_with(&twice(), &["--json", "account", "sign-in", "rosamund"]);
    assert!(!shown.contains("sst_"), "the token is not printed");
    let mode = |path: &std::path::Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let file = person.config().join("session.toml");
    assert_eq!((mode(&person.config()), mode(&file)), (0o700, 0o600));
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o644)).unwrap();
    person.ok(&["account", "whoami"]);
    assert_eq!(mode(&file), 0o600, "a session that others could read is closed to them");
    // A session goes to its own server only.
    let elsewhere = Server::start(&Database::sqlite().url, &[]);
    let said = person.fails(3, &["--server", &format!("http://{}", elsewhere.address), "account", "whoami"]);
    assert!(said.contains("not signed in"), "{said}");
    elsewhere.kill();
    let address = server.address.clone();
    server.kill();
    let said = person.fails(5, &["status"]);
    assert!(said.contains(&format!("no server can be reached at http://{address}")), "{said}");
    let said = person.fails(2, &["--server", "http://swap.example:1", "status"]);
    assert!(said.contains("in the clear"), "{said}");
}

#[test]
fn plans_and_grafts_from_the_command_line() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open"]);
    let person = Person::new(&server);
    person.ok_with(&twice(), &["account", "sign-up", "rosamund"]);
    person.ok_with(&twice(), &["account", "sign-in", "rosamund"]);
    let kept = person.ok(&[
        "plan",
        "keep",
        "R2E2",
        "--way",
        "own-rootstock",
        "--south",
        "--climate",
        "warm",
        "--title",
        "By the gate",
    ]);
    // The first thing that is shown has the number 1.
    assert!(kept.contains("plan           1\n"), "{kept}");
    let id = "1".to_string();
    assert!(kept.lines().all(|l| l.chars().count() <= 80), "{kept}");
    assert!(person.ok(&["plan", "done", &id, "sow"]).contains("done"));
    assert!(person.ok(&["plan", "move", &id, "graft", "2040-06-01"]).contains("2040-06-01"));
    assert!(person.ok(&["plan", "note", &id, "graft", "bring labels"]).contains("By the gate"));
    let added = person.ok(&["plan", "add-step", &id, "Shade", "--days", "3", "--after", "sow"]);
    let own = added.split_whitespace().find(|w| w.starts_with("own_")).unwrap().to_string();
    assert!(!person.ok(&["plan", "remove-step", &id, &own]).contains(&own));
    assert!(person.ok(&["plan", "again", &id, "sow"]).contains("Sow seed for the rootstock"));
    let said = person.fails(2, &["plan", "done", &id, "sow", "--on", "2090-01-01"]);
    assert!(said.contains("--on: a day that has come expected"), "{said}");
    let cold = ["plan", "change", &id, "--hemisphere", "north", "--climate", "cold"];
    assert!(person.ok(&cold).contains("Into a large pot"));
    assert!(person.ok(&["plan", "skip", &id, "unwrap", "--reason", "tape rots"]).contains("left out"));
    assert!(!person.ok(&["plan", "reopen", &id, "unwrap"]).contains("left out"));
    assert!(person.ok(&["plan", "change", &id, "--title", "By the well"]).contains("By the well"));
    let shown = person.ok(&["plan", "show", &id, "--all", "--imperial"]);
    assert!(shown.contains("29 to 30 °F") && shown.contains("bring labels"), "{shown}");
    let said = person.fails(2, &["plan", "done", &id, "sew"]);
    assert!(said.contains("one of sow, sprouts"), "{said}");
    let file = person.config().join("trees.ics");
    person.ok(&["plan", "calendar", "--output", file.to_str().unwrap()]);
    assert!(std::fs::read_to_string(&file).unwrap().starts_with("BEGIN:VCALENDAR\r\n"));
    assert!(person.ok(&["season", "--my-plans"]).contains("R2E2"));
    assert!(person.ok(&["plan", "list"]).contains("By the well"));
    assert!(person.ok(&["plan", "drop", &id]).contains("Forgotten"));
    assert!(person.ok(&["plan", "list"]).contains("You keep no plans"));

    let log =
        ["graft", "log", "R2E2", "--method", "chip-bud", "--made", "4", "--day", "2025-08-01", "--north"];
    let entered = person.ok(&log);
    let graft = entered.split_whitespace().nth(1).unwrap().to_string();
    assert!(graft.parse::<u32>().is_ok(), "{entered}");
    assert!(person.ok(&["graft", "list", "--open"]).contains("how many took?"));
    assert!(person.ok(&["graft", "report", &graft, "--took", "3"]).contains("3 of 4 took"));
    assert!(
        person.ok(&["graft", "rates", "--crop", "mango"]).contains("Fewer than three vouched-for growers")
    );
    assert!(person.ok(&["graft", "remove", &graft]).contains("Removed"));
    server.terminate();
}

#[test]
fn claims_from_the_command_line() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open"]);
    let people: Vec<Person> = ["rosamund", "tobin"]
        .iter()
        .map(|handle| {
            let person = Person::new(&server);
            person.ok_with(&twice(), &["account", "sign-up", handle]);
            person.ok_with(&twice(), &["account", "sign-in", handle]);
            person
        })
        .collect();
    let (giver, taker) = (&people[0], &people[1]);
    let until = scionary_tests::samples::in_days(20);
    let until = format!("{:04}-{:02}-{:02}", until.year, until.month, until.day);
    let posted = giver.ok(&[
        "offer",
        "post",
        "--cultivar",
        "R2E2",
        "--material",
        "seedling",
        "--quantity",
        "5",
        "--terms",
        "gift",
        "--until",
        &until,
        "--place",
        "-27.47,153.02",
        "--by",
        "collect",
        "--grown-at",
        "AU-QLD",
        "--form",
        "in-medium",
        "--purpose",
        "planting",
        "--symptoms",
        "no",
        "--pests",
        "no",
        "--sprayed",
        "no",
    ]);
    assert!(posted.starts_with("Posted as number 1: 5 R2E2 seedlings"), "{posted}");
    // Everyone has numbers of their own: the taker searches, and sees 1 too.
    assert!(taker.ok(&["offer", "search", "r2e2"]).trim_start().starts_with("1  5 R2E2 seedlings"));
    let offer = "1";
    let asked =
        taker.ok(&["claim", "ask", offer, "--quantity", "2", "--to", "AU-QLD", "--contact", "0400 000 000"]);
    assert!(asked.contains("claim          2\n"), "{asked}");
    let claim = "2";
    assert!(asked.contains("No rule on file: ask") && asked.contains("It waits for its giver"), "{asked}");
    assert!(asked.lines().all(|l| l.chars().count() <= 80), "{asked}");
    let waiting = giver.ok(&["claim", "list"]);
    assert!(waiting.contains("for tobin [waiting]"), "{waiting}");
    let theirs = waiting.split_whitespace().next().unwrap();
    let said = taker.fails(3, &["claim", "accept", claim, "--contact", "here"]);
    assert!(said.contains("only the giver"), "{said}");
    let promised = giver.ok(&["claim", "accept", theirs, "--contact", "the blue door", "--note", "Saturday"]);
    assert!(promised.contains("0400 000 000"), "{promised}");
    assert!(taker.ok(&["claim", "show", claim]).contains("the blue door"));
    assert!(taker.ok(&["offer", "show", offer]).contains("3; 2 promised or given"));
    assert!(taker.ok(&["claim", "handed-over", claim]).contains("the taker says it was handed over"));
    assert!(giver.ok(&["claim", "handed-over", theirs]).contains("handed over"));
    assert!(giver.ok(&["claim", "list"]).contains("No claim is open"));
    assert!(giver.ok(&["claim", "list", "--all"]).trim_start().starts_with(theirs));
    let checked = taker.ok(&["movement", "check", "--offer", offer, "--to", "AU-WA"]);
    assert!(checked.contains("not a decision") && checked.contains("AU-QLD"), "{checked}");
    assert!(taker.ok(&["movement", "rules", "Mangifera"]).contains("AU-WA-MANGOSEED"));
    server.terminate();
}

#[test]
fn the_demo_tells_the_whole_story() {
    let output = Command::new(folder().join("scionaryd"))
        .args(["demo", "--once"])
        .env("COLUMNS", "80")
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{text}\n{}", String::from_utf8_lossy(&output.stderr));
    for part in [
        "2 letters differ from “Lantern Moth”",
        "LANTERN MOTH: Its seed comes true in part: likely between 5 and 36 in 100",
        "The rootstock is large enough",
        "3 of 30 seedlings unlike the mother",
        "Borne out by Tobin Ashgrove",
        "[DEMO-TRIAL] Invented for this demo",
        "Signed in as Odalind Marrack.",
        "6 plants of Lantern Moth (seedling)",
        "a few scale insects",
        "11 km 12 sticks of Quarrymead (scion wood)",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn the_server_explains_itself() {
    let scionaryd = |arguments: &[&str]| {
        let output = Command::new(folder().join("scionaryd")).args(arguments).output().unwrap();
        (
            output.status.code(),
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    };
    let database = Database::empty_sqlite();
    let (code, out, _) = scionaryd(&["doctor", "--database", &database.url, "--listen", "127.0.0.1:0"]);
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("reference: 553 records, 2611 pieces of evidence"), "{out}");
    let (code, out, _) =
        scionaryd(&["doctor", "--database", "postgres://stranger@127.0.0.1:1/x", "--listen", "127.0.0.1:0"]);
    assert_eq!(code, Some(1));
    assert!(out.contains("WRONG  database") && !out.contains("stranger@"), "{out}");
    let (code, _, err) = scionaryd(&["config", "check", "--set", "listen.adress=1"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("did you mean listen.address?"), "{err}");
    let (code, _, err) =
        scionaryd(&["serve", "--database", &database.url, "--set", "storage.migrate_on_start=false"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("run: scionaryd migrate"), "{err}");
}

/// `scionaryd crop check` lists every mistake in a profile at once, and accepts the shipped files.
#[test]
fn crop_profiles_are_checked() {
    let check = |file: &std::path::Path| {
        let output =
            Command::new(folder().join("scionaryd")).args(["crop", "check"]).arg(file).output().unwrap();
        (output.status.code(), String::from_utf8(output.stdout).unwrap())
    };
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let apple = root.join("deploy/catalogue-apple/crops/apple.toml");
    for file in
        ["server/data/crops/mango.toml", "server/data/crops/citrus.toml", "server/data/crops/avocado.toml"]
    {
        let (code, out) = check(&root.join(file));
        assert_eq!(code, Some(0), "{out}");
    }
    let (code, out) = check(&apple);
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("apple (Malus domestica"), "{out}");

    let scratch = tempfile::tempdir().unwrap();
    let broken = scratch.path().join("broken.toml");
    let text = std::fs::read_to_string(&apple).unwrap();
    std::fs::write(&broken, text.replace("good_days = 60", "good_days = 600").replace("KSU", "NOBODY09"))
        .unwrap();
    let (code, out) = check(&broken);
    assert_eq!(code, Some(1), "{out}");
    assert!(out.contains("storage refrigerated.dead_days: more days than good_days expected"), "{out}");
    assert!(out.contains("the source NOBODY09 is in no sources.csv"), "{out}");
    std::fs::write(&broken, text.replace("botanical_name", "botanical_nam")).unwrap();
    let (code, out) = check(&broken);
    assert_eq!(code, Some(1), "{out}");
    assert!(out.contains("line 3") && out.contains("botanical_nam"), "{out}");
    assert_eq!(check(&scratch.path().join("none.toml")).0, Some(4));
}

/// How many seeds to sow: from the registry, from typed numbers, and with every mistake reported.
#[test]
fn odds_are_told_in_a_few_lines() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &[]);
    let grower = Person::new(&server);
    let sabre = grower.ok(&["odds", "Sabre", "--germination", "80%", "--batch", "20"]);
    assert!(
        sabre.contains("Keep 2 seedlings from different seeds for one true plant (90 % sure)."),
        "{sabre}"
    );
    assert!(sabre.contains("Seeds to sow for that: 2 (2 at best, 3 at worst)."), "{sabre}");
    assert!(sabre.contains("At least one off-type among 20: about"), "{sabre}");
    assert!(sabre.contains("[LITZ-POLY]") && sabre.contains("For seed that was kept"), "{sabre}");
    assert!(sabre.lines().all(|l| l.chars().count() <= 80), "{sabre}");
    let own = grower.ok(&["odds", "--off-type", "5/48", "--plants", "10", "--sure", "95"]);
    assert!(own.contains("Keep 17 seedlings from different seeds for 10 true plants (95 % sure)."), "{own}");
    let citations = grower.ok(&["odds", "Sabre", "--sources"]);
    assert!(citations.contains("[LITZ-POLY] Book section"), "{citations}");
    assert!(grower.fails(2, &["odds"]).contains("--off-type with your own numbers"));
    assert!(
        grower.fails(2, &["odds", "--off-type", "5"]).contains("a rate such as 4%, or a count such as 5/48")
    );
    // Reading takes one near name and says so; nothing is near the last.
    assert!(grower.ok(&["odds", "Keit"]).starts_with("Keitt (mango)"));
    assert!(grower.ok(&["odds", "Keitx"]).contains("Keitt (mango)"));
    assert!(grower.fails(4, &["odds", "Xyzzyx"]).contains("Xyzzyx"));
    let dead = grower.ok(&["odds", "Sabre", "--kept-days", "50", "--kept-how", "sphagnum"]);
    assert!(dead.contains("Look for fresh seed"), "{dead}");
}

/// The help of every command is a reviewed file.
#[test]
fn help_is_as_reviewed() {
    fn walk(command: &clap::Command, path: &str, text: &mut String) {
        let name = format!("{path}{}", command.get_name());
        text.push_str(&format!("## {name}\n{}\n", command.clone().term_width(80).render_long_help()));
        for sub in command.get_subcommands().filter(|s| s.get_name() != "help") {
            walk(sub, &format!("{name} "), text);
        }
    }
    let mut command = <scionary_cli::args::Arguments as clap::CommandFactory>::command();
    command.build();
    let mut text = String::new();
    walk(&command, "", &mut text);
    let text: String = text.lines().map(|l| l.trim_end().to_string() + "\n").collect();
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!("help", text);
    });
}
