//! Takes a round along.

use base64::{Engine as _, engine::general_purpose::STANDARD as BASE64};
use scionary_domain::{
    field::Fields,
    ids::RoundId,
    round::{EventKind, Phase},
};
use scionary_store::{club_store, day_store, record_store};
use serde_json::json;
use uuid::Uuid;

use super::file::{self, Header};
use crate::{Done, Error, UseCase, Write, ports::new_uuid, rounds};

/// The name of the setting that holds the seed of the server's key.
const SEED: &str = "day.seed";
/// Characters of a word that opens a file.
const WORD_CHARS: (usize, usize) = (8, 128);

/// Copies all that a day needs into a file (organisers).
pub struct TakeAlong {
    /// The round's id.
    pub id: RoundId,
    /// The word that opens it.
    pub word: String,
    /// The newest step of the schema.
    pub schema: String,
}

/// The seed of the server's key; made when it is first asked for.
async fn seed(write: &Write<'_>) -> Result<Vec<u8>, Error> {
    if let Some(kept) = record_store::setting(write.tx, SEED).await? {
        return BASE64.decode(kept).map_err(|e| Error::Internal(format!("the key of days: {e}")));
    }
    let seed = write.app.entropy().bytes()?;
    record_store::set_setting(write.tx, SEED, &BASE64.encode(seed), write.call.now).await?;
    Ok(seed.to_vec())
}

/// The public key of this server's files; none where no round was taken along.
pub(super) async fn own_key(app: &crate::App) -> Result<Option<Vec<u8>>, Error> {
    let Some(kept) = record_store::setting(app.store().reader(), SEED).await? else { return Ok(None) };
    let seed = BASE64.decode(kept).map_err(|e| Error::Internal(format!("the key of days: {e}")))?;
    file::public_key(&seed).map(Some).map_err(Error::Internal)
}

impl UseCase for TakeAlong {
    /// The file.
    type Out = String;
    async fn run(&self, write: &Write<'_>) -> Result<Done<String>, Error> {
        let mut fields = Fields::new();
        let word = fields.text("word", &self.word, WORD_CHARS.0, WORD_CHARS.1);
        let word = fields.finish(word)?;
        let (round, granted) = rounds::held(write, self.id).await?;
        rounds::in_phase(&round, &[Phase::Allotted, Phase::HandingOver])?;
        let club = club_store::one(write.tx, round.club).await?;
        let club = club.ok_or_else(|| Error::Internal("a round has no club".into()))?;
        let take: Uuid = new_uuid(write.app.entropy(), write.call.now)?;
        // noted before the copy, so that it stands in the copy as well
        rounds::noted(write, round.id, EventKind::TakenAlong, (None, None), 0, &take.to_string()).await?;
        let tables = day_store::copy_day(write.tx, &granted, (round.id, round.club)).await?;
        let seed = seed(write).await?;
        let [salt, nonce] = [write.app.entropy().bytes()?, write.app.entropy().bytes()?];
        let header = Header {
            swap_day: 0,
            take,
            round: round.id,
            title: round.says.title.clone(),
            club: club.name,
            day: round.says.day,
            taken_by: write.call.account()?.handle.to_string(),
            taken_at: write.call.now,
            schema: self.schema.clone(),
            key: Vec::new(),
            salt: salt[..16].to_vec(),
            nonce: nonce[..12].to_vec(),
            rows: Vec::new(),
            private: Vec::new(),
        };
        let movement = write.app.movement_sources();
        let written =
            tokio::task::spawn_blocking(move || file::write(header, (tables, &movement), (&word, &seed)))
                .await
                .map_err(|e| Error::Internal(format!("a file could not be written: {e}")))?;
        let text = written.map_err(Error::Internal)?;
        let change = json!({ "file": take.to_string(), "bytes": text.len() });
        Ok(Done::new(text, "round.taken_along", round.id, change).and_publish(rounds::TOPIC, round.id))
    }
}
