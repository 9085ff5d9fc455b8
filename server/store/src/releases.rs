//! Rules on moving plants that stewards proposed and published.

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

/// A release of rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Release {
    /// Its number.
    pub seq: i64,
    /// Why, in words.
    pub note: String,
    /// The files, as JSON.
    pub files: String,
    /// Who proposed it.
    pub proposed_by: AccountId,
    /// When.
    pub proposed_at: Timestamp,
    /// Who published it: someone else.
    pub published_by: Option<AccountId>,
    /// When.
    pub published_at: Option<Timestamp>,
    /// When it was taken back.
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

/// Proposes a release; its number.
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

/// Publishes a release that is neither published nor taken back; whether it was such a one.
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

/// Takes a release back, published or not; whether there was one to take back.
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

/// A release.
pub async fn one(db: &dyn Source, seq: i64) -> Result<Option<Release>, StoreError> {
    Ok(movement_release::Entity::find_by_id(seq).one(&db.inner()).await?.map(to_release))
}

/// The release in force: the one that was published last and not taken back.
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

/// Releases, newest first, from before a number.
pub async fn list(db: &dyn Source, before: Option<i64>, limit: u64) -> Result<Vec<Release>, StoreError> {
    let mut query = movement_release::Entity::find();
    if let Some(before) = before {
        query = query.filter(movement_release::Column::Seq.lt(before));
    }
    let rows = query.order_by_desc(movement_release::Column::Seq).limit(limit).all(&db.inner()).await?;
    Ok(rows.into_iter().map(to_release).collect())
}
