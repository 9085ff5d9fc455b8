//! Swap rounds.

pub mod arrange;
pub mod day;
pub mod show;
pub mod why;
pub mod wish;

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::JoinRoundResponse`].
pub fn join_round(view: &mut View, reply: &v1::JoinRoundResponse) {
    view.answer("You take part.");
    view.act("What others bring", Deed::RoundLots.on(&reply.round_id));
    view.act("Bring something", Deed::RoundBring.on(&reply.round_id));
    view.act("List your wishes", Deed::RoundWish.on(&reply.round_id));
}

/// Shows a [`v1::LeaveRoundResponse`].
pub fn leave_round(view: &mut View, _: &v1::LeaveRoundResponse) {
    view.answer("You take no part any more; what you brought is on offer again.");
}

/// Shows a [`v1::BringLotResponse`].
pub fn bring_lot(view: &mut View, reply: &v1::BringLotResponse) {
    let packs = words::counted(reply.units, "pack");
    let each = if reply.per_unit == 1 { String::new() } else { format!(" of {}", reply.per_unit) };
    view.answer(format!("It is lot {}: {packs}{each}, held back for the round.", reply.number));
    view.act("Withdraw it", Deed::RoundTakeBack.on_part(&reply.round_id, &reply.number.to_string()));
}

/// Shows a [`v1::TakeLeftOverResponse`].
pub fn take_left_over(view: &mut View, reply: &v1::TakeLeftOverResponse, for_other: bool) {
    if for_other {
        view.answer("It is theirs to fetch. Hand it over and tick it off.");
        return;
    }
    view.answer("It is yours to fetch.");
    view.act("How to reach its giver", Deed::ClaimShow.on(&reply.claim_id));
}
