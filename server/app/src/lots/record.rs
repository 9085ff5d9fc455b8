//! Entering a mother plant or a lot.

use scionary_domain::{
    field::FieldError,
    ids::LotId,
    limits,
    lineage::{Descent, Link, Lot, LotDraft, Origin, check_lot},
};
use scionary_store::{StoreError, account_store, lot_store};

use super::{ShownLot, TOPIC, free_code, own, read};
use crate::{Done, Error, Rule, UseCase, Write};

/// Enters a lot.
pub struct RecordLot {
    /// The cultivar: an id or an exact name; may be empty.
    pub cultivar: String,
    /// What it is.
    pub draft: LotDraft,
    /// What it comes from: codes or ids of own lots, and how.
    pub origins: Vec<(String, Descent)>,
}

async fn origins(write: &Write<'_>, named: &[(String, Descent)]) -> Result<Vec<Origin>, Error> {
    if named.len() > limits::LOT_ORIGINS_MAX {
        let most = limits::LOT_ORIGINS_MAX;
        return Err(FieldError::new("origins", format!("at most {most} lots expected")).into());
    }
    let mut all = Vec::new();
    for (at, (text, descent)) in named.iter().enumerate() {
        let (lot, _) = own(write, &format!("origins[{at}].lot"), text).await?;
        let onto = lot_store::links(write.tx, scionary_domain::lineage::Direction::Back, [lot.id]).await?;
        let wood: Vec<LotId> =
            onto.iter().filter(|l| l.descent == Descent::GraftedOnto).map(|l| l.parent).collect();
        let grafted =
            lot_store::some(write.tx, &wood).await?.into_values().filter_map(|l| l.cultivar).collect();
        all.push(Origin {
            parent: lot.id,
            kind: lot.kind,
            crop: lot.crop,
            cultivar: lot.cultivar,
            grafted,
            made_on: lot.made_on,
            descent: *descent,
        });
    }
    Ok(all)
}

impl UseCase for RecordLot {
    type Out = ShownLot;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownLot>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let origins = origins(write, &self.origins).await?;
        let mut draft = self.draft.clone();
        if !self.cultivar.trim().is_empty() {
            let record = registry.resolve("lot.cultivar", &self.cultivar, &draft.crop)?;
            draft.cultivar = Some(record.cultivar.id);
            draft.crop.clone_from(&record.cultivar.crop);
        }
        if !draft.crop.is_empty() {
            registry.check_crop(&draft.crop)?;
        }
        let checked = check_lot(&draft, &origins, now.date())?;
        account_store::lock_account(write.tx, account.id).await?;
        let held = lot_store::count(write.tx, account.id).await?;
        if i64::try_from(held).unwrap_or(i64::MAX) >= limits::LOTS_MAX {
            return Err(Rule::TooManyLots(limits::LOTS_MAX).into());
        }
        let lot = Lot {
            id: LotId::from_uuid(write.new_uuid()?),
            code: free_code(write).await?,
            holder: account.id,
            crop: checked.crop,
            cultivar: checked.cultivar,
            unknown_seedling: draft.unknown_seedling,
            kind: checked.kind,
            quantity: checked.quantity,
            made_on: checked.made_on,
            source: checked.source,
            note: checked.note,
            claim: None,
            ended_on: None,
            ended_why: String::new(),
            entered_by: write.call.entered_by,
            version: 1,
            created_at: now,
        };
        // another one may have drawn the code at this moment: then it runs again and draws another
        lot_store::insert(write.tx, &lot).await.map_err(|e| e.if_exists(StoreError::Collision))?;
        for origin in &origins {
            let link =
                Link { parent: origin.parent, child: lot.id, descent: origin.descent, day: lot.made_on };
            lot_store::link(write.tx, &link, now).await?;
        }
        let (id, change) = (lot.id, serde_json::json!({ "kind": lot.kind.word() }));
        let out = read::one(write.tx, &registry, lot).await?;
        Ok(Done::new(out, "lot.entered", id, change).and_publish(TOPIC, id))
    }
}
