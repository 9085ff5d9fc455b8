//! Making a want, and taking it back.

use scionary_domain::{
    access,
    ids::WantId,
    limits,
    want::{Want, WantDraft, check},
};
use scionary_store::{account_store, want_store};

use super::{ShownWant, TOPIC};
use crate::{Done, Error, Rule, UseCase, Write};

/// Makes a want.
pub struct MakeWant {
    /// The cultivar: an id or an exact name; empty for a wish.
    pub cultivar: String,
    /// The crop, where no cultivar says it.
    pub crop: String,
    /// The rest.
    pub draft: WantDraft,
}

/// Takes a want back.
pub struct WithdrawWant {
    /// The want's id.
    pub id: WantId,
}

impl UseCase for MakeWant {
    type Out = ShownWant;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownWant>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let record = if self.cultivar.trim().is_empty() {
            registry.check_crop(&self.crop)?;
            None
        } else {
            Some(registry.resolve("want.cultivar", &self.cultivar, &self.crop)?)
        };
        let slug = record.map_or(self.crop.as_str(), |r| r.cultivar.crop.as_str());
        let crop = registry.crop(slug).ok_or_else(|| {
            Error::from(scionary_domain::field::FieldError::new("want.crop", registry.crop_expected(slug)))
        })?;
        let checked = check(&self.draft, crop, record.is_some(), now.date())?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = want_store::count_open(write.tx, account.id, now.date()).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::WANTS_OPEN_MAX {
            return Err(Rule::TooManyWants(limits::WANTS_OPEN_MAX).into());
        }
        let want = Want {
            id: WantId::from_uuid(write.new_uuid()?),
            seeker: account.id,
            crop: crop.slug.clone(),
            cultivar: record.map(|r| r.cultivar.id),
            wishes: self.draft.wishes.clone(),
            materials: self.draft.materials.clone(),
            grid: checked.grid,
            within_km: self.draft.within_km,
            to: checked.to,
            until: checked.until,
            note: checked.note,
            withdrawn_at: None,
            entered_by: write.call.entered_by,
            created_at: now,
        };
        want_store::insert(write.tx, &want).await?;
        let id = want.id;
        let change = serde_json::json!({ "crop": want.crop });
        let out = ShownWant::new(&registry, want, now.date());
        Ok(Done::new(out, "want.made", id, change).and_publish(TOPIC, id))
    }
}

impl UseCase for WithdrawWant {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        let account = write.call.account()?;
        let missing = || Error::not_found("want", self.id);
        let want = want_store::one(write.tx, self.id).await?.ok_or_else(missing)?;
        let granted = access::withdraw_want(account, want.seeker).ok_or_else(missing)?;
        if !want_store::withdraw(write.tx, &granted, self.id, write.call.now).await? {
            return Err(Rule::WantOver.into());
        }
        Ok(Done::new((), "want.withdrawn", self.id, serde_json::json!({})))
    }
}
