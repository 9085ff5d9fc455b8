//! Typed ids. An id wraps a UUID. Its text form, such as `ofr_06f8k3c1…`, has a prefix for the kind of thing
//! and the 128 bits in Crockford's base 32, lower case.

use std::{fmt, str::FromStr};

use uuid::Uuid;

const DIGITS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
const TEXT_LEN: usize = 26;

/// Why a text is not the wanted id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdError {
    /// The text is the id of another kind of thing.
    #[error("that is {found} id; {expected} id was expected")]
    OtherKind {
        /// Name of the wanted kind, with its article.
        expected: &'static str,
        /// Name of the given kind, with its article.
        found: &'static str,
    },
    /// The text is not an id.
    #[error("{expected} id looks like {prefix}_ and 26 letters and digits")]
    Malformed {
        /// Name of the wanted kind, with its article.
        expected: &'static str,
        /// Prefix of the wanted kind.
        prefix: &'static str,
    },
}

fn encode(uuid: Uuid) -> String {
    let bits = uuid.as_u128();
    (0..TEXT_LEN)
        .rev()
        .filter_map(|place| {
            let digit = usize::try_from((bits >> (place * 5)) & 31).ok()?;
            DIGITS.get(digit).map(|d| char::from(*d))
        })
        .collect()
}

fn decode(text: &str) -> Option<Uuid> {
    if text.len() != TEXT_LEN {
        return None;
    }
    let mut bits: u128 = 0;
    for (place, letter) in text.bytes().enumerate() {
        let digit = DIGITS.iter().position(|d| *d == letter.to_ascii_lowercase())?;
        if place == 0 && digit > 7 {
            return None; // 26 digits hold 130 bits, so the first digit can use only three.
        }
        bits = (bits << 5) | u128::try_from(digit).ok()?;
    }
    Some(Uuid::from_u128(bits))
}

/// Returns whether a text is the id of any kind of thing.
pub fn is_id(text: &str) -> bool {
    text.split_once('_').is_some_and(|(prefix, digits)| kind_of(prefix).is_some() && decode(digits).is_some())
}

/// What all ids have in common.
pub trait Id: FromStr<Err = IdError> {
    /// Usual name of a request field that holds such an id.
    const FIELD: &'static str;
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident = $prefix:literal, $what:literal, $field:literal;)*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
            pub struct $name(Uuid);
            impl $name {
                /// Prefix of the text form, without the underscore.
                pub const PREFIX: &'static str = $prefix;
                /// Wraps a UUID as this kind of id.
                pub const fn from_uuid(uuid: Uuid) -> Self { Self(uuid) }
                /// Returns the wrapped UUID.
                pub const fn uuid(self) -> Uuid { self.0 }
            }
            impl fmt::Display for $name {
                fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    write!(f, "{}_{}", $prefix, encode(self.0))
                }
            }
            impl fmt::Debug for $name {
                fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { fmt::Display::fmt(self, f) }
            }
            impl serde::Serialize for $name {
                fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                    serializer.collect_str(self)
                }
            }
            impl<'de> serde::Deserialize<'de> for $name {
                fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                    <String as serde::Deserialize>::deserialize(deserializer)?
                        .parse()
                        .map_err(serde::de::Error::custom)
                }
            }
            impl Id for $name {
                const FIELD: &'static str = $field;
            }
            impl FromStr for $name {
                type Err = IdError;
                fn from_str(text: &str) -> Result<Self, IdError> {
                    let malformed = IdError::Malformed { expected: $what, prefix: $prefix };
                    let Some((prefix, digits)) = text.trim().split_once('_') else { return Err(malformed) };
                    if prefix != $prefix {
                        return Err(match kind_of(prefix) {
                            Some(found) => IdError::OtherKind { expected: $what, found },
                            None => malformed,
                        });
                    }
                    decode(digits).map(Self).ok_or(malformed)
                }
            }
        )*
        fn kind_of(prefix: &str) -> Option<&'static str> {
            [$(($prefix, $what)),*].into_iter().find(|(p, _)| *p == prefix).map(|(_, what)| what)
        }
    };
}

ids! {
    /// Id of a person's account.
    AccountId = "acc", "an account", "account_id";
    /// Id of a warning on a lot.
    AlertId = "alt", "an alert", "alert_id";
    /// Id of a check of a piece of evidence.
    CheckId = "chk", "a check", "check_id";
    /// Id of a claim on an offer.
    ClaimId = "clm", "a claim", "claim_id";
    /// Id of a club.
    ClubId = "clb", "a club", "club_id";
    /// Id of a cultivar record.
    CultivarId = "cul", "a cultivar", "cultivar_id";
    /// Id of a piece of evidence.
    EvidenceId = "evd", "an evidence", "evidence_id";
    /// Id of an invitation.
    InvitationId = "inv", "an invitation", "invitation_id";
    /// Id of a lot or a mother plant.
    LotId = "lot", "a lot", "lot_id";
    /// Id of an offer.
    OfferId = "ofr", "an offer", "offer_id";
    /// Id of an entry in a grafting log.
    GraftId = "grf", "a graft", "graft_id";
    /// Id of a plan.
    PlanId = "pln", "a plan", "plan_id";
    /// Id of one call to the server.
    RequestId = "req", "a request", "request_id";
    /// Id of a proposal to change a record.
    ProposalId = "prp", "a proposal", "proposal_id";
    /// Id shared by pieces of evidence that were entered together.
    ReportId = "rep", "a report", "report_id";
    /// Id of a grant of a role.
    RoleGrantId = "rol", "a role", "role_grant_id";
    /// Id of a swap round.
    RoundId = "rnd", "a round", "round_id";
    /// Id of a lot that a member brings to a round.
    RoundLotId = "rlt", "a lot of a round", "round_lot_id";
    /// Id of a signed-in session.
    SessionId = "ses", "a session", "session_id";
    /// Id of a sowing whose sprouts will be counted.
    SowingId = "sow", "a sowing", "sowing_id";
    /// Id of a complaint about a record or a person.
    TicketId = "tkt", "a ticket", "ticket_id";
    /// Id of a want.
    WantId = "wnt", "a want", "want_id";
    /// Id of a line of a member's list in a round.
    WishId = "wsh", "a wish", "wish_id";
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn text_round_trip(bits: u128) {
            let id = OfferId::from_uuid(Uuid::from_u128(bits));
            prop_assert_eq!(id.to_string().parse::<OfferId>(), Ok(id));
        }
        #[test]
        fn never_panics(text in ".{0,40}") {
            let _ = text.parse::<OfferId>();
        }
    }

    #[test]
    fn says_what_it_got() {
        let account = AccountId::from_uuid(Uuid::from_u128(7)).to_string();
        assert_eq!(
            account.parse::<OfferId>().unwrap_err().to_string(),
            "that is an account id; an offer id was expected"
        );
        assert_eq!(
            "kent".parse::<CultivarId>().unwrap_err().to_string(),
            "a cultivar id looks like cul_ and 26 letters and digits"
        );
    }
}
