//! Claims, and the promised quantity of offers.

use scionary_domain::{
    access::{EditClaim, Granted},
    claim::{Claim, InRound, State},
    ids::{AccountId, ClaimId, ClubId, OfferId, RoundId, RoundLotId},
    place::AreaCode,
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, Condition, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, Query},
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{claim, offer, round},
    error::StoreError,
    source::Source,
};

/// Side of the claims to list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Claims that the account made.
    Taker,
    /// Claims on the account's offers.
    Giver,
    /// Claims of both kinds.
    Either,
}

fn to_claim(row: claim::Model) -> Result<Claim, StoreError> {
    let corrupt = |what, why: String| StoreError::corrupt(what, why);
    let units = u32::try_from(row.round_units).map_err(|e| corrupt("claim.round_units", e.to_string()))?;
    Ok(Claim {
        id: ClaimId::from_uuid(row.id),
        offer: OfferId::from_uuid(row.offer_id),
        giver: AccountId::from_uuid(row.giver_id),
        taker: AccountId::from_uuid(row.taker_id),
        quantity: i32::try_from(row.quantity).map_err(|e| corrupt("claim.quantity", e.to_string()))?,
        to: AreaCode::parse(&row.to_area).map_err(|e| corrupt("claim.to_area", e))?,
        note: row.note,
        taker_contact: row.taker_contact,
        giver_contact: row.giver_contact,
        answer: row.answer,
        movement: serde_json::from_str(&row.movement)
            .map_err(|e| corrupt("claim.movement", e.to_string()))?,
        state: State::from_word(&row.state).ok_or_else(|| corrupt("claim.state", row.state.clone()))?,
        asked_at: Timestamp::from_micros(row.asked_at),
        lapses_at: Timestamp::from_micros(row.lapses_at),
        given_at: row.given_at.map(Timestamp::from_micros),
        taken_at: row.taken_at.map(Timestamp::from_micros),
        giver_missed: row.giver_missed,
        taker_missed: row.taker_missed,
        entered_by: row.entered_by.map(AccountId::from_uuid),
        in_round: row.round_id.zip(row.round_lot_id).map(|(round, lot)| InRound {
            round: RoundId::from_uuid(round),
            lot: RoundLotId::from_uuid(lot),
            units,
            gift: row.round_gift,
        }),
        version: row.version,
    })
}

fn to_row(claim: &Claim) -> Result<claim::ActiveModel, StoreError> {
    Ok(claim::ActiveModel {
        id: Set(claim.id.uuid()),
        offer_id: Set(claim.offer.uuid()),
        giver_id: Set(claim.giver.uuid()),
        taker_id: Set(claim.taker.uuid()),
        quantity: Set(claim.quantity.into()),
        to_area: Set(claim.to.as_str().into()),
        note: Set(claim.note.clone()),
        taker_contact: Set(claim.taker_contact.clone()),
        giver_contact: Set(claim.giver_contact.clone()),
        answer: Set(claim.answer.clone()),
        movement: Set(
            serde_json::to_string(&claim.movement).map_err(|e| StoreError::corrupt("claim.movement", e))?
        ),
        state: Set(claim.state.word().into()),
        asked_at: Set(claim.asked_at.micros()),
        lapses_at: Set(claim.lapses_at.micros()),
        given_at: Set(claim.given_at.map(Timestamp::micros)),
        taken_at: Set(claim.taken_at.map(Timestamp::micros)),
        giver_missed: Set(claim.giver_missed.clone()),
        taker_missed: Set(claim.taker_missed.clone()),
        entered_by: Set(claim.entered_by.map(AccountId::uuid)),
        version: Set(claim.version),
        round_id: Set(claim.in_round.map(|r| r.round.uuid())),
        round_lot_id: Set(claim.in_round.map(|r| r.lot.uuid())),
        round_units: Set(claim.in_round.map_or(0, |r| r.units.into())),
        round_gift: Set(claim.in_round.is_some_and(|r| r.gift)),
    })
}

/// Inserts a claim. Returns [`StoreError::Exists`] if the taker has an open claim on the offer.
pub async fn insert(tx: &Tx, new: &Claim) -> Result<(), StoreError> {
    claim::Entity::insert(to_row(new)?).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the claim with this id.
pub async fn one(db: &dyn Source, id: ClaimId) -> Result<Option<Claim>, StoreError> {
    claim::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_claim).transpose()
}

/// Replaces a claim if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: Granted<EditClaim>,
    changed: &Claim,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = claim::Entity::update_many()
        .set(to_row(changed)?)
        .filter(claim::Column::Id.eq(changed.id.uuid()))
        .filter(claim::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Promises a quantity of an offer if that much is left and the offer is open on `today`; returns false
/// otherwise. This single conditional update prevents double promises by concurrent takers, by several servers,
/// and during an edit.
pub async fn promise(tx: &Tx, offer: OfferId, quantity: i32, today: Date) -> Result<bool, StoreError> {
    use offer::Column as C;
    let done = offer::Entity::update_many()
        .col_expr(C::Promised, Expr::col(C::Promised).add(quantity))
        .filter(C::Id.eq(offer.uuid()))
        .filter(C::WithdrawnAt.is_null())
        .filter(C::UntilDay.gte(today.days()))
        .filter(Condition::any().add(C::UseByDay.is_null()).add(C::UseByDay.gte(today.days())))
        .filter(Expr::col(C::Promised).add(quantity).lte(Expr::col(C::Quantity)))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Releases a promised quantity.
///
/// # Errors
/// Returns [`StoreError::Corrupt`] when less than this quantity is promised.
pub async fn release(tx: &Tx, offer: OfferId, quantity: i32) -> Result<(), StoreError> {
    use offer::Column as C;
    let released = offer::Entity::update_many()
        .col_expr(C::Promised, Expr::col(C::Promised).sub(quantity))
        .filter(C::Id.eq(offer.uuid()))
        .filter(C::Promised.gte(quantity))
        .exec(&tx.inner())
        .await?;
    if released.rows_affected == 0 {
        return Err(StoreError::corrupt(
            "offer.promised",
            format!("{offer} has less than {quantity} promised"),
        ));
    }
    Ok(())
}

/// Returns the waiting claims on an offer, oldest first.
pub async fn waiting(db: &dyn Source, offer: OfferId, limit: u64) -> Result<Vec<Claim>, StoreError> {
    let rows = claim::Entity::find()
        .filter(claim::Column::OfferId.eq(offer.uuid()))
        .filter(claim::Column::State.eq(State::Waiting.word()))
        .order_by_asc(claim::Column::AskedAt)
        .order_by_asc(claim::Column::Id)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns all claims on an offer, oldest first.
pub async fn of_offer(db: &dyn Source, offer: OfferId) -> Result<Vec<Claim>, StoreError> {
    let rows = claim::Entity::find()
        .filter(claim::Column::OfferId.eq(offer.uuid()))
        .order_by_asc(claim::Column::Id)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns accepted claims on a club's own offers after an id, oldest first.
pub async fn promised_in_club(
    db: &dyn Source,
    club: ClubId,
    after: Option<ClaimId>,
    limit: u64,
) -> Result<Vec<Claim>, StoreError> {
    let of_club = Query::select()
        .column(offer::Column::Id)
        .from(offer::Entity)
        .and_where(offer::Column::ClubId.eq(club.uuid()))
        .to_owned();
    let mut query = claim::Entity::find()
        .filter(claim::Column::OfferId.in_subquery(of_club))
        .filter(claim::Column::State.eq(State::Accepted.word()));
    if let Some(after) = after {
        query = query.filter(claim::Column::Id.gt(after.uuid()));
    }
    let rows = query.order_by_asc(claim::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns the waiting claims between two accounts, with either as the giver.
pub async fn waiting_between(db: &dyn Source, a: AccountId, b: AccountId) -> Result<Vec<Claim>, StoreError> {
    let one = |giver: AccountId, taker: AccountId| {
        Condition::all()
            .add(claim::Column::GiverId.eq(giver.uuid()))
            .add(claim::Column::TakerId.eq(taker.uuid()))
    };
    let rows = claim::Entity::find()
        .filter(Condition::any().add(one(a, b)).add(one(b, a)))
        .filter(claim::Column::State.eq(State::Waiting.word()))
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns an account's claims before an id, newest first: open ones or all. With `clubs` it returns only
/// claims on offers for these clubs or in their rounds.
pub async fn of(
    db: &dyn Source,
    account: AccountId,
    role: Role,
    open_only: bool,
    clubs: Option<&[ClubId]>,
    before: Option<ClaimId>,
    limit: u64,
) -> Result<Vec<Claim>, StoreError> {
    let (taker, giver) =
        (claim::Column::TakerId.eq(account.uuid()), claim::Column::GiverId.eq(account.uuid()));
    let mine = match role {
        Role::Taker => Condition::all().add(taker),
        Role::Giver => Condition::all().add(giver),
        Role::Either => Condition::any().add(taker).add(giver),
    };
    let mut query = claim::Entity::find().filter(mine);
    if let Some(clubs) = clubs {
        let clubs: Vec<Uuid> = clubs.iter().map(|club| club.uuid()).collect();
        let offers = Query::select()
            .column(offer::Column::Id)
            .from(offer::Entity)
            .and_where(offer::Column::ClubId.is_in(clubs.clone()))
            .to_owned();
        let rounds = Query::select()
            .column(round::Column::Id)
            .from(round::Entity)
            .and_where(round::Column::ClubId.is_in(clubs))
            .to_owned();
        query = query.filter(
            Condition::any()
                .add(claim::Column::OfferId.in_subquery(offers))
                .add(claim::Column::RoundId.in_subquery(rounds)),
        );
    }
    if open_only {
        let open = State::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
        query = query.filter(claim::Column::State.is_in(open));
    }
    if let Some(before) = before {
        query = query.filter(claim::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(claim::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns how many open claims an account has made.
pub async fn count_open(db: &dyn Source, taker: AccountId) -> Result<u64, StoreError> {
    let open = State::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
    Ok(claim::Entity::find()
        .filter(claim::Column::TakerId.eq(taker.uuid()))
        .filter(claim::Column::State.is_in(open))
        .count(&db.inner())
        .await?)
}

/// Returns open claims past their time limit, longest overdue first.
pub async fn overdue(db: &dyn Source, now: Timestamp, limit: u64) -> Result<Vec<Claim>, StoreError> {
    let open = State::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
    let rows = claim::Entity::find()
        .filter(claim::Column::State.is_in(open))
        .filter(claim::Column::LapsesAt.lt(now.micros()))
        .order_by_asc(claim::Column::LapsesAt)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns claims before an id whose hand-over a side reports as missed, newest first.
pub async fn missed(db: &dyn Source, before: Option<ClaimId>, limit: u64) -> Result<Vec<Claim>, StoreError> {
    let mut query = claim::Entity::find().filter(
        Condition::any().add(claim::Column::GiverMissed.ne("")).add(claim::Column::TakerMissed.ne("")),
    );
    if let Some(before) = before {
        query = query.filter(claim::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(claim::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns all claims of a round, in the order of their ids.
pub async fn of_round(db: &dyn Source, round: RoundId) -> Result<Vec<Claim>, StoreError> {
    let rows = claim::Entity::find()
        .filter(claim::Column::RoundId.eq(round.uuid()))
        .order_by_asc(claim::Column::Id)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_claim).collect()
}

/// Returns the claims of a round on these lots, in the order of their ids.
pub async fn of_round_lots(db: &dyn Source, lots: &[RoundLotId]) -> Result<Vec<Claim>, StoreError> {
    let mut all = Vec::new();
    for some in lots.chunks(500) {
        let some: Vec<Uuid> = some.iter().map(|lot| lot.uuid()).collect();
        let rows =
            claim::Entity::find().filter(claim::Column::RoundLotId.is_in(some)).all(&db.inner()).await?;
        for row in rows {
            all.push(to_claim(row)?);
        }
    }
    all.sort_by_key(|claim| claim.id);
    Ok(all)
}

/// Returns the claims of a round in which one of these accounts gives or takes.
pub async fn of_round_people(
    db: &dyn Source,
    round: RoundId,
    people: &[AccountId],
) -> Result<Vec<Claim>, StoreError> {
    let mut all = std::collections::BTreeMap::new();
    for some in people.chunks(500) {
        let some: Vec<Uuid> = some.iter().map(|account| account.uuid()).collect();
        let either = Condition::any()
            .add(claim::Column::GiverId.is_in(some.clone()))
            .add(claim::Column::TakerId.is_in(some));
        let rows = claim::Entity::find()
            .filter(claim::Column::RoundId.eq(round.uuid()))
            .filter(either)
            .all(&db.inner())
            .await?;
        for row in rows {
            let claim = to_claim(row)?;
            all.insert(claim.id, claim);
        }
    }
    Ok(all.into_values().collect())
}

/// Returns a taker's claim on a lot of a round that no side has confirmed yet.
pub async fn open_in_round(
    db: &dyn Source,
    lot: RoundLotId,
    taker: AccountId,
) -> Result<Option<Claim>, StoreError> {
    let open = State::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
    let row = claim::Entity::find()
        .filter(claim::Column::RoundLotId.eq(lot.uuid()))
        .filter(claim::Column::TakerId.eq(taker.uuid()))
        .filter(claim::Column::State.is_in(open))
        .filter(claim::Column::GivenAt.is_null())
        .filter(claim::Column::TakenAt.is_null())
        .one(&db.inner())
        .await?;
    row.map(to_claim).transpose()
}
