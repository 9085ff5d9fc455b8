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
}

const fn row(who: Who, effect: Effect, rate: Rate) -> Policy {
    Policy { who, effect, rate, stream: false }
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

        Rpc::ClaimAskForOffer => MEMBER_WRITE,
        Rpc::ClaimAcceptClaim => MEMBER_WRITE,
        Rpc::ClaimDeclineClaim => MEMBER_WRITE,
        Rpc::ClaimWithdrawClaim => MEMBER_WRITE,
        Rpc::ClaimConfirmHandOver => MEMBER_WRITE,
        Rpc::ClaimNoteMissed => MEMBER_WRITE,
        Rpc::ClaimGetClaim => OWN_READ,
        Rpc::ClaimListMyClaims => OWN_READ,
        // organisers and stewards: see the domain's `access`
        Rpc::ClaimListMissed => OWN_READ,

        Rpc::MovementCheckMovement => PUBLIC_READ,
        Rpc::MovementListMovementRules => PUBLIC_READ,

        Rpc::OfferCreateOffer => MEMBER_WRITE,
        Rpc::OfferGetOffer => PUBLIC_READ,
        Rpc::OfferListMyOffers => OWN_READ,
        Rpc::OfferSearchOffers => PUBLIC_READ,
        Rpc::OfferUpdateOffer => MEMBER_WRITE,
        Rpc::OfferWithdrawOffer => MEMBER_WRITE,

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
