//! Every method for every persona: the matrix is a file that is reviewed like code. A refused call leaves every table
//! unchanged.

use std::fmt::Write as _;

use scionary_proto::{Rpc, v1};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{PASSWORD, reason},
    samples::{
        Ids, ask, club, draft, further_name, grafts, plan, plant_lot, round, sample, sick, tally, want,
        wishes,
    },
};
use sea_orm::{ConnectionTrait as _, DatabaseConnection, Statement, TransactionTrait as _};
use tonic::Code;

pub(crate) const PERSONAS: [&str; 8] =
    ["visitor", "owner", "other grower", "curator", "organiser", "steward", "suspended", "session over"];

/// A server, and a caller for each persona.
pub(crate) struct Stage {
    pub(crate) server: TestServer,
    people: Vec<Raw>,
    taken: u32,
}

impl Stage {
    pub(crate) async fn set(url: &str) -> Self {
        let server = TestServer::start(url).await;
        let visitor = server.raw();
        let code = server.running.app().first_steward_code().await.unwrap();
        visitor.sign_up("steward", &code).await.unwrap();
        let steward = visitor.sign_in("steward", PASSWORD).await.unwrap();
        let owner = visitor.member("owner").await;
        let other = visitor.member("other").await;
        let curator = visitor.member("curator").await;
        let organiser = visitor.member("organiser").await;
        let suspended = visitor.member("suspended").await;
        for (handle, role, crop) in
            [("curator", v1::Role::Curator, "mango"), ("organiser", v1::Role::Organiser, "")]
        {
            let grant = v1::GrantRoleRequest { handle: handle.into(), role: role.into(), crop: crop.into() };
            steward.call(&grant).await.unwrap();
        }
        let db = server.running.app().store().admin();
        db.execute_unprepared("UPDATE account SET suspended_at = 1 WHERE handle_key = 'suspended'")
            .await
            .unwrap();
        let over = visitor.with_token("sst_0000");
        let people = vec![visitor, owner, other, curator, organiser, steward, suspended, over];
        Self { server, people, taken: 0 }
    }

    /// Returns the caller of a persona for one call. A sign-out would end the session, so it gets a session of its own.
    pub(crate) async fn caller(&self, at: usize, rpc: Rpc) -> Raw {
        if matches!(rpc, Rpc::AccountSignOut | Rpc::AccountSignOutEverywhere) && (1..=5).contains(&at) {
            return self.signed_in(at).await;
        }
        self.people[at].clone()
    }

    /// Signs a persona in again after a call that ended all its sessions.
    pub(crate) async fn after(&mut self, at: usize, rpc: Rpc) {
        if rpc == Rpc::AccountSignOutEverywhere && (1..=5).contains(&at) {
            self.people[at] = self.signed_in(at).await;
        }
    }

    async fn signed_in(&self, at: usize) -> Raw {
        let handle = ["", "owner", "other", "curator", "organiser", "steward"][at];
        self.people[0].sign_in(handle, PASSWORD).await.unwrap()
    }

    /// Creates fresh objects of the owner for one call.
    pub(crate) async fn ids(&mut self, rpc: Rpc) -> Ids {
        let owner = &self.people[1];
        let mut offer = String::new();
        if matches!(rpc, Rpc::OfferGetOffer | Rpc::OfferUpdateOffer | Rpc::OfferWithdrawOffer) {
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let made: v1::CreateOfferResponse = owner.call(&request).await.unwrap();
            offer = made.offer.unwrap().offer_id;
        }
        // The objects of an account are limited, so make one only where the call needs it.
        let mut invitation = String::new();
        if rpc == Rpc::AccountRevokeInvitation {
            let made: v1::CreateInvitationResponse =
                owner.call(&v1::CreateInvitationRequest::default()).await.unwrap();
            invitation = made.invitation.unwrap().invitation_id;
        }
        self.taken += 1;
        let serial = i32::try_from(self.taken).unwrap();
        let (mut evidence, mut proposal, mut sowing, mut ticket) = Default::default();
        let (plan_id, graft_id) = planned(owner, rpc).await;
        let claim_id = claimed(&self.server, owner, rpc).await;
        let (club_id, guest) = arranged(&self.server, owner, rpc, self.taken).await;
        let (round_club, round, brought) = swapped(&self.server, owner, rpc, self.taken).await;
        if !brought.is_empty() {
            offer = brought;
        }
        let club_id = if round_club.is_empty() { club_id } else { round_club };
        let mut want_id = String::new();
        if rpc == Rpc::WantWithdrawWant {
            let request = v1::CreateWantRequest { want: Some(want("Golek")) };
            let made: v1::CreateWantResponse = owner.call(&request).await.unwrap();
            want_id = made.want.unwrap().want_id;
        }
        let (lot, plant, alert) = traced(&self.server, owner, &self.people[5], rpc).await;
        if rpc == Rpc::ClaimCreateClaim {
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let made: v1::CreateOfferResponse = stranger(&self.server).await.call(&request).await.unwrap();
            offer = made.offer.unwrap().offer_id;
        }
        if rpc.path().contains("EvidenceService") && rpc.path().ends_with("Evidence")
            || rpc == Rpc::EvidenceWithdrawCheck
        {
            let request = v1::CreateEvidenceRequest {
                cultivar: "Golek".into(),
                draft: Some(tally(serial + 5000)),
                ..Default::default()
            };
            let made: v1::CreateEvidenceResponse = owner.call(&request).await.unwrap();
            // The pieces of one report have no order.
            let pieces = made.evidence.into_iter().filter_map(|e| e.evidence);
            evidence = pieces.min_by(|a, b| a.descriptor_key.cmp(&b.descriptor_key)).unwrap().evidence_id;
            if rpc == Rpc::EvidenceWithdrawCheck {
                for checker in self.people.iter().skip(2).take(4) {
                    let check = v1::CheckEvidenceRequest {
                        evidence_id: evidence.clone(),
                        verdict: v1::CheckVerdict::Agrees.into(),
                        reason: "I saw the same.".into(),
                    };
                    checker.call(&check).await.unwrap();
                }
            }
        }
        if matches!(
            rpc,
            Rpc::CurationGetProposal | Rpc::CurationWithdrawProposal | Rpc::CurationDecideProposal
        ) {
            let made: v1::CreateProposalResponse = owner.call(&further_name(serial + 5000)).await.unwrap();
            proposal = made.proposal.unwrap().proposal_id;
        }
        if rpc == Rpc::EvidenceCloseSowing {
            let request =
                v1::CreateSowingRequest { cultivar: "Golek".into(), seeds: 3, ..Default::default() };
            let made: v1::CreateSowingResponse = owner.call(&request).await.unwrap();
            sowing = made.sowing.unwrap().sowing_id;
        }
        if rpc == Rpc::CurationCloseTicket {
            let request = v1::CreateTicketRequest {
                subject: v1::TicketSubject::Cultivar.into(),
                subject_id: "Golek".into(),
                reason: "The notes are about another tree.".into(),
            };
            let made: v1::CreateTicketResponse = owner.call(&request).await.unwrap();
            ticket = made.ticket.unwrap().ticket_id;
        }
        let app = self.server.running.app();
        if rpc == Rpc::CurationLockRecord {
            // Every persona starts with an unlocked record.
            app.store().admin().execute_unprepared("UPDATE cultivar SET locked_why = NULL").await.unwrap();
        }
        Ids {
            evidence,
            proposal,
            sowing,
            ticket,
            plan: plan_id,
            graft: graft_id,
            claim: claim_id,
            lot,
            plant,
            alert,
            want: want_id,
            club: club_id,
            guest,
            round,
            serial,
            offer,
            invitation,
            cultivar: app.registry().resolve("c", "Golek", "").unwrap().cultivar.id.to_string(),
            free_handle: format!("free-{}", self.taken),
        }
    }
}

/// Returns a caller who is none of the personas.
async fn stranger(server: &TestServer) -> Raw {
    match server.raw().sign_in("stranger", PASSWORD).await {
        Ok(known) => known,
        Err(_) => server.raw().member("stranger").await,
    }
}

/// Makes a claim of the owner on a stranger's offer, if the method needs one. Returns its id.
async fn claimed(server: &TestServer, owner: &Raw, rpc: Rpc) -> String {
    if !rpc.path().contains("ClaimService")
        || matches!(
            rpc,
            Rpc::ClaimCreateClaim | Rpc::ClaimListMyClaims | Rpc::ClaimListMissed | Rpc::ClaimListClubClaims
        )
    {
        return String::new();
    }
    // The owner is the giver if the method is the giver's.
    let gives = matches!(rpc, Rpc::ClaimAcceptClaim | Rpc::ClaimDeclineClaim);
    let stranger = stranger(server).await;
    let (giver, taker) = if gives { (owner, &stranger) } else { (&stranger, owner) };
    let request = v1::CreateOfferRequest { offer: Some(draft()) };
    let made: v1::CreateOfferResponse = giver.call(&request).await.unwrap();
    let asked: v1::CreateClaimResponse = taker.call(&ask(&made.offer.unwrap().offer_id, 2)).await.unwrap();
    let claim_id = asked.claim.unwrap().claim_id;
    if matches!(rpc, Rpc::ClaimConfirmHandOver | Rpc::ClaimNoteMissed) {
        let accept = v1::AcceptClaimRequest {
            claim_id: claim_id.clone(),
            contact: "here".into(),
            note: String::new(),
        };
        giver.call(&accept).await.unwrap();
    }
    claim_id
}

/// Makes a plan of the owner with their own step, and an entry of their grafting log, if the method needs them.
async fn planned(owner: &Raw, rpc: Rpc) -> (String, String) {
    let (mut plan_id, mut graft_id) = Default::default();
    if rpc.path().contains("PlanService") && !matches!(rpc, Rpc::PlanCreatePlan | Rpc::PlanListMyPlans) {
        let keep = v1::CreatePlanRequest { plan: Some(plan()), ..Default::default() };
        let made: v1::CreatePlanResponse = owner.call(&keep).await.unwrap();
        plan_id = made.plan.unwrap().plan_id;
        let step =
            v1::CreateStepRequest { plan_id: plan_id.clone(), title: "Shade".into(), ..Default::default() };
        owner.call(&step).await.unwrap();
    }
    if matches!(rpc, Rpc::GraftReportTakes | Rpc::GraftDeleteGrafts) {
        let made: v1::CreateGraftsResponse = owner.call(&grafts()).await.unwrap();
        graft_id = made.grafts.unwrap().graft_id;
    }
    (plan_id, graft_id)
}

/// Makes a club of the owner with a stranger in it, if the method needs one. Returns the club's and the guest's id.
async fn arranged(server: &TestServer, owner: &Raw, rpc: Rpc, serial: u32) -> (String, String) {
    let own = matches!(rpc, Rpc::ClubCreateClub | Rpc::ClubListClubs | Rpc::ClubListMyClubs);
    if !rpc.path().contains("ClubService") && rpc != Rpc::ClaimListClubClaims || own {
        return Default::default();
    }
    // An account can arrange a limited number of clubs.
    empty_clubs(server).await;
    let request = v1::CreateClubRequest { club: Some(club(&format!("The club {serial}"))) };
    let made: v1::CreateClubResponse = owner.call(&request).await.unwrap();
    let club_id = made.club.unwrap().club_id;
    let guest = stranger(server).await;
    let guest_id: v1::WhoAmIResponse = guest.call(&v1::WhoAmIRequest {}).await.unwrap();
    let guest_id = guest_id.account.unwrap().account_id;
    let ask = v1::AskToJoinClubRequest { club_id: club_id.clone(), words: String::new() };
    guest.call(&ask).await.unwrap();
    if matches!(rpc, Rpc::ClubSetClubOrganiser | Rpc::ClubLeaveClub) {
        let accept = v1::AnswerClubRequestRequest {
            club_id: club_id.clone(),
            account_id: guest_id.clone(),
            accept: Some(true),
        };
        owner.call(&accept).await.unwrap();
    }
    (club_id, guest_id)
}

async fn empty_clubs(server: &TestServer) {
    // In one transaction: a settlement whose stream was only opened may still write.
    let all = server.running.app().store().admin().begin().await.unwrap();
    for table in [
        "round_share",
        "round_event",
        "round_reason",
        "round_run",
        "round_advice",
        "round_wish",
        "round_lot",
        "round_member",
        "round",
        "club_invitation",
        "club_member",
        "club",
    ] {
        all.execute_unprepared(&format!("DELETE FROM {table}")).await.unwrap();
    }
    all.commit().await.unwrap();
}

/// Makes a round of a club of the owner and brings it to the stage that the method needs. Two members swap: the owner
/// brings lot 1 and wishes for one of the two packs of lot 2. Returns the ids of the club, the round, and another offer
/// of the owner.
async fn swapped(server: &TestServer, owner: &Raw, rpc: Rpc, serial: u32) -> (String, String, String) {
    if !rpc.path().contains("RoundService") || rpc == Rpc::RoundListRounds {
        return Default::default();
    }
    empty_clubs(server).await;
    // An account can have a limited number of open offers.
    let db = server.running.app().store().admin();
    db.execute_unprepared("UPDATE offer SET withdrawn_at = 1").await.unwrap();
    let request = v1::CreateClubRequest { club: Some(club(&format!("The swappers {serial}"))) };
    let made: v1::CreateClubResponse = owner.call(&request).await.unwrap();
    let club_id = made.club.unwrap().club_id;
    if rpc == Rpc::RoundCreateRound {
        return (club_id, String::new(), String::new());
    }
    let guest = stranger(server).await;
    crate::clubs::let_in(owner, &guest, &club_id).await;
    let round_id = crate::rounds::create(owner, &club_id, round()).await.unwrap().round_id;
    let mut spare = String::new();
    for (who, packs, wished) in [(owner, 1, "2"), (&guest, 2, "1")] {
        crate::rounds::join(who, &round_id, "XB-NS").await.unwrap();
        let offer = crate::rounds::offer(who, "R2E2", 4).await;
        crate::rounds::bring(who, &round_id, &offer, packs).await.unwrap();
        if packs == 1 {
            spare = crate::rounds::offer(who, "R2E2", 4).await;
        } else {
            let request = v1::SetWishesRequest { round_id: round_id.clone(), wishes: wishes(&[wished]) };
            who.call(&request).await.unwrap();
        }
    }
    let request = v1::SetWishesRequest { round_id: round_id.clone(), wishes: wishes(&["2"]) };
    owner.call(&request).await.unwrap();
    let gathers = [
        Rpc::RoundUpdateRound,
        Rpc::RoundGetRound,
        Rpc::RoundCallOffRound,
        Rpc::RoundJoinRound,
        Rpc::RoundLeaveRound,
        Rpc::RoundBringLot,
        Rpc::RoundTakeBackLot,
        Rpc::RoundListRoundLots,
        Rpc::RoundSetWishes,
        Rpc::RoundGetMyRound,
        Rpc::RoundNoteAdvice,
        Rpc::RoundPreviewRound,
        Rpc::RoundSealRound,
    ];
    if gathers.contains(&rpc) {
        return (club_id, round_id, spare);
    }
    crate::rounds::seal(owner, &round_id).await.unwrap();
    if matches!(rpc, Rpc::RoundReopenRound | Rpc::RoundSettleRound) {
        return (club_id, round_id, spare);
    }
    crate::rounds::settle(owner, &round_id, false).await.unwrap();
    if matches!(rpc, Rpc::RoundExportRoundAudit | Rpc::RoundStartHandOver) {
        return (club_id, round_id, spare);
    }
    crate::rounds::begin(owner, &round_id).await;
    crate::rounds::check_in(owner, &round_id, "2").await;
    (club_id, round_id, spare)
}

/// Makes wood and a plant of the owner, and an alert on the wood, if the method needs them.
async fn traced(server: &TestServer, owner: &Raw, steward: &Raw, rpc: Rpc) -> (String, String, String) {
    let mut alert_id = String::new();
    let on_alert = rpc.path().contains("AlertService") && rpc != Rpc::AlertListAlerts;
    let on_lot = rpc.path().contains("LotService") && !matches!(rpc, Rpc::LotCreateLot | Rpc::LotListMyLots);
    if !on_alert && !on_lot {
        return Default::default();
    }
    let enter = async |request: v1::CreateLotRequest| {
        let made: v1::CreateLotResponse = owner.call(&request).await.unwrap();
        made.lot.unwrap().card.unwrap().code
    };
    let plant = enter(plant_lot()).await;
    let origin =
        v1::LotOrigin { lot: plant.clone(), descent: v1::Descent::CutFrom.into(), ..Default::default() };
    let wood = v1::CreateLotRequest {
        kind: v1::LotKind::ScionWood.into(),
        origins: vec![origin],
        ..Default::default()
    };
    let lot = enter(wood).await;
    if on_alert {
        // An account can have a limited number of open alerts.
        let db = server.running.app().store().admin();
        for table in ["alert_start", "alert"] {
            db.execute_unprepared(&format!("DELETE FROM {table}")).await.unwrap();
        }
    }
    if on_alert && rpc != Rpc::AlertCreateAlert {
        let made: v1::CreateAlertResponse = owner.call(&sick(&lot)).await.unwrap();
        alert_id = made.alert.unwrap().alert_id;
        if rpc == Rpc::AlertLiftAlert {
            let confirm = v1::ConfirmAlertRequest {
                alert_id: alert_id.clone(),
                words: "I saw it.".into(),
                trace_back: None,
            };
            steward.call(&confirm).await.unwrap();
        }
    }
    (lot, plant, alert_id)
}

async fn rows(db: &DatabaseConnection) -> Vec<(String, i64)> {
    let mut all = Vec::new();
    for (table, _) in scionary_store::tables() {
        let sql = format!("SELECT CAST(COUNT(*) AS BIGINT) AS n FROM \"{table}\"");
        let row =
            db.query_one_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap().unwrap();
        all.push((table.to_string(), row.try_get("", "n").unwrap()));
    }
    all
}

#[tokio::test]
async fn the_matrix_is_as_reviewed() {
    let database = Database::sqlite();
    let mut stage = Stage::set(&database.url).await;
    let db = stage.server.running.app().store().admin().clone();
    let app = stage.server.running.app().clone();
    let mut followed = app.begin_to_follow().await.unwrap();
    let mut text = format!("{:<62}", "method");
    for persona in PERSONAS {
        write!(text, "{persona:<18}").unwrap();
    }
    for rpc in Rpc::ALL {
        write!(text, "\n{:<62}", rpc.path()).unwrap();
        for (at, persona) in PERSONAS.iter().enumerate() {
            let ids = stage.ids(rpc).await;
            let who = stage.caller(at, rpc).await;
            // Process earlier changes now, so that they do not alter the tables during the call.
            app.follow_changes(&mut followed).await.unwrap();
            let before = rows(&db).await;
            let outcome = who.bytes(rpc, sample(rpc, &ids)).await;
            let word = match &outcome {
                Ok(_) => "yes".to_string(),
                Err(status) => match status.code() {
                    Code::Unauthenticated if reason(status) == "WRONG_PASSWORD" => "yes (wrong pw)".into(),
                    Code::Unauthenticated => "sign in".into(),
                    Code::PermissionDenied if reason(status) == "CODE_NOT_VALID" => "yes (wrong code)".into(),
                    Code::PermissionDenied => "no".into(),
                    Code::NotFound => "not found".into(),
                    // The health library implements Check and Watch only.
                    Code::Unimplemented if rpc == Rpc::HealthV1HealthList => "not offered".into(),
                    Code::FailedPrecondition
                        if matches!(
                            reason(status).as_str(),
                            "NOT_CHECKED" | "NOT_INVITED" | "NOT_A_MEMBER" | "NO_MAIL" | "NOT_HANDED_OVER"
                        ) =>
                    {
                        "nothing there".into()
                    }
                    Code::FailedPrecondition if reason(status) == "LAST_ORGANISER" => "yes (last one)".into(),
                    Code::AlreadyExists if reason(status) == "MEMBER_ALREADY" => "yes (in already)".into(),
                    Code::InvalidArgument => "yes (bad field)".into(),
                    code => panic!("{persona} {}: {code:?} {}", rpc.path(), status.message()),
                },
            };
            if outcome.is_err() {
                assert_eq!(rows(&db).await, before, "{persona} {} was refused and wrote", rpc.path());
            }
            write!(text, "{word:<18}").unwrap();
            stage.after(at, rpc).await;
        }
    }
    let text: String = text.lines().map(|l| l.trim_end().to_string() + "\n").collect();
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!("authorization", text);
    });
    stage.server.stop().await;
}
