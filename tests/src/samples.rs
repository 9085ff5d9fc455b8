//! A sample request for every method: exhaustive, so that a new method needs one.

use prost::Message as _;
use scionary_proto::{Rpc, v1};

/// A day far enough ahead.
pub fn day(year: i32, month: i32, day: i32) -> v1::Date {
    v1::Date { year, month, day }
}

/// Today plus so many days.
pub fn in_days(days: i64) -> v1::Date {
    use scionary_app::ports::Clock as _;
    scionary_server::convert::date(scionary_server::clock::SystemClock.now().date().plus_days(days))
}

/// A draft with which nothing is wrong.
pub fn draft() -> v1::OfferDraft {
    v1::OfferDraft {
        cultivar: "R2E2".into(),
        crop: "mango".into(),
        material: v1::Material::Seedling.into(),
        quantity: 6,
        terms: v1::Terms::Gift.into(),
        available_until: Some(in_days(30)),
        place: Some(v1::Place {
            area_code: "XB-NS".into(),
            grid_code: "2CGV2200+".into(),
            label: "Larkwater".into(),
        }),
        hand_over: vec![v1::HandOver::Collect.into()],
        note: "Strong plants, two of each seed.".into(),
        health: Some(v1::HealthDeclaration {
            grown_at: vec![v1::GrownAt { area_code: "XB-NS".into(), ..Default::default() }],
            form: v1::MaterialForm::InMedium.into(),
            purpose: v1::Purpose::Planting.into(),
            symptoms: v1::Observed::No.into(),
            pests: v1::Observed::Unknown.into(),
            sprayed: v1::Observed::No.into(),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// Ids that samples refer to.
#[derive(Clone, Debug, Default)]
pub struct Ids {
    /// An offer.
    pub offer: String,
    /// An invitation.
    pub invitation: String,
    /// A cultivar.
    pub cultivar: String,
    /// A handle that nobody has taken.
    pub free_handle: String,
}

/// A request of a method, encoded.
pub fn sample(rpc: Rpc, ids: &Ids) -> Vec<u8> {
    let Ids { offer, invitation, cultivar, free_handle } = ids.clone();
    match rpc {
        Rpc::ServerGetServer => v1::GetServerRequest {}.encode_to_vec(),
        Rpc::AccountSignUp => v1::SignUpRequest {
            handle: free_handle,
            display_name: String::new(),
            password: crate::client::PASSWORD.into(),
            code: String::new(),
        }
        .encode_to_vec(),
        Rpc::AccountSignIn => {
            v1::SignInRequest { handle: "nobody-here".into(), password: "x".into(), label: String::new() }
                .encode_to_vec()
        }
        Rpc::AccountSignOut => v1::SignOutRequest {}.encode_to_vec(),
        Rpc::AccountSignOutEverywhere => v1::SignOutEverywhereRequest {}.encode_to_vec(),
        Rpc::AccountChangePassword => v1::ChangePasswordRequest {
            current_password: "not it".into(),
            new_password: "another kettle orbit plank".into(),
        }
        .encode_to_vec(),
        Rpc::AccountWhoAmI => v1::WhoAmIRequest {}.encode_to_vec(),
        Rpc::AccountCreateInvitation => v1::CreateInvitationRequest { note: "guest".into() }.encode_to_vec(),
        Rpc::AccountListInvitations => v1::ListInvitationsRequest::default().encode_to_vec(),
        Rpc::AccountRevokeInvitation => {
            v1::RevokeInvitationRequest { invitation_id: invitation }.encode_to_vec()
        }
        Rpc::AccountGrantRole => v1::GrantRoleRequest {
            handle: "nobody-here".into(),
            role: v1::Role::Organiser.into(),
            crop: String::new(),
        }
        .encode_to_vec(),
        Rpc::AccountRevokeRole => v1::RevokeRoleRequest {
            handle: "nobody-here".into(),
            role: v1::Role::Organiser.into(),
            crop: String::new(),
        }
        .encode_to_vec(),
        Rpc::CropListCrops => v1::ListCropsRequest {}.encode_to_vec(),
        Rpc::CropGetCrop => v1::GetCropRequest { crop: "mango".into() }.encode_to_vec(),
        Rpc::CultivarLookUpSeed => {
            v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() }.encode_to_vec()
        }
        Rpc::CultivarSearchCultivars => {
            v1::SearchCultivarsRequest { query: "golek".into(), crop: String::new(), page_size: 0 }
                .encode_to_vec()
        }
        Rpc::CultivarListCultivars => v1::ListCultivarsRequest::default().encode_to_vec(),
        Rpc::CultivarGetCultivar => {
            v1::GetCultivarRequest { cultivar: "golek".into(), crop: String::new() }.encode_to_vec()
        }
        Rpc::CultivarListEvidence => {
            v1::ListEvidenceRequest { cultivar_id: cultivar, ..Default::default() }.encode_to_vec()
        }
        Rpc::OfferCreateOffer => v1::CreateOfferRequest { offer: Some(draft()) }.encode_to_vec(),
        Rpc::OfferGetOffer => v1::GetOfferRequest { offer_id: offer }.encode_to_vec(),
        Rpc::OfferListMyOffers => v1::ListMyOffersRequest::default().encode_to_vec(),
        Rpc::OfferSearchOffers => v1::SearchOffersRequest::default().encode_to_vec(),
        Rpc::OfferUpdateOffer => v1::UpdateOfferRequest {
            offer_id: offer,
            version: 1,
            offer: Some(v1::OfferDraft { quantity: 3, ..draft() }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["quantity".into()] }),
        }
        .encode_to_vec(),
        Rpc::OfferWithdrawOffer => v1::WithdrawOfferRequest { offer_id: offer, version: 0 }.encode_to_vec(),
        Rpc::HealthV1HealthCheck
        | Rpc::HealthV1HealthList
        | Rpc::HealthV1HealthWatch
        | Rpc::ReflectionV1ServerReflectionServerReflectionInfo
        | Rpc::ReflectionV1alphaServerReflectionServerReflectionInfo => Vec::new(),
    }
}
