//! Accounts on the wire.

use scionary_app::{Error, accounts::Blocked};
use scionary_domain::{
    account::{Account, Invitation, InvitationState, Role, SignUpMode},
    field::FieldError,
    time::Timestamp,
};
use scionary_proto::v1;

use super::timestamp;

fn grant(role: &Role) -> v1::RoleGrant {
    let wire = match role {
        Role::Grower => v1::Role::Grower,
        Role::Curator { .. } => v1::Role::Curator,
        Role::Organiser => v1::Role::Organiser,
        Role::Steward => v1::Role::Steward,
    };
    v1::RoleGrant { role: wire.into(), crop: role.scope().to_string() }
}

/// An account.
pub fn account(account: &Account) -> v1::Account {
    let Account { id, handle, display_name, roles, created_at, suspended_at: _ } = account;
    v1::Account {
        account_id: id.to_string(),
        handle: handle.clone(),
        display_name: display_name.clone(),
        roles: std::iter::once(&Role::Grower).chain(roles).map(grant).collect(),
        created_at: Some(timestamp(*created_at)),
    }
}

/// People who are blocked.
pub fn blocked(all: &[Blocked]) -> Vec<v1::BlockedMember> {
    all.iter()
        .map(|b| v1::BlockedMember {
            account_id: b.account.to_string(),
            display_name: b.display_name.clone(),
        })
        .collect()
}

/// An invitation as it is now.
pub fn invitation(invitation: &Invitation, now: Timestamp) -> v1::Invitation {
    let state = match invitation.state(now) {
        InvitationState::Open => v1::InvitationState::Open,
        InvitationState::Used => v1::InvitationState::Used,
        InvitationState::Revoked => v1::InvitationState::Revoked,
        InvitationState::Expired => v1::InvitationState::Expired,
    };
    v1::Invitation {
        invitation_id: invitation.id.to_string(),
        note: invitation.note.clone(),
        created_at: Some(timestamp(invitation.created_at)),
        expires_at: Some(timestamp(invitation.expires_at)),
        state: state.into(),
    }
}

/// A role from the wire.
///
/// # Errors
/// What was expected.
pub fn read_role(role: i32, crop: &str) -> Result<Role, Error> {
    let crop = crop.trim().to_string();
    let wrong = |expected: &str| Err(FieldError::new("role", expected).into());
    let role = match v1::Role::try_from(role) {
        Ok(v1::Role::Grower) => Role::Grower,
        Ok(v1::Role::Curator) => return Ok(Role::Curator { crop }),
        Ok(v1::Role::Organiser) => Role::Organiser,
        Ok(v1::Role::Steward) => Role::Steward,
        Ok(v1::Role::Unspecified) | Err(_) => return wrong("curator, organiser or steward expected"),
    };
    if crop.is_empty() {
        Ok(role)
    } else {
        Err(FieldError::new("crop", "a crop goes with the role of a curator only").into())
    }
}

/// How one joins.
pub fn sign_up_mode(mode: SignUpMode) -> v1::SignUpMode {
    match mode {
        SignUpMode::Open => v1::SignUpMode::Open,
        SignUpMode::Invitation => v1::SignUpMode::Invitation,
        SignUpMode::Closed => v1::SignUpMode::Closed,
    }
}
