//! A swap day at the command line, with the real binaries: typed wishes, sheets and labels, a scanner, an audit file.

use std::process::Command;

use scionary_tests::{
    Database,
    binaries::{Person, Server},
    samples::in_days,
};

use crate::paper::{json, pictures, sign_up, text_of, there};

fn day(days: i64) -> String {
    let day = in_days(days);
    format!("{:04}-{:02}-{:02}", day.year, day.month, day.day)
}

fn id(reply: &str, pointer: &str) -> String {
    json(reply)
        .pointer(pointer)
        .and_then(|v| v.as_str())
        .unwrap_or_else(|| panic!("{pointer}: {reply}"))
        .to_string()
}

fn offer(who: &Person, cultivar: &str, quantity: &str) -> String {
    let until = day(20);
    let posted = who.ok(&[
        "--json",
        "offer",
        "post",
        "--cultivar",
        cultivar,
        "--crop",
        "mango",
        "--material",
        "seedling",
        "--quantity",
        quantity,
        "--terms",
        "swap",
        "--until",
        &until,
        "--place",
        "-19.6,-24.9",
        "--area",
        "XB-NS",
        "--place-label",
        "Larkwater",
        "--by",
        "meeting",
        "--grown-at",
        "XB-NS:2024-03",
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
    id(&posted, "/offer/offer_id")
}

#[test]
fn a_swap_day_as_it_is_typed() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open", "limits.passwords_per_minute=1000"]);
    let people: Vec<Person> =
        [("odalind", "Odalind Marrack"), ("tobin", "Tobin Ashgrove"), ("sefa", "Sefa Lindqvane")]
            .iter()
            .map(|(handle, name)| sign_up(&server, handle, name, None))
            .collect();
    let [odalind, tobin, sefa] = people.as_slice() else { unreachable!() };
    let club = id(&odalind.ok(&["--json", "club", "create", "--name", "Larkwater growers"]), "/club/club_id");
    for (who, handle) in [(tobin, "tobin"), (sefa, "sefa")] {
        odalind.ok(&["club", "invite", &club, handle]);
        who.ok(&["club", "accept", &club]);
    }
    let (on, later) = (day(8), day(9));
    let create = [
        "--json",
        "round",
        "create",
        &club,
        "--title",
        "Winter swap",
        "--area",
        "XB-NS",
        "--day",
        &on,
        "--most",
        "2",
    ];
    let round = id(&odalind.ok(&create), "/round/round_id");
    let round = round.as_str();
    // Only the named settings change.
    let changed = odalind.ok(&["--json", "round", "change", round, "--day", &later]);
    assert_eq!(json(&changed)["round"]["says"]["settings"]["cap"], 2);
    for (who, cultivar) in [(odalind, "Golek"), (tobin, "R2E2"), (sefa, "Keitt")] {
        let offer = offer(who, cultivar, "3");
        who.ok(&["round", "join", round, "--area", "XB-NS", "--contact", "at the gate"]);
        let brought = who.ok(&["round", "bring", round, &offer, "--packs", "2"]);
        assert!(brought.contains("2 packs, held back"), "{brought}");
    }
    let said = tobin.fails(2, &["round", "wish", round, "Kensington Pride"]);
    assert!(said.contains("\"Kensington Pride, scion wood\""), "{said}");
    // A cultivar alone means what is brought of it.
    let listed = tobin.ok(&["round", "wish", round, "keitt"]);
    assert!(listed.contains("Keitt, seedling"), "{listed}");
    let said = tobin.fails(2, &["round", "wish", round, "1", "2"]);
    assert!(said.contains("wish 2 (2)") || said.contains("a lot of someone else"), "{said}");
    tobin.fails(2, &["round", "wish", round]);
    odalind.ok(&["round", "wish", round, "2 or 3", "3"]);
    let listed = tobin.ok_with("1\nKeitt, seedling\n", &["round", "wish", round, "--from", "-"]);
    assert!(listed.contains("2 wishes") && listed.contains("Keitt, seedling"), "{listed}");
    sefa.ok(&["round", "wish", round, "2 x Golek, seedling"]);
    let dry = odalind.ok(&["round", "dry-run", round, "--most", "1"]);
    assert!(dry.contains("as it is") && dry.contains("tried") && dry.contains("What stays over"), "{dry}");
    odalind.ok(&["round", "seal", round]);
    let said = odalind.fails(2, &["round", "sheets", round, "--out", "never.pdf"]);
    assert!(said.contains("scionary round settle"), "{said}");
    let settled = odalind.ok(&["round", "settle", round]);
    assert!(settled.contains("change hands") && settled.contains("scionary round begin"), "{settled}");
    for who in &people {
        let mine = who.ok(&["round", "mine", round]);
        assert!(mine.contains("You get") && mine.contains("Reach them: at the gate"), "{mine}");
        assert!(mine.lines().all(|l| l.chars().count() <= 80), "{mine}");
    }
    // A separate program checks the audit file.
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    odalind.ok(&["round", "audit", round, "--out", &file("audit.json")]);
    let shown = json(&odalind.ok(&["--json", "round", "show", round]));
    let hash = |field: &str| shown["round"][field].as_str().unwrap().to_string();
    let verify = |draw: &str| {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/verify-round");
        Command::new("python3").args([script, &file("audit.json"), draw, &hash("input_hash")]).output()
    };
    if let Ok(done) = verify(&hash("commitment")) {
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        assert!(!verify("another").unwrap().status.success());
    }
    // The day: a scanner reads labels and types their content.
    let said = odalind.fails(1, &["round", "begin", round]);
    assert!(said.contains("begin it earlier only if everyone"), "{said}");
    odalind.ok(&["round", "begin", round, "--early"]);
    odalind.ok(&["round", "check-in", round, "1", "2", "3"]);
    odalind.ok(&["round", "sheets", round, "--out", &file("sheets.pdf")]);
    odalind.ok(&["round", "labels", round, "--out", &file("labels.pdf")]);
    let shares = json(&odalind.ok(&["--json", "round", "shares", round]));
    let shares = shares["shares"].as_array().unwrap();
    assert!(!shares.is_empty());
    let mark = format!("@{}", &round[round.len() - 4..]);
    let mut lines: String =
        shares.iter().map(|s| format!("{} {}\n\n", s["lot_number"], s["taker_number"])).collect();
    if there("pdftotext") && there("zbarimg") {
        let text = text_of(&folder.path().join("sheets.pdf"));
        assert!(text.contains("pick list by table") && text.contains("Table 1: Odalind Marrack"), "{text}");
        let mut scanned = Vec::new();
        for page in pictures(&folder.path().join("labels.pdf")) {
            let read = Command::new("zbarimg").args(["-q", "--raw"]).arg(page).output().unwrap();
            scanned.extend(String::from_utf8(read.stdout).unwrap().lines().map(str::to_string));
        }
        for share in shares {
            let typed = format!("{} {} {mark}", share["lot_number"], share["taker_number"]);
            assert!(scanned.contains(&typed), "{typed}: {scanned:?}");
        }
        // What the scanner reads is what ticks off: one label of each share.
        scanned.sort();
        scanned.dedup();
        lines = scanned.join("\n");
    }
    // A label of another round ticks nothing off.
    let other = odalind.run_with("1 2 @zzzz", &["round", "hand-over", round]);
    let said = String::from_utf8(other.stderr).unwrap();
    assert!(!other.status.success() && said.contains("another round"), "{said}");
    let ticked = odalind.ok_with(&lines, &["round", "hand-over", round]);
    assert_eq!(ticked.matches("handed over").count(), shares.len(), "{ticked}");
    let closed = odalind.ok(&["round", "close", round]);
    assert!(closed.contains("All that was promised changed hands"), "{closed}");
    assert!(server.terminate());
}
