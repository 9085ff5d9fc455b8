//! What evidence knows of its people: their group, whether someone vouched for them, how their evidence held up.

use std::collections::{BTreeMap, HashMap};

use scionary_domain::{
    access::{Granted, SuspendAccount, Vouch},
    evidence::{Observer, growers::Record},
    ids::AccountId,
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, sea_query::Expr,
};

use crate::{
    door::Tx,
    entity::{account, grower_weight, observer},
    error::StoreError,
    source::Source,
};

/// Rows named in one statement: both databases take more, and statements stay short.
pub(crate) const CHUNK: usize = 500;

/// A row of the weight table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weight {
    /// The table's version.
    pub version: i64,
    /// How often the grower's evidence is right, 0 to 1.
    pub accuracy: f64,
    /// What that rests on.
    pub record: Record,
    /// What the model of Dawid and Skene gives, where there are enough shared records.
    pub diagnosis: Option<f64>,
    /// From how many shared records.
    pub diagnosis_items: u32,
}

fn to_observer(row: observer::Model, weight: Option<&grower_weight::Model>) -> Observer {
    Observer {
        account: AccountId::from_uuid(row.account_id),
        group: AccountId::from_uuid(row.group_id),
        vouched: row.vouched_at.is_some(),
        suspended: row.suspended,
        accuracy: weight.map(|w| millionths(w.accuracy_e6)),
    }
}

#[expect(clippy::cast_precision_loss, reason = "millionths of numbers near one")]
fn millionths(value: i64) -> f64 {
    value as f64 / 1e6
}
#[expect(clippy::cast_precision_loss, reason = "thousandths of counts of pieces")]
fn thousandths(value: i64) -> f64 {
    value as f64 / 1e3
}
#[expect(clippy::cast_possible_truncation, reason = "shares and counts of pieces")]
fn scaled(value: f64, by: f64) -> i64 {
    (value * by).round() as i64
}
fn small(value: i64) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX)
}

/// All observers.
pub async fn all(db: &dyn Source) -> Result<HashMap<AccountId, Observer>, StoreError> {
    let weights: HashMap<_, _> = grower_weight::Entity::find()
        .all(&db.inner())
        .await?
        .into_iter()
        .map(|w| (w.account_id, w))
        .collect();
    let rows = observer::Entity::find().all(&db.inner()).await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let weight = weights.get(&row.account_id);
            (AccountId::from_uuid(row.account_id), to_observer(row, weight))
        })
        .collect())
}

/// Some observers.
pub async fn some(db: &dyn Source, ids: &[AccountId]) -> Result<HashMap<AccountId, Observer>, StoreError> {
    let mut found = HashMap::new();
    let mut uuids: Vec<_> = ids.iter().map(|id| id.uuid()).collect();
    uuids.sort_unstable();
    uuids.dedup();
    for chunk in uuids.chunks(CHUNK) {
        let weights: HashMap<_, _> = grower_weight::Entity::find()
            .filter(grower_weight::Column::AccountId.is_in(chunk.to_vec()))
            .all(&db.inner())
            .await?
            .into_iter()
            .map(|w| (w.account_id, w))
            .collect();
        let rows = observer::Entity::find()
            .filter(observer::Column::AccountId.is_in(chunk.to_vec()))
            .all(&db.inner())
            .await?;
        for row in rows {
            let weight = weights.get(&row.account_id);
            found.insert(AccountId::from_uuid(row.account_id), to_observer(row, weight));
        }
    }
    Ok(found)
}

/// One observer.
pub async fn one(db: &dyn Source, id: AccountId) -> Result<Option<Observer>, StoreError> {
    Ok(some(db, &[id]).await?.remove(&id))
}

/// A new account's row: its group, and who vouches for it by inviting it.
pub async fn insert(
    tx: &Tx,
    id: AccountId,
    group: AccountId,
    vouched_by: Option<AccountId>,
    at: Timestamp,
) -> Result<(), StoreError> {
    let row = observer::ActiveModel {
        account_id: Set(id.uuid()),
        group_id: Set(group.uuid()),
        vouched_at: Set(vouched_by.map(|_| at.micros())),
        vouched_by: Set(vouched_by.map(AccountId::uuid)),
        suspended: Set(false),
    };
    observer::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Writes an observer of another registry's export, unless the account is known here.
pub async fn import(tx: &Tx, observer: &Observer, at: Timestamp) -> Result<(), StoreError> {
    if one(tx, observer.account).await?.is_some() {
        return Ok(());
    }
    let row = observer::ActiveModel {
        account_id: Set(observer.account.uuid()),
        group_id: Set(observer.group.uuid()),
        vouched_at: Set(observer.vouched.then_some(at.micros())),
        vouched_by: Set(None),
        suspended: Set(observer.suspended),
    };
    observer::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Vouches for someone; false if someone has already.
pub async fn vouch(
    tx: &Tx,
    granted: &Granted<Vouch>,
    id: AccountId,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = observer::Entity::update_many()
        .col_expr(observer::Column::VouchedAt, Expr::value(at.micros()))
        .col_expr(observer::Column::VouchedBy, Expr::value(granted.by().map(AccountId::uuid)))
        .filter(observer::Column::AccountId.eq(id.uuid()))
        .filter(observer::Column::VouchedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Takes a vouching back; false if no one vouched.
pub async fn unvouch(tx: &Tx, _granted: &Granted<Vouch>, id: AccountId) -> Result<bool, StoreError> {
    let changed = observer::Entity::update_many()
        .col_expr(observer::Column::VouchedAt, Expr::value(None::<i64>))
        .col_expr(observer::Column::VouchedBy, Expr::value(None::<uuid::Uuid>))
        .filter(observer::Column::AccountId.eq(id.uuid()))
        .filter(observer::Column::VouchedAt.is_not_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Suspends an account or restores it; false if it is so already.
pub async fn set_suspended(
    tx: &Tx,
    _granted: &Granted<SuspendAccount>,
    id: AccountId,
    at: Option<Timestamp>,
) -> Result<bool, StoreError> {
    let change = account::Entity::update_many()
        .col_expr(account::Column::SuspendedAt, Expr::value(at.map(Timestamp::micros)))
        .filter(account::Column::Id.eq(id.uuid()));
    let change = match at {
        Some(_) => change.filter(account::Column::SuspendedAt.is_null()),
        None => change.filter(account::Column::SuspendedAt.is_not_null()),
    };
    let changed = change.exec(&tx.inner()).await?.rows_affected == 1;
    observer::Entity::update_many()
        .col_expr(observer::Column::Suspended, Expr::value(at.is_some()))
        .filter(observer::Column::AccountId.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(changed)
}

/// A grower's row of the weight table.
pub async fn weight(db: &dyn Source, id: AccountId) -> Result<Option<Weight>, StoreError> {
    Ok(grower_weight::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(|row| to_weight(&row)))
}

fn to_weight(row: &grower_weight::Model) -> Weight {
    Weight {
        version: row.version,
        accuracy: millionths(row.accuracy_e6),
        record: Record {
            compared: thousandths(row.compared_e3),
            right: thousandths(row.right_e3),
            borne_out: small(row.borne_out),
            doubted: small(row.doubted),
            pieces: small(row.pieces),
        },
        diagnosis: row.diagnosis_e6.map(millionths),
        diagnosis_items: small(row.diagnosis_items),
    }
}

/// All weights, by account.
pub async fn weights(db: &dyn Source) -> Result<BTreeMap<AccountId, Weight>, StoreError> {
    let rows = grower_weight::Entity::find().all(&db.inner()).await?;
    Ok(rows.iter().map(|row| (AccountId::from_uuid(row.account_id), to_weight(row))).collect())
}

/// The weight table's version; 0 before the first.
pub async fn weights_version(db: &dyn Source) -> Result<i64, StoreError> {
    let newest = grower_weight::Entity::find()
        .order_by_desc(grower_weight::Column::Version)
        .limit(1)
        .one(&db.inner())
        .await?;
    Ok(newest.map_or(0, |row| row.version))
}

/// Puts a whole weight table in place of the old one.
pub async fn replace_weights(tx: &Tx, rows: &BTreeMap<AccountId, Weight>) -> Result<(), StoreError> {
    grower_weight::Entity::delete_many().exec(&tx.inner()).await?;
    let models: Vec<grower_weight::ActiveModel> = rows
        .iter()
        .map(|(id, w)| grower_weight::ActiveModel {
            account_id: Set(id.uuid()),
            version: Set(w.version),
            accuracy_e6: Set(scaled(w.accuracy, 1e6)),
            compared_e3: Set(scaled(w.record.compared, 1e3)),
            right_e3: Set(scaled(w.record.right, 1e3)),
            borne_out: Set(w.record.borne_out.into()),
            doubted: Set(w.record.doubted.into()),
            pieces: Set(w.record.pieces.into()),
            diagnosis_e6: Set(w.diagnosis.map(|d| scaled(d, 1e6))),
            diagnosis_items: Set(w.diagnosis_items.into()),
        })
        .collect();
    for chunk in models.chunks(CHUNK) {
        grower_weight::Entity::insert_many(chunk.to_vec()).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}
