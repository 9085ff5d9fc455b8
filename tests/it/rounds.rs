//! Swap rounds: gathering, sealing, settling, handing over; who sees what; two settlements at once.

use prost::Message as _;
use scionary_proto::{
    Rpc,
    v1::{self, RoundPhase},
};
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{draft, in_days},
};
use tonic::Status;

use crate::{
    clubs::{account_of, let_in, make},
    evidence::Club as People,
};

/// Returns a round of a club a week from now.
pub fn round(settings: v1::RoundSettings) -> v1::RoundDraft {
    v1::RoundDraft {
        title: "Winter swap".into(),
        place: "the old packing shed".into(),
        area_code: "XB-NS".into(),
        day: Some(in_days(7)),
        gather_until: Some(in_days(6)),
        settings: Some(settings),
        ..Default::default()
    }
}

/// Returns the usual settings.
pub fn settings() -> v1::RoundSettings {
    v1::RoundSettings { cap: Some(3), slack: Some(1), newcomers: Some(1), ..Default::default() }
}

pub async fn create(who: &Raw, club: &str, draft: v1::RoundDraft) -> Result<v1::Round, Status> {
    let request = v1::CreateRoundRequest { club_id: club.into(), round: Some(draft) };
    who.call(&request).await.map(|r| r.round.unwrap())
}

pub async fn join(who: &Raw, round: &str, area: &str) -> Result<(), Status> {
    let part = v1::RoundPart {
        area_code: area.into(),
        meeting: true,
        contact: "at the gate".into(),
        ..Default::default()
    };
    let request = v1::JoinRoundRequest { round_id: round.into(), part: Some(part) };
    who.call(&request).await.map(|_| ())
}

/// Posts an offer of `quantity` sticks. Returns its id.
pub async fn offer(who: &Raw, cultivar: &str, quantity: i32) -> String {
    offer_in(who, cultivar, quantity, "").await
}

/// Like [`offer`], for a club only if one is named.
pub async fn offer_in(who: &Raw, cultivar: &str, quantity: i32, club: &str) -> String {
    let usual = draft();
    let health = v1::HealthDeclaration {
        form: v1::MaterialForm::Leafless.into(),
        ..usual.health.clone().unwrap_or_default()
    };
    let draft = v1::OfferDraft {
        health: Some(health),
        cultivar: cultivar.into(),
        crop: "mango".into(),
        material: v1::Material::ScionWood.into(),
        unit: v1::QuantityUnit::Sticks.into(),
        quantity,
        club: club.into(),
        ..usual
    };
    let made: v1::CreateOfferResponse =
        who.call(&v1::CreateOfferRequest { offer: Some(draft) }).await.unwrap();
    made.offer.unwrap().offer_id
}

pub async fn bring(who: &Raw, round: &str, offer: &str, units: i32) -> Result<i32, Status> {
    let request =
        v1::BringLotRequest { round_id: round.into(), offer_id: offer.into(), units, ..Default::default() };
    who.call(&request).await.map(|r| r.number)
}

/// Returns a choice of a lot.
pub fn a_lot(lot: impl ToString) -> v1::WishAccepts {
    v1::WishAccepts { what: Some(v1::wish_accepts::What::Lot(lot.to_string())) }
}

/// Returns a choice of any lot of a mango cultivar.
pub fn any_of(cultivar: &str, material: v1::Material) -> v1::WishAccepts {
    let any = v1::WishCultivar { cultivar: cultivar.into(), crop: "mango".into(), material: material.into() };
    v1::WishAccepts { what: Some(v1::wish_accepts::What::Any(any)) }
}

/// Returns in words why a wish was not met.
pub fn why(wish: &v1::MyWish) -> String {
    wish.why_not.as_ref().map(scionary_show::round::why::why_not).unwrap_or_default()
}

/// Sends a list of wishes with one lot and one unit each.
pub async fn wish(who: &Raw, round: &str, lots: &[i32]) -> Result<(), Status> {
    let line = |lot: &i32| v1::WishLine { accepts: vec![a_lot(lot)], ..Default::default() };
    let request = v1::SetWishesRequest { round_id: round.into(), wishes: lots.iter().map(line).collect() };
    who.call(&request).await.map(|_| ())
}

pub async fn seal(who: &Raw, round: &str) -> Result<v1::Round, Status> {
    let request = v1::SealRoundRequest { round_id: round.into() };
    who.call(&request).await.map(|r| r.round.unwrap())
}

/// Settles a round and returns the last message.
pub async fn settle(
    who: &Raw,
    round: &str,
    only_checked_in: bool,
) -> Result<v1::SettleRoundResponse, Status> {
    let request = v1::SettleRoundRequest { round_id: round.into(), only_checked_in };
    let last = who.last_of_stream(Rpc::RoundSettleRound.path(), request.encode_to_vec()).await?;
    Ok(v1::SettleRoundResponse::decode(last.as_slice()).unwrap())
}

pub async fn mine(who: &Raw, round: &str) -> v1::GetMyRoundResponse {
    who.call(&v1::GetMyRoundRequest { round_id: round.into() }).await.unwrap()
}

pub async fn show(who: &Raw, round: &str) -> Result<v1::Round, Status> {
    let request = v1::GetRoundRequest { round_id: round.into() };
    who.call(&request).await.map(|r| r.round.unwrap())
}

pub async fn lots(who: &Raw, round: &str, left_only: bool) -> Vec<v1::RoundLot> {
    let request = v1::ListRoundLotsRequest { round_id: round.into(), left_only, ..Default::default() };
    let reply: v1::ListRoundLotsResponse = who.call(&request).await.unwrap();
    reply.lots
}

pub async fn shares(who: &Raw, round: &str) -> Vec<v1::RoundShare> {
    let request = v1::ListRoundSharesRequest { round_id: round.into(), ..Default::default() };
    let reply: v1::ListRoundSharesResponse = who.call(&request).await.unwrap();
    reply.shares
}

pub async fn promised(who: &Raw, offer: &str) -> i32 {
    let request = v1::GetOfferRequest { offer_id: offer.into(), ..Default::default() };
    let reply: v1::GetOfferResponse = who.call(&request).await.unwrap();
    reply.offer.unwrap().promised
}

pub async fn hand_over(who: &Raw, round: &str, lot: &str, member: &str) -> Result<String, Status> {
    let request = v1::HandOverShareRequest { round_id: round.into(), lot: lot.into(), member: member.into() };
    who.call(&request).await.map(|r| r.claim_id)
}

pub async fn check_in(who: &Raw, round: &str, lot: &str) {
    let check = v1::CheckInLotRequest { round_id: round.into(), lot: lot.into(), here: Some(true), came: 0 };
    who.call(&check).await.unwrap();
}

pub async fn begin(who: &Raw, round: &str) {
    let request = v1::StartHandOverRequest { round_id: round.into(), early: true, undo: false };
    who.call(&request).await.unwrap();
}

pub async fn close(who: &Raw, round: &str) -> v1::Round {
    let request = v1::CloseRoundRequest { round_id: round.into(), pending: true };
    who.call(&request).await.unwrap().round.unwrap()
}

pub async fn audit(who: &Raw, round: &str) -> serde_json::Value {
    let request = v1::ExportRoundAuditRequest { round_id: round.into(), run: 0 };
    let chunks = who.stream(Rpc::RoundExportRoundAudit.path(), request.encode_to_vec()).await.unwrap();
    let bytes: Vec<u8> = chunks
        .iter()
        .flat_map(|c| v1::ExportRoundAuditResponse::decode(c.as_slice()).unwrap().chunk)
        .collect();
    serde_json::from_slice(&bytes).unwrap()
}

/// Four members of a club who swap in a ring: ann arranges; each brings one stick and wishes for the next member's.
struct Ring {
    people: People,
    club: String,
    round: String,
    ann: Raw,
    members: Vec<Raw>,
    offers: Vec<String>,
}

impl Ring {
    async fn open(url: &str) -> Self {
        let people = People::open(url).await;
        let ann = people.grower("ann").await;
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let mut members = vec![ann.clone()];
        for name in ["ben", "cat", "dan"] {
            let who = people.grower(name).await;
            let_in(&ann, &who, &club).await;
            members.push(who);
        }
        let round = create(&ann, &club, round(settings())).await.unwrap().round_id;
        let mut offers = Vec::new();
        for (who, cultivar) in members.iter().zip(["Golek", "R2E2", "Golek", "R2E2"]) {
            join(who, &round, "XB-NS").await.unwrap();
            let offer = offer(who, cultivar, 4).await;
            bring(who, &round, &offer, 1).await.unwrap();
            offers.push(offer);
        }
        for (at, who) in members.iter().enumerate() {
            // Lots are numbered from 1: first the next member's, then the one after.
            let next = i32::try_from((at + 1) % 4 + 1).unwrap();
            let after = i32::try_from((at + 2) % 4 + 1).unwrap();
            wish(who, &round, &[next, after]).await.unwrap();
        }
        Self { people, club, round, ann, members, offers }
    }
}

#[tokio::test]
async fn a_ring_of_four_is_swapped() {
    on_both(async |url| {
        let Ring { people, club, round, ann, members, offers } = Ring::open(&url).await;
        let [_, ben, cat, dan] = members.as_slice() else { unreachable!() };
        // Packs held for the round are not available elsewhere, and the offer cannot be withdrawn.
        assert_eq!(promised(&ann, &offers[0]).await, 1);
        let withdraw = v1::WithdrawOfferRequest { offer_id: offers[0].clone(), version: 0 };
        let refused = ann.call(&withdraw).await;
        assert_eq!(reason(&refused.unwrap_err()), "OFFER_IN_ROUND");
        // Bringing the same offer again changes the number of packs.
        assert_eq!(bring(&ann, &round, &offers[0], 3).await.unwrap(), 1);
        assert_eq!(promised(&ann, &offers[0]).await, 3);
        assert_eq!(bring(&ann, &round, &offers[0], 1).await.unwrap(), 1);
        assert_eq!(promised(&ann, &offers[0]).await, 1);
        assert_eq!(wrong_fields(&wish(ben, &round, &[2]).await.unwrap_err()), ["wishes[0].accepts[0].lot"]);
        assert_eq!(wrong_fields(&wish(ben, &round, &[1, 3, 4, 1, 3, 4]).await.unwrap_err()), ["wishes"]);

        // NotFound for outsiders, so that existence does not leak. Members see the lots, and not the wishes of others.
        let eve = people.grower("eve").await;
        assert_eq!(reason(&show(&eve, &round).await.unwrap_err()), "NOT_FOUND");
        let seen = lots(ben, &round, false).await;
        assert_eq!(seen.len(), 4);
        assert!(seen[1].own && seen[1].giver_name == "ben of the club");
        let secret_yet = show(ben, &round).await.unwrap();
        assert!(secret_yet.secret.is_empty() && secret_yet.commitment.len() == 64);

        // A dry run is for organisers; it compares two settings.
        let preview = v1::PreviewRoundRequest {
            round_id: round.clone(),
            tried: Some(v1::RoundSettings { slack: Some(0), newcomers: Some(0), ..settings() }),
        };
        let denied = ben.call(&preview).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        let dry: v1::PreviewRoundResponse = ann.call(&preview).await.unwrap();
        assert_eq!(dry.previews.len(), 2);
        for preview in &dry.previews {
            assert_eq!((preview.given, preview.first_wish, preview.with_nothing), (4, 4, 0));
            assert!(preview.books.iter().all(|b| (b.gives, b.gets) == (1, 1)));
        }

        // Sealed and settled: everyone gets their first wish.
        assert_eq!(reason(&seal(ben, &round).await.unwrap_err()), "ROLE_MISSING");
        assert_eq!(reason(&settle(&ann, &round, false).await.unwrap_err()), "ROUND_PHASE");
        let sealed = seal(&ann, &round).await.unwrap();
        assert_eq!(sealed.phase(), RoundPhase::Sealed);
        assert!(sealed.secret.is_empty(), "whoever knows it knows who wins a draw");
        assert_eq!(sealed.input_hash.len(), 64);
        assert_eq!(reason(&wish(ben, &round, &[3]).await.unwrap_err()), "ROUND_PHASE");
        // Two organisers settle at once: one result.
        let bens = v1::SetClubOrganiserRequest {
            club_id: club.clone(),
            account_id: account_of(ben).await,
            organiser: Some(true),
        };
        ann.call(&bens).await.unwrap();
        let (one, other) = tokio::join!(settle(&ann, &round, false), settle(ben, &round, false));
        let outcomes: Vec<_> = [one, other].into_iter().collect();
        let settled = outcomes.iter().flatten().filter(|r| r.settled).count();
        assert!(settled >= 1, "{outcomes:?}");
        // The slower call gets the same answer, or settles the settled round again with the same result.
        assert_eq!(shares(&ann, &round).await.len(), 4);
        let now = show(ben, &round).await.unwrap();
        assert_eq!((now.phase(), now.secret.len()), (RoundPhase::Allotted, 64));
        for who in &members {
            let part = mine(who, &round).await;
            assert_eq!((part.gets.len(), part.gives.len()), (1, 1));
            assert_eq!(part.gets[0].contact, "at the gate");
            assert_eq!(part.wishes[0].units, 1, "the first wish came true");
            assert!(why(&part.wishes[0]).is_empty());
            assert!(!why(&part.wishes[1]).is_empty());
        }
        let told: v1::ListNoticesResponse = cat.call(&v1::ListNoticesRequest::default()).await.unwrap();
        assert!(told.notices.iter().any(|n| n.words.contains("you get 1 and give 1")), "{told:?}");

        // The day: hand-overs are ticked off by number, by handle, and by the code on the lot's tag.
        begin(&ann, &round).await;
        check_in(&ann, &round, "1").await;
        assert!(lots(cat, &round, false).await[0].checked_in);
        assert_eq!(reason(&hand_over(dan, &round, "1", "4").await.unwrap_err()), "ROLE_MISSING");
        assert_eq!(reason(&hand_over(&ann, &round, "1", "2").await.unwrap_err()), "NOT_ALLOTTED");
        let claim = hand_over(&ann, &round, "1", "4").await.unwrap();
        assert_eq!(reason(&hand_over(&ann, &round, "1", "4").await.unwrap_err()), "NOT_ALLOTTED");
        let got: v1::GetClaimResponse = dan.call(&v1::GetClaimRequest { claim_id: claim }).await.unwrap();
        let got = got.claim.unwrap();
        assert_eq!((got.state(), got.round_id.as_str()), (v1::ClaimState::HandedOver, round.as_str()));
        let code = lots(&ann, &round, false).await[0].code.clone();
        assert!(!code.is_empty(), "the hand-over made the giver's lot: {code}");
        hand_over(&ann, &round, "2", "ann").await.unwrap();
        // Closed: handed-over packs count in the next round, promised packs can still be handed over.
        assert_eq!(close(&ann, &round).await.phase(), RoundPhase::Closed);
        assert_eq!(promised(&ann, &offers[0]).await, 1, "handed over");
        assert_eq!(promised(dan, &offers[3]).await, 1, "still promised");
        let anns = mine(&ann, &round).await;
        assert_eq!((anns.given_before, anns.taken_before, anns.head_start), (0, 0, 0), "not of this round");
        let next = create(&ann, &club, super::rounds::round(settings())).await.unwrap().round_id;
        join(dan, &next, "XB-NS").await.unwrap();
        let dans = mine(dan, &next).await;
        assert_eq!((dans.given_before, dans.taken_before, dans.head_start), (0, 1, -1));
    })
    .await;
}

#[tokio::test]
async fn absent_members_and_left_overs() {
    on_both(async |url| {
        let Ring { people: _, club: _, round, ann, members, offers } = Ring::open(&url).await;
        let [_, ben, cat, dan] = members.as_slice() else { unreachable!() };
        seal(&ann, &round).await.unwrap();
        // Reopened: the lists can change, and the draw stays, so that no one can repeat it until it suits them.
        let before = show(&ann, &round).await.unwrap();
        let reopened: v1::ReopenRoundResponse =
            ann.call(&v1::ReopenRoundRequest { round_id: round.clone() }).await.unwrap();
        let reopened = reopened.round.unwrap();
        assert!(reopened.secret.is_empty() && reopened.commitment == before.commitment);
        // dan wishes for ann's lot only, ben and ann as before, cat also for ben's.
        wish(dan, &round, &[1]).await.unwrap();
        wish(cat, &round, &[4, 2]).await.unwrap();
        seal(&ann, &round).await.unwrap();
        assert_eq!(settle(&ann, &round, false).await.unwrap().units, 4);
        begin(&ann, &round).await;
        // ben has given to ann; then dan does not come.
        hand_over(&ann, &round, "2", "1").await.unwrap();
        let absent =
            v1::SetPresenceRequest { round_id: round.clone(), member: "dan".into(), absent: Some(true) };
        ann.call(&absent).await.unwrap();
        let again = settle(&ann, &round, false).await.unwrap();
        assert_eq!(again.runs, 2);
        let now = shares(&ann, &round).await;
        assert!(now.iter().all(|s| s.giver_name != "dan of the club" && s.taker_name != "dan of the club"));
        // What was handed over stays, and ben still gets what cat brings.
        assert!(now.iter().any(|s| s.lot_number == 2 && s.state() == v1::ClaimState::HandedOver));
        assert!(now.iter().any(|s| s.lot_number == 3 && s.taker_name == "ben of the club"));
        let dans = mine(dan, &round).await;
        assert!(dans.gets.is_empty() && dans.gives.is_empty());
        // ann's lot is left over: first come, first served, not more than there is, and not their own.
        // On the day that means what lies on a table.
        assert!(lots(ben, &round, true).await.iter().all(|l| l.number != 1));
        check_in(&ann, &round, "1").await;
        let left = lots(ben, &round, true).await;
        assert!(left.iter().any(|l| l.number == 1 && l.left == 1), "{left:?}");
        let take = |units| v1::TakeLeftOverRequest {
            round_id: round.clone(),
            lot: "1".into(),
            units,
            member: String::new(),
        };
        let own = ann.call(&take(1)).await;
        assert_eq!(reason(&own.unwrap_err()), "BARRED_IN_ROUND");
        let more = ben.call(&take(2)).await;
        assert_eq!(wrong_fields(&more.unwrap_err()), ["units"]);
        ben.call(&take(1)).await.unwrap();
        let late = cat.call(&take(1)).await;
        assert_eq!(wrong_fields(&late.unwrap_err()), ["units"]);
        // A third settlement keeps what was taken.
        settle(&ann, &round, false).await.unwrap();
        assert!(mine(ben, &round).await.gets.iter().any(|s| s.lot.as_ref().unwrap().number == 1));
        // dan's stick is dan's again at the end.
        assert_eq!(promised(dan, &offers[3]).await, 1, "held back while the round is open");
        close(&ann, &round).await;
        assert_eq!(promised(dan, &offers[3]).await, 0);
        assert_eq!(promised(&ann, &offers[0]).await, 1, "promised to ben");
    })
    .await;
}

#[tokio::test]
async fn rules_and_reasons() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let (ben, cat) = (people.grower("ben").await, people.grower("cat").await);
        for who in [&ben, &cat] {
            let_in(&ann, who, &club).await;
        }
        let id = create(&ann, &club, round(settings())).await.unwrap().round_id;
        join(&ann, &id, "XB-NS").await.unwrap();
        join(&ben, &id, "XB-NS").await.unwrap();
        // cat lives in another province: no rule is on file, and no advice is noted.
        join(&cat, &id, "XB-SS").await.unwrap();
        let anns = offer(&ann, "Golek", 2).await;
        let lot = bring(&ann, &id, &anns, 1).await.unwrap();
        let any = v1::SetWishesRequest {
            round_id: id.clone(),
            wishes: vec![v1::WishLine {
                accepts: vec![any_of("Golek", v1::Material::ScionWood)],
                ..Default::default()
            }],
        };
        ben.call(&any).await.unwrap();
        cat.call(&any).await.unwrap();
        let unknown = v1::SetWishesRequest {
            round_id: id.clone(),
            wishes: vec![v1::WishLine {
                accepts: vec![any_of("R2E2", v1::Material::Seed)],
                ..Default::default()
            }],
        };
        ann.call(&unknown).await.unwrap();
        let seen = lots(&cat, &id, false).await;
        assert!(seen[0].barred.contains("no rule is on file"), "{seen:?}");
        assert!(lots(&ben, &id, false).await[0].barred.is_empty());
        let advice = v1::NoteAdviceRequest {
            round_id: id.clone(),
            from_area_code: "XB-NS".into(),
            to_area_code: "XB-SS".into(),
            asked: "the plant-health office of XB-SS, by telephone".into(),
            said: "leafless wood, labelled".into(),
        };
        let denied = ben.call(&advice).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        ann.call(&advice).await.unwrap();
        assert!(lots(&cat, &id, false).await[0].barred.is_empty());
        seal(&ann, &id).await.unwrap();
        settle(&ann, &id, false).await.unwrap();
        // One stick, two newcomers who wish for it: the draw decides, and the loser sees that, without a name.
        let (bens, cats) = (mine(&ben, &id).await, mine(&cat, &id).await);
        assert_eq!(bens.gets.len() + cats.gets.len(), 1);
        let loser = if bens.gets.is_empty() { &bens } else { &cats };
        let words = why(&loser.wishes[0]);
        assert!(words.contains("It went to one member") && words.contains("the draw was theirs"), "{words}");
        assert!(!words.contains("ben") && !words.contains("cat"), "{words}");
        assert_eq!(loser.wishes[0].lots[0].lot_number, lot);
        assert_eq!(why(&mine(&ann, &id).await.wishes[0]), "No one brought it.");
        // The audit is for organisers, and it verifies.
        let export = v1::ExportRoundAuditRequest { round_id: id.clone(), run: 0 };
        let denied = ben.stream(Rpc::RoundExportRoundAudit.path(), export.encode_to_vec()).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        let found = audit(&ann, &id).await;
        let round = show(&ann, &id).await.unwrap();
        assert_eq!(found["input_hash"], round.input_hash.as_str());
        assert_eq!(found["commitment"], round.commitment.as_str());
        verified(&found);
        // Called off before the day: everything is as before.
        let off = v1::CallOffRoundRequest { round_id: id.clone(), reason: "Flood.".into() };
        ann.call(&off).await.unwrap();
        assert_eq!(promised(&ann, &anns).await, 0);
        assert!(mine(&ben, &id).await.gets.is_empty() && mine(&cat, &id).await.gets.is_empty());
    })
    .await;
}

/// Runs the verifier on an audit, if Python is installed.
pub fn verified(audit: &serde_json::Value) {
    use std::process::Command;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("audit.json");
    std::fs::write(&file, audit.to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/verify-round");
    match Command::new("python3").arg(script).arg(&file).output() {
        Ok(done) => {
            let (out, err) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
            assert!(done.status.success() && out.starts_with("holds:"), "{out}{err}");
        }
        Err(_) => assert!(std::env::var_os("CI").is_none(), "python3 is missing"),
    }
}

/// A round that no one closes ends by itself and releases its packs.
#[tokio::test]
async fn forgotten_rounds_end() {
    on_both(async |url| {
        let Ring { people, club: _, round, ann, members: _, offers } = Ring::open(&url).await;
        use sea_orm::ConnectionTrait as _;
        let app = people.server.running.app();
        app.housekeeping().await.unwrap();
        assert_eq!(show(&ann, &round).await.unwrap().phase(), RoundPhase::Gathering);
        app.store().admin().execute_unprepared("UPDATE round SET day = day - 60").await.unwrap();
        app.housekeeping().await.unwrap();
        assert_eq!(show(&ann, &round).await.unwrap().phase(), RoundPhase::CalledOff);
        assert_eq!(promised(&ann, &offers[0]).await, 0);
    })
    .await;
}

/// A member without a computer takes part through an organiser; an unlucky member has priority the next time.
#[tokio::test]
async fn helped_members_and_priority_carried_over() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let ben = people.grower("ben").await;
        let_in(&ann, &ben, &club).await;
        let enter = v1::EnterHelpedMemberRequest {
            club_id: club.clone(),
            name: "Old Fern".into(),
            consent: "told me over the fence".into(),
        };
        let entered: v1::EnterHelpedMemberResponse = ann.call(&enter).await.unwrap();
        let fern = ann.on_behalf_of(&entered.account_id);
        // fern gives two to ben and gets nothing in the first round.
        let first = create(&ann, &club, round(v1::RoundSettings { slack: Some(2), ..settings() }))
            .await
            .unwrap()
            .round_id;
        for who in [&ann, &ben, &fern] {
            join(who, &first, "XB-NS").await.unwrap();
        }
        let (a, b) = (offer_in(&fern, "Golek", 1, &club).await, offer_in(&fern, "R2E2", 1, &club).await);
        let lots = [bring(&fern, &first, &a, 1).await.unwrap(), bring(&fern, &first, &b, 1).await.unwrap()];
        wish(&ben, &first, &lots).await.unwrap();
        wish(&ann, &first, &lots).await.unwrap();
        seal(&ann, &first).await.unwrap();
        settle(&ann, &first, false).await.unwrap();
        assert_eq!(mine(&fern, &first).await.gives.len(), 2);
        begin(&ann, &first).await;
        for share in shares(&ann, &first).await {
            hand_over(&ann, &first, &share.lot_number.to_string(), &share.taker_number.to_string())
                .await
                .unwrap();
        }
        close(&ann, &first).await;
        // In the next round fern and ben wish for one stick: fern is two steps ahead.
        let next = create(&ann, &club, round(settings())).await.unwrap().round_id;
        for who in [&ann, &ben, &fern] {
            join(who, &next, "XB-NS").await.unwrap();
        }
        let wood = offer(&ann, "Golek", 1).await;
        let lot = bring(&ann, &next, &wood, 1).await.unwrap();
        wish(&ben, &next, &[lot]).await.unwrap();
        wish(&fern, &next, &[lot]).await.unwrap();
        let ferns = mine(&fern, &next).await;
        assert_eq!((ferns.given_before, ferns.taken_before, ferns.head_start), (2, 0, 2));
        seal(&ann, &next).await.unwrap();
        settle(&ann, &next, false).await.unwrap();
        assert_eq!(mine(&fern, &next).await.gets.len(), 1);
        let words = why(&mine(&ben, &next).await.wishes[0]);
        assert!(words.contains("It went to one member"), "{words}");
    })
    .await;
}
