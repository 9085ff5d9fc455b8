//! Profiles, places by name and numbered items on the wire.

use scionary_app::{
    Error,
    profile::{ChangeProfile, FoundItem, ItemKind},
};
use scionary_domain::{
    field::FieldError,
    gazetteer::{Answer, Found},
    place::Place,
    profile::{Profile, ProfileDraft},
};
use scionary_proto::v1;

use super::{dated, seen};
use crate::{data::PLACES_ATTRIBUTION, mask::Change};

fn place(place: &Place) -> v1::Place {
    v1::Place {
        area_code: place.area.as_ref().map(|a| a.as_str().to_string()).unwrap_or_default(),
        grid_code: place.grid.as_str().to_string(),
        label: place.label.clone(),
    }
}

/// A profile.
pub fn profile(profile: &Profile) -> v1::Profile {
    v1::Profile {
        home: profile.home.as_ref().map(place),
        contact: profile.contact.clone(),
        imperial: profile.imperial,
        crop: profile.crop.clone(),
        climate: profile.climate.map_or(v1::Climate::Unspecified, dated::climate).into(),
        version: profile.version,
        count_plants: profile.count_plants,
    }
}

/// A request to change the caller's profile.
///
/// # Errors
/// Values that cannot be read.
pub fn change(request: v1::UpdateProfileRequest) -> Result<ChangeProfile, Error> {
    let v1::UpdateProfileRequest { profile: new, update_mask, version } = request;
    let mask = Change::read("profile", new, update_mask)?;
    if mask.fields.contains("version") {
        return Err(FieldError::new("update_mask", "the version is not yours to change").into());
    }
    let change = move |current: &Profile| {
        let whole = mask.over(&profile(current)).map_err(|e| Error::Internal(e.to_string()))?;
        draft(whole)
    };
    Ok(ChangeProfile { version: seen(version), change: Box::new(change) })
}

fn draft(wire: v1::Profile) -> Result<ProfileDraft, Error> {
    let v1::Profile { home, contact, imperial, crop, climate, version: _, count_plants } = wire;
    let v1::Place { area_code, grid_code, label } = home.unwrap_or_default();
    let mut wrong = Vec::new();
    let climate = dated::read_climate("profile.climate", climate, &mut wrong);
    if !wrong.is_empty() {
        return Err(wrong.into());
    }
    Ok(ProfileDraft { home: (area_code, grid_code, label), contact, imperial, crop, climate, count_plants })
}

/// Places that were found.
pub fn places(answer: Answer) -> v1::FindPlacesResponse {
    let named = |found: Found| v1::NamedPlace {
        place: Some(v1::Place {
            area_code: found.area.as_str().to_string(),
            grid_code: found.grid.map(|g| g.as_str().to_string()).unwrap_or_default(),
            label: found.name,
        }),
        full_name: found.full_name,
        people: i64::try_from(found.people).unwrap_or(i64::MAX),
    };
    v1::FindPlacesResponse {
        places: answer.places.into_iter().map(named).collect(),
        clear: answer.clear,
        attribution: PLACES_ATTRIBUTION.into(),
    }
}

/// What to find.
///
/// # Errors
/// Not said, or not known here.
pub fn read_kind(kind: i32) -> Result<ItemKind, FieldError> {
    match v1::ItemKind::try_from(kind) {
        Ok(v1::ItemKind::Account) => Ok(ItemKind::Account),
        Ok(v1::ItemKind::Club) => Ok(ItemKind::Club),
        Ok(v1::ItemKind::Round) => Ok(ItemKind::Round),
        Ok(v1::ItemKind::Numbered) => Ok(ItemKind::Numbered),
        Ok(v1::ItemKind::Unspecified) | Err(_) => Err(FieldError::new("kind", "say what to find")),
    }
}

/// Something that was found.
pub fn found(item: FoundItem) -> v1::FoundItem {
    v1::FoundItem { item_id: item.id, name: item.name, exact: item.exact }
}
