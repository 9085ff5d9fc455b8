//! How the server weighs growers' evidence: what changes a weight, and what cannot change a headline.

use scionary_proto::v1::{self, observed_thing::Thing};
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{day, observed},
};

use crate::evidence::{Club, add, check, finding, id, record, sprouts};

/// The nightly table: growers who were often right weigh more, others less; a suspended author does not count.
#[tokio::test]
async fn weights_follow_how_evidence_held_up() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let app = club.server.running.app().clone();
        let mut growers = Vec::new();
        for handle in ["ann", "ben", "cat", "liar"] {
            growers.push(club.grower(handle).await);
        }
        // Cultivars without published evidence on fibre.
        let registry = app.registry();
        let cultivars: Vec<String> = registry
            .records()
            .filter(|r| r.cultivar.crop == "mango" && !r.findings.iter().any(|f| f.descriptor == "fibre"))
            .map(|r| r.cultivar.id.to_string())
            .take(6)
            .collect();
        let first = cultivars[0].clone();
        for cultivar in &cultivars {
            for (n, who) in growers.iter().enumerate() {
                let state = if n == 3 { "high" } else { "none" };
                let draft = observed(Thing::Rating(v1::Rating {
                    descriptor_key: "fibre".into(),
                    state: state.into(),
                }));
                add(who, cultivar, draft).await.unwrap();
            }
        }
        assert!(app.weigh_growers(true).await.unwrap(), "a first table");
        assert!(!app.weigh_growers(true).await.unwrap(), "once a day");
        assert!(!app.weigh_growers(false).await.unwrap(), "and no new version when nothing changed");
        let of = async |who: &Raw, handle: &str| {
            let request = v1::GetGrowerRecordRequest { handle: handle.into() };
            who.call(&request).await
        };
        let (ann, liar) = (of(&growers[0], "").await.unwrap(), of(&growers[3], "").await.unwrap());
        assert_eq!((ann.right, ann.compared, ann.weights_version), (6.0, 6.0, 1));
        // Shrunk by four votes at .80: (6 + 3.2) / 10 and 3.2 / 10.
        assert!((ann.accuracy - 0.92).abs() < 1e-6 && (liar.accuracy - 0.32).abs() < 1e-6);
        assert!(ann.vote_weight > 2.0 && liar.vote_weight == 0.0);
        assert_eq!(record(&growers[0], &first).await.weights_version, 1);
        // Only the grower and curators see the record.
        assert_eq!(reason(&of(&growers[0], "liar").await.unwrap_err()), "ROLE_MISSING");
        let curator = club.curator("curator", "mango").await;
        assert_eq!(of(&curator, "liar").await.unwrap().pieces, 6);

        let suspend = v1::SuspendAccountRequest {
            handle: "liar".into(),
            reason: "Invented ratings for a month.".into(),
        };
        club.steward.call(&suspend).await.unwrap();
        let found = finding(&growers[0], &first, "fibre").await;
        assert_eq!(found.voices, 3);
        assert!(found.evidence.iter().any(|e| e.weight_reason.contains("suspended")));
        assert_eq!(reason(&add(&growers[3], &first, sprouts(1, 2)).await.unwrap_err()), "SESSION_OVER");
        let restore =
            v1::RestoreAccountRequest { handle: "liar".into(), reason: "It was a mistake of ours.".into() };
        club.steward.call(&restore).await.unwrap();
        assert_eq!(finding(&growers[0], &first, "fibre").await.voices, 4);
        let agreement: v1::GetAgreementResponse =
            growers[0].call(&v1::GetAgreementRequest { crop: "mango".into() }).await.unwrap();
        let fibre = agreement.descriptors.iter().find(|d| d.descriptor_key == "fibre").unwrap();
        assert!(fibre.records >= 6);
        assert!(fibre.alpha.is_some());
        club.server.stop().await;
    })
    .await;
}

/// A few seedlings neither make a monoembryonic cultivar's seed come true nor change what is published.
#[tokio::test]
async fn small_counts_change_no_headline() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let judged = |judged, off_type| {
            observed(Thing::Seedlings(v1::SeedlingTally {
                which: v1::JudgedSeedlings::AsTheyCame.into(),
                judged,
                off_type,
            }))
        };
        for (cultivar, few, off) in [("Tommy Atkins", 4, 0), ("Kent", 10, 3), ("Sabre", 24, 3)] {
            let before = record(&ann, cultivar).await;
            add(&ann, cultivar, judged(few, off)).await.unwrap();
            let after = record(&ann, cultivar).await;
            assert_eq!(after.summary, before.summary, "{cultivar}");
            // The count is shown, and the answer stays.
            if cultivar != "Sabre" {
                assert_eq!(after.headline, before.headline, "{cultivar}");
            }
        }
        club.server.stop().await;
    })
    .await;
}

/// A citation counts as its author's own word until an independent person checks it; an invented one adds nothing.
#[tokio::test]
async fn invented_citations_make_nobody_louder() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (joe, ann) = (club.grower("joe").await, club.grower("ann").await);
        let says = |citation: &str| v1::EvidenceDraft {
            published: !citation.is_empty(),
            citation: citation.into(),
            ..observed(Thing::Statement(v1::Statement {
                descriptor_key: "embryony".into(),
                state: "polyembryonic".into(),
                text: String::new(),
            }))
        };
        // A cultivar without any evidence on embryony.
        let registry = club.server.running.app().registry();
        let blank = registry
            .records()
            .find(|r| r.cultivar.crop == "mango" && !r.findings.iter().any(|f| f.descriptor == "embryony"))
            .map(|r| r.cultivar.id.to_string())
            .unwrap();
        add(&joe, &blank, says("")).await.unwrap();
        for n in 0..5 {
            add(&joe, &blank, says(&format!("Smith {} My mangoes, part {n}", 2000 + n))).await.unwrap();
        }
        let alone = finding(&joe, &blank, "embryony").await;
        assert_eq!((alone.voices, alone.standing()), (1, v1::Standing::Thin), "{}", alone.text);
        assert!(alone.sides[0].source_ids.is_empty(), "no source is named that was not looked up");
        let cited = alone.evidence.iter().find(|e| e.citation.starts_with("Smith 2000")).unwrap();
        check(&ann, &cited.evidence_id, v1::CheckVerdict::Agrees).await.unwrap();
        let looked_up = finding(&joe, &blank, "embryony").await;
        assert_eq!(looked_up.sides[0].source_ids.len(), 1);
        assert_eq!(looked_up.voices, 1, "and joe is no more independent for it");
        club.server.stop().await;
    })
    .await;
}

/// A correction of the day alone keeps the rest; a tally takes tree and seeds from its sowing, and no more seeds.
#[tokio::test]
async fn what_is_not_said_again_stays() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let request = v1::CreateSowingRequest {
            cultivar: "Keitt".into(),
            seeds: 20,
            tree: "by the gate".into(),
            ..Default::default()
        };
        let sowing: v1::CreateSowingResponse = ann.call(&request).await.unwrap();
        let tally = |draft| v1::CreateEvidenceRequest {
            cultivar: "Keitt".into(),
            sowing_id: sowing.sowing.clone().unwrap().sowing_id,
            draft: Some(draft),
            ..Default::default()
        };
        let many = v1::SowingTally { sown: Some(400), sprouted: Some(300), ..Default::default() };
        let many = tally(observed(Thing::Sowing(many)));
        let error = ann.call(&many).await.unwrap_err();
        assert_eq!(wrong_fields(&error), ["observed[0].sowing.sown"]);
        let made: v1::CreateEvidenceResponse = ann.call(&tally(sprouts(12, 3))).await.unwrap();
        let said: Vec<String> = made.evidence.iter().map(|d| d.evidence.clone().unwrap().as_stated).collect();
        assert_eq!(said, ["15 of 20", "3 of 15"], "germination is known from the sowing");
        assert_eq!(made.evidence[0].evidence.clone().unwrap().tree, "by the gate");
        let correct = |day| v1::CorrectEvidenceRequest {
            evidence_id: id(&made.evidence[0]),
            draft: Some(v1::EvidenceDraft { day: Some(day), ..Default::default() }),
            reason: "The day was wrong.".into(),
        };
        let same = ann.call(&correct(day(2026, 3, 1))).await;
        assert_eq!(wrong_fields(&same.unwrap_err()), ["observed"], "nothing would change");
        let fresh: v1::CorrectEvidenceResponse = ann.call(&correct(day(2026, 2, 27))).await.unwrap();
        let now: Vec<String> = fresh.evidence.iter().map(|d| d.evidence.clone().unwrap().as_stated).collect();
        assert_eq!(now, ["3 of 15", "15 of 20"], "the same, in the order of the crop's descriptors");
        assert_eq!(fresh.evidence[1].evidence.clone().unwrap().day, Some(day(2026, 2, 27)));
        club.server.stop().await;
    })
    .await;
}
