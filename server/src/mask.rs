//! Updates by mask: what a caller names is laid over what is on file, on the messages of the wire, so that a field is
//! named nowhere but in its message and its conversion.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::LazyLock,
};

use bytes::Buf as _;
use prost::{
    Message, Name,
    encoding::{DecodeContext, WireType, decode_key, skip_field},
};
use prost_types::{FieldMask, FileDescriptorSet};
use scionary_domain::{field::FieldError, limits};
use scionary_proto::FILE_DESCRIPTOR_SET;

/// The numbers of the fields of each message, by name.
static NUMBERS: LazyLock<BTreeMap<String, BTreeMap<String, u32>>> = LazyLock::new(|| {
    let files = FileDescriptorSet::decode(FILE_DESCRIPTOR_SET).unwrap_or_default().file;
    let messages = files.into_iter().flat_map(|file| {
        let package = file.package().to_string();
        file.message_type.into_iter().map(move |message| (package.clone(), message))
    });
    messages
        .map(|(package, message)| {
            let fields = message
                .field
                .iter()
                .filter_map(|f| Some((f.name().to_string(), u32::try_from(f.number()).ok()?)));
            (format!("{package}.{}", message.name()), fields.collect())
        })
        .collect()
});

/// A change of some fields of a message.
#[derive(Clone, Debug)]
pub struct Change<M> {
    /// The new values.
    pub new: M,
    /// The names of the fields, without what names the message.
    pub fields: BTreeSet<String>,
}

impl<M: Message + Name + Default> Change<M> {
    /// Reads a change. `what` is the field of the request that holds the message: paths may begin with it.
    ///
    /// # Errors
    /// No path; a path that the message does not have; more paths than it has fields.
    pub fn read(what: &str, new: Option<M>, mask: Option<FieldMask>) -> Result<Self, FieldError> {
        let wrong = |words: String| FieldError::new("update_mask", words);
        let known = NUMBERS.get(&M::full_name());
        let paths = mask.unwrap_or_default().paths;
        if paths.is_empty() {
            return Err(wrong("name at least one field to change".into()));
        }
        if paths.len() > limits::CHOICES_MAX {
            return Err(wrong(format!("name at most {} fields", limits::CHOICES_MAX)));
        }
        let prefix = format!("{what}.");
        let mut fields = BTreeSet::new();
        for path in &paths {
            let name = path.strip_prefix(&prefix).unwrap_or(path);
            if !known.is_some_and(|known| known.contains_key(name)) {
                let names: Vec<&str> = known.iter().flat_map(|k| k.keys()).map(String::as_str).collect();
                return Err(wrong(format!("{path:?} is no field; the fields are {}", names.join(", "))));
            }
            fields.insert(name.to_string());
        }
        Ok(Self { new: new.unwrap_or_default(), fields })
    }

    /// Returns what is on file with the named fields replaced. A named field that the change leaves out is emptied.
    ///
    /// # Errors
    /// A message that does not decode: a mistake of ours.
    pub fn over(&self, current: &M) -> Result<M, prost::DecodeError> {
        let known = NUMBERS.get(&M::full_name());
        let named: BTreeSet<u32> = known
            .iter()
            .flat_map(|k| k.iter())
            .filter(|(n, _)| self.fields.contains(*n))
            .map(|(_, n)| *n)
            .collect();
        let mut bytes = records(current, |number| !named.contains(&number))?;
        bytes.extend(records(&self.new, |number| named.contains(&number))?);
        M::decode(bytes.as_slice())
    }
}

/// The encoded fields of a message whose numbers are kept.
fn records<M: Message>(message: &M, keep: impl Fn(u32) -> bool) -> Result<Vec<u8>, prost::DecodeError> {
    let whole = message.encode_to_vec();
    let mut rest = whole.as_slice();
    let mut kept = Vec::with_capacity(whole.len());
    while rest.has_remaining() {
        let before = rest;
        let (number, kind): (u32, WireType) = decode_key(&mut rest)?;
        skip_field(kind, number, &mut rest, DecodeContext::default())?;
        if keep(number) {
            kept.extend_from_slice(before.get(..before.len() - rest.len()).unwrap_or_default());
        }
    }
    Ok(kept)
}

#[cfg(test)]
mod tests {
    use scionary_proto::v1;

    use super::*;

    fn mask(paths: &[&str]) -> Option<FieldMask> {
        Some(FieldMask { paths: paths.iter().map(|p| (*p).to_string()).collect() })
    }

    #[test]
    fn named_fields_are_replaced_and_others_stay() {
        let current = v1::OfferDraft {
            cultivar: "one".into(),
            quantity: 4,
            note: "kept".into(),
            hand_over: vec![1, 2],
            place: Some(v1::Place { label: "old".into(), grid_code: "grid".into(), ..Default::default() }),
            ..Default::default()
        };
        let new = v1::OfferDraft {
            cultivar: "ignored".into(),
            quantity: 9,
            hand_over: vec![3],
            place: Some(v1::Place { label: "new".into(), ..Default::default() }),
            ..Default::default()
        };
        let change =
            Change::read("offer", Some(new), mask(&["quantity", "offer.hand_over", "place", "kept_how"]));
        let changed = change.unwrap().over(&current).unwrap();
        assert_eq!((changed.cultivar.as_str(), changed.quantity, changed.note.as_str()), ("one", 9, "kept"));
        assert_eq!(changed.hand_over, [3], "a list is replaced, not added to");
        let place = changed.place.unwrap();
        assert_eq!(
            (place.label.as_str(), place.grid_code.as_str()),
            ("new", ""),
            "a message is replaced whole"
        );
        let emptied =
            Change::<v1::OfferDraft>::read("offer", None, mask(&["note"])).unwrap().over(&current).unwrap();
        assert_eq!((emptied.note.as_str(), emptied.quantity), ("", 4));
    }

    #[test]
    fn masks_name_fields() {
        let read = |paths| Change::<v1::OfferDraft>::read("offer", None, mask(paths));
        assert!(read(&[]).is_err() && read(&["giver_name"]).is_err() && read(&["place.label"]).is_err());
        assert!(read(&["giver_name"]).unwrap_err().to_string().contains("available_from"));
        assert!(read(&vec!["note"; limits::CHOICES_MAX + 1]).is_err());
    }
}
