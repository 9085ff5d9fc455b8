//! Lots: from a mother plant to others' gardens, traced in both directions, and the reach of alerts.

use prost::Message as _;
use scionary_proto::{
    Rpc,
    v1::{self, Descent, LotKind},
};
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{ask, draft, in_days, plant_lot, sick},
};
use tonic::Status;

use crate::evidence::Club;

pub async fn enter(who: &Raw, request: v1::CreateLotRequest) -> Result<v1::Lot, Status> {
    who.call(&request).await.map(|r| r.lot.unwrap())
}

pub fn code(lot: &v1::Lot) -> String {
    lot.card.clone().unwrap().code
}

pub fn of(kind: LotKind, origins: &[(&str, Descent)]) -> v1::CreateLotRequest {
    let origins = origins
        .iter()
        .map(|(lot, descent)| v1::LotOrigin {
            lot: (*lot).into(),
            descent: (*descent).into(),
            ..Default::default()
        })
        .collect();
    v1::CreateLotRequest { kind: kind.into(), origins, ..Default::default() }
}

async fn get(who: &Raw, lot: &str) -> Result<v1::Lot, Status> {
    who.call(&v1::GetLotRequest { lot: lot.into() }).await.map(|r| r.lot.unwrap())
}

async fn card(who: &Raw, lot: &str) -> Result<v1::LotCard, Status> {
    who.call(&v1::LookUpLotRequest { code: lot.into() }).await.map(|r| r.card.unwrap())
}

async fn trace(who: &Raw, lot: &str, direction: v1::TraceDirection) -> Result<v1::TraceLotResponse, Status> {
    let request = v1::TraceLotRequest { lot: lot.into(), direction: direction.into() };
    who.call(&request).await
}

async fn inbox(who: &Raw) -> Vec<v1::Notice> {
    let request = v1::ListNoticesRequest::default();
    who.call(&request).await.unwrap().notices
}

/// Gives part of an offer to a taker, with both confirmations. Returns the claim.
pub async fn give(giver: &Raw, taker: &Raw, offer: v1::OfferDraft, quantity: i32) -> v1::Claim {
    let posted: v1::CreateOfferResponse =
        giver.call(&v1::CreateOfferRequest { offer: Some(offer) }).await.unwrap();
    let asked: v1::CreateClaimResponse =
        taker.call(&ask(&posted.offer.unwrap().offer_id, quantity)).await.unwrap();
    let claim_id = asked.claim.unwrap().claim_id;
    let accept =
        v1::AcceptClaimRequest { claim_id: claim_id.clone(), contact: "here".into(), note: String::new() };
    giver.call(&accept).await.unwrap();
    let confirm = v1::ConfirmHandOverRequest { claim_id };
    giver.call(&confirm).await.unwrap();
    let done: v1::ConfirmHandOverResponse = taker.call(&confirm).await.unwrap();
    done.claim.unwrap()
}

fn wood_offer(lot: &str) -> v1::OfferDraft {
    let mut offer = v1::OfferDraft {
        material: v1::Material::ScionWood.into(),
        lot: lot.into(),
        cultivar: String::new(),
        available_until: Some(in_days(5)),
        ..draft()
    };
    if let Some(health) = offer.health.as_mut() {
        health.form = v1::MaterialForm::Leafless.into();
    }
    offer
}

async fn newest(who: &Raw) -> v1::Lot {
    let list = v1::ListMyLotsRequest::default();
    who.call(&list).await.unwrap().lots.remove(0)
}

/// Processes the pending changes now, so that no test has to wait for them.
async fn settle(club: &Club) {
    let app = club.server.running.app();
    let mut followed = app.begin_to_follow().await.unwrap();
    app.follow_changes(&mut followed).await.unwrap();
}

#[tokio::test]
async fn from_a_mother_plant_to_others_gardens() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let mother = enter(&ann, plant_lot()).await.unwrap();
        let mother = code(&mother);
        let wood = code(&enter(&ann, of(LotKind::ScionWood, &[(&mother, Descent::CutFrom)])).await.unwrap());
        assert_eq!(get(&ann, &wood.to_lowercase()).await.unwrap().card.unwrap().cultivar_name, "R2E2");
        // A lot cannot descend from another member's lot, nor in an impossible way.
        let refused = enter(&ben, of(LotKind::ScionWood, &[(&mother, Descent::CutFrom)])).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["origins[0].lot"]);
        let refused = enter(&ann, of(LotKind::Seed, &[(&wood, Descent::SeedFrom)])).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["origins[0].descent"]);
        let slip = format!("{}3", &mother[..mother.len() - 1]);
        if slip != mother {
            assert_eq!(wrong_fields(&get(&ann, &slip).await.unwrap_err()), ["lot"]);
        }

        // A hand-over makes a lot for the receiver.
        let claim = give(&ann, &ben, wood_offer(&wood), 2).await;
        let bens = newest(&ben).await;
        let bens_card = bens.card.clone().unwrap();
        assert_eq!((bens.quantity, bens.claim_id.as_str()), (2, claim.claim_id.as_str()));
        assert_eq!(bens_card.cultivar_name, "R2E2");
        assert_eq!(
            (bens_card.origins[0].lot.as_str(), bens_card.origins[0].descent()),
            (wood.as_str(), Descent::HandedOver)
        );
        // A lot cut from a plant for a claim descends from the plant.
        give(&ann, &cat, wood_offer(&mother), 1).await;
        let cats = newest(&cat).await.card.unwrap();
        assert_eq!(
            (cats.origins[0].lot.as_str(), cats.origins[0].descent(), cats.kind()),
            (mother.as_str(), Descent::CutFrom, LotKind::ScionWood)
        );
        // An offer without a lot makes a lot for each side.
        give(&cat, &ben, draft(), 3).await;
        let list: v1::ListMyLotsResponse = cat.call(&v1::ListMyLotsRequest::default()).await.unwrap();
        assert_eq!(list.lots.len(), 2);
        let seedling = newest(&ben).await.card.unwrap();
        assert_eq!(seedling.origins[0].lot, code(&list.lots[0]));

        // ben grafts the wood he received.
        let graft = of(
            LotKind::GraftedPlant,
            &[(&bens_card.code, Descent::ScionOf), (&seedling.code, Descent::RootstockOf)],
        );
        let graft = code(&enter(&ben, graft).await.unwrap());
        let back = trace(&ben, &graft, v1::TraceDirection::Back).await.unwrap();
        let codes: Vec<&str> = back.lots.iter().map(|l| l.code.as_str()).collect();
        assert_eq!((codes.len(), codes[0], back.more), (6, graft.as_str(), false));
        assert!(codes.contains(&mother.as_str()));
        assert!(back.lots.iter().all(|l| l.is_mine != l.holder_name.is_empty()), "no names of others");
        let down = trace(&ann, &mother, v1::TraceDirection::Forward).await.unwrap();
        assert_eq!(down.lots.len(), 5);
        assert_eq!(
            reason(&trace(&cat, &graft, v1::TraceDirection::Back).await.unwrap_err()),
            "NOT_THE_HOLDER"
        );
        let seen = trace(&club.steward, &mother, v1::TraceDirection::Forward).await.unwrap();
        assert!(seen.lots.iter().all(|l| !l.holder_name.is_empty()));

        // Anyone can read the card, and nothing more.
        let public = card(&club.server.raw(), &graft).await.unwrap();
        assert_eq!(public.origins.len(), 2);
        assert_eq!(reason(&get(&cat, &graft).await.unwrap_err()), "NOT_THE_HOLDER");

        // A lot of which nothing is left stays on file and cannot be offered.
        let end = v1::EndLotRequest { lot: wood.clone(), why: "used up".into(), on: None };
        ann.call(&end).await.unwrap();
        let offer = v1::CreateOfferRequest { offer: Some(wood_offer(&wood)) };
        let refused = ann.call(&offer).await.unwrap_err();
        assert_eq!(reason(&refused), "LOT_ENDED");
        // A lot cannot be offered under another name.
        let renamed = v1::OfferDraft { cultivar: "Golek".into(), ..wood_offer(&mother) };
        let offer = v1::CreateOfferRequest { offer: Some(renamed) };
        let refused = ann.call(&offer).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["offer.cultivar"]);
        club.server.stop().await;
    })
    .await;
}

async fn raise(who: &Raw, request: v1::CreateAlertRequest) -> v1::Alert {
    who.call(&request).await.unwrap().alert.unwrap()
}

async fn confirm(who: &Raw, alert: &v1::Alert) -> Result<v1::Alert, Status> {
    let request = v1::ConfirmAlertRequest {
        alert_id: alert.alert_id.clone(),
        words: "Cultured from a shoot.".into(),
        trace_back: None,
    };
    who.call(&request).await.map(|r| r.alert.unwrap())
}

#[tokio::test]
async fn an_alert_reaches_what_it_should() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        let curator = club.curator("curator", "mango").await;
        let mother = code(&enter(&ann, plant_lot()).await.unwrap());
        give(&ann, &ben, wood_offer(&mother), 2).await;
        give(&ann, &cat, wood_offer(&mother), 2).await;
        let (bens, cats) = (code(&newest(&ben).await), code(&newest(&cat).await));
        let bystander = code(&enter(&cat, plant_lot()).await.unwrap());
        let offer_of = |lot: &str| v1::CreateOfferRequest { offer: Some(wood_offer(lot)) };

        // ben finds his plant sick and traces back: the mother plant, and her other descendants.
        let raised =
            raise(&ben, v1::CreateAlertRequest { trace_back: true, pest: "Wilt".into(), ..sick(&bens) })
                .await;
        assert_eq!((raised.lots, raised.state()), (3, v1::AlertState::Raised));
        settle(&club).await;
        let told = inbox(&cat).await;
        assert_eq!(told[0].kind(), v1::NoticeKind::Alert);
        assert!(told[0].words.contains(&cats) && told[0].words.contains("not confirmed yet"), "{told:?}");
        assert!(!told[0].words.contains(&bystander));
        // An unconfirmed alert blocks nothing, and strangers do not see it.
        ann.call(&offer_of(&mother)).await.unwrap();
        assert!(card(&club.server.raw(), &mother).await.unwrap().warnings.is_empty());
        assert_eq!(get(&ann, &mother).await.unwrap().card.unwrap().warnings.len(), 1);
        // An alert cannot freeze a rival: growers do not confirm, and curators do not confirm their own.
        assert_eq!(reason(&confirm(&ann, &raised).await.unwrap_err()), "ROLE_MISSING");
        let own = code(&enter(&curator, plant_lot()).await.unwrap());
        let curators = raise(&curator, sick(&own)).await;
        assert_eq!(reason(&confirm(&curator, &curators).await.unwrap_err()), "OWN_WORK");
        // NotFound for a stranger, so that existence does not leak.
        let stranger = club.grower("stranger").await;
        let request = v1::GetAlertRequest { alert_id: raised.alert_id.clone() };
        let none = stranger.call(&request).await.unwrap_err();
        assert_eq!(reason(&none), "NOT_FOUND");
        let seen: v1::GetAlertResponse = cat.call(&request).await.unwrap();
        let seen = seen.alert.unwrap();
        assert_eq!((seen.own_lots, seen.raised_by.as_str()), (vec![cats.clone()], ""));

        // Confirmed: no one can offer, claim or promise what it reaches.
        let open = ann.call(&offer_of(&mother)).await.unwrap().offer.unwrap();
        let asked: v1::CreateClaimResponse = stranger.call(&ask(&open.offer_id, 1)).await.unwrap();
        confirm(&curator, &raised).await.unwrap();
        settle(&club).await;
        for (who, lot) in [(&ann, &mother), (&cat, &cats)] {
            let refused = who.call(&offer_of(lot)).await.unwrap_err();
            assert_eq!(reason(&refused), "ALERT_REACHES");
        }
        let later = club.grower("later").await;
        let refused = later.call(&ask(&open.offer_id, 1)).await.unwrap_err();
        assert_eq!(reason(&refused), "ALERT_REACHES");
        let accept = v1::AcceptClaimRequest {
            claim_id: asked.claim.unwrap().claim_id,
            contact: "here".into(),
            note: String::new(),
        };
        let refused = ann.call(&accept).await.unwrap_err();
        assert_eq!(reason(&refused), "ALERT_REACHES");
        cat.call(&offer_of(&bystander)).await.unwrap();
        assert_eq!(card(&club.server.raw(), &cats).await.unwrap().warnings[0].pest, "Wilt");
        // The alert reaches later descendants too, and their holder gets a notice.
        let twig = code(&enter(&cat, of(LotKind::ScionWood, &[(&cats, Descent::PartOf)])).await.unwrap());
        settle(&club).await;
        assert!(inbox(&cat).await.iter().any(|n| n.words.contains(&twig)));
        // A recall report for those who decide alerts.
        let recall = v1::RecallAlertRequest { alert_id: raised.alert_id.clone() };
        let denied = ann.stream(Rpc::AlertRecallAlert.path(), recall.encode_to_vec()).await.unwrap_err();
        assert_eq!(reason(&denied), "ROLE_MISSING");
        let chunks = curator.stream(Rpc::AlertRecallAlert.path(), recall.encode_to_vec()).await.unwrap();
        let report = v1::RecallAlertResponse::decode(chunks[0].as_slice()).unwrap();
        assert_eq!((report.lots_total, report.is_whole), (4, true));
        let of_cat: Vec<_> = report.lots.iter().filter(|l| l.holder_name == "cat of the club").collect();
        assert_eq!(of_cat.len(), 2);
        assert_eq!(of_cat.iter().map(|l| l.chain.len()).max(), Some(3), "mother, hers, the twig");

        // Lifted with a reason.
        let withdraw = v1::WithdrawAlertRequest { alert_id: raised.alert_id.clone() };
        let late = ben.call(&withdraw).await.unwrap_err();
        assert_eq!(reason(&late), "ALERT_NOT_SO", "what others bore out is theirs to lift");
        let lift =
            v1::LiftAlertRequest { alert_id: raised.alert_id.clone(), reason: "All tested clean.".into() };
        curator.call(&lift).await.unwrap();
        settle(&club).await;
        cat.call(&offer_of(&cats)).await.unwrap();
        assert!(inbox(&cat).await[0].words.contains("All tested clean."));
        assert!(card(&club.server.raw(), &cats).await.unwrap().warnings.is_empty());

        // A withdrawn false alarm leaves nothing.
        let mistaken = raise(&cat, sick(&bystander)).await;
        settle(&club).await;
        let withdraw = v1::WithdrawAlertRequest { alert_id: mistaken.alert_id.clone() };
        cat.call(&withdraw).await.unwrap();
        assert!(inbox(&cat).await.iter().all(|n| n.subject_id != mistaken.alert_id));
        let request = v1::GetAlertRequest { alert_id: mistaken.alert_id };
        let gone = curator.call(&request).await.unwrap_err();
        assert_eq!(reason(&gone), "NOT_FOUND");
        club.server.stop().await;
    })
    .await;
}

/// Dates and clean tests limit an alert: it does not reach what left before, nor what a test covers.
#[tokio::test]
async fn dates_and_tests_keep_an_alert_in_its_bounds() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let on = |request: v1::CreateLotRequest, days| v1::CreateLotRequest {
            made_on: Some(in_days(days)),
            ..request
        };
        let mother = code(&enter(&ann, on(plant_lot(), -400)).await.unwrap());
        let cut = async |days| {
            let wood = on(of(LotKind::ScionWood, &[(&mother, Descent::CutFrom)]), days);
            code(&enter(&ann, wood).await.unwrap())
        };
        let (early, late) = (cut(-200).await, cut(-50).await);
        let seed =
            code(&enter(&ann, on(of(LotKind::Seed, &[(&mother, Descent::SeedFrom)]), -40)).await.unwrap());
        let tree = code(&enter(&ann, on(plant_lot(), -300)).await.unwrap());
        let wood = on(of(LotKind::ScionWood, &[(&tree, Descent::CutFrom)]), -30);
        let below = code(&enter(&ann, wood).await.unwrap());
        let grafted = v1::NoteDescentRequest {
            lot: tree.clone(),
            from_lot: late.clone(),
            descent: Descent::GraftedOnto.into(),
            on: Some(in_days(-45)),
        };
        ann.call(&grafted).await.unwrap();
        let reached = async |alert: &v1::Alert| {
            let request = v1::RecallAlertRequest { alert_id: alert.alert_id.clone() };
            let chunks =
                club.steward.stream(Rpc::AlertRecallAlert.path(), request.encode_to_vec()).await.unwrap();
            let report = v1::RecallAlertResponse::decode(chunks[0].as_slice()).unwrap();
            let mut codes: Vec<String> = report.lots.iter().map(|l| l.code.clone()).collect();
            codes.sort();
            codes
        };
        let sorted = |codes: &[&String]| {
            let mut all: Vec<String> = codes.iter().map(|c| (*c).clone()).collect();
            all.sort();
            all
        };
        // Sick since 100 days ago, not in its seed.
        let alert = raise(
            &ann,
            v1::CreateAlertRequest {
                since: Some(in_days(-100)),
                pest: "Wilt".into(),
                carriers: vec![v1::Carrier::Graft.into(), v1::Carrier::Cutting.into()],
                ..sick(&mother)
            },
        )
        .await;
        assert_eq!(reached(&alert).await, sorted(&[&mother, &late, &tree, &below]));
        let withdraw = v1::WithdrawAlertRequest { alert_id: alert.alert_id };
        ann.call(&withdraw).await.unwrap();
        // The tree tested clean since; a test of the mother 150 days ago covers the time up to 160 days ago.
        for (lot, days, latency_days) in [(&tree, -10, 20), (&mother, -150, 10)] {
            let test = v1::LotTest {
                pest: "wilt".into(),
                sampled_on: Some(in_days(days)),
                latency_days,
                method: "culture".into(),
            };
            let request = v1::CreateTestRequest { lot: lot.clone(), test: Some(test) };
            ann.call(&request).await.unwrap();
        }
        let alert = raise(&ann, v1::CreateAlertRequest { pest: "Wilt".into(), ..sick(&mother) }).await;
        assert_eq!(reached(&alert).await, sorted(&[&mother, &late, &seed]), "not {early}: it left before");
        club.server.stop().await;
    })
    .await;
}

/// A watch on the inbox shows notices from either of two servers, and resumes where it stopped.
#[tokio::test]
async fn an_inbox_is_watched() {
    use scionary_proto::v1::NoticeKind;
    use scionary_tests::TestServer;
    on_both(async |url| {
        let club = Club::open(&url).await;
        // A second server on the same database, if the database allows two.
        let other = if url.starts_with("postgres") { Some(TestServer::start(&url).await) } else { None };
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let posted: v1::CreateOfferResponse =
            ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
        let offer_id = posted.offer.unwrap().offer_id;
        let mut watch = ann.open(&v1::WatchNoticesRequest { after: 0 }).await.unwrap();
        assert!(watch.message().await.unwrap().unwrap().notices.is_empty(), "it has begun");
        let far = match &other {
            Some(server) => server.raw().with_token(ben.token().unwrap()),
            None => ben.clone(),
        };
        let asked: v1::CreateClaimResponse = far.call(&ask(&offer_id, 2)).await.unwrap();
        let claim_id = asked.claim.unwrap().claim_id;
        let told = watch.message().await.unwrap().unwrap().notices;
        assert_eq!(
            (told.len(), told[0].kind(), told[0].subject_id.as_str()),
            (1, NoticeKind::ClaimAsked, claim_id.as_str())
        );
        let last = told[0].number;
        drop(watch);
        // A notice that arrives while no watch is open.
        let withdraw = v1::WithdrawClaimRequest { claim_id };
        ben.call(&withdraw).await.unwrap();
        let mut watch = ann.open(&v1::WatchNoticesRequest { after: last }).await.unwrap();
        watch.message().await.unwrap().unwrap();
        let told = watch.message().await.unwrap().unwrap().notices;
        assert_eq!((told.len(), told[0].kind()), (1, NoticeKind::ClaimEnded));
        let read = v1::MarkNoticesReadRequest { up_to: told[0].number };
        let left: v1::MarkNoticesReadResponse = ann.call(&read).await.unwrap();
        assert_eq!(left.unread, 0);
        assert!(inbox(&ann).await.iter().all(|n| n.read));
        // A server that stops ends its watches.
        club.server.stop().await;
        assert!(watch.message().await.map(|m| m.is_none()).unwrap_or(true));
        if let Some(other) = other {
            other.stop().await;
        }
    })
    .await;
}
