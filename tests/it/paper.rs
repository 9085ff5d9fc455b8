//! Printed files: labels whose QR codes an independent reader decodes, sheets for a swap day, traces as graphs. The
//! real binaries make all of them.

use std::{path::Path, process::Command};

use scionary_tests::{
    Database,
    binaries::{Person, Server},
    client::PASSWORD,
    samples::in_days,
};

pub fn there(program: &'static str) -> bool {
    let there = Command::new(program).arg("--version").output().is_ok();
    if !there {
        scionary_tests::skipped(match program {
            "zbarimg" => "codes on labels: zbarimg is not installed (tests/run installs it)",
            _ => "labels and sheets as pictures: pdftoppm is not installed (tests/run installs it)",
        });
    }
    there
}

/// Renders the pages of a PDF as pictures at 200 dots per inch.
pub fn pictures(pdf: &Path) -> Vec<std::path::PathBuf> {
    let stem = pdf.with_extension("");
    let made = Command::new("pdftoppm").args(["-r", "200", "-png"]).arg(pdf).arg(&stem).status().unwrap();
    assert!(made.success());
    let folder = pdf.parent().unwrap();
    let name = stem.file_name().unwrap().to_string_lossy().into_owned();
    let mut all: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "png") && p.to_string_lossy().contains(&name))
        .collect();
    all.sort();
    all
}

pub fn text_of(pdf: &Path) -> String {
    let out = Command::new("pdftotext").args(["-layout"]).arg(pdf).arg("-").output().unwrap();
    String::from_utf8(out.stdout).unwrap()
}

pub fn sign_up(server: &Server, handle: &str, name: &str, code: Option<&str>) -> Person {
    let person = Person::new(server);
    let twice = format!("{PASSWORD}\n");
    let mut arguments = vec!["account", "sign-up", handle, "--name", name];
    if let Some(code) = code {
        arguments.extend(["--code", code]);
    }
    person.ok_with(&twice, &arguments);
    person.ok_with(&twice, &["account", "sign-in", handle]);
    person
}

pub fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn tags_sheets_and_graphs() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open"]);
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let text = |path: &std::path::PathBuf| path.to_string_lossy().into_owned();
    let fern = sign_up(&server, "fern", "Fern Oldacre", None);
    let tobin = sign_up(&server, "tobin", "Tobin Marsh", None);
    let add = |arguments: &[&str]| {
        let mut all = vec!["--json", "lot", "add"];
        all.extend(arguments);
        json(&fern.ok(&all))["lot"]["card"]["code"].as_str().unwrap().to_string()
    };
    let mother =
        add(&["mother-plant", "--cultivar", "R2E2", "--crop", "mango", "--source", "from a nursery"]);
    let wood = add(&["scion-wood", "--cut-from", &mother, "--quantity", "6"]);
    let seed = add(&["seed", "--seed-from", &mother, "--quantity", "9"]);
    let stock = add(&["rootstock", "--raised-from", &seed]);
    let tree = add(&["grafted-plant", "--scion", &wood, "--rootstock", &stock]);

    // Drawn as a tree; no line is wider than the terminal.
    let drawn = fern.ok(&["lot", "trace", &tree]);
    assert!(drawn.contains("├─ ") && drawn.contains("└─ ") && drawn.contains("(as above)"), "{drawn}");
    assert!(drawn.lines().all(|l| l.chars().count() <= 80), "{drawn}");
    let graph = file("trace.graphml");
    fern.ok(&["lot", "trace", &mother, "--forward", "--graph", &text(&graph)]);
    let xml = std::fs::read_to_string(&graph).unwrap();
    assert_eq!((xml.matches("<node ").count(), xml.matches("<edge ").count()), (5, 5));

    // Labels on a sheet with one label used, and one to a page.
    let sheet = file("labels.pdf");
    fern.ok(&[
        "lot",
        "label",
        &mother,
        &wood,
        &tree,
        "--out",
        &text(&sheet),
        "--size",
        "70x37",
        "--skip",
        "1",
    ]);
    let single = file("tag.pdf");
    fern.ok(&["lot", "label", &tree, "--out", &text(&single), "--size", "62x29", "--paper", "label"]);
    let linked = file("linked.pdf");
    let link = ["--link", "https://swap.example/lot/", "--size", "40x25", "--copies", "3"];
    let mut all = vec!["lot", "label", tree.as_str(), "--out"];
    let linked_text = text(&linked);
    all.push(&linked_text);
    all.extend(link);
    fern.ok(&all);
    fern.fails(2, &["lot", "label", &tree, "--out", &text(&single), "--size", "500x37"]);

    // A swap day.
    let club =
        json(&fern.ok(&["--json", "club", "create", "--name", "Larkwater growers", "--takes-requests"]));
    let club = club["club"]["club_id"].as_str().unwrap().to_string();
    tobin.ok(&["club", "join", &club]);
    let waiting = json(&fern.ok(&["--json", "club", "members", &club, "--waiting"]));
    fern.ok(&["club", "let-in", &club, waiting["members"][0]["account_id"].as_str().unwrap()]);
    let until = in_days(5);
    let until = format!("{:04}-{:02}-{:02}", until.year, until.month, until.day);
    let posted = json(&fern.ok(&[
        "--json",
        "offer",
        "post",
        "--lot",
        &wood,
        "--club",
        &club,
        "--material",
        "scion-wood",
        "--quantity",
        "4",
        "--terms",
        "swap",
        "--until",
        &until,
        "--place",
        "2CGV2200+",
        "--area",
        "XB-NS",
        "--by",
        "meeting",
        "--grown-at",
        "XB-NS",
        "--form",
        "leafless",
        "--purpose",
        "planting",
        "--symptoms",
        "no",
        "--pests",
        "no",
        "--sprayed",
        "no",
    ]));
    let offer = posted["offer"]["offer_id"].as_str().unwrap().to_string();
    let asked = json(&tobin.ok(&[
        "--json",
        "claim",
        "ask",
        &offer,
        "--quantity",
        "2",
        "--to",
        "XB-NS",
        "--contact",
        "0400 000 000",
    ]));
    let claim = asked["claim"]["claim_id"].as_str().unwrap().to_string();
    fern.ok(&["claim", "accept", &claim, "--contact", "by the blue door"]);
    let day = file("day.pdf");
    fern.ok(&["club", "sheet", &club, "--out", &text(&day)]);
    tobin.fails(3, &["club", "sheet", &club, "--out", &text(&day)]);
    fern.ok(&["claim", "handed-over", &claim]);
    tobin.ok(&["claim", "handed-over", &claim]);
    let told = tobin.ok(&["inbox", "list", "--all"]);
    assert!(told.contains("write the code on its tag"), "{told}");
    let taken = tobin.ok(&["lot", "list"]);
    assert!(taken.contains("scion wood of R2E2"), "{taken}");

    if !there("pdftoppm") || !there("pdftotext") {
        return;
    }
    let printed = text_of(&day);
    for words in ["Who brings what", "Fern Oldacre, table 1", "Pick list by table", "Tobin Marsh"] {
        assert!(printed.contains(words), "{words}: {printed}");
    }
    assert!(!printed.contains("0400") && !printed.contains("blue door"), "no contact on paper");
    assert!(text_of(&sheet).contains(&wood));
    if !there("zbarimg") {
        return;
    }
    let plain = |code: &str| code.split_whitespace().collect::<String>();
    let read = |pdf: &std::path::PathBuf| {
        let out = Command::new("zbarimg").args(["--quiet", "--raw"]).args(pictures(pdf)).output().unwrap();
        let mut all: Vec<String> = String::from_utf8(out.stdout).unwrap().lines().map(Into::into).collect();
        all.sort();
        all
    };
    let mut expected = vec![plain(&mother), plain(&wood), plain(&tree)];
    expected.sort();
    assert_eq!(read(&sheet), expected);
    assert_eq!(read(&single), [plain(&tree)]);
    assert_eq!(read(&linked), vec![format!("https://swap.example/lot/{}", plain(&tree)); 3]);
    if let Some(keep) = std::env::var_os("SCIONARY_KEEP_PAPER") {
        for name in ["labels", "tag", "linked", "day"] {
            for picture in pictures(&file(&format!("{name}.pdf"))) {
                std::fs::copy(&picture, Path::new(&keep).join(picture.file_name().unwrap())).unwrap();
            }
        }
    }
}
