//! Protected cultivars: entered by curators, asked for at posting.

use scionary_domain::{
    access,
    field::FieldError,
    ids::CultivarId,
    offer::Contents,
    protection::{Draft, Protection, check},
    time::Date,
};
use scionary_store::{Source, protection_store};

use crate::{App, Done, Error, Rule, UseCase, Write, registry::Registry};

/// Says that a cultivar is protected (curators).
pub struct SetProtection {
    /// Which: an id or an exact name.
    pub cultivar: String,
    /// The crop, where two share the name.
    pub crop: String,
    /// What protects it; none to take away what was entered by mistake.
    pub draft: Option<Draft>,
}

impl UseCase for SetProtection {
    type Out = Option<Protection>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Option<Protection>>, Error> {
        let account = write.call.account()?;
        let registry = write.app.registry();
        let record = registry.resolve("cultivar", &self.cultivar, &self.crop)?;
        let granted = access::protect(account, &record.cultivar.crop)?;
        let id = record.cultivar.id;
        let Some(draft) = &self.draft else {
            if !protection_store::remove(write.tx, &granted, id).await? {
                return Err(Rule::NotProtected(record.cultivar.full_name()).into());
            }
            return Ok(Done::new(None, "cultivar.unprotected", id, serde_json::json!({})));
        };
        let protection = check(draft, id)?;
        protection_store::set(write.tx, &granted, &protection, write.call.now).await?;
        let change = serde_json::json!({ "kind": protection.kind.word(), "reference": protection.reference });
        Ok(Done::new(Some(protection), "cultivar.protected", id, change))
    }
}

/// The protection of a cultivar's record, or of one that was merged into it.
pub(crate) async fn of(
    db: &dyn Source,
    registry: &Registry,
    cultivar: CultivarId,
) -> Result<Option<Protection>, Error> {
    let ids: Vec<CultivarId> = match registry.record(cultivar) {
        Some(record) => record.ids().collect(),
        None => vec![cultivar],
    };
    Ok(protection_store::of(db, &ids).await?.into_values().next())
}

/// What a giver has to know; refuses an offer of a protected cultivar whose giver says nothing of the holder's consent.
pub(crate) async fn asked_for(
    db: &dyn Source,
    registry: &Registry,
    contents: &Contents,
    today: Date,
) -> Result<String, Error> {
    let Some(protection) = of(db, registry, contents.cultivar).await?.filter(|p| p.holds(today)) else {
        return Ok(String::new());
    };
    let area = contents.place.area.as_ref().map(|a| a.as_str());
    let within = |code: &str| {
        area.is_none_or(|area| {
            area == code || area.strip_prefix(code).is_some_and(|rest| rest.starts_with('-'))
        })
    };
    let applies = protection.areas.is_empty() || protection.areas.iter().any(|a| within(a.as_str()));
    if !applies {
        return Ok(String::new());
    }
    let sentence = protection.sentence();
    if contents.holder_consent.is_empty() {
        return Err(FieldError::new(
            "offer.holder_consent",
            format!("{sentence}: say how and when the holder gave it to you"),
        )
        .into());
    }
    Ok(sentence)
}

impl App {
    /// The protection of a cultivar, if one is on file.
    ///
    /// # Errors
    /// No such cultivar.
    pub async fn protection(&self, cultivar: &str, crop: &str) -> Result<Option<Protection>, Error> {
        let registry = self.registry();
        let id = registry.resolve("cultivar", cultivar, crop)?.cultivar.id;
        of(self.store().reader(), &registry, id).await
    }
}
