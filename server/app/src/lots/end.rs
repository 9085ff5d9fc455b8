//! Nothing is left of a lot: used up, dead, thrown away. It stays on file, as others may descend from it.

use scionary_domain::{field::Fields, limits, time::Date};

use super::{ShownLot, TOPIC, own, read, store};
use crate::{Done, Error, Rule, UseCase, Write};

/// Ends a lot.
pub struct EndLot {
    /// Which: a code or an id.
    pub lot: String,
    /// Why.
    pub why: String,
    /// When; today if left out.
    pub on: Option<Date>,
}

impl UseCase for EndLot {
    type Out = ShownLot;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownLot>, Error> {
        let (mut lot, granted) = own(write, "lot", &self.lot).await?;
        if lot.ended_on.is_some() {
            return Err(Rule::LotEnded(lot.code.to_string()).into());
        }
        let today = write.call.now.date();
        let on = self.on.unwrap_or(today);
        let mut fields = Fields::new();
        let why = fields.text("why", &self.why, limits::REASON_CHARS_MIN, limits::LOT_TEXT_CHARS_MAX);
        if on < lot.made_on || on > today.plus_days(1) {
            fields.wrong("on", format!("{} to {today} expected, {on} found", lot.made_on));
        }
        lot.ended_why = fields.finish(why)?;
        lot.ended_on = Some(on);
        store(write, &granted, &mut lot).await?;
        let id = lot.id;
        let out = read::one(write.tx, &write.app.registry(), lot).await?;
        Ok(Done::new(out, "lot.ended", id, serde_json::json!({})).and_publish(TOPIC, id))
    }
}
