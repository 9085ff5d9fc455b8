//! Wants on the wire.

use scionary_app::{
    Error,
    wants::{MakeWant, SearchWants, ShownWant, Sought},
};
use scionary_domain::{
    field::FieldError,
    want::{TraitWish, WantDraft, Wishes},
};
use scionary_proto::v1;

use super::{
    date,
    offer::{all, read_material, write_material},
    read_date, timestamp,
};

/// A want to be made.
///
/// # Errors
/// Values that cannot be read.
pub fn make(request: v1::CreateWantRequest) -> Result<MakeWant, Error> {
    let mut wrong: Vec<FieldError> = Vec::new();
    let v1::WantDraft {
        cultivar,
        crop,
        comes_true,
        ripe_in_months,
        traits,
        materials,
        near_grid_code,
        within_km,
        to_area_code,
        until,
        note,
    } = request.want.unwrap_or_default();
    // a number that is no month stays one that is none
    let ripe_in = ripe_in_months.iter().map(|m| u8::try_from(*m).unwrap_or(0)).collect();
    let traits = traits
        .into_iter()
        .map(|t| TraitWish { descriptor: t.descriptor_key, states: t.states, least: t.least, most: t.most })
        .collect();
    let draft = WantDraft {
        wishes: Wishes { comes_true, ripe_in, traits },
        materials: all("want.materials", &materials, read_material, &mut wrong),
        grid: near_grid_code,
        within_km,
        to: to_area_code,
        until: read_date("want.until", until, &mut wrong),
        note,
    };
    if wrong.is_empty() {
        Ok(MakeWant { cultivar, crop: crop.trim().to_lowercase(), draft })
    } else {
        Err(wrong.into())
    }
}

/// A search for what is sought.
///
/// # Errors
/// Values that cannot be read.
pub fn search(request: v1::SearchWantsRequest) -> Result<(SearchWants, i32, String), Error> {
    let v1::SearchWantsRequest { crop, materials, near_grid_code, within_km, page_size, page_token } =
        request;
    let mut wrong: Vec<FieldError> = Vec::new();
    let materials = all("materials", &materials, read_material, &mut wrong);
    let search = SearchWants { crop: crop.trim().to_lowercase(), materials, near_grid_code, within_km };
    if wrong.is_empty() { Ok((search, page_size, page_token)) } else { Err(wrong.into()) }
}

/// A want as its seeker sees it.
pub fn want(shown: &ShownWant) -> v1::Want {
    let ShownWant { want, cultivar_name, is_open } = shown;
    let wishes = &want.wishes;
    v1::Want {
        want_id: want.id.to_string(),
        seeks: Some(v1::WantDraft {
            cultivar: want.cultivar.map(|c| c.to_string()).unwrap_or_default(),
            crop: want.crop.clone(),
            comes_true: wishes.comes_true,
            ripe_in_months: wishes.ripe_in.iter().map(|m| i32::from(*m)).collect(),
            traits: wishes
                .traits
                .iter()
                .map(|t| v1::TraitWish {
                    descriptor_key: t.descriptor.clone(),
                    states: t.states.clone(),
                    least: t.least,
                    most: t.most,
                })
                .collect(),
            materials: want.materials.iter().map(|m| write_material(*m)).collect(),
            near_grid_code: want.grid.to_string(),
            within_km: want.within_km,
            to_area_code: want.to.as_str().to_string(),
            until: Some(date(want.until)),
            note: want.note.clone(),
        }),
        cultivar_name: cultivar_name.clone(),
        is_open: *is_open,
        created_at: Some(timestamp(want.created_at)),
        entered_for_seeker: want.entered_by.is_some(),
    }
}

/// A want as everyone may see it.
#[expect(clippy::cast_possible_truncation, reason = "a distance on the earth, in whole kilometres")]
pub fn sought(sought: &Sought) -> v1::FoundWant {
    let mut want = want(&sought.shown);
    if let Some(seeks) = want.seeks.as_mut() {
        seeks.to_area_code.clear();
    }
    v1::FoundWant { want: Some(want), distance_km: sought.km.map(|km| km.round() as i32) }
}
