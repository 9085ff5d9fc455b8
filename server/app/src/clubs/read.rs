//! Clubs as people see them.

use std::collections::HashMap;

use scionary_domain::{
    access::Denied,
    account::Account,
    club::{Club, Membership, Standing},
    field::Fields,
    ids::{AccountId, ClubId},
    limits,
    names::Folded,
    page::{self, Page},
    time::Timestamp,
};
use scionary_store::{Source, account_store, club_store};

use super::{BELONG, club_of, invited, organises};
use crate::{App, Call, Error};

/// A club with what stands beside it.
#[derive(Clone, Debug)]
pub struct ShownClub {
    /// The club.
    pub club: Club,
    /// How many belong to it.
    pub members: u64,
    /// How many asked to join: told to its organisers.
    pub waiting: Option<u64>,
    /// How the caller stands to it.
    pub own: Option<Membership>,
}

/// Someone of a club.
#[derive(Clone, Debug)]
pub struct ShownMember {
    /// Their account; none for one who is invited, of whom nothing is shown.
    pub account: Option<AccountId>,
    /// How they stand to it.
    pub standing: Standing,
    /// What was said on asking or inviting.
    pub words: String,
    /// How they agreed that organisers act for them.
    pub consent: Option<String>,
    /// Since when.
    pub since: Timestamp,
    /// Their display name; of one who is invited the handle that was typed.
    pub name: String,
    /// Their handle; empty for one who is invited.
    pub handle: String,
}

impl ShownClub {
    pub(super) async fn new(db: &dyn Source, club: Club, caller: Option<&Account>) -> Result<Self, Error> {
        let own = match caller {
            Some(caller) => match club_store::membership(db, club.id, caller.id).await? {
                Some(own) => Some(own),
                None => invited(db, club.id, caller).await?,
            },
            None => None,
        };
        let members = club_store::count(db, club.id, &BELONG).await?;
        let waiting = match own.as_ref().map(|m| m.standing) {
            Some(Standing::Organiser) => Some(club_store::count(db, club.id, &[Standing::Asked]).await?),
            Some(Standing::Member | Standing::Invited | Standing::Asked) | None => None,
        };
        Ok(Self { club, members, waiting, own })
    }
}

impl App {
    /// A club.
    ///
    /// # Errors
    /// [`Error::NotFound`], also for one that was closed.
    pub async fn club(&self, call: &Call, id: ClubId) -> Result<ShownClub, Error> {
        let reader = self.store().reader();
        ShownClub::new(reader, club_of(reader, id).await?, call.actor.account()).await
    }

    /// A page of open clubs by name.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn clubs(
        &self,
        call: &Call,
        name: &str,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownClub>, Error> {
        let mut fields = Fields::new();
        let name = fields.text("name", name, 0, limits::CLUB_NAME_CHARS_MAX);
        let holds = Folded::new(&fields.finish(name)?).key();
        let asked = page::Asked::<String>::read(page_size, token, format!("clubs {holds}"))?;
        let reader = self.store().reader();
        let found = club_store::list(reader, &holds, asked.after.as_deref(), asked.limit()).await?;
        let Page { rows: found, next } = asked.cut(found, |(_, key)| key.clone());
        let mut rows = Vec::new();
        for (club, _) in found {
            rows.push(ShownClub::new(reader, club, call.actor.account()).await?);
        }
        Ok(Page { rows, next })
    }

    /// The clubs that the caller stands to in any way.
    ///
    /// # Errors
    /// The store's.
    pub async fn my_clubs(&self, call: &Call) -> Result<Vec<ShownClub>, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let own = club_store::of(reader, account.id).await?;
        let mut ids: Vec<ClubId> = own.iter().map(|m| m.club).collect();
        let invitations = club_store::invitations_of(reader, &account.handle.to_ascii_lowercase()).await?;
        ids.extend(invitations.iter().map(|i| i.club));
        let mut all = Vec::new();
        for club in club_store::some(reader, &ids).await? {
            let shown = ShownClub::new(reader, club, Some(account)).await?;
            // an invitation by someone with whom they do not deal is not told
            if shown.club.closed_at.is_none() && shown.own.is_some() {
                all.push(shown);
            }
        }
        Ok(all)
    }

    /// A page of those who belong to a club, for those who belong to it; of those who wait or are invited, for organisers.
    ///
    /// # Errors
    /// The caller does not belong to it; a page token that does not fit.
    pub async fn club_members(
        &self,
        call: &Call,
        id: ClubId,
        waiting: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownMember>, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let club = club_of(reader, id).await?;
        let arranges = organises(reader, club.id, account.id).await?;
        if waiting && !arranges {
            return Err(Denied::RoleMissing("an organiser of the club").into());
        }
        if !super::belongs(reader, club.id, account.id).await? {
            return Err(Denied::RoleMissing("a member of the club").into());
        }
        let asked = page::Asked::<AccountId>::read(page_size, token, format!("members {id} {waiting}"))?;
        let standings: &[Standing] = if waiting { &[Standing::Asked] } else { &BELONG };
        let invited = if waiting && asked.after.is_none() {
            club_store::invitations(reader, id).await?
        } else {
            Vec::new()
        };
        let found = club_store::members(reader, id, standings, asked.after, asked.limit()).await?;
        let Page { rows: found, next } = asked.cut(found, |m| m.account);
        let people: Vec<AccountId> = found.iter().map(|m| m.account).collect();
        let people = account_store::people(reader, &people).await?;
        let names: HashMap<AccountId, Account> =
            people.into_iter().map(|person| (person.id, person)).collect();
        let rows = found.into_iter().map(|m| {
            let Membership { club: _, account, standing, words, consent, since } = m;
            let person = names.get(&account);
            let name = person.map(|p| p.display_name.clone()).unwrap_or_default();
            let handle = person.map(|p| p.handle.clone()).unwrap_or_default();
            // what someone said on asking or agreeing is for those who arrange the club
            let (words, consent) = if arranges { (words, consent) } else { (String::new(), None) };
            ShownMember { account: Some(account), standing, words, consent, since, name, handle }
        });
        let invited = invited.into_iter().map(|i| ShownMember {
            account: None,
            standing: Standing::Invited,
            words: i.words,
            consent: None,
            since: i.since,
            name: i.handle_key,
            handle: String::new(),
        });
        Ok(Page { rows: rows.chain(invited).collect(), next })
    }
}
