//! Sowings, and the counts that growers have entered for them.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    ids::{AccountId, CultivarId, SowingId},
    sown::Sowing,
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::Expr,
};

use crate::{
    door::Tx,
    entity::{evidence, sowing},
    error::StoreError,
    source::Source,
};

fn to_sowing(row: sowing::Model) -> Sowing {
    Sowing {
        id: SowingId::from_uuid(row.id),
        grower: AccountId::from_uuid(row.account_id),
        cultivar: CultivarId::from_uuid(row.cultivar_id),
        crop: row.crop,
        day: Date::from_days(row.sown_day),
        seeds: u32::try_from(row.seeds).unwrap_or(u32::MAX),
        tree: row.tree,
        note: row.note,
        closed: row.closed_at.map(|at| (Timestamp::from_micros(at), row.closed_why)),
        at: Timestamp::from_micros(row.created_at),
        version: row.version,
    }
}

/// Inserts a sowing.
pub async fn insert(tx: &Tx, new: &Sowing) -> Result<(), StoreError> {
    let row = sowing::ActiveModel {
        id: Set(new.id.uuid()),
        account_id: Set(new.grower.uuid()),
        cultivar_id: Set(new.cultivar.uuid()),
        crop: Set(new.crop.clone()),
        sown_day: Set(new.day.days()),
        seeds: Set(new.seeds.into()),
        tree: Set(new.tree.clone()),
        note: Set(new.note.clone()),
        closed_at: Set(None),
        closed_why: Set(String::new()),
        version: Set(new.version),
        created_at: Set(new.at.micros()),
    };
    sowing::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the sowing with this id.
pub async fn one(db: &dyn Source, id: SowingId) -> Result<Option<Sowing>, StoreError> {
    Ok(sowing::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_sowing))
}

/// Returns a grower's sowings before an id, newest first: open ones, or all.
pub async fn of(
    db: &dyn Source,
    grower: AccountId,
    open_only: bool,
    before: Option<SowingId>,
    limit: u64,
) -> Result<Vec<Sowing>, StoreError> {
    let mut query = sowing::Entity::find().filter(sowing::Column::AccountId.eq(grower.uuid()));
    if open_only {
        query = query.filter(sowing::Column::ClosedAt.is_null());
    }
    if let Some(before) = before {
        query = query.filter(sowing::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(sowing::Column::Id).limit(limit).all(&db.inner()).await?;
    Ok(rows.into_iter().map(to_sowing).collect())
}

/// Returns how many open sowings a grower has.
pub async fn count_open(db: &dyn Source, grower: AccountId) -> Result<u64, StoreError> {
    Ok(sowing::Entity::find()
        .filter(sowing::Column::AccountId.eq(grower.uuid()))
        .filter(sowing::Column::ClosedAt.is_null())
        .count(&db.inner())
        .await?)
}

/// Returns for each sowing the descriptors with current evidence; `+fruit` is appended to those judged by the fruit.
pub async fn answered(
    db: &dyn Source,
    ids: &[SowingId],
) -> Result<BTreeMap<SowingId, BTreeSet<String>>, StoreError> {
    let rows: Vec<(Option<uuid::Uuid>, String, String)> = evidence::Entity::find()
        .select_only()
        .column(evidence::Column::SowingId)
        .column(evidence::Column::Descriptor)
        .column(evidence::Column::Method)
        .filter(evidence::Column::SowingId.is_in(ids.iter().map(|id| id.uuid())))
        .filter(evidence::Column::EndedAt.is_null())
        .into_tuple()
        .all(&db.inner())
        .await?;
    let mut of: BTreeMap<SowingId, BTreeSet<String>> = BTreeMap::new();
    for (id, descriptor, method) in rows {
        if let Some(id) = id {
            let fruit = if method == "fruit" { "+fruit" } else { "" };
            of.entry(SowingId::from_uuid(id)).or_default().insert(format!("{descriptor}{fruit}"));
        }
    }
    Ok(of)
}

/// Closes a grower's own sowing; returns false if it is already closed or has another grower.
pub async fn close(
    tx: &Tx,
    id: SowingId,
    grower: AccountId,
    why: &str,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = sowing::Entity::update_many()
        .col_expr(sowing::Column::ClosedAt, Expr::value(at.micros()))
        .col_expr(sowing::Column::ClosedWhy, Expr::value(why))
        .col_expr(sowing::Column::Version, Expr::cust("version + 1"))
        .filter(sowing::Column::Id.eq(id.uuid()))
        .filter(sowing::Column::AccountId.eq(grower.uuid()))
        .filter(sowing::Column::ClosedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}
