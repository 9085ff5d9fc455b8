//! Lots, their descent and their tests.

use std::collections::BTreeMap;

use scionary_domain::{
    access::{EditLot, Granted},
    ids::{AccountId, ClaimId, CultivarId, LotId},
    lineage::{Descent, Direction, Kind, Link, Lot, LotCode, LotTest},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::OnConflict,
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{lot, lot_link, lot_test},
    error::StoreError,
    observers::CHUNK,
    source::Source,
};

fn to_lot(row: lot::Model) -> Result<Lot, StoreError> {
    let corrupt = |what, why: String| StoreError::corrupt(what, why);
    Ok(Lot {
        id: LotId::from_uuid(row.id),
        code: LotCode::from_stored(&row.code).ok_or_else(|| corrupt("lot.code", row.code.clone()))?,
        holder: AccountId::from_uuid(row.holder_id),
        crop: row.crop,
        cultivar: row.cultivar_id.map(CultivarId::from_uuid),
        unknown_seedling: row.unknown_seedling,
        kind: Kind::from_word(&row.kind).ok_or_else(|| corrupt("lot.kind", row.kind.clone()))?,
        quantity: i32::try_from(row.quantity).map_err(|e| corrupt("lot.quantity", e.to_string()))?,
        made_on: Date::from_days(row.made_day),
        source: row.source,
        note: row.note,
        claim: row.claim_id.map(ClaimId::from_uuid),
        ended_on: row.ended_day.map(Date::from_days),
        ended_why: row.ended_why,
        entered_by: row.entered_by.map(AccountId::from_uuid),
        version: row.version,
        created_at: Timestamp::from_micros(row.created_at),
    })
}

fn to_row(lot: &Lot) -> lot::ActiveModel {
    lot::ActiveModel {
        id: Set(lot.id.uuid()),
        code: Set(lot.code.stored()),
        holder_id: Set(lot.holder.uuid()),
        crop: Set(lot.crop.clone()),
        cultivar_id: Set(lot.cultivar.map(CultivarId::uuid)),
        unknown_seedling: Set(lot.unknown_seedling),
        kind: Set(lot.kind.word().into()),
        quantity: Set(lot.quantity.into()),
        made_day: Set(lot.made_on.days()),
        source: Set(lot.source.clone()),
        note: Set(lot.note.clone()),
        claim_id: Set(lot.claim.map(ClaimId::uuid)),
        ended_day: Set(lot.ended_on.map(Date::days)),
        ended_why: Set(lot.ended_why.clone()),
        entered_by: Set(lot.entered_by.map(AccountId::uuid)),
        version: Set(lot.version),
        created_at: Set(lot.created_at.micros()),
    }
}

/// Inserts a lot. Returns [`StoreError::Exists`] if the code is taken.
pub async fn insert(tx: &Tx, new: &Lot) -> Result<(), StoreError> {
    lot::Entity::insert(to_row(new)).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces a lot if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: &Granted<EditLot>,
    changed: &Lot,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = lot::Entity::update_many()
        .set(to_row(changed))
        .filter(lot::Column::Id.eq(changed.id.uuid()))
        .filter(lot::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Returns the lot with this id.
pub async fn one(db: &dyn Source, id: LotId) -> Result<Option<Lot>, StoreError> {
    lot::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_lot).transpose()
}

/// Returns the lots that a claim's hand-over made and that have not ended.
pub async fn of_claim(db: &dyn Source, claim: ClaimId) -> Result<Vec<Lot>, StoreError> {
    let rows = lot::Entity::find()
        .filter(lot::Column::ClaimId.eq(claim.uuid()))
        .filter(lot::Column::EndedDay.is_null())
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_lot).collect()
}

/// Returns the lot with this code on its tag.
pub async fn by_code(db: &dyn Source, code: LotCode) -> Result<Option<Lot>, StoreError> {
    let found = lot::Entity::find().filter(lot::Column::Code.eq(code.stored())).one(&db.inner()).await?;
    found.map(to_lot).transpose()
}

/// Returns these lots by id; unknown ids are missing from the map.
pub async fn some(db: &dyn Source, ids: &[LotId]) -> Result<BTreeMap<LotId, Lot>, StoreError> {
    let mut found = BTreeMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows = lot::Entity::find()
            .filter(lot::Column::Id.is_in(chunk.iter().map(|id| id.uuid())))
            .all(&db.inner())
            .await?;
        for row in rows {
            let lot = to_lot(row)?;
            found.insert(lot.id, lot);
        }
    }
    Ok(found)
}

/// Returns the holders of these lots, each with their lots. Ended lots are left out.
pub async fn holders(
    db: &dyn Source,
    ids: impl IntoIterator<Item = LotId>,
) -> Result<BTreeMap<AccountId, Vec<LotId>>, StoreError> {
    let ids: Vec<Uuid> = ids.into_iter().map(LotId::uuid).collect();
    let mut found: BTreeMap<AccountId, Vec<LotId>> = BTreeMap::new();
    for chunk in ids.chunks(CHUNK) {
        let rows: Vec<(Uuid, Uuid)> = lot::Entity::find()
            .select_only()
            .column(lot::Column::HolderId)
            .column(lot::Column::Id)
            .filter(lot::Column::Id.is_in(chunk.iter().copied()))
            .filter(lot::Column::EndedDay.is_null())
            .into_tuple()
            .all(&db.inner())
            .await?;
        for (holder, lot) in rows {
            found.entry(AccountId::from_uuid(holder)).or_default().push(LotId::from_uuid(lot));
        }
    }
    Ok(found)
}

/// Returns an account's lots before an id, newest first: those that have not ended, or all.
pub async fn of_holder(
    db: &dyn Source,
    holder: AccountId,
    ended_too: bool,
    before: Option<LotId>,
    limit: u64,
) -> Result<Vec<Lot>, StoreError> {
    let mut query = lot::Entity::find().filter(lot::Column::HolderId.eq(holder.uuid()));
    if !ended_too {
        query = query.filter(lot::Column::EndedDay.is_null());
    }
    if let Some(before) = before {
        query = query.filter(lot::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(lot::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_lot).collect()
}

/// Returns how many lots an account holds, ended ones included.
pub async fn count(db: &dyn Source, holder: AccountId) -> Result<u64, StoreError> {
    Ok(lot::Entity::find().filter(lot::Column::HolderId.eq(holder.uuid())).count(&db.inner()).await?)
}

fn to_link(row: &lot_link::Model) -> Result<Link, StoreError> {
    let descent = Descent::from_word(&row.descent);
    Ok(Link {
        parent: LotId::from_uuid(row.parent_id),
        child: LotId::from_uuid(row.child_id),
        descent: descent.ok_or_else(|| StoreError::corrupt("lot_link.descent", row.descent.clone()))?,
        day: Date::from_days(row.day),
    })
}

/// Inserts a step of descent. Idempotent.
pub async fn link(tx: &Tx, new: &Link, at: Timestamp) -> Result<(), StoreError> {
    use lot_link::Column as C;
    let row = lot_link::ActiveModel {
        parent_id: Set(new.parent.uuid()),
        child_id: Set(new.child.uuid()),
        descent: Set(new.descent.word().into()),
        day: Set(new.day.days()),
        created_at: Set(at.micros()),
    };
    lot_link::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::ChildId, C::ParentId, C::Descent, C::Day]).do_nothing().to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the steps of descent that lead down from these lots, or up from them.
pub async fn links(
    db: &dyn Source,
    direction: Direction,
    of: impl IntoIterator<Item = LotId>,
) -> Result<Vec<Link>, StoreError> {
    let column = match direction {
        Direction::Forward => lot_link::Column::ParentId,
        Direction::Back => lot_link::Column::ChildId,
    };
    let ids: Vec<Uuid> = of.into_iter().map(LotId::uuid).collect();
    let mut all = Vec::new();
    for chunk in ids.chunks(CHUNK) {
        let rows = lot_link::Entity::find()
            .filter(column.is_in(chunk.iter().copied()))
            .order_by_asc(lot_link::Column::Day)
            .order_by_asc(lot_link::Column::ChildId)
            .all(&db.inner())
            .await?;
        for row in rows {
            all.push(to_link(&row)?);
        }
    }
    Ok(all)
}

/// Inserts a test that did not find its pest.
pub async fn insert_test(
    tx: &Tx,
    id: Uuid,
    test: &LotTest,
    pest_key: &str,
    at: Timestamp,
) -> Result<(), StoreError> {
    let row = lot_test::ActiveModel {
        id: Set(id),
        lot_id: Set(test.lot.uuid()),
        pest: Set(test.pest.clone()),
        pest_key: Set(pest_key.into()),
        sampled_day: Set(test.sampled_on.days()),
        latency_days: Set(test.latency_days),
        method: Set(test.method.clone()),
        created_at: Set(at.micros()),
    };
    lot_test::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the tests of these lots, optionally for one pest (by folded name) and entered up to a time.
pub async fn tests(
    db: &dyn Source,
    of: impl IntoIterator<Item = LotId>,
    pest_key: Option<&str>,
    entered_until: Option<Timestamp>,
) -> Result<Vec<LotTest>, StoreError> {
    let ids: Vec<Uuid> = of.into_iter().map(LotId::uuid).collect();
    let mut all = Vec::new();
    for chunk in ids.chunks(CHUNK) {
        let mut query = lot_test::Entity::find().filter(lot_test::Column::LotId.is_in(chunk.iter().copied()));
        if let Some(key) = pest_key {
            query = query.filter(lot_test::Column::PestKey.eq(key));
        }
        if let Some(until) = entered_until {
            query = query.filter(lot_test::Column::CreatedAt.lte(until.micros()));
        }
        let rows = query
            .order_by_asc(lot_test::Column::SampledDay)
            .order_by_asc(lot_test::Column::Id)
            .all(&db.inner())
            .await?;
        all.extend(rows.into_iter().map(|row| LotTest {
            lot: LotId::from_uuid(row.lot_id),
            pest: row.pest,
            sampled_on: Date::from_days(row.sampled_day),
            latency_days: row.latency_days,
            method: row.method,
        }));
    }
    Ok(all)
}
