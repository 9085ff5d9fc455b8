//! One offer, and a giver's own.

use scionary_domain::{
    field::FieldError,
    ids::OfferId,
    page::{self, Page},
    place::AreaCode,
};
use scionary_store::{OfferKey, account_store, offer_store};

use super::{Shown, sees, shown};
use crate::{App, Call, Error, protection};

/// Where something would go; none for an empty text.
pub(super) fn destination(field: &str, text: &str) -> Result<Option<AreaCode>, Error> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    AreaCode::parse(text).map(Some).map_err(|e| FieldError::new(field, e).into())
}

impl App {
    /// One offer. Offers are public, ended ones too, but for those for a club alone: to others there is none.
    ///
    /// # Errors
    /// [`Error::NotFound`].
    pub async fn offer(&self, call: &Call, id: OfferId, to: &str) -> Result<Shown, Error> {
        let reader = self.store().reader();
        let today = call.now.date();
        let offer = offer_store::offer(reader, id).await?.ok_or_else(|| Error::not_found("offer", id))?;
        if !sees(reader, &offer, call.actor.id()).await? {
            return Err(Error::not_found("offer", id));
        }
        let names = account_store::display_names(reader, &[offer.giver]).await?;
        let giver = names.get(&offer.giver).cloned().unwrap_or_default();
        let registry = self.registry();
        let protection = protection::of(reader, &registry, offer.contents.cultivar).await?;
        let mut out = shown(&registry, offer, giver, today);
        out.with_unions(&registry);
        out.protection = protection.filter(|p| p.holds(today)).map(|p| p.sentence()).unwrap_or_default();
        if let Some(to) = destination("to_area_code", to)? {
            out.moved_to(&registry, &self.movement(), to.as_str(), today);
        }
        Ok(out)
    }

    /// A page of the caller's own offers, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_offers(&self, call: &Call, page_size: i32, token: &str) -> Result<Page<Shown>, Error> {
        let account = call.account()?;
        let asked = page::Asked::<OfferKey>::read(
            page_size,
            token,
            format!("my offers {} {:?}", account.id, call.bounds()),
        )?;
        let reader = self.store().reader();
        let rows =
            offer_store::by_giver(reader, account.id, call.bounds(), asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.key);
        let registry = self.registry();
        let rows = rows
            .into_iter()
            .map(|row| shown(&registry, row.offer, account.display_name.clone(), call.now.date()))
            .collect();
        Ok(Page { rows, next })
    }
}
