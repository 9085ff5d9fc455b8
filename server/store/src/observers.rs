//! Growers as observers: their group, whether a member vouches for them, and how reliable their evidence is.

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

/// Number of rows in one statement, well below the limit of both databases.
pub(crate) const CHUNK: usize = 500;

/// One grower's row of the weight table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weight {
    /// Version of the table.
    pub version: i64,
    /// Estimated share of the grower's evidence that is right, 0 to 1.
    pub accuracy: f64,
    /// Counts behind the accuracy.
    pub record: Record,
    /// Accuracy by the model of Dawid and Skene; `None` without enough shared records.
    pub diagnosis: Option<f64>,
    /// Number of shared records behind the diagnosis.
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

/// Returns all observers by account.
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

/// Returns these observers by account; unknown accounts are missing from the map.
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

/// Returns the observer of an account.
pub async fn one(db: &dyn Source, id: AccountId) -> Result<Option<Observer>, StoreError> {
    Ok(some(db, &[id]).await?.remove(&id))
}

/// Inserts the observer of a new account: its group, and the member who vouches for it by an invitation.
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

/// Imports an observer from another registry's export; a known account is not changed.
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

/// Records that a member vouches for an account; returns false if one already does.
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

/// Withdraws the vouching for an account; returns false if there is none.
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

/// Suspends an account, or restores it with `None`; returns false if it is already so.
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

/// Returns a grower's row of the weight table.
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

/// Returns all rows of the weight table, by account.
pub async fn weights(db: &dyn Source) -> Result<BTreeMap<AccountId, Weight>, StoreError> {
    let rows = grower_weight::Entity::find().all(&db.inner()).await?;
    Ok(rows.iter().map(|row| (AccountId::from_uuid(row.account_id), to_weight(row))).collect())
}

/// Returns the version of the weight table; 0 if it is empty.
pub async fn weights_version(db: &dyn Source) -> Result<i64, StoreError> {
    let newest = grower_weight::Entity::find()
        .order_by_desc(grower_weight::Column::Version)
        .limit(1)
        .one(&db.inner())
        .await?;
    Ok(newest.map_or(0, |row| row.version))
}

/// Replaces the whole weight table.
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
