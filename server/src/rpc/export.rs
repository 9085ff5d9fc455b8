//! Exports, in chunks.

use std::pin::Pin;

use futures_util::{Stream, StreamExt as _};
use scionary_app::{App, export::Format};
use scionary_domain::field::FieldError;
use scionary_proto::v1::{self, export_service_server::ExportService};
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};

use crate::call::Admitted;

/// Answers `ExportService`.
pub struct ExportRpc {
    /// The application.
    pub app: App,
    /// What the operator says of the data's licence.
    pub licence: String,
}

#[tonic::async_trait]
impl ExportService for ExportRpc {
    type ExportStream = Pin<Box<dyn Stream<Item = Result<v1::ExportResponse, Status>> + Send>>;

    async fn export(
        &self,
        request: Request<v1::ExportRequest>,
    ) -> Result<Response<Self::ExportStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let format = match request.format() {
            v1::ExportFormat::PassportCsv => Format::Passport,
            v1::ExportFormat::FindingsCsv => Format::FindingsCsv,
            v1::ExportFormat::FindingsJson => Format::FindingsJson,
            v1::ExportFormat::Unspecified => {
                return Err(admitted.fail(FieldError::new("format", "a format expected")));
            }
        };
        let crop = request.crop.trim().to_lowercase();
        let chunks = self.app.export(format, &crop, &self.licence).await.map_err(|e| admitted.fail(e))?;
        let stream = ReceiverStream::new(chunks).map(|chunk| Ok(v1::ExportResponse { chunk }));
        Ok(Response::new(Box::pin(stream)))
    }

    type ExportRegistryStream =
        Pin<Box<dyn Stream<Item = Result<v1::ExportRegistryResponse, Status>> + Send>>;

    async fn export_registry(
        &self,
        request: Request<v1::ExportRegistryRequest>,
    ) -> Result<Response<Self::ExportRegistryStream>, Status> {
        let admitted = Admitted::of(&request)?;
        let crop = request.into_inner().crop.trim().to_lowercase();
        let exported = self.app.export(Format::Registry, &crop, &self.licence).await;
        let chunks = exported.map_err(|e| admitted.fail(e))?;
        let stream = ReceiverStream::new(chunks).map(|chunk| Ok(v1::ExportRegistryResponse { chunk }));
        Ok(Response::new(Box::pin(stream)))
    }
}
