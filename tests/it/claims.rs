//! Claims: from the request to the hand-over, the waiting list, and no double promise.

use std::sync::Arc;

use scionary_proto::v1;
use scionary_tests::{
    Database, Raw, TestServer,
    binaries::Server,
    client::{PASSWORD, reason, wrong_fields},
    on_both,
    samples::{ask, draft, in_days},
};
use sea_orm::{ConnectionTrait as _, Statement};
use tonic::Status;

use crate::evidence::Club;

async fn post(who: &Raw, offer: v1::OfferDraft) -> v1::Offer {
    let request = v1::CreateOfferRequest { offer: Some(offer) };
    who.call(&request).await.unwrap().offer.unwrap()
}

async fn claim(who: &Raw, offer: &str, quantity: i32) -> Result<v1::Claim, Status> {
    let request = ask(offer, quantity);
    who.call(&request).await.map(|r| r.claim.unwrap())
}

async fn accept(who: &Raw, claim: &v1::Claim) -> Result<v1::Claim, Status> {
    let request = v1::AcceptClaimRequest {
        claim_id: claim.claim_id.clone(),
        contact: "the house with the blue door".into(),
        note: "Saturday".into(),
    };
    who.call(&request).await.map(|r| r.claim.unwrap())
}

async fn withdraw(who: &Raw, claim: &v1::Claim) -> Result<v1::Claim, Status> {
    let request = v1::WithdrawClaimRequest { claim_id: claim.claim_id.clone() };
    who.call(&request).await.map(|r| r.claim.unwrap())
}

async fn get(who: &Raw, claim: &v1::Claim) -> Result<v1::Claim, Status> {
    let request = v1::GetClaimRequest { claim_id: claim.claim_id.clone() };
    who.call(&request).await.map(|r| r.claim.unwrap())
}

async fn offer(who: &Raw, id: &str) -> v1::Offer {
    let request = v1::GetOfferRequest { offer_id: id.into(), ..Default::default() };
    who.call(&request).await.unwrap().offer.unwrap()
}

#[tokio::test]
async fn from_asking_to_hand_over() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let posted = post(&ann, draft()).await;
        assert_eq!(reason(&claim(&ann, &posted.offer_id, 1).await.unwrap_err()), "OWN_OFFER");
        let wrong =
            v1::CreateClaimRequest { quantity: 7, to_area_code: "here".into(), ..ask(&posted.offer_id, 7) };
        let wrong = v1::CreateClaimRequest { contact: String::new(), ..wrong };
        let wrong = ben.call(&wrong).await.unwrap_err();
        assert_eq!(wrong_fields(&wrong), ["quantity", "to_area_code", "contact"]);

        let asked = claim(&ben, &posted.offer_id, 4).await.unwrap();
        assert_eq!((asked.state(), asked.side()), (v1::ClaimState::Waiting, v1::ClaimSide::Taker));
        assert!(asked.contact.is_empty(), "no one has accepted");
        assert!(asked.movement.as_ref().unwrap().headline.starts_with("No rule on file"), "{asked:?}");
        assert_eq!(reason(&claim(&ben, &posted.offer_id, 1).await.unwrap_err()), "CLAIMED_ALREADY");
        let seen = get(&ann, &asked).await.unwrap();
        assert!(seen.contact.is_empty() && seen.side() == v1::ClaimSide::Giver);
        // NotFound for anyone else, so that existence does not leak.
        assert_eq!(reason(&get(&cat, &asked).await.unwrap_err()), "NOT_FOUND");
        assert_eq!(reason(&accept(&cat, &asked).await.unwrap_err()), "NOT_FOUND");
        assert_eq!(reason(&accept(&ben, &asked).await.unwrap_err()), "OTHER_SIDE");

        let promised = accept(&ann, &asked).await.unwrap();
        assert_eq!((promised.state(), promised.left), (v1::ClaimState::Accepted, 2));
        assert_eq!(promised.contact, "0400 000 000");
        assert_eq!(get(&ben, &asked).await.unwrap().contact, "the house with the blue door");
        assert_eq!(offer(&cat, &posted.offer_id).await.promised, 4);
        assert_eq!(reason(&accept(&ann, &asked).await.unwrap_err()), "CLAIM_NOT_WAITING");
        // A claim for more than is left waits, and the giver cannot accept it.
        let more = claim(&cat, &posted.offer_id, 3).await.unwrap();
        assert_eq!(reason(&accept(&ann, &more).await.unwrap_err()), "NOTHING_LEFT");
        // The offer cannot shrink below what is promised.
        let shrink = |quantity| v1::UpdateOfferRequest {
            offer_id: posted.offer_id.clone(),
            version: 1,
            offer: Some(v1::OfferDraft { quantity, ..draft() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["quantity".into()] }),
        };
        let refused = ann.call(&shrink(3)).await.unwrap_err();
        assert_eq!(reason(&refused), "PROMISED_MORE");
        ann.call(&shrink(7)).await.unwrap();
        accept(&ann, &more).await.unwrap();
        assert_eq!(offer(&cat, &posted.offer_id).await.promised, 7);

        let confirm = v1::ConfirmHandOverRequest { claim_id: asked.claim_id.clone() };
        let one: v1::ConfirmHandOverResponse = ben.call(&confirm).await.unwrap();
        let one = one.claim.unwrap();
        assert!(one.taken && !one.given && one.state() == v1::ClaimState::Accepted);
        assert_eq!(reason(&withdraw(&ben, &asked).await.unwrap_err()), "HANDED_OVER_ALREADY");
        let both: v1::ConfirmHandOverResponse = ann.call(&confirm).await.unwrap();
        assert_eq!(both.claim.unwrap().state(), v1::ClaimState::HandedOver);

        // Missed: the words of both sides, for organisers only.
        let missed =
            |words: &str| v1::NoteMissedRequest { claim_id: more.claim_id.clone(), words: words.into() };
        ann.call(&missed("No one came.")).await.unwrap();
        cat.call(&missed("I was ill.")).await.unwrap();
        assert_eq!(get(&cat, &more).await.unwrap().missed, "I was ill.");
        assert!(get(&cat, &more).await.unwrap().taker_missed.is_empty());
        let list = v1::ListMissedRequest::default();
        let denied = ben.call(&list).await.unwrap_err();
        assert_eq!(reason(&denied), "ROLE_MISSING");
        let all: v1::ListMissedResponse = club.steward.call(&list).await.unwrap();
        assert_eq!(
            (all.claims[0].missed.as_str(), all.claims[0].taker_missed.as_str()),
            ("No one came.", "I was ill.")
        );
        assert!(all.claims[0].contact.is_empty(), "no contact for organisers");

        let mine = v1::ListMyClaimsRequest { open_only: true, ..Default::default() };
        let open: v1::ListMyClaimsResponse = ben.call(&mine).await.unwrap();
        assert!(open.claims.is_empty(), "handed over");
        let taken = withdraw(&cat, &more).await.unwrap();
        assert!(taken.state() == v1::ClaimState::Withdrawn && taken.contact.is_empty());
        assert_eq!(offer(&cat, &posted.offer_id).await.promised, 4);
        club.server.stop().await;
    })
    .await;
}

/// A block stops all new dealings between two members: waiting claims end, promises stay.
#[tokio::test]
async fn one_member_blocks_another() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let (one, two) = (post(&ann, draft()).await, post(&ann, draft()).await);
        let waits = claim(&ben, &one.offer_id, 1).await.unwrap();
        let promised = accept(&ann, &claim(&ben, &two.offer_id, 1).await.unwrap()).await.unwrap();
        let of_cat = claim(&cat, &one.offer_id, 1).await.unwrap();
        let block = v1::BlockMemberRequest { account_id: promised.other_account_id.clone() };
        for _ in 0..2 {
            let all: v1::BlockMemberResponse = ann.call(&block).await.unwrap();
            assert_eq!(all.blocked.len(), 1, "twice is once");
        }
        assert_eq!(get(&ben, &waits).await.unwrap().state(), v1::ClaimState::Declined);
        assert_eq!(get(&ben, &promised).await.unwrap().state(), v1::ClaimState::Accepted);
        assert_eq!(get(&cat, &of_cat).await.unwrap().state(), v1::ClaimState::Waiting);
        assert_eq!(reason(&claim(&ben, &one.offer_id, 1).await.unwrap_err()), "NOT_BETWEEN_THEM");
        // Also in the other direction.
        let back = post(&ben, draft()).await;
        assert_eq!(reason(&claim(&ann, &back.offer_id, 1).await.unwrap_err()), "NOT_BETWEEN_THEM");
        let own: v1::ListBlockedResponse = ben.call(&v1::ListBlockedRequest {}).await.unwrap();
        assert!(own.blocked.is_empty(), "no one learns who blocks them");
        let unblock = v1::UnblockMemberRequest { account_id: promised.other_account_id };
        ann.call(&unblock).await.unwrap();
        claim(&ben, &one.offer_id, 1).await.unwrap();
        let again: v1::UnblockMemberResponse = ann.call(&unblock).await.unwrap();
        assert!(again.blocked.is_empty());
        club.server.stop().await;
    })
    .await;
}

/// Automatic acceptance promises while something is left; later claims wait and move up, oldest first.
#[tokio::test]
async fn a_waiting_list_moves_up() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let mut takers = Vec::new();
        for handle in ["ben", "cat", "dan", "eve"] {
            takers.push(club.grower(handle).await);
        }
        let no_contact =
            v1::CreateOfferRequest { offer: Some(v1::OfferDraft { auto_accept: true, ..draft() }) };
        let refused = ann.call(&no_contact).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["offer.contact"]);
        let posted = post(
            &ann,
            v1::OfferDraft { auto_accept: true, contact: "ring the bell".into(), quantity: 5, ..draft() },
        )
        .await;
        assert!(!format!("{posted:?}").contains("ring the bell"), "contacts stay with claims");
        let first = claim(&takers[0], &posted.offer_id, 4).await.unwrap();
        assert_eq!((first.state(), first.contact.as_str()), (v1::ClaimState::Accepted, "ring the bell"));
        let second = claim(&takers[1], &posted.offer_id, 2).await.unwrap();
        let third = claim(&takers[2], &posted.offer_id, 1).await.unwrap();
        assert_eq!(
            (second.state(), third.state()),
            (v1::ClaimState::Waiting, v1::ClaimState::Waiting),
            "no one passes a waiting claimer"
        );
        withdraw(&takers[0], &first).await.unwrap();
        for (who, claim) in [(&takers[1], &second), (&takers[2], &third)] {
            assert_eq!(get(who, claim).await.unwrap().state(), v1::ClaimState::Accepted);
        }
        assert_eq!(offer(&ann, &posted.offer_id).await.promised, 3);
        // A promise that is not fetched lapses, and the waiting claims move up.
        let fourth = claim(&takers[3], &posted.offer_id, 4).await.unwrap();
        assert_eq!(fourth.state(), v1::ClaimState::Waiting);
        let app = club.server.running.app();
        app.store()
            .admin()
            .execute_unprepared("UPDATE claim SET lapses_at = 1 WHERE state = 'accepted'")
            .await
            .unwrap();
        app.housekeeping().await.unwrap();
        assert_eq!(get(&takers[1], &second).await.unwrap().state(), v1::ClaimState::Lapsed);
        assert_eq!(get(&takers[3], &fourth).await.unwrap().state(), v1::ClaimState::Accepted);
        assert_eq!(offer(&ann, &posted.offer_id).await.promised, 4);
        // Withdrawing the offer declines the waiting claims; promises stay.
        let waiting = claim(&takers[0], &posted.offer_id, 2).await.unwrap();
        let back = v1::WithdrawOfferRequest { offer_id: posted.offer_id.clone(), version: 0 };
        ann.call(&back).await.unwrap();
        assert_eq!(get(&takers[0], &waiting).await.unwrap().state(), v1::ClaimState::Declined);
        assert_eq!(get(&takers[3], &fourth).await.unwrap().state(), v1::ClaimState::Accepted);
        assert_eq!(reason(&claim(&takers[1], &posted.offer_id, 1).await.unwrap_err()), "OFFER_OVER");
        club.server.stop().await;
    })
    .await;
}

/// A claim is refused if a rule on file prohibits the movement; the claim keeps the answer as it was shown.
#[tokio::test]
async fn a_prohibited_movement_cannot_be_claimed() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
    let health = v1::HealthDeclaration {
        grown_at: vec![v1::GrownAt { area_code: "US-HI".into(), ..Default::default() }],
        form: v1::MaterialForm::CleanedSeed.into(),
        ..draft().health.unwrap()
    };
    let place = v1::Place { area_code: "US-HI".into(), ..draft().place.unwrap() };
    let seed = v1::OfferDraft {
        material: v1::Material::Seed.into(),
        health: Some(health),
        place: Some(place),
        ..draft()
    };
    let posted = post(&ann, seed).await;
    let to = |code: &str| v1::CreateClaimRequest { to_area_code: code.into(), ..ask(&posted.offer_id, 2) };
    let refused = ben.call(&to("US-CA")).await.unwrap_err();
    assert_eq!(reason(&refused), "MOVEMENT_PROHIBITED");
    assert!(refused.message().contains("A rule on file prohibits this"), "{}", refused.message());
    let asked: v1::CreateClaimResponse = ben.call(&to("US-HI")).await.unwrap();
    let shown = asked.claim.unwrap().movement.unwrap();
    assert_eq!((shown.verdict(), shown.on), (v1::MovementVerdict::NoRule, Some(in_days(0))));
    club.server.stop().await;
    database.done().await;
}

/// 64 takers at once, on two servers if the database allows it: no offer is promised beyond its quantity, and every
/// acknowledged promise is kept.
#[tokio::test]
async fn nothing_is_promised_twice() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let second = if url.starts_with("postgres") { Some(TestServer::start(&url).await) } else { None };
        let offers = {
            let mut all = Vec::new();
            for _ in 0..3 {
                let draft = v1::OfferDraft {
                    auto_accept: true,
                    contact: "ring the bell".into(),
                    quantity: 20,
                    ..draft()
                };
                all.push(post(&ann, draft).await.offer_id);
            }
            Arc::new(all)
        };
        let mut takers = Vec::new();
        for n in 0..64 {
            let handle = format!("taker-{n}");
            let who = club.newcomer(&handle).await;
            takers.push(match &second {
                Some(other) if n % 2 == 1 => other.raw().sign_in(&handle, PASSWORD).await.unwrap(),
                Some(_) | None => who,
            });
        }
        let mut tasks = Vec::new();
        for (n, who) in takers.into_iter().enumerate() {
            let offers = offers.clone();
            tasks.push(tokio::spawn(async move {
                let mut got = Vec::new();
                for (at, offer) in offers.iter().enumerate() {
                    let quantity = i32::try_from(1 + (n + at) % 3).unwrap();
                    let made = claim(&who, offer, quantity).await.unwrap();
                    // Some takers change their mind.
                    if n % 5 == 0 && made.state() == v1::ClaimState::Accepted {
                        withdraw(&who, &made).await.unwrap();
                    } else {
                        got.push(made);
                    }
                }
                (who, got)
            }));
        }
        // The giver changes the offers meanwhile.
        let editor = ann.clone();
        let edited = offers.clone();
        let editing = tokio::spawn(async move {
            for quantity in [25, 22, 30, 24] {
                for id in edited.iter() {
                    let current = offer(&editor, id).await;
                    let change = v1::UpdateOfferRequest {
                        offer_id: id.clone(),
                        version: current.version,
                        offer: Some(v1::OfferDraft { quantity, ..draft() }),
                        update_mask: Some(prost_types::FieldMask { paths: vec!["quantity".into()] }),
                    };
                    match editor.call(&change).await {
                        Ok(_) => {}
                        Err(e) => assert!(["PROMISED_MORE", "STALE_VERSION"].contains(&reason(&e).as_str()), "{e}"),
                    }
                }
            }
        });
        let mut told = Vec::new();
        for task in tasks {
            let (who, got) = task.await.unwrap();
            for made in got {
                // The claim has moved up meanwhile, or is in the state of its reply.
                let now = get(&who, &made).await.unwrap();
                if made.state() == v1::ClaimState::Accepted {
                    assert_eq!(now.state(), v1::ClaimState::Accepted, "a promise stands");
                }
                told.push(now);
            }
        }
        editing.await.unwrap();
        let db = club.server.running.app().store().admin();
        for id in offers.iter() {
            let now = offer(&ann, id).await;
            let uuid = id.parse::<scionary_domain::ids::OfferId>().unwrap().uuid();
            let held: i32 = told
                .iter()
                .filter(|c| &c.offer_id == id && c.state() == v1::ClaimState::Accepted)
                .map(|c| c.quantity)
                .sum();
            assert!(now.promised <= now.quantity, "{} of {}", now.promised, now.quantity);
            let literal = if url.starts_with("postgres") { format!("'{uuid}'") } else { format!("X'{}'", uuid.simple()) };
            let sql = format!("SELECT CAST(SUM(quantity) AS BIGINT) AS n FROM claim WHERE state IN ('accepted','handed_over') AND offer_id = {literal}");
            let row = db.query_one_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap().unwrap();
            let stored: i64 = row.try_get("", "n").unwrap();
            assert_eq!(stored, i64::from(now.promised), "what is promised is what claims hold");
            assert!(i64::from(held) <= stored);
            assert!(now.promised >= 18, "as good as all of it found a taker: {}", now.promised);
        }
        if let Some(other) = second {
            other.stop().await;
        }
        club.server.stop().await;
    })
    .await;
}

/// The server is killed amid claims: each acknowledged claim is there once, and the promised quantity equals the
/// claims.
#[tokio::test]
async fn a_crash_loses_no_promise() {
    crash(&Database::sqlite()).await;
    if let Some(database) = Database::postgres().await {
        crash(&database).await;
        database.done().await;
    }
}

async fn crash(database: &Database) {
    let kills = if std::env::var_os("SCIONARY_LONG").is_some() { 50 } else { 4 };
    let set = [
        "accounts.sign_up=open",
        "limits.writes_per_minute=1000000",
        "limits.reads_per_minute=1000000",
        "limits.passwords_per_minute=1000000",
    ];
    let mut server = Server::start(&database.url, &set);
    let channel = |address: &str| {
        tonic::transport::Endpoint::from_shared(format!("http://{address}")).unwrap().connect_lazy()
    };
    let giver = Raw::new(channel(&server.address)).member("giver").await;
    let offer_of = v1::OfferDraft { auto_accept: true, contact: "here".into(), quantity: 10_000, ..draft() };
    let posted = post(&giver, offer_of).await.offer_id;
    let mut tokens = Vec::new();
    // The long form makes as many takers as the test of the scarce offer.
    for n in 0..if kills > 10 { 64 } else { 6 } {
        let who = Raw::new(channel(&server.address)).member(&format!("taker-{n}")).await;
        tokens.push(who.token().unwrap().to_string());
    }
    let mut acknowledged = 0;
    let mut last: Vec<Option<(String, String)>> = Vec::new();
    for round in 0..kills {
        let mut tasks = Vec::new();
        for (n, token) in tokens.iter().enumerate() {
            let who = Raw::new(channel(&server.address)).with_token(token);
            let posted = posted.clone();
            tasks.push(tokio::spawn(async move {
                let mut done = 0;
                let mut last = None;
                // Claim and withdraw until the server is gone. A claim left open from the last kill blocks a new one,
                // so withdraw it first.
                let mine = v1::ListMyClaimsRequest { open_only: true, ..Default::default() };
                if let Ok(open) = who.call(&mine).await {
                    for claim in open.claims {
                        if withdraw(&who, &claim).await.is_err() {
                            return (done, last);
                        }
                    }
                }
                for turn in 0.. {
                    let key = format!("key-of-turn-{round}-{n}-{turn}-padded");
                    let Ok(made) = claim(&who.with_key(&key), &posted, 1).await else { break };
                    done += 1;
                    last = Some((key, made.claim_id.clone()));
                    if withdraw(&who, &made).await.is_err() {
                        break;
                    }
                }
                (done, last)
            }));
        }
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
        server.kill();
        last.clear();
        for task in tasks {
            let (done, key) = task.await.unwrap();
            acknowledged += done;
            last.push(key);
        }
        server = Server::start(&database.url, &set);
        // Every acknowledged claim is there, and a retry with its key returns the same claim.
        for (token, key) in tokens.iter().zip(&last) {
            let Some((key, claim_id)) = key else { continue };
            let who = Raw::new(channel(&server.address)).with_token(token).with_key(key);
            assert_eq!(claim(&who, &posted, 1).await.unwrap().claim_id, *claim_id);
        }
    }
    assert!(acknowledged > 0);
    let db = database.connect().await;
    let number = async |sql: &str| -> i64 {
        let row =
            db.query_one_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap().unwrap();
        row.try_get("", "n").unwrap()
    };
    let promised = number("SELECT promised AS n FROM offer").await;
    let held = number(
        "SELECT CAST(COALESCE(SUM(quantity), 0) AS BIGINT) AS n FROM claim WHERE state IN ('accepted', 'handed_over')",
    )
    .await;
    assert_eq!(promised, held);
    assert!(number("SELECT COUNT(*) AS n FROM claim").await >= acknowledged);
    drop(db);
    server.kill();
}

/// A sweep of lapses that moves a claim up checks the later claims again.
#[tokio::test]
async fn a_sweep_looks_again() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let posted = post(&ann, v1::OfferDraft { quantity: 2, ..draft() }).await;
        let first = claim(&ben, &posted.offer_id, 2).await.unwrap();
        accept(&ann, &first).await.unwrap();
        let second = claim(&cat, &posted.offer_id, 2).await.unwrap();
        let change = v1::UpdateOfferRequest {
            offer_id: posted.offer_id.clone(),
            version: 1,
            offer: Some(v1::OfferDraft { auto_accept: true, contact: "here".into(), ..draft() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["auto_accept".into(), "contact".into()] }),
        };
        ann.call(&change).await.unwrap();
        let db = club.server.running.app().store().admin();
        // Both are overdue: the first lapses, which moves the second up, so that it does not lapse.
        db.execute_unprepared("UPDATE claim SET lapses_at = 1 WHERE state = 'accepted'").await.unwrap();
        db.execute_unprepared("UPDATE claim SET lapses_at = 2 WHERE state = 'waiting'").await.unwrap();
        club.server.running.app().housekeeping().await.unwrap();
        assert_eq!(get(&ben, &first).await.unwrap().state(), v1::ClaimState::Lapsed);
        assert_eq!(get(&cat, &second).await.unwrap().state(), v1::ClaimState::Accepted);
        // Promised things keep their cultivar.
        let other = v1::UpdateOfferRequest {
            version: 2,
            offer: Some(v1::OfferDraft { cultivar: "Golek".into(), ..draft() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["cultivar".into()] }),
            ..change
        };
        let refused = ann.call(&other).await.unwrap_err();
        assert_eq!(reason(&refused), "PROMISED_ALREADY");
        club.server.stop().await;
    })
    .await;
}
