//! Tests of a lot for a pest that found nothing.

use scionary_domain::{field::Fields, limits, lineage::LotTest, names::Folded, time::Date};
use scionary_store::lot_store;

use super::{ShownLot, TOPIC, own, read};
use crate::{Done, Error, Rule, UseCase, Write};

/// Enters a test that found nothing. One that found something is an alert.
pub struct RecordTest {
    /// Which lot: a code or an id.
    pub lot: String,
    /// For what.
    pub pest: String,
    /// When the sample was taken.
    pub sampled_on: Option<Date>,
    /// Days by which an infection can precede what such a test shows.
    pub latency_days: i64,
    /// The method and who did it.
    pub method: String,
}

impl UseCase for RecordTest {
    type Out = ShownLot;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownLot>, Error> {
        let now = write.call.now;
        let (lot, _) = own(write, "lot", &self.lot).await?;
        let mut fields = Fields::new();
        let pest = fields.line("pest", &self.pest, limits::REASON_CHARS_MIN, limits::NAME_CHARS_MAX);
        let method =
            fields.text("method", &self.method, limits::REASON_CHARS_MIN, limits::LOT_TEXT_CHARS_MAX);
        if !(0..=limits::TEST_LATENCY_DAYS_MAX).contains(&self.latency_days) {
            let (most, found) = (limits::TEST_LATENCY_DAYS_MAX, self.latency_days);
            fields.wrong("latency_days", format!("0 to {most} expected, {found} found"));
        }
        let sampled_on = self.sampled_on.unwrap_or(now.date());
        if sampled_on < lot.made_on || sampled_on > now.date().plus_days(1) {
            fields.wrong(
                "sampled_on",
                format!("{} to {} expected, {sampled_on} found", lot.made_on, now.date()),
            );
        }
        let (pest, method) = fields.finish(pest.zip(method))?;
        let known = lot_store::tests(write.tx, [lot.id], None, None).await?;
        if u64::try_from(known.len()).unwrap_or(u64::MAX) >= limits::LOT_TESTS_MAX {
            return Err(Rule::TooManyTests(limits::LOT_TESTS_MAX).into());
        }
        let key = Folded::new(&pest).key();
        let test = LotTest { lot: lot.id, pest, sampled_on, latency_days: self.latency_days, method };
        lot_store::insert_test(write.tx, write.new_uuid()?, &test, &key, now).await?;
        let id = lot.id;
        let out = read::one(write.tx, &write.app.registry(), lot).await?;
        Ok(Done::new(out, "lot.tested", id, serde_json::json!({})).and_publish(TOPIC, id))
    }
}
