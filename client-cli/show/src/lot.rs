//! Lots.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::CreateLotResponse`].
pub fn create_lot(view: &mut View, reply: &v1::CreateLotResponse) {
    if let Some(card) = reply.lot.as_ref().and_then(|l| l.card.as_ref()) {
        view.answer(format!("Write on its tag: {}", card.code));
        view.gap();
    }
    told(view, reply.lot.as_ref());
}

/// Shows a [`v1::ListMyLotsResponse`].
pub fn list_my_lots(view: &mut View, reply: &v1::ListMyLotsResponse) {
    if reply.lots.is_empty() {
        view.line("No lot of yours is on file. What you get from others is entered when it is handed over.");
        view.act("Enter one", Deed::LotAdd.bare());
    }
    for card in reply.lots.iter().filter_map(|l| l.card.as_ref()) {
        line(view, card);
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::LookUpLotResponse`].
pub fn look_up_lot(view: &mut View, reply: &v1::LookUpLotResponse) {
    if let Some(card) = &reply.card {
        carded(view, card);
    }
}

/// Returns a lot's name, or that it is unknown.
pub fn name(card: &v1::LotCard) -> String {
    if card.cultivar_name.is_empty() {
        format!("{} of unknown name", card.crop)
    } else {
        card.cultivar_name.clone()
    }
}

pub(crate) fn line(view: &mut View, card: &v1::LotCard) {
    let ended = if card.ended_on.is_some() { "; nothing left" } else { "" };
    let warned = if card.warnings.is_empty() { "" } else { "; AN ALERT REACHES IT" };
    view.item(
        0,
        "-",
        format!(
            "{}  {} of {}, {}{ended}{warned}",
            card.code,
            words::lot_kind(card.kind()),
            name(card),
            words::day(card.made_on)
        ),
    );
}

pub(crate) fn carded(view: &mut View, card: &v1::LotCard) {
    view.title(format!("{}  {} of {}", card.code, words::lot_kind(card.kind()), name(card)));
    view.fact("made", words::day(card.made_on));
    for origin in &card.origins {
        let known = if origin.cultivar_name.is_empty() { "of unknown name" } else { &origin.cultivar_name };
        view.fact(
            words::descent(origin.descent()),
            format!(
                "{} ({}, {known}), {}",
                origin.lot,
                words::lot_kind(origin.kind()),
                words::day(origin.day)
            ),
        );
    }
    view.fact("nothing left", words::day(card.ended_on));
    for warning in &card.warnings {
        view.gap();
        let since = warning.since.map(|day| format!(", since {}", words::day(Some(day)))).unwrap_or_default();
        let pest = if warning.pest.is_empty() { String::new() } else { format!(" ({})", warning.pest) };
        view.answer(format!(
            "An alert of {}{pest} reaches it{since} [{}].",
            words::alert_kind(warning.kind()),
            words::alert_state(warning.state())
        ));
        view.item(2, "", &warning.words);
        view.item(2, "", &warning.alert_id);
        if warning.state() == v1::AlertState::Confirmed {
            view.line(
                "Keep it apart, give none of it on, and ask the plant-health authority what is to be done.",
            );
        }
    }
}

/// Shows a lot and what its reader can do next.
pub fn told(view: &mut View, lot: Option<&v1::Lot>) {
    let Some((lot, card)) = lot.and_then(|l| Some((l, l.card.as_ref()?))) else { return };
    carded(view, card);
    view.fact("how much", &if lot.quantity == 0 { String::new() } else { lot.quantity.to_string() });
    view.fact("source", &lot.source);
    view.fact("why ended", &lot.ended_why);
    view.fact("your note", &lot.note);
    view.fact("came by claim", &lot.claim_id);
    for test in &lot.tests {
        view.fact(
            "found nothing",
            format!("{}, sampled {}, {}", test.pest, words::day(test.sampled_on), test.method),
        );
    }
    if card.ended_on.is_none() {
        view.gap();
        view.act("What it comes from", Deed::LotTrace.on(&card.code));
        view.act("Offer some of it", Deed::OfferPostFromLot.on(&card.code));
        view.act("If it is sick", Deed::AlertRaise.on(&card.code));
    }
}
