//! `scionary export`: to a file, or to standard output.

use std::io::Write as _;

use scionary_proto::{client::Messages, v1};

use crate::{
    args::{ExportArguments, ExportKind},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

/// The stream of either export.
enum Chunks {
    File(Messages<v1::ExportResponse>),
    Registry(Messages<v1::ExportRegistryResponse>),
}

impl Chunks {
    async fn next(&mut self, client: &Client) -> Result<Option<Vec<u8>>, Failure> {
        Ok(match self {
            Self::File(stream) => client.next(stream).await?.map(|r| r.chunk),
            Self::Registry(stream) => client.next(stream).await?.map(|r| r.chunk),
        })
    }
}

pub(super) async fn export(
    client: &Client,
    output: &Output,
    arguments: ExportArguments,
) -> Result<(), Failure> {
    let ExportArguments { what, crop, out } = arguments;
    let crop = words::crop(crop);
    let mut chunks = match what {
        ExportKind::File(format) => {
            let request = v1::ExportRequest { format: format.into(), crop };
            Chunks::File(client.replies(request).await?)
        }
        ExportKind::Registry => {
            client.need_session()?;
            let request = v1::ExportRegistryRequest { crop };
            Chunks::Registry(client.replies(request).await?)
        }
    };
    let Some(path) = out else {
        let mut standard = std::io::stdout().lock();
        while let Some(chunk) = chunks.next(client).await? {
            // A closed pipe is not an error.
            if standard.write_all(&chunk).is_err() {
                break;
            }
        }
        return Ok(());
    };
    // The file appears whole or not at all.
    let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", path.display()));
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(std::path::Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
    let mut bytes = 0;
    while let Some(chunk) = chunks.next(client).await? {
        bytes += chunk.len();
        file.write_all(&chunk).map_err(failed)?;
    }
    file.persist(&path).map_err(|e| failed(e.error))?;
    output.aside(&format!("{bytes} bytes are in {}.", path.display()));
    Ok(())
}
