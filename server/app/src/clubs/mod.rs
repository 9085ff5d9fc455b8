//! Clubs: made, joined, arranged, left, closed.

mod close;
mod helped;
mod join;
mod make;
mod manage;
mod read;

pub use close::{CloseClub, ClubExport};
pub use helped::{AllowHelp, EnterHelped};
pub use join::{AnswerInvitation, AskToJoin, InviteToClub, LeaveClub};
pub use make::{ChangeClub, CreateClub};
pub use manage::{AnswerRequest, RemoveMember, SetOrganiser, Uninvite};
pub use read::{ShownClub, ShownMember};

use scionary_domain::{
    access::{self, Granted, OrganiseClub},
    account::Account,
    club::{Club, Membership, Standing},
    ids::{AccountId, ClubId},
    names::Folded,
    notice::{Kind, NewNotice},
};
use scionary_store::{Source, StoreError, block_store, club_store};

use crate::{Error, Rule, Write};

/// Those who belong to a club.
const BELONG: [Standing; 2] = [Standing::Member, Standing::Organiser];

/// An open club.
async fn club_of(db: &dyn Source, id: ClubId) -> Result<Club, Error> {
    let club = club_store::one(db, id).await?.filter(|c| c.closed_at.is_none());
    club.ok_or_else(|| Error::not_found("club", id))
}

/// An open club, held until the transaction ends.
async fn club_held(write: &Write<'_>, id: ClubId) -> Result<Club, Error> {
    club_store::lock(write.tx, id).await?;
    club_of(write.tx, id).await
}

/// A club that the caller arranges, held until the transaction ends.
pub(crate) async fn organised(write: &Write<'_>, id: ClubId) -> Result<(Club, Granted<OrganiseClub>), Error> {
    let account = write.call.account()?;
    let club = club_held(write, id).await?;
    let own = club_store::membership(write.tx, id, account.id).await?;
    let granted = access::organise_club(account, own.map(|m| m.standing))?;
    Ok((club, granted))
}

/// Stores a changed club; a caller who was overtaken is served again, on what stands then.
async fn store(write: &Write<'_>, granted: &Granted<OrganiseClub>, club: &mut Club) -> Result<(), Error> {
    let seen = club.version;
    club.version += 1;
    let key = Folded::new(&club.name).key();
    let done = club_store::replace(write.tx, granted, club, &key, seen)
        .await
        .map_err(|e| e.if_exists(Error::from(Rule::ClubNameTaken(club.name.clone()))))?;
    if done { Ok(()) } else { Err(StoreError::Collision.into()) }
}

/// An account's open invitation to a club, as how it stands to it; none by someone with whom it does not deal.
async fn invited(db: &dyn Source, club: ClubId, account: &Account) -> Result<Option<Membership>, Error> {
    let found = club_store::invitation(db, club, &account.handle.to_ascii_lowercase()).await?;
    let Some(found) = found else { return Ok(None) };
    if block_store::between(db, account.id, found.by).await? {
        return Ok(None);
    }
    Ok(Some(Membership {
        club,
        account: account.id,
        standing: Standing::Invited,
        words: found.words,
        consent: None,
        since: found.since,
    }))
}

fn notice(to: AccountId, club: &Club, once: impl ToString, words: String) -> NewNotice {
    NewNotice { to, kind: Kind::Club, subject: club.id.to_string(), once: once.to_string(), words }
}

/// Refuses to leave a club without anyone who arranges it.
async fn keep_an_organiser(write: &Write<'_>, club: &Club) -> Result<(), Error> {
    if club_store::count(write.tx, club.id, &[Standing::Organiser]).await? == 0 {
        return Err(Rule::LastOrganiser.into());
    }
    Ok(())
}

/// The open clubs to which someone belongs.
pub(crate) async fn clubs_of(db: &dyn Source, account: AccountId) -> Result<Vec<ClubId>, Error> {
    let own = club_store::of(db, account).await?;
    Ok(own.into_iter().filter(|m| m.standing.belongs()).map(|m| m.club).collect())
}

/// Whether someone belongs to a club.
pub(crate) async fn belongs(db: &dyn Source, club: ClubId, account: AccountId) -> Result<bool, Error> {
    let own = club_store::membership(db, club, account).await?;
    Ok(own.is_some_and(|m| m.standing.belongs()))
}

/// Whether someone arranges a club.
pub(crate) async fn organises(db: &dyn Source, club: ClubId, account: AccountId) -> Result<bool, Error> {
    let own = club_store::membership(db, club, account).await?;
    Ok(own.is_some_and(|m| m.standing == Standing::Organiser))
}
