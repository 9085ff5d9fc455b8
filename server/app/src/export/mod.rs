//! Open formats out: passport descriptors, findings with their sources, and the whole registry for another server.
//! What is public goes out, and nothing else: growers by their opaque ids, places as coarse as they are kept.

mod findings;
mod import;
mod passport;
mod whole;

pub use import::RegistryImported;

use std::{borrow::Cow, sync::Arc, time::Duration};

use scionary_domain::limits;
use tokio::{runtime::Handle, sync::mpsc, time::Instant};

use crate::{App, Error, registry::Registry};

/// What to export.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Multi-crop passport descriptors V.2.1, as CSV.
    Passport,
    /// Findings as CSV.
    FindingsCsv,
    /// Findings as JSON, with every piece and its weight.
    FindingsJson,
    /// All of the registry, one JSON object a line.
    Registry,
}

impl Format {
    /// A file name's ending.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Passport | Self::FindingsCsv => "csv",
            Self::FindingsJson => "json",
            Self::Registry => "jsonl",
        }
    }
}

/// Bytes of one chunk, about.
const CHUNK: usize = 64 * 1024;
/// Chunks that wait for a slow reader.
const WAITING: usize = 4;

/// Collects text and sends it in chunks; a reader who has gone away ends the export.
struct Pipe {
    sender: mpsc::Sender<Vec<u8>>,
    runtime: Handle,
    buffer: Vec<u8>,
    sent: u64,
    began: Instant,
}

/// The reader has gone.
struct Gone;

impl Pipe {
    fn put(&mut self, bytes: &[u8]) -> Result<(), Gone> {
        self.buffer.extend_from_slice(bytes);
        if self.buffer.len() >= CHUNK { self.send() } else { Ok(()) }
    }
    fn line(&mut self, text: &str) -> Result<(), Gone> {
        self.put(text.as_bytes())?;
        self.put(b"\n")
    }
    fn send(&mut self) -> Result<(), Gone> {
        let chunk = std::mem::take(&mut self.buffer);
        // a reader who trickles must not hold a place for ever
        let due = limits::EXPORT_GRACE_SECONDS + self.sent / limits::EXPORT_BYTES_PER_SECOND;
        if self.began.elapsed() > Duration::from_secs(due) {
            return Err(Gone);
        }
        self.sent += u64::try_from(chunk.len()).unwrap_or(u64::MAX);
        // a reader who stalls must not hold a thread for ever
        let wait = Duration::from_secs(limits::EXPORT_STALL_SECONDS);
        let sent = self.runtime.block_on(tokio::time::timeout(wait, self.sender.send(chunk)));
        sent.ok().and_then(Result::ok).ok_or(Gone)
    }
    /// A row of CSV, as RFC 4180 has it.
    fn row<S: AsRef<str>>(&mut self, cells: &[S]) -> Result<(), Gone> {
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        // writing to memory does not fail
        let cells = cells.iter().map(|c| plain_cell(c.as_ref()));
        let row = writer
            .write_record(cells.map(std::borrow::Cow::into_owned).collect::<Vec<_>>())
            .ok()
            .and(writer.into_inner().ok());
        self.put(&row.unwrap_or_default())
    }
}

/// A cell that a spreadsheet takes for text: what begins like a formula gets an apostrophe before it.
fn plain_cell(text: &str) -> Cow<'_, str> {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err();
    if formula { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

impl App {
    /// Starts an export of a crop, or of all. Chunks come as they are read.
    ///
    /// # Errors
    /// A crop that is not on file; the database is away.
    pub async fn export(
        &self,
        format: Format,
        crop: &str,
        licence: &str,
    ) -> Result<mpsc::Receiver<Vec<u8>>, Error> {
        let registry = self.registry();
        registry.check_crop(crop)?;
        let wait = Duration::from_secs(limits::EXPORT_WAIT_SECONDS);
        let place = tokio::time::timeout(wait, self.0.exports.clone().acquire_owned()).await;
        let place = place.ok().and_then(Result::ok).ok_or(Error::Limited { retry_after_seconds: 10 })?;
        let (sender, receiver) = mpsc::channel(WAITING);
        let mut pipe =
            Pipe { sender, runtime: Handle::current(), buffer: Vec::new(), sent: 0, began: Instant::now() };
        let (crop, licence) = (crop.to_string(), licence.to_string());
        let more = match format {
            Format::Registry => Some(whole::Rest::read(self.store().reader(), &registry).await?),
            Format::Passport | Format::FindingsCsv | Format::FindingsJson => None,
        };
        tokio::task::spawn_blocking(move || {
            let _place = place;
            let registry: Arc<Registry> = registry;
            let done = match (format, more) {
                (Format::Passport, _) => passport::write(&mut pipe, &registry, &crop, &licence),
                (Format::FindingsCsv, _) => findings::csv(&mut pipe, &registry, &crop, &licence),
                (Format::FindingsJson, _) => findings::json(&mut pipe, &registry, &crop, &licence),
                (Format::Registry, Some(rest)) => whole::write(&mut pipe, &registry, &rest, &crop, &licence),
                (Format::Registry, None) => Ok(()),
            };
            if done.is_ok() && !pipe.buffer.is_empty() {
                let _ = pipe.send();
            }
        });
        Ok(receiver)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reader that takes a chunk now and then holds its place for the grace, and not for ever.
    #[tokio::test]
    async fn a_reader_that_trickles_loses_its_place() {
        let (sender, mut receiver) = mpsc::channel(WAITING);
        let began = Instant::now();
        let runtime = Handle::current();
        let mut pipe = Pipe { sender, runtime, buffer: vec![0; 1000], sent: 0, began };
        let sending = move || {
            let first = pipe.send().is_ok();
            pipe.began -= Duration::from_secs(limits::EXPORT_GRACE_SECONDS + 1);
            let late = pipe.send().is_ok();
            // so much in that time is a slow line, and no trickle
            pipe.sent = 2 * limits::EXPORT_BYTES_PER_SECOND;
            (first, late, pipe.send().is_ok())
        };
        assert_eq!(tokio::task::spawn_blocking(sending).await.unwrap(), (true, false, true));
        assert_eq!(receiver.recv().await.map(|chunk| chunk.len()), Some(1000));
    }
}
