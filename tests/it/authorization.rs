//! Every method by every persona: the matrix is a file that is reviewed like code. A refused call leaves every
//! table as it was.

use std::fmt::Write as _;

use scionary_proto::{Rpc, v1};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{PASSWORD, reason},
    samples::{Ids, ask, draft, further_name, grafts, plan, sample, tally},
};
use sea_orm::{ConnectionTrait as _, DatabaseConnection, Statement};
use tonic::Code;

const PERSONAS: [&str; 8] =
    ["visitor", "owner", "other grower", "curator", "organiser", "steward", "suspended", "session over"];

struct Stage {
    server: TestServer,
    people: Vec<Raw>,
    taken: u32,
}

impl Stage {
    async fn set(url: &str) -> Self {
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
            steward.call::<v1::GrantRoleResponse>(Rpc::AccountGrantRole, &grant).await.unwrap();
        }
        let db = server.running.app().store().admin();
        db.execute_unprepared("UPDATE account SET suspended_at = 1 WHERE handle_key = 'suspended'")
            .await
            .unwrap();
        let over = visitor.with_token("sst_0000");
        let people = vec![visitor, owner, other, curator, organiser, steward, suspended, over];
        Self { server, people, taken: 0 }
    }

    /// Fresh objects of the owner for one call.
    async fn ids(&mut self, rpc: Rpc) -> Ids {
        let owner = &self.people[1];
        let mut offer = String::new();
        if matches!(rpc, Rpc::OfferGetOffer | Rpc::OfferUpdateOffer | Rpc::OfferWithdrawOffer) {
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let made: v1::CreateOfferResponse = owner.call(Rpc::OfferCreateOffer, &request).await.unwrap();
            offer = made.offer.unwrap().offer_id;
        }
        // objects are few for each account: one is made only where it is needed
        let mut invitation = String::new();
        if rpc == Rpc::AccountRevokeInvitation {
            let made: v1::CreateInvitationResponse = owner
                .call(Rpc::AccountCreateInvitation, &v1::CreateInvitationRequest::default())
                .await
                .unwrap();
            invitation = made.invitation.unwrap().invitation_id;
        }
        self.taken += 1;
        let serial = i32::try_from(self.taken).unwrap();
        let (mut evidence, mut proposal, mut sowing, mut ticket) = Default::default();
        let (plan_id, graft_id) = planned(owner, rpc).await;
        let claim_id = claimed(&self.server, owner, rpc).await;
        if rpc == Rpc::ClaimAskForOffer {
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let made: v1::CreateOfferResponse =
                stranger(&self.server).await.call(Rpc::OfferCreateOffer, &request).await.unwrap();
            offer = made.offer.unwrap().offer_id;
        }
        if rpc.path().contains("EvidenceService") && rpc.path().ends_with("Evidence")
            || rpc == Rpc::EvidenceWithdrawCheck
        {
            let request = v1::AddEvidenceRequest {
                cultivar: "Golek".into(),
                draft: Some(tally(serial + 5000)),
                ..Default::default()
            };
            let made: v1::AddEvidenceResponse = owner.call(Rpc::EvidenceAddEvidence, &request).await.unwrap();
            evidence = made.evidence[0].evidence.clone().unwrap().evidence_id;
            if rpc == Rpc::EvidenceWithdrawCheck {
                for checker in self.people.iter().skip(2).take(4) {
                    let check = v1::CheckEvidenceRequest {
                        evidence_id: evidence.clone(),
                        verdict: v1::CheckVerdict::BearsOut.into(),
                        reason: "I saw the same.".into(),
                    };
                    checker
                        .call::<v1::CheckEvidenceResponse>(Rpc::EvidenceCheckEvidence, &check)
                        .await
                        .unwrap();
                }
            }
        }
        if matches!(
            rpc,
            Rpc::CurationGetProposal | Rpc::CurationWithdrawProposal | Rpc::CurationRuleOnProposal
        ) {
            let made: v1::ProposeChangeResponse =
                owner.call(Rpc::CurationProposeChange, &further_name(serial + 5000)).await.unwrap();
            proposal = made.proposal.unwrap().proposal_id;
        }
        if rpc == Rpc::EvidenceCloseSowing {
            let request =
                v1::RecordSowingRequest { cultivar: "Golek".into(), seeds: 3, ..Default::default() };
            let made: v1::RecordSowingResponse =
                owner.call(Rpc::EvidenceRecordSowing, &request).await.unwrap();
            sowing = made.sowing.unwrap().sowing_id;
        }
        if rpc == Rpc::CurationCloseTicket {
            let request = v1::FileTicketRequest {
                subject: v1::TicketSubject::Cultivar.into(),
                subject_id: "Golek".into(),
                reason: "The notes are about another tree.".into(),
            };
            let made: v1::FileTicketResponse = owner.call(Rpc::CurationFileTicket, &request).await.unwrap();
            ticket = made.ticket.unwrap().ticket_id;
        }
        let app = self.server.running.app();
        if rpc == Rpc::CurationLockRecord {
            // every persona finds it unlocked
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
            serial,
            offer,
            invitation,
            cultivar: app.registry().resolve("c", "Golek", "").unwrap().cultivar.id.to_string(),
            free_handle: format!("free-{}", self.taken),
        }
    }
}

/// Somebody who is none of the personas.
async fn stranger(server: &TestServer) -> Raw {
    match server.raw().sign_in("stranger", PASSWORD).await {
        Ok(known) => known,
        Err(_) => server.raw().member("stranger").await,
    }
}

/// A claim of the owner's on an offer of somebody who is none of the personas, where a method needs one.
async fn claimed(server: &TestServer, owner: &Raw, rpc: Rpc) -> String {
    if !rpc.path().contains("ClaimService")
        || matches!(rpc, Rpc::ClaimAskForOffer | Rpc::ClaimListMyClaims | Rpc::ClaimListMissed)
    {
        return String::new();
    }
    // the owner is the giver where the giver's word is asked for
    let gives = matches!(rpc, Rpc::ClaimAcceptClaim | Rpc::ClaimDeclineClaim);
    let stranger = stranger(server).await;
    let (giver, taker) = if gives { (owner, &stranger) } else { (&stranger, owner) };
    let request = v1::CreateOfferRequest { offer: Some(draft()) };
    let made: v1::CreateOfferResponse = giver.call(Rpc::OfferCreateOffer, &request).await.unwrap();
    let asked: v1::AskForOfferResponse =
        taker.call(Rpc::ClaimAskForOffer, &ask(&made.offer.unwrap().offer_id, 2)).await.unwrap();
    let claim_id = asked.claim.unwrap().claim_id;
    if matches!(rpc, Rpc::ClaimConfirmHandOver | Rpc::ClaimNoteMissed) {
        let accept = v1::AcceptClaimRequest {
            claim_id: claim_id.clone(),
            contact: "here".into(),
            note: String::new(),
        };
        giver.call::<v1::AcceptClaimResponse>(Rpc::ClaimAcceptClaim, &accept).await.unwrap();
    }
    claim_id
}

/// A plan with a step of the owner's, and an entry of their grafting log, where a method needs one.
async fn planned(owner: &Raw, rpc: Rpc) -> (String, String) {
    let (mut plan_id, mut graft_id) = Default::default();
    if rpc.path().contains("PlanService") && !matches!(rpc, Rpc::PlanKeepPlan | Rpc::PlanListMyPlans) {
        let keep = v1::KeepPlanRequest { plan: Some(plan()), ..Default::default() };
        let made: v1::KeepPlanResponse = owner.call(Rpc::PlanKeepPlan, &keep).await.unwrap();
        plan_id = made.plan.unwrap().plan_id;
        let step =
            v1::AddStepRequest { plan_id: plan_id.clone(), title: "Shade".into(), ..Default::default() };
        owner.call::<v1::AddStepResponse>(Rpc::PlanAddStep, &step).await.unwrap();
    }
    if matches!(rpc, Rpc::GraftReportTakes | Rpc::GraftRemoveGrafts) {
        let made: v1::LogGraftsResponse = owner.call(Rpc::GraftLogGrafts, &grafts()).await.unwrap();
        graft_id = made.grafts.unwrap().graft_id;
    }
    (plan_id, graft_id)
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
    let mut text = format!("{:<62}", "method");
    for persona in PERSONAS {
        write!(text, "{persona:<16}").unwrap();
    }
    for rpc in Rpc::ALL {
        write!(text, "\n{:<62}", rpc.path()).unwrap();
        for (at, persona) in PERSONAS.iter().enumerate() {
            let ids = stage.ids(rpc).await;
            // a sign-out would end the persona's own session: it gets one for this call
            let mut who = stage.people[at].clone();
            if matches!(rpc, Rpc::AccountSignOut | Rpc::AccountSignOutEverywhere) && (1..=5).contains(&at) {
                let handle = ["", "owner", "other", "curator", "organiser", "steward"][at];
                who = stage.people[0].sign_in(handle, PASSWORD).await.unwrap();
            }
            let before = rows(&db).await;
            let outcome = who.bytes(rpc, sample(rpc, &ids)).await;
            let word = match &outcome {
                Ok(_) => "yes".to_string(),
                Err(status) => match status.code() {
                    Code::Unauthenticated if reason(status) == "WRONG_PASSWORD" => "yes (wrong pw)".into(),
                    Code::Unauthenticated => "sign in".into(),
                    Code::PermissionDenied => "no".into(),
                    Code::NotFound => "not found".into(),
                    // the health library answers Check and Watch only
                    Code::Unimplemented if rpc == Rpc::HealthV1HealthList => "not offered".into(),
                    Code::FailedPrecondition if reason(status) == "NOT_CHECKED" => "nothing there".into(),
                    Code::InvalidArgument => "yes (bad field)".into(),
                    code => panic!("{persona} {}: {code:?} {}", rpc.path(), status.message()),
                },
            };
            if outcome.is_err() {
                assert_eq!(rows(&db).await, before, "{persona} {} was refused and wrote", rpc.path());
            }
            write!(text, "{word:<16}").unwrap();
            if rpc == Rpc::AccountSignOutEverywhere && (1..=5).contains(&at) {
                let handle = ["", "owner", "other", "curator", "organiser", "steward"][at];
                stage.people[at] = stage.people[0].sign_in(handle, PASSWORD).await.unwrap();
            }
        }
    }
    let text: String = text.lines().map(|l| l.trim_end().to_string() + "\n").collect();
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!("authorization", text);
    });
    stage.server.stop().await;
}
