//! Sowings: entered on the day, and asked for their tallies when these are due.

use std::collections::BTreeSet;

use scionary_domain::{
    field::Fields,
    ids::SowingId,
    limits,
    page::{self, Page},
    sown::{Due, Sowing, Tally, due},
    time::Date,
};
use scionary_store::{account_store, sowing_store};

use super::{correct::reason, crop_of};
use crate::{App, Call, Done, Error, Rule, UseCase, Write};

/// Enters a sowing.
pub struct RecordSowing {
    /// The mother's record: its id or its exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// On which day; today if left out.
    pub day: Option<Date>,
    /// How many seeds.
    pub seeds: u32,
    /// The mother tree.
    pub tree: String,
    /// What to bear in mind.
    pub note: String,
}

/// Closes a sowing: nothing more will come of it.
pub struct CloseSowing {
    /// The sowing's id.
    pub id: SowingId,
    /// Why.
    pub reason: String,
}

/// A sowing with its tallies.
#[derive(Clone, Debug)]
pub struct ShownSowing {
    /// The sowing.
    pub sowing: Sowing,
    /// The cultivar's name.
    pub cultivar_name: String,
    /// Tallies not answered yet, soonest first; none of a closed one.
    pub open: Vec<Due>,
}

impl UseCase for RecordSowing {
    type Out = ShownSowing;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownSowing>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let record = registry.resolve("cultivar", &self.cultivar, &self.crop)?;
        let mut fields = Fields::new();
        let tree = fields.line("tree", &self.tree, 0, limits::TREE_CHARS_MAX);
        let note = fields.text("note", &self.note, 0, limits::EVIDENCE_NOTE_CHARS_MAX);
        if self.seeds == 0 || self.seeds > limits::SOWN_SEEDS_MAX {
            fields.wrong("seeds", format!("1 to {} expected, {} found", limits::SOWN_SEEDS_MAX, self.seeds));
        }
        let day = self.day.unwrap_or_else(|| now.date());
        if day > now.date().plus_days(1) || day.year() < limits::EVIDENCE_YEAR_MIN {
            fields.wrong("day", "a day that has come expected");
        }
        let (tree, note) = fields.finish(tree.zip(note))?;
        account_store::lock_account(write.tx, account.id).await?;
        let open = sowing_store::count_open(write.tx, account.id).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::SOWINGS_OPEN_MAX {
            return Err(Rule::TooManySowings(limits::SOWINGS_OPEN_MAX).into());
        }
        let sowing = Sowing {
            id: SowingId::from_uuid(write.new_uuid()?),
            grower: account.id,
            cultivar: record.cultivar.id,
            crop: record.cultivar.crop.clone(),
            day,
            seeds: self.seeds,
            tree,
            note,
            closed: None,
            at: now,
            version: 1,
        };
        sowing_store::insert(write.tx, &sowing).await?;
        let id = sowing.id;
        let change = serde_json::json!({ "record": sowing.cultivar.to_string(), "seeds": sowing.seeds });
        let open = due(crop_of(&registry, record)?, day);
        let out = ShownSowing { sowing, cultivar_name: record.cultivar.full_name(), open };
        Ok(Done::new(out, "sowing.entered", id, change))
    }
}

impl UseCase for CloseSowing {
    type Out = ShownSowing;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownSowing>, Error> {
        let account = write.call.account()?;
        let why = reason(&self.reason)?;
        // someone else's sowing is no one's business
        let sowing = sowing_store::one(write.tx, self.id)
            .await?
            .filter(|s| s.grower == account.id)
            .ok_or_else(|| Error::not_found("sowing", self.id))?;
        if !sowing_store::close(write.tx, self.id, account.id, &why, write.call.now).await? {
            return Err(Rule::SowingClosed.into());
        }
        let registry = write.app.registry();
        let out = ShownSowing {
            cultivar_name: registry
                .record(sowing.cultivar)
                .map(|r| r.cultivar.full_name())
                .unwrap_or_default(),
            sowing: Sowing { closed: Some((write.call.now, why)), version: sowing.version + 1, ..sowing },
            open: Vec::new(),
        };
        Ok(Done::new(out, "sowing.closed", self.id, serde_json::json!({})))
    }
}

/// Whether evidence of a sowing answers a tally.
fn is_answered(tally: Tally, answered: &BTreeSet<String>) -> bool {
    let judged = |by_fruit: bool| {
        answered.iter().any(|d| d.starts_with("off_type_") && (!by_fruit || d.ends_with("+fruit")))
    };
    match tally {
        Tally::Sprouts => answered.iter().any(|d| {
            let key = d.trim_end_matches("+fruit");
            matches!(key, "germination" | "multi_sprout_seeds" | "double_sprout_seeds")
        }),
        Tally::Judged => judged(false),
        Tally::FirstFruit => judged(true),
    }
}

impl App {
    /// A page of the caller's sowings, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_sowings(
        &self,
        call: &Call,
        open_only: bool,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownSowing>, Error> {
        let account = call.account()?;
        let asked =
            page::Asked::<SowingId>::read(page_size, token, format!("sowings {} {open_only}", account.id))?;
        let reader = self.store().reader();
        let rows = sowing_store::of(reader, account.id, open_only, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.id);
        let ids: Vec<SowingId> = rows.iter().map(|s| s.id).collect();
        let answered = sowing_store::answered(reader, &ids).await?;
        let registry = self.registry();
        let nothing = BTreeSet::new();
        let rows = rows
            .into_iter()
            .map(|sowing| {
                let record = registry.record(sowing.cultivar);
                let done = answered.get(&sowing.id).unwrap_or(&nothing);
                let open = match registry.crop(&sowing.crop) {
                    Some(crop) if sowing.closed.is_none() => {
                        due(crop, sowing.day).into_iter().filter(|d| !is_answered(d.tally, done)).collect()
                    }
                    Some(_) | None => Vec::new(),
                };
                ShownSowing {
                    cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(),
                    sowing,
                    open,
                }
            })
            .collect();
        Ok(Page { rows, next })
    }
}
