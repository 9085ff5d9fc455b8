//! Who may call what: one row for each method, one exhaustive match. A method without a row does not
//! compile. Rules on single objects (an own offer, an own invitation) are in the domain's `access` module.

use scionary_proto::Rpc;

/// Who may call a method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Everybody, signed in or not.
    Anyone,
    /// Signed-in accounts.
    Member,
    /// Stewards.
    Steward,
}

/// What a method does to the database.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Nothing.
    Reads,
    /// It writes, and a repeat with the same idempotency key gets the first reply.
    Writes,
    /// It writes, and a repeat is a new act or changes nothing: no key is asked for.
    WritesFreely,
}

/// How calls are counted against a caller.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Rate {
    /// Health and reflection: not counted.
    Free,
    /// Reading.
    Read,
    /// Writing.
    Write,
    /// Anything that takes a password or a code.
    Password,
}

/// One row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Policy {
    /// Who may call it.
    pub who: Who,
    /// What it does.
    pub effect: Effect,
    /// How it is counted.
    pub rate: Rate,
    /// It is a stream: no deadline for the whole.
    pub stream: bool,
    /// Everybody may call it, and who is signed in sees more: a session is looked at where there is one.
    pub knows: bool,
    /// An organiser may call it for a member who agreed to it.
    pub behalf: bool,
}

const fn row(who: Who, effect: Effect, rate: Rate) -> Policy {
    Policy { who, effect, rate, stream: false, knows: false, behalf: false }
}

const PUBLIC_READ: Policy = row(Who::Anyone, Effect::Reads, Rate::Read);
const OWN_READ: Policy = row(Who::Member, Effect::Reads, Rate::Read);
const MEMBER_WRITE: Policy = row(Who::Member, Effect::Writes, Rate::Write);
const STEWARD_WRITE: Policy = row(Who::Steward, Effect::Writes, Rate::Write);
const UNCOUNTED: Policy = row(Who::Anyone, Effect::Reads, Rate::Free);
const STREAM: Policy = Policy { stream: true, ..UNCOUNTED };
/// Many rows in, progress out: repeated rows change nothing, so no key is asked for.
const IMPORT: Policy = Policy { stream: true, ..row(Who::Member, Effect::WritesFreely, Rate::Write) };
/// A file in chunks.
const DOWNLOAD: Policy = Policy { stream: true, ..PUBLIC_READ };

/// What comes in its time, for members.
const MEMBER_STREAM: Policy = Policy { stream: true, ..OWN_READ };

/// Public, and more for those who are signed in.
const KNOWN_READ: Policy = Policy { knows: true, ..PUBLIC_READ };
/// What organisers may do for members who agreed to it.
const BEHALF_READ: Policy = Policy { behalf: true, ..OWN_READ };
/// The same, writing.
const BEHALF_WRITE: Policy = Policy { behalf: true, ..MEMBER_WRITE };

/// The row of a method.
pub const fn policy(rpc: Rpc) -> Policy {
    match rpc {
        Rpc::ServerGetServer => PUBLIC_READ,

        Rpc::AccountSignUp => row(Who::Anyone, Effect::Writes, Rate::Password),
        Rpc::AccountSignIn => row(Who::Anyone, Effect::WritesFreely, Rate::Password),
        Rpc::AccountSignOut => row(Who::Member, Effect::WritesFreely, Rate::Write),
        Rpc::AccountSignOutEverywhere => row(Who::Member, Effect::WritesFreely, Rate::Write),
        Rpc::AccountChangePassword => row(Who::Member, Effect::Writes, Rate::Password),
        Rpc::AccountWhoAmI => OWN_READ,
        Rpc::AccountCreateInvitation => MEMBER_WRITE,
        Rpc::AccountListInvitations => OWN_READ,
        Rpc::AccountRevokeInvitation => MEMBER_WRITE,
        Rpc::AccountGrantRole => STEWARD_WRITE,
        Rpc::AccountRevokeRole => STEWARD_WRITE,

        Rpc::AccountVouchFor => MEMBER_WRITE,
        Rpc::AccountWithdrawVouching => MEMBER_WRITE,
        Rpc::AccountSuspendAccount => STEWARD_WRITE,
        Rpc::AccountRestoreAccount => STEWARD_WRITE,
        Rpc::AccountBlockMember => MEMBER_WRITE,
        Rpc::AccountUnblockMember => MEMBER_WRITE,
        Rpc::AccountListBlocked => OWN_READ,

        Rpc::CropListCrops => PUBLIC_READ,
        Rpc::CropGetCrop => PUBLIC_READ,

        Rpc::CultivarLookUpSeed => PUBLIC_READ,
        Rpc::CultivarSearchCultivars => PUBLIC_READ,
        Rpc::CultivarListCultivars => PUBLIC_READ,
        Rpc::CultivarGetCultivar => PUBLIC_READ,
        Rpc::CultivarListEvidence => PUBLIC_READ,

        Rpc::CultivarGetProtection => PUBLIC_READ,
        // curators of the crop: see the domain's `access`
        Rpc::CultivarSetProtection => MEMBER_WRITE,

        Rpc::PlanEstimateSeedOdds => PUBLIC_READ,
        Rpc::PlanCompareRoutes => PUBLIC_READ,
        Rpc::PlanShowSeasons => PUBLIC_READ,
        Rpc::PlanDraftPlan => PUBLIC_READ,
        Rpc::PlanKeepPlan => MEMBER_WRITE,
        Rpc::PlanGetPlan => OWN_READ,
        Rpc::PlanListMyPlans => OWN_READ,
        Rpc::PlanChangePlan => MEMBER_WRITE,
        Rpc::PlanChangeStep => MEMBER_WRITE,
        Rpc::PlanAddStep => MEMBER_WRITE,
        Rpc::PlanRemoveStep => MEMBER_WRITE,
        Rpc::PlanDropPlan => MEMBER_WRITE,
        Rpc::PlanExportCalendar => OWN_READ,

        Rpc::GraftLogGrafts => MEMBER_WRITE,
        Rpc::GraftReportTakes => MEMBER_WRITE,
        Rpc::GraftListMyGrafts => OWN_READ,
        Rpc::GraftRemoveGrafts => MEMBER_WRITE,
        Rpc::GraftGetGraftRates => PUBLIC_READ,

        Rpc::ClaimAskForOffer => BEHALF_WRITE,
        Rpc::ClaimAcceptClaim => BEHALF_WRITE,
        Rpc::ClaimDeclineClaim => BEHALF_WRITE,
        Rpc::ClaimWithdrawClaim => BEHALF_WRITE,
        Rpc::ClaimConfirmHandOver => BEHALF_WRITE,
        Rpc::ClaimNoteMissed => BEHALF_WRITE,
        Rpc::ClaimGetClaim => BEHALF_READ,
        Rpc::ClaimListMyClaims => BEHALF_READ,
        // the club's organisers
        Rpc::ClaimListClubClaims => OWN_READ,
        // organisers and stewards: see the domain's `access`
        Rpc::ClaimListMissed => OWN_READ,

        Rpc::LotRecordLot => BEHALF_WRITE,
        Rpc::LotNoteDescent => BEHALF_WRITE,
        Rpc::LotEndLot => BEHALF_WRITE,
        Rpc::LotRecordTest => BEHALF_WRITE,
        Rpc::LotGetLot => BEHALF_READ,
        Rpc::LotListMyLots => BEHALF_READ,
        Rpc::LotLookUpLot => PUBLIC_READ,
        // holders, and who minds alerts: see the domain's `access`
        Rpc::LotTraceLot => OWN_READ,

        // who may rule on an alert is decided for each, in the domain's `access`
        Rpc::AlertRaiseAlert => MEMBER_WRITE,
        Rpc::AlertConfirmAlert => MEMBER_WRITE,
        Rpc::AlertDismissAlert => MEMBER_WRITE,
        Rpc::AlertLiftAlert => MEMBER_WRITE,
        Rpc::AlertWithdrawAlert => MEMBER_WRITE,
        Rpc::AlertGetAlert => OWN_READ,
        Rpc::AlertListAlerts => OWN_READ,
        Rpc::AlertRecallAlert => MEMBER_STREAM,

        Rpc::NoticeListNotices => BEHALF_READ,
        Rpc::NoticeMarkNoticesRead => MEMBER_WRITE,
        Rpc::NoticeWatchNotices => MEMBER_STREAM,
        // each of them sends mail, or takes a code
        Rpc::NoticeSetMailAddress => row(Who::Member, Effect::Writes, Rate::Password),
        Rpc::NoticeConfirmMailAddress => row(Who::Member, Effect::Writes, Rate::Password),
        Rpc::NoticeRemoveMailAddress => MEMBER_WRITE,
        Rpc::NoticeGetMailAddress => OWN_READ,

        // who arranges a club and who belongs to it is decided for each, in the domain's `access`
        Rpc::ClubCreateClub => MEMBER_WRITE,
        Rpc::ClubUpdateClub => MEMBER_WRITE,
        Rpc::ClubGetClub => KNOWN_READ,
        Rpc::ClubListClubs => KNOWN_READ,
        Rpc::ClubListMyClubs => OWN_READ,
        Rpc::ClubListClubMembers => OWN_READ,
        Rpc::ClubInviteToClub => MEMBER_WRITE,
        Rpc::ClubAnswerClubInvitation => MEMBER_WRITE,
        Rpc::ClubAskToJoinClub => MEMBER_WRITE,
        Rpc::ClubAnswerClubRequest => MEMBER_WRITE,
        Rpc::ClubSetClubOrganiser => MEMBER_WRITE,
        Rpc::ClubRemoveClubMember => MEMBER_WRITE,
        Rpc::ClubLeaveClub => MEMBER_WRITE,
        Rpc::ClubEnterHelpedMember => MEMBER_WRITE,
        Rpc::ClubAllowHelp => MEMBER_WRITE,
        Rpc::ClubExportClub => MEMBER_STREAM,
        Rpc::ClubCloseClub => MEMBER_WRITE,

        // who belongs to the club and who arranges it is decided for each, in the domain's `access`
        Rpc::RoundCreateRound => MEMBER_WRITE,
        Rpc::RoundUpdateRound => MEMBER_WRITE,
        Rpc::RoundGetRound => BEHALF_READ,
        Rpc::RoundListRounds => BEHALF_READ,
        Rpc::RoundCallOffRound => MEMBER_WRITE,
        Rpc::RoundJoinRound => BEHALF_WRITE,
        Rpc::RoundLeaveRound => BEHALF_WRITE,
        Rpc::RoundBringLot => BEHALF_WRITE,
        Rpc::RoundTakeBackLot => BEHALF_WRITE,
        Rpc::RoundListRoundLots => BEHALF_READ,
        Rpc::RoundSetWishes => BEHALF_WRITE,
        Rpc::RoundGetMyRound => BEHALF_READ,
        Rpc::RoundNoteAdvice => MEMBER_WRITE,
        Rpc::RoundPreviewRound => OWN_READ,
        Rpc::RoundSealRound => MEMBER_WRITE,
        Rpc::RoundReopenRound => MEMBER_WRITE,
        // settled twice it is the same: no key is asked for
        Rpc::RoundSettleRound => IMPORT,
        Rpc::RoundExportRoundAudit => MEMBER_STREAM,
        Rpc::RoundStartHandOver => MEMBER_WRITE,
        Rpc::RoundCheckInLot => MEMBER_WRITE,
        Rpc::RoundSetPresence => MEMBER_WRITE,
        Rpc::RoundListRoundMembers => OWN_READ,
        Rpc::RoundListRoundShares => OWN_READ,
        Rpc::RoundHandOverShare => MEMBER_WRITE,
        Rpc::RoundTakeLeftOver => BEHALF_WRITE,
        Rpc::RoundCloseRound => MEMBER_WRITE,

        Rpc::WantMakeWant => BEHALF_WRITE,
        Rpc::WantWithdrawWant => BEHALF_WRITE,
        Rpc::WantListMyWants => BEHALF_READ,
        Rpc::WantSearchWants => PUBLIC_READ,

        Rpc::MovementCheckMovement => KNOWN_READ,
        Rpc::MovementListMovementRules => PUBLIC_READ,
        // four eyes: see the domain's `access`
        Rpc::MovementProposeMovementRules => STEWARD_WRITE,
        Rpc::MovementPublishMovementRules => STEWARD_WRITE,
        Rpc::MovementWithdrawMovementRules => STEWARD_WRITE,
        Rpc::MovementListMovementReleases => row(Who::Steward, Effect::Reads, Rate::Read),

        Rpc::OfferCreateOffer => BEHALF_WRITE,
        Rpc::OfferGetOffer => KNOWN_READ,
        Rpc::OfferListMyOffers => BEHALF_READ,
        Rpc::OfferSearchOffers => KNOWN_READ,
        Rpc::OfferUpdateOffer => BEHALF_WRITE,
        Rpc::OfferWithdrawOffer => BEHALF_WRITE,

        Rpc::EvidenceAddEvidence => MEMBER_WRITE,
        Rpc::EvidenceCorrectEvidence => MEMBER_WRITE,
        Rpc::EvidenceWithdrawEvidence => MEMBER_WRITE,
        Rpc::EvidenceGetEvidence => PUBLIC_READ,
        Rpc::EvidenceListMyEvidence => OWN_READ,
        Rpc::EvidenceCheckEvidence => MEMBER_WRITE,
        Rpc::EvidenceWithdrawCheck => MEMBER_WRITE,
        Rpc::EvidenceImportEvidence => IMPORT,
        Rpc::EvidenceRecordSowing => MEMBER_WRITE,
        Rpc::EvidenceListMySowings => OWN_READ,
        Rpc::EvidenceCloseSowing => MEMBER_WRITE,
        Rpc::EvidenceGetAgreement => PUBLIC_READ,
        Rpc::EvidenceGetGrowerRecord => OWN_READ,

        // who may rule, lock and close is decided for each object, in the domain's `access`
        Rpc::CurationProposeChange => MEMBER_WRITE,
        Rpc::CurationGetProposal => PUBLIC_READ,
        Rpc::CurationListProposals => PUBLIC_READ,
        Rpc::CurationListMyProposals => OWN_READ,
        Rpc::CurationWithdrawProposal => MEMBER_WRITE,
        Rpc::CurationRuleOnProposal => MEMBER_WRITE,
        Rpc::CurationCheckName => PUBLIC_READ,
        Rpc::CurationGetHistory => PUBLIC_READ,
        Rpc::CurationLockRecord => MEMBER_WRITE,
        Rpc::CurationFileTicket => MEMBER_WRITE,
        Rpc::CurationListTickets => OWN_READ,
        Rpc::CurationCloseTicket => MEMBER_WRITE,

        Rpc::ExportExport => DOWNLOAD,
        // how growers' evidence held up, and who is of whose group, goes out with it
        Rpc::ExportExportRegistry => Policy { who: Who::Steward, ..DOWNLOAD },

        Rpc::HealthV1HealthCheck => UNCOUNTED,
        Rpc::HealthV1HealthList => UNCOUNTED,
        Rpc::HealthV1HealthWatch => STREAM,
        Rpc::ReflectionV1ServerReflectionServerReflectionInfo => STREAM,
        Rpc::ReflectionV1alphaServerReflectionServerReflectionInfo => STREAM,
    }
}
