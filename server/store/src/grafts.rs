//! Grafting log of the growers.

use scionary_domain::{
    access::{EditGrafts, Granted},
    grafting::{Grafts, Method, SETTLED_DAYS},
    ids::{AccountId, CultivarId, GraftId},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, Condition, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter,
    QueryOrder, QuerySelect, sea_query::Expr,
};

use crate::{door::Tx, entity::grafts, error::StoreError, source::Source};

/// Sum of one grower's reported grafts by one method in one month.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sum {
    /// Account of the grower.
    pub grower: AccountId,
    /// Grafting method.
    pub method: Method,
    /// Month as it would be north of the equator, 1 to 12.
    pub month: u8,
    /// Number of grafts made.
    pub made: u64,
    /// Number of grafts that took.
    pub taken: u64,
}

fn method(word: &str) -> Result<Method, StoreError> {
    Method::from_word(word).ok_or_else(|| StoreError::corrupt("grafts.method", format!("{word:?}")))
}

fn small(count: i64) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

fn to_grafts(row: grafts::Model) -> Result<Grafts, StoreError> {
    Ok(Grafts {
        id: GraftId::from_uuid(row.id),
        grower: AccountId::from_uuid(row.account_id),
        cultivar: CultivarId::from_uuid(row.cultivar_id),
        crop: row.crop,
        method: method(&row.method)?,
        day: Date::from_days(row.made_day),
        south: row.south,
        scion_from: row.scion_from,
        rootstock: row.rootstock,
        made: small(row.made),
        taken: row.taken.map(small),
        seen_on: row.seen_day.map(Date::from_days),
        note: row.note,
        at: Timestamp::from_micros(row.created_at),
        version: row.version,
    })
}

fn to_row(entry: &Grafts) -> grafts::ActiveModel {
    grafts::ActiveModel {
        id: Set(entry.id.uuid()),
        account_id: Set(entry.grower.uuid()),
        cultivar_id: Set(entry.cultivar.uuid()),
        crop: Set(entry.crop.clone()),
        method: Set(entry.method.word().into()),
        made_day: Set(entry.day.days()),
        south: Set(entry.south),
        northern_month: Set(entry.northern_month().into()),
        scion_from: Set(entry.scion_from.clone()),
        rootstock: Set(entry.rootstock.clone()),
        made: Set(entry.made.into()),
        taken: Set(entry.taken.map(Into::into)),
        seen_day: Set(entry.seen_on.map(Date::days)),
        note: Set(entry.note.clone()),
        version: Set(entry.version),
        created_at: Set(entry.at.micros()),
    }
}

/// Inserts an entry.
pub async fn insert(tx: &Tx, new: &Grafts) -> Result<(), StoreError> {
    grafts::Entity::insert(to_row(new)).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the entry with this id.
pub async fn one(db: &dyn Source, id: GraftId) -> Result<Option<Grafts>, StoreError> {
    grafts::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_grafts).transpose()
}

/// Returns a grower's entries before an id, newest first: those without a report, or all.
pub async fn of(
    db: &dyn Source,
    grower: AccountId,
    unreported_only: bool,
    before: Option<GraftId>,
    limit: u64,
) -> Result<Vec<Grafts>, StoreError> {
    let mut query = grafts::Entity::find().filter(grafts::Column::AccountId.eq(grower.uuid()));
    if unreported_only {
        query = query.filter(grafts::Column::Taken.is_null());
    }
    if let Some(before) = before {
        query = query.filter(grafts::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(grafts::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_grafts).collect()
}

/// Returns how many entries a grower has.
pub async fn count(db: &dyn Source, grower: AccountId) -> Result<u64, StoreError> {
    Ok(grafts::Entity::find().filter(grafts::Column::AccountId.eq(grower.uuid())).count(&db.inner()).await?)
}

/// Replaces an entry if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: Granted<EditGrafts>,
    changed: &Grafts,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = grafts::Entity::update_many()
        .set(to_row(changed))
        .filter(grafts::Column::Id.eq(changed.id.uuid()))
        .filter(grafts::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Deletes an entry; returns true if it existed.
pub async fn delete(tx: &Tx, _granted: Granted<EditGrafts>, id: GraftId) -> Result<bool, StoreError> {
    Ok(grafts::Entity::delete_by_id(id.uuid()).exec(&tx.inner()).await?.rows_affected == 1)
}

/// Sums the settled grafts of a crop, or of these records in it, by grower, method and month. Entries count
/// only after [`SETTLED_DAYS`], failures included, so that early reports of failure do not lower a rate.
pub async fn sums(
    db: &dyn Source,
    crop: &str,
    records: Option<&[CultivarId]>,
    today: Date,
) -> Result<Vec<Sum>, StoreError> {
    let mut query = grafts::Entity::find()
        .select_only()
        .column(grafts::Column::AccountId)
        .column(grafts::Column::Method)
        .column(grafts::Column::NorthernMonth)
        .expr_as(grafts::Column::Made.sum().cast_as("bigint"), "made")
        .expr_as(grafts::Column::Taken.sum().cast_as("bigint"), "taken")
        .filter(grafts::Column::Crop.eq(crop))
        .filter(grafts::Column::Taken.is_not_null())
        .filter(grafts::Column::MadeDay.lte(today.plus_days(-SETTLED_DAYS).days()))
        .filter(
            Condition::any()
                .add(grafts::Column::Taken.eq(0))
                .add(Expr::cust(format!("seen_day - made_day >= {SETTLED_DAYS}"))),
        );
    if let Some(records) = records {
        query = query.filter(grafts::Column::CultivarId.is_in(records.iter().map(|id| id.uuid())));
    }
    let rows: Vec<(uuid::Uuid, String, i64, i64, i64)> = query
        .group_by(grafts::Column::AccountId)
        .group_by(grafts::Column::Method)
        .group_by(grafts::Column::NorthernMonth)
        .order_by_asc(grafts::Column::AccountId)
        .order_by_asc(grafts::Column::Method)
        .order_by_asc(grafts::Column::NorthernMonth)
        .into_tuple()
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|(grower, word, month, made, taken)| {
            Ok(Sum {
                grower: AccountId::from_uuid(grower),
                method: method(&word)?,
                month: u8::try_from(month).map_err(|e| StoreError::corrupt("grafts.northern_month", e))?,
                made: made.unsigned_abs(),
                taken: taken.unsigned_abs(),
            })
        })
        .collect()
}
