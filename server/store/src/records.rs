//! Rows that every write leaves behind: the idempotency key with its reply, audit rows, outbox rows. Also the
//! settings that the servers of one database share.

use scionary_domain::{
    ids::{AccountId, RequestId},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::OnConflict,
};

use crate::{
    door::Tx,
    entity::{audit_log, idempotency, outbox, setting},
    error::StoreError,
    source::Source,
};

/// Entry under an idempotency key.
#[derive(Debug, PartialEq, Eq)]
pub struct Kept {
    /// Method of the call.
    pub rpc: String,
    /// Hash of the request.
    pub fingerprint: Vec<u8>,
    /// Reply to repeat; `None` if it contained a secret.
    pub reply: Option<Vec<u8>>,
}

/// A row of the audit log. It names accounts by id only, so that the log stays complete when a person is erased.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditRow {
    /// Action, such as `offer.posted`.
    pub action: &'static str,
    /// Id of the changed object.
    pub subject: String,
    /// The change as JSON, without secrets.
    pub change: String,
}

/// A row of the outbox: a change that watchers can follow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutboxRow {
    /// Topic, such as `offer` or `registry`.
    pub topic: &'static str,
    /// Id of the changed object.
    pub subject: String,
}

/// Returns the entry under an idempotency key.
pub async fn kept(db: &dyn Source, scope: &str, key: &str) -> Result<Option<Kept>, StoreError> {
    let row = idempotency::Entity::find_by_id((scope.to_string(), key.to_string())).one(&db.inner()).await?;
    Ok(row.map(|r| Kept { rpc: r.rpc, fingerprint: r.fingerprint, reply: r.reply }))
}

/// Stores a reply under an idempotency key. Returns [`StoreError::Exists`] if a concurrent call has stored one.
pub async fn keep(tx: &Tx, scope: &str, key: &str, kept: Kept, at: Timestamp) -> Result<(), StoreError> {
    let row = idempotency::ActiveModel {
        scope: Set(scope.into()),
        key: Set(key.into()),
        rpc: Set(kept.rpc),
        fingerprint: Set(kept.fingerprint),
        reply: Set(kept.reply),
        created_at: Set(at.micros()),
    };
    idempotency::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Deletes the entry under an idempotency key.
pub async fn forget_kept(tx: &Tx, scope: &str, key: &str) -> Result<(), StoreError> {
    idempotency::Entity::delete_by_id((scope.to_string(), key.to_string())).exec(&tx.inner()).await?;
    Ok(())
}

/// Deletes idempotency keys older than a time; returns their number.
pub async fn forget_keys(tx: &Tx, before: Timestamp) -> Result<u64, StoreError> {
    let gone = idempotency::Entity::delete_many()
        .filter(idempotency::Column::CreatedAt.lt(before.micros()))
        .exec(&tx.inner())
        .await?;
    Ok(gone.rows_affected)
}

/// Deletes outbox rows older than a time; returns their number.
pub async fn forget_outbox(tx: &Tx, before: Timestamp) -> Result<u64, StoreError> {
    let gone = outbox::Entity::delete_many()
        .filter(outbox::Column::At.lt(before.micros()))
        .exec(&tx.inner())
        .await?;
    Ok(gone.rows_affected)
}

/// Appends to the audit log.
pub async fn audit(
    tx: &Tx,
    actor: Option<AccountId>,
    request: RequestId,
    rows: Vec<AuditRow>,
    at: Timestamp,
) -> Result<(), StoreError> {
    for row in rows {
        let model = audit_log::ActiveModel {
            seq: NotSet,
            at: Set(at.micros()),
            actor_id: Set(actor.map(AccountId::uuid)),
            action: Set(row.action.into()),
            subject: Set(row.subject),
            change: Set(row.change),
            request_id: Set(request.uuid()),
        };
        audit_log::Entity::insert(model).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Appends to the outbox.
pub async fn publish(tx: &Tx, rows: Vec<OutboxRow>, at: Timestamp) -> Result<(), StoreError> {
    let models: Vec<outbox::ActiveModel> = rows
        .into_iter()
        .map(|row| outbox::ActiveModel {
            seq: NotSet,
            at: Set(at.micros()),
            topic: Set(row.topic.into()),
            subject: Set(row.subject),
        })
        .collect();
    for chunk in models.chunks(crate::observers::CHUNK) {
        outbox::Entity::insert_many(chunk.to_vec()).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Returns the rows of a topic after a sequence number, oldest first: sequence number, time and subject.
pub async fn outbox_after(
    db: &dyn Source,
    topic: &str,
    after: i64,
) -> Result<Vec<(i64, Timestamp, String)>, StoreError> {
    let rows: Vec<(i64, i64, String)> = outbox::Entity::find()
        .select_only()
        .column(outbox::Column::Seq)
        .column(outbox::Column::At)
        .column(outbox::Column::Subject)
        .filter(outbox::Column::Topic.eq(topic))
        .filter(outbox::Column::Seq.gt(after))
        .order_by_asc(outbox::Column::Seq)
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|(seq, at, subject)| (seq, Timestamp::from_micros(at), subject)).collect())
}

/// Returns the newest sequence number of a topic; 0 if it has no rows.
pub async fn outbox_newest(db: &dyn Source, topic: &str) -> Result<i64, StoreError> {
    let newest = outbox::Entity::find()
        .filter(outbox::Column::Topic.eq(topic))
        .order_by_desc(outbox::Column::Seq)
        .limit(1)
        .one(&db.inner())
        .await?;
    Ok(newest.map_or(0, |row| row.seq))
}

/// Returns a shared setting.
pub async fn setting(db: &dyn Source, name: &str) -> Result<Option<String>, StoreError> {
    Ok(setting::Entity::find_by_id(name.to_string()).one(&db.inner()).await?.map(|r| r.value))
}

/// Inserts or replaces a shared setting.
pub async fn set_setting(tx: &Tx, name: &str, value: &str, at: Timestamp) -> Result<(), StoreError> {
    let row = setting::ActiveModel {
        name: Set(name.into()),
        value: Set(value.into()),
        updated_at: Set(at.micros()),
    };
    setting::Entity::insert(row)
        .on_conflict(
            OnConflict::column(setting::Column::Name)
                .update_columns([setting::Column::Value, setting::Column::UpdatedAt])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}
