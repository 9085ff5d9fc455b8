//! Every method: who may call it, and the handler that answers it. One exhaustive match, so that a method without a row
//! does not compile; that a row holds the handler of its own method is checked at the start.

use scionary_proto::{Effect, Rpc};

use crate::{
    dispatch::Row,
    policy::{
        BEHALF_READ, BEHALF_WRITE, DAY_BEHALF_WRITE, DAY_PASSWORD, DAY_WRITE, KNOWN_DEAR, KNOWN_READ,
        MEMBER_WRITE, OWN_PASSWORD, OWN_READ, OnTheDay, PUBLIC_DEAR, PUBLIC_PASSWORD, PUBLIC_READ, Policy,
        Rate, SESSION_PASSWORD, SESSION_WRITE, STEWARD_READ, STEWARD_WRITE, UNCOUNTED,
    },
    rpc::{
        account, alert, claim, club, crop, cultivar, curation, day, evidence, export, grafts, lot, movement,
        notice, offer, plan, profile, round, server, want,
    },
};

/// The services whose replies are compressed where the caller takes that: what is public, and a grower's own plans.
/// Replies of the others may hold secrets, or contacts, beside text that another person has written: from its
/// compressed size such a secret can be guessed.
const COMPRESSED: [&str; 10] = [
    "scionary.v1.ServerService",
    "scionary.v1.CropService",
    "scionary.v1.CultivarService",
    "scionary.v1.OfferService",
    "scionary.v1.PlanService",
    "scionary.v1.GraftService",
    "scionary.v1.MovementService",
    "scionary.v1.EvidenceService",
    "scionary.v1.CurationService",
    "scionary.v1.ExportService",
];

/// The services that may be read where a swap day is run away from its server: the file holds all that they answer with.
/// Answers that rest on evidence, descent or an inbox come from the server alone.
const READ_ON_THE_DAY: [&str; 9] = [
    "scionary.v1.ServerService",
    "scionary.v1.AccountService",
    "scionary.v1.CropService",
    "scionary.v1.ClubService",
    "scionary.v1.OfferService",
    "scionary.v1.ClaimService",
    "scionary.v1.RoundService",
    "scionary.v1.ProfileService",
    "scionary.v1.MovementService",
];

/// Whether a method may be called where a swap day is run away from its server.
pub fn is_for_the_day(rpc: Rpc, rules: Policy) -> bool {
    let reads = rpc.effect() == Effect::Reads;
    rules.day != OnTheDay::No
        || rules.rate == Rate::Free
        || rpc == Rpc::CultivarSearchCultivars
        || reads && READ_ON_THE_DAY.contains(&rpc.service())
}

/// Whether replies of a method are compressed where the caller takes that.
pub fn compresses(rpc: Rpc) -> bool {
    COMPRESSED.contains(&rpc.service())
}

/// The rules of a method.
pub fn policy(rpc: Rpc) -> Policy {
    row(rpc).rules()
}

/// The row of a method.
pub fn row(rpc: Rpc) -> Row {
    match rpc {
        Rpc::ServerGetServer => Row::unary(PUBLIC_READ, server::get_server),

        Rpc::AccountSignUp => Row::unary(PUBLIC_PASSWORD, account::sign_up),
        Rpc::AccountSignIn => Row::unary(SESSION_PASSWORD, account::sign_in),
        Rpc::AccountSignOut => Row::unary(SESSION_WRITE, account::sign_out),
        Rpc::AccountSignOutEverywhere => Row::unary(MEMBER_WRITE, account::sign_out_everywhere),
        Rpc::AccountChangePassword => Row::unary(OWN_PASSWORD, account::change_password),
        Rpc::AccountWhoAmI => Row::unary(OWN_READ, account::who_am_i),
        Rpc::AccountCreateInvitation => Row::unary(MEMBER_WRITE, account::create_invitation),
        Rpc::AccountListInvitations => Row::unary(OWN_READ, account::list_invitations),
        Rpc::AccountRevokeInvitation => Row::unary(MEMBER_WRITE, account::revoke_invitation),
        Rpc::AccountGrantRole => Row::unary(STEWARD_WRITE, account::grant_role),
        Rpc::AccountRevokeRole => Row::unary(STEWARD_WRITE, account::revoke_role),

        Rpc::AccountCreateVouch => Row::unary(MEMBER_WRITE, account::create_vouch),
        Rpc::AccountWithdrawVouch => Row::unary(MEMBER_WRITE, account::withdraw_vouch),
        Rpc::AccountSuspendAccount => Row::unary(STEWARD_WRITE, account::suspend_account),
        Rpc::AccountRestoreAccount => Row::unary(STEWARD_WRITE, account::restore_account),
        Rpc::AccountBlockMember => Row::unary(MEMBER_WRITE, account::block_member),
        Rpc::AccountUnblockMember => Row::unary(MEMBER_WRITE, account::unblock_member),
        Rpc::AccountListBlocked => Row::unary(OWN_READ, account::list_blocked),

        Rpc::CropListCrops => Row::unary(PUBLIC_READ, crop::list_crops),
        Rpc::CropGetCrop => Row::unary(PUBLIC_READ, crop::get_crop),

        Rpc::CultivarLookUpSeed => Row::unary(PUBLIC_READ, cultivar::look_up_seed),
        Rpc::CultivarSearchCultivars => Row::unary(PUBLIC_READ, cultivar::search_cultivars),
        Rpc::CultivarListCultivars => Row::unary(PUBLIC_READ, cultivar::list_cultivars),
        Rpc::CultivarGetCultivar => Row::unary(PUBLIC_READ, cultivar::get_cultivar),
        Rpc::CultivarListEvidence => Row::unary(PUBLIC_READ, cultivar::list_evidence),

        Rpc::CultivarGetProtection => Row::unary(PUBLIC_READ, cultivar::get_protection),
        // curators of the crop: see the domain's `access`
        Rpc::CultivarSetProtection => Row::unary(MEMBER_WRITE, cultivar::set_protection),
        // what is the caller's own, or a club's, asks for a session
        Rpc::CultivarSuggestCounts => Row::unary(KNOWN_DEAR, cultivar::suggest_counts),
        Rpc::CultivarListPartners => Row::unary(KNOWN_DEAR, cultivar::list_partners),
        Rpc::CultivarListKept => Row::unary(KNOWN_DEAR, cultivar::list_kept),

        Rpc::PlanEstimateSeedOdds => Row::unary(PUBLIC_READ, plan::estimate_seed_odds),
        Rpc::PlanCompareRoutes => Row::unary(PUBLIC_READ, plan::compare_routes),
        Rpc::PlanGetSeasons => Row::unary(PUBLIC_READ, plan::get_seasons),
        Rpc::PlanDraftPlan => Row::unary(PUBLIC_READ, plan::draft_plan),
        Rpc::PlanCreatePlan => Row::unary(MEMBER_WRITE, plan::create_plan),
        Rpc::PlanGetPlan => Row::unary(OWN_READ, plan::get_plan),
        Rpc::PlanListMyPlans => Row::unary(OWN_READ, plan::list_my_plans),
        Rpc::PlanUpdatePlan => Row::unary(MEMBER_WRITE, plan::update_plan),
        Rpc::PlanUpdateStep => Row::unary(MEMBER_WRITE, plan::update_step),
        Rpc::PlanCreateStep => Row::unary(MEMBER_WRITE, plan::create_step),
        Rpc::PlanDeleteStep => Row::unary(MEMBER_WRITE, plan::delete_step),
        Rpc::PlanDeletePlan => Row::unary(MEMBER_WRITE, plan::delete_plan),
        Rpc::PlanExportCalendar => Row::unary(OWN_READ, plan::export_calendar),

        Rpc::ProfileGetProfile => Row::unary(OWN_READ, profile::get_profile),
        Rpc::ProfileUpdateProfile => Row::unary(MEMBER_WRITE, profile::update_profile),
        Rpc::ProfileFindPlaces => Row::unary(PUBLIC_READ, profile::find_places),
        Rpc::ProfileNumberItems => Row::unary(SESSION_WRITE, profile::number_items),
        Rpc::ProfileFindItems => Row::unary(OWN_READ, profile::find_items),

        Rpc::GraftCreateGrafts => Row::unary(MEMBER_WRITE, grafts::create_grafts),
        Rpc::GraftReportTakes => Row::unary(MEMBER_WRITE, grafts::report_takes),
        Rpc::GraftListMyGrafts => Row::unary(OWN_READ, grafts::list_my_grafts),
        Rpc::GraftDeleteGrafts => Row::unary(MEMBER_WRITE, grafts::delete_grafts),
        Rpc::GraftGetGraftRates => Row::unary(PUBLIC_READ, grafts::get_graft_rates),

        Rpc::ClaimCreateClaim => Row::unary(BEHALF_WRITE, claim::create_claim),
        Rpc::ClaimAcceptClaim => Row::unary(BEHALF_WRITE, claim::accept_claim),
        Rpc::ClaimDeclineClaim => Row::unary(BEHALF_WRITE, claim::decline_claim),
        Rpc::ClaimWithdrawClaim => Row::unary(BEHALF_WRITE, claim::withdraw_claim),
        Rpc::ClaimConfirmHandOver => Row::unary(BEHALF_WRITE, claim::confirm_hand_over),
        Rpc::ClaimNoteMissed => Row::unary(BEHALF_WRITE, claim::note_missed),
        Rpc::ClaimGetClaim => Row::unary(BEHALF_READ, claim::get_claim),
        Rpc::ClaimListMyClaims => Row::unary(BEHALF_READ, claim::list_my_claims),
        // the club's organisers
        Rpc::ClaimListClubClaims => Row::unary(OWN_READ, claim::list_club_claims),
        // organisers and stewards: see the domain's `access`
        Rpc::ClaimListMissed => Row::unary(OWN_READ, claim::list_missed),

        Rpc::LotCreateLot => Row::unary(MEMBER_WRITE, lot::create_lot),
        Rpc::LotNoteDescent => Row::unary(MEMBER_WRITE, lot::note_descent),
        Rpc::LotEndLot => Row::unary(MEMBER_WRITE, lot::end_lot),
        Rpc::LotCreateTest => Row::unary(MEMBER_WRITE, lot::create_test),
        Rpc::LotGetLot => Row::unary(OWN_READ, lot::get_lot),
        Rpc::LotListMyLots => Row::unary(OWN_READ, lot::list_my_lots),
        Rpc::LotLookUpLot => Row::unary(PUBLIC_DEAR, lot::look_up_lot),
        // holders, and who minds alerts: see the domain's `access`
        Rpc::LotTraceLot => Row::unary(OWN_READ, lot::trace_lot),

        // who may rule on an alert is decided for each, in the domain's `access`
        Rpc::AlertCreateAlert => Row::unary(MEMBER_WRITE, alert::create_alert),
        Rpc::AlertConfirmAlert => Row::unary(MEMBER_WRITE, alert::confirm_alert),
        Rpc::AlertDismissAlert => Row::unary(MEMBER_WRITE, alert::dismiss_alert),
        Rpc::AlertLiftAlert => Row::unary(MEMBER_WRITE, alert::lift_alert),
        Rpc::AlertWithdrawAlert => Row::unary(MEMBER_WRITE, alert::withdraw_alert),
        Rpc::AlertGetAlert => Row::unary(OWN_READ, alert::get_alert),
        Rpc::AlertListAlerts => Row::unary(OWN_READ, alert::list_alerts),
        Rpc::AlertRecallAlert => Row::replies(OWN_READ, alert::recall_alert),

        Rpc::NoticeListNotices => Row::unary(OWN_READ, notice::list_notices),
        Rpc::NoticeMarkNoticesRead => Row::unary(MEMBER_WRITE, notice::mark_notices_read),
        Rpc::NoticeWatchNotices => Row::replies(OWN_READ, notice::watch_notices),
        // each of them sends mail, or takes a code
        Rpc::NoticeSetMailAddress => Row::unary(OWN_PASSWORD, notice::set_mail_address),
        Rpc::NoticeConfirmMailAddress => Row::unary(OWN_PASSWORD, notice::confirm_mail_address),
        Rpc::NoticeDeleteMailAddress => Row::unary(MEMBER_WRITE, notice::delete_mail_address),
        Rpc::NoticeGetMailAddress => Row::unary(OWN_READ, notice::get_mail_address),

        // who arranges a club and who belongs to it is decided for each, in the domain's `access`
        Rpc::ClubCreateClub => Row::unary(MEMBER_WRITE, club::create_club),
        Rpc::ClubUpdateClub => Row::unary(MEMBER_WRITE, club::update_club),
        Rpc::ClubGetClub => Row::unary(KNOWN_READ, club::get_club),
        Rpc::ClubListClubs => Row::unary(KNOWN_READ, club::list_clubs),
        Rpc::ClubListMyClubs => Row::unary(OWN_READ, club::list_my_clubs),
        Rpc::ClubListClubMembers => Row::unary(OWN_READ, club::list_club_members),
        Rpc::ClubInviteToClub => Row::unary(MEMBER_WRITE, club::invite_to_club),
        Rpc::ClubAnswerClubInvitation => Row::unary(MEMBER_WRITE, club::answer_club_invitation),
        Rpc::ClubAskToJoinClub => Row::unary(MEMBER_WRITE, club::ask_to_join_club),
        Rpc::ClubAnswerClubRequest => Row::unary(MEMBER_WRITE, club::answer_club_request),
        Rpc::ClubSetClubOrganiser => Row::unary(MEMBER_WRITE, club::set_club_organiser),
        Rpc::ClubRemoveClubMember => Row::unary(MEMBER_WRITE, club::remove_club_member),
        Rpc::ClubLeaveClub => Row::unary(MEMBER_WRITE, club::leave_club),
        Rpc::ClubEnterHelpedMember => Row::unary(DAY_PASSWORD, club::enter_helped_member),
        Rpc::ClubAllowHelp => Row::unary(MEMBER_WRITE, club::allow_help),
        Rpc::ClubExportClub => Row::replies(OWN_READ, club::export_club),
        Rpc::ClubCloseClub => Row::unary(MEMBER_WRITE, club::close_club),

        // who belongs to the club and who arranges it is decided for each, in the domain's `access`
        Rpc::RoundCreateRound => Row::unary(MEMBER_WRITE, round::create_round),
        Rpc::RoundUpdateRound => Row::unary(MEMBER_WRITE, round::update_round),
        Rpc::RoundGetRound => Row::unary(BEHALF_READ, round::get_round),
        Rpc::RoundListRounds => Row::unary(BEHALF_READ, round::list_rounds),
        Rpc::RoundCallOffRound => Row::unary(MEMBER_WRITE, round::call_off_round),
        Rpc::RoundJoinRound => Row::unary(DAY_BEHALF_WRITE, round::join_round),
        Rpc::RoundLeaveRound => Row::unary(BEHALF_WRITE, round::leave_round),
        Rpc::RoundBringLot => Row::unary(DAY_BEHALF_WRITE, round::bring_lot),
        Rpc::RoundTakeBackLot => Row::unary(BEHALF_WRITE, round::take_back_lot),
        Rpc::RoundListRoundLots => Row::unary(BEHALF_READ, round::list_round_lots),
        Rpc::RoundSetWishes => Row::unary(DAY_BEHALF_WRITE, round::set_wishes),
        Rpc::RoundGetMyRound => Row::unary(BEHALF_READ, round::get_my_round),
        Rpc::RoundNoteAdvice => Row::unary(MEMBER_WRITE, round::note_advice),
        Rpc::RoundPreviewRound => Row::unary(OWN_READ, round::preview_round),
        Rpc::RoundSealRound => Row::unary(MEMBER_WRITE, round::seal_round),
        Rpc::RoundReopenRound => Row::unary(MEMBER_WRITE, round::reopen_round),
        // settled twice it is the same: no key is asked for
        Rpc::RoundSettleRound => Row::replies(DAY_WRITE, round::settle_round),
        Rpc::RoundExportRoundAudit => Row::replies(OWN_READ, round::export_round_audit),
        Rpc::RoundStartHandOver => Row::unary(DAY_WRITE, round::start_hand_over),
        Rpc::RoundCheckInLot => Row::unary(DAY_WRITE, round::check_in_lot),
        Rpc::RoundSetPresence => Row::unary(DAY_WRITE, round::set_presence),
        Rpc::RoundListRoundMembers => Row::unary(OWN_READ, round::list_round_members),
        Rpc::RoundListRoundShares => Row::unary(OWN_READ, round::list_round_shares),
        Rpc::RoundHandOverShare => Row::unary(DAY_WRITE, round::hand_over_share),
        Rpc::RoundUndoHandOver => Row::unary(DAY_WRITE, round::undo_hand_over),
        Rpc::RoundAddRoundMember => Row::unary(DAY_WRITE, round::add_round_member),
        Rpc::RoundListRoundEvents => Row::unary(OWN_READ, round::list_round_events),
        Rpc::RoundTakeLeftOver => Row::unary(DAY_BEHALF_WRITE, round::take_left_over),
        Rpc::RoundTakeRoundAlong => Row::replies(MEMBER_WRITE, day::take_round_along),
        Rpc::RoundBringRoundHome => Row::unary(MEMBER_WRITE, day::bring_round_home),
        Rpc::RoundCloseRound => Row::unary(DAY_WRITE, round::close_round),

        Rpc::WantCreateWant => Row::unary(MEMBER_WRITE, want::create_want),
        Rpc::WantWithdrawWant => Row::unary(MEMBER_WRITE, want::withdraw_want),
        Rpc::WantListMyWants => Row::unary(OWN_READ, want::list_my_wants),
        Rpc::WantSearchWants => Row::unary(PUBLIC_READ, want::search_wants),

        Rpc::MovementCheckMovement => Row::unary(KNOWN_READ, movement::check_movement),
        Rpc::MovementListMovementRules => Row::unary(PUBLIC_READ, movement::list_movement_rules),
        // four eyes: see the domain's `access`
        Rpc::MovementCreateMovementRelease => Row::unary(STEWARD_WRITE, movement::create_movement_release),
        Rpc::MovementPublishMovementRelease => Row::unary(STEWARD_WRITE, movement::publish_movement_release),
        Rpc::MovementWithdrawMovementRelease => {
            Row::unary(STEWARD_WRITE, movement::withdraw_movement_release)
        }
        Rpc::MovementListMovementReleases => Row::unary(STEWARD_READ, movement::list_movement_releases),

        Rpc::OfferCreateOffer => Row::unary(DAY_BEHALF_WRITE, offer::create_offer),
        Rpc::OfferGetOffer => Row::unary(KNOWN_READ, offer::get_offer),
        Rpc::OfferListMyOffers => Row::unary(BEHALF_READ, offer::list_my_offers),
        Rpc::OfferSearchOffers => Row::unary(KNOWN_READ, offer::search_offers),
        Rpc::OfferUpdateOffer => Row::unary(BEHALF_WRITE, offer::update_offer),
        Rpc::OfferWithdrawOffer => Row::unary(BEHALF_WRITE, offer::withdraw_offer),

        Rpc::EvidenceCreateEvidence => Row::unary(MEMBER_WRITE, evidence::create_evidence),
        Rpc::EvidenceCorrectEvidence => Row::unary(MEMBER_WRITE, evidence::correct_evidence),
        Rpc::EvidenceWithdrawEvidence => Row::unary(MEMBER_WRITE, evidence::withdraw_evidence),
        Rpc::EvidenceGetEvidence => Row::unary(PUBLIC_READ, evidence::get_evidence),
        Rpc::EvidenceListMyEvidence => Row::unary(OWN_READ, evidence::list_my_evidence),
        Rpc::EvidenceCheckEvidence => Row::unary(MEMBER_WRITE, evidence::check_evidence),
        Rpc::EvidenceWithdrawCheck => Row::unary(MEMBER_WRITE, evidence::withdraw_check),
        Rpc::EvidenceImportEvidence => Row::both(MEMBER_WRITE, evidence::import_evidence),
        Rpc::EvidenceCreateSowing => Row::unary(MEMBER_WRITE, evidence::create_sowing),
        Rpc::EvidenceListMySowings => Row::unary(OWN_READ, evidence::list_my_sowings),
        Rpc::EvidenceCloseSowing => Row::unary(MEMBER_WRITE, evidence::close_sowing),
        Rpc::EvidenceGetAgreement => Row::unary(PUBLIC_READ, evidence::get_agreement),
        Rpc::EvidenceGetGrowerRecord => Row::unary(OWN_READ, evidence::get_grower_record),

        // who may rule, lock and close is decided for each object, in the domain's `access`
        Rpc::CurationEnterCultivar => Row::unary(DAY_BEHALF_WRITE, curation::enter_cultivar),
        Rpc::CurationCreateProposal => Row::unary(MEMBER_WRITE, curation::create_proposal),
        Rpc::CurationGetProposal => Row::unary(PUBLIC_READ, curation::get_proposal),
        Rpc::CurationListProposals => Row::unary(PUBLIC_READ, curation::list_proposals),
        Rpc::CurationListMyProposals => Row::unary(OWN_READ, curation::list_my_proposals),
        Rpc::CurationWithdrawProposal => Row::unary(MEMBER_WRITE, curation::withdraw_proposal),
        Rpc::CurationDecideProposal => Row::unary(MEMBER_WRITE, curation::decide_proposal),
        Rpc::CurationCheckName => Row::unary(PUBLIC_READ, curation::check_name),
        Rpc::CurationGetHistory => Row::unary(PUBLIC_READ, curation::get_history),
        Rpc::CurationLockRecord => Row::unary(MEMBER_WRITE, curation::lock_record),
        Rpc::CurationCreateTicket => Row::unary(MEMBER_WRITE, curation::create_ticket),
        Rpc::CurationListTickets => Row::unary(OWN_READ, curation::list_tickets),
        Rpc::CurationCloseTicket => Row::unary(MEMBER_WRITE, curation::close_ticket),

        Rpc::ExportExport => Row::replies(PUBLIC_READ, export::export),
        // how growers' evidence held up, and who is of whose group, goes out with it
        Rpc::ExportExportRegistry => Row::replies(STEWARD_READ, export::export_registry),

        Rpc::HealthV1HealthCheck => Row::standard(UNCOUNTED),
        Rpc::HealthV1HealthList => Row::standard(UNCOUNTED),
        Rpc::HealthV1HealthWatch => Row::standard(UNCOUNTED),
        Rpc::ReflectionV1ServerReflectionServerReflectionInfo => Row::standard(UNCOUNTED),
        Rpc::ReflectionV1alphaServerReflectionServerReflectionInfo => Row::standard(UNCOUNTED),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::policy::Rate;
    use scionary_proto::Effect;

    #[test]
    fn rows_stand_at_their_methods_and_are_counted_as_what_they_do() {
        for rpc in Rpc::ALL {
            let row = row(rpc);
            assert!(row.answers(rpc), "{}", rpc.path());
            let counted = match (rpc.effect(), row.rules().rate) {
                (_, Rate::Free) => !Rpc::SERVICES.contains(&rpc.service()),
                (Effect::Reads, Rate::Read | Rate::Dear) => true,
                (Effect::WritesOnce | Effect::Writes, Rate::Write | Rate::Password) => true,
                (_, _) => false,
            };
            assert!(counted, "{} is counted as something else than what it does", rpc.path());
        }
    }

    #[test]
    fn services_that_are_compressed_exist() {
        assert!(COMPRESSED.iter().all(|name| Rpc::SERVICES.contains(name)));
    }
}
