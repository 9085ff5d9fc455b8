//! Wishes.

use scionary_proto::v1;

use crate::{Deed, View, words};

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

/// Returns a wish as it was read, before it is kept: what each choice is, and how many packs.
pub fn as_read(wish: &v1::WishLine, lots: &[v1::RoundLot]) -> String {
    let choice = |accepts: &v1::WishAccepts| match &accepts.what {
        Some(v1::wish_accepts::What::Lot(name)) => {
            let plain = |text: &str| text.replace(' ', "").to_uppercase();
            let found = lots.iter().find(|l| {
                l.number.to_string() == *name
                    || (!l.code.is_empty() && plain(&l.code) == plain(name))
                    || l.round_lot_id == *name
            });
            found.map_or_else(
                || format!("lot {name}, which no one brings"),
                |l| format!("lot {}: {}, {}", l.number, l.cultivar_name, words::material(l.material())),
            )
        }
        Some(v1::wish_accepts::What::Any(any)) => {
            format!("any {}, {}", any.cultivar, words::material(any.material()))
        }
        None => "nothing".into(),
    };
    let packs = if wish.quantity > 1 { format!("{} packs of ", wish.quantity) } else { String::new() };
    format!("{packs}{}", wish.accepts.iter().map(choice).collect::<Vec<_>>().join(", or "))
}
