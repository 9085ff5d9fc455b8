//! Profiles, places by name, short numbers, and finding items by what people call them.

use prost::Message as _;
use scionary_app::profile::NumberItems;
use scionary_domain::{field::FieldError, limits};
use scionary_proto::v1;

use crate::{
    call::Admitted, convert::profile as convert, data, dispatch::Encoded, site::Site, status::Failure,
};

pub(crate) async fn get_profile(
    site: &Site,
    call: &Admitted,
    _request: v1::GetProfileRequest,
) -> Result<v1::GetProfileResponse, Failure> {
    let profile = site.app.profile(call).await?;
    Ok(v1::GetProfileResponse { profile: Some(convert::profile(&profile)) })
}

pub(crate) async fn update_profile(
    site: &Site,
    call: &Admitted,
    request: v1::UpdateProfileRequest,
) -> Result<Encoded<v1::UpdateProfileResponse>, Failure> {
    let message = |version: &i64| v1::UpdateProfileResponse { version: *version };
    call.write(&site.app, convert::change(request), message).await
}

pub(crate) async fn find_places(
    _site: &Site,
    _call: &Admitted,
    request: v1::FindPlacesRequest,
) -> Result<v1::FindPlacesResponse, Failure> {
    let v1::FindPlacesRequest { text, prefer } = request;
    if text.trim().is_empty() || text.chars().count() > limits::PLACE_LABEL_CHARS_MAX {
        let most = limits::PLACE_LABEL_CHARS_MAX;
        return Err(FieldError::new(
            "text",
            format!("say a town, a state or a country in at most {most} characters"),
        )
        .into());
    }
    Ok(convert::places(data::gazetteer()?.find(&text, &prefer)))
}

pub(crate) async fn number_items(
    site: &Site,
    call: &Admitted,
    request: v1::NumberItemsRequest,
) -> Result<Encoded<v1::NumberItemsResponse>, Failure> {
    let message = |items: &Vec<(String, i64)>| v1::NumberItemsResponse {
        items: items
            .iter()
            .map(|(item_id, number)| v1::NumberedItem { item_id: item_id.clone(), number: *number })
            .collect(),
    };
    let wanted = NumberItems::new(request.item_ids)?;
    if let Some(known) = site.app.numbers_known(call, &wanted).await? {
        return Ok(Encoded::new(&message(&known).encode_to_vec()));
    }
    call.write(&site.app, Ok(wanted), message).await
}

pub(crate) async fn find_items(
    site: &Site,
    call: &Admitted,
    request: v1::FindItemsRequest,
) -> Result<v1::FindItemsResponse, Failure> {
    let kind = convert::read_kind(request.kind)?;
    let items = site.app.find_items(call, kind, &request.text).await?;
    Ok(v1::FindItemsResponse { items: items.into_iter().map(convert::found).collect() })
}
