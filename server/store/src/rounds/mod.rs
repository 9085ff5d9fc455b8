//! Swap rounds, their members and lots.

mod days;
mod settled;

pub use days::*;
pub use settled::*;

use scionary_domain::{
    access::{Granted, OrganiseClub, TakePart},
    ids::{AccountId, ClubId, OfferId, RoundId, RoundLotId},
    place::AreaCode,
    round::{Brought, Part, Phase, Round, Says},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, OnConflict, Query},
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{round, round_lot, round_member},
    error::StoreError,
    source::Source,
};

fn corrupt(what: &'static str, why: impl std::fmt::Display) -> StoreError {
    StoreError::corrupt(what, why.to_string())
}

fn small(what: &'static str, n: i64) -> Result<u32, StoreError> {
    u32::try_from(n).map_err(|e| corrupt(what, e))
}

fn area(what: &'static str, code: &str) -> Result<AreaCode, StoreError> {
    AreaCode::parse(code).map_err(|e| corrupt(what, e))
}

fn to_round(row: round::Model) -> Result<Round, StoreError> {
    Ok(Round {
        id: RoundId::from_uuid(row.id),
        club: ClubId::from_uuid(row.club_id),
        says: Says {
            title: row.title,
            about: row.about,
            place: row.place,
            area: area("round.area_code", &row.area_code)?,
            day: Date::from_days(row.day),
            gather_until: Date::from_days(row.gather_until),
            settings: serde_json::from_str(&row.settings).map_err(|e| corrupt("round.settings", e))?,
        },
        phase: Phase::from_word(&row.phase).ok_or_else(|| corrupt("round.phase", &row.phase))?,
        commitment: row.commitment,
        secret: row.secret,
        input_hash: row.input_hash,
        runs: small("round.runs", row.runs)?,
        created_at: Timestamp::from_micros(row.created_at),
        version: row.version,
        says_version: row.says_version,
    })
}

fn to_row(round: &Round) -> Result<round::ActiveModel, StoreError> {
    let settings = serde_json::to_string(&round.says.settings).map_err(|e| corrupt("round.settings", e))?;
    Ok(round::ActiveModel {
        id: Set(round.id.uuid()),
        club_id: Set(round.club.uuid()),
        title: Set(round.says.title.clone()),
        about: Set(round.says.about.clone()),
        place: Set(round.says.place.clone()),
        area_code: Set(round.says.area.as_str().into()),
        day: Set(round.says.day.days()),
        gather_until: Set(round.says.gather_until.days()),
        settings: Set(settings),
        phase: Set(round.phase.word().into()),
        commitment: Set(round.commitment.clone()),
        secret: Set(round.secret.clone()),
        input_hash: Set(round.input_hash.clone()),
        runs: Set(round.runs.into()),
        created_at: Set(round.created_at.micros()),
        version: Set(round.version),
        says_version: Set(round.says_version),
    })
}

/// Inserts a round.
pub async fn insert(tx: &Tx, _granted: &Granted<OrganiseClub>, new: &Round) -> Result<(), StoreError> {
    round::Entity::insert(to_row(new)?).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces a round if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    changed: &Round,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = round::Entity::update_many()
        .set(to_row(changed)?)
        .filter(round::Column::Id.eq(changed.id.uuid()))
        .filter(round::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Locks a round's row until the transaction ends and increments its version. Changes of lots and wishes thus
/// run one after the other with the sealing, and a reader of an older version sees that it is stale.
pub async fn lock(tx: &Tx, id: RoundId) -> Result<(), StoreError> {
    round::Entity::update_many()
        .col_expr(round::Column::Version, Expr::col(round::Column::Version).add(1))
        .filter(round::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the round with this id.
pub async fn one(db: &dyn Source, id: RoundId) -> Result<Option<Round>, StoreError> {
    round::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_round).transpose()
}

/// Returns rounds of these clubs before an id, newest first: open ones, or all.
pub async fn of_clubs(
    db: &dyn Source,
    clubs: &[ClubId],
    open_only: bool,
    before: Option<RoundId>,
    limit: u64,
) -> Result<Vec<Round>, StoreError> {
    let mut query = round::Entity::find().filter(round::Column::ClubId.is_in(clubs.iter().map(|c| c.uuid())));
    if open_only {
        let open = Phase::ALL.iter().filter(|p| p.is_open()).map(|p| p.word());
        query = query.filter(round::Column::Phase.is_in(open));
    }
    if let Some(before) = before {
        query = query.filter(round::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(round::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_round).collect()
}

/// Returns open rounds whose swap day is before `day`.
pub async fn overdue(db: &dyn Source, day: Date, limit: u64) -> Result<Vec<RoundId>, StoreError> {
    let open = Phase::ALL.iter().filter(|p| p.is_open()).map(|p| p.word());
    let rows: Vec<Uuid> = round::Entity::find()
        .select_only()
        .column(round::Column::Id)
        .filter(round::Column::Phase.is_in(open))
        .filter(round::Column::Day.lt(day.days()))
        .order_by_asc(round::Column::Id)
        .limit(limit)
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(RoundId::from_uuid).collect())
}

fn to_part(row: round_member::Model) -> Result<Part, StoreError> {
    Ok(Part {
        round: RoundId::from_uuid(row.round_id),
        account: AccountId::from_uuid(row.account_id),
        number: small("round_member.number", row.number)?,
        area: area("round_member.area_code", &row.area_code)?,
        meeting: row.meeting,
        post: row.post,
        contact: row.contact,
        give_more: small("round_member.give_more", row.give_more)?,
        absent: row.absent,
        entered_by: row.entered_by.map(AccountId::from_uuid),
        on_sheets: row.on_sheets,
    })
}

/// Inserts or replaces a member's participation; the number of an existing one stays.
pub async fn set_part(tx: &Tx, _granted: &Granted<TakePart>, part: &Part) -> Result<(), StoreError> {
    use round_member::Column as C;
    let row = round_member::ActiveModel {
        round_id: Set(part.round.uuid()),
        account_id: Set(part.account.uuid()),
        number: Set(part.number.into()),
        area_code: Set(part.area.as_str().into()),
        meeting: Set(part.meeting),
        post: Set(part.post),
        contact: Set(part.contact.clone()),
        give_more: Set(part.give_more.into()),
        absent: Set(part.absent),
        entered_by: Set(part.entered_by.map(AccountId::uuid)),
        on_sheets: Set(part.on_sheets),
    };
    round_member::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::RoundId, C::AccountId])
                .update_columns([
                    C::AreaCode,
                    C::Meeting,
                    C::Post,
                    C::Contact,
                    C::OnSheets,
                    C::GiveMore,
                    C::Absent,
                    C::EnteredBy,
                ])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Deletes a member's participation.
pub async fn remove_part(
    tx: &Tx,
    _granted: &Granted<TakePart>,
    round: RoundId,
    account: AccountId,
) -> Result<(), StoreError> {
    round_member::Entity::delete_by_id((round.uuid(), account.uuid())).exec(&tx.inner()).await?;
    Ok(())
}

/// Returns a member's participation.
pub async fn part(db: &dyn Source, round: RoundId, account: AccountId) -> Result<Option<Part>, StoreError> {
    let row = round_member::Entity::find_by_id((round.uuid(), account.uuid())).one(&db.inner()).await?;
    row.map(to_part).transpose()
}

/// Returns participations after a number, by number.
pub async fn parts(db: &dyn Source, round: RoundId, after: u32, limit: u64) -> Result<Vec<Part>, StoreError> {
    let rows = round_member::Entity::find()
        .filter(round_member::Column::RoundId.eq(round.uuid()))
        .filter(round_member::Column::Number.gt(i64::from(after)))
        .order_by_asc(round_member::Column::Number)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_part).collect()
}

/// Returns the highest number of a member, and how many members take part.
pub async fn count_parts(db: &dyn Source, round: RoundId) -> Result<(u32, u64), StoreError> {
    let of_round = round_member::Entity::find().filter(round_member::Column::RoundId.eq(round.uuid()));
    let count = of_round.clone().count(&db.inner()).await?;
    let last = of_round.order_by_desc(round_member::Column::Number).one(&db.inner()).await?;
    Ok((last.map_or(Ok(0), |row| small("round_member.number", row.number))?, count))
}

fn to_lot(row: round_lot::Model) -> Result<Brought, StoreError> {
    Ok(Brought {
        id: RoundLotId::from_uuid(row.id),
        round: RoundId::from_uuid(row.round_id),
        offer: OfferId::from_uuid(row.offer_id),
        giver: AccountId::from_uuid(row.account_id),
        number: small("round_lot.number", row.number)?,
        units: small("round_lot.units", row.units)?,
        per_unit: small("round_lot.per_unit", row.per_unit)?,
        gift: row.gift,
        papers: row.papers,
        checked_in_at: row.checked_in_at.map(Timestamp::from_micros),
        came: row.came.map(|packs| small("round_lot.came", packs)).transpose()?,
        entered_by: row.entered_by.map(AccountId::from_uuid),
    })
}

/// Inserts or replaces a lot; number and check-in of an existing one stay.
pub async fn set_lot(tx: &Tx, _granted: &Granted<TakePart>, lot: &Brought) -> Result<(), StoreError> {
    let row = round_lot::ActiveModel {
        id: Set(lot.id.uuid()),
        round_id: Set(lot.round.uuid()),
        offer_id: Set(lot.offer.uuid()),
        account_id: Set(lot.giver.uuid()),
        number: Set(lot.number.into()),
        units: Set(lot.units.into()),
        per_unit: Set(lot.per_unit.into()),
        gift: Set(lot.gift),
        papers: Set(lot.papers.clone()),
        checked_in_at: Set(lot.checked_in_at.map(Timestamp::micros)),
        came: Set(lot.came.map(i64::from)),
        entered_by: Set(lot.entered_by.map(AccountId::uuid)),
    };
    use round_lot::Column as C;
    let update = OnConflict::column(C::Id)
        .update_columns([C::Units, C::PerUnit, C::Gift, C::Papers, C::EnteredBy])
        .to_owned();
    round_lot::Entity::insert(row).on_conflict(update).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Deletes a lot of a round.
pub async fn remove_lot(tx: &Tx, _granted: &Granted<TakePart>, id: RoundLotId) -> Result<(), StoreError> {
    round_lot::Entity::delete_by_id(id.uuid()).exec(&tx.inner()).await?;
    Ok(())
}

/// Sets or clears the check-in time of a lot.
pub async fn check_in(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    id: RoundLotId,
    at: Option<Timestamp>,
) -> Result<(), StoreError> {
    round_lot::Entity::update_many()
        .col_expr(round_lot::Column::CheckedInAt, Expr::value(at.map(Timestamp::micros)))
        .filter(round_lot::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the lot with this id.
pub async fn lot(db: &dyn Source, id: RoundLotId) -> Result<Option<Brought>, StoreError> {
    round_lot::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_lot).transpose()
}

/// Returns the lot of an offer in a round.
pub async fn lot_of_offer(
    db: &dyn Source,
    round: RoundId,
    offer: OfferId,
) -> Result<Option<Brought>, StoreError> {
    let row = round_lot::Entity::find()
        .filter(round_lot::Column::RoundId.eq(round.uuid()))
        .filter(round_lot::Column::OfferId.eq(offer.uuid()))
        .one(&db.inner())
        .await?;
    row.map(to_lot).transpose()
}

/// Returns the lot with this number on the tables.
pub async fn lot_numbered(
    db: &dyn Source,
    round: RoundId,
    number: u32,
) -> Result<Option<Brought>, StoreError> {
    let row = round_lot::Entity::find()
        .filter(round_lot::Column::RoundId.eq(round.uuid()))
        .filter(round_lot::Column::Number.eq(i64::from(number)))
        .one(&db.inner())
        .await?;
    row.map(to_lot).transpose()
}

/// Returns lots of a round after a number, by number; of one member, or of all.
pub async fn lots(
    db: &dyn Source,
    round: RoundId,
    of: Option<AccountId>,
    after: u32,
    limit: u64,
) -> Result<Vec<Brought>, StoreError> {
    let mut query = round_lot::Entity::find()
        .filter(round_lot::Column::RoundId.eq(round.uuid()))
        .filter(round_lot::Column::Number.gt(i64::from(after)));
    if let Some(of) = of {
        query = query.filter(round_lot::Column::AccountId.eq(of.uuid()));
    }
    let rows = query.order_by_asc(round_lot::Column::Number).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_lot).collect()
}

/// Returns the highest number of a lot, how many lots there are, and how many of them a member brings.
pub async fn count_lots(
    db: &dyn Source,
    round: RoundId,
    of: AccountId,
) -> Result<(u32, u64, u64), StoreError> {
    let of_round = round_lot::Entity::find().filter(round_lot::Column::RoundId.eq(round.uuid()));
    let all = of_round.clone().count(&db.inner()).await?;
    let own = of_round.clone().filter(round_lot::Column::AccountId.eq(of.uuid())).count(&db.inner()).await?;
    let last = of_round.order_by_desc(round_lot::Column::Number).one(&db.inner()).await?;
    Ok((last.map_or(Ok(0), |row| small("round_lot.number", row.number))?, all, own))
}

/// Returns the open rounds that contain a lot of an offer.
pub async fn open_rounds_of(db: &dyn Source, offer: OfferId) -> Result<Vec<RoundId>, StoreError> {
    let open = Phase::ALL.iter().filter(|p| p.is_open()).map(|p| p.word());
    let holding = Query::select()
        .column(round_lot::Column::RoundId)
        .from(round_lot::Entity)
        .and_where(round_lot::Column::OfferId.eq(offer.uuid()))
        .to_owned();
    let rows: Vec<Uuid> = round::Entity::find()
        .select_only()
        .column(round::Column::Id)
        .filter(round::Column::Id.in_subquery(holding))
        .filter(round::Column::Phase.is_in(open))
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(RoundId::from_uuid).collect())
}
