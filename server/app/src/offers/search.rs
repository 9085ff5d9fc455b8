//! Finding open offers.

use scionary_domain::{
    field::Fields,
    ids::AccountId,
    limits,
    names::{Folded, score::GUESS},
    offer::{HandOver, Material, Terms},
    page::{Asked, Page},
    place::GridCode,
    time::Date,
};
use scionary_store::{Near, OfferKey, OfferOrder, OfferQuery, account_store, offer_store};

use super::{Shown, read::destination, shown};
use crate::{App, Call, Error, clubs, registry::Registry};

/// Rounds that one search may take to fill a page when many rows lie just beyond the distance asked for.
const ROUNDS_MAX: usize = 8;

/// A search as it comes from outside.
#[derive(Clone, Debug, Default)]
pub struct SearchOffers {
    /// A cultivar's name as heard or typed.
    pub name: String,
    /// A crop's key.
    pub crop: String,
    /// Any of these materials.
    pub materials: Vec<Material>,
    /// Any of these terms.
    pub terms: Vec<Terms>,
    /// Any of these ways.
    pub hand_over: Vec<HandOver>,
    /// Distances are counted from here.
    pub near_grid_code: String,
    /// At most this far; 0 for any distance.
    pub within_km: i32,
    /// Can be had on or after this day.
    pub usable_from: Option<Date>,
    /// Can be had on or before this day.
    pub usable_until: Option<Date>,
    /// Words.
    pub text: String,
    /// In which order; the natural one if absent.
    pub order: Option<OfferOrder>,
    /// Where it would go: what is on file on moving it there is shown with each; may be empty.
    pub to_area_code: String,
}

/// A page of offers found.
#[derive(Debug)]
pub struct FoundOffers {
    /// The offers with their distances in kilometres.
    pub page: Page<(Shown, Option<f64>)>,
    /// The cultivars that the name was taken for.
    pub name_taken_for: Vec<String>,
}

impl App {
    /// Open offers that fit a search.
    ///
    /// # Errors
    /// All wrong fields; a page token that does not fit.
    pub async fn search_offers(
        &self,
        call: &Call,
        search: &SearchOffers,
        page_size: i32,
        token: &str,
    ) -> Result<FoundOffers, Error> {
        let registry = self.registry();
        let mut query = check(&registry, search, call.now.date())?;
        let to = destination("to_area_code", &search.to_area_code)?;
        let (rules, today) = (self.movement(), call.now.date());
        if let Some(caller) = call.actor.id() {
            query.clubs = clubs::clubs_of(self.store().reader(), caller).await?;
        }
        let asked = Asked::<OfferKey>::read(page_size, token, format!("offers {search:?}"))?;
        query.after = asked.after;
        let mut name_taken_for = Vec::new();
        if !search.name.trim().is_empty() {
            let records = taken_for(&registry, &search.name, &search.crop);
            name_taken_for = records.iter().map(|r| r.cultivar.full_name()).collect();
            if records.is_empty() {
                return Ok(FoundOffers { page: Page { rows: Vec::new(), next: None }, name_taken_for });
            }
            query.cultivars = Some(records.iter().flat_map(|r| r.ids()).collect());
        }
        let (rows, next) = self.fill(query, &asked).await?;
        let givers: Vec<AccountId> = rows.iter().map(|(offer, _)| offer.giver).collect();
        let names = account_store::display_names(self.store().reader(), &givers).await?;
        let rows = rows
            .into_iter()
            .map(|(offer, km)| {
                let giver = names.get(&offer.giver).cloned().unwrap_or_default();
                let mut found = shown(&registry, offer, giver, today);
                if let Some(to) = &to {
                    found.moved_to(&registry, &rules, to.as_str(), today);
                }
                (found, km)
            })
            .collect();
        Ok(FoundOffers { page: Page { rows, next }, name_taken_for })
    }

    /// Fills a page, cutting at the distance asked for, in whole kilometres as they are shown.
    async fn fill(
        &self,
        mut query: OfferQuery,
        asked: &Asked<OfferKey>,
    ) -> Result<(Vec<(scionary_domain::offer::Offer, Option<f64>)>, Option<String>), Error> {
        query.limit = asked.limit();
        let mut rows = Vec::new();
        let mut last_taken = None;
        for _ in 0..ROUNDS_MAX {
            let found = offer_store::search(self.store().reader(), &query).await?;
            let is_last = found.len() <= asked.size;
            for row in found {
                query.after = Some(row.key);
                let km = query.near.as_ref().map(|n| n.grid.distance_km(&row.offer.contents.place.grid));
                let too_far = query
                    .near
                    .as_ref()
                    .and_then(|n| n.within_km)
                    .zip(km)
                    .is_some_and(|(max, km)| km.round() > max);
                if too_far {
                    continue;
                }
                if rows.len() == asked.size {
                    let next = last_taken.map(|key| asked.next(&key));
                    return Ok((rows, next));
                }
                last_taken = Some(row.key);
                rows.push((row.offer, km));
            }
            if is_last {
                return Ok((rows, None));
            }
        }
        let next = query.after.map(|key| asked.next(&key));
        Ok((rows, next))
    }
}

/// The records that a name is taken for: the exact ones, else the near ones.
fn taken_for<'a>(registry: &'a Registry, name: &str, crop: &str) -> Vec<&'a crate::registry::Record> {
    let hits = registry.find(name, crop, 5);
    let exact = hits.iter().any(|f| f.hit.is_exact());
    hits.into_iter()
        .filter(|f| if exact { f.hit.is_exact() } else { f.hit.score >= GUESS })
        .map(|f| f.record)
        .collect()
}

fn check(registry: &Registry, search: &SearchOffers, today: Date) -> Result<OfferQuery, Error> {
    let mut fields = Fields::new();
    fields.text("name", &search.name, 0, limits::NAME_CHARS_MAX);
    fields.take("crop", registry.check_crop(&search.crop).map_err(|e| e.expected));
    let text = fields.text("text", &search.text, 0, limits::SEARCH_TEXT_CHARS_MAX).unwrap_or_default();
    let words = Folded::new(&text).words;
    if words.len() > limits::SEARCH_WORDS_MAX {
        fields.wrong(
            "text",
            format!("at most {} words expected, {} found", limits::SEARCH_WORDS_MAX, words.len()),
        );
    }
    if !(0..=limits::SEARCH_KM_MAX).contains(&search.within_km) {
        fields.wrong(
            "within_km",
            format!("0 to {} expected, {} found", limits::SEARCH_KM_MAX, search.within_km),
        );
    }
    let near = if search.near_grid_code.trim().is_empty() {
        if search.within_km > 0 {
            fields.wrong("near_grid_code", "a place expected, as a distance is given");
        }
        if search.order == Some(OfferOrder::Nearest) {
            fields.wrong("near_grid_code", "a place expected, as the nearest are to come first");
        }
        None
    } else {
        fields
            .take("near_grid_code", GridCode::parse(&search.near_grid_code))
            .map(|grid| Near { grid, within_km: (search.within_km > 0).then(|| f64::from(search.within_km)) })
    };
    let usable_from = search.usable_from.unwrap_or(today).max(today);
    if let Some(until) = search.usable_until
        && until < usable_from
    {
        fields.wrong("usable_until", format!("{usable_from} or later expected, {until} found"));
    }
    let natural = if near.is_some() { OfferOrder::Nearest } else { OfferOrder::Newest };
    Ok(fields.finish(Some(OfferQuery {
        cultivars: None,
        crop: (!search.crop.is_empty()).then(|| search.crop.clone()),
        materials: search.materials.clone(),
        terms: search.terms.clone(),
        hand_over: search.hand_over.clone(),
        usable_from,
        usable_until: search.usable_until,
        clubs: Vec::new(),
        words,
        near,
        order: search.order.unwrap_or(natural),
        after: None,
        limit: 0,
    }))?)
}
