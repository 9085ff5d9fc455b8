//! Methods as values and as types: what there is to call, what each does, and which request asks for which.

use prost::Message;

include!(concat!(env!("OUT_DIR"), "/rpc.rs"));

/// How many messages a call has in each direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One request, one reply.
    Unary,
    /// One request, replies one by one.
    Replies,
    /// Requests one by one, replies one by one.
    Both,
}

/// What a call does to what is stored, from `idempotency_level` in the proto.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Nothing (`NO_SIDE_EFFECTS`): it may be repeated as it is.
    Reads,
    /// It changes something (`IDEMPOTENT`), and carries an idempotency key: a repeat under the same key changes
    /// nothing and gets the first reply.
    WritesOnce,
    /// It may change something, and a repeat is a new act or changes nothing: it carries no key.
    Writes,
}

/// What is known of a method beside its types.
struct Facts {
    path: &'static str,
    service: &'static str,
    name: &'static str,
    kind: Kind,
    effect: Effect,
}

impl Rpc {
    fn facts(self) -> &'static Facts {
        // `FACTS` is written beside the enum, a row for each variant in the same order
        &FACTS[self as usize]
    }
    /// The HTTP path, such as `/scionary.v1.OfferService/GetOffer`.
    pub fn path(self) -> &'static str {
        self.facts().path
    }
    /// The service's full name, such as `scionary.v1.OfferService`.
    pub fn service(self) -> &'static str {
        self.facts().service
    }
    /// The method's own name, such as `GetOffer`.
    pub fn name(self) -> &'static str {
        self.facts().name
    }
    /// How many messages a call has in each direction.
    pub fn kind(self) -> Kind {
        self.facts().kind
    }
    /// What a call does to what is stored.
    pub fn effect(self) -> Effect {
        self.facts().effect
    }
}

/// A request: its type says which method it asks for, and what comes back.
pub trait Method: Message + Default + Clone + 'static {
    /// What the method answers with.
    type Reply: Message + Default + 'static;
    /// The method.
    const RPC: Rpc;
    /// The request with its secret fields (`debug_redact` in the proto) emptied: an idempotency key is bound to
    /// this, so that no quick hash of a password is stored.
    #[must_use]
    fn without_secrets(&self) -> Self {
        self.clone()
    }
}
/// The request of a method of [`Kind::Unary`].
pub trait Unary: Method {}
/// The request of a method of [`Kind::Replies`].
pub trait Replies: Method {}
/// The request of a method of [`Kind::Both`].
pub trait Both: Method {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::v1;

    #[test]
    fn facts_are_those_of_their_method() {
        for rpc in Rpc::ALL {
            assert_eq!(Rpc::from_path(rpc.path()), Some(rpc));
            assert_eq!(rpc.path(), format!("/{}/{}", rpc.service(), rpc.name()));
        }
        assert_eq!(Rpc::from_path("/scionary.v1.OfferService/Nothing"), None);
        assert_eq!(Rpc::SERVICES.len(), 19);
    }

    #[test]
    fn effects_and_kinds_are_read_from_the_proto() {
        assert_eq!((Rpc::OfferGetOffer.effect(), Rpc::OfferGetOffer.kind()), (Effect::Reads, Kind::Unary));
        assert_eq!(Rpc::OfferCreateOffer.effect(), Effect::WritesOnce);
        assert_eq!(Rpc::AccountSignIn.effect(), Effect::Writes);
        assert_eq!(Rpc::NoticeWatchNotices.kind(), Kind::Replies);
        assert_eq!(Rpc::EvidenceImportEvidence.kind(), Kind::Both);
    }

    #[test]
    fn secrets_are_left_out_and_nothing_else() {
        let request = v1::SignUpRequest {
            handle: "fern".into(),
            display_name: "Fern".into(),
            password: "hidden".into(),
            code: "hidden".into(),
        };
        let bare =
            v1::SignUpRequest { handle: "fern".into(), display_name: "Fern".into(), ..Default::default() };
        assert!(request.without_secrets() == bare);
        let offer = v1::GetOfferRequest { offer_id: "ofr".into(), ..Default::default() };
        assert_eq!(offer.without_secrets(), offer);
    }
}
