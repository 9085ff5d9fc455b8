//! Importing evidence: a dry run, all or nothing, or the good rows kept. What the caller entered before is passed
//! over, so that an import that broke off can be repeated as it is.

use std::collections::{BTreeSet, HashMap, HashSet};

use scionary_domain::{
    evidence::{
        Evidence, Observer,
        entry::{self, Draft},
    },
    field::FieldError,
    ids::{AccountId, CultivarId, ReportId},
    limits,
};
use scionary_store::{TwinKey, account_store, evidence_store, observer_store};

use tokio::sync::OwnedSemaphorePermit;

use super::{Together, crop_of, twin_keys};
use crate::{
    App, Call, Done, Error, KeepReply, Rule, UseCase, Write,
    ports::nth_uuid,
    registry::{self, Registry},
};

/// A row.
#[derive(Clone, Debug)]
pub struct ImportRow {
    /// Its line in the caller's file.
    pub line: u32,
    /// The record: its id or its exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// What was observed.
    pub draft: Draft,
}

/// What to do with the rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImportMode {
    /// Check only.
    DryRun,
    /// Write all, or nothing if one is wrong.
    AllOrNothing,
    /// Write the good ones.
    KeepGood,
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowError {
    /// Its line.
    pub line: u32,
    /// The field.
    pub field: String,
    /// What was expected.
    pub expected: String,
}

/// How far an import has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ImportState {
    /// So many rows are checked.
    Checked(usize),
    /// So many rows are written.
    Written(usize),
}

/// How an import ended.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Rows in all.
    pub rows: usize,
    /// Good rows that are new.
    pub good: usize,
    /// Rows that the caller entered before.
    pub already: usize,
    /// Wrong rows.
    pub wrong: usize,
    /// Rows written.
    pub written: usize,
    /// What is wrong, for the first wrong rows.
    pub errors: Vec<RowError>,
}

/// Writes checked pieces, each row's together.
struct WriteRows {
    rows: Vec<Vec<Evidence>>,
}

impl UseCase for WriteRows {
    type Out = usize;
    async fn run(&self, write: &Write<'_>) -> Result<Done<usize>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        account_store::lock_account(write.tx, account.id).await?;
        let records: BTreeSet<CultivarId> = self.rows.iter().flatten().filter_map(|p| p.cultivar).collect();
        // another import of the same account, on another server, may have been faster
        let ids: Vec<CultivarId> = records.iter().copied().collect();
        let known = evidence_store::twins(write.tx, account.id, &ids).await?;
        let mut pieces = Vec::new();
        let mut written = 0;
        for row in &self.rows {
            if twin_keys(row)?.iter().any(|key| !known.contains_key(key)) {
                pieces.extend(row.iter().cloned());
                written += 1;
            }
        }
        let entered = evidence_store::entered_since(write.tx, account.id, now.plus_days(-1)).await?;
        let more = u64::try_from(pieces.len()).unwrap_or(u64::MAX);
        if entered.saturating_add(more) > limits::IMPORT_DAILY_MAX {
            let most = i64::try_from(limits::IMPORT_DAILY_MAX).unwrap_or(i64::MAX);
            return Err(Rule::TooMuchEvidence(most).into());
        }
        evidence_store::insert(write.tx, &pieces, now).await?;
        let change = serde_json::json!({ "pieces": pieces.len(), "records": records.len() });
        let mut done = Done::new(written, "evidence.imported", account.id, change);
        for record in records {
            done = done.and_publish(registry::TOPIC, record);
        }
        Ok(done)
    }
}

/// Rows between two reports of progress.
const TELL_EVERY: usize = 500;
/// Rows between two turns of others.
const YIELD_EVERY: usize = 20;

fn busy() -> Error {
    Error::Limited { retry_after_seconds: 30 }
}

/// A place for an import, of the server's and of the account's own one; held from before the first row is read.
pub struct ImportPlace {
    _of_server: OwnedSemaphorePermit,
    _own: Importing,
}

impl App {
    /// Takes a place for an import.
    ///
    /// # Errors
    /// No one is signed in; others import just now, or another import of the account does.
    pub fn begin_import(&self, call: &Call) -> Result<ImportPlace, Error> {
        let account = call.account()?;
        let of_server = self.0.imports.clone().try_acquire_owned().map_err(|_| busy())?;
        Ok(ImportPlace { _of_server: of_server, _own: Importing::begin(self, account.id)? })
    }
}

/// One import of an account at a time.
struct Importing {
    app: App,
    account: AccountId,
}

impl Importing {
    fn begin(app: &App, account: AccountId) -> Result<Self, Error> {
        // a poisoned lock holds a set as good as any
        let mut under_way = app.0.importing.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if !under_way.insert(account) {
            return Err(busy());
        }
        drop(under_way);
        Ok(Self { app: app.clone(), account })
    }
}

impl Drop for Importing {
    fn drop(&mut self) {
        let mut under_way = self.app.0.importing.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        under_way.remove(&self.account);
    }
}

/// Checks rows against the registry; each good one becomes its pieces.
struct Checker<'a> {
    app: &'a App,
    call: &'a Call,
    registry: &'a Registry,
    by: Observer,
    /// What names stand for: a file has few names and many rows.
    resolved: HashMap<(String, String), Result<CultivarId, Vec<FieldError>>>,
    /// The sources that citations name.
    cited: HashMap<String, String>,
    /// How many UUIDs were made.
    made: u32,
}

impl Checker<'_> {
    fn record(&mut self, row: &ImportRow) -> Result<CultivarId, Vec<FieldError>> {
        let registry = self.registry;
        self.resolved
            .entry((row.cultivar.clone(), row.crop.clone()))
            .or_insert_with(|| match registry.resolve("cultivar", &row.cultivar, &row.crop) {
                Ok(record) => match &record.cultivar.locked {
                    None => Ok(record.cultivar.id),
                    Some(why) => {
                        Err(vec![FieldError::new("cultivar", format!("the record is locked: {why}"))])
                    }
                },
                Err(Error::Invalid(wrong)) => Err(wrong),
                Err(other) => Err(vec![FieldError::new("cultivar", other.to_string())]),
            })
            .clone()
    }

    fn check(&mut self, row: &ImportRow) -> Result<Result<Vec<Evidence>, Vec<FieldError>>, Error> {
        let id = match self.record(row) {
            Ok(id) => id,
            Err(wrong) => return Ok(Err(wrong)),
        };
        let record = self
            .registry
            .record(id)
            .ok_or_else(|| Error::Internal("a record that was there is gone".into()))?;
        let now = self.call.now;
        let checked = match entry::check(&row.draft, crop_of(self.registry, record)?, now.date()) {
            Ok(checked) => checked,
            Err(wrong) => return Ok(Err(wrong)),
        };
        let (app, made) = (self.app, &mut self.made);
        let mut fresh = || {
            *made += 1;
            Ok(nth_uuid(app.entropy(), now, *made)?)
        };
        let report = ReportId::from_uuid(fresh()?);
        let registry = self.registry;
        let source = self
            .cited
            .entry(checked.citation.clone())
            .or_insert_with(|| registry.source_cited(&checked.citation))
            .clone();
        Together { by: self.by, record, checked: &checked, report, sowing: None, source, at: now }
            .pieces(fresh)
            .map(Ok)
    }
}

impl App {
    /// Imports rows.
    ///
    /// # Errors
    /// Too many rows; the database is away. Wrong rows are no error: they are told.
    pub async fn import_evidence(
        &self,
        call: &Call,
        _place: ImportPlace,
        rows: Vec<ImportRow>,
        mode: ImportMode,
        tell: &mut (dyn FnMut(ImportState) + Send),
    ) -> Result<Imported, Error> {
        let account = call.account()?;
        if rows.is_empty() || rows.len() > limits::IMPORT_ROWS_MAX {
            return Err(FieldError::new(
                "rows",
                format!("1 to {} rows expected, {} found", limits::IMPORT_ROWS_MAX, rows.len()),
            )
            .into());
        }
        let reader = self.store().reader();
        let registry = self.registry();
        let by = observer_store::one(reader, account.id).await?.unwrap_or_else(|| Observer::new(account.id));
        let mut checker = Checker {
            app: self,
            call,
            registry: &registry,
            by,
            resolved: HashMap::new(),
            cited: HashMap::new(),
            made: 0,
        };
        let mut out = Imported { rows: rows.len(), ..Imported::default() };
        let mut good: Vec<Vec<Evidence>> = Vec::new();
        for (at, row) in rows.iter().enumerate() {
            match checker.check(row)? {
                Ok(pieces) => good.push(pieces),
                Err(wrong) => {
                    out.wrong += 1;
                    for FieldError { field, expected } in wrong {
                        if out.errors.len() < limits::IMPORT_ERRORS_MAX {
                            out.errors.push(RowError { line: row.line, field, expected });
                        }
                    }
                }
            }
            if out.wrong > limits::IMPORT_WRONG_MAX {
                return Err(FieldError::new(
                    "rows",
                    format!(
                        "rows that fit the columns expected: more than {} of the first {} are wrong, such as line {}",
                        limits::IMPORT_WRONG_MAX,
                        at + 1,
                        out.errors.first().map_or(0, |e| e.line)
                    ),
                )
                .into());
            }
            if (at + 1) % TELL_EVERY == 0 {
                tell(ImportState::Checked(at + 1));
            }
            if at % YIELD_EVERY == 0 {
                // a long check leaves others their turn
                tokio::task::yield_now().await;
            }
        }
        tell(ImportState::Checked(rows.len()));
        let records: BTreeSet<CultivarId> = good.iter().flatten().filter_map(|p| p.cultivar).collect();
        let ids: Vec<CultivarId> =
            records.iter().filter_map(|id| registry.record(*id)).flat_map(|r| r.ids()).collect();
        let mut known: HashSet<TwinKey> =
            evidence_store::twins(reader, account.id, &ids).await?.into_keys().collect();
        let mut fresh = Vec::new();
        for pieces in good {
            let keys = twin_keys(&pieces)?;
            if keys.iter().all(|k| known.contains(k)) {
                out.already += 1;
            } else {
                known.extend(keys);
                fresh.push(pieces);
            }
        }
        out.good = fresh.len();
        let blocked = mode == ImportMode::DryRun || (mode == ImportMode::AllOrNothing && out.wrong > 0);
        if blocked || fresh.is_empty() {
            return Ok(out);
        }
        let batch = match mode {
            ImportMode::KeepGood => limits::IMPORT_BATCH_ROWS,
            ImportMode::AllOrNothing | ImportMode::DryRun => fresh.len(),
        };
        for rows in fresh.chunks(batch) {
            let encode = |written: &usize| written.to_string().into_bytes();
            let done = self.write(call, WriteRows { rows: rows.to_vec() }, KeepReply::Yes, encode).await?;
            out.written +=
                String::from_utf8(done).ok().and_then(|n| n.parse::<usize>().ok()).unwrap_or(rows.len());
            tell(ImportState::Written(out.written));
        }
        self.refresh_registry().await?;
        Ok(out)
    }
}
