//! Crops.

use scionary_app::Error;
use scionary_proto::v1;

use crate::{call::Admitted, convert::registry as convert, site::Site, status::Failure};

pub(crate) async fn list_crops(
    site: &Site,
    _call: &Admitted,
    _request: v1::ListCropsRequest,
) -> Result<v1::ListCropsResponse, Failure> {
    let registry = site.app.registry();
    let crops = registry.crops().map(|c| convert::crop_summary(&registry, c)).collect();
    Ok(v1::ListCropsResponse { crops })
}

pub(crate) async fn get_crop(
    site: &Site,
    _call: &Admitted,
    request: v1::GetCropRequest,
) -> Result<v1::GetCropResponse, Failure> {
    let registry = site.app.registry();
    let slug = request.crop;
    let crop = registry.crop(&slug).ok_or_else(|| Error::NotFound {
        kind: "crop",
        id: slug.chars().take(40).collect(),
        hint: registry.crop_expected(&slug),
    })?;
    Ok(convert::crop(&registry, crop))
}
