//! Typed ids. An id is a UUID inside; its text form says what it is the id of, such as
//! `ofr_06f8k3c1…`: a prefix and the 128 bits in Crockford's base 32, lower case.

use std::{fmt, str::FromStr};

use uuid::Uuid;

const DIGITS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
const TEXT_LEN: usize = 26;

/// Why a text is not the id that was asked for.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdError {
    /// It is the id of something else.
    #[error("that is {found} id; {expected} id was expected")]
    OtherKind {
        /// What was asked for, with its article.
        expected: &'static str,
        /// What was given, with its article.
        found: &'static str,
    },
    /// It is no id at all.
    #[error("{expected} id looks like {prefix}_ and 26 letters and digits")]
    Malformed {
        /// What was asked for, with its article.
        expected: &'static str,
        /// Its prefix.
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
            return None; // 26 digits hold 130 bits: the first may use three only
        }
        bits = (bits << 5) | u128::try_from(digit).ok()?;
    }
    Some(Uuid::from_u128(bits))
}

/// What ids have in common.
pub trait Id: FromStr<Err = IdError> {
    /// What a field that holds one is usually called.
    const FIELD: &'static str;
}

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident = $prefix:literal, $what:literal, $field:literal;)*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
            pub struct $name(Uuid);
            impl $name {
                /// The prefix of the text form.
                pub const PREFIX: &'static str = $prefix;
                /// Takes a UUID for this kind of id.
                pub const fn from_uuid(uuid: Uuid) -> Self { Self(uuid) }
                /// The UUID inside.
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
    /// A person's account.
    AccountId = "acc", "an account", "account_id";
    /// A warning on a lot.
    AlertId = "alt", "an alert", "alert_id";
    /// A check of a piece of evidence.
    CheckId = "chk", "a check", "check_id";
    /// A claim on an offer.
    ClaimId = "clm", "a claim", "claim_id";
    /// A club.
    ClubId = "clb", "a club", "club_id";
    /// A cultivar record.
    CultivarId = "cul", "a cultivar", "cultivar_id";
    /// A piece of evidence.
    EvidenceId = "evd", "an evidence", "evidence_id";
    /// An invitation.
    InvitationId = "inv", "an invitation", "invitation_id";
    /// A lot or a mother plant.
    LotId = "lot", "a lot", "lot_id";
    /// An offer.
    OfferId = "ofr", "an offer", "offer_id";
    /// Grafts made on one day.
    GraftId = "grf", "a graft", "graft_id";
    /// A plan.
    PlanId = "pln", "a plan", "plan_id";
    /// One call to the server.
    RequestId = "req", "a request", "request_id";
    /// A proposal to change a record.
    ProposalId = "prp", "a proposal", "proposal_id";
    /// Pieces of evidence entered together.
    ReportId = "rep", "a report", "report_id";
    /// A grant of a role.
    RoleGrantId = "rol", "a role", "role_grant_id";
    /// A swap round.
    RoundId = "rnd", "a round", "round_id";
    /// What somebody brings to a round.
    RoundLotId = "rlt", "a lot of a round", "round_lot_id";
    /// A signed-in session.
    SessionId = "ses", "a session", "session_id";
    /// A sowing whose sprouts will be counted.
    SowingId = "sow", "a sowing", "sowing_id";
    /// A complaint about a record or a person.
    TicketId = "tkt", "a ticket", "ticket_id";
    /// Something that is sought.
    WantId = "wnt", "a want", "want_id";
    /// A line of a member's list in a round.
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
