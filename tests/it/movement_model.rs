//! The engine of movement rules against an independent evaluator, and properties that hold for every set of rules.

use std::{fs, path::Path, process::Command};

use scionary_domain::{
    movement::{
        Above, Answer, Applies, Authorities, Document, Expression, Kind, Member, Move, OnFile, OpenTo, Part,
        Parts, Places, Rule, Rules, Taxa, Verdict,
    },
    time::Date,
};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::movement::{asked, on_file};

#[derive(Deserialize)]
struct Case {
    world: World,
    questions: Vec<Question>,
}
#[derive(Deserialize)]
struct Generated {
    worlds: Vec<Case>,
}
#[derive(Deserialize)]
struct World {
    places: WorldPlaces,
    taxa: Vec<WorldTaxon>,
    rules: Vec<WorldRule>,
}
#[derive(Deserialize)]
struct WorldPlaces {
    members: Vec<WorldMember>,
    aliases: Vec<(String, String)>,
}
#[derive(Deserialize)]
struct WorldMember {
    area: String,
    place: String,
    from: Option<Date>,
    to: Option<Date>,
}
#[derive(Deserialize)]
struct WorldTaxon {
    name: String,
    within: String,
    parent: bool,
}
#[derive(Deserialize)]
struct WorldRule {
    id: String,
    version: String,
    kind: String,
    hosts: Vec<String>,
    parts: Vec<String>,
    from: String,
    to: String,
    verdict: String,
    effective_from: Option<Date>,
    effective_to: Option<Date>,
    excepts: Option<String>,
    open_to: Option<String>,
    void_if: Vec<String>,
    most: Option<u32>,
    on_the_way: bool,
}
#[derive(Deserialize)]
struct Question {
    plants: Vec<String>,
    parts: Vec<String>,
    grown_at: Vec<Option<String>>,
    to: Vec<String>,
    by_way_of: Vec<String>,
    dispatch: Date,
    arrival: Date,
    count: Option<u32>,
    documents: Vec<Paper>,
}
#[derive(Deserialize)]
struct Paper {
    opens: String,
    valid_to: Option<Date>,
}

fn parts(words: &[String]) -> Parts {
    let all: Vec<Part> = words.iter().map(|word| Part::from_word(word).unwrap()).collect();
    Parts::of(&all)
}

fn rule(row: &WorldRule) -> Rule {
    Rule {
        id: row.id.clone(),
        version: row.version.parse().unwrap(),
        kind: match row.kind.as_str() {
            "rule" => Kind::Rule,
            "stub" => Kind::Stub,
            "unverified" => Kind::Unverified,
            other => panic!("{other}"),
        },
        hosts: row.hosts.clone(),
        parts: parts(&row.parts),
        from: Expression::parse(&row.from).unwrap(),
        to: Expression::parse(&row.to).unwrap(),
        verdict: match row.verdict.as_str() {
            "prohibited" => Verdict::Prohibited,
            "document" => Verdict::DocumentRequired,
            "conditions" => Verdict::Conditions,
            "none" => Verdict::NoRule,
            other => panic!("{other}"),
        },
        conditions: String::new(),
        instrument: "one".into(),
        authority: "someone".into(),
        effective_from: row.effective_from,
        effective_to: row.effective_to,
        text_date: String::new(),
        checked_on: None,
        review_by: None,
        citation: "made up".into(),
        source_url: String::new(),
        excepts: row.excepts.clone(),
        open_to: row.open_to.as_deref().map(|to| match to {
            "anyone" => OpenTo::Anyone,
            "registered_operator" => OpenTo::RegisteredOperator,
            "permit_only" => OpenTo::PermitOnly,
            "research_only" => OpenTo::ResearchOnly,
            other => panic!("{other}"),
        }),
        void_if: row.void_if.clone(),
        alternative_for: None,
        most: row.most,
        on_the_way: row.on_the_way,
        note: String::new(),
        read_how: String::new(),
    }
}

fn rules(world: &World) -> Rules {
    let member = |m: &WorldMember| Member {
        area: m.area.clone(),
        place: m.place.clone(),
        from: m.from,
        to: m.to,
        citation: String::new(),
    };
    let above = |t: &WorldTaxon| Above { name: t.name.clone(), within: t.within.clone(), parent: t.parent };
    Rules::new(OnFile {
        rules: world.rules.iter().map(rule).collect(),
        places: Places::new(world.places.members.iter().map(member).collect(), world.places.aliases.clone()),
        taxa: Taxa::new(world.taxa.iter().map(above)),
        pests: Vec::new(),
        authorities: Authorities::default(),
    })
}

fn question(q: &Question) -> Move {
    Move {
        plants: q.plants.clone(),
        parts: parts(&q.parts),
        grown_at: q.grown_at.clone(),
        to: q.to.clone(),
        by_way_of: q.by_way_of.clone(),
        dispatch: q.dispatch,
        arrival: q.arrival,
        count: q.count,
        documents: q
            .documents
            .iter()
            .map(|d| Document { opens: d.opens.clone(), valid_to: d.valid_to })
            .collect(),
    }
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::NoRule => "none",
        Verdict::Conditions => "conditions",
        Verdict::DocumentRequired => "document",
        Verdict::Prohibited => "prohibited",
    }
}

/// Converts an answer to the evaluator's form.
fn plain(answer: &Answer) -> Value {
    let list = |lists: &[&Vec<Applies>]| -> Value {
        let all = lists.iter().flat_map(|list| list.iter());
        all.map(|a| (a.rule.label(), json!(if a.unsure { "unsure" } else { "sure" })))
            .collect::<serde_json::Map<String, Value>>()
            .into()
    };
    let mut open: Vec<[String; 4]> = answer
        .open()
        .map(|atom| {
            let from = atom.from.clone().unwrap_or_default();
            [atom.part.word().into(), from, atom.to.clone(), atom.plant.clone()]
        })
        .collect();
    open.sort();
    open.dedup();
    json!({
        "verdict": verdict(answer.verdict),
        "kept": list(&[&answer.lead, &answer.also]),
        "could_change": list(&[&answer.could_change]),
        "stubs": list(&[&answer.stubs]),
        "unverified": list(&[&answer.unverified]),
        "open": open,
    })
}

/// Converts the rules on file to the evaluator's form.
fn exported(rules: &Rules) -> Value {
    let (members, aliases) = rules.places().rows();
    let rule = |r: &Rule| {
        json!({
            "id": r.id, "version": r.version.to_string(),
            "kind": match r.kind { Kind::Rule => "rule", Kind::Stub => "stub", Kind::Unverified => "unverified" },
            "hosts": r.hosts,
            "parts": r.parts.each().map(Part::word).collect::<Vec<_>>(),
            "from": r.from.text(), "to": r.to.text(), "verdict": verdict(r.verdict),
            "effective_from": r.effective_from, "effective_to": r.effective_to,
            "excepts": r.excepts,
            "open_to": r.open_to.map(|to| match to {
                OpenTo::Anyone => "anyone",
                OpenTo::RegisteredOperator => "registered_operator",
                OpenTo::PermitOnly => "permit_only",
                OpenTo::ResearchOnly => "research_only",
            }),
            "void_if": r.void_if, "most": r.most, "on_the_way": r.on_the_way,
        })
    };
    json!({
        "places": {
            "members": members.map(|m| json!({"area": m.area, "place": m.place, "from": m.from, "to": m.to}))
                .collect::<Vec<_>>(),
            "aliases": aliases.collect::<Vec<_>>(),
        },
        "taxa": rules.taxa().rows()
            .map(|t| json!({"name": t.name, "within": t.within, "parent": t.parent}))
            .collect::<Vec<_>>(),
        "rules": rules.all().map(rule).collect::<Vec<_>>(),
    })
}

/// Runs the evaluator and returns its output; `None` without Python, which fails in CI.
fn python(arguments: &[&str]) -> Option<String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/movement.py");
    let Ok(run) = Command::new("python3").arg(script).args(arguments).output() else {
        assert!(std::env::var_os("CI").is_none(), "python3 is missing");
        scionary_tests::skipped("python3 is missing: the independent evaluator did not run");
        return None;
    };
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    Some(String::from_utf8(run.stdout).unwrap())
}

/// Compares the engine with the evaluator, and returns the number of answers compared.
fn compared(name: &str, world: &Value, rules: &Rules, asked: &[(Value, Move)]) -> usize {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    fs::write(file("world.json"), world.to_string()).unwrap();
    let questions: Vec<&Value> = asked.iter().map(|(q, _)| q).collect();
    fs::write(file("questions.json"), serde_json::to_string(&questions).unwrap()).unwrap();
    let Some(out) = python(&[&file("world.json"), &file("questions.json")]) else { return 0 };
    let theirs: Vec<Value> = serde_json::from_str(&out).unwrap();
    assert_eq!(theirs.len(), asked.len());
    for ((question, moved), theirs) in asked.iter().zip(&theirs) {
        let ours = plain(&rules.ask(moved));
        assert_eq!(&ours, theirs, "{name}: {question}\nleft: the engine, right: the evaluator\nin {world}");
    }
    asked.len()
}

/// Random rule sets and questions: 10,000, from a fixed seed.
#[test]
fn an_independent_evaluator_agrees_on_random_rules() {
    let Some(out) = python(&["--generate", "10000", "20261126"]) else { return };
    let raw: Value = serde_json::from_str(&out).unwrap();
    let generated: Generated = serde_json::from_str(&out).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("worlds.json").to_string_lossy().into_owned();
    fs::write(&file, &out).unwrap();
    let theirs: Vec<Vec<Value>> = serde_json::from_str(&python(&["--worlds", &file]).unwrap()).unwrap();
    let (mut answers, mut by_verdict) = (0, std::collections::BTreeMap::new());
    for (at, case) in generated.worlds.iter().enumerate() {
        let rules = rules(&case.world);
        for (n, asked) in case.questions.iter().enumerate() {
            let ours = plain(&rules.ask(&question(asked)));
            let (world, asked) = (&raw["worlds"][at]["world"], &raw["worlds"][at]["questions"][n]);
            assert_eq!(ours, theirs[at][n], "{asked}\nleft: the engine, right: the evaluator\nin {world}");
            *by_verdict.entry(ours["verdict"].to_string()).or_insert(0) += 1;
            answers += 1;
        }
    }
    println!("{answers} answers agree: {by_verdict:?}");
    assert!(
        answers >= 10_000 && by_verdict.len() == 4 && by_verdict.values().all(|n| *n > 300),
        "{by_verdict:?}"
    );
}

/// The shipped rules over the places, parts and hosts that they name.
#[test]
fn an_independent_evaluator_agrees_on_the_shipped_rules() {
    let rules = on_file();
    let mut places: Vec<String> = rules
        .all()
        .flat_map(|r| r.from.named().chain(r.to.named()).map(Into::into).collect::<Vec<String>>())
        .chain(rules.places().rows().0.map(|m| m.place.clone()))
        .filter(|code| !code.starts_with("RA:"))
        .collect();
    places.sort();
    places.dedup();
    let mut hosts: Vec<String> = rules.all().flat_map(|r| r.hosts.clone()).filter(|h| h != "*").collect();
    hosts.extend(["Citrus sinensis", "Calamondin", "Mangifera indica", "Ficus carica"].map(Into::into));
    hosts.sort();
    hosts.dedup();
    let every_part: Vec<&str> = Part::ALL.iter().map(|p| p.word()).collect();
    let step = if std::env::var_os("SCIONARY_LONG").is_some() { 1 } else { 37 };
    let mut asked = Vec::new();
    for (o, origin) in places.iter().enumerate() {
        // Other destinations for each origin, so that every pair occurs.
        for d in (o % step..places.len()).step_by(step) {
            let destination = &places[d];
            let origin = (origin != "WORLD").then(|| origin.clone());
            let day = ["2008-02-01", "2012-01-01", "2019-11-19", "2025-02-01"][(o + d) % 4];
            for host in &hosts {
                let raw = json!({
                    "plants": [host], "parts": every_part, "grown_at": [origin], "to": [destination],
                    "by_way_of": [], "dispatch": day, "arrival": day, "count": Value::Null, "documents": [],
                });
                let moved = question(&serde_json::from_value(raw.clone()).unwrap());
                asked.push((raw, moved));
            }
        }
    }
    let answers = compared("shipped", &exported(&rules), &rules, &asked);
    println!("{answers} answers on the shipped rules agree: {} hosts, {} places", hosts.len(), places.len());
}

/// Returns whether an answer bars a pair: a prohibition, or an open part without a rule.
fn barred(answer: &Answer) -> bool {
    answer.verdict == Verdict::Prohibited || answer.open().next().is_some()
}

/// Returns the place above a code, as a less exact statement of it.
fn coarser(code: &str) -> Option<String> {
    let slash = code.rsplit_once('/').map(|(up, _)| up.to_string());
    slash.or_else(|| code.split_once('-').map(|(up, _)| up.to_string()))
}

/// Adding an origin, part, day or plant, or stating a place, plant or count less exactly, never makes an answer milder
/// and never frees a barred pair.
#[test]
fn saying_more_or_knowing_less_never_makes_it_milder() {
    let Some(out) = python(&["--generate", "10000", "7"]) else { return };
    let generated: Generated = serde_json::from_str(&out).unwrap();
    let mut tried = std::collections::BTreeMap::new();
    for case in &generated.worlds {
        let rules = rules(&case.world);
        let questions: Vec<Move> = case.questions.iter().map(question).collect();
        for (n, base) in questions.iter().enumerate() {
            let other = &questions[(n + 1) % questions.len()];
            let before = rules.ask(base);
            let mut check = |what: &'static str, more: Move| {
                let after = rules.ask(&more);
                let context = || {
                    let texts: Vec<String> = case
                        .world
                        .rules
                        .iter()
                        .map(|r| {
                            format!(
                                "{} {:?} {:?} {}->{} {} ex {:?} {:?} void {:?} most {:?} {:?}-{:?}",
                                r.id,
                                r.hosts,
                                r.parts,
                                r.from,
                                r.to,
                                r.verdict,
                                r.excepts,
                                r.open_to,
                                r.void_if,
                                r.most,
                                r.effective_from,
                                r.effective_to
                            )
                        })
                        .collect();
                    format!("{what}: {base:?}\n-> {more:?}\n{}", texts.join("\n"))
                };
                assert!(after.verdict >= before.verdict, "milder by {}", context());
                assert!(barred(&after) || !barred(&before), "freed by {}", context());
                *tried.entry(what).or_insert(0) += 1;
            };
            let known =
                |origins: &[Option<String>]| if origins.is_empty() { vec![None] } else { origins.to_vec() };
            let grown_at = [known(&base.grown_at), known(&other.grown_at)].concat();
            check("an origin more", Move { grown_at, ..base.clone() });
            let mut words: Vec<Part> = base.parts.each().collect();
            words.extend(other.parts.each());
            check("a part more", Move { parts: Parts::of(&words), ..base.clone() });
            let plants = [base.plants.clone(), other.plants.clone()].concat();
            check("a plant more", Move { plants, ..base.clone() });
            check(
                "a destination more",
                Move { to: [base.to.clone(), other.to.clone()].concat(), ..base.clone() },
            );
            check("an origin unknown", Move { grown_at: vec![None], ..base.clone() });
            check("a count unknown", Move { count: None, ..base.clone() });
            if base.dispatch == base.arrival && base.documents.is_empty() {
                let arrival = base.arrival.plus_days(400);
                check("a day more", Move { arrival, ..base.clone() });
            }
            for (at, code) in base.to.iter().enumerate() {
                if let Some(up) = coarser(&rules.places().looked_at(code)) {
                    let mut to = base.to.clone();
                    to[at] = up;
                    check("a coarser destination", Move { to, ..base.clone() });
                }
            }
            for (at, code) in base.grown_at.iter().enumerate() {
                let up = code.as_ref().and_then(|code| coarser(&rules.places().looked_at(code)));
                if let Some(up) = up {
                    let mut grown_at = base.grown_at.clone();
                    grown_at[at] = Some(up);
                    check("a coarser origin", Move { grown_at, ..base.clone() });
                }
            }
            for (at, plant) in base.plants.iter().enumerate() {
                let up = case.world.taxa.iter().find(|t| t.name.eq_ignore_ascii_case(plant) && !t.parent);
                let hybrid = case.world.taxa.iter().any(|t| t.name.eq_ignore_ascii_case(plant) && t.parent);
                if let Some(up) = up.filter(|_| !hybrid) {
                    let mut plants = base.plants.clone();
                    plants[at].clone_from(&up.within);
                    check("a coarser plant", Move { plants, ..base.clone() });
                }
            }
        }
    }
    println!("never milder, never freed: {tried:?}");
    assert!(tried.len() >= 10 && tried.values().all(|n| *n > 500), "{tried:?}");
}

/// Defects found earlier, one by one.
#[test]
fn what_one_part_or_place_may_do_another_may_not() {
    let rules = on_file();
    let when = "2025-02-01";
    // An exception for one origin leaves the rule for the other.
    let avocado = asked("Persea americana", &[Part::Scion], "IL", "ES", when);
    let of_exception = rules.ask(&avocado);
    assert_eq!(of_exception.verdict, Verdict::DocumentRequired);
    let both = Move { grown_at: vec![Some("IL".into()), Some("MX".into())], ..avocado };
    assert_eq!(rules.ask(&both).verdict, Verdict::Prohibited, "stood in a second place");
    // An exception for the seed leaves the rule for the fruit.
    let fruit = asked("Citrus sinensis", &[Part::Fruit, Part::Seed], "US-FL", "US-OR", when);
    assert_eq!(rules.ask(&fruit).verdict, Verdict::Prohibited, "the fruit around the seed");
    let seed = asked("Citrus sinensis", &[Part::Seed], "US-FL", "US-OR", when);
    assert_eq!(rules.ask(&seed).verdict, Verdict::DocumentRequired);
    // A member that a rule names is included, although its group is excluded.
    let mango = |from: &str| rules.ask(&asked("Mangifera indica", &[Part::Seed], from, "US", when)).verdict;
    assert_eq!((mango("BB"), mango("MX")), (Verdict::Prohibited, Verdict::DocumentRequired));
    // Two areas are separate.
    let between = |from: &str, to: &str| {
        let asked = asked("Citrus sinensis", &[Part::Plant], from, to, "2019-12-15");
        rules.ask(&asked).lead.iter().map(|a| a.rule.id.clone()).collect::<Vec<_>>()
    };
    assert_eq!(between("AU-NT/katherine-lga", "AU-NT/darwin-area"), ["AU-NT-CC-CONTROL"]);
    assert_eq!(between("AU-NT/katherine-lga", "AU-NT/katherine-lga"), ["AU-NT-CC-INSIDE"]);
    // A part that no rule names counts as its place, and the answer says so.
    let typed =
        rules.ask(&asked("Citrus sinensis", &[Part::Plant], "AU-NT/katherine", "AU-QLD", "2019-12-15"));
    let coarse = rules.ask(&asked("Citrus sinensis", &[Part::Plant], "AU-NT", "AU-QLD", "2019-12-15"));
    assert_eq!((typed.verdict, &typed.lead), (coarse.verdict, &coarse.lead));
    assert_eq!(typed.counted_as, [("AU-NT/katherine".to_string(), "AU-NT".to_string())]);
    // The expiry days of areas also apply to an unknown origin.
    let old = rules.ask(&asked("Citrus sinensis", &[Part::Plant], "?", "AU-QLD", when));
    assert!(
        old.lead.iter().chain(&old.also).all(|a| a.rule.id != "AU-NT-CC-RESTRICTED-OUT"),
        "it ended in 2019"
    );
    assert!(!old.gaps.is_empty());
    // The answer shows an area without a list of places.
    let told = rules.ask(&asked("Citrus sinensis", &[Part::Plant], "US-FL", "US-OR", when));
    assert!(told.hollow.iter().any(|a| a.rule.id == "US-CANKER-2B"), "{:?}", told.hollow);
    // The authority to ask is the one responsible for the place, not one that names it.
    let ask = |from: &str, to: &str| rules.ask(&asked("Mangifera indica", &[Part::Scion], from, to, when));
    assert!(
        ask("AU-NSW", "AU-QLD").headline().contains("Biosecurity Queensland"),
        "{}",
        ask("AU-NSW", "AU-QLD").headline()
    );
    let gap =
        |answer: &Answer, place: &str| answer.gaps.iter().find(|g| g.place == place).map(|g| g.ask.clone());
    assert_eq!(
        gap(&ask("IN", "US"), "IN").unwrap(),
        "Directorate of Plant Protection, Quarantine & Storage, India"
    );
    assert_eq!(gap(&ask("MX", "US"), "MX").unwrap(), "the plant-health authority of MX");
}

/// Every line on pests says what carries the pest and what does not, without words that reassure.
#[test]
fn pest_lines_do_not_reassure() {
    let pests = scionary_server::data::movement().pests;
    let mut reader = csv::Reader::from_reader(pests.as_bytes());
    let not_by = reader.headers().unwrap().iter().position(|h| h == "not_by").unwrap();
    for row in reader.records() {
        let row = row.unwrap();
        let words = row[not_by].to_lowercase();
        for doubt in [" but ", " may ", " less", "disputed", " low", "not nil", "mostly"] {
            assert!(!words.contains(doubt), "{}: {words}", &row[0]);
        }
    }
}
