//! Wishes, authorities' answers, settlement runs and shares of a round, and the club's ledgers.

use std::collections::BTreeMap;

use scionary_domain::{
    access::{Granted, OrganiseClub, TakePart},
    claim::State,
    ids::{AccountId, ClaimId, ClubId, RoundId, RoundLotId, WishId},
    round::{Advice, Ledger, Wish},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, EntityTrait, ExprTrait, FromQueryResult, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect,
    sea_query::{OnConflict, Query},
};
use uuid::Uuid;

use super::{area, corrupt, small};
use crate::{
    door::Tx,
    entity::{claim, round, round_advice, round_run, round_share, round_wish},
    error::StoreError,
    source::Source,
};

/// Number of rows in one statement; PostgreSQL takes at most 65,535 values.
const ROWS: usize = 1_000;

fn to_wish(row: round_wish::Model) -> Result<Wish, StoreError> {
    Ok(Wish {
        id: WishId::from_uuid(row.id),
        round: RoundId::from_uuid(row.round_id),
        account: AccountId::from_uuid(row.account_id),
        rank: small("round_wish.rank", row.rank)?,
        quantity: small("round_wish.quantity", row.quantity)?,
        accepts: serde_json::from_str(&row.accepts).map_err(|e| corrupt("round_wish.accepts", e))?,
    })
}

/// Replaces a member's wish list.
pub async fn set_wishes(
    tx: &Tx,
    _granted: &Granted<TakePart>,
    round: RoundId,
    account: AccountId,
    wishes: &[Wish],
    entered_by: Option<AccountId>,
) -> Result<(), StoreError> {
    round_wish::Entity::delete_many()
        .filter(round_wish::Column::RoundId.eq(round.uuid()))
        .filter(round_wish::Column::AccountId.eq(account.uuid()))
        .exec(&tx.inner())
        .await?;
    for (wish, place) in wishes.iter().zip(1_i64..) {
        let row = round_wish::ActiveModel {
            id: Set(wish.id.uuid()),
            round_id: Set(wish.round.uuid()),
            account_id: Set(wish.account.uuid()),
            rank: Set(wish.rank.into()),
            quantity: Set(wish.quantity.into()),
            accepts: Set(serde_json::to_string(&wish.accepts).map_err(|e| corrupt("round_wish.accepts", e))?),
            entered_by: Set(entered_by.map(AccountId::uuid)),
            place: Set(place),
        };
        round_wish::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Returns the wishes of a round by member and rank; of one member, or of all.
pub async fn wishes(db: &dyn Source, round: RoundId, of: Option<AccountId>) -> Result<Vec<Wish>, StoreError> {
    let mut query = round_wish::Entity::find().filter(round_wish::Column::RoundId.eq(round.uuid()));
    if let Some(of) = of {
        query = query.filter(round_wish::Column::AccountId.eq(of.uuid()));
    }
    let rows = query
        .order_by_asc(round_wish::Column::AccountId)
        .order_by_asc(round_wish::Column::Rank)
        .order_by_asc(round_wish::Column::Place)
        .order_by_asc(round_wish::Column::Id)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_wish).collect()
}

/// Returns how many wishes a round has.
pub async fn count_wishes(db: &dyn Source, round: RoundId) -> Result<u64, StoreError> {
    Ok(round_wish::Entity::find()
        .filter(round_wish::Column::RoundId.eq(round.uuid()))
        .count(&db.inner())
        .await?)
}

/// Inserts or replaces an authority's answer for a pair of areas.
pub async fn set_advice(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    round: RoundId,
    advice: &Advice,
) -> Result<(), StoreError> {
    use round_advice::Column as C;
    let row = round_advice::ActiveModel {
        round_id: Set(round.uuid()),
        from_area: Set(advice.from.as_str().into()),
        to_area: Set(advice.to.as_str().into()),
        asked: Set(advice.asked.clone()),
        said: Set(advice.said.clone()),
        by_id: Set(advice.by.uuid()),
        at: Set(advice.at.micros()),
    };
    round_advice::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::RoundId, C::FromArea, C::ToArea])
                .update_columns([C::Asked, C::Said, C::ById, C::At])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns all authorities' answers of a round.
pub async fn advice(db: &dyn Source, round: RoundId) -> Result<Vec<Advice>, StoreError> {
    let rows = round_advice::Entity::find()
        .filter(round_advice::Column::RoundId.eq(round.uuid()))
        .order_by_asc(round_advice::Column::FromArea)
        .order_by_asc(round_advice::Column::ToArea)
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Advice {
                from: area("round_advice.from_area", &row.from_area)?,
                to: area("round_advice.to_area", &row.to_area)?,
                asked: row.asked,
                said: row.said,
                by: AccountId::from_uuid(row.by_id),
                at: Timestamp::from_micros(row.at),
            })
        })
        .collect()
}

/// A sealing or a settlement of a round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// 0 for the sealing; settlements count up from 1.
    pub number: u32,
    /// Canonical JSON of the input.
    pub input: String,
    /// Hash of the input.
    pub input_hash: String,
    /// Outcome as JSON; `None` for the sealing.
    pub outcome: Option<String>,
    /// Organiser who sealed or settled.
    pub by: AccountId,
    /// Time of the run.
    pub at: Timestamp,
}

/// Inserts a run, or replaces the one with the same number.
pub async fn set_run(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    round: RoundId,
    run: &Run,
) -> Result<(), StoreError> {
    use round_run::Column as C;
    let row = round_run::ActiveModel {
        round_id: Set(round.uuid()),
        number: Set(run.number.into()),
        input: Set(run.input.clone()),
        input_hash: Set(run.input_hash.clone()),
        outcome: Set(run.outcome.clone()),
        by_id: Set(run.by.uuid()),
        at: Set(run.at.micros()),
    };
    round_run::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::RoundId, C::Number])
                .update_columns([C::Input, C::InputHash, C::Outcome, C::ById, C::At])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the run with this number; 0 is the sealing.
pub async fn run(db: &dyn Source, round: RoundId, number: u32) -> Result<Option<Run>, StoreError> {
    let row = round_run::Entity::find_by_id((round.uuid(), i64::from(number))).one(&db.inner()).await?;
    row.map(|row| {
        Ok(Run {
            number,
            input: row.input,
            input_hash: row.input_hash,
            outcome: row.outcome,
            by: AccountId::from_uuid(row.by_id),
            at: Timestamp::from_micros(row.at),
        })
    })
    .transpose()
}

/// Units of a lot allotted to a wish, and the claim that contains them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shared {
    /// Lot that the units come from.
    pub lot: RoundLotId,
    /// Wish that gets them.
    pub wish: WishId,
    /// Number of units.
    pub units: u32,
    /// Claim that contains them.
    pub claim: ClaimId,
}

/// Replaces all shares of a round.
pub async fn set_shares(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    round: RoundId,
    shares: &[Shared],
) -> Result<(), StoreError> {
    round_share::Entity::delete_many()
        .filter(round_share::Column::RoundId.eq(round.uuid()))
        .exec(&tx.inner())
        .await?;
    for some in shares.chunks(ROWS) {
        let rows = some.iter().map(|share| round_share::ActiveModel {
            round_id: Set(round.uuid()),
            round_lot_id: Set(share.lot.uuid()),
            wish_id: Set(share.wish.uuid()),
            units: Set(share.units.into()),
            claim_id: Set(share.claim.uuid()),
        });
        round_share::Entity::insert_many(rows).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Returns the shares of a round.
pub async fn shares(db: &dyn Source, round: RoundId) -> Result<Vec<Shared>, StoreError> {
    shares_where(db, round_share::Column::RoundId.eq(round.uuid())).await
}

/// Returns the shares that these wishes received.
pub async fn shares_of(db: &dyn Source, wishes: &[WishId]) -> Result<Vec<Shared>, StoreError> {
    let mut all = Vec::new();
    for some in wishes.chunks(ROWS) {
        let some: Vec<Uuid> = some.iter().map(|wish| wish.uuid()).collect();
        all.extend(shares_where(db, round_share::Column::WishId.is_in(some)).await?);
    }
    Ok(all)
}

async fn shares_where(
    db: &dyn Source,
    wanted: sea_orm::sea_query::SimpleExpr,
) -> Result<Vec<Shared>, StoreError> {
    let rows = round_share::Entity::find()
        .filter(wanted)
        .order_by_asc(round_share::Column::RoundLotId)
        .order_by_asc(round_share::Column::WishId)
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Shared {
                lot: RoundLotId::from_uuid(row.round_lot_id),
                wish: WishId::from_uuid(row.wish_id),
                units: small("round_share.units", row.units)?,
                claim: ClaimId::from_uuid(row.claim_id),
            })
        })
        .collect()
}

#[derive(FromQueryResult)]
struct Total {
    who: Uuid,
    units: Option<i64>,
}

/// Returns the units that members gave and received in the club's rounds except `but`, as handed over; of one
/// member, or of all. Gifts do not count as given.
pub async fn ledgers(
    db: &dyn Source,
    club: ClubId,
    but: RoundId,
    of: Option<AccountId>,
) -> Result<BTreeMap<AccountId, Ledger>, StoreError> {
    let of_club = || {
        Query::select()
            .column(round::Column::Id)
            .from(round::Entity)
            .and_where(round::Column::ClubId.eq(club.uuid()))
            .and_where(round::Column::Id.ne(but.uuid()))
            .to_owned()
    };
    let mut ledgers: BTreeMap<AccountId, Ledger> = BTreeMap::new();
    for gave in [true, false] {
        let who = if gave { claim::Column::GiverId } else { claim::Column::TakerId };
        let mut query = claim::Entity::find()
            .select_only()
            .column_as(who, "who")
            // PostgreSQL sums bigints to a decimal, so the cast makes it an integer again.
            .column_as(claim::Column::RoundUnits.sum().cast_as("bigint"), "units")
            .filter(claim::Column::RoundId.in_subquery(of_club()))
            .filter(claim::Column::State.eq(State::HandedOver.word()))
            .group_by(who);
        if gave {
            query = query.filter(claim::Column::RoundGift.eq(false));
        }
        if let Some(of) = of {
            query = query.filter(who.eq(of.uuid()));
        }
        for row in query.into_model::<Total>().all(&db.inner()).await? {
            let ledger = ledgers.entry(AccountId::from_uuid(row.who)).or_default();
            let units = row.units.unwrap_or(0);
            if gave {
                ledger.given += units;
            } else {
                ledger.taken += units;
            }
        }
    }
    Ok(ledgers)
}
