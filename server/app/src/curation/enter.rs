//! A cultivar that is not on file, taken as a member calls it, so that it can be offered and wished for at once. It is marked,
//! and curators can rename it or merge it into another record later.

use scionary_domain::{
    access::Granted, cultivar::Rank, curation::Content, field::Fields, ids::CultivarId, limits, names::Folded,
};
use scionary_store::{Event, Version, curation_store};
use serde_json::json;

use crate::{Done, Error, Rule, UseCase, Write, registry};

/// What stands in the notes of such a record.
const AS_SAID: &str = "Entered by a member as they call it; no curator has looked at it yet.";
/// The action in a record's history.
const ENTERED: &str = "entered as a member calls it";

/// Enters a cultivar as a member calls it.
pub struct EnterCultivar {
    /// The crop.
    pub crop: String,
    /// The name.
    pub name: String,
}

impl UseCase for EnterCultivar {
    /// The record, and whether it was on file already.
    type Out = (CultivarId, bool);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let account = write.call.account()?;
        let registry = write.app.registry();
        let mut fields = Fields::new();
        let name = fields.line("name", &self.name, 1, limits::NAME_CHARS_MAX);
        if name.as_ref().is_some_and(|name| Folded::new(name).joined.is_empty()) {
            fields.wrong("name", "a name with letters or digits expected");
        }
        let crop = registry.crop(&self.crop);
        if crop.is_none() {
            fields.wrong("crop", registry.crop_expected(&self.crop));
        }
        let whole = name.zip(crop);
        let (name, crop) = fields.finish(whole)?;
        if let Ok(record) = registry.resolve("name", &name, &crop.slug) {
            return Ok(Done::quiet((record.cultivar.id, true)));
        }
        let since = write.call.now.plus_days(-1);
        let entered = curation_store::count_events(write.tx, account.id, ENTERED, since).await?;
        if entered >= limits::ENTERED_A_DAY {
            return Err(Rule::TooManyEntered(limits::ENTERED_A_DAY).into());
        }
        let content = Content {
            name: name.clone(),
            qualifier: String::new(),
            botanical_name: crop.botanical_name.clone(),
            rank: Rank::Cultivar,
            origin: String::new(),
            notes: AS_SAID.into(),
            names: Vec::new(),
            parents: Vec::new(),
            pins: Vec::new(),
        };
        let id = CultivarId::from_uuid(write.new_uuid()?);
        let (now, by) = (write.call.now, Some(account.id));
        let granted = Granted::system("members name what they have");
        curation_store::insert_record(write.tx, &granted, id, &crop.slug, &content, now)
            .await
            .map_err(|e| e.if_exists(Error::Rule(Rule::NameTaken(name.clone()))))?;
        let version = Version { version: 1, content, at: now, by, proposal: None };
        curation_store::keep_version(write.tx, id, &version).await?;
        let event = Event {
            seq: 0,
            cultivar: Some(id),
            crop: crop.slug.clone(),
            at: now,
            by,
            action: ENTERED.into(),
            subject: id.to_string(),
            why: String::new(),
            detail: name.clone(),
            version: Some(1),
        };
        curation_store::tell(write.tx, &event).await?;
        let change = json!({ "crop": crop.slug, "name": name });
        Ok(Done::new((id, false), "cultivar.entered", id, change).and_publish(registry::TOPIC, id))
    }
}
