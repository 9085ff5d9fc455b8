//! Rules on moving plants that stewards bring in: one proposes, another publishes, all servers take them up.

use std::{collections::BTreeMap, sync::Arc};

use scionary_domain::{
    access,
    field::{FieldError, Fields},
    limits,
    movement::{Rule, Rules},
    page::{self, Page},
};
use scionary_store::{Source, release_store, release_store::Release};

use super::{MovementFiles, read};
use crate::{App, Call, Done, Error, Rule as Broken, UseCase, Write};

/// The outbox topic of releases of rules.
pub const TOPIC: &str = "movement";

/// What a release would change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Changes {
    /// Versions of rules that were not on file.
    pub added: Vec<String>,
    /// Versions that would be on file no more.
    pub gone: Vec<String>,
    /// Versions that say something else than they did: a mistake, as a version is never changed.
    pub altered: Vec<String>,
    /// How many rules there would be.
    pub rules: usize,
}

/// A release with what stands beside it.
#[derive(Clone, Debug)]
pub struct ShownRelease {
    /// The release; none of a dry run.
    pub release: Option<Release>,
    /// What it would change, as things are now.
    pub changes: Changes,
    /// Whether it is the one in force.
    pub in_force: bool,
}

/// Proposes rules (stewards): beside those that ship and in the place of those published before.
pub struct ProposeRules {
    /// `rules.csv`, `places.csv`, `aliases.csv`, `taxa.csv`, `pests.csv`, `authorities.csv`, by name.
    pub files: BTreeMap<String, String>,
    /// Why.
    pub note: String,
    /// Only tell what would change.
    pub dry_run: bool,
}

/// Publishes proposed rules (a steward other than the one who proposed them).
pub struct PublishRules {
    /// Which.
    pub release: i64,
}

/// Takes a release back; if it was in force, the one before is in force again.
pub struct WithdrawRules {
    /// Which.
    pub release: i64,
}

fn files_of(files: &BTreeMap<String, String>) -> Result<MovementFiles, Vec<FieldError>> {
    let mut fields = Fields::new();
    let mut taken = MovementFiles { name: "published".into(), ..Default::default() };
    for (name, text) in files {
        if text.len() > limits::RULE_FILE_BYTES_MAX {
            fields.wrong("files", format!("{name}: at most {} bytes expected", limits::RULE_FILE_BYTES_MAX));
            continue;
        }
        match name.as_str() {
            "rules.csv" => taken.rules.clone_from(text),
            "places.csv" => taken.places.clone_from(text),
            "aliases.csv" => taken.aliases.clone_from(text),
            "taxa.csv" => taken.taxa.clone_from(text),
            "pests.csv" => taken.pests.clone_from(text),
            "authorities.csv" => taken.authorities.clone_from(text),
            other => fields.wrong(
                "files",
                format!("rules.csv, places.csv, aliases.csv, taxa.csv, pests.csv and authorities.csv expected, {other} found"),
            ),
        }
    }
    if files.is_empty() {
        fields.wrong("files", "at least rules.csv expected");
    }
    fields.finish(Some(taken))
}

/// The rules that ship, with a release beside them.
fn together(app: &App, release: Option<MovementFiles>) -> Result<Rules, Vec<String>> {
    let mut sources: Vec<MovementFiles> = app.movement_sources().as_ref().clone();
    sources.extend(release);
    read(&sources)
}

fn changes(now: &Rules, then: &Rules) -> Changes {
    let by_label = |rules: &Rules| -> BTreeMap<String, Arc<Rule>> {
        rules.all().map(|r| (r.label(), Arc::new(r.clone()))).collect()
    };
    let (now, then) = (by_label(now), by_label(then));
    let of = |from: &BTreeMap<String, _>, to: &BTreeMap<String, _>| -> Vec<String> {
        from.keys().filter(|label| !to.contains_key(*label)).cloned().collect()
    };
    Changes {
        added: of(&then, &now),
        gone: of(&now, &then),
        altered: then
            .iter()
            .filter(|(label, rule)| now.get(*label).is_some_and(|known| known != *rule))
            .map(|(label, _)| label.clone())
            .collect(),
        rules: then.len(),
    }
}

/// Refuses versions that say something else than they did.
fn unaltered(changes: &Changes) -> Result<(), Error> {
    let said =
        |label: &String| format!("{label}: a version on file is never changed; enter the next version");
    if changes.altered.is_empty() { Ok(()) } else { Err(wrong(changes.altered.iter().map(said).collect())) }
}

fn wrong(mistakes: Vec<String>) -> Error {
    Error::Invalid(mistakes.into_iter().map(|m| FieldError::new("files", m)).collect())
}

fn stored(release: &Release) -> Result<MovementFiles, Error> {
    let unreadable = |e: String| Error::Internal(format!("release {}: {e}", release.seq));
    let files: BTreeMap<String, String> =
        serde_json::from_str(&release.files).map_err(|e| unreadable(e.to_string()))?;
    files_of(&files).map_err(|e| unreadable(format!("{e:?}")))
}

impl UseCase for ProposeRules {
    type Out = ShownRelease;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRelease>, Error> {
        let granted = access::propose_rules(write.call.account()?)?;
        let mut fields = Fields::new();
        let note = fields.text("note", &self.note, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let note = fields.finish(note)?;
        let files = files_of(&self.files)?;
        let then = together(write.app, Some(files)).map_err(wrong)?;
        let changes = changes(&write.app.movement(), &then);
        unaltered(&changes)?;
        if self.dry_run {
            return Ok(Done::quiet(ShownRelease { release: None, changes, in_force: false }));
        }
        let text = serde_json::to_string(&self.files).map_err(|e| Error::Internal(e.to_string()))?;
        let seq = release_store::propose(write.tx, &granted, &note, &text, write.call.now).await?;
        let release = release_store::one(write.tx, seq).await?;
        let out = ShownRelease { release, changes, in_force: false };
        Ok(Done::new(out, "movement.proposed", seq, serde_json::json!({ "note": note })))
    }
}

impl UseCase for PublishRules {
    type Out = ShownRelease;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRelease>, Error> {
        let account = write.call.account()?;
        let missing = || Error::not_found("release", self.release);
        let release = release_store::one(write.tx, self.release).await?.ok_or_else(missing)?;
        let granted = access::publish_rules(account, release.proposed_by)?;
        // what is on file may have changed since it was proposed
        let then = together(write.app, Some(stored(&release)?)).map_err(wrong)?;
        let changes = changes(&write.app.movement(), &then);
        unaltered(&changes)?;
        if !release_store::publish(write.tx, &granted, self.release, write.call.now).await? {
            return Err(Broken::ReleaseOver.into());
        }
        let release = release_store::one(write.tx, self.release).await?;
        let out = ShownRelease { release, changes, in_force: true };
        Ok(Done::new(out, "movement.published", self.release, serde_json::json!({}))
            .and_publish(TOPIC, self.release))
    }
}

impl UseCase for WithdrawRules {
    type Out = ShownRelease;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ShownRelease>, Error> {
        let granted = access::propose_rules(write.call.account()?)?;
        if release_store::one(write.tx, self.release).await?.is_none() {
            return Err(Error::not_found("release", self.release));
        }
        if !release_store::withdraw(write.tx, &granted, self.release, write.call.now).await? {
            return Err(Broken::ReleaseOver.into());
        }
        let release = release_store::one(write.tx, self.release).await?;
        let out = ShownRelease { release, changes: Changes::default(), in_force: false };
        Ok(Done::new(out, "movement.withdrawn", self.release, serde_json::json!({}))
            .and_publish(TOPIC, self.release))
    }
}

impl App {
    /// Takes up the rules that are in force: those that ship, with the release that was published last.
    ///
    /// # Errors
    /// The store's; mistakes, all at once: then the rules before stay in use.
    pub async fn take_up_rules(&self) -> Result<(), Error> {
        let release = release_store::in_force(self.store().reader()).await?;
        let files = release.as_ref().map(stored).transpose()?;
        let rules = together(self, files).map_err(|mistakes| Error::Internal(mistakes.join("; ")))?;
        self.set_movement(rules);
        Ok(())
    }

    /// A page of releases, newest first (stewards).
    ///
    /// # Errors
    /// The caller is no steward; a page token that does not fit.
    pub async fn releases(
        &self,
        call: &Call,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownRelease>, Error> {
        access::propose_rules(call.account()?)?;
        let reader = self.store().reader();
        let asked = page::Asked::<i64>::read(page_size, token, "releases of rules".to_string())?;
        let rows = release_store::list(reader, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |last| last.seq);
        let current = in_force(reader).await?;
        let rows = rows
            .into_iter()
            .map(|release| {
                let waits = release.published_at.is_none() && release.withdrawn_at.is_none();
                let then = if waits { together(self, Some(stored(&release)?)).ok() } else { None };
                let changes = then.map(|then| changes(&self.movement(), &then)).unwrap_or_default();
                Ok(ShownRelease { in_force: Some(release.seq) == current, release: Some(release), changes })
            })
            .collect::<Result<Vec<_>, Error>>()?;
        Ok(Page { rows, next })
    }
}

async fn in_force(db: &dyn Source) -> Result<Option<i64>, Error> {
    Ok(release_store::in_force(db).await?.map(|r| r.seq))
}
