//! A sample request for every method. The match is exhaustive, so a new method needs a sample.

mod made;

use prost::Message as _;
use scionary_proto::{Rpc, v1};

pub use made::*;

/// Returns a calendar date.
pub fn day(year: i32, month: i32, day: i32) -> v1::CalendarDate {
    v1::CalendarDate { year, month, day }
}

/// Returns the current date.
pub fn today() -> scionary_domain::time::Date {
    use scionary_app::ports::Clock as _;
    scionary_server::clock::SystemClock.now().date()
}

/// Returns the current date plus a number of days.
pub fn in_days(days: i64) -> v1::CalendarDate {
    scionary_server::convert::date(today().plus_days(days))
}

/// Returns a field mask.
pub fn mask(paths: &[&str]) -> Option<prost_types::FieldMask> {
    Some(prost_types::FieldMask { paths: paths.iter().map(|p| (*p).to_string()).collect() })
}

/// Returns a valid draft of an offer.
pub fn draft() -> v1::OfferDraft {
    v1::OfferDraft {
        cultivar: "R2E2".into(),
        crop: "mango".into(),
        material: v1::Material::Seedling.into(),
        quantity: 6,
        terms: v1::Terms::Gift.into(),
        available_until: Some(in_days(30)),
        place: Some(v1::Place {
            area_code: "XB-NS".into(),
            grid_code: "2CGV2200+".into(),
            label: "Larkwater".into(),
        }),
        hand_over: vec![v1::HandOver::Collect.into()],
        note: "Strong plants, two of each seed.".into(),
        health: Some(v1::HealthDeclaration {
            grown_at: vec![v1::GrownAt { area_code: "XB-NS".into(), ..Default::default() }],
            form: v1::MaterialForm::InMedium.into(),
            purpose: v1::Purpose::Planting.into(),
            symptoms: v1::Observed::No.into(),
            pests: v1::Observed::Unknown.into(),
            sprayed: v1::Observed::No.into(),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// The ids that samples refer to.
#[derive(Clone, Debug, Default)]
pub struct Ids {
    /// An open offer.
    pub offer: String,
    /// An invitation to the server.
    pub invitation: String,
    /// A cultivar's record.
    pub cultivar: String,
    /// A handle without an account.
    pub free_handle: String,
    /// A piece of evidence.
    pub evidence: String,
    /// A proposal to change the registry.
    pub proposal: String,
    /// An open sowing.
    pub sowing: String,
    /// An open complaint.
    pub ticket: String,
    /// A saved plan.
    pub plan: String,
    /// An entry of a grafting log.
    pub graft: String,
    /// A claim on an offer.
    pub claim: String,
    /// A lot of the caller.
    pub lot: String,
    /// A plant of the caller.
    pub plant: String,
    /// An alert on a lot.
    pub alert: String,
    /// An open want.
    pub want: String,
    /// A club of the caller.
    pub club: String,
    /// The account of a guest or member of the club.
    pub guest: String,
    /// A round of the club.
    pub round: String,
    /// A counter, so that no sample is entered twice.
    pub serial: i32,
}

/// Returns the encoded sample request of a method.
pub fn sample(rpc: Rpc, ids: &Ids) -> Vec<u8> {
    let Ids {
        offer,
        invitation,
        cultivar,
        free_handle,
        evidence,
        proposal,
        sowing,
        ticket,
        plan: plan_id,
        graft: graft_id,
        claim: claim_id,
        lot,
        plant,
        alert: alert_id,
        want: want_id,
        club: club_id,
        guest: account_id,
        round: round_id,
        serial,
    } = ids.clone();
    let reason = || "A reason that says why.".to_string();
    match rpc {
        Rpc::ServerGetServer => v1::GetServerRequest {}.encode_to_vec(),
        Rpc::AccountSignUp => v1::SignUpRequest {
            handle: free_handle,
            display_name: String::new(),
            password: crate::client::PASSWORD.into(),
            code: String::new(),
        }
        .encode_to_vec(),
        Rpc::AccountSignIn => {
            v1::SignInRequest { handle: "nobody-here".into(), password: "x".into(), label: String::new() }
                .encode_to_vec()
        }
        Rpc::AccountSignOut => v1::SignOutRequest {}.encode_to_vec(),
        Rpc::AccountSignOutEverywhere => v1::SignOutEverywhereRequest {}.encode_to_vec(),
        Rpc::AccountChangePassword => v1::ChangePasswordRequest {
            current_password: "not it".into(),
            new_password: "another kettle orbit plank".into(),
        }
        .encode_to_vec(),
        Rpc::AccountWhoAmI => v1::WhoAmIRequest {}.encode_to_vec(),
        Rpc::AccountCreateInvitation => v1::CreateInvitationRequest { note: "guest".into() }.encode_to_vec(),
        Rpc::AccountListInvitations => v1::ListInvitationsRequest::default().encode_to_vec(),
        Rpc::AccountRevokeInvitation => {
            v1::RevokeInvitationRequest { invitation_id: invitation }.encode_to_vec()
        }
        Rpc::AccountGrantRole => v1::GrantRoleRequest {
            handle: "nobody-here".into(),
            role: v1::Role::Organiser.into(),
            crop: String::new(),
        }
        .encode_to_vec(),
        Rpc::AccountRevokeRole => v1::RevokeRoleRequest {
            handle: "nobody-here".into(),
            role: v1::Role::Organiser.into(),
            crop: String::new(),
        }
        .encode_to_vec(),
        Rpc::AccountCreateVouch => {
            v1::CreateVouchRequest { handle: "nobody-here".into(), reason: reason() }.encode_to_vec()
        }
        Rpc::AccountWithdrawVouch => {
            v1::WithdrawVouchRequest { handle: "nobody-here".into(), reason: reason() }.encode_to_vec()
        }
        Rpc::AccountSuspendAccount => {
            v1::SuspendAccountRequest { handle: "nobody-here".into(), reason: reason() }.encode_to_vec()
        }
        Rpc::AccountRestoreAccount => {
            v1::RestoreAccountRequest { handle: "nobody-here".into(), reason: reason() }.encode_to_vec()
        }
        Rpc::AccountBlockMember => {
            v1::BlockMemberRequest { account_id: "acc_00000000000000000000000001".into() }.encode_to_vec()
        }
        Rpc::AccountUnblockMember => {
            v1::UnblockMemberRequest { account_id: "acc_00000000000000000000000001".into() }.encode_to_vec()
        }
        Rpc::AccountListBlocked => v1::ListBlockedRequest {}.encode_to_vec(),
        Rpc::EvidenceCreateEvidence => v1::CreateEvidenceRequest {
            cultivar: "Golek".into(),
            draft: Some(tally(serial)),
            ..Default::default()
        }
        .encode_to_vec(),
        Rpc::EvidenceCorrectEvidence => v1::CorrectEvidenceRequest {
            evidence_id: evidence,
            draft: Some(tally(serial + 1000)),
            reason: reason(),
        }
        .encode_to_vec(),
        Rpc::EvidenceWithdrawEvidence => {
            v1::WithdrawEvidenceRequest { evidence_id: evidence, whole_report: true, reason: reason() }
                .encode_to_vec()
        }
        Rpc::EvidenceGetEvidence => v1::GetEvidenceRequest { evidence_id: evidence }.encode_to_vec(),
        Rpc::EvidenceListMyEvidence => v1::ListMyEvidenceRequest::default().encode_to_vec(),
        Rpc::EvidenceCheckEvidence => v1::CheckEvidenceRequest {
            evidence_id: evidence,
            verdict: v1::CheckVerdict::Agrees.into(),
            reason: reason(),
        }
        .encode_to_vec(),
        Rpc::EvidenceWithdrawCheck => v1::WithdrawCheckRequest { evidence_id: evidence }.encode_to_vec(),
        Rpc::EvidenceImportEvidence => {
            v1::ImportEvidenceRequest { mode: v1::ImportMode::DryRun.into(), rows: Vec::new() }
                .encode_to_vec()
        }
        Rpc::EvidenceCreateSowing => {
            v1::CreateSowingRequest { cultivar: "Golek".into(), seeds: 12, ..Default::default() }
                .encode_to_vec()
        }
        Rpc::EvidenceListMySowings => v1::ListMySowingsRequest::default().encode_to_vec(),
        Rpc::EvidenceCloseSowing => {
            v1::CloseSowingRequest { sowing_id: sowing, reason: reason() }.encode_to_vec()
        }
        Rpc::EvidenceGetAgreement => v1::GetAgreementRequest { crop: "mango".into() }.encode_to_vec(),
        Rpc::EvidenceGetGrowerRecord => v1::GetGrowerRecordRequest { handle: "owner".into() }.encode_to_vec(),
        Rpc::CurationEnterCultivar => {
            v1::EnterCultivarRequest { crop: "fig".into(), name: "Larkwater Brown".into() }.encode_to_vec()
        }
        Rpc::CurationCreateProposal => further_name(serial).encode_to_vec(),
        Rpc::CurationGetProposal => v1::GetProposalRequest { proposal_id: proposal }.encode_to_vec(),
        Rpc::CurationListProposals => v1::ListProposalsRequest::default().encode_to_vec(),
        Rpc::CurationListMyProposals => v1::ListMyProposalsRequest::default().encode_to_vec(),
        Rpc::CurationWithdrawProposal => {
            v1::WithdrawProposalRequest { proposal_id: proposal }.encode_to_vec()
        }
        Rpc::CurationDecideProposal => {
            v1::DecideProposalRequest { proposal_id: proposal, accept: Some(true), reason: reason() }
                .encode_to_vec()
        }
        Rpc::CurationCheckName => {
            v1::CheckNameRequest { crop: "mango".into(), name: "Lantern".into(), historic: false }
                .encode_to_vec()
        }
        Rpc::CurationGetHistory => {
            v1::GetHistoryRequest { cultivar: "Golek".into(), ..Default::default() }.encode_to_vec()
        }
        Rpc::CurationLockRecord => v1::LockRecordRequest {
            cultivar: "Peach".into(),
            crop: "mango".into(),
            lock: Some(true),
            reason: reason(),
        }
        .encode_to_vec(),
        Rpc::CurationCreateTicket => v1::CreateTicketRequest {
            subject: v1::TicketSubject::Cultivar.into(),
            subject_id: "Golek".into(),
            reason: reason(),
        }
        .encode_to_vec(),
        Rpc::CurationListTickets => v1::ListTicketsRequest::default().encode_to_vec(),
        Rpc::CurationCloseTicket => {
            v1::CloseTicketRequest { ticket_id: ticket, outcome: reason() }.encode_to_vec()
        }
        Rpc::ExportExport => {
            v1::ExportRequest { format: v1::ExportFormat::PassportCsv.into(), crop: "mango".into() }
                .encode_to_vec()
        }
        Rpc::ExportExportRegistry => v1::ExportRegistryRequest { crop: "mango".into() }.encode_to_vec(),
        Rpc::CropListCrops => v1::ListCropsRequest {}.encode_to_vec(),
        Rpc::PlanDraftPlan => plan().encode_to_vec(),
        Rpc::PlanCreatePlan => {
            v1::CreatePlanRequest { plan: Some(plan()), ..Default::default() }.encode_to_vec()
        }
        Rpc::PlanGetPlan => v1::GetPlanRequest { plan_id }.encode_to_vec(),
        Rpc::PlanListMyPlans => v1::ListMyPlansRequest::default().encode_to_vec(),
        Rpc::PlanUpdatePlan => {
            let says = v1::PlanDraft { title: "By the gate".into(), ..Default::default() };
            v1::UpdatePlanRequest { plan_id, plan: Some(says), update_mask: mask(&["title"]), version: 0 }
                .encode_to_vec()
        }
        Rpc::PlanUpdateStep => v1::UpdateStepRequest {
            plan_id,
            step_key: "sow".into(),
            edit: Some(v1::update_step_request::Edit::DoneOn(in_days(0))),
            ..Default::default()
        }
        .encode_to_vec(),
        Rpc::PlanCreateStep => {
            v1::CreateStepRequest { plan_id, title: "Shade cloth".into(), wait_days: 3, ..Default::default() }
                .encode_to_vec()
        }
        Rpc::PlanDeleteStep => {
            v1::DeleteStepRequest { plan_id, step_key: "own_2".into(), version: 0 }.encode_to_vec()
        }
        Rpc::PlanDeletePlan => v1::DeletePlanRequest { plan_id }.encode_to_vec(),
        Rpc::PlanExportCalendar => v1::ExportCalendarRequest { plan_id }.encode_to_vec(),
        Rpc::ClaimCreateClaim => ask(&offer, 2).encode_to_vec(),
        Rpc::ClaimAcceptClaim => {
            v1::AcceptClaimRequest { claim_id, contact: "at the gate".into(), note: String::new() }
                .encode_to_vec()
        }
        Rpc::ClaimDeclineClaim => v1::DeclineClaimRequest { claim_id, reason: reason() }.encode_to_vec(),
        Rpc::ClaimWithdrawClaim => v1::WithdrawClaimRequest { claim_id }.encode_to_vec(),
        Rpc::ClaimConfirmHandOver => v1::ConfirmHandOverRequest { claim_id }.encode_to_vec(),
        Rpc::ClaimNoteMissed => v1::NoteMissedRequest { claim_id, words: reason() }.encode_to_vec(),
        Rpc::ClaimGetClaim => v1::GetClaimRequest { claim_id }.encode_to_vec(),
        Rpc::ClaimListMyClaims => v1::ListMyClaimsRequest::default().encode_to_vec(),
        Rpc::ClaimListClubClaims => {
            v1::ListClubClaimsRequest { club_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::ClaimListMissed => v1::ListMissedRequest::default().encode_to_vec(),
        Rpc::CultivarGetProtection => {
            v1::GetProtectionRequest { cultivar: "Golek".into(), crop: String::new() }.encode_to_vec()
        }
        Rpc::CultivarSuggestCounts => {
            v1::SuggestCountsRequest { crop: "mango".into(), page_size: 2, ..Default::default() }
                .encode_to_vec()
        }
        Rpc::CultivarListPartners => {
            v1::ListPartnersRequest { cultivar: "Golek".into(), crop: "mango".into(), ..Default::default() }
                .encode_to_vec()
        }
        Rpc::CultivarListKept => {
            v1::ListKeptRequest { crop: "mango".into(), ..Default::default() }.encode_to_vec()
        }
        Rpc::CultivarSetProtection => v1::SetProtectionRequest {
            cultivar: "Peach".into(),
            crop: "mango".into(),
            protection: Some(protection()),
        }
        .encode_to_vec(),
        Rpc::MovementCreateMovementRelease => v1::CreateMovementReleaseRequest {
            files: vec![v1::RuleFile { name: "rules.csv".into(), text: String::new() }],
            note: reason(),
            dry_run: true,
        }
        .encode_to_vec(),
        Rpc::MovementPublishMovementRelease => {
            v1::PublishMovementReleaseRequest { release: 1_000_000 }.encode_to_vec()
        }
        Rpc::MovementWithdrawMovementRelease => {
            v1::WithdrawMovementReleaseRequest { release: 1_000_000 }.encode_to_vec()
        }
        Rpc::MovementListMovementReleases => v1::ListMovementReleasesRequest::default().encode_to_vec(),
        Rpc::WantCreateWant => v1::CreateWantRequest { want: Some(want("R2E2")) }.encode_to_vec(),
        Rpc::WantWithdrawWant => v1::WithdrawWantRequest { want_id }.encode_to_vec(),
        Rpc::WantListMyWants => v1::ListMyWantsRequest::default().encode_to_vec(),
        Rpc::WantSearchWants => {
            v1::SearchWantsRequest { crop: "mango".into(), ..Default::default() }.encode_to_vec()
        }
        Rpc::ClubCreateClub => {
            v1::CreateClubRequest { club: Some(club(&format!("Club {serial}"))) }.encode_to_vec()
        }
        Rpc::ClubUpdateClub => {
            let says = club(&format!("Club {serial} again"));
            v1::UpdateClubRequest { club_id, club: Some(says), update_mask: mask(&["name"]), version: 0 }
                .encode_to_vec()
        }
        Rpc::ClubGetClub => v1::GetClubRequest { club_id }.encode_to_vec(),
        Rpc::ClubListClubs => v1::ListClubsRequest::default().encode_to_vec(),
        Rpc::ClubListMyClubs => v1::ListMyClubsRequest {}.encode_to_vec(),
        Rpc::ClubListClubMembers => {
            v1::ListClubMembersRequest { club_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::ClubInviteToClub => {
            v1::InviteToClubRequest { club_id, handle: "suspended".into(), words: String::new() }
                .encode_to_vec()
        }
        Rpc::ClubAnswerClubInvitation => {
            v1::AnswerClubInvitationRequest { club_id, accept: Some(true) }.encode_to_vec()
        }
        Rpc::ClubAskToJoinClub => v1::AskToJoinClubRequest { club_id, words: reason() }.encode_to_vec(),
        Rpc::ClubAnswerClubRequest => {
            v1::AnswerClubRequestRequest { club_id, account_id, accept: Some(true) }.encode_to_vec()
        }
        Rpc::ClubSetClubOrganiser => {
            v1::SetClubOrganiserRequest { club_id, account_id, organiser: Some(true) }.encode_to_vec()
        }
        Rpc::ClubRemoveClubMember => {
            v1::RemoveClubMemberRequest { club_id, account_id, reason: reason(), handle: String::new() }
                .encode_to_vec()
        }
        Rpc::ClubLeaveClub => v1::LeaveClubRequest { club_id }.encode_to_vec(),
        Rpc::ClubEnterHelpedMember => {
            v1::EnterHelpedMemberRequest { club_id, name: "Old Fern".into(), consent: reason() }
                .encode_to_vec()
        }
        Rpc::ClubAllowHelp => v1::AllowHelpRequest { club_id, allow: Some(true) }.encode_to_vec(),
        Rpc::ClubExportClub => v1::ExportClubRequest { club_id }.encode_to_vec(),
        Rpc::ClubCloseClub => v1::CloseClubRequest { club_id }.encode_to_vec(),
        Rpc::LotCreateLot => plant_lot().encode_to_vec(),
        Rpc::LotNoteDescent => v1::NoteDescentRequest {
            lot: plant,
            from_lot: lot,
            descent: v1::Descent::GraftedOnto.into(),
            on: None,
        }
        .encode_to_vec(),
        Rpc::LotEndLot => v1::EndLotRequest { lot, why: "used up".into(), on: None }.encode_to_vec(),
        Rpc::LotCreateTest => v1::CreateTestRequest {
            lot,
            test: Some(v1::LotTest {
                pest: "anthracnose".into(),
                method: "culture, at home".into(),
                ..Default::default()
            }),
        }
        .encode_to_vec(),
        Rpc::LotGetLot => v1::GetLotRequest { lot }.encode_to_vec(),
        Rpc::LotListMyLots => v1::ListMyLotsRequest::default().encode_to_vec(),
        Rpc::LotLookUpLot => v1::LookUpLotRequest { code: lot }.encode_to_vec(),
        Rpc::LotTraceLot => {
            v1::TraceLotRequest { lot, direction: v1::TraceDirection::Back.into() }.encode_to_vec()
        }
        Rpc::AlertCreateAlert => sick(&lot).encode_to_vec(),
        Rpc::AlertConfirmAlert => {
            v1::ConfirmAlertRequest { alert_id, words: reason(), trace_back: None }.encode_to_vec()
        }
        Rpc::AlertDismissAlert => v1::DismissAlertRequest { alert_id, reason: reason() }.encode_to_vec(),
        Rpc::AlertLiftAlert => v1::LiftAlertRequest { alert_id, reason: reason() }.encode_to_vec(),
        Rpc::AlertWithdrawAlert => v1::WithdrawAlertRequest { alert_id }.encode_to_vec(),
        Rpc::AlertGetAlert => v1::GetAlertRequest { alert_id }.encode_to_vec(),
        Rpc::AlertListAlerts => {
            v1::ListAlertsRequest { to_rule_on: true, ..Default::default() }.encode_to_vec()
        }
        Rpc::AlertRecallAlert => v1::RecallAlertRequest { alert_id }.encode_to_vec(),
        Rpc::NoticeListNotices => v1::ListNoticesRequest::default().encode_to_vec(),
        Rpc::NoticeMarkNoticesRead => v1::MarkNoticesReadRequest { up_to: 1 }.encode_to_vec(),
        Rpc::NoticeSetMailAddress => {
            v1::SetMailAddressRequest { address: "owner@example.org".into() }.encode_to_vec()
        }
        Rpc::NoticeConfirmMailAddress => {
            v1::ConfirmMailAddressRequest { code: "0000-0000-0000-0000".into() }.encode_to_vec()
        }
        Rpc::NoticeDeleteMailAddress => v1::DeleteMailAddressRequest {}.encode_to_vec(),
        Rpc::NoticeGetMailAddress => v1::GetMailAddressRequest {}.encode_to_vec(),
        Rpc::NoticeWatchNotices => v1::WatchNoticesRequest::default().encode_to_vec(),
        Rpc::MovementCheckMovement => v1::CheckMovementRequest {
            crop: "mango".into(),
            material: v1::Material::ScionWood.into(),
            grown_at: vec!["XB-NS".into()],
            to: vec!["XB".into()],
            ..Default::default()
        }
        .encode_to_vec(),
        Rpc::MovementListMovementRules => v1::ListMovementRulesRequest::default().encode_to_vec(),
        Rpc::ProfileGetProfile => v1::GetProfileRequest {}.encode_to_vec(),
        Rpc::ProfileUpdateProfile => v1::UpdateProfileRequest {
            profile: Some(v1::Profile { crop: "mango".into(), imperial: true, ..Default::default() }),
            update_mask: mask(&["crop", "imperial"]),
            version: 0,
        }
        .encode_to_vec(),
        Rpc::ProfileFindPlaces => {
            v1::FindPlacesRequest { text: "Brisbane".into(), ..Default::default() }.encode_to_vec()
        }
        Rpc::ProfileNumberItems => v1::NumberItemsRequest { item_ids: vec![offer] }.encode_to_vec(),
        Rpc::ProfileFindItems => {
            let kind = v1::ItemKind::Numbered.into();
            v1::FindItemsRequest { kind, text: "1".into() }.encode_to_vec()
        }
        Rpc::GraftCreateGrafts => grafts().encode_to_vec(),
        Rpc::GraftReportTakes => v1::ReportTakesRequest { graft_id, taken: 4, seen_on: None }.encode_to_vec(),
        Rpc::GraftListMyGrafts => v1::ListMyGraftsRequest::default().encode_to_vec(),
        Rpc::GraftDeleteGrafts => v1::DeleteGraftsRequest { graft_id }.encode_to_vec(),
        Rpc::GraftGetGraftRates => {
            v1::GetGraftRatesRequest { crop: "mango".into(), cultivar: String::new() }.encode_to_vec()
        }
        Rpc::PlanGetSeasons => {
            v1::GetSeasonsRequest { cultivars: vec!["R2E2".into()], ..Default::default() }.encode_to_vec()
        }
        Rpc::PlanCompareRoutes => {
            v1::CompareRoutesRequest { cultivar: "R2E2".into(), ..Default::default() }.encode_to_vec()
        }
        Rpc::PlanEstimateSeedOdds => {
            v1::EstimateSeedOddsRequest { cultivar: "R2E2".into(), wanted: 3, ..Default::default() }
                .encode_to_vec()
        }
        Rpc::CropGetCrop => v1::GetCropRequest { crop: "mango".into() }.encode_to_vec(),
        Rpc::CultivarLookUpSeed => {
            v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() }.encode_to_vec()
        }
        Rpc::CultivarSearchCultivars => {
            v1::SearchCultivarsRequest { query: "golek".into(), crop: String::new(), page_size: 0 }
                .encode_to_vec()
        }
        Rpc::CultivarListCultivars => v1::ListCultivarsRequest::default().encode_to_vec(),
        Rpc::CultivarGetCultivar => {
            v1::GetCultivarRequest { cultivar: "golek".into(), crop: String::new() }.encode_to_vec()
        }
        Rpc::CultivarListEvidence => {
            v1::ListEvidenceRequest { cultivar_id: cultivar, ..Default::default() }.encode_to_vec()
        }
        Rpc::RoundCreateRound => v1::CreateRoundRequest { club_id, round: Some(round()) }.encode_to_vec(),
        Rpc::RoundUpdateRound => {
            let update_mask = mask(&["title"]);
            v1::UpdateRoundRequest { round_id, round: Some(round()), update_mask, version: 0 }.encode_to_vec()
        }
        Rpc::RoundGetRound => v1::GetRoundRequest { round_id }.encode_to_vec(),
        Rpc::RoundListRounds => v1::ListRoundsRequest::default().encode_to_vec(),
        Rpc::RoundCallOffRound => v1::CallOffRoundRequest { round_id, reason: reason() }.encode_to_vec(),
        Rpc::RoundJoinRound => v1::JoinRoundRequest { round_id, part: Some(round_part()) }.encode_to_vec(),
        Rpc::RoundLeaveRound => v1::LeaveRoundRequest { round_id }.encode_to_vec(),
        Rpc::RoundBringLot => {
            v1::BringLotRequest { round_id, offer_id: offer, units: 1, ..Default::default() }.encode_to_vec()
        }
        Rpc::RoundTakeBackLot => v1::TakeBackLotRequest { round_id, lot: "1".into() }.encode_to_vec(),
        Rpc::RoundListRoundLots => {
            v1::ListRoundLotsRequest { round_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::RoundSetWishes => v1::SetWishesRequest { round_id, wishes: wishes(&["2"]) }.encode_to_vec(),
        Rpc::RoundGetMyRound => v1::GetMyRoundRequest { round_id }.encode_to_vec(),
        Rpc::RoundNoteAdvice => v1::NoteAdviceRequest {
            round_id,
            from_area_code: "XB-NS".into(),
            to_area_code: "XB-SS".into(),
            asked: "the plant-health office".into(),
            said: "leafless wood, labelled".into(),
        }
        .encode_to_vec(),
        Rpc::RoundPreviewRound => v1::PreviewRoundRequest { round_id, tried: None }.encode_to_vec(),
        Rpc::RoundSealRound => v1::SealRoundRequest { round_id }.encode_to_vec(),
        Rpc::RoundReopenRound => v1::ReopenRoundRequest { round_id }.encode_to_vec(),
        Rpc::RoundSettleRound => v1::SettleRoundRequest { round_id, only_checked_in: false }.encode_to_vec(),
        Rpc::RoundExportRoundAudit => v1::ExportRoundAuditRequest { round_id, run: 0 }.encode_to_vec(),
        Rpc::RoundStartHandOver => {
            v1::StartHandOverRequest { round_id, early: true, undo: false }.encode_to_vec()
        }
        Rpc::RoundCheckInLot => {
            v1::CheckInLotRequest { round_id, lot: "1".into(), here: Some(true), came: 0 }.encode_to_vec()
        }
        Rpc::RoundSetPresence => {
            v1::SetPresenceRequest { round_id, member: "2".into(), absent: Some(true) }.encode_to_vec()
        }
        Rpc::RoundListRoundMembers => {
            v1::ListRoundMembersRequest { round_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::RoundListRoundShares => {
            v1::ListRoundSharesRequest { round_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::RoundHandOverShare => {
            v1::HandOverShareRequest { round_id, lot: "2".into(), member: "1".into() }.encode_to_vec()
        }
        Rpc::RoundTakeLeftOver => {
            v1::TakeLeftOverRequest { round_id, lot: "2".into(), units: 1, member: String::new() }
                .encode_to_vec()
        }
        Rpc::RoundCloseRound => v1::CloseRoundRequest { round_id, pending: true }.encode_to_vec(),
        Rpc::RoundTakeRoundAlong => {
            v1::TakeRoundAlongRequest { round_id, word: "a shed at the creek".into() }.encode_to_vec()
        }
        Rpc::RoundBringRoundHome => {
            v1::BringRoundHomeRequest { header: "{}".into(), signature: "AAAA".into(), steps: Vec::new() }
                .encode_to_vec()
        }
        Rpc::RoundUndoHandOver => {
            v1::UndoHandOverRequest { round_id, lot: "2".into(), member: "1".into() }.encode_to_vec()
        }
        Rpc::RoundAddRoundMember => {
            v1::AddRoundMemberRequest { round_id, member: "bram".into() }.encode_to_vec()
        }
        Rpc::RoundListRoundEvents => {
            v1::ListRoundEventsRequest { round_id, ..Default::default() }.encode_to_vec()
        }
        Rpc::OfferCreateOffer => v1::CreateOfferRequest { offer: Some(draft()) }.encode_to_vec(),
        Rpc::OfferGetOffer => {
            v1::GetOfferRequest { offer_id: offer, to_area_code: "XB-NS".into() }.encode_to_vec()
        }
        Rpc::OfferListMyOffers => v1::ListMyOffersRequest::default().encode_to_vec(),
        Rpc::OfferSearchOffers => v1::SearchOffersRequest::default().encode_to_vec(),
        Rpc::OfferUpdateOffer => v1::UpdateOfferRequest {
            offer_id: offer,
            version: 1,
            offer: Some(v1::OfferDraft { quantity: 3, ..draft() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["quantity".into()] }),
        }
        .encode_to_vec(),
        Rpc::OfferWithdrawOffer => v1::WithdrawOfferRequest { offer_id: offer, version: 0 }.encode_to_vec(),
        Rpc::HealthV1HealthCheck
        | Rpc::HealthV1HealthList
        | Rpc::HealthV1HealthWatch
        | Rpc::ReflectionV1ServerReflectionServerReflectionInfo
        | Rpc::ReflectionV1alphaServerReflectionServerReflectionInfo => Vec::new(),
    }
}
