//! What happened later between lots that are there: wood grafted onto a plant, a blade that went from one to the other.

use scionary_domain::{
    field::FieldError,
    limits,
    lineage::{Descent, Direction, Link, fits},
    time::Date,
};
use scionary_store::lot_store;

use super::{ShownLot, TOPIC, own, read};
use crate::{Done, Error, Rule, UseCase, Write};

/// Notes what happened.
pub struct NoteDescent {
    /// The plant that it happened to: a code or an id.
    pub lot: String,
    /// The wood, or the plant that the blade had cut before.
    pub from: String,
    /// What.
    pub descent: Descent,
    /// When; today if left out.
    pub on: Option<Date>,
}

impl UseCase for NoteDescent {
    type Out = ShownLot;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownLot>, Error> {
        let now = write.call.now;
        let (lot, _) = own(write, "lot", &self.lot).await?;
        let (from, _) = own(write, "from", &self.from).await?;
        let wrong = |field: &str, why: String| Err(FieldError::new(field, why).into());
        if !self.descent.is_later() {
            return wrong(
                "descent",
                "grafted onto or same blade expected; other descent is stated when a lot is entered".into(),
            );
        }
        if from.id == lot.id {
            return wrong("from", "two different lots expected".into());
        }
        if !fits(lot.kind, self.descent, from.kind) {
            let (child, parent) = (lot.kind.label(), from.kind.label());
            return wrong("descent", format!("{child} is not {} {parent}", self.descent.words()));
        }
        let day = self.on.unwrap_or(now.date());
        let earliest = lot.made_on.max(from.made_on);
        if day < earliest || day > now.date().plus_days(1) {
            return wrong("on", format!("{earliest} to {} expected, {day} found", now.date()));
        }
        if lot.ended_on.is_some_and(|ended| ended < day) {
            return Err(Rule::LotEnded(lot.code.to_string()).into());
        }
        let known = lot_store::links(write.tx, Direction::Back, [lot.id]).await?;
        if known.len() >= limits::LOT_LINKS_MAX {
            return Err(Rule::TooManyLinks(limits::LOT_LINKS_MAX).into());
        }
        let link = Link { parent: from.id, child: lot.id, descent: self.descent, day };
        lot_store::link(write.tx, &link, now).await?;
        let (id, change) = (lot.id, serde_json::json!({ "descent": self.descent.word() }));
        let out = read::one(write.tx, &write.app.registry(), lot).await?;
        Ok(Done::new(out, "lot.linked", id, change).and_publish(TOPIC, id))
    }
}
