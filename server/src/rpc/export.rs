//! Exports, in chunks.

use futures_util::StreamExt as _;
use scionary_app::{Error, export::Format};
use scionary_domain::field::FieldError;
use scionary_proto::v1;
use tokio_stream::wrappers::ReceiverStream;

use crate::{call::Admitted, dear::Place, dispatch::RepliesOf, site::Site, status::Failure};

/// A place for a download: an address has few, so that its readers leave some to others.
fn place(site: &Site, call: &Admitted) -> Result<Place<String>, Failure> {
    let place = site.downloads.take(call.address().to_string());
    Ok(place.ok_or(Error::Limited { retry_after_seconds: 10 })?)
}

pub(crate) async fn export(
    site: &Site,
    call: &Admitted,
    request: v1::ExportRequest,
) -> Result<RepliesOf<v1::ExportRequest>, Failure> {
    let format = match request.format() {
        v1::ExportFormat::PassportCsv => Format::Passport,
        v1::ExportFormat::FindingsCsv => Format::FindingsCsv,
        v1::ExportFormat::FindingsJson => Format::FindingsJson,
        v1::ExportFormat::Unspecified => {
            return Err(FieldError::new("format", "a format expected").into());
        }
    };
    let place = place(site, call)?;
    let crop = request.crop.trim().to_lowercase();
    let chunks = site.app.export(format, &crop, &site.data_licence).await?;
    let stream = ReceiverStream::new(chunks).map(move |chunk| {
        let _held = &place;
        Ok(v1::ExportResponse { chunk })
    });
    Ok(Box::pin(stream))
}

pub(crate) async fn export_registry(
    site: &Site,
    call: &Admitted,
    request: v1::ExportRegistryRequest,
) -> Result<RepliesOf<v1::ExportRegistryRequest>, Failure> {
    let place = place(site, call)?;
    let crop = request.crop.trim().to_lowercase();
    let exported = site.app.export(Format::Registry, &crop, &site.data_licence).await;
    let chunks = exported?;
    let stream = ReceiverStream::new(chunks).map(move |chunk| {
        let _held = &place;
        Ok(v1::ExportRegistryResponse { chunk })
    });
    Ok(Box::pin(stream))
}
