//! Growers' evidence over the wire, on both databases.

use scionary_proto::{
    Rpc,
    v1::{self, observed_thing::Thing},
};
use scionary_tests::{
    Raw, TestServer,
    client::{PASSWORD, fresh_key, reason, wrong_fields},
    on_both,
    samples::{day, observed},
};
use tonic::Status;

/// A club: a steward, and growers whom the steward vouches for.
pub struct Club {
    pub server: TestServer,
    pub steward: Raw,
}

impl Club {
    pub async fn open(url: &str) -> Self {
        let server = TestServer::start(url).await;
        let code = server.running.app().first_steward_code().await.unwrap();
        server.raw().sign_up("steward", &code).await.unwrap();
        let steward = server.raw().sign_in("steward", PASSWORD).await.unwrap();
        Self { server, steward }
    }
    /// Signs up a person whom no one vouches for.
    pub async fn newcomer(&self, handle: &str) -> Raw {
        self.server.raw().member(handle).await
    }
    /// Signs up a person whom the steward vouches for.
    pub async fn grower(&self, handle: &str) -> Raw {
        let who = self.newcomer(handle).await;
        let request = v1::CreateVouchRequest { handle: handle.into(), reason: String::new() };
        self.steward.call(&request).await.unwrap();
        who
    }
    /// Signs up a person with a member's invitation.
    pub async fn guest_of(&self, host: &Raw, handle: &str) -> Raw {
        let invited: v1::CreateInvitationResponse =
            host.call(&v1::CreateInvitationRequest::default()).await.unwrap();
        self.server.raw().sign_up(handle, &invited.code).await.unwrap();
        self.server.raw().sign_in(handle, PASSWORD).await.unwrap()
    }
    pub async fn curator(&self, handle: &str, crop: &str) -> Raw {
        let who = self.grower(handle).await;
        let request =
            v1::GrantRoleRequest { handle: handle.into(), role: v1::Role::Curator.into(), crop: crop.into() };
        self.steward.call(&request).await.unwrap();
        who
    }
}

pub async fn add(
    who: &Raw,
    cultivar: &str,
    draft: v1::EvidenceDraft,
) -> Result<Vec<v1::EvidenceDetail>, Status> {
    let request = v1::CreateEvidenceRequest {
        cultivar: cultivar.into(),
        crop: "mango".into(),
        draft: Some(draft),
        ..Default::default()
    };
    who.call(&request).await.map(|r| r.evidence)
}

pub fn id(detail: &v1::EvidenceDetail) -> String {
    detail.evidence.clone().unwrap().evidence_id
}

pub async fn record(who: &Raw, cultivar: &str) -> v1::GetCultivarResponse {
    let request = v1::GetCultivarRequest { cultivar: cultivar.into(), crop: "mango".into() };
    who.call(&request).await.unwrap()
}

pub async fn finding(who: &Raw, cultivar: &str, key: &str) -> v1::Finding {
    record(who, cultivar)
        .await
        .findings
        .into_iter()
        .find(|f| f.descriptor_key == key)
        .unwrap_or_else(|| panic!("a finding on {key}"))
}

pub fn sprouts(one: i32, several: i32) -> v1::EvidenceDraft {
    observed(Thing::Sowing(v1::SowingTally { one: Some(one), several: Some(several), ..Default::default() }))
}

pub async fn check(who: &Raw, id: &str, verdict: v1::CheckVerdict) -> Result<v1::EvidenceDetail, Status> {
    let request = v1::CheckEvidenceRequest {
        evidence_id: id.into(),
        verdict: verdict.into(),
        reason: "I saw it myself.".into(),
    };
    who.call(&request).await.map(|r| r.evidence.unwrap())
}

/// The life of a tally: entered, without weight, agreed with, vouched, corrected, withdrawn; the history stays.
#[tokio::test]
async fn a_tally_becomes_a_finding_and_can_be_taken_back() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.newcomer("ann").await, club.grower("ben").await);
        let full = observed(Thing::Sowing(v1::SowingTally {
            sown: Some(40),
            sprouted: Some(36),
            one: Some(3),
            two: Some(10),
            more: Some(23),
            several: None,
        }));
        let full = v1::EvidenceDraft {
            place: Some(v1::Place {
                area_code: "XB-NS".into(),
                grid_code: "2CGV2200+".into(),
                label: "Larkwater".into(),
            }),
            tree: "by the gate".into(),
            ..full
        };
        let pieces = add(&ann, "Keitt", full.clone()).await.unwrap();
        assert_eq!(pieces.len(), 3, "one tally answers three questions");
        let keys: Vec<String> = pieces.iter().map(|p| p.evidence.clone().unwrap().descriptor_key).collect();
        assert_eq!(keys, ["germination", "multi_sprout_seeds", "double_sprout_seeds"]);
        let several = id(&pieces[1]);

        // No one vouched for ann: her evidence is shown, without weight.
        let found = finding(&ann, "Keitt", "multi_sprout_seeds").await;
        assert_eq!((found.counted, found.standing()), (0, v1::Standing::Unknown));
        assert!(found.evidence[0].weight_reason.contains("vouched"), "{}", found.evidence[0].weight_reason);

        // Growers cannot check their own evidence; a vouched grower's check makes it count.
        assert_eq!(reason(&check(&ann, &several, v1::CheckVerdict::Agrees).await.unwrap_err()), "OWN_WORK");
        let checked = check(&ben, &several, v1::CheckVerdict::Agrees).await.unwrap();
        assert_eq!(checked.checks.len(), 1);
        let found = finding(&ann, "Keitt", "multi_sprout_seeds").await;
        assert_eq!((found.counted, found.of_these, found.voices), (36, 33, 1));
        let borne_out = found.evidence[0].weight;

        // The check is withdrawn: no weight. Then the steward vouches: it counts, without the agreement.
        let request = v1::WithdrawCheckRequest { evidence_id: several.clone() };
        ben.call(&request).await.unwrap();
        assert_eq!(finding(&ann, "Keitt", "multi_sprout_seeds").await.counted, 0);
        let vouch = v1::CreateVouchRequest { handle: "ann".into(), reason: "From our club.".into() };
        club.steward.call(&vouch).await.unwrap();
        let found = finding(&ann, "Keitt", "multi_sprout_seeds").await;
        assert!((found.evidence[0].weight / borne_out - 0.7).abs() < 1e-9, "a count by itself weighs 0.7");

        // The same tally again is a mistake.
        let twin = add(&ann, "Keitt", full.clone()).await.unwrap_err();
        assert_eq!(wrong_fields(&twin), ["observed"]);

        // Only the author corrects; the old piece ends and names its successor.
        let correction = v1::CorrectEvidenceRequest {
            evidence_id: several.clone(),
            draft: Some(sprouts(4, 32)),
            reason: "One seed was miscounted.".into(),
        };
        let foreign = ben.call(&correction).await;
        assert_eq!(reason(&foreign.unwrap_err()), "NOT_THE_AUTHOR");
        let fresh: v1::CorrectEvidenceResponse = ann.call(&correction).await.unwrap();
        let get = v1::GetEvidenceRequest { evidence_id: several.clone() };
        let old: v1::GetEvidenceResponse = ann.call(&get).await.unwrap();
        let old = old.evidence.unwrap();
        assert_eq!(old.ended_why, "corrected: One seed was miscounted.");
        assert_eq!(old.replaced_by, id(&fresh.evidence[0]));
        let kept = fresh.evidence[0].evidence.clone().unwrap();
        assert_eq!(
            (kept.tree.as_str(), kept.place.as_str()),
            ("by the gate", "Larkwater, XB-NS"),
            "what is not mentioned stays"
        );
        assert_eq!(finding(&ann, "Keitt", "multi_sprout_seeds").await.of_these, 32);
        let ended = ann.call(&correction).await;
        assert_eq!(reason(&ended.unwrap_err()), "EVIDENCE_ENDED");
        // Evidence on other traits of the same report stays.
        assert_eq!(finding(&ann, "Keitt", "germination").await.counted, 40);

        let withdraw = v1::WithdrawEvidenceRequest {
            evidence_id: id(&fresh.evidence[0]),
            whole_report: false,
            reason: "The tray was mixed up.".into(),
        };
        ann.call(&withdraw).await.unwrap();
        assert!(
            !record(&ann, "Keitt").await.findings.iter().any(|f| f.descriptor_key == "multi_sprout_seeds")
        );
        let mine: v1::ListMyEvidenceResponse = ann.call(&v1::ListMyEvidenceRequest::default()).await.unwrap();
        assert_eq!(mine.evidence.len(), 4, "what was taken back stays in one's own list");
        let history = v1::GetHistoryRequest { cultivar: "Keitt".into(), ..Default::default() };
        let history: v1::GetHistoryResponse = ann.call(&history).await.unwrap();
        let actions: Vec<&str> = history.events.iter().map(|e| e.action.as_str()).collect();
        assert_eq!(actions, ["evidence withdrawn", "evidence corrected"]);
        assert!(history.events[1].detail.contains("33 of 36 became 32 of 36"));
        assert_eq!(history.events[0].by_name, "ann of the club");
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn everything_wrong_with_evidence_is_told_at_once() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let thing = |t| v1::ObservedThing { thing: Some(t) };
        let draft = v1::EvidenceDraft {
            observed: vec![
                thing(Thing::Sowing(v1::SowingTally {
                    sown: Some(10),
                    one: Some(3),
                    several: Some(9),
                    ..Default::default()
                })),
                thing(Thing::Rating(v1::Rating { descriptor_key: "fibre".into(), state: "woolly".into() })),
                thing(Thing::Measure(v1::Measure {
                    descriptor_key: "fruit_mass".into(),
                    value: -3.0,
                    ..Default::default()
                })),
                thing(Thing::Statement(v1::Statement {
                    descriptor_key: "colour".into(),
                    ..Default::default()
                })),
                v1::ObservedThing::default(),
            ],
            day: Some(day(2999, 1, 1)),
            published: true,
            citation: "x".into(),
            place: Some(v1::Place { grid_code: "here".into(), ..Default::default() }),
            ..Default::default()
        };
        let error = add(&ann, "Keitt", draft).await.unwrap_err();
        assert_eq!(wrong_fields(&error), ["observed[4].thing"], "what cannot be read comes first");
        let draft = v1::EvidenceDraft {
            observed: vec![
                thing(Thing::Sowing(v1::SowingTally {
                    sown: Some(10),
                    one: Some(3),
                    several: Some(9),
                    ..Default::default()
                })),
                thing(Thing::Rating(v1::Rating { descriptor_key: "fibre".into(), state: "woolly".into() })),
                thing(Thing::Measure(v1::Measure {
                    descriptor_key: "fruit_mass".into(),
                    value: -3.0,
                    ..Default::default()
                })),
                thing(Thing::Measure(v1::Measure {
                    descriptor_key: "fruit_mass".into(),
                    value: 3.0,
                    unit: "stone".into(),
                    ..Default::default()
                })),
                thing(Thing::Statement(v1::Statement {
                    descriptor_key: "colour".into(),
                    ..Default::default()
                })),
            ],
            day: Some(day(2999, 1, 1)),
            published: true,
            citation: "x".into(),
            place: Some(v1::Place { grid_code: "here".into(), ..Default::default() }),
            ..Default::default()
        };
        let error = add(&ann, "Keitt", draft).await.unwrap_err();
        assert_eq!(
            wrong_fields(&error),
            [
                "observed[0].sowing.sprouted",
                "observed[1].state",
                "observed[2].value",
                "observed[3].unit",
                "observed[4].descriptor_key",
                "day",
                "citation",
                "place.grid_code",
            ]
        );
        let error = add(&ann, "Keitt", v1::EvidenceDraft::default()).await.unwrap_err();
        assert_eq!(wrong_fields(&error), ["observed"]);
        club.server.stop().await;
    })
    .await;
}

/// Units are the descriptor's; fewer than five fruits are shown without weight; a wrong unit is flagged.
#[tokio::test]
async fn measures_ratings_and_sightings_make_findings() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let mass = |value: f64, unit: &str, sample: i32| {
            observed(Thing::Measure(v1::Measure {
                descriptor_key: "fruit_mass".into(),
                value,
                unit: unit.into(),
                sample,
            }))
        };
        let fibre = |state: &str| {
            observed(Thing::Rating(v1::Rating { descriptor_key: "fibre".into(), state: state.into() }))
        };
        let season = |first: v1::CalendarDate, last: v1::CalendarDate, grid: &str| v1::EvidenceDraft {
            place: Some(v1::Place { grid_code: grid.into(), ..Default::default() }),
            ..observed(Thing::Sighting(v1::Sighting {
                descriptor_key: String::new(),
                first_ripe: Some(first),
                last_ripe: Some(last),
            }))
        };
        let mut growers = Vec::new();
        for handle in ["ann", "ben", "cat", "dan", "eve", "fay"] {
            growers.push(club.grower(handle).await);
        }
        let cultivar = "Starch";
        for (who, grams) in growers.iter().zip([340.0, 350.0, 355.0, 345.0, 360.0]) {
            add(who, cultivar, mass(grams, "g", 6)).await.unwrap();
        }
        // Twelve ounces typed as grams.
        let slip = add(&growers[5], cultivar, mass(12.3, "g", 6)).await.unwrap();
        let found = finding(&growers[0], cultivar, "fruit_mass").await;
        let numbers = found.quantity.unwrap();
        assert!((numbers.median - 347.5).abs() < 1e-9, "{}", numbers.median);
        let flagged = found.evidence.iter().find(|e| e.evidence_id == id(&slip[0])).unwrap();
        assert!(flagged.weight_reason.contains("ounces"), "{}", flagged.weight_reason);
        // 0.77 lb are 349.27 g; three fruits are too few for a weight.
        let few =
            add(&growers[0], cultivar, v1::EvidenceDraft { tree: "young".into(), ..mass(0.77, "lb", 3) })
                .await
                .unwrap();
        assert_eq!(few[0].evidence.clone().unwrap().as_stated, "349.3 g (mean of 3)");

        for (who, state) in growers.iter().zip(["low", "low", "low", "scanty", "low", "high"]) {
            add(who, cultivar, fibre(state)).await.unwrap();
        }
        let found = finding(&growers[0], cultivar, "fibre").await;
        assert_eq!(found.steps.clone().unwrap().median_low, "low");
        assert_eq!(found.voices, 6);

        // Two southern place-years are shown with southern months; with a northern one they shift by half a year.
        add(&growers[0], cultivar, season(day(2025, 12, 16), day(2026, 1, 20), "5R4JH200+")).await.unwrap();
        add(&growers[1], cultivar, season(day(2024, 12, 11), day(2025, 1, 30), "5R4J2200+")).await.unwrap();
        let southern = finding(&growers[0], cultivar, "season").await;
        let period = southern.period.clone().unwrap();
        assert!(period.southern && period.place_years == 2, "{}", southern.text);
        assert_eq!((period.core[0].first_day, period.core[0].last_day), (345, 30));
        add(&growers[2], cultivar, season(day(2026, 6, 9), day(2026, 7, 19), "76VVX200+")).await.unwrap();
        let mixed = finding(&growers[0], cultivar, "season").await.period.unwrap();
        assert!(!mixed.southern && mixed.place_years == 3);
        assert_eq!(
            (mixed.core[0].first_day, mixed.core[0].last_day),
            (162, 202),
            "as the published model has it"
        );
        club.server.stop().await;
    })
    .await;
}

/// Guests invited by one member are one voice; one publication entered by many is one voice.
#[tokio::test]
async fn guests_of_one_member_and_copies_of_one_source_are_one_voice() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let host = club.grower("host").await;
        let mut guests = vec![host.clone()];
        for n in 0..4 {
            guests.push(club.guest_of(&host, &format!("guest-{n}")).await);
        }
        for (n, guest) in guests.iter().enumerate() {
            add(guest, "Keitt", sprouts(1, 19 + i32::try_from(n).unwrap())).await.unwrap();
        }
        let found = finding(&host, "Keitt", "multi_sprout_seeds").await;
        assert_eq!(
            (found.evidence.len(), found.voices),
            (5, 1),
            "vouched for through their host, and one group"
        );
        assert_ne!(found.standing(), v1::Standing::Settled);
        // Guests of one group cannot add weight to each other's evidence.
        let piece = found.evidence[0].evidence_id.clone();
        let weight = found.evidence[0].weight;
        check(&guests[3], &piece, v1::CheckVerdict::Agrees).await.unwrap();
        let again = finding(&host, "Keitt", "multi_sprout_seeds").await;
        assert_eq!(again.evidence[0].weight, weight);
        // An organiser's guests are independent voices.
        let request = v1::GrantRoleRequest {
            handle: "host".into(),
            role: v1::Role::Organiser.into(),
            crop: String::new(),
        };
        club.steward.call(&request).await.unwrap();
        for n in 0..2 {
            let guest = club.guest_of(&host, &format!("own-{n}")).await;
            add(&guest, "Keitt", sprouts(2, 30 + n)).await.unwrap();
        }
        assert_eq!(finding(&host, "Keitt", "multi_sprout_seeds").await.voices, 3);

        for (n, who) in guests.iter().take(3).enumerate() {
            let words = [
                "Reed 1930, Fruit Notes, p. 4",
                "REED 1930. Fruit notes, p 4",
                "Reed, 1930: Fruit Notes p. 4",
            ];
            let draft = v1::EvidenceDraft {
                published: true,
                citation: words[n].into(),
                note: format!("as read by {n}"),
                ..observed(Thing::Statement(v1::Statement {
                    descriptor_key: "embryony".into(),
                    state: "polyembryonic".into(),
                    text: String::new(),
                }))
            };
            add(who, "Exel", draft).await.unwrap();
        }
        let class = finding(&host, "Exel", "embryony").await;
        assert_eq!((class.voices, class.standing()), (1, v1::Standing::Thin), "{}", class.text);
        club.server.stop().await;
    })
    .await;
}

async fn import(who: &Raw, mode: v1::ImportMode, rows: Vec<v1::ImportRow>) -> v1::ImportEvidenceResponse {
    use prost::Message as _;
    // One message is a stream too.
    let request = v1::ImportEvidenceRequest { mode: mode.into(), rows };
    let bytes =
        who.last_of_stream(Rpc::EvidenceImportEvidence.path(), request.encode_to_vec()).await.unwrap();
    v1::ImportEvidenceResponse::decode(bytes.as_slice()).unwrap()
}

#[tokio::test]
async fn imports_keep_all_or_nothing_or_the_good_rows_and_can_be_repeated() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let row = |line: i32, cultivar: &str, one: i32| v1::ImportRow {
            line,
            cultivar: cultivar.into(),
            crop: "mango".into(),
            draft: Some(v1::EvidenceDraft { tree: format!("tree {line}"), ..sprouts(one, 20) }),
        };
        let good = || (2..602).map(|n| row(n, "Keitt", n % 9)).collect::<Vec<_>>();
        let mut mixed = good();
        mixed.push(row(602, "Keit", 1));
        mixed.push(row(603, "Keitt", -1));
        let dry = import(&ann, v1::ImportMode::DryRun, mixed.clone()).await;
        assert_eq!((dry.rows, dry.good, dry.wrong, dry.written), (602, 600, 2, 0));
        assert_eq!(dry.errors.iter().map(|e| e.line).collect::<Vec<_>>(), [602, 603]);
        assert!(dry.errors[0].expected.contains("Keitt"), "the near name is offered");
        let nothing = import(&ann, v1::ImportMode::AllOrNothing, mixed.clone()).await;
        assert_eq!((nothing.written, nothing.wrong), (0, 2));
        assert!(
            !record(&ann, "Keitt").await.findings.iter().any(|f| f.descriptor_key == "multi_sprout_seeds")
        );
        let kept = import(&ann, v1::ImportMode::KeepGood, mixed.clone()).await;
        assert_eq!((kept.written, kept.wrong), (600, 2));
        assert_eq!(finding(&ann, "Keitt", "multi_sprout_seeds").await.evidence_count, 600);
        // Importing the same file again enters nothing twice.
        let again = import(&ann, v1::ImportMode::AllOrNothing, good()).await;
        assert_eq!((again.already, again.good, again.written), (600, 0, 0));
        assert_eq!(finding(&ann, "Keitt", "multi_sprout_seeds").await.evidence_count, 600);
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn sowings_ask_for_their_tallies_until_they_are_answered() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let request = v1::CreateSowingRequest {
            cultivar: "Keitt".into(),
            day: Some(day(2025, 1, 10)),
            seeds: 24,
            tree: "by the gate".into(),
            ..Default::default()
        };
        let keyed = ann.with_key(&fresh_key());
        let made: v1::CreateSowingResponse = keyed.call(&request).await.unwrap();
        let twice: v1::CreateSowingResponse = keyed.call(&request).await.unwrap();
        assert_eq!(made, twice);
        let sowing = made.sowing.unwrap();
        let open = |s: &v1::Sowing| s.open_tallies.iter().map(v1::DueTally::tally).collect::<Vec<_>>();
        use v1::SowingDue::{FirstFruit, Judged, Sprouts};
        assert_eq!(open(&sowing), [Sprouts, Judged, FirstFruit]);
        // Germination takes 8 to 14 days in warmth (MORTON87); the count is due after twice that.
        assert_eq!(sowing.open_tallies[0].due_from, Some(day(2025, 2, 7)));
        assert_eq!(sowing.open_tallies[0].origin, "MORTON87");
        let list = v1::ListMySowingsRequest { open_only: true, ..Default::default() };
        let mine = async |who: &Raw| who.call(&list).await.unwrap().sowings;
        assert!(mine(&ben).await.is_empty());
        let tally = v1::CreateEvidenceRequest {
            cultivar: "Keitt".into(),
            sowing_id: sowing.sowing_id.clone(),
            draft: Some(sprouts(20, 2)),
            ..Default::default()
        };
        let foreign = ben.call(&tally).await;
        assert_eq!(reason(&foreign.unwrap_err()), "NOT_FOUND");
        let other = v1::CreateEvidenceRequest { cultivar: "Kent".into(), ..tally.clone() };
        let other = ann.call(&other).await;
        assert_eq!(wrong_fields(&other.unwrap_err()), ["sowing_id"]);
        ann.call(&tally).await.unwrap();
        assert_eq!(open(&mine(&ann).await[0]), [Judged, FirstFruit]);
        let close = v1::CloseSowingRequest {
            sowing_id: sowing.sowing_id.clone(),
            reason: "The frost took them.".into(),
        };
        let foreign = ben.call(&close).await;
        assert_eq!(reason(&foreign.unwrap_err()), "NOT_FOUND");
        ann.call(&close).await.unwrap();
        let closed = ann.call(&close).await;
        assert_eq!(reason(&closed.unwrap_err()), "SOWING_CLOSED");
        assert!(mine(&ann).await.is_empty());
        club.server.stop().await;
    })
    .await;
}
