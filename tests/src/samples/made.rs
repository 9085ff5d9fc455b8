//! Valid drafts and requests.

use scionary_proto::v1;

use super::{day, in_days};

/// Returns the tally of a sowing that differs for each `serial`.
pub fn tally(serial: i32) -> v1::EvidenceDraft {
    let sowing =
        v1::SowingTally { sown: Some(200 + serial), one: Some(4), several: Some(100), ..Default::default() };
    observed(v1::observed_thing::Thing::Sowing(sowing))
}

/// Returns a draft of evidence with one observation.
pub fn observed(thing: v1::observed_thing::Thing) -> v1::EvidenceDraft {
    v1::EvidenceDraft {
        observed: vec![v1::ObservedThing { thing: Some(thing) }],
        day: Some(day(2026, 3, 1)),
        ..Default::default()
    }
}

/// Returns a proposal to add a name that differs for each `serial`.
pub fn further_name(serial: i32) -> v1::CreateProposalRequest {
    v1::CreateProposalRequest {
        cultivar: "Golek".into(),
        crop: "mango".into(),
        change: Some(v1::Change {
            change: Some(v1::change::Change::AddName(v1::AddName {
                name: format!("Lantern Sweet {serial}"),
                ..Default::default()
            })),
        }),
        reason: "It is sold under this name here.".into(),
        citation: String::new(),
    }
}

/// Returns a plan to raise R2E2 from seed.
pub fn plan() -> v1::DraftPlanRequest {
    v1::DraftPlanRequest {
        cultivar: "R2E2".into(),
        way: v1::Way::Seed.into(),
        start: Some(in_days(0)),
        south: true,
        climate: v1::Climate::Warm.into(),
        ..Default::default()
    }
}

/// Returns a claim of a quantity of an offer.
pub fn ask(offer: &str, quantity: i32) -> v1::CreateClaimRequest {
    v1::CreateClaimRequest {
        offer_id: offer.into(),
        quantity,
        to_area_code: "XB-NS".into(),
        note: "For the yard behind the school.".into(),
        contact: "0400 000 000".into(),
    }
}

/// Returns six grafts, made 60 days ago.
pub fn grafts() -> v1::CreateGraftsRequest {
    v1::CreateGraftsRequest {
        cultivar: "R2E2".into(),
        method: v1::GraftMethod::Cleft.into(),
        day: Some(in_days(-60)),
        made: 6,
        ..Default::default()
    }
}

/// Returns a variety right of an invented office.
pub fn protection() -> v1::Protection {
    v1::Protection {
        kind: v1::ProtectionKind::VarietyRight.into(),
        office: "Larkland Office".into(),
        reference: "2019/044".into(),
        citation: "Register of varieties, 2024".into(),
        ..Default::default()
    }
}

/// Returns a want of a cultivar, near the place of the offers of [`super::draft`].
pub fn want(cultivar: &str) -> v1::WantDraft {
    v1::WantDraft {
        cultivar: cultivar.into(),
        crop: "mango".into(),
        near_grid_code: "2CGV2200+".into(),
        within_km: 60,
        to_area_code: "XB-NS".into(),
        ..Default::default()
    }
}

/// Returns a club that accepts requests to join.
pub fn club(name: &str) -> v1::ClubDraft {
    v1::ClubDraft { name: name.into(), takes_requests: true, ..Default::default() }
}

/// Returns a round a week from now.
pub fn round() -> v1::RoundDraft {
    v1::RoundDraft {
        title: "Winter swap".into(),
        area_code: "XB-NS".into(),
        day: Some(in_days(7)),
        settings: Some(v1::RoundSettings {
            cap: Some(3),
            slack: Some(1),
            newcomers: Some(1),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// Returns a part in a round, on the day, not by post.
pub fn round_part() -> v1::RoundPart {
    v1::RoundPart {
        area_code: "XB-NS".into(),
        meeting: true,
        contact: "0400 000 000".into(),
        ..Default::default()
    }
}

/// Returns one wish for each lot.
pub fn wishes(lots: &[&str]) -> Vec<v1::WishLine> {
    let accepts =
        |lot: &&str| vec![v1::WishAccepts { what: Some(v1::wish_accepts::What::Lot((*lot).into())) }];
    lots.iter().map(|lot| v1::WishLine { accepts: accepts(lot), ..Default::default() }).collect()
}

/// Returns a mother plant from a nursery.
pub fn plant_lot() -> v1::CreateLotRequest {
    v1::CreateLotRequest {
        kind: v1::LotKind::MotherPlant.into(),
        cultivar: "R2E2".into(),
        crop: "mango".into(),
        source: "from a nursery".into(),
        ..Default::default()
    }
}

/// Returns a health alert on a lot.
pub fn sick(lot: &str) -> v1::CreateAlertRequest {
    v1::CreateAlertRequest {
        lot: lot.into(),
        kind: v1::AlertKind::Health.into(),
        words: "Shoots die back from the tip.".into(),
        ..Default::default()
    }
}
