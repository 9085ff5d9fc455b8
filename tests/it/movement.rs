//! Movement of plants: the worked examples on the dated texts of the rules, and the edge cases.

use std::sync::LazyLock;

use scionary_app::movement::{MovementFiles, read};
use scionary_domain::{
    movement::{Answer, Applies, Document, Move, Part, Parts, Read, Rules, Verdict},
    offer::{Material, health::Form},
    time::Date,
};
use scionary_proto::v1;
use scionary_server::data;
use scionary_tests::{Database, client::wrong_fields, samples::draft};

use crate::evidence::Club;

pub fn on_file() -> Rules {
    read(&[data::movement()]).unwrap()
}

/// Returns the names of a plant, as the rules on file know it.
pub fn plants(rules: &Rules, name: &str) -> Vec<String> {
    match rules.taxa().read(name, "") {
        Read::Known(names) => names,
        Read::Unknown { word, .. } => panic!("{name}: {word} is on no list"),
    }
}

fn day(text: &str) -> Date {
    text.parse().unwrap()
}

pub fn asked(taxon: &str, parts: &[Part], from: &str, to: &str, on: &str) -> Move {
    static ON_FILE: LazyLock<Rules> = LazyLock::new(on_file);
    Move {
        plants: plants(&ON_FILE, taxon),
        parts: Parts::of(parts),
        grown_at: vec![(from != "?").then(|| from.to_string())],
        to: vec![to.into()],
        by_way_of: Vec::new(),
        dispatch: day(on),
        arrival: day(on),
        count: None,
        documents: Vec::new(),
    }
}

fn ids(found: &[Applies]) -> Vec<&str> {
    let mut ids: Vec<&str> = found.iter().map(|a| a.rule.id.as_str()).collect();
    ids.sort_unstable();
    ids
}

fn unsure(answer: &Answer) -> Vec<&str> {
    let mut ids: Vec<&str> =
        answer.lead.iter().chain(&answer.also).filter(|a| a.unsure).map(|a| a.rule.id.as_str()).collect();
    ids.sort_unstable();
    ids
}

const SCION: &[Part] = &[Part::Scion];
const PLANT: &[Part] = &[Part::Plant];
const SEED: &[Part] = &[Part::Seed];
const FRUIT: &[Part] = &[Part::Fruit];
const NOW: &str = "2025-02-01";

pub struct Example {
    pub name: &'static str,
    pub asked: Move,
    pub verdict: Verdict,
    lead: &'static [&'static str],
    also: &'static [&'static str],
    could: &'static [&'static str],
}

/// Returns the worked examples: verdict, leading rules, other binding rules, and rules that could change the answer.
pub fn examples() -> Vec<Example> {
    use Verdict::{DocumentRequired as O, NoRule as N, Prohibited as P};
    let protocol = Document { opens: "US-CANKER-6-V1".into(), valid_to: None };
    let with = |m: Move, d: &Document| Move { documents: vec![d.clone()], ..m };
    let e = |name, asked, verdict, lead, also, could| Example { name, asked, verdict, lead, also, could };
    let orange = "Citrus sinensis";
    let mango = "Mangifera indica L.";
    let acp: &[&str] = &["US-ACP-76-6A", "US-ACP-76-6B"];
    vec![
        e(
            "E01",
            asked(orange, SCION, "US-FL", "US-FL", NOW),
            P,
            &["US-FL-5B62-007"],
            &[],
            &["US-FL-5B62-011"],
        ),
        e(
            "E02",
            asked(orange, SCION, "US-FL", "US-CA", NOW),
            P,
            &["US-CA-3250-FL", "US-CA-FL-2006", "US-CANKER-2A", "US-HLB-76"],
            &[],
            &["US-ACP-76-6A", "US-CANKER-6-V3"],
        ),
        e("E03", asked(orange, SCION, "US-AZ", "US-CA", NOW), N, &[], &[], &[]),
        e("E04", asked(orange, SCION, "US-CA", "US-AZ", NOW), P, &["US-AZ-R3-4-220"], &[], &[]),
        e(
            "E06",
            asked(orange, SEED, "US-FL", "US-CA", NOW),
            P,
            &["US-CA-FL-2006"],
            &["US-CANKER-8-SEED"],
            &[],
        ),
        e(
            "E07",
            with(asked("Calamondin", PLANT, "US-FL", "US-NC", "2007-06-01"), &protocol),
            O,
            &["US-CANKER-6-V1"],
            &[],
            &[],
        ),
        e(
            "E07b",
            with(asked("Calamondin", PLANT, "US-FL", "US-NC", "2008-02-01"), &protocol),
            P,
            &["US-HLB-ORDER-2007"],
            &["US-CANKER-6-V1"],
            &[],
        ),
        e("E09", asked(orange, PLANT, "US-TX/zapata", "US-OK", "2024-05-13"), P, &["US-HLB-76"], &[], acp),
        e("E11", asked(mango, SEED, "US-HI", "US-CA", NOW), P, &["US-318-HI-MANGOSEED"], &[], &[]),
        e("E12", asked(mango, SCION, "US-FL", "US-CA", NOW), N, &[], &[], &[]),
        e("E13", asked(mango, SCION, "US-CA", "US-FL", NOW), O, &["US-FL-5B3-CERT"], &[], &[]),
        e("E14", asked(mango, SEED, "IN", "US", NOW), P, &["US-MANGOSEED"], &["US-319-37-5-PERMIT"], &[]),
        e(
            "E17",
            asked("Persea americana", SCION, "US-CA", "ES", NOW),
            P,
            &["EU-HR-PERSEA"],
            &["EU-PC-ALL"],
            &[],
        ),
        e("E18", asked("Persea americana", SEED, "US-CA", "ES", NOW), O, &["EU-PC-ALL"], &[], &[]),
        e(
            "E19",
            asked("Persea americana", SCION, "IL", "ES", "2021-06-01"),
            P,
            &["EU-HR-PERSEA"],
            &["EU-PC-ALL"],
            &[],
        ),
        e("E21", asked(mango, SEED, "IN", "ES-MA", NOW), O, &["EU-PC-ALL", "EU-PZ-MSW"], &[], &[]),
        e(
            "E23",
            asked(orange, PLANT, "AU-NT/katherine-lga/cossack", "AU-NT/katherine-lga", "2019-11-19"),
            P,
            &["AU-NT-CC-RESTRICTED-IN", "AU-NT-CC-RESTRICTED-OUT"],
            &["AU-NT-CC-INSIDE"],
            &[],
        ),
        e(
            "E25",
            asked(orange, FRUIT, "AU-NT/katherine-lga", "AU-QLD", "2019-12-15"),
            O,
            &["AU-NT-CC-CONTROL"],
            &[],
            &[],
        ),
        e("E26", asked(mango, SCION, "AU-NT", "AU-QLD", NOW), N, &[], &[], &[]),
        e("E27", asked(mango, SEED, "AU-QLD", "AU-WA", NOW), O, &["AU-WA-MANGOSEED"], &[], &[]),
        e(
            "E28",
            Move { count: Some(40), ..asked("Vitis vinifera", SCION, "US-OR", "US-WA", "2020-06-01") },
            O,
            &["US-WA-16483-030", "US-WA-16483-SMALL"],
            &[],
            &[],
        ),
        e("E30", asked(mango, SCION, "PH-PLW", "PH-00", NOW), P, &["PH-PALAWAN-MANGO"], &[], &[]),
        e("E31", asked(mango, SCION, "PH-CEB", "PH-00", NOW), N, &[], &[], &[]),
        e("E32", asked(mango, FRUIT, "PH-CEB", "US-HI", NOW), O, &["US-PH-MANGOFRUIT-OTHER"], &[], &[]),
        e("E33", asked(mango, FRUIT, "PH-CEB", "US-CA", NOW), P, &["US-PH-MANGOFRUIT-MAINLAND"], &[], &[]),
        e(
            "E36",
            asked(orange, PLANT, "US-TX", "US-OK", NOW),
            P,
            &["US-HLB-76", "US-HLB-DA-2024-15"],
            &[],
            acp,
        ),
        e("E38", asked(orange, SEED, "ES", "US", NOW), O, &["US-319-37-5-PERMIT", "US-CITSEED-AD"], &[], &[]),
        e("E40", asked("Murraya paniculata", SCION, "US-OR", "US-CA", NOW), N, &[], &[], &[]),
        e("E42", asked("Malus domestica", SCION, "US-OR", "US-ID", NOW), N, &[], &[], &[]),
        e("E44b", asked("Vitis vinifera", PLANT, "CH", "FR", NOW), N, &[], &[], &[]),
        e("E44", asked("Vitis vinifera", PLANT, "US", "FR", NOW), P, &["EU-VI-VITIS"], &["EU-PC-ALL"], &[]),
        e("E45", asked(mango, SCION, "US", "AU", NOW), O, &["AU-BICON-MANGO-NS"], &[], &[]),
        e(
            "E47",
            asked(orange, SCION, "US", "US-CA", NOW),
            P,
            &[
                "US-318-HI-CITRUSPLANT",
                "US-CA-3250-FL",
                "US-CA-3250-PLANT",
                "US-CA-FL-2006",
                "US-CANKER-2A",
                "US-HLB-76",
                "US-HLB-DA-2024-15",
            ],
            &["US-CA-3407-CTV"],
            &["US-ACP-76-6A", "US-CANKER-6-V3"],
        ),
        e("E48", asked(mango, SCION, "US-CA", "US", NOW), O, &["US-FL-5B3-CERT"], &["US-HI-ENTRY-ALL"], &[]),
        e(
            "E49",
            Move {
                arrival: day("2024-05-15"),
                ..asked(orange, PLANT, "US-TX/zapata", "US-OK", "2024-05-13")
            },
            P,
            &["US-HLB-76", "US-HLB-DA-2024-15"],
            &[],
            acp,
        ),
    ]
}

#[test]
fn worked_examples() {
    let rules = on_file();
    for Example { name, asked, verdict, lead, also, could } in examples() {
        let answer = rules.ask(&asked);
        assert_eq!(answer.verdict, verdict, "{name}: {:?}", ids(&answer.lead));
        assert_eq!(ids(&answer.lead), lead, "{name}");
        assert_eq!(ids(&answer.also), also, "{name}");
        assert_eq!(ids(&answer.could_change), could, "{name}");
    }
    // Rules that hold for a part of the place as stated.
    let part = |name: &str| {
        let example = examples().into_iter().find(|e| e.name == name).unwrap();
        rules.ask(&example.asked)
    };
    assert_eq!(unsure(&part("E23")), ["AU-NT-CC-RESTRICTED-IN"]);
    assert_eq!(unsure(&part("E36")), ["US-HLB-DA-2024-15"]);
    assert_eq!(unsure(&part("E48")), ["US-FL-5B3-CERT", "US-HI-ENTRY-ALL"]);
    assert_eq!(unsure(&part("E47")).len(), 8);
    // A restriction is reported, and its text is not on file.
    assert_eq!(ids(&part("E26").stubs), ["AU-QLD-MMD-STUB"]);
    assert!(part("E26").headline().contains("No rule on file: ask Biosecurity Queensland"));
    // No rule is on file, and pests travel nevertheless.
    for name in ["E12", "E31", "E40", "E42"] {
        assert!(!part(name).pests.is_empty(), "{name}");
        assert!(!part(name).gaps.is_empty(), "{name}");
    }
}

/// The edge cases, by the numbers of the model.
#[test]
fn edge_cases() {
    let rules = on_file();
    let orange = "Citrus sinensis";
    // 1: the origin is unknown.
    let unknown = rules.ask(&asked(orange, SCION, "?", "US-CA", NOW));
    assert_eq!(unknown.verdict, Verdict::Prohibited);
    assert!(unsure(&unknown).contains(&"US-CA-3250-PLANT"));
    // 2: grown in one place, budded in another: the strictest rule applies.
    let moved = Move {
        grown_at: ["US-FL", "US-GA", "US-OR"].map(|p| Some(p.to_string())).to_vec(),
        ..asked(orange, SCION, "?", "US-CA", NOW)
    };
    assert!(ids(&rules.ask(&moved).lead).contains(&"US-CA-3250-FL"));
    // 3 and 4: hybrids and changed names.
    for taxon in ["Citrus x Poncirus", "Citrus × microcarpa", "Fortunella margarita", "Citrus"] {
        let found = rules.ask(&asked(taxon, SCION, "US-FL", "US-CA", NOW));
        assert!(ids(&found.lead).contains(&"US-CA-FL-2006"), "{taxon}");
    }
    // 5, 6 and 20: what moves together with the offered part.
    let of = Parts::of_material;
    assert!(
        of(Material::FruitForSeed, None).has(Part::Seed) && of(Material::FruitForSeed, None).has(Part::Fruit)
    );
    assert!(of(Material::Seedling, Some(Form::InMedium)).has(Part::Medium));
    assert!(!of(Material::Seedling, Some(Form::BareRoot)).has(Part::Medium));
    assert!(!of(Material::Seedling, None).has(Part::Seed), "a seedling is a plant");
    assert!(of(Material::ScionWood, Some(Form::WithLeaves)).has(Part::Leaf));
    // 7 and 8: a document that has expired, or that opens another rule.
    let with = |opens: &str, valid_to: Option<&str>| {
        let document = Document { opens: opens.into(), valid_to: valid_to.map(day) };
        let base = asked("Calamondin", PLANT, "US-FL", "US-NC", "2007-06-01");
        rules.ask(&Move { documents: vec![document], ..base }).verdict
    };
    assert_eq!(with("US-CANKER-6-V1", Some("2007-06-01")), Verdict::DocumentRequired);
    assert_eq!(with("US-CANKER-6-V1", Some("2007-05-31")), Verdict::Prohibited);
    assert_eq!(with("US-CANKER-6-V2", None), Verdict::Prohibited);
    // 9: a rule known from memory only makes no headline.
    let seed = rules.ask(&asked("Persea americana", SEED, "MX", "US", NOW));
    assert_eq!(ids(&seed.unverified), ["US-AVOSEED"]);
    assert_eq!(seed.verdict, Verdict::DocumentRequired, "{:?}", ids(&seed.lead));
    // 11: age never relaxes a rule.
    let old = rules.ask(&asked(orange, SCION, "US-CA", "US-AZ", "2026-11-25"));
    assert_eq!(old.verdict, Verdict::Prohibited);
    assert!(old.lead.iter().all(|a| a.stale), "its text is to be looked at again");
    // 15: within one restricted area both rules hold, see E23. 18: the strictest of both days, see E49.
    // 19: a limit on the number of articles includes the last one.
    let grapes = |count| {
        let base = asked("Vitis vinifera", SCION, "US-OR", "US-WA", "2020-06-01");
        ids(&rules.ask(&Move { count: Some(count), ..base }).lead).contains(&"US-WA-16483-SMALL")
    };
    assert!(grapes(500) && !grapes(501));
    // 21 to 24: notes on pests, whatever the rules say.
    let notes = |taxon: &str, parts: &[Part]| -> Vec<String> {
        rules.ask(&asked(taxon, parts, "US-FL", "US-CA", NOW)).pests.into_iter().map(|p| p.name).collect()
    };
    let any = |all: &[String], part: &str| all.iter().any(|n| n.contains(part));
    assert!(any(&notes("Persea americana", SEED), "sunblotch"));
    assert!(!any(&notes("Persea americana", SEED), "Laurel wilt"), "seed is not known to carry it");
    assert!(any(&notes("Mangifera indica", SCION), "malformation"));
    assert!(
        any(&notes("Mangifera indica", SEED), "seed weevil")
            && !any(&notes("Mangifera indica", SCION), "seed weevil")
    );
    // 27: a meeting away from home: both places are checked.
    let both =
        Move { to: vec!["US-OR".into(), "US-AZ".into()], ..asked(orange, SCION, "US-CA", "US-OR", NOW) };
    assert_eq!(ids(&rules.ask(&both).lead), ["US-AZ-R3-4-220"]);
    // A future version of a rule is shown.
    let soon = rules.ask(&asked(orange, PLANT, "US-TX/zapata", "US-OK", "2024-05-01"));
    assert_eq!(ids(&soon.coming), ["US-HLB-DA-2024-15"]);
    // Areas without members match nothing, and the answer names them.
    assert!(rules.empty_areas().contains("RA:US-COMM-CITRUS"));
}

/// 12, 13, 14, 29: an invalid set of rules is refused with the rule and the reason.
#[test]
fn sets_of_rules_are_checked() {
    // A file without the columns `checked_on` and `read_how` still parses.
    let header =
        data::movement().rules.lines().next().unwrap().replace("checked_on,", "").replace(",read_how", "");
    let row = |id: &str, version: u32, more: &str| {
        // The rest of the row: hosts to authority, then days, dates, citation, exception.
        format!("{id},{version},rule,Mangifera,seed,XB,XC,prohibited,c,{more}")
    };
    let wrong = |rows: &[String]| -> Vec<String> {
        let rules =
            std::iter::once(header.clone()).chain(rows.iter().cloned()).collect::<Vec<_>>().join("\n");
        read(&[MovementFiles { name: "own".into(), rules, ..Default::default() }]).unwrap_err()
    };
    let says = |rows: &[String], part: &str| {
        let all = wrong(rows);
        assert!(all.iter().any(|w| w.contains(part)), "{part}: {all:?}");
    };
    let tail = "2020,,citation,,,,,,,,";
    let base = row("A", 1, &format!("X,Authority,,,{tail}"));
    says(&[base.clone(), row("A", 2, &format!("X,Authority,2021-01-01,,{tail}"))], "do not overlap");
    says(&[row("A", 1, &format!("X,Authority,2021-01-02,2021-01-01,{tail}"))], "effective_to");
    says(&[row("A", 1, &format!("X,,,,{tail}"))], "whom to ask");
    says(&[base.clone(), row("B", 1, "Y,Authority,,,2020,,citation,,A,anyone,,,,,")], "same instrument");
    says(&[row("B", 1, "X,Authority,,,2020,,citation,,A,anyone,,,,,")], "a rule on file expected");
    let circle = [
        row("A", 1, "X,Authority,,,2020,,citation,,B,anyone,,,,,"),
        row("B", 1, "X,Authority,,,2020,,citation,,A,anyone,,,,,"),
    ];
    says(&circle, "at most an exception to an exception");
    says(
        &[row("A", 1, &format!("X,Authority,soon,,{tail}"))],
        "own/movement/rules.csv line 2: effective_from",
    );
    says(
        &["A,1,rule,Mangifera,twig,X B,XC,banned,c,X,Authority,,,2020,,citation,,,,,,,,".into()],
        "parts: a part",
    );
}

/// Over the wire: for an offer, a name or a plant; mistakes are listed; nothing reads like a permission.
#[tokio::test]
async fn asked_over_the_wire() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let ann = club.grower("ann").await;
    let check = async |request: v1::CheckMovementRequest| ann.call(&request).await;
    let scion = v1::CheckMovementRequest {
        material: v1::Material::ScionWood.into(),
        dispatch: Some(v1::CalendarDate { year: 2025, month: 2, day: 1 }),
        ..Default::default()
    };
    let named = v1::CheckMovementRequest {
        cultivar: "Kent".into(),
        grown_at: vec!["US-CA".into()],
        to: vec!["US-FL".into()],
        ..scion.clone()
    };
    let found = check(named.clone()).await.unwrap();
    assert_eq!(found.verdict(), v1::MovementVerdict::DocumentRequired);
    assert_eq!(found.lead[0].rule.as_ref().unwrap().rule_id, "US-FL-5B3-CERT");
    assert!(found.botanical_name.starts_with("Mangifera indica"), "{}", found.botanical_name);
    assert!(found.pests.iter().any(|p| p.name.contains("malformation")));
    let plant = v1::CheckMovementRequest {
        cultivar: String::new(),
        botanical_name: "Citrus x Poncirus".into(),
        grown_at: Vec::new(),
        to: vec!["US-CA".into()],
        ..named.clone()
    };
    let unknown = check(plant).await.unwrap();
    assert_eq!(
        (unknown.verdict(), unknown.grown_at),
        (v1::MovementVerdict::Prohibited, vec!["unknown".to_string()])
    );
    // An answer without a rule says so, and names whom to ask.
    let nowhere =
        v1::CheckMovementRequest { grown_at: vec!["XB-NS".into()], to: vec!["XB".into()], ..named.clone() };
    let nowhere = check(nowhere).await.unwrap();
    assert_eq!(nowhere.verdict(), v1::MovementVerdict::NoRule);
    assert!(nowhere.headline.starts_with("No rule on file: ask"), "{}", nowhere.headline);
    assert!(!nowhere.gaps.is_empty());
    // An offer supplies its plant, material and origins.
    let offer = v1::CreateOfferRequest { offer: Some(draft()) };
    let offer: v1::CreateOfferResponse = ann.call(&offer).await.unwrap();
    let of_offer = v1::CheckMovementRequest {
        offer_id: offer.offer.unwrap().offer_id,
        to: vec!["AU-WA".into()],
        ..Default::default()
    };
    let of_offer = check(of_offer).await.unwrap();
    assert_eq!(of_offer.grown_at, ["XB-NS"]);
    assert_eq!(of_offer.verdict(), v1::MovementVerdict::DocumentRequired, "{:?}", of_offer.lead);
    let wrong = v1::CheckMovementRequest {
        material: 0,
        grown_at: vec!["US-FL/".into(), "Florida".into()],
        to: Vec::new(),
        arrival: Some(v1::CalendarDate { year: 2025, month: 1, day: 1 }),
        ..named
    };
    assert_eq!(wrong_fields(&check(wrong).await.unwrap_err()), ["grown_at[1]", "to", "material", "arrival"]);

    let all = v1::ListMovementRulesRequest { page_size: 50, ..Default::default() };
    let first: v1::ListMovementRulesResponse = ann.call(&all).await.unwrap();
    assert_eq!(first.rules.len(), 50);
    let next = v1::ListMovementRulesRequest { page_token: first.next_page_token, ..all };
    let second: v1::ListMovementRulesResponse = ann.call(&next).await.unwrap();
    assert_eq!(second.rules.len(), 21);
    club.server.stop().await;
    database.done().await;
}

/// A rule of another authority never makes an answer milder.
#[test]
fn more_rules_never_make_it_milder() {
    let files = data::movement();
    let mut lines: Vec<&str> = files.rules.lines().collect();
    let header = lines.remove(0);
    // The reference file has no line breaks within fields.
    let mut state = 20_261_125_u64;
    let mut roll = |sides: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap() % sides
    };
    let all = on_file();
    let extra = |n: usize| {
        let verdicts = ["prohibited", "official document required", "allowed with conditions"];
        format!(
            "MADE-UP-{n},1,rule,*,scion|plant|seed|fruit,WORLD,WORLD,{},c,MADE UP {n},Another authority,,,2020,,,made up,,,,,,,,,",
            verdicts[n % 3]
        )
    };
    let examples = examples();
    for n in 0..60 {
        let rules = std::iter::once(header.to_string())
            .chain(lines.iter().map(ToString::to_string))
            .chain([extra(n)])
            .collect::<Vec<_>>()
            .join("\n");
        let more = read(&[MovementFiles { rules, ..files.clone() }]).unwrap();
        let example = &examples[roll(examples.len())];
        let (before, after) = (all.ask(&example.asked), more.ask(&example.asked));
        assert!(after.verdict >= before.verdict, "{}", example.name);
        for found in before.lead.iter().chain(&before.also) {
            let id = &found.rule.id;
            assert!(
                ids(&after.lead).contains(&id.as_str()) || ids(&after.also).contains(&id.as_str()),
                "{id}"
            );
        }
    }
}
