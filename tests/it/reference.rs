//! The findings of the reference catalogue match its sources.

use scionary_app::{
    catalogue,
    registry::{Parts, Record, Registry},
};
use scionary_domain::{
    cultivar::{Cultivar, OtherName, Source},
    evidence::{Evidence, Standing, Value, voice::UNVERIFIED},
    ids::{CultivarId, EvidenceId},
    seed::Answer,
};
use scionary_server::data;
use scionary_tests::{TestServer, on_both_empty};

/// Returns the registry of the reference catalogue, without a database.
pub fn registry() -> Registry {
    let catalogue = catalogue::parse(&data::reference(), &[]).expect("the catalogue has no mistakes");
    let uuid = |n: usize| format!("00000000-0000-7000-8000-{n:012x}").parse().expect("a UUID");
    let mut cultivars = Vec::new();
    for (at, record) in catalogue.records.iter().enumerate() {
        cultivars.push(Cultivar {
            id: CultivarId::from_uuid(uuid(at)),
            crop: record.crop.clone(),
            name: record.name.clone(),
            qualifier: record.qualifier.clone(),
            botanical_name: record.botanical_name.clone(),
            rank: record.rank,
            origin: String::new(),
            notes: String::new(),
            names: record
                .names
                .iter()
                .map(|(name, kind, disputed, source, note)| OtherName {
                    name: name.clone(),
                    kind: *kind,
                    disputed: *disputed,
                    source: source.clone(),
                    note: note.clone(),
                })
                .collect(),
            parents: record.parents.clone(),
            pins: Vec::new(),
            locked: None,
            merged_into: None,
            version: 1,
            updated_at: scionary_domain::time::Timestamp::from_micros(0),
        });
    }
    let evidence = catalogue
        .evidence
        .iter()
        .enumerate()
        .map(|(at, piece)| Evidence {
            id: EvidenceId::from_uuid(uuid(at)),
            crop: piece.crop.clone(),
            cultivar: piece.about.as_ref().and_then(|(name, qualifier)| {
                cultivars
                    .iter()
                    .find(|c| c.crop == piece.crop && c.name == *name && c.qualifier == *qualifier)
                    .map(|c| c.id)
            }),
            subject: piece.subject.clone(),
            named_as: piece.named_as.clone(),
            descriptor: piece.descriptor.clone(),
            value: piece.value.clone(),
            place: piece.place.clone(),
            source: piece.source.clone(),
            as_stated: piece.as_stated.clone(),
            note: piece.note.clone(),
            observed: None,
        })
        .collect();
    let sources: Vec<Source> = catalogue.sources.clone();
    Registry::new(Parts { crops: catalogue.crops, sources, cultivars, evidence, ..Parts::default() })
}

fn with<T>(name: &str, crop: &str, look: impl FnOnce(&Registry, &Record) -> T) -> T {
    let registry = registry();
    let record = registry.resolve("cultivar", name, crop).unwrap_or_else(|e| panic!("{name}: {e}"));
    look(&registry, record)
}

fn finding_text(record: &Record, descriptor: &str) -> String {
    record.findings.iter().find(|f| f.descriptor == descriptor).map(|f| f.text.clone()).unwrap_or_default()
}

#[test]
fn every_row_is_there_with_its_source() {
    let registry = registry();
    assert_eq!(registry.record_count(), 553);
    // 203 rows of the first tables, six split in two; 2,029 rows of the second ones; 373 facts on further crops.
    assert_eq!(registry.evidence_count(), 209 + 2_029 + 373);
    let catalogue = catalogue::parse(&data::reference(), &[]).unwrap();
    let tallies = catalogue.evidence.iter().filter(|e| matches!(e.value, Value::Tally { .. })).count();
    assert_eq!(tallies, 8, "counts where the source counted, and only there");
    assert!(catalogue.evidence.iter().all(|e| registry.source(&e.source).is_some()));
}

/// R2E2 gives both kinds of seed (RFC89), which a yes-or-no field cannot hold.
#[test]
fn r2e2_gives_both_kinds_of_seed() {
    with("R2E2", "", |registry, record| {
        assert_eq!(registry.seed_of(record).0, Answer::BothKinds);
        assert!(finding_text(record, "embryony").starts_with("both, stated by 1 source"));
    });
}

/// Peach: stated polyembryonic by three sources, yet 85.52 % of its stones gave one seedling (SANE15).
#[test]
fn peach_is_stated_polyembryonic_and_mostly_gives_one_seedling() {
    with("Peach", "", |registry, record| {
        assert_eq!(registry.seed_of(record).0, Answer::Doubtful);
        assert!(finding_text(record, "embryony").contains("polyembryonic, stated by 3 sources"));
        let sprouting = record.findings.iter().find(|f| f.descriptor == "multi_sprout_seeds").unwrap();
        assert!(sprouting.share.is_none(), "a rate without its count never enters the model");
        assert!((sprouting.published.as_ref().unwrap().middle - 0.1448).abs() < 1e-9);
        assert!(sprouting.pieces[0].evidence.as_stated.contains("85.52"));
        assert_eq!(registry.namesakes(record)[0].cultivar.name, "Kensington Pride");
    });
}

/// Golek: polyembryonic, and 64 % of its seedlings are off-type (Schnell & Knight 1992 in LITZ-POLY).
#[test]
fn golek_is_polyembryonic_and_many_of_its_seedlings_are_off_type() {
    with("Golek", "", |registry, record| {
        // One rate without its count: 19 to 73 in 100 together with five other mangoes, not one figure.
        let (answer, headline) = registry.seed_of(record);
        assert_eq!(answer, Answer::PartlyTrue, "{headline}");
        assert!(headline.contains("64 %") && headline.contains("not of how many"), "{headline}");
        assert!(headline.contains("between 19 and 73 in 100"), "{headline}");
        let report = registry.report(record).unwrap();
        assert!(report.advice.iter().any(|a| a.text.starts_with("Keep ")), "{:?}", report.advice);
    });
}

#[test]
fn disagreeing_sources_are_both_kept() {
    // Sabre: 2 % (Truscott 1992) and 4 % (Schnell & Knight 1992).
    with("Sabre", "", |registry, record| {
        assert!(finding_text(record, "off_type_seedlings").starts_with("2 to 4 in 100"));
        let (answer, headline) = registry.seed_of(record);
        assert_eq!(answer, Answer::MostlyTrue, "without counts it is never said to come true: {headline}");
        assert!(headline.contains("about 13 in 100") && headline.contains("between 2 and 27"), "{headline}");
    });
    // Rough lemon: 2.1 % (AS88) against 46 % (BI-CIT).
    with("rough lemon", "citrus", |registry, record| {
        let finding = record.findings.iter().find(|f| f.descriptor == "off_type_seedlings").unwrap();
        assert_eq!((finding.standing, registry.seed_of(record).0), (Standing::Contested, Answer::Contested));
    });
    // Tommy Atkins: 522 g (GRIES03) and 400.1 g (BA21).
    with("Tommy Atkins", "", |registry, record| {
        let text = finding_text(record, "fruit_mass");
        assert!(text.contains("522") && text.contains("400.1"), "{text}");
        assert_eq!(registry.seed_of(record).0, Answer::NotTrue);
    });
}

#[test]
fn counts_enter_the_model_and_claims_do_not() {
    // Manila: 97 of 100 seeds with several embryos (MO12). 100 seeds of one report count for 9.17.
    with("Manila", "", |_, record| {
        let share = record
            .findings
            .iter()
            .find(|f| f.descriptor == "multi_sprout_seeds")
            .unwrap()
            .share
            .clone()
            .unwrap();
        assert_eq!((share.counted, share.of_these), (100, 97));
        assert!((share.interval.0 - 0.7605).abs() < 1e-3 && (share.interval.1 - 0.9979).abs() < 1e-3);
        assert_eq!(share.standing, Standing::Thin);
    });
    // Oliveira Neto: 24 of 25, next to the range of 46 to 84 % in the same abstract (BR42).
    with("Oliveira Neto", "", |_, record| {
        let text = finding_text(record, "multi_sprout_seeds");
        assert!(text.contains("24 of 25") && text.contains("46 to 84"), "{text}");
    });
    // Stated by three sources, counted by none.
    with("Kensington Pride", "", |registry, record| {
        let (answer, headline) = registry.seed_of(record);
        assert_eq!(answer, Answer::NotCounted);
        assert!(headline.contains("Said to be polyembryonic; no one on file has counted"), "{headline}");
        assert!(
            headline.contains("In the 6 cultivars of the crop that were counted, 2 to 64 in 100"),
            "{headline}"
        );
        assert!(record.findings.iter().filter(|f| f.descriptor == "embryony").all(|f| f.share.is_none()));
    });
}

#[test]
fn a_cultivar_that_nobody_counted_says_so() {
    with("Exel", "", |registry, record| {
        assert_eq!(registry.seed_of(record).0, Answer::Unknown);
        let report = registry.report(record).unwrap();
        assert!(report.how_sure.contains("no one knows, not that it is bad"));
    });
}

/// The statements of a report hold for every record.
#[test]
fn no_report_contradicts_itself() {
    let registry = registry();
    for crop in registry.crops() {
        for record in registry.list(&crop.slug, None, 100, "").unwrap().rows {
            let report = registry.report(record).unwrap();
            let nothing = report.how_sure.starts_with("No one on file has stated or counted anything");
            assert_eq!(nothing, report.findings.is_empty(), "{}: {}", record.cultivar.name, report.how_sure);
            if registry.seed_of(record).0 == Answer::Unknown {
                let pieces = report.findings.iter().flat_map(|f| &f.pieces);
                // Words that fit no class are shown, and settle nothing.
                let weighed = pieces.filter(|p| {
                    !p.evidence.source.starts_with(UNVERIFIED)
                        && !matches!(p.evidence.value, Value::Text { .. })
                });
                let said: Vec<String> = weighed.map(|p| p.evidence.as_stated.clone()).collect();
                assert!(said.is_empty(), "{}: {said:?}", record.cultivar.name);
            }
        }
    }
    with("trifoliate orange", "citrus", |registry, record| {
        assert_eq!(registry.seed_of(record).0, Answer::Contested);
    });
    with("Volkamer lemon", "citrus", |registry, record| {
        let report = registry.report(record).unwrap();
        assert!(report.advice[0].text.contains("Keep 2 or more"), "{}", report.advice[0].text);
    });
}

#[test]
fn homonyms_stay_apart() {
    let registry = registry();
    let found = registry.find("Simmonds", "", 5);
    let crops: Vec<&str> = found.iter().map(|f| f.record.cultivar.crop.as_str()).collect();
    assert!(crops.contains(&"mango") && crops.contains(&"avocado"), "{crops:?}");
    let message = registry.resolve("cultivar", "Simmonds", "").err().unwrap().to_string();
    assert!(message.contains("several cultivars bear this name"), "{message}");
    assert!(registry.resolve("cultivar", "Simmonds", "avocado").is_ok());
    // A look-up asks instead of answering for the wrong crop; within one crop it answers and names the other.
    let looked = registry.look_up("Simmonds", "").unwrap();
    assert!(looked.answer.is_none() && looked.others.len() == 2);
    assert!(registry.look_up("Simmonds", "avocado").unwrap().answer.is_some());
    let looked = registry.look_up("Peach", "").unwrap();
    assert_eq!(looked.answer.unwrap().0.record.cultivar.name, "Peach");
    assert_eq!(looked.others[0].record.cultivar.name, "Kensington Pride");
    // A disputed synonym does not win over a name on file.
    assert!(registry.look_up("C.P.B. 4475", "").unwrap().answer.is_none());
    // A synonym of one record is the accepted name of another: the accepted name wins, and both are shown.
    let found = registry.find("Manila", "", 5);
    assert_eq!(found[0].record.cultivar.name, "Manila");
}

#[test]
fn the_order_of_evidence_changes_nothing() {
    let registry = registry();
    for crop in registry.crops() {
        for record in registry.list(&crop.slug, None, 100, "").unwrap().rows {
            let mut turned = record.evidence.clone();
            turned.reverse();
            let again = scionary_domain::evidence::findings(crop, &turned, &[]);
            assert_eq!(format!("{again:?}"), format!("{:?}", record.findings), "{}", record.cultivar.name);
        }
    }
}

#[tokio::test]
async fn loading_twice_changes_nothing_and_a_changed_row_is_refreshed() {
    on_both_empty(async |url| {
        let server = TestServer::start(&url).await;
        let app = server.running.app().clone();
        let id = app.registry().resolve("c", "Golek", "").unwrap().cultivar.id;
        let parse = |files| catalogue::parse(&files, &[]).unwrap();
        assert!(app.load_catalogue(parse(data::reference())).await.unwrap().unchanged);

        let mut changed = data::reference();
        changed.evidence = changed.evidence.replace("E136,", "E136x,"); // one row goes, one comes
        let loaded = app.load_catalogue(parse(changed)).await.unwrap();
        assert_eq!((loaded.unchanged, loaded.removed), (false, 1));
        assert_eq!(app.registry().evidence_count(), 2_611);
        assert_eq!(app.registry().resolve("c", "Golek", "").unwrap().cultivar.id, id, "ids stay");
        server.stop().await;
    })
    .await;
}

#[test]
fn mistakes_in_a_catalogue_are_all_told_with_their_lines() {
    let mut files = data::demo();
    files.cultivars.push_str("mango,Lantern Moth,,x,cultivar,,\ndurian,Foo,,x,sport,,\n");
    files.evidence.push_str("D001,mango,No one,,,,embryony,class,polyembryonic,,,,,,,NOWHERE,x,\n");
    let known = catalogue::parse(&data::reference(), &[]).unwrap().crops;
    let text = catalogue::parse(&files, &known).unwrap_err().to_string();
    for part in [
        "stands twice",
        "cultivars.csv line 7: no crop \"durian\"",
        "rank: cultivar or group expected",
        "no record \"No one\"",
        "no source \"NOWHERE\"",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
}
