//! Attacks and misuse. Each of these once broke something, or could have.

use std::time::Duration;

use scionary_proto::{Kind, Rpc, v1};
use scionary_tests::{
    Database, TestServer,
    client::{PASSWORD, fresh_key, reason, wrong_fields},
    on_both,
    samples::draft,
};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tonic::Code;

#[tokio::test]
async fn long_lists_of_choices_are_refused_before_they_are_looked_into() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let many = |n| v1::SearchOffersRequest { hand_over: vec![1; n], ..Default::default() };
    let error = server.raw().call(&many(20_000)).await.unwrap_err();
    assert_eq!(wrong_fields(&error), ["hand_over"]);
    assert!(server.raw().call(&many(30)).await.is_ok());
    let wrong =
        v1::SearchOffersRequest { materials: vec![99; 80_000], terms: vec![99; 20], ..Default::default() };
    let error = server.raw().call(&wrong).await.unwrap_err();
    assert_eq!(error.code(), Code::InvalidArgument);
    assert!(error.message().len() < 4_000);
    server.stop().await;
}

#[tokio::test]
async fn sign_ins_that_are_given_up_do_not_use_up_the_queue() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    server.raw().sign_up("rosamund", "").await.unwrap();
    let tries = (0..120).map(|_| {
        let visitor = server.raw();
        tokio::spawn(async move {
            let request =
                v1::SignInRequest { handle: "stranger".into(), password: "x".into(), label: String::new() };
            let _ = tokio::time::timeout(Duration::from_millis(10), visitor.call(&request)).await;
        })
    });
    for one in tries.collect::<Vec<_>>() {
        one.await.unwrap();
    }
    let mut signed_in = false;
    for _ in 0..40 {
        match server.raw().sign_in("rosamund", PASSWORD).await {
            Ok(_) => {
                signed_in = true;
                break;
            }
            // A full queue is the only reason to retry.
            Err(error) => assert_eq!(reason(&error), "TOO_MUCH_AT_ONCE", "{}", error.message()),
        }
        tokio::time::sleep(Duration::from_millis(250)).await;
    }
    assert!(signed_in, "the queue was used up");
    server.stop().await;
}

#[tokio::test]
async fn a_password_that_is_hard_to_judge_does_not_hold_up_others() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let hard = "4@8({[<369&#!1/|0$5+7%2".repeat(4) + "abcd";
    let judging = (0..3).map(|n| {
        let visitor = server.raw();
        let request =
            v1::SignUpRequest { handle: format!("handle{n}"), password: hard.clone(), ..Default::default() };
        tokio::spawn(async move { visitor.call(&request).await.is_ok() })
    });
    let judging: Vec<_> = judging.collect();
    let ask = server.raw();
    let quick = ask.call(&v1::ListCropsRequest {});
    tokio::time::timeout(Duration::from_secs(5), quick).await.expect("others are answered").unwrap();
    for one in judging {
        let _ = one.await.unwrap();
    }
    server.stop().await;
}

#[tokio::test]
async fn connections_of_one_address_are_bounded_and_a_half_greeting_ends() {
    let database = Database::sqlite();
    let server = TestServer::with(&database.url, &["listen.connections_per_address_max=3"]).await;
    let address = server.running.address();
    // The harness holds one connection and two more fit; the server drops the next at once.
    let mut first = tokio::net::TcpStream::connect(address).await.unwrap();
    let _second = tokio::net::TcpStream::connect(address).await.unwrap();
    first.write_all(b"P").await.unwrap();
    tokio::time::sleep(Duration::from_millis(100)).await;
    let mut third = tokio::net::TcpStream::connect(address).await.unwrap();
    let mut byte = [0];
    let ended =
        tokio::time::timeout(Duration::from_secs(2), third.read(&mut byte)).await.expect("it is dropped");
    assert!(matches!(ended, Ok(0) | Err(_)));
    let mut rest = Vec::new();
    let ended = tokio::time::timeout(Duration::from_secs(20), first.read_to_end(&mut rest)).await;
    assert!(ended.is_ok(), "a peer that greets by halves does not stay");
    server.stop().await;
}

#[tokio::test]
async fn an_offer_cannot_fill_a_page_with_text() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let giver = server.raw().member("giver").await;
    let mut large = draft();
    let health = large.health.as_mut().unwrap();
    health.treatments = vec![
        v1::Treatment {
            treatment: "x".repeat(500),
            active_ingredient: "y".repeat(500),
            ..Default::default()
        };
        20
    ];
    let request = v1::CreateOfferRequest { offer: Some(large) };
    let error = giver.call(&request).await.unwrap_err();
    assert_eq!(wrong_fields(&error), ["offer.health"]);
    // Nor can a text reverse the direction of writing or forge a line.
    for label in ["Rosa\u{202e}", "Rosa\nstate  open"] {
        let mut forged = draft();
        forged.place.as_mut().unwrap().label = label.into();
        let request = v1::CreateOfferRequest { offer: Some(forged) };
        let error = giver.call(&request).await.unwrap_err();
        assert_eq!(wrong_fields(&error), ["offer.place.label"]);
    }
    server.stop().await;
}

#[tokio::test]
async fn a_new_password_leaves_no_session_of_the_old_one() {
    on_both(async |url| {
        let server = TestServer::with(&url, &["accounts.password_slots=8"]).await;
        let visitor = server.raw();
        let member = visitor.member("rosamund").await;
        let sign_ins = (0..24).map(|_| {
            let visitor = visitor.clone();
            tokio::spawn(async move { visitor.sign_in("rosamund", PASSWORD).await.ok() })
        });
        let sign_ins: Vec<_> = sign_ins.collect();
        tokio::time::sleep(Duration::from_millis(40)).await;
        let change = v1::ChangePasswordRequest {
            current_password: PASSWORD.into(),
            new_password: "wicker orbit kettle plank".into(),
        };
        member.call(&change).await.unwrap();
        for sign_in in sign_ins {
            let Some(session) = sign_in.await.unwrap() else { continue };
            let me = session.call(&v1::WhoAmIRequest {}).await;
            assert_eq!(reason(&me.unwrap_err()), "SESSION_OVER", "a session of the old password lives on");
        }
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn twins_of_a_change_get_its_reply_and_limits_hold_under_a_rush() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let posted: v1::CreateOfferResponse =
            giver.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
        let request = v1::UpdateOfferRequest {
            offer_id: posted.offer.unwrap().offer_id,
            version: 1,
            offer: Some(v1::OfferDraft { quantity: 2, ..Default::default() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["quantity".into()] }),
        };
        let keyed = giver.with_key(&fresh_key());
        let twins = (0..8).map(|_| {
            let (keyed, request) = (keyed.clone(), request.clone());
            tokio::spawn(async move { keyed.call(&request).await })
        });
        for twin in twins.collect::<Vec<_>>() {
            assert_eq!(twin.await.unwrap().expect("its reply").offer.unwrap().version, 2);
        }
        let rush = (0..80).map(|_| {
            let giver = giver.clone();
            tokio::spawn(async move {
                let request = v1::CreateInvitationRequest::default();
                giver.call(&request).await.is_ok()
            })
        });
        let mut made = 0;
        for one in rush.collect::<Vec<_>>() {
            made += usize::from(one.await.unwrap());
        }
        assert_eq!(made, 50);
        server.stop().await;
    })
    .await;
}

/// Sends requests with randomly changed bytes (from a deterministic generator). The server answers each of them, and
/// never with an internal error.
#[tokio::test]
async fn no_request_makes_the_server_fail() {
    use scionary_tests::samples::{Ids, sample};
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let member = server.raw().member("rosamund").await;
    // Use real objects, so that the requests get as far as they can.
    let keep = v1::CreatePlanRequest { plan: Some(scionary_tests::samples::plan()), ..Default::default() };
    let plan = member.call(&keep).await.unwrap();
    let plan = plan.plan.unwrap().plan_id;
    let log = scionary_tests::samples::grafts();
    let graft = member.call(&log).await.unwrap();
    let graft = graft.grafts.unwrap().graft_id;
    let ids = Ids {
        offer: "ofr_00000000000000000000000001".into(),
        invitation: "inv_00000000000000000000000001".into(),
        cultivar: server.running.app().registry().resolve("c", "Golek", "").unwrap().cultivar.id.to_string(),
        free_handle: "free-handle".into(),
        evidence: "evd_00000000000000000000000001".into(),
        proposal: "prp_00000000000000000000000001".into(),
        sowing: "sow_00000000000000000000000001".into(),
        ticket: "tkt_00000000000000000000000001".into(),
        plan,
        graft,
        claim: "clm_00000000000000000000000001".into(),
        lot: "lot_00000000000000000000000001".into(),
        plant: "lot_00000000000000000000000002".into(),
        want: "wnt_00000000000000000000000001".into(),
        club: "clb_00000000000000000000000001".into(),
        round: "rnd_00000000000000000000000001".into(),
        guest: "acc_00000000000000000000000001".into(),
        alert: "alt_00000000000000000000000001".into(),
        serial: 1,
    };
    let mut state = 20_261_124_u64;
    let mut roll = |sides: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap() % sides.max(1)
    };
    for rpc in Rpc::ALL {
        // A sign-out would end the session, and streams take no such message.
        if rpc.kind() != Kind::Unary
            || matches!(rpc, Rpc::AccountSignOut | Rpc::AccountSignOutEverywhere | Rpc::AccountSignUp)
        {
            continue;
        }
        let good = sample(rpc, &ids);
        for _ in 0..40 {
            let mut bytes = good.clone();
            for _ in 0..=roll(4) {
                match roll(3) {
                    0 => bytes.insert(roll(bytes.len() + 1), u8::try_from(roll(256)).unwrap()),
                    1 if !bytes.is_empty() => {
                        bytes.remove(roll(bytes.len()));
                    }
                    _ if !bytes.is_empty() => {
                        let at = roll(bytes.len());
                        bytes[at] = u8::try_from(roll(256)).unwrap();
                    }
                    _ => {}
                }
            }
            if let Err(error) = member.bytes(rpc, bytes.clone()).await {
                assert_ne!(reason(&error), "INTERNAL", "{} {bytes:?}: {}", rpc.path(), error.message());
                assert_ne!(error.code(), Code::Unavailable, "{} {bytes:?}", rpc.path());
            }
        }
    }
    server.stop().await;
}
