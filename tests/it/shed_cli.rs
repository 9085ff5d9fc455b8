//! A swap day of eighteen in a shed without a signal, typed as the organiser types it, with the real binaries: a wrong tick, a
//! short bringer, two who walk in, a lost label, an absent giver. The server at home is not running meanwhile.

use std::{
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
};

use scionary_tests::{
    Database,
    binaries::{Person, Server, folder},
    samples::in_days,
};

use crate::paper::{json, sign_up};

const WORD: &str = "creek shed 1987";

/// `scionaryd day`, as it runs on a laptop.
struct Shed {
    child: Child,
    address: String,
    told: String,
}

impl Shed {
    fn start(file: &Path) -> Self {
        let word = file.with_extension("word");
        std::fs::write(&word, WORD).unwrap();
        let mut child = Command::new(folder().join("scionaryd"))
            .args(["day", &file.display().to_string(), "--listen", "127.0.0.1:0"])
            .args(["--set", "server.stop_grace_seconds=2"])
            .arg("--word-file")
            .arg(&word)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut told = String::new();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        while !told.contains("bring-home") {
            told.push_str(&lines.next().expect("it says how to go on").unwrap());
            told.push('\n');
        }
        let address = told.split("scionary connect ").nth(1).unwrap().split_whitespace().next().unwrap();
        Self { child, address: address.to_string(), told }
    }
    /// Ends as with Ctrl-C.
    fn stop(mut self) {
        let asked = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        assert!(asked.unwrap().success() && self.child.wait().unwrap().success());
    }
    /// Ends as when the battery is empty.
    fn die(mut self) {
        self.child.kill().unwrap();
        let _ = self.child.wait();
    }
}

/// A server left behind would hold the test's output open.
impl Drop for Shed {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a person typed, counted.
struct Typing<'a> {
    who: &'a Person,
    commands: usize,
}

impl Typing<'_> {
    fn ok(&mut self, arguments: &[&str]) -> String {
        self.with("", arguments)
    }
    fn with(&mut self, stdin: &str, arguments: &[&str]) -> String {
        self.commands += 1;
        self.who.ok_with(stdin, arguments)
    }
}

fn day(days: i64) -> String {
    let day = in_days(days);
    format!("{:04}-{:02}-{:02}", day.year, day.month, day.day)
}

/// The lists of sixteen members who have no computer, and of two who have: names, what they bring, and three wishes each.
fn lists() -> (String, String) {
    let (mut members, mut round) =
        ("name,consent\n".to_string(), "member,brings,form,packs,each,wish\n".to_string());
    let kinds = ["Golek", "R2E2", "Keitt", "Kent", "Irwin", "Tommy Atkins"];
    for n in 0..16 {
        let name = format!("Member {}", char::from(b'A' + n));
        members.push_str(&format!("{name},\"at the last meeting, to Odalind\"\n"));
        let own = kinds[usize::from(n) % 6];
        round.push_str(&format!("{name},{own} scion wood,leafless,4,1,\n"));
        for wish in [1, 2, 4] {
            round.push_str(&format!("{name},,,,,\"{}, scion wood\"\n", kinds[(usize::from(n) + wish) % 6]));
        }
    }
    (members, round)
}

#[test]
fn a_day_of_eighteen_without_a_signal() {
    let database = Database::sqlite();
    let settings = ["accounts.sign_up=open", "limits.passwords_per_minute=1000"];
    let server = Server::start(&database.url, &settings);
    let odalind = sign_up(&server, "odalind", "Odalind Marrack", None);
    let tobin = sign_up(&server, "tobin", "Tobin Ashgrove", None);
    let sefa = sign_up(&server, "sefa", "Sefa Lindqvane", None);
    odalind.ok(&["me", "--home", "Brisbane", "--contact", "at the gate"]);
    let files = tempfile::tempdir().unwrap();
    let file = |name: &str| files.path().join(name).display().to_string();

    // The evenings before: two spreadsheets, and the usual steps of a round.
    let mut typed = Typing { who: &odalind, commands: 0 };
    typed.ok(&["club", "create", "--name", "Larkwater growers"]);
    for (who, handle) in [(&tobin, "tobin"), (&sefa, "sefa")] {
        typed.ok(&["club", "invite", "Larkwater growers", handle]);
        who.ok(&["club", "accept", "Larkwater growers"]);
    }
    let (members, lists) = lists();
    std::fs::write(file("members.csv"), members).unwrap();
    std::fs::write(file("swap.csv"), &lists).unwrap();
    typed.ok(&["club", "enter-list", "Larkwater growers", &file("members.csv")]);
    let create = [
        "round",
        "create",
        "Larkwater growers",
        "--title",
        "Shed swap",
        "--area",
        "AU-QLD",
        "--day",
        &day(0),
    ];
    typed.ok(&[&create[..], &["--until", &day(0), "--most", "3", "--slack", "2"]].concat());
    let columns = typed.ok(&["round", "enter-list", "shed"]);
    assert!(columns.starts_with("member,brings,form,packs,each,wish"), "{columns}");
    // Mistakes are told by line, all at once, and nothing is entered.
    std::fs::write(
        file("wrong.csv"),
        "member,brings,packs,wish\nMember A,Golek scion wood,two,\nNo One,,,lot 1\nMember B,,,\n",
    )
    .unwrap();
    let said = odalind.fails(2, &["round", "enter-list", "shed", &file("wrong.csv")]);
    for (line, why) in [("line 2", "form"), ("line 3", "No One"), ("line 4", "say what they bring")] {
        assert!(said.contains(line) && said.contains(why), "{said}");
    }
    let entered = typed.ok(&["round", "enter-list", "shed", &file("swap.csv")]);
    assert!(entered.contains("Member A") && entered.contains("Member P"), "{entered}");
    tobin.ok(&["round", "join", "shed", "--area", "AU-QLD", "--contact", "0400 000 001", "--on-sheets"]);
    tobin.ok(&["round", "wish", "shed", "Golek, scion wood"]);
    typed.ok(&["round", "join", "shed"]);
    typed.ok(&["round", "wish", "shed", "Kent, scion wood", "Irwin, scion wood"]);
    typed.ok(&["round", "seal", "shed"]);
    typed.ok(&["round", "settle", "shed"]);
    typed.ok(&["round", "labels", "shed", "--out", &file("labels.pdf")]);
    typed.ok(&["round", "members", "shed", "--csv", &file("out.csv")]);
    let out = std::fs::read_to_string(file("out.csv")).unwrap();
    assert!(
        out.lines().count() == 19 && out.contains("0400 000 001") && !out.contains("at the gate"),
        "{out}"
    );
    let along = file("shed-swap.day");
    typed.with(&format!("{WORD}\n"), &["round", "take-along", "shed", "--out", &along]);
    let evenings = typed.commands;
    let again = odalind.run_with(&format!("{WORD}\n"), &["round", "take-along", "shed", "--out", &along]);
    assert!(!again.status.success() && String::from_utf8_lossy(&again.stderr).contains("is there already"));
    assert!(server.terminate());

    // The shed. Its first laptop dies in the middle of the day.
    let shed = Shed::start(Path::new(&along));
    assert!(
        shed.told.contains("Steps in the file: 0") && shed.told.contains("sign-in odalind"),
        "{}",
        shed.told
    );
    let there = Person::at(&shed.address);
    let mut typed = Typing { who: &there, commands: 1 };
    typed.with(&format!("{WORD}\n"), &["account", "sign-in", "odalind"]);
    typed.ok(&["round", "begin", "shed"]);
    let lots = json(&typed.ok(&["--json", "round", "lots", "shed"]));
    let numbers: Vec<String> =
        lots["lots"].as_array().unwrap().iter().map(|l| l["number"].to_string()).collect();
    assert_eq!(numbers.len(), 16);
    // Lot 2 is not brought: its giver is absent. Lot 3 came with one pack of four.
    let came: Vec<&str> = numbers.iter().map(String::as_str).filter(|n| !["2", "3"].contains(n)).collect();
    typed.ok(&[&["round", "check-in", "shed"], came.as_slice()].concat());
    typed.ok(&["round", "check-in", "shed", "3", "--came", "1"]);
    let shares = json(&there.ok(&["--json", "round", "shares", "shed"]));
    let absent = shares["shares"].as_array().unwrap().iter().find(|s| s["lot_number"] == 2).unwrap();
    typed.ok(&["round", "absent", "shed", &absent["giver_number"].to_string()]);
    typed.ok(&["round", "settle", "shed", "--only-checked-in"]);
    typed.ok(&["round", "sheets", "shed", "--out", &file("sheets.pdf")]);
    shed.die();

    let shed = Shed::start(Path::new(&along));
    assert!(
        shed.told.contains("Steps in the file: 18") && !shed.told.contains("did not run"),
        "{}",
        shed.told
    );
    let there = Person::at(&shed.address);
    typed.who = &there;
    typed.commands += 1;
    typed.with(&format!("{WORD}\n"), &["account", "sign-in", "odalind"]);
    // Two walk in: a member who had not joined, and a stranger whom no one has on a list.
    typed.ok(&["round", "walk-in", "shed", "sefa"]);
    typed.ok(&[
        "club",
        "enter-helped",
        "Larkwater growers",
        "Wilmot Stray",
        "--consent",
        "at the table, today",
    ]);
    typed.ok(&["round", "walk-in", "shed", "Wilmot Stray"]);
    let shares = json(&there.ok(&["--json", "round", "shares", "shed"]));
    let shares: Vec<(String, String)> = shares["shares"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| (s["lot_number"].to_string(), s["taker_number"].to_string()))
        .collect();
    assert!(shares.len() > 10, "{shares:?}");
    // One label is lost and printed again; one tick is wrong and taken back; the rest is scanned.
    let (lot, member) = &shares[0];
    typed.ok(&["round", "labels", "shed", "--lot", lot, "--for", member, "--out", &file("one.pdf")]);
    typed.ok(&["round", "hand-over", "shed", lot, member]);
    typed.ok(&["round", "hand-over", "shed", lot, member, "--undo"]);
    let scanned: String = shares.iter().map(|(lot, member)| format!("{lot} {member}\n")).collect();
    let ticked = typed.with(&scanned, &["round", "hand-over", "shed"]);
    assert_eq!(ticked.matches("handed over").count(), shares.len(), "{ticked}");
    let left = json(&there.ok(&["--json", "round", "lots", "shed", "--left"]));
    let left: Vec<String> =
        left["lots"].as_array().unwrap().iter().map(|l| l["number"].to_string()).collect();
    let [first, .., last] = left.as_slice() else { panic!("{left:?}") };
    typed.ok(&["round", "take", "shed", first, "--for", "sefa"]);
    typed.ok(&["round", "take", "shed", last, "--for", "Wilmot Stray"]);
    let log = typed.ok(&["round", "log", "shed", "--page-size", "100"]);
    assert!(log.contains("tick taken back"), "{log}");
    typed.ok(&["round", "close", "shed", "--pending"]);
    let day = typed.commands;
    let state = |who: &Person| {
        let mut all = Vec::new();
        for page in ["1", "2", "3"] {
            let reply = who.run(&["--json", "round", "shares", "shed", "--page", page]);
            if !reply.status.success() {
                break;
            }
            let reply = json(&String::from_utf8(reply.stdout).unwrap());
            all.extend(reply["shares"].as_array().cloned().unwrap_or_default());
        }
        let plain = |s: &serde_json::Value| {
            format!("{} {} {} {}", s["lot_number"], s["taker_name"], s["units"], s["state"])
        };
        let mut all: Vec<String> = all.iter().map(plain).collect();
        all.sort();
        all
    };
    let expected = state(&there);
    shed.stop();

    // Home again.
    let server = Server::start(&database.url, &settings);
    let odalind = Person::at(&format!("http://{}", server.address));
    let mut typed = Typing { who: &odalind, commands: 0 };
    typed.with("brittle kettle orbit plank\n", &["account", "sign-in", "odalind"]);
    let told = typed.ok(&["round", "bring-home", &along]);
    assert!(told.contains("steps taken.") && !told.contains("could not"), "{told}");
    assert_eq!(state(&odalind), expected);
    let told = odalind.ok(&["round", "bring-home", &along]);
    assert!(told.starts_with("0 steps taken."), "{told}");
    let shown = odalind.ok(&["round", "show", "shed"]);
    assert!(shown.contains("closed"), "{shown}");
    // Counted as a person types them: the organiser's guide says so many.
    assert_eq!((evenings, day, typed.commands), (14, 22, 2));
    assert!(server.terminate());
}
