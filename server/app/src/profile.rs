//! What members keep for themselves: their profile, and short numbers of items; and finding items by what a person
//! would type.

use std::collections::BTreeSet;

use scionary_domain::{
    account::Role,
    club::Standing,
    field::FieldError,
    ids::{AccountId, ClubId},
    limits,
    names::Folded,
    profile::{Profile, ProfileDraft, check},
};
use scionary_store::{account_store, club_store, profile_store, round_store};

use crate::{App, Call, Done, Error, Overlay, Rule, UseCase, Write, as_seen};

/// Changes the caller's profile.
pub struct ChangeProfile {
    /// The version that the caller saw; none to change whatever is there.
    pub version: Option<i64>,
    /// Makes the new profile from what is on file.
    pub change: Overlay<Profile, ProfileDraft>,
}

impl UseCase for ChangeProfile {
    type Out = i64;
    async fn run(&self, write: &Write<'_>) -> Result<Done<i64>, Error> {
        let account = write.call.account()?.id;
        account_store::lock_account(write.tx, account).await?;
        let current = profile_store::one(write.tx, account).await?.unwrap_or_default();
        as_seen(self.version, current.version)?;
        let mut profile = check(&(self.change)(&current)?)?;
        write
            .app
            .registry()
            .check_crop(&profile.crop)
            .map_err(|e| FieldError::new("profile.crop", e.expected))?;
        profile.version = current.version + 1;
        profile_store::set(write.tx, account, &profile).await?;
        Ok(Done::new(profile.version, "account.profile", account, serde_json::json!({})))
    }
}

/// Gives items numbers of the caller's own.
pub struct NumberItems {
    /// Ids of the items, without repeats.
    pub items: Vec<String>,
}

impl NumberItems {
    /// Checks ids. Repeats are dropped.
    ///
    /// # Errors
    /// Too many; a text that is no id.
    pub fn new(items: Vec<String>) -> Result<Self, Error> {
        if items.len() > limits::NUMBERED_AT_ONCE_MAX {
            let most = limits::NUMBERED_AT_ONCE_MAX;
            return Err(FieldError::new("item_ids", format!("at most {most} ids at once")).into());
        }
        let mut seen = BTreeSet::new();
        let mut kept = Vec::with_capacity(items.len());
        for (at, item) in items.into_iter().enumerate() {
            if !scionary_domain::ids::is_id(&item) {
                return Err(FieldError::new(format!("item_ids[{at}]"), "give an id such as ofr_01j…").into());
            }
            if seen.insert(item.clone()) {
                kept.push(item);
            }
        }
        Ok(Self { items: kept })
    }
}

impl UseCase for NumberItems {
    type Out = Vec<(String, i64)>;
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let account = write.call.account()?.id;
        account_store::lock_account(write.tx, account).await?;
        let mut known = profile_store::numbers(write.tx, account, &self.items).await?;
        let new: Vec<String> = self.items.iter().filter(|item| !known.contains_key(*item)).cloned().collect();
        if !new.is_empty() {
            let last = profile_store::last_number(write.tx, account).await?;
            if last >= limits::NUMBERS_MAX {
                return Err(Rule::TooManyNumbers(limits::NUMBERS_MAX).into());
            }
            profile_store::insert_numbers(write.tx, account, last + 1, &new).await?;
            known.extend(new.into_iter().zip(last + 1..));
        }
        let out = self.items.iter().filter_map(|item| Some((item.clone(), *known.get(item)?))).collect();
        Ok(Done::quiet(out))
    }
}

/// What to find.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ItemKind {
    /// An account.
    Account,
    /// A club.
    Club,
    /// A round.
    Round,
    /// Anything with a number of the caller's own.
    Numbered,
}

/// Something that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FoundItem {
    /// Its id.
    pub id: String,
    /// Its name, as a person reads it.
    pub name: String,
    /// Whether it is called exactly so.
    pub exact: bool,
}

/// Returns how well a name answers to folded words: 0 the same, 1 begins with them, 2 holds each word; `None` otherwise.
fn fit(name: &str, wanted: &str) -> Option<u8> {
    let name = Folded::new(name).key();
    if name == wanted {
        return Some(0);
    }
    if name.starts_with(wanted) {
        return Some(1);
    }
    let words: Vec<&str> = name.split(' ').collect();
    wanted.split(' ').all(|w| words.iter().any(|word| word.starts_with(w))).then_some(2)
}

impl App {
    /// The caller's profile; an empty one of version 0 before the first change.
    ///
    /// # Errors
    /// No one is signed in; the store's.
    pub async fn profile(&self, call: &Call) -> Result<Profile, Error> {
        Ok(profile_store::one(self.store().reader(), call.account()?.id).await?.unwrap_or_default())
    }

    /// The caller's numbers of these items, if all of them have one: then nothing is written.
    ///
    /// # Errors
    /// No one is signed in; the store's.
    pub async fn numbers_known(
        &self,
        call: &Call,
        wanted: &NumberItems,
    ) -> Result<Option<Vec<(String, i64)>>, Error> {
        let account = call.account()?.id;
        let known = profile_store::numbers(self.store().reader(), account, &wanted.items).await?;
        Ok(wanted.items.iter().map(|item| Some((item.clone(), *known.get(item)?))).collect())
    }

    /// Items by what a person typed, the best first.
    ///
    /// # Errors
    /// No one is signed in; the store's.
    pub async fn find_items(&self, call: &Call, kind: ItemKind, text: &str) -> Result<Vec<FoundItem>, Error> {
        let wanted = Folded::new(text).key();
        if wanted.is_empty() || text.chars().count() > limits::NAME_CHARS_MAX {
            return Err(FieldError::new("text", "say a name, or words of it").into());
        }
        let mut rows: Vec<(u8, FoundItem)> = match kind {
            ItemKind::Numbered => {
                self.numbered(call, text).await?.into_iter().map(|item| (0, item)).collect()
            }
            ItemKind::Account => self.people(call, text, &wanted).await?,
            ItemKind::Club => self.clubs_called(call, &wanted).await?,
            ItemKind::Round => self.rounds_called(call, &wanted).await?,
        };
        rows.sort_by(|a, b| (a.0, &a.1.name).cmp(&(b.0, &b.1.name)));
        rows.truncate(limits::ITEMS_FOUND_MAX);
        Ok(rows.into_iter().map(|(fit, item)| FoundItem { exact: fit == 0, ..item }).collect())
    }

    async fn numbered(&self, call: &Call, text: &str) -> Result<Option<FoundItem>, Error> {
        let Ok(number) = text.trim().trim_start_matches('#').parse() else { return Ok(None) };
        let id = profile_store::numbered(self.store().reader(), call.account()?.id, number).await?;
        Ok(id.map(|id| FoundItem { id, name: number.to_string(), exact: true }))
    }

    /// People of the caller's clubs, by handle or display name; stewards find everyone by handle. Others are not
    /// found, so that no one can try out which handles exist.
    async fn people(&self, call: &Call, text: &str, wanted: &str) -> Result<Vec<(u8, FoundItem)>, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        let own = club_store::of(reader, account.id).await?;
        let clubs: Vec<ClubId> = own.iter().filter(|m| m.standing.belongs()).map(|m| m.club).collect();
        let arranged: BTreeSet<ClubId> =
            own.iter().filter(|m| m.standing == Standing::Organiser).map(|m| m.club).collect();
        let mut ids: BTreeSet<AccountId> = BTreeSet::new();
        for club in clubs {
            let asked = arranged.contains(&club);
            let all = [Standing::Member, Standing::Organiser, Standing::Asked];
            let standings = if asked { all.as_slice() } else { all.get(..2).unwrap_or_default() };
            ids.extend(club_store::accounts(reader, club, standings).await?);
        }
        ids.insert(account.id);
        let handle = text.trim().to_lowercase();
        let mut rows = Vec::new();
        for person in account_store::people(reader, &ids.into_iter().collect::<Vec<_>>()).await? {
            let by_handle = (person.handle.to_lowercase() == handle).then_some(0);
            if let Some(fit) = by_handle.or_else(|| fit(&person.display_name, wanted)) {
                let name = format!("{} ({})", person.display_name, person.handle);
                rows.push((fit, FoundItem { id: person.id.to_string(), name, exact: false }));
            }
        }
        if rows.iter().all(|(fit, _)| *fit > 0)
            && account.is(&Role::Steward)
            && let Some((person, _)) = account_store::account_to_sign_in(reader, &handle).await?
        {
            let name = format!("{} ({})", person.display_name, person.handle);
            rows.insert(0, (0, FoundItem { id: person.id.to_string(), name, exact: false }));
        }
        Ok(rows)
    }

    /// Clubs by name: the caller's before others.
    async fn clubs_called(&self, call: &Call, wanted: &str) -> Result<Vec<(u8, FoundItem)>, Error> {
        let own = self.my_clubs(call).await?;
        let mut rows: Vec<(u8, FoundItem)> = own
            .iter()
            .filter_map(|shown| {
                let fit = fit(&shown.club.name, wanted)?;
                let (id, name) = (shown.club.id.to_string(), shown.club.name.clone());
                Some((fit, FoundItem { id, name, exact: false }))
            })
            .collect();
        if rows.is_empty() {
            let most = u64::try_from(limits::ITEMS_FOUND_MAX).unwrap_or(u64::MAX);
            for (club, _) in club_store::list(self.store().reader(), wanted, None, most).await? {
                let fit = fit(&club.name, wanted).unwrap_or(3);
                rows.push((fit, FoundItem { id: club.id.to_string(), name: club.name, exact: false }));
            }
        }
        Ok(rows)
    }

    /// Rounds of the caller's clubs by title: open ones before closed ones.
    async fn rounds_called(&self, call: &Call, wanted: &str) -> Result<Vec<(u8, FoundItem)>, Error> {
        let reader = self.store().reader();
        let own = club_store::of(reader, call.account()?.id).await?;
        let clubs: Vec<ClubId> = own.iter().filter(|m| m.standing.belongs()).map(|m| m.club).collect();
        let mut rows: Vec<(u8, FoundItem)> = Vec::new();
        for open_only in [true, false] {
            if !rows.is_empty() {
                break;
            }
            for round in
                round_store::of_clubs(reader, &clubs, open_only, None, limits::ROUNDS_SEARCHED_MAX).await?
            {
                if let Some(fit) = fit(&round.says.title, wanted) {
                    let name = format!("{}, {}", round.says.title, round.says.day);
                    rows.push((fit, FoundItem { id: round.id.to_string(), name, exact: false }));
                }
            }
        }
        Ok(rows)
    }
}
