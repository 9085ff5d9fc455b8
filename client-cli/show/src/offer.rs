//! Offers.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::ListMyOffersResponse`].
pub fn list_my_offers(view: &mut View, reply: &v1::ListMyOffersResponse) {
    if reply.offers.is_empty() {
        view.line("You have posted no offers.");
        view.act("Post one", Deed::OfferPost.bare());
        return;
    }
    for offer in &reply.offers {
        view.entry(&offer.offer_id, format!("{} [{}]", line(offer), words::state(offer.state())));
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::GetOfferResponse`]. `own`: the reader is its giver.
pub fn get_offer(view: &mut View, reply: &v1::GetOfferResponse, own: bool) {
    show(view, reply.offer.as_ref());
    if let Some(offer) = reply.offer.as_ref().filter(|o| o.state() == v1::OfferState::Open) {
        view.gap();
        if own {
            view.act("Change it", Deed::OfferChange.on(&offer.offer_id));
            view.act("Withdraw it", Deed::OfferWithdraw.on(&offer.offer_id));
        } else {
            view.act(&format!("Ask {} for some of it", offer.giver_name), Deed::ClaimAsk.on(&offer.offer_id));
        }
    }
}

/// Shows a [`v1::WithdrawOfferResponse`].
pub fn withdraw_offer(view: &mut View, reply: &v1::WithdrawOfferResponse) {
    view.line("Withdrawn:");
    show(view, reply.offer.as_ref());
}

/// Shows a [`v1::CreateOfferResponse`].
pub fn create_offer(view: &mut View, reply: &v1::CreateOfferResponse) {
    let Some(offer) = &reply.offer else { return };
    view.answer(format!("Posted as number {}: {}.", offer.offer_id, line(offer)));
    match (offer.material(), offer.unions.as_slice()) {
        (v1::Material::GraftedPlant, [one]) => view.item(0, "!", format!("{}.", crate::unions::pair(one))),
        (_, all) => view.fact("as rootstock", crate::unions::brief(all, |u| &u.scion, 4)),
    }
    for life in &offer.life {
        view.item(0, "!", life);
    }
    for caution in &offer.cautions {
        view.item(0, "!", caution);
    }
    view.line(&offer.movement_notice);
    view.gap();
    view.act("See it in full", Deed::OfferShow.on(&offer.offer_id));
    view.act("Change it", Deed::OfferChange.on(&offer.offer_id));
    view.act("Withdraw it", Deed::OfferWithdraw.on(&offer.offer_id));
}

/// Shows an offer before it goes out. The cultivar is shown as the draft names it.
pub fn draft(view: &mut View, draft: &v1::OfferDraft, cultivar: &str) {
    view.title("To be posted");
    let unit = words::usual_unit(draft.material());
    view.fact("what", words::goods(draft.quantity, unit, draft.material(), cultivar));
    let place = draft.place.clone().unwrap_or_default();
    let place = if place.label.is_empty() { place.grid_code } else { place.label };
    let by: Vec<String> = draft.hand_over().map(words::hand_over).collect();
    view.fact("where", format!("{place}, by {}", by.join(" or ")));
    view.fact("until", words::day(draft.available_until));
    view.fact("terms", words::terms(draft.terms()));
    let health = draft.health.clone().unwrap_or_default();
    view.fact(
        "health",
        format!(
            "disease {}; pests {}; sprayed {}",
            seen(health.symptoms(), &health.symptoms_text),
            seen(health.pests(), &health.pests_text),
            seen(health.sprayed(), &health.sprayed_text)
        ),
    );
    view.fact("note", &draft.note);
}

/// Shows a [`v1::UpdateOfferResponse`].
pub fn update_offer(view: &mut View, reply: &v1::UpdateOfferResponse) {
    view.line("Changed:");
    show(view, reply.offer.as_ref());
}

/// Shows a [`v1::SearchOffersResponse`].
pub fn search_offers(view: &mut View, reply: &v1::SearchOffersResponse, name: &str) {
    if !name.is_empty() && reply.name_taken_for.is_empty() {
        view.line(format!("No cultivar on file is near “{name}”, so no offer can be. Try another spelling, or search without a name."));
        return;
    }
    if !name.is_empty() && reply.name_taken_for.iter().all(|n| !n.eq_ignore_ascii_case(name)) {
        view.line(format!("“{name}” was taken for: {}.", reply.name_taken_for.join(", ")));
        view.gap();
    }
    if reply.offers.is_empty() {
        view.line("No open offer fits. Leave a condition away, or look further around.");
        return;
    }
    for found in &reply.offers {
        let Some(offer) = &found.offer else { continue };
        let km = found.distance_km.map(|km| format!("about {km} km, ")).unwrap_or_default();
        let coming = if offer.state() == v1::OfferState::Coming {
            format!(", from {}", words::day(offer.available_from))
        } else {
            String::new()
        };
        view.entry(&offer.offer_id, format!("{km}{}{coming}; from {}", line(offer), offer.giver_name));
        if let Some(movement) = &offer.movement {
            view.item(5, "", format!("Moving it to {}: {}", movement.to_area_code, movement.headline));
        }
    }
    view.gap();
    view.act("See one in full", Deed::OfferShow.bare());
    view.more(&reply.next_page_token);
}

/// Returns an offer in one line.
pub fn line(offer: &v1::Offer) -> String {
    let unknown = if offer.unknown_seedling { "of unknown parentage: " } else { "" };
    let place =
        offer.place.as_ref().map(|p| if p.label.is_empty() { p.grid_code.clone() } else { p.label.clone() });
    // An offer ends on the earlier of the two days.
    let until = words::day(offer.available_until);
    let until = match offer.use_by {
        Some(use_by) if words::day(Some(use_by)) <= until => format!("use by {}", words::day(Some(use_by))),
        Some(_) | None => format!("until {until}"),
    };
    let material = words::goods(offer.quantity, offer.unit(), offer.material(), &offer.cultivar_name);
    format!("{unknown}{material}, {}, {until}, {}", words::terms(offer.terms()), place.unwrap_or_default())
}

pub(crate) fn seen(answer: v1::Observed, text: &str) -> String {
    let word = words::observed(answer);
    if text.is_empty() { word } else { format!("{word}: {text}") }
}

/// Shows an offer in full.
pub fn show(view: &mut View, offer: Option<&v1::Offer>) {
    let Some(offer) = offer else { return };
    let unknown = if offer.unknown_seedling { "Unknown seedlings of " } else { "" };
    view.title(format!("{unknown}{} ({})", offer.cultivar_name, offer.crop));
    view.fact("offer", &offer.offer_id);
    view.fact("state", format!("{}, version {}", words::state(offer.state()), offer.version));
    view.fact(
        "what",
        format!("{}: {}", words::material(offer.material()), words::amount(offer.quantity, offer.unit())),
    );
    if offer.promised > 0 {
        let left = offer.quantity - offer.promised;
        view.fact("left", format!("{left}; {} promised or given", offer.promised));
    }
    if offer.auto_accept {
        view.fact("claims", "are accepted by themselves while something is left");
    }
    view.fact("terms", words::terms(offer.terms()));
    view.fact(
        "when",
        format!("{} to {}", words::day(offer.available_from), words::day(offer.available_until)),
    );
    view.fact("cut or taken", words::day(offer.taken_on));
    view.fact("kept", offer.kept_how.replace('_', " "));
    view.fact("use by", words::day(offer.use_by));
    let place = offer.place.clone().unwrap_or_default();
    let parts = [place.label, place.area_code, place.grid_code];
    view.fact("where", parts.into_iter().filter(|p| !p.is_empty()).collect::<Vec<_>>().join(", "));
    let ways: Vec<String> = offer.hand_over().map(words::hand_over).collect();
    view.fact("handed over by", ways.join(", "));
    view.fact("giver", format!("{} ({})", offer.giver_name, offer.giver_account_id));
    view.fact("note", &offer.note);
    view.fact("lot", &offer.lot_id);
    view.fact("for club", &offer.club_id);
    view.fact("entered", if offer.entered_for_giver { "by an organiser, for the giver" } else { "" });
    view.fact("protection", &offer.protection);
    view.fact("consent", &offer.holder_consent);
    if let Some(movement) = &offer.movement {
        let rules = if movement.rules.is_empty() {
            String::new()
        } else {
            format!(" [{}]", movement.rules.join(", "))
        };
        view.fact("moving it", format!("to {}: {}{rules}", movement.to_area_code, movement.headline));
    }
    if !offer.seed_headline.is_empty() {
        view.fact("its seed", &offer.seed_headline);
    }
    for life in &offer.life {
        view.item(0, "!", life);
    }
    for caution in &offer.cautions {
        view.item(0, "!", caution);
    }
    if let Some(health) = &offer.health {
        view.gap();
        view.title("The giver's statement on its health (not a certificate)");
        let grown: Vec<String> = health
            .grown_at
            .iter()
            .map(|g| {
                let place = if g.unknown { "unknown place".to_string() } else { g.area_code.clone() };
                match (g.from_month.as_str(), g.to_month.as_str()) {
                    ("", "") => place,
                    (from, "") => format!("{place} since {from}"),
                    ("", to) => format!("{place} until {to}"),
                    (from, to) => format!("{place} {from} to {to}"),
                }
            })
            .collect();
        view.fact("grown at", grown.join("; "));
        let kind = [words::form(health.form()), format!("for {}", words::purpose(health.purpose()))];
        let on =
            if health.rootstock.is_empty() { String::new() } else { format!("; on {}", health.rootstock) };
        view.fact("plant", format!("{}; {}{on}", health.botanical_name, kind.join(", ")));
        view.fact("from tree", &health.source_tree);
        view.fact("last looked", words::day(health.last_looked));
        view.fact(
            "seen",
            format!(
                "disease {}; pests {}; sprayed {}",
                seen(health.symptoms(), &health.symptoms_text),
                seen(health.pests(), &health.pests_text),
                seen(health.sprayed(), &health.sprayed_text)
            ),
        );
        for t in &health.treatments {
            let by = if t.official { "official" } else { "not official" };
            let active = if t.active_ingredient.is_empty() {
                String::new()
            } else {
                format!(" with {}", t.active_ingredient)
            };
            view.fact("treatment", format!("{} {}{active} ({by})", words::day(t.date), t.treatment));
        }
        for t in &health.tests {
            view.fact(
                "test",
                format!(
                    "{}: {} ({}, {} {} {})",
                    t.pest,
                    t.result,
                    t.laboratory,
                    t.method,
                    words::day(t.sample_date),
                    t.report_number
                ),
            );
        }
        for d in &health.documents {
            view.fact(
                "paper",
                format!(
                    "{} {} by {}, valid to {}",
                    d.document_kind,
                    d.number,
                    d.issuer,
                    words::day(d.valid_to)
                ),
            );
        }
        view.fact("note", &health.note);
    }
    view.gap();
    view.line(&offer.movement_notice);
}
