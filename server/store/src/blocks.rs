//! Blocks between members.

use scionary_domain::{ids::AccountId, time::Timestamp};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, Condition, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
    sea_query::OnConflict,
};

use crate::{door::Tx, entity::member_block, error::StoreError, source::Source};

/// Blocks a member. Idempotent.
pub async fn block(tx: &Tx, by: AccountId, whom: AccountId, at: Timestamp) -> Result<(), StoreError> {
    let row = member_block::ActiveModel {
        account_id: Set(by.uuid()),
        blocked_id: Set(whom.uuid()),
        created_at: Set(at.micros()),
    };
    let both = [member_block::Column::AccountId, member_block::Column::BlockedId];
    member_block::Entity::insert(row)
        .on_conflict(OnConflict::columns(both).do_nothing().to_owned())
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Removes a block; returns true if there was one.
pub async fn unblock(tx: &Tx, by: AccountId, whom: AccountId) -> Result<bool, StoreError> {
    let done = member_block::Entity::delete_by_id((by.uuid(), whom.uuid())).exec(&tx.inner()).await?;
    Ok(done.rows_affected == 1)
}

/// Returns the members whom an account blocks, oldest block first.
pub async fn of(db: &dyn Source, by: AccountId) -> Result<Vec<AccountId>, StoreError> {
    let rows = member_block::Entity::find()
        .filter(member_block::Column::AccountId.eq(by.uuid()))
        .order_by_asc(member_block::Column::CreatedAt)
        .order_by_asc(member_block::Column::BlockedId)
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|row| AccountId::from_uuid(row.blocked_id)).collect())
}

/// Returns true if either of two members blocks the other.
pub async fn between(db: &dyn Source, a: AccountId, b: AccountId) -> Result<bool, StoreError> {
    let one = |by: AccountId, whom: AccountId| {
        Condition::all()
            .add(member_block::Column::AccountId.eq(by.uuid()))
            .add(member_block::Column::BlockedId.eq(whom.uuid()))
    };
    let either = Condition::any().add(one(a, b)).add(one(b, a));
    Ok(member_block::Entity::find().filter(either).count(&db.inner()).await? > 0)
}

/// Returns all blocks (blocker, blocked) that these people have set.
pub async fn among(db: &dyn Source, people: &[AccountId]) -> Result<Vec<(AccountId, AccountId)>, StoreError> {
    let mut pairs = Vec::new();
    for some in people.chunks(1_000) {
        let rows = member_block::Entity::find()
            .filter(member_block::Column::AccountId.is_in(some.iter().map(|p| p.uuid())))
            .all(&db.inner())
            .await?;
        pairs.extend(
            rows.into_iter()
                .map(|row| (AccountId::from_uuid(row.account_id), AccountId::from_uuid(row.blocked_id))),
        );
    }
    Ok(pairs)
}
