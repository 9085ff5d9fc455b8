//! No reply, error, export or log shows a finer place, or a way to reach a person, to anyone else. Every reading method
//! is called by every persona on the real server.

use scionary_proto::{Effect, Kind, Rpc, v1};
use scionary_tests::{
    Database, Raw,
    binaries::{Server, folder},
    client::PASSWORD,
    samples::{self, Ids, ask, draft, grafts, plan, plant_lot, sample, want},
};

use crate::{
    clubs::{account_of, let_in, make},
    lots::{code, enter},
    rounds,
};

const GIVER: &str = "ring the bell at gate 4471";
const TAKER: &str = "call nine nine eight two";
/// Finer than the shown place: the server cuts it on receipt.
const PLACE: &str = "2CGV22MM+QQ";
const NOTE: &str = "under the stairs behind the shed";
const PLANNED: &str = "by the east wall of the wash house";
const CONSENT: &str = "told me over the fence in May";

/// Calls a reading method and returns the whole answer as text.
async fn reply(who: &Raw, rpc: Rpc, bytes: Vec<u8>) -> String {
    let all = if rpc.kind() != Kind::Unary {
        who.stream(rpc.path(), bytes).await.map(|chunks| chunks.concat())
    } else {
        who.bytes(rpc, bytes).await
    };
    match all {
        Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
        Err(status) => format!("{} {}", status.message(), String::from_utf8_lossy(status.details())),
    }
}

#[tokio::test]
async fn nobody_learns_what_is_not_for_them() {
    let database = Database::sqlite();
    let server = Server::start(
        &database.url,
        &["accounts.sign_up=open", "limits.passwords_per_minute=100000", "limits.writes_per_minute=100000"],
    );
    let code_of = std::process::Command::new(folder().join("scionaryd"))
        .args(["steward-code", "--database", &database.url])
        .output()
        .unwrap();
    let steward_code = String::from_utf8(code_of.stdout).unwrap().trim().to_string();
    let channel =
        tonic::transport::Endpoint::new(format!("http://{}", server.address)).unwrap().connect_lazy();
    let visitor = Raw::new(channel);
    visitor.sign_up("steward", &steward_code).await.unwrap();
    let steward = visitor.sign_in("steward", PASSWORD).await.unwrap();
    let mut people = Vec::new();
    for handle in ["owner", "taker", "stranger", "clubmate", "curator", "organiser"] {
        people.push(visitor.member(handle).await);
    }
    let [owner, taker, stranger, clubmate, curator, organiser] = people.as_slice() else { unreachable!() };
    for (handle, role, crop) in
        [("curator", v1::Role::Curator, "mango"), ("organiser", v1::Role::Organiser, "")]
    {
        let grant = v1::GrantRoleRequest { handle: handle.into(), role: role.into(), crop: crop.into() };
        steward.call(&grant).await.unwrap();
    }

    // The owner's things, with every private value in them.
    let place = |offer: v1::OfferDraft| v1::OfferDraft {
        place: Some(v1::Place { grid_code: PLACE.into(), ..offer.place.clone().unwrap() }),
        auto_accept: false,
        contact: GIVER.into(),
        ..offer
    };
    let post = v1::CreateOfferRequest { offer: Some(place(draft())) };
    let posted: v1::CreateOfferResponse = owner.call(&post).await.unwrap();
    let offer = posted.offer.unwrap().offer_id;
    let club = make(owner, "Larkwater growers").await.unwrap().club_id;
    let_in(owner, clubmate, &club).await;
    let helped = v1::EnterHelpedMemberRequest {
        club_id: club.clone(),
        name: "Old Fern".into(),
        consent: CONSENT.into(),
    };
    owner.call(&helped).await.unwrap();
    let mut asking = ask(&offer, 2);
    asking.contact = TAKER.into();
    let asked: v1::CreateClaimResponse = taker.call(&asking).await.unwrap();
    let claim = asked.claim.unwrap().claim_id;
    let lot = v1::CreateLotRequest { note: NOTE.into(), ..plant_lot() };
    let lot = code(&enter(owner, lot).await.unwrap());
    let keep = v1::CreatePlanRequest { plan: Some(plan()), title: PLANNED.into(), ..Default::default() };
    let kept: v1::CreatePlanResponse = owner.call(&keep).await.unwrap();
    let logged: v1::CreateGraftsResponse = owner.call(&grafts()).await.unwrap();
    let seek = v1::WantDraft { near_grid_code: PLACE.into(), ..want("Golek") };
    owner.call(&v1::CreateWantRequest { want: Some(seek) }).await.unwrap();
    // A round of the club: the owner and a clubmate take part, and nothing is allotted.
    let round = rounds::create(owner, &club, samples::round()).await.unwrap().round_id;
    for (who, contact) in [(owner, GIVER), (clubmate, TAKER)] {
        let part = v1::RoundPart { contact: contact.into(), ..samples::round_part() };
        let join = v1::JoinRoundRequest { round_id: round.clone(), part: Some(part) };
        who.call(&join).await.unwrap();
    }
    let wood = rounds::offer(owner, "R2E2", 2).await;
    rounds::bring(owner, &round, &wood, 1).await.unwrap();
    let ids = Ids {
        round,
        offer,
        cultivar: "cul_00000000000000000000000001".into(),
        plan: kept.plan.unwrap().plan_id,
        graft: logged.grafts.unwrap().graft_id,
        claim: claim.clone(),
        lot,
        club,
        guest: account_of(clubmate).await,
        ..Default::default()
    };

    let matrix = async |promised: bool| {
        let personas: [(&str, &Raw, &[&str]); 8] = [
            ("visitor", &visitor, &[GIVER, TAKER, NOTE, PLANNED, CONSENT]),
            ("stranger", stranger, &[GIVER, TAKER, NOTE, PLANNED, CONSENT]),
            // The clubmate knows their own contact.
            ("clubmate", clubmate, &[GIVER, NOTE, PLANNED, CONSENT]),
            ("curator", curator, &[GIVER, TAKER, NOTE, PLANNED, CONSENT]),
            ("organiser", organiser, &[GIVER, TAKER, NOTE, PLANNED, CONSENT]),
            ("steward", &steward, &[GIVER, TAKER, NOTE, PLANNED, CONSENT]),
            (
                "taker",
                taker,
                if promised { &[NOTE, PLANNED, CONSENT] } else { &[GIVER, NOTE, PLANNED, CONSENT] },
            ),
            ("owner", owner, if promised { &[] } else { &[TAKER] }),
        ];
        let mut calls = 0;
        for rpc in Rpc::ALL {
            let endless = rpc == Rpc::NoticeWatchNotices || rpc.path().starts_with("/grpc.");
            if endless || rpc.effect() != Effect::Reads {
                continue;
            }
            for (name, who, hidden) in &personas {
                let text = reply(who, rpc, sample(rpc, &ids)).await;
                calls += 1;
                for secret in *hidden {
                    assert!(!text.contains(secret), "{name} learns {secret:?} by {}", rpc.path());
                }
                // Nothing shows a finer place, not even to the owner.
                assert!(!text.contains("2CGV22MM"), "{name} learns a finer place by {}", rpc.path());
            }
        }
        calls
    };
    assert!(matrix(false).await > 300, "the matrix is a large one");
    let accept =
        v1::AcceptClaimRequest { claim_id: claim.clone(), contact: GIVER.into(), note: String::new() };
    owner.call(&accept).await.unwrap();
    matrix(true).await;
    // After the promise each side sees the other's contact.
    let get = v1::GetClaimRequest { claim_id: claim };
    let seen: v1::GetClaimResponse = taker.call(&get).await.unwrap();
    assert_eq!(seen.claim.unwrap().contact, GIVER);

    let log = server.log();
    for secret in [GIVER, TAKER, NOTE, PLANNED, CONSENT, "2CGV22MM", PASSWORD] {
        assert!(!log.contains(secret), "the log holds {secret:?}");
    }
    assert!(server.terminate());
}
