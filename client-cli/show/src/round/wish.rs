//! Wishes.

use scionary_proto::v1;

use crate::{Deed, View};

/// Shows a [`v1::SetWishesResponse`].
pub fn set_wishes(
    view: &mut View,
    reply: &v1::SetWishesResponse,
    mine: &v1::GetMyRoundResponse,
    count: usize,
) {
    let count = if count == 1 { "one wish".to_string() } else { format!("{count} wishes") };
    view.answer(format!("Your list has {count}. No one else sees it."));
    for wish in &mine.wishes {
        let packs = if wish.quantity == 1 { String::new() } else { format!("{} of ", wish.quantity) };
        view.item(0, &format!("{:>3}.", wish.rank), format!("{packs}{}", wish.accepts.join(", or ")));
    }
    view.act("See your part", Deed::RoundMine.on(&reply.round_id));
}
