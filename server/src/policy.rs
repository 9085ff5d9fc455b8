//! The rules that rows of [`crate::methods`] are made of: who may call a method, and how its calls are counted. Rules
//! on single objects (an own offer, an own invitation) are in the domain's `access` module.

/// Who may call a method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// Everyone, signed in or not.
    Anyone,
    /// Signed-in accounts.
    Member,
    /// Stewards.
    Steward,
}

/// How calls are counted against a caller.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Rate {
    /// Health and reflection: not counted.
    Free,
    /// Reading.
    Read,
    /// Reading that takes long for what it is asked.
    Dear,
    /// Writing.
    Write,
    /// Anything that takes a password or a code.
    Password,
}

/// The rules of a method. What a call does to what is stored is in the proto (`idempotency_level`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Policy {
    /// Who may call it.
    pub who: Who,
    /// How it is counted.
    pub rate: Rate,
    /// Everyone may call it, and who is signed in sees more: a session is looked at where there is one.
    pub knows: bool,
    /// An organiser may call it for a member who agreed to it.
    pub behalf: bool,
    /// Whether it may be called where a swap day is run away from its server, beside what only reads.
    pub day: OnTheDay,
}

/// What a method is where a swap day is run away from its server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OnTheDay {
    /// It is not for there.
    No,
    /// It concerns that computer alone.
    There,
    /// A step of the day, to be brought home.
    Step,
}

const fn rules(who: Who, rate: Rate) -> Policy {
    Policy { who, rate, knows: false, behalf: false, day: OnTheDay::No }
}

/// For everyone.
pub const PUBLIC_READ: Policy = rules(Who::Anyone, Rate::Read);
/// For everyone, and dear.
pub const PUBLIC_DEAR: Policy = rules(Who::Anyone, Rate::Dear);
/// Public, and more for those who are signed in.
pub const KNOWN_READ: Policy = Policy { knows: true, ..PUBLIC_READ };
/// The same, and dear.
pub const KNOWN_DEAR: Policy = Policy { knows: true, ..PUBLIC_DEAR };
/// For members; what of it they may see is decided for each object.
pub const OWN_READ: Policy = rules(Who::Member, Rate::Read);
/// The same, and organisers for members who agreed to it.
pub const BEHALF_READ: Policy = Policy { behalf: true, ..OWN_READ };
/// For stewards.
pub const STEWARD_READ: Policy = rules(Who::Steward, Rate::Read);
/// Writing, for members; on what, is decided for each object.
pub const MEMBER_WRITE: Policy = rules(Who::Member, Rate::Write);
/// The same, and organisers for members who agreed to it.
pub const BEHALF_WRITE: Policy = Policy { behalf: true, ..MEMBER_WRITE };
/// Steps of a swap day, of members.
pub const DAY_WRITE: Policy = Policy { day: OnTheDay::Step, ..MEMBER_WRITE };
/// The same, and organisers for members who agreed to it.
pub const DAY_BEHALF_WRITE: Policy = Policy { day: OnTheDay::Step, ..BEHALF_WRITE };
/// Steps of a swap day for which something is hashed like a password.
pub const DAY_PASSWORD: Policy = Policy { day: OnTheDay::Step, ..OWN_PASSWORD };
/// Of the caller's session, or of the numbers of their lists: of the computer that it is made on.
pub const SESSION_WRITE: Policy = Policy { day: OnTheDay::There, ..MEMBER_WRITE };
/// Begins a session.
pub const SESSION_PASSWORD: Policy = Policy { day: OnTheDay::There, ..PUBLIC_PASSWORD };
/// Writing, for stewards.
pub const STEWARD_WRITE: Policy = rules(Who::Steward, Rate::Write);
/// With a password or a code, for everyone.
pub const PUBLIC_PASSWORD: Policy = rules(Who::Anyone, Rate::Password);
/// With a password or a code, or a mail that is sent, for members.
pub const OWN_PASSWORD: Policy = rules(Who::Member, Rate::Password);
/// Standard services.
pub const UNCOUNTED: Policy = rules(Who::Anyone, Rate::Free);
