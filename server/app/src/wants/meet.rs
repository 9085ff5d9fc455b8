//! Offers that meet wants: looked for both ways, as offers and wants appear.

use scionary_domain::{
    ids::{CultivarId, OfferId, WantId},
    limits,
    movement::Verdict,
    notice::{Kind, NewNotice},
    offer::{Offer, State},
    time::Date,
    want::{Known, Want},
};
use scionary_store::{Near, OfferOrder, OfferQuery, block_store, offer_store, want_store};

use crate::{App, Error, clubs, registry::Registry};

/// Whether an offer is what a want seeks, as far as plants and places go.
fn meets(registry: &Registry, want: &Want, offer: &Offer) -> bool {
    let contents = &offer.contents;
    let (Some(record), Some(crop)) = (registry.record(contents.cultivar), registry.crop(&contents.crop))
    else {
        return false;
    };
    let ids: Vec<CultivarId> = record.ids().collect();
    let bars = record.season_bars(want.grid.middle().0 < 0.0);
    let known = Known {
        ids: &ids,
        answer: registry.seed_of(record).0,
        findings: &record.findings,
        bars: bars.as_ref().map(|b| b.as_slice()),
    };
    want.takes(contents) && want.can_be(contents.material, known.answer) && want.sought(&known, crop)
}

impl App {
    /// Tells those whose wants an offer meets.
    ///
    /// # Errors
    /// The store's.
    pub(crate) async fn meet_offer(&self, id: OfferId) -> Result<(), Error> {
        let reader = self.store().reader();
        let today = self.clock().now().date();
        let Some(offer) = offer_store::offer(reader, id).await? else { return Ok(()) };
        if !matches!(offer.state(today), State::Open | State::Coming) {
            return Ok(());
        }
        let registry = self.registry();
        let mut before = None;
        loop {
            let some = want_store::open_on_crop(
                reader,
                &offer.contents.crop,
                today,
                before,
                limits::WANTS_LOOKED_AT,
            )
            .await?;
            let Some(last) = some.last() else { return Ok(()) };
            before = Some(last.id);
            let mut notices = Vec::new();
            for want in some.iter().filter(|want| meets(&registry, want, &offer)) {
                notices.extend(self.met(&registry, want, &offer, today).await?);
            }
            self.tell(notices).await?;
        }
    }

    /// Tells a seeker which of the offers that are there meet a new want, the nearest first.
    ///
    /// # Errors
    /// The store's.
    pub(crate) async fn meet_want(&self, id: WantId) -> Result<(), Error> {
        let reader = self.store().reader();
        let today = self.clock().now().date();
        let Some(want) = want_store::one(reader, id).await?.filter(|w| w.is_open(today)) else {
            return Ok(());
        };
        let registry = self.registry();
        let query = OfferQuery {
            cultivars: None,
            crop: Some(want.crop.clone()),
            materials: want.materials.clone(),
            terms: Vec::new(),
            hand_over: Vec::new(),
            usable_from: today,
            usable_until: None,
            clubs: clubs::clubs_of(reader, want.seeker).await?,
            words: Vec::new(),
            near: Some(Near {
                grid: want.grid.clone(),
                within_km: (want.within_km > 0).then(|| f64::from(want.within_km)),
            }),
            order: OfferOrder::Nearest,
            after: None,
            limit: limits::WANTS_LOOKED_AT,
        };
        let mut notices = Vec::new();
        for found in offer_store::search(reader, &query).await? {
            if meets(&registry, &want, &found.offer) {
                notices.extend(self.met(&registry, &want, &found.offer, today).await?);
            }
            if notices.len() >= limits::WANT_OFFERS_TOLD {
                break;
            }
        }
        self.tell(notices).await
    }

    /// What a seeker sees of an offer; nothing where they do not see it, the two do not deal with each other, nothing is
    /// left, or a rule on file prohibits the movement.
    async fn met(
        &self,
        registry: &Registry,
        want: &Want,
        offer: &Offer,
        today: Date,
    ) -> Result<Option<NewNotice>, Error> {
        let reader = self.store().reader();
        let contents = &offer.contents;
        let left = contents.quantity - offer.promised;
        if offer.giver == want.seeker
            || left < 1
            || !crate::offers::sees(reader, offer, Some(want.seeker)).await?
            || block_store::between(reader, want.seeker, offer.giver).await?
        {
            return Ok(None);
        }
        let rules = self.movement();
        let asked = crate::movement::of_offer((registry, &rules), contents, want.to.as_str(), left, today);
        let answer = rules.ask(&asked);
        if answer.verdict == Verdict::Prohibited {
            return Ok(None);
        }
        let name = registry.record(contents.cultivar).map(|r| r.cultivar.full_name()).unwrap_or_default();
        let km = want.grid.distance_km(&contents.place.grid).round();
        let words = format!(
            "What you seek is on offer: {left} {} of {name} ({}), about {km} km away. Moving it to {}: {}.",
            contents.unit.word(),
            contents.material.label(),
            want.to.as_str(),
            answer.headline()
        );
        Ok(Some(NewNotice {
            to: want.seeker,
            kind: Kind::WantMet,
            subject: offer.id.to_string(),
            once: want.id.to_string(),
            words,
        }))
    }
}
