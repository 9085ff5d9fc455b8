//! Proposals, decisions, merges, history and exports: over the wire, on both databases.

use prost::Message as _;
use scionary_domain::passport;
use scionary_proto::{
    Rpc,
    v1::{self, change::Change, observed_thing::Thing},
};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{reason, wrong_fields},
    on_both,
    samples::{draft, observed},
};
use tonic::Status;

use crate::evidence::{Club, add, check, finding, id, record, sprouts};

async fn propose(who: &Raw, cultivar: &str, change: Change) -> Result<v1::Proposal, Status> {
    propose_on(who, cultivar, change, "").await
}

async fn propose_on(
    who: &Raw,
    cultivar: &str,
    change: Change,
    citation: &str,
) -> Result<v1::Proposal, Status> {
    let request = v1::CreateProposalRequest {
        cultivar: cultivar.into(),
        crop: "mango".into(),
        change: Some(v1::Change { change: Some(change) }),
        reason: "As the growers here know it.".into(),
        citation: citation.into(),
    };
    let reply = who.call(&request).await?;
    Ok(reply.proposal.unwrap())
}

async fn rule(who: &Raw, proposal: &v1::Proposal, accept: bool) -> Result<v1::Proposal, Status> {
    let request = v1::DecideProposalRequest {
        proposal_id: proposal.proposal_id.clone(),
        accept: Some(accept),
        reason: "Compared with the source.".into(),
    };
    let reply = who.call(&request).await?;
    Ok(reply.proposal.unwrap())
}

/// Proposes a change and has the curator accept it.
async fn changed(ann: &Raw, curator: &Raw, cultivar: &str, change: Change) -> v1::Proposal {
    let proposal = propose_on(ann, cultivar, change, "Reed 1930, Fruit Notes, p. 4").await.unwrap();
    rule(curator, &proposal, true).await.unwrap()
}

async fn history(who: &Raw, cultivar: &str) -> Vec<v1::RecordEvent> {
    let request = v1::GetHistoryRequest {
        cultivar: cultivar.into(),
        crop: "mango".into(),
        page_size: 100,
        ..Default::default()
    };
    who.call(&request).await.unwrap().events
}

fn new_cultivar(name: &str) -> Change {
    Change::NewCultivar(v1::NewCultivar { name: name.into(), ..Default::default() })
}

#[tokio::test]
async fn a_proposal_goes_its_way_with_four_eyes() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.newcomer("ann").await, club.grower("ben").await);
        let curator = club.curator("curator", "mango").await;
        let citrus = club.curator("other", "citrus").await;
        let proposal = propose(&ann, "", new_cultivar("Lantern Moth")).await.unwrap();
        assert_eq!(proposal.state(), v1::ProposalState::Open);
        assert_eq!(proposal.differences[0].after, "Lantern Moth");
        assert_eq!(reason(&rule(&ben, &proposal, true).await.unwrap_err()), "ROLE_MISSING");
        assert_eq!(
            reason(&rule(&citrus, &proposal, true).await.unwrap_err()),
            "ROLE_MISSING",
            "another crop's"
        );
        let own = propose(&curator, "", new_cultivar("Paper Boat")).await.unwrap();
        assert_eq!(reason(&rule(&curator, &own, true).await.unwrap_err()), "OWN_WORK");
        assert!(rule(&club.steward, &own, false).await.unwrap().outcome.is_empty());

        let queue = v1::ListProposalsRequest {
            crop: "mango".into(),
            state: v1::ProposalState::Open.into(),
            ..Default::default()
        };
        let queue: v1::ListProposalsResponse = ben.call(&queue).await.unwrap();
        assert_eq!(queue.proposals.len(), 1);
        let done = rule(&curator, &proposal, true).await.unwrap();
        assert!(done.outcome.contains("is on file as cul_"), "{}", done.outcome);
        assert_eq!(done.ruled_by_name, "curator of the club");
        let made = record(&ben, "lantern moth").await;
        assert_eq!(made.botanical_name, "Mangifera indica L.");
        assert_eq!(history(&ben, "Lantern Moth").await[0].action, "record made");
        let again = rule(&club.steward, &proposal, false).await.unwrap_err();
        assert_eq!(reason(&again), "PROPOSAL_CLOSED");
        assert!(again.message().contains("accepted already by curator of the club"), "{}", again.message());
        // Withdrawn before a decision.
        let mine = propose(&ann, "", new_cultivar("Quiet Harbour")).await.unwrap();
        let withdraw = v1::WithdrawProposalRequest { proposal_id: mine.proposal_id.clone() };
        let foreign = ben.call(&withdraw).await;
        assert_eq!(reason(&foreign.unwrap_err()), "NOT_THE_AUTHOR");
        ann.call(&withdraw).await.unwrap();
        assert_eq!(reason(&rule(&curator, &mine, true).await.unwrap_err()), "PROPOSAL_CLOSED");
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn of_two_curators_one_rules_and_the_other_is_told() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let curators = [club.curator("one", "mango").await, club.curator("two", "mango").await];
        for n in 0..8 {
            let name = Change::AddName(v1::AddName { name: format!("Lantern {n}"), ..Default::default() });
            let proposal = propose(&ann, "Keitt", name).await.unwrap();
            let calls: Vec<_> = curators
                .iter()
                .cloned()
                .enumerate()
                .map(|(at, who)| {
                    let proposal = proposal.clone();
                    tokio::spawn(async move { rule(&who, &proposal, at == 0).await })
                })
                .collect();
            let mut won = 0;
            for call in calls {
                match call.await.unwrap() {
                    Ok(_) => won += 1,
                    Err(error) => assert_eq!(reason(&error), "PROPOSAL_CLOSED", "{}", error.message()),
                }
            }
            assert_eq!(won, 1);
        }
        // Every accepted proposal is in the record and its history.
        let names = record(&ann, "Keitt").await.names;
        let lanterns = names.iter().filter(|n| n.name.starts_with("Lantern")).count();
        let events = history(&ann, "Keitt").await;
        assert_eq!(events.iter().filter(|e| e.action == "add name").count(), lanterns);
        assert_eq!(events.iter().filter(|e| e.action == "proposal refused").count(), 8 - lanterns);
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn names_are_checked_by_the_rules_with_their_source() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        for (name, said) in [
            ("Earliest of All", "RHS-NAMING"),
            ("Apricot Variety", "VKC"),
            ("7", "RHS-NAMING"),
            ("Keitt", "ISHS-NAME"),
            ("ké itt", "ISHS-NAME"),
        ] {
            let error = propose(&ann, "", new_cultivar(name)).await.unwrap_err();
            assert!(wrong_fields(&error).contains(&"change.name".to_string()), "{name}");
            assert!(error.message().contains(said), "{name}: {}", error.message());
        }
        // Another denomination class can use the name: Simmonds is a mango and an avocado (ISHS-NAME).
        let check = v1::CheckNameRequest { crop: "citrus".into(), name: "Keitt".into(), historic: false };
        let other: v1::CheckNameResponse = ann.call(&check).await.unwrap();
        assert!(other.acceptable && other.remarks[0].text.contains("another denomination class"));
        // A historic name stays unchanged.
        let old =
            Change::NewCultivar(v1::NewCultivar { name: "4/9".into(), historic: true, ..Default::default() });
        let old = propose(&ann, "", old).await.unwrap();
        assert!(old.remarks.iter().all(|r| !r.severe));
        club.server.stop().await;
    })
    .await;
}

/// Evidence, offers and look-ups follow the record that stays; the old id leads there; undoing restores everything.
#[tokio::test]
async fn a_merge_keeps_everything_and_can_be_undone() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let curator = club.curator("curator", "mango").await;
        add(&ann, "Keitt", sprouts(3, 30)).await.unwrap();
        add(&ben, "Kent", sprouts(2, 25)).await.unwrap();
        let offer = v1::OfferDraft { cultivar: "Keitt".into(), ..draft() };
        let posted: v1::CreateOfferResponse =
            ann.call(&v1::CreateOfferRequest { offer: Some(offer) }).await.unwrap();
        let keitt = record(&ann, "Keitt").await.summary.unwrap().cultivar_id;
        let kent = record(&ann, "Kent").await.summary.unwrap().cultivar_id;
        let (before_keitt, before_kent) = (record(&ann, &keitt).await, record(&ann, &kent).await);

        let merge = || Change::Merge(v1::Merge { into_cultivar_id: kent.clone() });
        let proposal = propose(&ann, "Keitt", merge()).await.unwrap();
        assert_eq!(proposal.offer_count, 1, "the impact is shown");
        rule(&curator, &proposal, true).await.unwrap();
        // The old id and the old name lead to the record that stays.
        for asked in [keitt.as_str(), "Keitt"] {
            let found = record(&ann, asked).await;
            assert_eq!(found.summary.unwrap().cultivar_id, kent);
            assert_eq!(found.merged_cultivar_ids, std::slice::from_ref(&keitt));
        }
        assert_eq!(finding(&ann, "Kent", "multi_sprout_seeds").await.counted, 60);
        let search = v1::SearchOffersRequest { name: "Kent".into(), ..Default::default() };
        let found: v1::SearchOffersResponse = ben.call(&search).await.unwrap();
        assert_eq!(found.offers[0].offer.clone().unwrap().offer_id, posted.offer.clone().unwrap().offer_id);
        assert_eq!(found.offers[0].offer.clone().unwrap().cultivar_id, kent);
        let look = v1::LookUpSeedRequest { name: "Keitt".into(), crop: "mango".into() };
        let look: v1::LookUpSeedResponse = ann.call(&look).await.unwrap();
        assert_eq!(look.report.unwrap().cultivar.unwrap().name, "Kent");
        // Evidence entered under the old id meanwhile belongs to the record that stays.
        let late = add(&ann, &keitt, sprouts(1, 11)).await.unwrap();
        assert_eq!(late[0].cultivar_id, kent);
        let twice = propose(&ann, &keitt, merge()).await.unwrap_err();
        assert_eq!(wrong_fields(&twice), ["change.into_cultivar_id"]);

        let undo = propose(&ann, &keitt, Change::UndoMerge(v1::UndoMerge {})).await.unwrap();
        rule(&curator, &undo, true).await.unwrap();
        let (after_keitt, after_kent) = (record(&ann, &keitt).await, record(&ann, &kent).await);
        assert_eq!(after_keitt.findings, before_keitt.findings);
        assert_eq!(after_keitt.names, before_keitt.names);
        assert_eq!(after_kent.names, before_kent.names);
        assert_eq!(
            finding(&ann, "Kent", "multi_sprout_seeds").await.counted,
            27 + 12,
            "what came meanwhile stays"
        );
        let actions: Vec<String> = history(&ann, &keitt).await.into_iter().map(|e| e.action).collect();
        assert_eq!(actions, ["merge undone", "merged"]);
        // Another server on the database, or a restarted one, sees the same.
        let url = url.clone();
        club.server.stop().await;
        let server = TestServer::start(&url).await;
        assert_eq!(record(&server.raw(), &keitt).await.findings, before_keitt.findings);
        server.stop().await;
    })
    .await;
}

/// Two merges in opposite directions, decided at once, leave one record.
#[tokio::test]
async fn merges_at_once_never_swallow_each_other() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let curators = [club.curator("one", "mango").await, club.curator("two", "mango").await];
        let ids = [
            record(&ann, "Keitt").await.summary.unwrap().cultivar_id,
            record(&ann, "Kent").await.summary.unwrap().cultivar_id,
        ];
        let mut proposals = Vec::new();
        for at in 0..2 {
            let merge = Change::Merge(v1::Merge { into_cultivar_id: ids[1 - at].clone() });
            proposals.push(propose(&ann, &ids[at], merge).await.unwrap());
        }
        let calls: Vec<_> = proposals
            .into_iter()
            .zip(curators)
            .map(|(proposal, who)| tokio::spawn(async move { rule(&who, &proposal, true).await.is_ok() }))
            .collect();
        let mut won = 0;
        for call in calls {
            won += usize::from(call.await.unwrap());
        }
        assert_eq!(won, 1);
        let stands = record(&ann, &ids[0]).await;
        assert_eq!(stands.summary.unwrap(), record(&ann, &ids[1]).await.summary.unwrap());
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn changes_make_versions_and_any_of_them_can_come_back() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let curator = club.curator("curator", "mango").await;
        let first = record(&ann, "Keitt").await;
        let keitt = first.summary.clone().unwrap().cultivar_id;
        let rename =
            Change::Rename(v1::Rename { name: "Paper Lantern".into(), keep_old: true, ..Default::default() });
        let renamed = changed(&ann, &curator, "Keitt", rename).await;
        assert!(renamed.differences.is_empty(), "of a closed one nothing is to be compared");
        assert_eq!(record(&ann, "Paper Lantern").await.summary.unwrap().cultivar_id, keitt);
        assert_eq!(
            record(&ann, "Keitt").await.summary.unwrap().name,
            "Paper Lantern",
            "the old name leads there"
        );
        let parent = Change::AddParent(v1::AddParent {
            role: v1::ParentRole::Seed.into(),
            name: "Quiet Harbour".into(),
            disputed: true,
        });
        changed(&ann, &curator, &keitt, parent).await;
        let notes =
            Change::Describe(v1::Describe { notes: Some("A late one.".into()), ..Default::default() });
        changed(&ann, &curator, &keitt, notes).await;
        let now = record(&ann, &keitt).await;
        assert_eq!((now.version, now.notes.as_str()), (first.version + 3, "A late one."));
        assert!(now.parents.iter().any(|p| p.name == "Quiet Harbour" && p.disputed));
        // A finding set on a citation replaces what the evidence says, until it is unset.
        let without = propose(
            &ann,
            &keitt,
            Change::SetFinding(v1::SetFinding {
                descriptor_key: "embryony".into(),
                state: "both".into(),
                text: String::new(),
            }),
        );
        assert_eq!(wrong_fields(&without.await.unwrap_err()), ["citation"]);
        let set = Change::SetFinding(v1::SetFinding {
            descriptor_key: "embryony".into(),
            state: "both".into(),
            text: String::new(),
        });
        changed(&ann, &curator, &keitt, set).await;
        let found = finding(&ann, &keitt, "embryony").await;
        assert_eq!(found.set_on_citation, "Reed 1930, Fruit Notes, p. 4");
        assert_eq!(record(&ann, &keitt).await.summary.unwrap().seed_answer(), v1::SeedAnswer::BothKinds);
        let unset = Change::UnsetFinding(v1::UnsetFinding { descriptor_key: "embryony".into() });
        changed(&ann, &curator, &keitt, unset).await;
        assert_eq!(
            record(&ann, &keitt).await.summary.unwrap().seed_answer,
            first.summary.clone().unwrap().seed_answer
        );
        // Revert to the first version.
        let back = Change::Revert(v1::Revert { to_version: first.version });
        changed(&ann, &curator, &keitt, back).await;
        let again = record(&ann, &keitt).await;
        assert_eq!(again.version, first.version + 6);
        assert_eq!((again.names, again.parents, again.notes), (first.names, first.parents, first.notes));
        assert_eq!(again.summary.unwrap(), first.summary.unwrap());
        let gone = propose(&ann, &keitt, Change::Revert(v1::Revert { to_version: 99 })).await;
        assert!(gone.unwrap_err().message().contains("version 99 is not kept"));
        let words = Change::DescriptorText(v1::DescriptorText {
            descriptor_key: "fibre".into(),
            observe: Some("Cut along the stone and taste.".into()),
            ..Default::default()
        });
        changed(&ann, &curator, "", words).await;
        let crop: v1::GetCropResponse = ann.call(&v1::GetCropRequest { crop: "mango".into() }).await.unwrap();
        let fibre = crop.descriptors.iter().find(|d| d.descriptor_key == "fibre").unwrap();
        assert_eq!(fibre.observe, "Cut along the stone and taste.");
        // Reloading a catalogue keeps the curators' decisions.
        let url = url.clone();
        use sea_orm::ConnectionTrait as _;
        let rename = Change::Rename(v1::Rename { name: "Paper Lantern".into(), ..Default::default() });
        changed(&ann, &curator, &keitt, rename).await;
        let db = club.server.running.app().store().admin().clone();
        db.execute_unprepared("UPDATE setting SET value = 'old' WHERE name LIKE 'catalogue.%'")
            .await
            .unwrap();
        let count = club.server.running.app().registry().record_count();
        club.server.stop().await;
        let server = TestServer::start(&url).await;
        assert_eq!(server.running.app().registry().record_count(), count, "no twin under the old name");
        assert_eq!(record(&server.raw(), &keitt).await.summary.unwrap().name, "Paper Lantern");
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn a_split_gives_a_hidden_cultivar_its_own_evidence() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let curator = club.curator("curator", "mango").await;
        add(&ann, "Keitt", sprouts(30, 2)).await.unwrap();
        let odd = add(&ben, "Keitt", sprouts(1, 30)).await.unwrap();
        assert_eq!(finding(&ann, "Keitt", "multi_sprout_seeds").await.standing(), v1::Standing::Contested);
        let foreign = add(&ben, "Kent", sprouts(1, 9)).await.unwrap();
        let split = |ids: Vec<String>| {
            Change::Split(v1::Split { name: "Quiet Harbour".into(), evidence_ids: ids, ..Default::default() })
        };
        let wrong = propose(&ann, "Keitt", split(vec![id(&foreign[0])])).await.unwrap_err();
        assert_eq!(wrong_fields(&wrong), ["change.evidence_ids"]);
        let done = changed(&ann, &curator, "Keitt", split(vec![id(&odd[0])])).await;
        assert!(done.outcome.contains("with 1 pieces of evidence"), "{}", done.outcome);
        assert_ne!(finding(&ann, "Keitt", "multi_sprout_seeds").await.standing(), v1::Standing::Contested);
        assert_eq!(finding(&ann, "Quiet Harbour", "multi_sprout_seeds").await.of_these, 30);
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn a_locked_record_takes_nothing_and_says_why() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let curator = club.curator("curator", "mango").await;
        let lock = |lock| v1::LockRecordRequest {
            cultivar: "Keitt".into(),
            crop: "mango".into(),
            lock: Some(lock),
            reason: "Two trees are mixed up here.".into(),
        };
        curator.call(&lock(true)).await.unwrap();
        let error = add(&ann, "Keitt", sprouts(1, 2)).await.unwrap_err();
        assert_eq!(reason(&error), "RECORD_LOCKED");
        assert!(error.message().contains("Two trees are mixed up here."));
        let name = || Change::AddName(v1::AddName { name: "Lantern".into(), ..Default::default() });
        assert_eq!(reason(&propose(&ann, "Keitt", name()).await.unwrap_err()), "RECORD_LOCKED");
        assert!(record(&ann, "Keitt").await.locked_why.contains("mixed up"));
        let twice = curator.call(&lock(true)).await;
        assert_eq!(reason(&twice.unwrap_err()), "LOCKED_ALREADY");
        curator.call(&lock(false)).await.unwrap();
        add(&ann, "Keitt", sprouts(1, 2)).await.unwrap();
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn complaints_are_seen_by_those_who_handle_them() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let curator = club.curator("curator", "mango").await;
        let file = |subject: v1::TicketSubject, id: &str| v1::CreateTicketRequest {
            subject: subject.into(),
            subject_id: id.into(),
            reason: "This cannot be right.".into(),
        };
        let about_record: v1::CreateTicketResponse =
            ann.call(&file(v1::TicketSubject::Cultivar, "Keitt")).await.unwrap();
        let about_ben: v1::CreateTicketResponse =
            ann.call(&file(v1::TicketSubject::Account, "ben")).await.unwrap();
        let list = async |who: &Raw| {
            let request = v1::ListTicketsRequest { open_only: true, ..Default::default() };
            who.call(&request).await.unwrap().tickets.len()
        };
        assert_eq!(
            (list(&ann).await, list(&ben).await, list(&curator).await, list(&club.steward).await),
            (2, 0, 1, 2)
        );
        let close = |ticket: &v1::CreateTicketResponse| v1::CloseTicketRequest {
            ticket_id: ticket.ticket.clone().unwrap().ticket_id,
            outcome: "Looked at; it is right.".into(),
        };
        let error = curator.call(&close(&about_ben)).await;
        assert_eq!(reason(&error.unwrap_err()), "NOT_FOUND", "of people only stewards know");
        curator.call(&close(&about_record)).await.unwrap();
        let twice = curator.call(&close(&about_record)).await;
        assert_eq!(reason(&twice.unwrap_err()), "TICKET_CLOSED");
        club.server.stop().await;
    })
    .await;
}

async fn export(who: &Raw, format: v1::ExportFormat, crop: &str) -> String {
    let request = v1::ExportRequest { format: format.into(), crop: crop.into() };
    let chunks = who.stream(Rpc::ExportExport.path(), request.encode_to_vec()).await.unwrap();
    let bytes = chunks.iter().flat_map(|c| v1::ExportResponse::decode(c.as_slice()).unwrap().chunk).collect();
    String::from_utf8(bytes).unwrap()
}

async fn export_registry(steward: &Raw) -> String {
    let request = v1::ExportRegistryRequest::default();
    let chunks = steward.stream(Rpc::ExportExportRegistry.path(), request.encode_to_vec()).await.unwrap();
    let bytes =
        chunks.iter().flat_map(|c| v1::ExportRegistryResponse::decode(c.as_slice()).unwrap().chunk).collect();
    String::from_utf8(bytes).unwrap()
}

/// Another server imports the export and gets the same findings, byte for byte, from the stored evidence alone.
#[tokio::test]
async fn findings_come_out_the_same_on_another_server() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let mut growers = Vec::new();
        for handle in ["ann", "ben", "cat"] {
            growers.push(club.grower(handle).await);
        }
        let curator = club.curator("curator", "mango").await;
        let newcomer = club.newcomer("newcomer").await;
        for (n, who) in growers.iter().enumerate() {
            let n = i32::try_from(n).unwrap();
            add(who, "Keitt", sprouts(1 + n, 30 + 3 * n)).await.unwrap();
            let rating = Thing::Rating(v1::Rating { descriptor_key: "fibre".into(), state: "low".into() });
            add(who, "Keitt", observed(rating)).await.unwrap();
        }
        let piece = add(&newcomer, "Kent", sprouts(9, 9)).await.unwrap();
        check(&growers[0], &id(&piece[0]), v1::CheckVerdict::Agrees).await.unwrap();
        check(&growers[1], &id(&piece[0]), v1::CheckVerdict::Doubts).await.unwrap();
        changed(&growers[0], &curator, "", new_cultivar("Lantern Moth")).await;
        let moth = record(&newcomer, "Lantern Moth").await.summary.unwrap().cultivar_id;
        changed(
            &growers[0],
            &curator,
            &moth,
            Change::Merge(v1::Merge {
                into_cultivar_id: record(&newcomer, "Kent").await.summary.unwrap().cultivar_id,
            }),
        )
        .await;
        assert!(club.server.running.app().weigh_growers(false).await.unwrap());

        let visitor = club.server.raw();
        let findings = export(&visitor, v1::ExportFormat::FindingsJson, "").await;
        let whole = export_registry(&club.steward).await;
        for secret in ["ann of the club", "newcomer", "curator of"] {
            assert!(!whole.contains(secret) && !findings.contains(secret), "no names of people go out");
        }
        let other = Database::empty_sqlite();
        let second = TestServer::with(&other.url, &["data.reference_catalogue=false"]).await;
        let app = second.running.app();
        let done = app.import_registry(std::io::Cursor::new(whole.clone())).await.unwrap();
        assert_eq!(done.records, 554);
        assert_eq!(
            export(&second.raw(), v1::ExportFormat::FindingsJson, "").await,
            findings,
            "byte for byte"
        );
        assert_eq!(record(&second.raw(), "Lantern Moth").await.summary.unwrap().name, "Kent");
        // A second import enters nothing twice.
        let again = app.import_registry(std::io::Cursor::new(whole.clone())).await.unwrap();
        assert_eq!((again.records, again.evidence), (0, 0));
        assert_eq!(export(&second.raw(), v1::ExportFormat::FindingsJson, "").await, findings);
        // A truncated file, and one that is not an export, are refused with the line.
        let cut: String = whole.lines().take(50).map(|l| format!("{l}\n")).collect();
        let error = app.import_registry(std::io::Cursor::new(cut)).await.unwrap_err();
        assert!(error.to_string().contains("the file is cut"), "{error}");
        let error = app.import_registry(std::io::Cursor::new("{}\n".to_string())).await.unwrap_err();
        assert!(error.to_string().contains("line 1"), "{error}");
        second.stop().await;
        club.server.stop().await;
    })
    .await;
}

/// FAO/Bioversity Multi-Crop Passport Descriptors V.2.1 (2015): every cell has the form that the standard asks for.
#[tokio::test]
async fn passports_have_the_standards_form() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let text = export(&server.raw(), v1::ExportFormat::PassportCsv, "").await;
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    assert_eq!(reader.headers().unwrap().iter().collect::<Vec<_>>(), passport::FIELDS);
    let mut rows = 0;
    for row in reader.records() {
        let row: Vec<String> = row.unwrap().iter().map(str::to_string).collect();
        assert_eq!(passport::check(&row), [], "{row:?}");
        rows += 1;
    }
    assert_eq!(rows, 553);
    assert!(text.contains("Mangifera,indica,L."));
    server.stop().await;
}
