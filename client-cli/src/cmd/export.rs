//! Exports to a file, or to standard output.

use std::io::Write as _;

use scionary_proto::v1;

use crate::{
    args::ExportArguments,
    client::{Client, exports},
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn export(
    client: &Client,
    output: &Output,
    arguments: ExportArguments,
) -> Result<(), Failure> {
    let ExportArguments { what, crop, out } = arguments;
    let request = v1::ExportRequest { format: what.into(), crop: words::crop(crop) };
    let mut chunks = client.stream(request, |c, r| async move { exports(c).export(r).await }).await?;
    let Some(path) = out else {
        let mut standard = std::io::stdout().lock();
        while let Some(reply) = client.next(&mut chunks).await? {
            // a reader who has gone away is no mistake
            if standard.write_all(&reply.chunk).is_err() {
                break;
            }
        }
        return Ok(());
    };
    // a file that is there in full, or not at all
    let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", path.display()));
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(std::path::Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
    let mut bytes = 0;
    while let Some(reply) = client.next(&mut chunks).await? {
        bytes += reply.chunk.len();
        file.write_all(&reply.chunk).map_err(failed)?;
    }
    file.persist(&path).map_err(|e| failed(e.error))?;
    output.aside(&format!("{bytes} bytes are in {}.", path.display()));
    Ok(())
}
