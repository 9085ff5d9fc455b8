//! Wants: what members seek.

use scionary_domain::{
    access::{Granted, WithdrawWant},
    ids::{AccountId, CultivarId, WantId},
    offer::Material,
    place::{AreaCode, GridCode},
    time::{Date, Timestamp},
    want::Want,
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::Expr,
};

use crate::{door::Tx, entity::want, error::StoreError, source::Source};

fn to_want(row: want::Model) -> Result<Want, StoreError> {
    let corrupt = |what, why: String| StoreError::corrupt(what, why);
    let materials: Option<Vec<Material>> =
        row.materials.split(',').filter(|w| !w.is_empty()).map(Material::from_word).collect();
    Ok(Want {
        id: WantId::from_uuid(row.id),
        seeker: AccountId::from_uuid(row.account_id),
        crop: row.crop,
        cultivar: row.cultivar_id.map(CultivarId::from_uuid),
        wishes: serde_json::from_str(&row.wishes).map_err(|e| corrupt("want.wishes", e.to_string()))?,
        materials: materials.ok_or_else(|| corrupt("want.materials", row.materials.clone()))?,
        grid: GridCode::parse(&row.grid_code).map_err(|e| corrupt("want.grid_code", e.to_string()))?,
        within_km: i32::try_from(row.within_km).map_err(|e| corrupt("want.within_km", e.to_string()))?,
        to: AreaCode::parse(&row.to_area).map_err(|e| corrupt("want.to_area", e))?,
        until: Date::from_days(row.until_day),
        note: row.note,
        withdrawn_at: row.withdrawn_at.map(Timestamp::from_micros),
        entered_by: row.entered_by.map(AccountId::from_uuid),
        created_at: Timestamp::from_micros(row.created_at),
    })
}

/// Inserts a want.
pub async fn insert(tx: &Tx, new: &Want) -> Result<(), StoreError> {
    let materials: Vec<&str> = new.materials.iter().map(|m| m.word()).collect();
    let row = want::ActiveModel {
        id: Set(new.id.uuid()),
        account_id: Set(new.seeker.uuid()),
        crop: Set(new.crop.clone()),
        cultivar_id: Set(new.cultivar.map(CultivarId::uuid)),
        wishes: Set(serde_json::to_string(&new.wishes).map_err(|e| StoreError::corrupt("want.wishes", e))?),
        materials: Set(materials.join(",")),
        grid_code: Set(new.grid.to_string()),
        within_km: Set(new.within_km.into()),
        to_area: Set(new.to.as_str().into()),
        until_day: Set(new.until.days()),
        note: Set(new.note.clone()),
        withdrawn_at: Set(None),
        entered_by: Set(new.entered_by.map(AccountId::uuid)),
        created_at: Set(new.created_at.micros()),
    };
    want::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Withdraws a want; returns false if it is already withdrawn.
pub async fn withdraw(
    tx: &Tx,
    _granted: &Granted<WithdrawWant>,
    id: WantId,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let done = want::Entity::update_many()
        .col_expr(want::Column::WithdrawnAt, Expr::value(at.micros()))
        .filter(want::Column::Id.eq(id.uuid()))
        .filter(want::Column::WithdrawnAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Returns the want with this id.
pub async fn one(db: &dyn Source, id: WantId) -> Result<Option<Want>, StoreError> {
    want::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_want).transpose()
}

/// Returns how many open wants an account has.
pub async fn count_open(db: &dyn Source, seeker: AccountId, today: Date) -> Result<u64, StoreError> {
    Ok(want::Entity::find()
        .filter(want::Column::AccountId.eq(seeker.uuid()))
        .filter(want::Column::WithdrawnAt.is_null())
        .filter(want::Column::UntilDay.gte(today.days()))
        .count(&db.inner())
        .await?)
}

/// Returns an account's wants before an id, newest first: with `open_on` those open on that day, else all.
pub async fn of(
    db: &dyn Source,
    seeker: AccountId,
    open_on: Option<Date>,
    before: Option<WantId>,
    limit: u64,
) -> Result<Vec<Want>, StoreError> {
    let mut query = want::Entity::find().filter(want::Column::AccountId.eq(seeker.uuid()));
    if let Some(today) = open_on {
        query = query
            .filter(want::Column::WithdrawnAt.is_null())
            .filter(want::Column::UntilDay.gte(today.days()));
    }
    if let Some(before) = before {
        query = query.filter(want::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(want::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_want).collect()
}

/// Returns open wants for a crop before an id, newest first.
pub async fn open_on_crop(
    db: &dyn Source,
    crop: &str,
    today: Date,
    before: Option<WantId>,
    limit: u64,
) -> Result<Vec<Want>, StoreError> {
    let mut query = want::Entity::find()
        .filter(want::Column::Crop.eq(crop))
        .filter(want::Column::WithdrawnAt.is_null())
        .filter(want::Column::UntilDay.gte(today.days()));
    if let Some(before) = before {
        query = query.filter(want::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(want::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_want).collect()
}
