//! Notices on the wire.

use scionary_domain::notice::{Kind, Notice};
use scionary_proto::v1;

use super::timestamp;

/// A notice.
pub fn notice(notice: &Notice) -> v1::Notice {
    let Notice { seq, kind, subject, words, at, read_at } = notice;
    v1::Notice {
        number: *seq,
        kind: match kind {
            Kind::WantMet => v1::NoticeKind::WantMet,
            Kind::ClaimAsked => v1::NoticeKind::ClaimAsked,
            Kind::ClaimAccepted => v1::NoticeKind::ClaimAccepted,
            Kind::ClaimEnded => v1::NoticeKind::ClaimEnded,
            Kind::ClaimHandedOver => v1::NoticeKind::ClaimHandedOver,
            Kind::ClaimStricter => v1::NoticeKind::ClaimStricter,
            Kind::Alert => v1::NoticeKind::Alert,
            Kind::Club => v1::NoticeKind::Club,
            Kind::ClubInvited => v1::NoticeKind::ClubInvited,
            Kind::ClubAsked => v1::NoticeKind::ClubAsked,
            Kind::Round => v1::NoticeKind::Round,
            Kind::RoundSettled => v1::NoticeKind::RoundSettled,
        }
        .into(),
        subject_id: subject.clone(),
        words: words.clone(),
        at: Some(timestamp(*at)),
        read: read_at.is_some(),
    }
}
