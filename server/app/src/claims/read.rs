//! Claims as their two sides see them.

use std::collections::BTreeMap;

use scionary_domain::{
    access,
    claim::Claim,
    ids::{AccountId, ClaimId, ClubId, OfferId},
    offer::{Material, Offer, Unit},
    page::{Asked, Page},
};
use scionary_store::{account_store, claim_store, claim_store::Role, offer_store};

use crate::{App, Call, Error, clubs, registry::Registry};

/// A claim with what stands beside it.
#[derive(Clone, Debug)]
pub struct ShownClaim {
    /// The claim.
    pub claim: Claim,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// What is offered.
    pub material: Material,
    /// In which unit.
    pub unit: Unit,
    /// What of the offer is not promised.
    pub left: i32,
    /// The giver's name.
    pub giver_name: String,
    /// The taker's name.
    pub taker_name: String,
}

/// A claim as a caller sees it: who acts for a member does not learn how others can be reached.
pub(crate) fn told_to(call: &Call, mut claim: Claim) -> Claim {
    if call.entered_by.is_some() {
        claim.taker_contact.clear();
        claim.giver_contact.clear();
    }
    claim
}

impl ShownClaim {
    fn new(registry: &Registry, claim: Claim, offer: &Offer) -> Self {
        let contents = &offer.contents;
        Self {
            cultivar_name: registry
                .record(contents.cultivar)
                .map(|r| r.cultivar.full_name())
                .unwrap_or_default(),
            material: contents.material,
            unit: contents.unit,
            left: contents.quantity - offer.promised,
            giver_name: String::new(),
            taker_name: String::new(),
            claim,
        }
    }
}

impl App {
    /// Claims beside their offers and names.
    async fn shown(&self, claims: Vec<Claim>) -> Result<Vec<ShownClaim>, Error> {
        let reader = self.store().reader();
        let people: Vec<AccountId> = claims.iter().flat_map(|c| [c.giver, c.taker]).collect();
        let names = account_store::display_names(reader, &people).await?;
        let name = |id: &AccountId| names.get(id).cloned().unwrap_or_default();
        let registry = self.registry();
        let ids: Vec<OfferId> = claims.iter().map(|c| c.offer).collect();
        let offers: BTreeMap<OfferId, Offer> =
            offer_store::some(reader, &ids).await?.into_iter().map(|offer| (offer.id, offer)).collect();
        let mut all = Vec::new();
        for claim in claims {
            let Some(offer) = offers.get(&claim.offer) else { continue };
            let (giver_name, taker_name) = (name(&claim.giver), name(&claim.taker));
            all.push(ShownClaim { giver_name, taker_name, ..ShownClaim::new(&registry, claim, offer) });
        }
        Ok(all)
    }

    /// The caller's own claim, on either side.
    ///
    /// # Errors
    /// [`Error::NotFound`], also for one between others.
    pub async fn my_claim(&self, call: &Call, id: ClaimId) -> Result<ShownClaim, Error> {
        let account = call.account()?;
        let missing = || Error::not_found("claim", id);
        let claim = claim_store::one(self.store().reader(), id).await?.ok_or_else(missing)?;
        if !super::covered(self.store().reader(), call, &claim).await? {
            return Err(missing());
        }
        if access::edit_claim(account, &claim).is_none() {
            // whoever arranges the club that the offer is for; how the sides can be reached is not told to them
            let reader = self.store().reader();
            let offer = offer_store::offer(reader, claim.offer).await?.ok_or_else(missing)?;
            if !super::arranged(reader, call, &claim, &offer).await? {
                return Err(missing());
            }
        }
        self.shown(vec![told_to(call, claim)]).await?.pop().ok_or_else(missing)
    }

    /// A page of the caller's claims, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_claims(
        &self,
        call: &Call,
        role: Role,
        open_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownClaim>, Error> {
        let account = call.account()?;
        let search = format!("claims {} {role:?} {open_only} {:?}", account.id, call.bounds());
        let asked = Asked::read(page_size, token, search)?;
        let reader = self.store().reader();
        let clubs = call.bounds();
        let rows =
            claim_store::of(reader, account.id, role, open_only, clubs, asked.after, asked.limit()).await?;
        let rows = rows.into_iter().map(|claim| told_to(call, claim)).collect();
        self.page_of(&asked, rows).await
    }

    /// A page of claims of which a side says that the hand-over was missed, for organisers.
    ///
    /// # Errors
    /// The caller is no organiser; a page token that does not fit.
    pub async fn missed_hand_overs(
        &self,
        call: &Call,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownClaim>, Error> {
        access::read_missed(call.account()?)?;
        let asked = Asked::read(page_size, token, "missed hand-overs".to_string())?;
        let rows = claim_store::missed(self.store().reader(), asked.after, asked.limit()).await?;
        self.page_of(&asked, rows).await
    }

    /// A page of what is promised of the offers for a club alone, for its organisers.
    ///
    /// # Errors
    /// The caller does not arrange it; a page token that does not fit.
    pub async fn club_claims(
        &self,
        call: &Call,
        club: ClubId,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownClaim>, Error> {
        let account = call.account()?;
        let reader = self.store().reader();
        if !clubs::organises(reader, club, account.id).await? {
            return Err(access::Denied::RoleMissing("an organiser of the club").into());
        }
        let asked = Asked::read(page_size, token, format!("claims of {club}"))?;
        let rows = claim_store::promised_in_club(reader, club, asked.after, asked.limit()).await?;
        self.page_of(&asked, rows).await
    }

    async fn page_of(&self, asked: &Asked<ClaimId>, rows: Vec<Claim>) -> Result<Page<ShownClaim>, Error> {
        let Page { rows, next } = asked.cut(rows, |last| last.id);
        Ok(Page { rows: self.shown(rows).await?, next })
    }
}
