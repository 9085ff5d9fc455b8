//! Limits that apply before work begins: expensive calls, streams, unknown methods, downloads, names, chains of lots.
//! And what ends at once: sessions, watches, consent to help.

use std::time::Duration;

use prost::Message as _;
use scionary_proto::{Rpc, v1};
use scionary_tests::{
    Database, Raw, TestServer,
    binaries::{Person, Server},
    client::{PASSWORD, fresh_key, reason},
    on_both,
    samples::{ask, draft, plant_lot},
};
use sea_orm::ConnectionTrait as _;
use tonic::{Code, Status};

use crate::{
    bare::Wire,
    evidence::Club,
    lots::{self, of},
};

/// Opens a stream of requests without sending any. Returns its body, or `None` if the server refused at once.
async fn open_stream(
    server: &TestServer,
    path: &str,
    token: &str,
) -> Option<h2::SendStream<std::io::Cursor<Vec<u8>>>> {
    let wire = Wire::open(server.running.address()).await;
    let request = http::Request::builder()
        .method("POST")
        .version(http::Version::HTTP_2)
        .uri(format!("http://localhost{path}"))
        .header("te", "trailers")
        .header("content-type", "application/grpc")
        .header("authorization", format!("Bearer {token}"))
        .header("idempotency-key", fresh_key())
        .body(())
        .unwrap();
    let mut sender = wire.sender.clone().ready().await.unwrap();
    let (response, body) = sender.send_request(request, false).unwrap();
    let response = tokio::time::timeout(Duration::from_secs(5), response).await.unwrap().unwrap();
    // A refusal has headers only.
    (!response.headers().contains_key("grpc-status")).then_some(body)
}

fn odds(wanted: u32) -> v1::EstimateSeedOddsRequest {
    v1::EstimateSeedOddsRequest {
        cultivar: "Kensington".into(),
        crop: "mango".into(),
        wanted,
        ..Default::default()
    }
}

#[tokio::test]
async fn dear_calls_have_a_budget_of_their_own_and_hold_up_nobody() {
    let database = Database::sqlite();
    let server = TestServer::with(&database.url, &["limits.dear_reads_per_minute=100"]).await;
    let asking: Vec<_> = (0..64)
        .map(|_| {
            let who = server.raw();
            tokio::spawn(async move { who.call(&odds(500)).await })
        })
        .collect();
    // The first of them are running.
    tokio::time::sleep(Duration::from_millis(50)).await;
    server.raw().call(&v1::GetServerRequest {}).await.unwrap();
    let open = asking.iter().filter(|one| !one.is_finished()).count();
    assert!(open > 0, "others are answered while dear calls wait");
    let mut refused = 0;
    for one in asking {
        if let Err(error) = one.await.unwrap() {
            assert_eq!(reason(&error), "TOO_MUCH_AT_ONCE", "{}", error.message());
            refused += 1;
        }
    }
    assert!((1..64).contains(&refused), "{refused} of 64 did not wait");
    // The address's budget runs out at last, while cheap calls still work.
    let mut last = None;
    // It fills up again while a busy machine answers slowly: so many calls are more than it ever holds.
    for _ in 0..1_000 {
        last = server.raw().call(&odds(1)).await.err();
        if last.is_some() {
            break;
        }
    }
    assert_eq!(reason(&last.unwrap()), "TOO_MANY_CALLS");
    let look = |name: &str| v1::LookUpSeedRequest { name: name.into(), crop: String::new() };
    server.raw().call(&look("golek")).await.unwrap();
    // One character can expand to eighteen, so a name of many is expensive.
    let long = "\u{fdfa}".repeat(100);
    // A slow machine leaves time for the budget to fill up a little: soon it is empty again.
    let mut refused = None;
    for _ in 0..1_000 {
        refused = server.raw().call(&look(&long)).await.err();
        if refused.is_some() {
            break;
        }
    }
    assert_eq!(reason(&refused.unwrap()), "TOO_MANY_CALLS");
    let check = v1::CheckNameRequest { crop: "mango".into(), name: long, historic: false };
    let mut refused = None;
    for _ in 0..1_000 {
        refused = server.raw().call(&check).await.err();
        if refused.is_some() {
            break;
        }
    }
    assert_eq!(reason(&refused.unwrap()), "TOO_MANY_CALLS");
    server.stop().await;
}

#[tokio::test]
async fn an_import_takes_its_place_before_its_first_byte() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let path = Rpc::EvidenceImportEvidence.path();
    let mut held = Vec::new();
    let mut refused = 0;
    for n in 0..4 {
        let who = server.raw().member(&format!("importer-{n}")).await;
        // A stream that has sent nothing.
        match open_stream(&server, path, who.token().unwrap()).await {
            Some(stream) => held.push(stream),
            None => refused += 1,
        }
    }
    assert_eq!((held.len(), refused), (2, 2), "two imports at once, whatever they have sent");
    server.stop().await;
}

#[tokio::test]
async fn unknown_methods_are_counted_and_logged_short() {
    let database = Database::sqlite();
    let set = ["accounts.sign_up=open", "limits.reads_per_minute=50", "log.filter=info"];
    let server = Server::start(&database.url, &set);
    let who = Raw::at(&server.address).await;
    let long = format!("/{}/Method", "x".repeat(3000));
    let mut reasons = Vec::new();
    for _ in 0..80 {
        let error: Status = who.path(&long, Vec::new(), false).await.unwrap_err();
        reasons.push(reason(&error));
    }
    assert_eq!(reasons[0], "UNKNOWN_METHOD");
    assert_eq!(reasons[79], "TOO_MANY_CALLS");
    tokio::time::sleep(Duration::from_millis(300)).await;
    let log = server.log();
    assert!(log.len() > 80 * 40 && log.len() < 80 * 400, "{} bytes of log for 80 calls", log.len());
    assert!(!log.contains("xxxxxxxx"));
    server.kill();
}

#[tokio::test]
async fn an_address_holds_few_downloads() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let ann = server.raw().member("ann").await;
    let request = v1::ExportRequest { format: v1::ExportFormat::FindingsJson.into(), ..Default::default() };
    let (one, two) = (ann.open(&request).await.unwrap(), ann.open(&request).await.unwrap());
    let refused = match ann.open(&request).await {
        Ok(mut stream) => stream.message().await.unwrap_err(),
        Err(error) => error,
    };
    assert_eq!(reason(&refused), "TOO_MUCH_AT_ONCE");
    drop((one, two));
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert!(!ann.stream(Rpc::ExportExport.path(), request.encode_to_vec()).await.unwrap().is_empty());
    server.stop().await;
}

#[tokio::test]
async fn a_chain_of_lots_is_followed_so_far_and_no_farther() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let ann = server.raw().member("ann").await;
    let (mut code, mut n) = (String::new(), 0);
    let refused = loop {
        let request = if code.is_empty() {
            plant_lot()
        } else {
            of(v1::LotKind::MotherPlant, &[(&code, v1::Descent::PartOf)])
        };
        match lots::enter(&ann, request).await {
            Ok(lot) => code = lots::code(&lot),
            Err(refused) => break refused,
        }
        n += 1;
        assert!(n < 300, "a chain without an end");
    };
    assert!(n >= 200, "{n} generations are looked through");
    server.raw().call(&v1::LookUpLotRequest { code }).await.unwrap();
    assert_eq!(reason(&refused), "TOO_MUCH_ABOVE");
    assert!(refused.message().contains("ask the person who gave it"), "{}", refused.message());
    server.stop().await;
}

#[tokio::test]
async fn hashing_comes_after_checking() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let made = v1::CreateClubRequest {
            club: Some(v1::ClubDraft { name: "Larkwater growers".into(), ..Default::default() }),
        };
        let club_id = ann.call(&made).await.unwrap().club.unwrap().club_id;
        let enter = |name: &str| v1::EnterHelpedMemberRequest {
            club_id: club_id.clone(),
            name: name.into(),
            consent: "Said so to me.".into(),
        };
        // Many at once: a password hash for each would fill the queue.
        let tries: Vec<_> = (0..120)
            .map(|_| {
                let (ben, enter) = (ben.clone(), enter("Fern"));
                tokio::spawn(async move { ben.call(&enter).await.unwrap_err() })
            })
            .collect();
        for one in tries {
            assert_eq!(reason(&one.await.unwrap()), "ROLE_MISSING");
        }
        assert_eq!(reason(&ann.call(&enter("")).await.unwrap_err()), "FIELDS_WRONG");
        ann.call(&enter("Fern")).await.unwrap();
        club.server.stop().await;
    })
    .await;
}

/// Reads a watch to its end. Returns its last status.
async fn end_of(mut watch: scionary_tests::client::Messages<v1::WatchNoticesResponse>) -> Option<Status> {
    let wait = async {
        loop {
            match watch.message().await {
                Ok(Some(_)) => {}
                Ok(None) => return None,
                Err(error) => return Some(error),
            }
        }
    };
    tokio::time::timeout(Duration::from_secs(10), wait).await.expect("the watch ends at once")
}

#[tokio::test]
async fn suspended_and_signed_out_people_are_out_at_once_and_for_good() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let watch = v1::WatchNoticesRequest::default();
        let open = ann.open(&watch).await.unwrap();
        let suspend = |handle: &str| v1::SuspendAccountRequest {
            handle: handle.into(),
            reason: "Asked for it.".into(),
        };
        club.steward.call(&suspend("ann")).await.unwrap();
        assert_eq!(end_of(open).await.unwrap().code(), Code::Unauthenticated);
        let denied = ann.call(&v1::WhoAmIRequest {}).await.unwrap_err();
        assert_eq!(denied.code(), Code::Unauthenticated, "{}", denied.message());
        let restore = v1::RestoreAccountRequest { handle: "ann".into(), reason: "All is well again.".into() };
        club.steward.call(&restore).await.unwrap();
        assert_eq!(reason(&ann.call(&v1::WhoAmIRequest {}).await.unwrap_err()), "SESSION_OVER");
        let ann = club.server.raw().sign_in("ann", PASSWORD).await.unwrap();

        // Signing out ends the watches of that session, and no others.
        let other = club.server.raw().sign_in("ann", PASSWORD).await.unwrap();
        let (open, stays) = (ann.open(&watch).await.unwrap(), other.open(&watch).await.unwrap());
        ann.call(&v1::SignOutRequest {}).await.unwrap();
        assert_eq!(end_of(open).await.unwrap().code(), Code::Unauthenticated);
        let mut stays = stays;
        assert!(stays.message().await.unwrap().is_some());
        let more = tokio::time::timeout(Duration::from_millis(1500), stays.message()).await;
        assert!(more.is_err(), "another session's watch goes on: {more:?}");

        // The last steward with an active account stays.
        let grant = |handle: &str| v1::GrantRoleRequest {
            handle: handle.into(),
            role: v1::Role::Steward.into(),
            crop: String::new(),
        };
        club.steward.call(&grant("ann")).await.unwrap();
        club.steward.call(&suspend("ann")).await.unwrap();
        let me = club.steward.call(&v1::WhoAmIRequest {}).await.unwrap().account.unwrap().handle;
        let revoke =
            v1::RevokeRoleRequest { handle: me.clone(), role: v1::Role::Steward.into(), crop: String::new() };
        assert_eq!(reason(&club.steward.call(&revoke).await.unwrap_err()), "LAST_STEWARD");
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn a_repeat_with_another_password_is_refused() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let change = |new: &str| v1::ChangePasswordRequest {
            current_password: PASSWORD.into(),
            new_password: new.into(),
        };
        let keyed = ann.with_key(&fresh_key());
        keyed.call(&change("copper lantern willow sand")).await.unwrap();
        keyed.call(&change("copper lantern willow sand")).await.unwrap();
        let refused = keyed.call(&change("gravel meadow saddle orchid")).await.unwrap_err();
        assert_eq!(reason(&refused), "IDEMPOTENCY_KEY_REUSED");
        club.server.raw().sign_in("ann", "copper lantern willow sand").await.unwrap();
        // The same for signing up.
        let sign_up = |password: &str| v1::SignUpRequest {
            handle: "ben".into(),
            display_name: "Ben".into(),
            password: password.into(),
            code: String::new(),
        };
        let keyed = club.server.raw().with_key(&fresh_key());
        keyed.call(&sign_up(PASSWORD)).await.unwrap();
        keyed.call(&sign_up(PASSWORD)).await.unwrap();
        let refused = keyed.call(&sign_up("gravel meadow saddle orchid")).await.unwrap_err();
        assert_eq!(reason(&refused), "IDEMPOTENCY_KEY_REUSED");
        club.server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn invitations_tell_nothing_of_who_is_here_and_respect_blocks() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let id_of =
            async |who: &Raw| who.call(&v1::WhoAmIRequest {}).await.unwrap().account.unwrap().account_id;
        let made = v1::CreateClubRequest {
            club: Some(v1::ClubDraft { name: "Larkwater growers".into(), ..Default::default() }),
        };
        let club_id = ann.call(&made).await.unwrap().club.unwrap().club_id;
        // cat blocks ann.
        cat.call(&v1::BlockMemberRequest { account_id: id_of(&ann).await }).await.unwrap();
        let invite = |handle: &str| v1::InviteToClubRequest {
            club_id: club_id.clone(),
            handle: handle.into(),
            words: "Come along.".into(),
        };
        let known = ann.call(&invite("ben")).await.unwrap();
        let blocked = ann.call(&invite("cat")).await.unwrap();
        let unknown = ann.call(&invite("no-one-at-all")).await.unwrap();
        assert_eq!((&known, &blocked), (&blocked, &unknown), "all three look alike");
        let list =
            v1::ListClubMembersRequest { club_id: club_id.clone(), waiting: true, ..Default::default() };
        let waiting = ann.call(&list).await.unwrap().members;
        let names: Vec<_> = waiting.iter().map(|m| (m.name.as_str(), m.account_id.as_str())).collect();
        assert_eq!(names, [("ben", ""), ("cat", ""), ("no-one-at-all", "")]);
        // An invited person who does not block ann gets a notice; the other gets none.
        let inbox = v1::ListNoticesRequest::default();
        assert_eq!(ben.call(&inbox).await.unwrap().notices.len(), 1);
        assert!(cat.call(&inbox).await.unwrap().notices.is_empty());
        assert_eq!(ben.call(&v1::ListMyClubsRequest {}).await.unwrap().clubs.len(), 1);
        assert!(cat.call(&v1::ListMyClubsRequest {}).await.unwrap().clubs.is_empty());
        let answer = v1::AnswerClubInvitationRequest { club_id: club_id.clone(), accept: Some(true) };
        assert_eq!(reason(&cat.call(&answer).await.unwrap_err()), "NOT_INVITED");
        ben.call(&answer).await.unwrap();
        // Withdraw an invitation by its handle.
        let remove = |handle: &str| v1::RemoveClubMemberRequest {
            club_id: club_id.clone(),
            handle: handle.into(),
            ..Default::default()
        };
        ann.call(&remove("No-One-At-All")).await.unwrap();
        assert_eq!(reason(&ann.call(&remove("no-one-at-all")).await.unwrap_err()), "NOT_FOUND");
        assert_eq!(ann.call(&list).await.unwrap().members.len(), 1);
        club.server.stop().await;
    })
    .await;
}

/// Ann arranges two clubs; Ben lets her help in one. She cannot reach what he does elsewhere.
#[tokio::test]
async fn consent_to_help_covers_one_club_and_ends_with_a_block() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let mut clubs = Vec::new();
        for name in ["Larkwater growers", "Millrace growers"] {
            let made = v1::CreateClubRequest {
                club: Some(v1::ClubDraft { name: name.into(), takes_requests: true, ..Default::default() }),
            };
            let club_id = ann.call(&made).await.unwrap().club.unwrap().club_id;
            for (who, handle) in [(&ben, "ben"), (&cat, "cat")] {
                who.call(&v1::AskToJoinClubRequest { club_id: club_id.clone(), words: String::new() })
                    .await
                    .unwrap();
                ann.call(&v1::InviteToClubRequest {
                    club_id: club_id.clone(),
                    handle: handle.into(),
                    words: String::new(),
                })
                .await
                .unwrap();
            }
            clubs.push(club_id);
        }
        ben.call(&v1::AllowHelpRequest { club_id: clubs[0].clone(), allow: Some(true) }).await.unwrap();
        let bens = ben.call(&v1::WhoAmIRequest {}).await.unwrap().account.unwrap().account_id;
        let for_ben = ann.on_behalf_of(&bens);
        let offered = |club: &str| v1::CreateOfferRequest {
            offer: Some(v1::OfferDraft { club: club.into(), ..draft() }),
        };
        let mut offers = Vec::new();
        for club in [clubs[0].as_str(), clubs[1].as_str(), ""] {
            offers.push(ben.call(&offered(club)).await.unwrap().offer.unwrap().offer_id);
        }
        let mut claims = Vec::new();
        for offer in &offers {
            claims.push(cat.call(&ask(offer, 1)).await.unwrap().claim.unwrap().claim_id);
        }
        // Ann can post for him in that club only.
        for club in ["", clubs[1].as_str()] {
            let refused = for_ben.call(&offered(club)).await.unwrap_err();
            assert_eq!(reason(&refused), "FIELDS_WRONG", "{}", refused.message());
        }
        for_ben.call(&offered(&clubs[0])).await.unwrap();
        // Ann can read and change his things of that club only.
        let seen = for_ben.call(&v1::ListMyOffersRequest::default()).await.unwrap().offers;
        assert!(seen.len() == 2 && seen.iter().all(|o| o.club_id == clubs[0]), "{seen:?}");
        let seen = for_ben.call(&v1::ListMyClaimsRequest::default()).await.unwrap().claims;
        assert_eq!(seen.iter().map(|c| &c.claim_id).collect::<Vec<_>>(), [&claims[0]]);
        assert_eq!(ben.call(&v1::ListMyClaimsRequest::default()).await.unwrap().claims.len(), 3);
        for claim in &claims[1..] {
            let get = v1::GetClaimRequest { claim_id: claim.clone() };
            assert_eq!(reason(&for_ben.call(&get).await.unwrap_err()), "NOT_FOUND");
            let accept = v1::AcceptClaimRequest {
                claim_id: claim.clone(),
                contact: "at the shed".into(),
                ..Default::default()
            };
            assert_eq!(reason(&for_ben.call(&accept).await.unwrap_err()), "NOT_FOUND");
            let confirm = v1::ConfirmHandOverRequest { claim_id: claim.clone() };
            assert_eq!(reason(&for_ben.call(&confirm).await.unwrap_err()), "NOT_FOUND");
        }
        for offer in &offers[1..] {
            let withdraw = v1::WithdrawOfferRequest { offer_id: offer.clone(), ..Default::default() };
            assert_eq!(reason(&for_ben.call(&withdraw).await.unwrap_err()), "NOT_FOUND");
        }
        assert_eq!(
            reason(&for_ben.call(&v1::ListNoticesRequest::default()).await.unwrap_err()),
            "NOT_ON_BEHALF"
        );
        assert_eq!(
            reason(&for_ben.call(&v1::ListMyLotsRequest::default()).await.unwrap_err()),
            "NOT_ON_BEHALF"
        );
        // Ann accepts for him; only he sees how to reach cat.
        let accept = v1::AcceptClaimRequest {
            claim_id: claims[0].clone(),
            contact: "at the shed".into(),
            ..Default::default()
        };
        let accepted = for_ben.call(&accept).await.unwrap().claim.unwrap();
        assert!(accepted.contact.is_empty(), "{accepted:?}");
        let get = v1::GetClaimRequest { claim_id: claims[0].clone() };
        assert!(for_ben.call(&get).await.unwrap().claim.unwrap().contact.is_empty());
        assert_eq!(ben.call(&get).await.unwrap().claim.unwrap().contact, "0400 000 000");
        // A block ends it.
        let anns = ann.call(&v1::WhoAmIRequest {}).await.unwrap().account.unwrap().account_id;
        ben.call(&v1::BlockMemberRequest { account_id: anns }).await.unwrap();
        assert_eq!(reason(&for_ben.call(&get).await.unwrap_err()), "ROLE_MISSING");
        club.server.stop().await;
    })
    .await;
}

/// Text from members and servers cannot control a terminal.
#[tokio::test]
async fn nothing_that_others_wrote_steers_a_terminal() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &["accounts.sign_up=open"]);
    let ann = Raw::at(&server.address).await.member("ann").await;
    let offer = ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap().offer.unwrap();
    // A server that lets anything through.
    let db = database.connect().await;
    let nasty = "UPDATE offer SET note = 'Good wood' || char(8238, 27, 155, 8294, 65279, 8232) || '[2J'";
    db.execute_unprepared(nasty).await.unwrap();
    let ben = Person::new(&server);
    for arguments in [&["offer", "show", &offer.offer_id][..], &["offer", "show", &offer.offer_id, "--json"]]
    {
        let printed = ben.ok(arguments);
        assert!(printed.contains("Good wood"), "{printed}");
        assert!(
            !printed.contains(['\u{202e}', '\u{2066}', '\u{feff}', '\u{2028}', '\u{9b}', '\u{1b}']),
            "{printed:?}"
        );
    }
    // Errors repeat the typed text.
    for arguments in [
        &["lookup", "x", "--crop", "man\u{202e}go\u{9b}31m"][..],
        &["lookup", "x", "--crop", "man\u{202e}go\u{9b}31m", "--json"],
    ] {
        let said = ben.fails(2, arguments);
        assert!(!said.contains(['\u{202e}', '\u{9b}']), "{said:?}");
    }
    server.kill();
}
