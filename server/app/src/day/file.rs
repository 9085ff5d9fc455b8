//! The file of a day: lines of text. The first says what it is, the second and third hold the rows, the fourth is the
//! server's signature of the first, which holds the hashes of the others; each line after it is a step.

use std::io::{Read as _, Write as _};

use argon2::{Algorithm, Argon2, Params, Version};
use base64::{Engine as _, engine::general_purpose::STANDARD as BASE64};
use flate2::{Compression, read::GzDecoder, write::GzEncoder};
use ring::{
    aead::{Aad, CHACHA20_POLY1305, LessSafeKey, NONCE_LEN, Nonce, UnboundKey},
    signature::{ED25519, Ed25519KeyPair, KeyPair as _, UnparsedPublicKey},
};
use scionary_domain::{
    ids::RoundId,
    time::{Date, Timestamp},
};
use scionary_store::day_store::Table;
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::Step;
use crate::movement::MovementFiles;

/// The version of the file's form.
const FORM: u32 = 1;
/// Bytes that a part may have once it is unpacked.
const UNPACKED_MAX: u64 = 512 << 20;

/// Bytes as base64 text.
pub(super) mod base64_bytes {
    use base64::{Engine as _, engine::general_purpose::STANDARD as BASE64};
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    pub(in super::super) fn serialize<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&BASE64.encode(bytes))
    }
    pub(in super::super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Vec<u8>, D::Error> {
        BASE64.decode(String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

/// What the first line says.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Header {
    /// The version of the form.
    pub swap_day: u32,
    /// The file's own id.
    pub take: Uuid,
    /// The round.
    pub round: RoundId,
    /// Its title.
    pub title: String,
    /// The club's name.
    pub club: String,
    /// The round's day.
    pub day: Date,
    /// Handle of the organiser who took it along.
    pub taken_by: String,
    /// When.
    pub taken_at: Timestamp,
    /// The newest step of the schema that the rows are of.
    pub schema: String,
    /// The server's key, for its signature.
    #[serde(with = "base64_bytes")]
    pub key: Vec<u8>,
    /// What the key of the third line is derived with.
    #[serde(with = "base64_bytes")]
    pub salt: Vec<u8>,
    /// The nonce of the third line.
    #[serde(with = "base64_bytes")]
    pub nonce: Vec<u8>,
    /// Hash of the second line.
    #[serde(with = "base64_bytes")]
    pub rows: Vec<u8>,
    /// Hash of the third line.
    #[serde(with = "base64_bytes")]
    pub private: Vec<u8>,
}

/// Rows, and the rules on moving plants.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Rows {
    /// Name, columns and rows of each table.
    pub(super) tables: Vec<(String, Vec<String>, Vec<Vec<serde_json::Value>>)>,
    /// The files of rules that the server has.
    pub(super) movement: Vec<[String; 7]>,
}

/// For each table, values that only the organiser's word opens: row, column, value.
pub(super) type Private = Vec<Vec<(usize, usize, serde_json::Value)>>;

/// A file that was read, and is what its server wrote.
#[derive(Clone, Debug)]
pub struct DayFile {
    /// What it is.
    pub header: Header,
    /// The first line of the file.
    pub header_line: String,
    /// The signature of it.
    pub signature: String,
    rows: String,
    private: String,
    /// The steps.
    pub steps: Vec<Step>,
    /// Bytes up to the end of the last whole step: what follows was cut off while it was written.
    pub whole: usize,
}

fn hash(line: &str) -> Vec<u8> {
    Sha256::digest(line.as_bytes()).to_vec()
}

fn pack(value: &impl Serialize) -> Result<Vec<u8>, String> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::default());
    serde_json::to_writer(&mut packed, value).map_err(|e| e.to_string())?;
    packed.flush().map_err(|e| e.to_string())?;
    packed.finish().map_err(|e| e.to_string())
}

fn unpack<T: DeserializeOwned>(packed: &[u8]) -> Result<T, String> {
    let mut text = Vec::new();
    GzDecoder::new(packed).take(UNPACKED_MAX).read_to_end(&mut text).map_err(|e| e.to_string())?;
    serde_json::from_slice(&text).map_err(|e| e.to_string())
}

/// The key that a word opens: argon2id with 64 MiB, three passes, one lane, as RFC 9106 has it for little memory, but for
/// the lanes.
fn key_of(word: &str, salt: &[u8]) -> Result<LessSafeKey, String> {
    let params = Params::new(64 * 1024, 3, 1, Some(32)).map_err(|e| e.to_string())?;
    let mut key = [0; 32];
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
        .hash_password_into(word.trim().as_bytes(), salt, &mut key)
        .map_err(|e| e.to_string())?;
    Ok(LessSafeKey::new(UnboundKey::new(&CHACHA20_POLY1305, &key).map_err(|e| e.to_string())?))
}

fn nonce_of(bytes: &[u8]) -> Result<Nonce, String> {
    let bytes: [u8; NONCE_LEN] = bytes.try_into().map_err(|_| "the nonce has another length".to_string())?;
    Ok(Nonce::assume_unique_for_key(bytes))
}

/// Writes the four first lines.
///
/// # Errors
/// What cannot be written so.
pub(super) fn write(
    mut header: Header,
    (tables, movement): (Vec<Table>, &[MovementFiles]),
    (word, seed): (&str, &[u8]),
) -> Result<String, String> {
    let (mut kept, mut private): (Vec<_>, Private) = (Vec::new(), Vec::new());
    for mut table in tables {
        private.push(table.take_private());
        kept.push((table.name, table.columns, table.rows));
    }
    let movement = movement
        .iter()
        .cloned()
        .map(|f| [f.name, f.rules, f.places, f.aliases, f.taxa, f.pests, f.authorities])
        .collect();
    let rows = BASE64.encode(pack(&Rows { tables: kept, movement })?);
    let mut sealed = pack(&private)?;
    key_of(word, &header.salt)?
        .seal_in_place_append_tag(nonce_of(&header.nonce)?, Aad::from(header.take.as_bytes()), &mut sealed)
        .map_err(|e| e.to_string())?;
    let private = BASE64.encode(sealed);
    let pair = Ed25519KeyPair::from_seed_unchecked(seed).map_err(|e| e.to_string())?;
    header.swap_day = FORM;
    header.rows = hash(&rows);
    header.private = hash(&private);
    header.key = pair.public_key().as_ref().to_vec();
    let header = serde_json::to_string(&header).map_err(|e| e.to_string())?;
    let signature = BASE64.encode(pair.sign(header.as_bytes()));
    Ok(format!("{header}\n{rows}\n{private}\n{signature}\n"))
}

impl Header {
    /// Reads a first line whose signature is that of the key it names.
    ///
    /// # Errors
    /// It is no such line, or was changed.
    pub fn read(line: &str, signature: &str) -> Result<Self, String> {
        let header: Self =
            serde_json::from_str(line).map_err(|_| "this is no file of a swap day".to_string())?;
        if header.swap_day != FORM {
            return Err(format!(
                "this is a file of form {}; this version reads form {FORM}",
                header.swap_day
            ));
        }
        let signature =
            BASE64.decode(signature.trim()).map_err(|_| "the signature cannot be read".to_string())?;
        UnparsedPublicKey::new(&ED25519, &header.key).verify(line.as_bytes(), &signature).map_err(|_| {
            "the file was changed since the server wrote it: its signature does not fit".to_string()
        })?;
        Ok(header)
    }
}

/// The public key of a seed.
///
/// # Errors
/// It is no seed.
pub(super) fn public_key(seed: &[u8]) -> Result<Vec<u8>, String> {
    let pair = Ed25519KeyPair::from_seed_unchecked(seed).map_err(|e| e.to_string())?;
    Ok(pair.public_key().as_ref().to_vec())
}

impl DayFile {
    /// Reads a file.
    ///
    /// # Errors
    /// It is no such file, was changed, or lacks a part.
    pub fn read(text: &str) -> Result<Self, String> {
        let cut = || "the file is cut off: a part of it is missing. Take the round along again".to_string();
        let mut at = 0;
        let mut line = || {
            let rest = text.get(at..)?;
            let end = rest.find('\n')?;
            at += end + 1;
            rest.get(..end).map(|line| (line.trim_end_matches('\r').to_string(), at))
        };
        let (header_line, _) = line().ok_or("this is no file of a swap day")?;
        // told first for a file that is something else
        serde_json::from_str::<Header>(&header_line)
            .map_err(|_| "this is no file of a swap day".to_string())?;
        let (rows, _) = line().ok_or_else(cut)?;
        let (private, _) = line().ok_or_else(cut)?;
        let (signature, mut whole) = line().ok_or_else(cut)?;
        let header = Header::read(&header_line, &signature)?;
        if hash(&rows) != header.rows || hash(&private) != header.private {
            return Err("the file was changed since the server wrote it: its parts do not fit".into());
        }
        let mut steps = Vec::new();
        while let Some((step, end)) = line() {
            let number = steps.len() + 1;
            let step =
                serde_json::from_str(&step).map_err(|e| format!("step {number} cannot be read: {e}"))?;
            steps.push(step);
            whole = end;
        }
        Ok(Self { header, header_line, signature, rows, private, steps, whole })
    }

    /// The rows, with what the word opens put in its place, and the rules on moving plants.
    ///
    /// # Errors
    /// It is another word; a part cannot be read.
    pub fn unlock(&self, word: &str) -> Result<(Vec<Table>, Vec<MovementFiles>), String> {
        let decode = |text: &str| BASE64.decode(text).map_err(|e| e.to_string());
        let mut sealed = decode(&self.private)?;
        let opened = key_of(word, &self.header.salt)?
            .open_in_place(nonce_of(&self.header.nonce)?, Aad::from(self.header.take.as_bytes()), &mut sealed)
            .map_err(|_| "that is not the word that was chosen for this file".to_string())?;
        let private: Private = unpack(opened)?;
        let Rows { tables, movement } = unpack(&decode(&self.rows)?)?;
        let tables = tables.into_iter().zip(private).map(|((name, columns, rows), private)| {
            let mut table = Table { name, columns, rows };
            table.put_private(private);
            table
        });
        let movement =
            movement.into_iter().map(|[name, rules, places, aliases, taxa, pests, authorities]| {
                MovementFiles { name, rules, places, aliases, taxa, pests, authorities }
            });
        Ok((tables.collect(), movement.collect()))
    }
}
