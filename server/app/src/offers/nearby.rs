//! Which cultivars can be had.

use std::collections::BTreeMap;

use scionary_domain::{ids::CultivarId, limits};
use scionary_store::OfferOrder;

use super::SearchOffers;
use crate::{App, Call, Error};

/// What is offered of a cultivar.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Offered {
    /// Open offers.
    pub offers: usize,
    /// The nearest, kilometres; none where no place was named.
    pub nearest_km: Option<f64>,
}

impl App {
    /// The cultivars of a crop that are offered, near a place where one is named: of very many offers, the nearest or
    /// the newest.
    ///
    /// # Errors
    /// All wrong fields.
    pub async fn offered(
        &self,
        call: &Call,
        crop: &str,
        near_grid_code: &str,
        within_km: i32,
    ) -> Result<BTreeMap<CultivarId, Offered>, Error> {
        let search = SearchOffers {
            crop: crop.into(),
            near_grid_code: near_grid_code.into(),
            within_km,
            order: (!near_grid_code.is_empty()).then_some(OfferOrder::Nearest),
            ..SearchOffers::default()
        };
        let mut all: BTreeMap<CultivarId, Offered> = BTreeMap::new();
        let mut token = String::new();
        let size = i32::try_from(limits::PAGE_SIZE_MAX).unwrap_or(i32::MAX);
        for _ in 0..limits::OFFER_PAGES_LOOKED_AT {
            let found = self.search_offers(call, &search, size, &token).await?;
            for (shown, km) in found.page.rows {
                let offered = all.entry(shown.offer.contents.cultivar).or_default();
                offered.offers += 1;
                let nearest = offered.nearest_km.into_iter().chain(km).min_by(f64::total_cmp);
                offered.nearest_km = nearest;
            }
            match found.page.next {
                Some(next) => token = next,
                None => break,
            }
        }
        Ok(all)
    }
}
