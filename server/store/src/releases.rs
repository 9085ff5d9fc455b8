//! Releases of movement rules that stewards propose and publish.

use scionary_domain::{
    access::{Granted, PublishRules},
    ids::AccountId,
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::Expr,
};

use crate::{door::Tx, entity::movement_release, error::StoreError, source::Source};

/// A release of movement rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Release {
    /// Sequence number.
    pub seq: i64,
    /// Reason for the release, in words.
    pub note: String,
    /// Rule files, as JSON.
    pub files: String,
    /// Steward who proposed it.
    pub proposed_by: AccountId,
    /// Time of the proposal.
    pub proposed_at: Timestamp,
    /// Steward who published it, other than the proposer; `None` before.
    pub published_by: Option<AccountId>,
    /// Time of publication.
    pub published_at: Option<Timestamp>,
    /// Time of withdrawal; `None` if not withdrawn.
    pub withdrawn_at: Option<Timestamp>,
}

fn to_release(row: movement_release::Model) -> Release {
    Release {
        seq: row.seq,
        note: row.note,
        files: row.files,
        proposed_by: AccountId::from_uuid(row.proposed_by),
        proposed_at: Timestamp::from_micros(row.proposed_at),
        published_by: row.published_by.map(AccountId::from_uuid),
        published_at: row.published_at.map(Timestamp::from_micros),
        withdrawn_at: row.withdrawn_at.map(Timestamp::from_micros),
    }
}

/// Inserts a proposed release and returns its sequence number.
pub async fn propose(
    tx: &Tx,
    granted: &Granted<PublishRules>,
    note: &str,
    files: &str,
    at: Timestamp,
) -> Result<i64, StoreError> {
    let by = granted.by().ok_or_else(|| StoreError::Refused("a release has an author".into()))?;
    let row = movement_release::ActiveModel {
        seq: NotSet,
        note: Set(note.into()),
        files: Set(files.into()),
        proposed_by: Set(by.uuid()),
        proposed_at: Set(at.micros()),
        published_by: Set(None),
        published_at: Set(None),
        withdrawn_at: Set(None),
    };
    Ok(movement_release::Entity::insert(row).exec(&tx.inner()).await?.last_insert_id)
}

/// Publishes a release; returns false if it is already published or withdrawn.
pub async fn publish(
    tx: &Tx,
    granted: &Granted<PublishRules>,
    seq: i64,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let done = movement_release::Entity::update_many()
        .col_expr(movement_release::Column::PublishedBy, Expr::value(granted.by().map(AccountId::uuid)))
        .col_expr(movement_release::Column::PublishedAt, Expr::value(at.micros()))
        .filter(movement_release::Column::Seq.eq(seq))
        .filter(movement_release::Column::PublishedAt.is_null())
        .filter(movement_release::Column::WithdrawnAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Withdraws a release, published or not; returns false if there is none or it is already withdrawn.
pub async fn withdraw(
    tx: &Tx,
    _granted: &Granted<PublishRules>,
    seq: i64,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let done = movement_release::Entity::update_many()
        .col_expr(movement_release::Column::WithdrawnAt, Expr::value(at.micros()))
        .filter(movement_release::Column::Seq.eq(seq))
        .filter(movement_release::Column::WithdrawnAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Returns the release with this sequence number.
pub async fn one(db: &dyn Source, seq: i64) -> Result<Option<Release>, StoreError> {
    Ok(movement_release::Entity::find_by_id(seq).one(&db.inner()).await?.map(to_release))
}

/// Returns the release in force: the last published one that is not withdrawn.
pub async fn in_force(db: &dyn Source) -> Result<Option<Release>, StoreError> {
    let newest = movement_release::Entity::find()
        .filter(movement_release::Column::PublishedAt.is_not_null())
        .filter(movement_release::Column::WithdrawnAt.is_null())
        .order_by_desc(movement_release::Column::PublishedAt)
        .order_by_desc(movement_release::Column::Seq)
        .limit(1)
        .one(&db.inner())
        .await?;
    Ok(newest.map(to_release))
}

/// Returns releases before a sequence number, newest first.
pub async fn list(db: &dyn Source, before: Option<i64>, limit: u64) -> Result<Vec<Release>, StoreError> {
    let mut query = movement_release::Entity::find();
    if let Some(before) = before {
        query = query.filter(movement_release::Column::Seq.lt(before));
    }
    let rows = query.order_by_desc(movement_release::Column::Seq).limit(limit).all(&db.inner()).await?;
    Ok(rows.into_iter().map(to_release).collect())
}
