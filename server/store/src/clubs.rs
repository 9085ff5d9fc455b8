//! Clubs, their members and invitations.

use scionary_domain::{
    access::{Granted, OrganiseClub},
    club::{Club, Invitation, Membership, Standing},
    ids::{AccountId, ClubId},
    place::AreaCode,
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, OnConflict},
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{club, club_invitation, club_member},
    error::StoreError,
    source::Source,
};

fn to_club(row: club::Model) -> Result<Club, StoreError> {
    let area = row
        .area_code
        .as_deref()
        .map(|code| AreaCode::parse(code).map_err(|e| StoreError::corrupt("club.area_code", e)))
        .transpose()?;
    Ok(Club {
        id: ClubId::from_uuid(row.id),
        name: row.name,
        about: row.about,
        area,
        takes_requests: row.takes_requests,
        created_at: Timestamp::from_micros(row.created_at),
        closed_at: row.closed_at.map(Timestamp::from_micros),
        version: row.version,
    })
}

fn to_row(club: &Club, name_key: &str) -> club::ActiveModel {
    club::ActiveModel {
        id: Set(club.id.uuid()),
        name: Set(club.name.clone()),
        name_key: Set(name_key.into()),
        about: Set(club.about.clone()),
        area_code: Set(club.area.as_ref().map(|a| a.as_str().to_string())),
        takes_requests: Set(club.takes_requests),
        created_at: Set(club.created_at.micros()),
        closed_at: Set(club.closed_at.map(Timestamp::micros)),
        version: Set(club.version),
    }
}

fn to_membership(row: club_member::Model) -> Result<Membership, StoreError> {
    let standing = Standing::from_word(&row.standing);
    Ok(Membership {
        club: ClubId::from_uuid(row.club_id),
        account: AccountId::from_uuid(row.account_id),
        standing: standing
            .ok_or_else(|| StoreError::corrupt("club_member.standing", row.standing.clone()))?,
        words: row.words,
        consent: row.consent,
        since: Timestamp::from_micros(row.since),
    })
}

/// Inserts a club. Returns [`StoreError::Exists`] if an open club has the name.
pub async fn insert(tx: &Tx, new: &Club, name_key: &str) -> Result<(), StoreError> {
    club::Entity::insert(to_row(new, name_key)).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces a club if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: &Granted<OrganiseClub>,
    changed: &Club,
    name_key: &str,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = club::Entity::update_many()
        .set(to_row(changed, name_key))
        .filter(club::Column::Id.eq(changed.id.uuid()))
        .filter(club::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Locks a club's row until the transaction ends, so that changes of its members run one after the other.
pub async fn lock(tx: &Tx, id: ClubId) -> Result<(), StoreError> {
    club::Entity::update_many()
        .col_expr(club::Column::TakesRequests, Expr::col(club::Column::TakesRequests))
        .filter(club::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Returns how many members of a club have agreed that organisers act for them.
pub async fn count_helped(db: &dyn Source, club: ClubId) -> Result<u64, StoreError> {
    Ok(club_member::Entity::find()
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .filter(club_member::Column::Consent.is_not_null())
        .count(&db.inner())
        .await?)
}

/// Returns the club with this id.
pub async fn one(db: &dyn Source, id: ClubId) -> Result<Option<Club>, StoreError> {
    club::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_club).transpose()
}

/// Returns the clubs with these ids, by name.
pub async fn some(db: &dyn Source, ids: &[ClubId]) -> Result<Vec<Club>, StoreError> {
    let rows = club::Entity::find()
        .filter(club::Column::Id.is_in(ids.iter().map(|id| id.uuid())))
        .order_by_asc(club::Column::NameKey)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_club).collect()
}

/// Returns open clubs after a folded name, in name order, each with its folded name. `holds` is a part of the
/// folded name.
pub async fn list(
    db: &dyn Source,
    holds: &str,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<(Club, String)>, StoreError> {
    let mut query = club::Entity::find().filter(club::Column::ClosedAt.is_null());
    if !holds.is_empty() {
        query = query.filter(club::Column::NameKey.contains(holds));
    }
    if let Some(after) = after {
        query = query.filter(club::Column::NameKey.gt(after));
    }
    let rows = query.order_by_asc(club::Column::NameKey).limit(limit).all(&db.inner()).await?;
    rows.into_iter()
        .map(|row| Ok((row.name_key.clone(), row)).and_then(|(key, row)| Ok((to_club(row)?, key))))
        .collect()
}

/// Returns an account's membership in a club, of any standing.
pub async fn membership(
    db: &dyn Source,
    club: ClubId,
    account: AccountId,
) -> Result<Option<Membership>, StoreError> {
    let row = club_member::Entity::find_by_id((club.uuid(), account.uuid())).one(&db.inner()).await?;
    row.map(to_membership).transpose()
}

/// Returns the memberships of these accounts in a club, of any standing; those without one are missing.
pub async fn memberships(
    db: &dyn Source,
    club: ClubId,
    accounts: &[AccountId],
) -> Result<Vec<Membership>, StoreError> {
    let rows = club_member::Entity::find()
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .filter(club_member::Column::AccountId.is_in(accounts.iter().map(|account| account.uuid())))
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_membership).collect()
}

/// Inserts or replaces a membership.
pub async fn set(tx: &Tx, new: &Membership) -> Result<(), StoreError> {
    use club_member::Column as C;
    let row = club_member::ActiveModel {
        club_id: Set(new.club.uuid()),
        account_id: Set(new.account.uuid()),
        standing: Set(new.standing.word().into()),
        words: Set(new.words.clone()),
        consent: Set(new.consent.clone()),
        since: Set(new.since.micros()),
    };
    club_member::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::ClubId, C::AccountId])
                .update_columns([C::Standing, C::Words, C::Consent, C::Since])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Deletes a membership of any standing; returns true if there was one.
pub async fn remove(tx: &Tx, club: ClubId, account: AccountId) -> Result<bool, StoreError> {
    let done = club_member::Entity::delete_by_id((club.uuid(), account.uuid())).exec(&tx.inner()).await?;
    Ok(done.rows_affected == 1)
}

fn to_invitation(row: club_invitation::Model) -> Invitation {
    Invitation {
        club: ClubId::from_uuid(row.club_id),
        handle_key: row.handle_key,
        words: row.words,
        by: AccountId::from_uuid(row.invited_by),
        since: Timestamp::from_micros(row.since),
    }
}

/// Stores an invitation; it replaces an earlier one to the same handle.
pub async fn invite(tx: &Tx, new: &Invitation) -> Result<(), StoreError> {
    use club_invitation::Column as C;
    let row = club_invitation::ActiveModel {
        club_id: Set(new.club.uuid()),
        handle_key: Set(new.handle_key.clone()),
        words: Set(new.words.clone()),
        invited_by: Set(new.by.uuid()),
        since: Set(new.since.micros()),
    };
    club_invitation::Entity::insert(row)
        .on_conflict(
            OnConflict::columns([C::ClubId, C::HandleKey])
                .update_columns([C::Words, C::InvitedBy, C::Since])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the invitation of a handle to a club.
pub async fn invitation(
    db: &dyn Source,
    club: ClubId,
    handle_key: &str,
) -> Result<Option<Invitation>, StoreError> {
    let id = (club.uuid(), handle_key.to_string());
    Ok(club_invitation::Entity::find_by_id(id).one(&db.inner()).await?.map(to_invitation))
}

/// Withdraws an invitation; returns true if there was one.
pub async fn uninvite(tx: &Tx, club: ClubId, handle_key: &str) -> Result<bool, StoreError> {
    let id = (club.uuid(), handle_key.to_string());
    Ok(club_invitation::Entity::delete_by_id(id).exec(&tx.inner()).await?.rows_affected == 1)
}

/// Returns all invitations to a club, by handle.
pub async fn invitations(db: &dyn Source, club: ClubId) -> Result<Vec<Invitation>, StoreError> {
    let rows = club_invitation::Entity::find()
        .filter(club_invitation::Column::ClubId.eq(club.uuid()))
        .order_by_asc(club_invitation::Column::HandleKey)
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(to_invitation).collect())
}

/// Returns all invitations of a handle.
pub async fn invitations_of(db: &dyn Source, handle_key: &str) -> Result<Vec<Invitation>, StoreError> {
    let rows = club_invitation::Entity::find()
        .filter(club_invitation::Column::HandleKey.eq(handle_key))
        .order_by_asc(club_invitation::Column::ClubId)
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(to_invitation).collect())
}

/// Deletes all memberships and invitations of a club.
pub async fn remove_all(tx: &Tx, _granted: &Granted<OrganiseClub>, club: ClubId) -> Result<(), StoreError> {
    club_invitation::Entity::delete_many()
        .filter(club_invitation::Column::ClubId.eq(club.uuid()))
        .exec(&tx.inner())
        .await?;
    club_member::Entity::delete_many()
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Returns memberships of these standings after an account, in the order of account ids.
pub async fn members(
    db: &dyn Source,
    club: ClubId,
    standings: &[Standing],
    after: Option<AccountId>,
    limit: u64,
) -> Result<Vec<Membership>, StoreError> {
    let mut query = club_member::Entity::find()
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .filter(club_member::Column::Standing.is_in(standings.iter().map(|s| s.word())));
    if let Some(after) = after {
        query = query.filter(club_member::Column::AccountId.gt(after.uuid()));
    }
    let rows = query.order_by_asc(club_member::Column::AccountId).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_membership).collect()
}

/// Returns how many memberships of these standings a club has.
pub async fn count(db: &dyn Source, club: ClubId, standings: &[Standing]) -> Result<u64, StoreError> {
    Ok(club_member::Entity::find()
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .filter(club_member::Column::Standing.is_in(standings.iter().map(|s| s.word())))
        .count(&db.inner())
        .await?)
}

/// Returns the accounts of a club that have one of these standings.
pub async fn accounts(
    db: &dyn Source,
    club: ClubId,
    standings: &[Standing],
) -> Result<Vec<AccountId>, StoreError> {
    let ids: Vec<Uuid> = club_member::Entity::find()
        .select_only()
        .column(club_member::Column::AccountId)
        .filter(club_member::Column::ClubId.eq(club.uuid()))
        .filter(club_member::Column::Standing.is_in(standings.iter().map(|s| s.word())))
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(ids.into_iter().map(AccountId::from_uuid).collect())
}

/// Returns all memberships of an account.
pub async fn of(db: &dyn Source, account: AccountId) -> Result<Vec<Membership>, StoreError> {
    let rows = club_member::Entity::find()
        .filter(club_member::Column::AccountId.eq(account.uuid()))
        .order_by_asc(club_member::Column::ClubId)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_membership).collect()
}

/// Returns the clubs that `organiser` organises and in which `member` has agreed that organisers act for them.
pub async fn acts_for(
    db: &dyn Source,
    organiser: AccountId,
    member: AccountId,
) -> Result<Vec<ClubId>, StoreError> {
    let clubs: Vec<Uuid> = club_member::Entity::find()
        .select_only()
        .column(club_member::Column::ClubId)
        .filter(club_member::Column::AccountId.eq(organiser.uuid()))
        .filter(club_member::Column::Standing.eq(Standing::Organiser.word()))
        .into_tuple()
        .all(&db.inner())
        .await?;
    let clubs: Vec<Uuid> = club_member::Entity::find()
        .select_only()
        .column(club_member::Column::ClubId)
        .filter(club_member::Column::AccountId.eq(member.uuid()))
        .filter(club_member::Column::ClubId.is_in(clubs))
        .filter(club_member::Column::Standing.is_in([Standing::Member.word(), Standing::Organiser.word()]))
        .filter(club_member::Column::Consent.is_not_null())
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(clubs.into_iter().map(ClubId::from_uuid).collect())
}
