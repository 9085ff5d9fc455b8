//! Claims.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::ListMyClaimsResponse`].
pub fn list_my_claims(view: &mut View, reply: &v1::ListMyClaimsResponse) {
    if reply.claims.is_empty() {
        view.line("No claim is open.");
        view.act("Find something", Deed::OfferSearch.bare());
        view.act("See closed claims too", Deed::ClaimListAll.bare());
    }
    for claim in &reply.claims {
        line(view, claim);
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListMissedResponse`].
pub fn list_missed(view: &mut View, reply: &v1::ListMissedResponse) {
    if reply.claims.is_empty() {
        view.line("No hand-over was reported as missed.");
    }
    for claim in &reply.claims {
        line(view, claim);
        view.item(2, &format!("{}:", claim.giver_name), &claim.missed);
        view.item(2, &format!("{}:", claim.taker_name), &claim.taker_missed);
    }
    view.more(&reply.next_page_token);
}

pub(crate) fn state(claim: &v1::Claim) -> String {
    let word = words::claim_state(claim.state());
    match (claim.state(), claim.given, claim.taken) {
        (v1::ClaimState::Accepted, true, false) => format!("{word}; the giver says it was handed over"),
        (v1::ClaimState::Accepted, false, true) => format!("{word}; the taker says it was handed over"),
        (_, _, _) => word,
    }
}

/// Returns what a claim is for: amount, cultivar and material.
pub fn what(claim: &v1::Claim) -> String {
    words::goods(claim.quantity, claim.unit(), claim.material(), &claim.cultivar_name)
}

pub(crate) fn line(view: &mut View, claim: &v1::Claim) {
    let other = match claim.side() {
        v1::ClaimSide::Giver => format!("for {}", claim.taker_name),
        v1::ClaimSide::Taker => format!("from {}", claim.giver_name),
        v1::ClaimSide::Unspecified => format!("from {} for {}", claim.giver_name, claim.taker_name),
    };
    view.entry(&claim.claim_id, format!("{} {other} [{}]", what(claim), state(claim)));
}

/// Shows a claim and what its reader can do next.
pub fn told(view: &mut View, claim: Option<&v1::Claim>) {
    let Some(claim) = claim else { return };
    view.title(what(claim));
    view.fact("claim", &claim.claim_id);
    view.fact("state", state(claim));
    view.fact("giver", &claim.giver_name);
    view.fact("taker", format!("{}, to {}", claim.taker_name, claim.to_area_code));
    view.fact("their number", &claim.other_account_id);
    view.fact("entered", if claim.entered_for_taker { "by an organiser, for the taker" } else { "" });
    view.fact("reach them", &claim.contact);
    view.fact("taker says", &claim.note);
    view.fact("giver says", &claim.answer);
    view.fact("lapses", words::day_of(claim.lapses_at.as_ref()));
    view.fact("what you noted", &claim.missed);
    view.fact("offer", format!("{}, {} left", claim.offer_id, claim.left));
    if let Some(movement) = &claim.movement {
        view.gap();
        let rules = if movement.rules.is_empty() {
            String::new()
        } else {
            format!(" [{}]", movement.rules.join(", "))
        };
        view.answer(format!("Moving it: {}{rules}.", movement.headline));
        view.line(format!(
            "Looked at on {}. This is what is on file, not a decision: the authority decides.",
            words::day(movement.on)
        ));
    }
    view.gap();
    let id = &claim.claim_id;
    match (claim.side(), claim.state()) {
        (v1::ClaimSide::Giver, v1::ClaimState::Waiting) => {
            view.act("Promise it", Deed::ClaimAccept.on(id));
            view.act("Decline", Deed::ClaimDecline.on(id));
        }
        (v1::ClaimSide::Taker, v1::ClaimState::Waiting) => {
            view.note("It waits for its giver.");
            view.act("Withdraw it", Deed::ClaimWithdraw.on(id));
        }
        (_, v1::ClaimState::Accepted) => {
            view.note("Agree on when and where.");
            view.act("When it has changed hands", Deed::ClaimHandedOver.on(id));
        }
        (_, v1::ClaimState::HandedOver) => {
            view.note("Keep its name and label with it.");
            view.act(
                "Plan what comes next",
                Deed::PlanKeep.on_part(&claim.cultivar_name, way_from(claim.material())),
            );
            view.act("Report what came up", Deed::EvidenceAdd.on(&claim.cultivar_name));
        }
        (_, _) => {}
    }
}

/// Returns the way to a tree that begins with a material.
fn way_from(material: v1::Material) -> &'static str {
    match material {
        v1::Material::Seed | v1::Material::FruitForSeed | v1::Material::Seedling => "seed",
        v1::Material::Cutting | v1::Material::RootedPlant => "cutting",
        v1::Material::GraftedPlant => "grafted-tree",
        v1::Material::Unspecified
        | v1::Material::ScionWood
        | v1::Material::Budwood
        | v1::Material::Rootstock => "own-rootstock",
    }
}
