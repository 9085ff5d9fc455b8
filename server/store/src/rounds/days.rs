//! Reasons that are kept with a settlement, and the log of a swap day.

use std::collections::BTreeMap;

use scionary_domain::{
    access::{Granted, OrganiseClub},
    ids::{AccountId, RoundId, RoundLotId},
    round::{Brought, Event, EventKind, Part},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, ExprTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::Expr,
};
use uuid::Uuid;

use super::{corrupt, small, to_lot, to_part};
use crate::{
    door::Tx,
    entity::{round_event, round_lot, round_member, round_reason, round_wish},
    error::StoreError,
    source::Source,
};

/// Number of rows in one statement.
const ROWS: usize = 500;

/// Replaces the reasons of all members, as JSON, by those of the latest settlement.
pub async fn set_reasons(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    round: RoundId,
    reasons: &[(AccountId, String)],
) -> Result<(), StoreError> {
    round_reason::Entity::delete_many()
        .filter(round_reason::Column::RoundId.eq(round.uuid()))
        .exec(&tx.inner())
        .await?;
    for some in reasons.chunks(ROWS) {
        let rows = some.iter().map(|(account, reasons)| round_reason::ActiveModel {
            round_id: Set(round.uuid()),
            account_id: Set(account.uuid()),
            reasons: Set(reasons.clone()),
        });
        round_reason::Entity::insert_many(rows).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Returns a member's reasons as JSON; `None` if every wish is met, or nothing is settled.
pub async fn reasons(
    db: &dyn Source,
    round: RoundId,
    account: AccountId,
) -> Result<Option<String>, StoreError> {
    let row = round_reason::Entity::find_by_id((round.uuid(), account.uuid())).one(&db.inner()).await?;
    Ok(row.map(|row| row.reasons))
}

/// Appends an event to a round's log and returns its number. The caller holds the round.
pub async fn add_event(tx: &Tx, new: &Event) -> Result<u32, StoreError> {
    let last: Option<i64> = round_event::Entity::find()
        .select_only()
        .column(round_event::Column::Number)
        .filter(round_event::Column::RoundId.eq(new.round.uuid()))
        .order_by_desc(round_event::Column::Number)
        .into_tuple()
        .one(&tx.inner())
        .await?;
    let number = last.unwrap_or(0) + 1;
    let row = round_event::ActiveModel {
        round_id: Set(new.round.uuid()),
        number: Set(number),
        kind: Set(new.kind.word().into()),
        round_lot_id: Set(new.lot.map(RoundLotId::uuid)),
        account_id: Set(new.member.map(AccountId::uuid)),
        units: Set(new.units.into()),
        words: Set(new.words.clone()),
        by_id: Set(new.by.uuid()),
        at: Set(new.at.micros()),
    };
    round_event::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    small("round_event.number", number)
}

/// Returns a round's events after a number, oldest first.
pub async fn events(
    db: &dyn Source,
    round: RoundId,
    after: u32,
    limit: u64,
) -> Result<Vec<Event>, StoreError> {
    let rows = round_event::Entity::find()
        .filter(round_event::Column::RoundId.eq(round.uuid()))
        .filter(round_event::Column::Number.gt(i64::from(after)))
        .order_by_asc(round_event::Column::Number)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Event {
                round,
                number: small("round_event.number", row.number)?,
                kind: EventKind::from_word(&row.kind)
                    .ok_or_else(|| corrupt("round_event.kind", &row.kind))?,
                lot: row.round_lot_id.map(RoundLotId::from_uuid),
                member: row.account_id.map(AccountId::from_uuid),
                units: small("round_event.units", row.units)?,
                words: row.words,
                by: AccountId::from_uuid(row.by_id),
                at: Timestamp::from_micros(row.at),
            })
        })
        .collect()
}

/// Sets how many packs of a lot came; `None` for all that were promised.
pub async fn set_came(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    id: RoundLotId,
    packs: Option<u32>,
) -> Result<(), StoreError> {
    round_lot::Entity::update_many()
        .col_expr(round_lot::Column::Came, Expr::value(packs.map(i64::from)))
        .filter(round_lot::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the participations of these accounts, by number; those without one are missing.
pub async fn parts_of(
    db: &dyn Source,
    round: RoundId,
    people: &[AccountId],
) -> Result<Vec<Part>, StoreError> {
    let mut all = Vec::new();
    for some in people.chunks(ROWS) {
        let some: Vec<Uuid> = some.iter().map(|account| account.uuid()).collect();
        let rows = round_member::Entity::find()
            .filter(round_member::Column::RoundId.eq(round.uuid()))
            .filter(round_member::Column::AccountId.is_in(some))
            .all(&db.inner())
            .await?;
        for row in rows {
            all.push(to_part(row)?);
        }
    }
    all.sort_by_key(|part| part.number);
    Ok(all)
}

/// Returns the packs that each of these accounts brings; those who bring nothing are missing.
pub async fn brought_by(
    db: &dyn Source,
    round: RoundId,
    people: &[AccountId],
) -> Result<BTreeMap<AccountId, u32>, StoreError> {
    let rows: Vec<(Uuid, i64)> = round_lot::Entity::find()
        .select_only()
        .column(round_lot::Column::AccountId)
        .column_as(round_lot::Column::Units.sum().cast_as("bigint"), "units")
        .filter(round_lot::Column::RoundId.eq(round.uuid()))
        .filter(round_lot::Column::AccountId.is_in(people.iter().map(|account| account.uuid())))
        .group_by(round_lot::Column::AccountId)
        .into_tuple()
        .all(&db.inner())
        .await?;
    rows.into_iter().map(|(who, n)| Ok((AccountId::from_uuid(who), small("round_lot.units", n)?))).collect()
}

/// Returns how many lines each of these accounts lists; those without a list are missing.
pub async fn lines_of(
    db: &dyn Source,
    round: RoundId,
    people: &[AccountId],
) -> Result<BTreeMap<AccountId, u32>, StoreError> {
    let rows: Vec<(Uuid, i64)> = round_wish::Entity::find()
        .select_only()
        .column(round_wish::Column::AccountId)
        .column_as(round_wish::Column::Id.count(), "lines")
        .filter(round_wish::Column::RoundId.eq(round.uuid()))
        .filter(round_wish::Column::AccountId.is_in(people.iter().map(|account| account.uuid())))
        .group_by(round_wish::Column::AccountId)
        .into_tuple()
        .all(&db.inner())
        .await?;
    rows.into_iter().map(|(who, n)| Ok((AccountId::from_uuid(who), small("round_wish", n)?))).collect()
}

/// Returns these lots of a round, by number; those of other rounds are missing.
pub async fn some_lots(
    db: &dyn Source,
    round: RoundId,
    ids: &[RoundLotId],
) -> Result<Vec<Brought>, StoreError> {
    let mut all = Vec::new();
    for some in ids.chunks(ROWS) {
        let some: Vec<Uuid> = some.iter().map(|id| id.uuid()).collect();
        let rows = round_lot::Entity::find()
            .filter(round_lot::Column::RoundId.eq(round.uuid()))
            .filter(round_lot::Column::Id.is_in(some))
            .all(&db.inner())
            .await?;
        for row in rows {
            all.push(to_lot(row)?);
        }
    }
    all.sort_by_key(|lot| lot.number);
    Ok(all)
}
