//! Claims on the wire.

use scionary_app::{
    App, Error,
    claims::{
        AcceptClaim, AskForOffer, ConfirmHandOver, DeclineClaim, NoteMissed, ShownClaim, WithdrawClaim,
    },
};
use scionary_domain::{
    claim::{Asked, Claim, Shown, Side, State},
    field::FieldError,
    ids::AccountId,
};
use scionary_proto::v1;
use scionary_store::claim_store::Role;

use super::{
    date,
    movement::verdict,
    offer::{write_material, write_unit},
    timestamp,
};

/// A request to ask for part of an offer.
///
/// # Errors
/// Values that cannot be read.
pub fn ask(request: v1::CreateClaimRequest) -> Result<AskForOffer, Error> {
    let v1::CreateClaimRequest { offer_id, quantity, to_area_code, note, contact } = request;
    let asked = Asked { quantity, to: to_area_code, note, contact };
    Ok(AskForOffer { offer: App::id(&offer_id)?, asked })
}

/// A request to accept.
///
/// # Errors
/// What was expected.
pub fn accept(request: v1::AcceptClaimRequest) -> Result<AcceptClaim, Error> {
    let v1::AcceptClaimRequest { claim_id, contact, note } = request;
    Ok(AcceptClaim { id: App::id(&claim_id)?, contact, note })
}

/// A request to decline.
///
/// # Errors
/// What was expected.
pub fn decline(request: v1::DeclineClaimRequest) -> Result<DeclineClaim, Error> {
    Ok(DeclineClaim { id: App::id(&request.claim_id)?, reason: request.reason })
}

/// A request to take back.
///
/// # Errors
/// What was expected.
pub fn withdraw(request: &v1::WithdrawClaimRequest) -> Result<WithdrawClaim, Error> {
    Ok(WithdrawClaim { id: App::id(&request.claim_id)? })
}

/// A confirmation.
///
/// # Errors
/// What was expected.
pub fn confirm(request: &v1::ConfirmHandOverRequest) -> Result<ConfirmHandOver, Error> {
    Ok(ConfirmHandOver { id: App::id(&request.claim_id)?, for_both: false })
}

/// Words on what was missed.
///
/// # Errors
/// What was expected.
pub fn missed(request: v1::NoteMissedRequest) -> Result<NoteMissed, Error> {
    Ok(NoteMissed { id: App::id(&request.claim_id)?, words: request.words })
}

/// The side asked for.
///
/// # Errors
/// A value that this server does not know.
pub fn role(side: i32) -> Result<Role, Error> {
    match v1::ClaimSide::try_from(side) {
        Ok(v1::ClaimSide::Unspecified) => Ok(Role::Either),
        Ok(v1::ClaimSide::Giver) => Ok(Role::Giver),
        Ok(v1::ClaimSide::Taker) => Ok(Role::Taker),
        Err(_) => Err(FieldError::new("side", "giver or taker expected").into()),
    }
}

fn shown(shown: &Shown) -> v1::MovementShown {
    v1::MovementShown {
        verdict: verdict(shown.verdict),
        headline: shown.headline.clone(),
        rules: shown.rules.clone(),
        on: Some(date(shown.on)),
    }
}

/// Where a claim stands.
pub fn write_state(state: State) -> i32 {
    match state {
        State::Waiting => v1::ClaimState::Waiting,
        State::Accepted => v1::ClaimState::Accepted,
        State::HandedOver => v1::ClaimState::HandedOver,
        State::Declined => v1::ClaimState::Declined,
        State::Withdrawn => v1::ClaimState::Withdrawn,
        State::Lapsed => v1::ClaimState::Lapsed,
    }
    .into()
}

/// A claim as someone sees it: contacts and words on what was missed are told to whom they are for.
pub fn claim(found: &ShownClaim, seen_by: AccountId) -> v1::Claim {
    let ShownClaim { claim, cultivar_name, material, unit, left, giver_name, taker_name } = found;
    let side = claim.side(seen_by);
    let (missed, taker_missed) = match side {
        Some(Side::Giver) => (claim.giver_missed.clone(), String::new()),
        Some(Side::Taker) => (claim.taker_missed.clone(), String::new()),
        // only organisers see claims of others
        None => (claim.giver_missed.clone(), claim.taker_missed.clone()),
    };
    let Claim {
        id, offer, quantity, to, note, answer, movement, state, asked_at, lapses_at, version, ..
    } = claim;
    v1::Claim {
        claim_id: id.to_string(),
        offer_id: offer.to_string(),
        cultivar_name: cultivar_name.clone(),
        material: write_material(*material),
        quantity: *quantity,
        unit: write_unit(*unit),
        to_area_code: to.as_str().to_string(),
        giver_name: giver_name.clone(),
        taker_name: taker_name.clone(),
        side: match side {
            Some(Side::Giver) => v1::ClaimSide::Giver,
            Some(Side::Taker) => v1::ClaimSide::Taker,
            None => v1::ClaimSide::Unspecified,
        }
        .into(),
        contact: side.map(|side| claim.contact_for(side).to_string()).unwrap_or_default(),
        // what the sides tell each other is theirs
        note: side.map(|_| note.clone()).unwrap_or_default(),
        answer: side.map(|_| answer.clone()).unwrap_or_default(),
        movement: Some(shown(movement)),
        state: write_state(*state),
        asked_at: Some(timestamp(*asked_at)),
        lapses_at: state.is_open().then(|| timestamp(*lapses_at)),
        given: claim.given_at.is_some(),
        taken: claim.taken_at.is_some(),
        missed,
        taker_missed,
        left: *left,
        version: *version,
        other_account_id: match side {
            Some(Side::Giver) => claim.taker.to_string(),
            Some(Side::Taker) => claim.giver.to_string(),
            None => String::new(),
        },
        entered_for_taker: claim.entered_by.is_some(),
        round_id: claim.in_round.map(|r| r.round.to_string()).unwrap_or_default(),
    }
}
