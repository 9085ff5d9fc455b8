//! Crops.

use scionary_app::{App, Error};
use scionary_proto::v1::{self, crop_service_server::CropService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::registry as convert};

/// Answers `CropService`.
pub struct CropRpc(pub App);

#[tonic::async_trait]
impl CropService for CropRpc {
    async fn list_crops(
        &self,
        request: Request<v1::ListCropsRequest>,
    ) -> Result<Response<v1::ListCropsResponse>, Status> {
        Admitted::of(&request)?;
        let registry = self.0.registry();
        let crops = registry.crops().map(|c| convert::crop_summary(&registry, c)).collect();
        Ok(Response::new(v1::ListCropsResponse { crops }))
    }

    async fn get_crop(
        &self,
        request: Request<v1::GetCropRequest>,
    ) -> Result<Response<v1::GetCropResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let slug = request.into_inner().crop;
        let crop = registry.crop(&slug).ok_or_else(|| {
            admitted.fail(Error::NotFound {
                kind: "crop",
                id: slug.chars().take(40).collect(),
                hint: registry.crop_expected(&slug),
            })
        })?;
        Ok(Response::new(convert::crop(&registry, crop)))
    }
}
