//! Accounts, sessions, role grants and invitations.

use std::collections::HashMap;

use scionary_domain::{
    access::{ChangeRoles, Granted, Invite, RevokeInvitation},
    account::{Account, CodeKind, Handle, Invitation, Role},
    ids::{AccountId, InvitationId, RoleGrantId, SessionId},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, Condition, EntityTrait, ExprTrait as _, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect,
    sea_query::{Expr, Query},
};

use crate::{
    door::Tx,
    entity::{account, invitation, role_grant, session},
    error::StoreError,
    source::Source,
};

/// An account to insert.
#[derive(Debug)]
pub struct NewAccount<'a> {
    /// Id of the account.
    pub id: AccountId,
    /// Sign-in name.
    pub handle: &'a Handle,
    /// Name that other members see.
    pub display_name: &'a str,
    /// Hash of the password.
    pub password_hash: &'a str,
    /// Time of creation.
    pub at: Timestamp,
}

/// A session to insert.
#[derive(Debug)]
pub struct NewSession<'a> {
    /// Id of the session.
    pub id: SessionId,
    /// Account that signs in.
    pub account: AccountId,
    /// SHA-256 hash of the token.
    pub token_hash: [u8; 32],
    /// The user's label for the device.
    pub label: &'a str,
    /// Time of creation.
    pub at: Timestamp,
    /// Time of expiry.
    pub expires_at: Timestamp,
}

/// A live session with its account.
#[derive(Debug)]
pub struct SessionFacts {
    /// Id of the session.
    pub id: SessionId,
    /// Time of expiry.
    pub expires_at: Timestamp,
    /// Account of the session.
    pub account: Account,
}

fn to_account(row: account::Model, grants: Vec<role_grant::Model>) -> Result<Account, StoreError> {
    let roles = grants
        .into_iter()
        .map(|g| {
            Role::from_parts(&g.role, &g.scope)
                .ok_or_else(|| StoreError::corrupt("role_grant.role", format!("{:?}", g.role)))
        })
        .collect::<Result<_, _>>()?;
    Ok(Account {
        id: AccountId::from_uuid(row.id),
        handle: row.handle,
        display_name: row.display_name,
        roles,
        created_at: Timestamp::from_micros(row.created_at),
        suspended_at: row.suspended_at.map(Timestamp::from_micros),
    })
}

async fn with_roles(db: &dyn Source, row: Option<account::Model>) -> Result<Option<Account>, StoreError> {
    let Some(row) = row else { return Ok(None) };
    let grants = role_grant::Entity::find()
        .filter(role_grant::Column::AccountId.eq(row.id))
        .filter(role_grant::Column::RevokedAt.is_null())
        .order_by_asc(role_grant::Column::GrantedAt)
        .all(&db.inner())
        .await?;
    to_account(row, grants).map(Some)
}

/// Returns the account with this id.
pub async fn account(db: &dyn Source, id: AccountId) -> Result<Option<Account>, StoreError> {
    with_roles(db, account::Entity::find_by_id(id.uuid()).one(&db.inner()).await?).await
}

/// Returns the account with this folded handle, and its password hash.
pub async fn account_to_sign_in(db: &dyn Source, key: &str) -> Result<Option<(Account, String)>, StoreError> {
    let row = account::Entity::find().filter(account::Column::HandleKey.eq(key)).one(&db.inner()).await?;
    let hash = row.as_ref().map(|r| r.password_hash.clone());
    Ok(with_roles(db, row).await?.zip(hash))
}

/// Returns the password hash of an account.
pub async fn password_hash(db: &dyn Source, id: AccountId) -> Result<Option<String>, StoreError> {
    Ok(account::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(|row| row.password_hash))
}

/// Returns the display names of these accounts; unknown ids are missing from the map.
pub async fn display_names(
    db: &dyn Source,
    ids: &[AccountId],
) -> Result<HashMap<AccountId, String>, StoreError> {
    let mut uuids: Vec<_> = ids.iter().map(|id| id.uuid()).collect();
    uuids.sort_unstable();
    uuids.dedup();
    let rows = account::Entity::find().filter(account::Column::Id.is_in(uuids)).all(&db.inner()).await?;
    Ok(rows.into_iter().map(|row| (AccountId::from_uuid(row.id), row.display_name)).collect())
}

/// Returns these accounts by display name, without their roles.
pub async fn people(db: &dyn Source, ids: &[AccountId]) -> Result<Vec<Account>, StoreError> {
    let mut people = Vec::new();
    for some in ids.chunks(1_000) {
        let rows = account::Entity::find()
            .filter(account::Column::Id.is_in(some.iter().map(|id| id.uuid())))
            .order_by_asc(account::Column::DisplayName)
            .all(&db.inner())
            .await?;
        for row in rows {
            people.push(to_account(row, Vec::new())?);
        }
    }
    Ok(people)
}

/// Returns how many accounts hold a role; suspended accounts do not count.
pub async fn holders(db: &dyn Source, role: &Role) -> Result<u64, StoreError> {
    let active = Query::select()
        .column(account::Column::Id)
        .from(account::Entity)
        .and_where(account::Column::SuspendedAt.is_null())
        .to_owned();
    Ok(role_grant::Entity::find()
        .filter(role_grant::Column::AccountId.in_subquery(active))
        .filter(role_grant::Column::Role.eq(role.word()))
        .filter(role_grant::Column::Scope.eq(role.scope()))
        .filter(role_grant::Column::RevokedAt.is_null())
        .count(&db.inner())
        .await?)
}

/// Inserts an account. Returns [`StoreError::Exists`] if the handle is taken.
pub async fn insert_account(tx: &Tx, new: &NewAccount<'_>) -> Result<(), StoreError> {
    let row = account::ActiveModel {
        id: Set(new.id.uuid()),
        handle: Set(new.handle.as_str().into()),
        handle_key: Set(new.handle.key()),
        display_name: Set(new.display_name.into()),
        password_hash: Set(new.password_hash.into()),
        created_at: Set(new.at.micros()),
        suspended_at: Set(None),
        version: Set(1),
    };
    account::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces a password hash if it still equals `checked`; returns false if it has changed. The update locks the
/// account's row, so that a sign-in and a password change wait for each other.
pub async fn set_password(tx: &Tx, id: AccountId, checked: &str, hash: &str) -> Result<bool, StoreError> {
    let changed = account::Entity::update_many()
        .col_expr(account::Column::PasswordHash, Expr::value(hash))
        .col_expr(account::Column::Version, Expr::col(account::Column::Version).add(1))
        .filter(account::Column::Id.eq(id.uuid()))
        .filter(account::Column::PasswordHash.eq(checked))
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Locks an account's row until the transaction ends, so that two concurrent calls cannot exceed a limit together.
pub async fn lock_account(tx: &Tx, id: AccountId) -> Result<(), StoreError> {
    account::Entity::update_many()
        .col_expr(account::Column::Version, Expr::col(account::Column::Version).add(0))
        .filter(account::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Grants a role. Returns [`StoreError::Exists`] if the account already holds it.
pub async fn grant_role(
    tx: &Tx,
    granted: &Granted<ChangeRoles>,
    id: RoleGrantId,
    account: AccountId,
    role: &Role,
    at: Timestamp,
) -> Result<(), StoreError> {
    let held = role_grant::Entity::find()
        .filter(role_grant::Column::AccountId.eq(account.uuid()))
        .filter(role_grant::Column::Role.eq(role.word()))
        .filter(role_grant::Column::Scope.eq(role.scope()))
        .filter(role_grant::Column::RevokedAt.is_null())
        .one(&tx.inner())
        .await?;
    if held.is_some() {
        return Err(StoreError::Exists);
    }
    let row = role_grant::ActiveModel {
        id: Set(id.uuid()),
        account_id: Set(account.uuid()),
        role: Set(role.word().into()),
        scope: Set(role.scope().into()),
        granted_by: Set(granted.by().map(AccountId::uuid)),
        granted_at: Set(at.micros()),
        revoked_at: Set(None),
    };
    role_grant::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Revokes a role; returns true if the account held it.
pub async fn revoke_role(
    tx: &Tx,
    _granted: &Granted<ChangeRoles>,
    account: AccountId,
    role: &Role,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = role_grant::Entity::update_many()
        .col_expr(role_grant::Column::RevokedAt, Expr::value(at.micros()))
        .filter(role_grant::Column::AccountId.eq(account.uuid()))
        .filter(role_grant::Column::Role.eq(role.word()))
        .filter(role_grant::Column::Scope.eq(role.scope()))
        .filter(role_grant::Column::RevokedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected > 0)
}

/// Inserts a session.
pub async fn insert_session(tx: &Tx, new: &NewSession<'_>) -> Result<(), StoreError> {
    let row = session::ActiveModel {
        id: Set(new.id.uuid()),
        account_id: Set(new.account.uuid()),
        token_hash: Set(new.token_hash.to_vec()),
        label: Set(new.label.into()),
        created_at: Set(new.at.micros()),
        expires_at: Set(new.expires_at.micros()),
        revoked_at: Set(None),
    };
    session::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the session with this token hash if it is neither revoked nor expired.
pub async fn session_of(
    db: &dyn Source,
    token_hash: &[u8; 32],
    now: Timestamp,
) -> Result<Option<SessionFacts>, StoreError> {
    let found = session::Entity::find()
        .filter(session::Column::TokenHash.eq(token_hash.to_vec()))
        .filter(session::Column::RevokedAt.is_null())
        .filter(session::Column::ExpiresAt.gt(now.micros()))
        .one(&db.inner())
        .await?;
    let Some(row) = found else { return Ok(None) };
    Ok(account(db, AccountId::from_uuid(row.account_id)).await?.map(|account| SessionFacts {
        id: SessionId::from_uuid(row.id),
        expires_at: Timestamp::from_micros(row.expires_at),
        account,
    }))
}

/// Returns true if a session is neither revoked nor expired and its account is not suspended.
pub async fn session_is_good(db: &dyn Source, id: SessionId, now: Timestamp) -> Result<bool, StoreError> {
    let active = Query::select()
        .column(account::Column::Id)
        .from(account::Entity)
        .and_where(account::Column::SuspendedAt.is_null())
        .to_owned();
    Ok(session::Entity::find_by_id(id.uuid())
        .filter(session::Column::RevokedAt.is_null())
        .filter(session::Column::ExpiresAt.gt(now.micros()))
        .filter(session::Column::AccountId.in_subquery(active))
        .count(&db.inner())
        .await?
        > 0)
}

/// Ends sessions of an account: one, all but one, or all. Returns how many were ended.
pub async fn end_sessions(
    tx: &Tx,
    account: AccountId,
    only: Option<SessionId>,
    except: Option<SessionId>,
    at: Timestamp,
) -> Result<u64, StoreError> {
    let mut which = Condition::all()
        .add(session::Column::AccountId.eq(account.uuid()))
        .add(session::Column::RevokedAt.is_null())
        .add(session::Column::ExpiresAt.gt(at.micros()));
    if let Some(id) = only {
        which = which.add(session::Column::Id.eq(id.uuid()));
    }
    if let Some(id) = except {
        which = which.add(session::Column::Id.ne(id.uuid()));
    }
    let changed = session::Entity::update_many()
        .col_expr(session::Column::RevokedAt, Expr::value(at.micros()))
        .filter(which)
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected)
}

/// Deletes sessions that expired or were revoked before a time; returns their number.
pub async fn forget_sessions(tx: &Tx, before: Timestamp) -> Result<u64, StoreError> {
    let gone = session::Entity::delete_many()
        .filter(
            Condition::any()
                .add(session::Column::ExpiresAt.lt(before.micros()))
                .add(session::Column::RevokedAt.lt(before.micros())),
        )
        .exec(&tx.inner())
        .await?;
    Ok(gone.rows_affected)
}

const INVITATION: &str = "invitation";
const FIRST_STEWARD: &str = "first_steward";

fn to_invitation(row: invitation::Model) -> Result<Invitation, StoreError> {
    let kind = match row.kind.as_str() {
        INVITATION => CodeKind::Invitation,
        FIRST_STEWARD => CodeKind::FirstSteward,
        other => return Err(StoreError::corrupt("invitation.kind", format!("{other:?}"))),
    };
    Ok(Invitation {
        id: InvitationId::from_uuid(row.id),
        kind,
        created_by: row.created_by.map(AccountId::from_uuid),
        note: row.note,
        created_at: Timestamp::from_micros(row.created_at),
        expires_at: Timestamp::from_micros(row.expires_at),
        used_at: row.used_at.map(Timestamp::from_micros),
        revoked_at: row.revoked_at.map(Timestamp::from_micros),
    })
}

/// Inserts an invitation or a first-steward code.
pub async fn insert_invitation(
    tx: &Tx,
    _granted: &Granted<Invite>,
    new: &Invitation,
    code_hash: [u8; 32],
) -> Result<(), StoreError> {
    let row = invitation::ActiveModel {
        id: Set(new.id.uuid()),
        kind: Set(match new.kind {
            CodeKind::Invitation => INVITATION.into(),
            CodeKind::FirstSteward => FIRST_STEWARD.into(),
        }),
        code_hash: Set(code_hash.to_vec()),
        created_by: Set(new.created_by.map(AccountId::uuid)),
        note: Set(new.note.clone()),
        created_at: Set(new.created_at.micros()),
        expires_at: Set(new.expires_at.micros()),
        used_by: Set(None),
        used_at: Set(None),
        revoked_at: Set(None),
    };
    invitation::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the invitation with this id.
pub async fn invitation(db: &dyn Source, id: InvitationId) -> Result<Option<Invitation>, StoreError> {
    invitation::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_invitation).transpose()
}

/// Returns the invitation with this code hash.
pub async fn invitation_of(db: &dyn Source, code_hash: &[u8; 32]) -> Result<Option<Invitation>, StoreError> {
    invitation::Entity::find()
        .filter(invitation::Column::CodeHash.eq(code_hash.to_vec()))
        .one(&db.inner())
        .await?
        .map(to_invitation)
        .transpose()
}

/// Returns the invitations of an account before a key, newest first.
pub async fn invitations_by(
    db: &dyn Source,
    account: AccountId,
    before: Option<(Timestamp, InvitationId)>,
    limit: u64,
) -> Result<Vec<Invitation>, StoreError> {
    let mut query = invitation::Entity::find().filter(invitation::Column::CreatedBy.eq(account.uuid()));
    if let Some((at, id)) = before {
        query = query.filter(
            Condition::any().add(invitation::Column::CreatedAt.lt(at.micros())).add(
                Condition::all()
                    .add(invitation::Column::CreatedAt.eq(at.micros()))
                    .add(invitation::Column::Id.lt(id.uuid())),
            ),
        );
    }
    let rows = query
        .order_by_desc(invitation::Column::CreatedAt)
        .order_by_desc(invitation::Column::Id)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_invitation).collect()
}

/// Returns how many unused, unexpired invitations an account has.
pub async fn open_invitations(
    db: &dyn Source,
    account: AccountId,
    now: Timestamp,
) -> Result<u64, StoreError> {
    Ok(invitation::Entity::find()
        .filter(invitation::Column::CreatedBy.eq(account.uuid()))
        .filter(invitation::Column::UsedAt.is_null())
        .filter(invitation::Column::RevokedAt.is_null())
        .filter(invitation::Column::ExpiresAt.gt(now.micros()))
        .count(&db.inner())
        .await?)
}

/// Marks an invitation used; returns false if it is already used or revoked.
pub async fn use_invitation(
    tx: &Tx,
    id: InvitationId,
    account: AccountId,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = invitation::Entity::update_many()
        .col_expr(invitation::Column::UsedBy, Expr::value(account.uuid()))
        .col_expr(invitation::Column::UsedAt, Expr::value(at.micros()))
        .filter(invitation::Column::Id.eq(id.uuid()))
        .filter(invitation::Column::UsedAt.is_null())
        .filter(invitation::Column::RevokedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Revokes an invitation; returns false if it is already used or revoked.
pub async fn revoke_invitation(
    tx: &Tx,
    _granted: Granted<RevokeInvitation>,
    id: InvitationId,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = invitation::Entity::update_many()
        .col_expr(invitation::Column::RevokedAt, Expr::value(at.micros()))
        .filter(invitation::Column::Id.eq(id.uuid()))
        .filter(invitation::Column::UsedAt.is_null())
        .filter(invitation::Column::RevokedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}
