//! Pieces of evidence and their checks. A piece is inserted and later ended, but never changed.

use std::collections::{BTreeSet, HashMap};

use scionary_domain::{
    access::{CheckEvidence, EditEvidence, Granted, RuleOnProposal},
    evidence::{Check, Evidence, Kind, Method, Observation, Observer, Value, Verdict},
    ids::{AccountId, CheckId, CultivarId, EvidenceId, ReportId, SowingId},
    place::{AreaCode, GridCode, Place},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, OnConflict},
};

use crate::{
    door::Tx,
    entity::{evidence, evidence_check},
    error::StoreError,
    observers::{self, CHUNK},
    registry::{from_word, word},
    source::Source,
};

pub use scionary_domain::evidence::voice::GROWER;

/// Number of rows per query when all rows are read.
const PAGE: u64 = 20_000;
/// Number of rows per insert statement: with 28 columns each, below the parameter limits of both databases.
const WRITE_CHUNK: usize = 400;

/// Selects evidence.
#[derive(Clone, Copy, Debug)]
pub enum Of<'a> {
    /// All evidence.
    All,
    /// Evidence on these records.
    Records(&'a [CultivarId]),
}

/// A stored piece and its end.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// The piece of evidence.
    pub evidence: Evidence,
    /// When and why it ended, and its successor; `None` while current.
    pub ended: Option<(Timestamp, String, Option<EvidenceId>)>,
}

type Checks = HashMap<uuid::Uuid, Vec<evidence_check::Model>>;
type Observers = HashMap<AccountId, Observer>;

fn to_evidence(
    row: evidence::Model,
    checks: &mut Checks,
    people: &Observers,
) -> Result<Evidence, StoreError> {
    let value: Value =
        serde_json::from_str(&row.value).map_err(|e| StoreError::corrupt("evidence.value", e))?;
    let person = |id: uuid::Uuid| {
        let id = AccountId::from_uuid(id);
        people.get(&id).copied().unwrap_or_else(|| Observer::new(id))
    };
    let observed = match row.author_id {
        None => None,
        Some(author) => {
            let grid = row
                .grid_code
                .as_deref()
                .map(GridCode::parse)
                .transpose()
                .map_err(|e| StoreError::corrupt("evidence.grid_code", e))?;
            let area = row
                .area_code
                .as_deref()
                .map(AreaCode::parse)
                .transpose()
                .map_err(|e| StoreError::corrupt("evidence.area_code", e))?;
            let mut own = checks.remove(&row.id).unwrap_or_default();
            own.sort_by_key(|c| (c.created_at, c.id));
            Some(Box::new(Observation {
                by: person(author),
                kind: from_word::<Kind>("evidence.kind", row.kind.unwrap_or_default())?,
                report: ReportId::from_uuid(row.report_id.unwrap_or(row.id)),
                sowing: row.sowing_id.map(SowingId::from_uuid),
                day: row.observed_day.map(Date::from_days),
                place: grid.map(|grid| Place { area, grid, label: row.place_label.clone() }),
                tree: row.tree,
                method: from_word::<Method>("evidence.method", row.method)?,
                citation: row.citation,
                at: Timestamp::from_micros(row.created_at),
                checks: own
                    .into_iter()
                    .map(|c| {
                        Ok(Check {
                            id: CheckId::from_uuid(c.id),
                            by: person(c.account_id),
                            verdict: from_word::<Verdict>("evidence_check.verdict", c.verdict)?,
                            reason: c.reason,
                            at: Timestamp::from_micros(c.created_at),
                        })
                    })
                    .collect::<Result<_, StoreError>>()?,
            }))
        }
    };
    Ok(Evidence {
        id: EvidenceId::from_uuid(row.id),
        crop: row.crop,
        cultivar: row.cultivar_id.map(CultivarId::from_uuid),
        subject: row.subject,
        named_as: row.named_as,
        descriptor: row.descriptor,
        value,
        place: row.place,
        source: row.source_id,
        as_stated: row.as_stated,
        note: row.note,
        observed,
    })
}

fn by_piece(rows: Vec<evidence_check::Model>) -> Checks {
    let mut of: Checks = HashMap::new();
    for row in rows {
        of.entry(row.evidence_id).or_default().push(row);
    }
    of
}

/// Returns current evidence, in the order of its ids.
pub async fn current(db: &dyn Source, of: Of<'_>) -> Result<Vec<Evidence>, StoreError> {
    match of {
        Of::All => everything(db).await,
        Of::Records(ids) => {
            let mut rows = Vec::new();
            for chunk in ids.chunks(CHUNK) {
                rows.extend(
                    evidence::Entity::find()
                        .filter(evidence::Column::EndedAt.is_null())
                        .filter(evidence::Column::CultivarId.is_in(chunk.iter().map(|id| id.uuid())))
                        .all(&db.inner())
                        .await?,
                );
            }
            rows.sort_by_key(|r| r.id);
            with_people(db, rows).await
        }
    }
}

async fn everything(db: &dyn Source) -> Result<Vec<Evidence>, StoreError> {
    let people = observers::all(db).await?;
    let mut checks = by_piece(
        evidence_check::Entity::find()
            .filter(evidence_check::Column::EndedAt.is_null())
            .all(&db.inner())
            .await?,
    );
    let mut all = Vec::new();
    let mut last = None;
    loop {
        let mut query = evidence::Entity::find().filter(evidence::Column::EndedAt.is_null());
        if let Some(last) = last {
            query = query.filter(evidence::Column::Id.gt(last));
        }
        let rows = query.order_by_asc(evidence::Column::Id).limit(PAGE).all(&db.inner()).await?;
        let Some(newest) = rows.last() else { return Ok(all) };
        last = Some(newest.id);
        all.reserve(rows.len());
        for row in rows {
            all.push(to_evidence(row, &mut checks, &people)?);
        }
    }
}

async fn with_people(db: &dyn Source, rows: Vec<evidence::Model>) -> Result<Vec<Evidence>, StoreError> {
    let mut checked = Vec::new();
    let ids: Vec<_> = rows.iter().filter(|r| r.author_id.is_some()).map(|r| r.id).collect();
    for chunk in ids.chunks(CHUNK) {
        checked.extend(
            evidence_check::Entity::find()
                .filter(evidence_check::Column::EndedAt.is_null())
                .filter(evidence_check::Column::EvidenceId.is_in(chunk.to_vec()))
                .all(&db.inner())
                .await?,
        );
    }
    let people: BTreeSet<AccountId> = rows
        .iter()
        .filter_map(|r| r.author_id)
        .chain(checked.iter().map(|c| c.account_id))
        .map(AccountId::from_uuid)
        .collect();
    let people = observers::some(db, &people.into_iter().collect::<Vec<_>>()).await?;
    let mut checks = by_piece(checked);
    rows.into_iter().map(|row| to_evidence(row, &mut checks, &people)).collect()
}

/// Returns a piece, current or ended.
pub async fn piece(db: &dyn Source, id: EvidenceId) -> Result<Option<Stored>, StoreError> {
    let Some(row) = evidence::Entity::find_by_id(id.uuid()).one(&db.inner()).await? else { return Ok(None) };
    Ok(stored(db, vec![row]).await?.pop())
}

/// Returns these pieces, current or ended, in the order of their ids; unknown ids are left out.
pub async fn some(db: &dyn Source, ids: &[EvidenceId]) -> Result<Vec<Stored>, StoreError> {
    let ids = ids.iter().map(|id| id.uuid());
    let query = evidence::Entity::find().filter(evidence::Column::Id.is_in(ids));
    let rows = query.order_by_asc(evidence::Column::Id).all(&db.inner()).await?;
    stored(db, rows).await
}

async fn stored(db: &dyn Source, rows: Vec<evidence::Model>) -> Result<Vec<Stored>, StoreError> {
    let ended: Vec<_> = rows
        .iter()
        .map(|r| {
            r.ended_at.map(|at| {
                (
                    Timestamp::from_micros(at),
                    r.ended_why.clone().unwrap_or_default(),
                    r.replaced_by.map(EvidenceId::from_uuid),
                )
            })
        })
        .collect();
    let pieces = with_people(db, rows).await?;
    Ok(pieces.into_iter().zip(ended).map(|(evidence, ended)| Stored { evidence, ended }).collect())
}

/// Returns an author's pieces before an id, newest first.
pub async fn by_author(
    db: &dyn Source,
    author: AccountId,
    before: Option<EvidenceId>,
    limit: u64,
) -> Result<Vec<Stored>, StoreError> {
    let mut query = evidence::Entity::find().filter(evidence::Column::AuthorId.eq(author.uuid()));
    if let Some(before) = before {
        query = query.filter(evidence::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(evidence::Column::Id).limit(limit).all(&db.inner()).await?;
    stored(db, rows).await
}

/// Returns the records with current evidence or checks of an account.
pub async fn records_of(db: &dyn Source, author: AccountId) -> Result<BTreeSet<CultivarId>, StoreError> {
    let own: Vec<Option<uuid::Uuid>> = evidence::Entity::find()
        .select_only()
        .column(evidence::Column::CultivarId)
        .distinct()
        .filter(evidence::Column::AuthorId.eq(author.uuid()))
        .filter(evidence::Column::EndedAt.is_null())
        .into_tuple()
        .all(&db.inner())
        .await?;
    let checked: Vec<uuid::Uuid> = evidence_check::Entity::find()
        .select_only()
        .column(evidence_check::Column::EvidenceId)
        .filter(evidence_check::Column::AccountId.eq(author.uuid()))
        .filter(evidence_check::Column::EndedAt.is_null())
        .into_tuple()
        .all(&db.inner())
        .await?;
    let mut all: BTreeSet<CultivarId> = own.into_iter().flatten().map(CultivarId::from_uuid).collect();
    for chunk in checked.chunks(CHUNK) {
        let rows: Vec<Option<uuid::Uuid>> = evidence::Entity::find()
            .select_only()
            .column(evidence::Column::CultivarId)
            .distinct()
            .filter(evidence::Column::Id.is_in(chunk.to_vec()))
            .into_tuple()
            .all(&db.inner())
            .await?;
        all.extend(rows.into_iter().flatten().map(CultivarId::from_uuid));
    }
    Ok(all)
}

/// Returns how many pieces an account has entered since a time.
pub async fn entered_since(db: &dyn Source, author: AccountId, since: Timestamp) -> Result<u64, StoreError> {
    Ok(evidence::Entity::find()
        .filter(evidence::Column::AuthorId.eq(author.uuid()))
        .filter(evidence::Column::CreatedAt.gte(since.micros()))
        .count(&db.inner())
        .await?)
}

/// Returns how many checks an account has made since a time.
pub async fn checked_since(db: &dyn Source, account: AccountId, since: Timestamp) -> Result<u64, StoreError> {
    Ok(evidence_check::Entity::find()
        .filter(evidence_check::Column::AccountId.eq(account.uuid()))
        .filter(evidence_check::Column::CreatedAt.gte(since.micros()))
        .count(&db.inner())
        .await?)
}

/// Returns the current pieces of one report.
pub async fn of_report(
    db: &dyn Source,
    author: AccountId,
    report: ReportId,
) -> Result<Vec<Evidence>, StoreError> {
    let rows = evidence::Entity::find()
        .filter(evidence::Column::AuthorId.eq(author.uuid()))
        .filter(evidence::Column::ReportId.eq(report.uuid()))
        .filter(evidence::Column::EndedAt.is_null())
        .order_by_asc(evidence::Column::Id)
        .all(&db.inner())
        .await?;
    with_people(db, rows).await
}

/// Returns an author's current pieces on these records by [`TwinKey`], to find duplicates.
pub async fn twins(
    db: &dyn Source,
    author: AccountId,
    records: &[CultivarId],
) -> Result<HashMap<TwinKey, EvidenceId>, StoreError> {
    let mut all = HashMap::new();
    for chunk in records.chunks(CHUNK) {
        let rows = evidence::Entity::find()
            .filter(evidence::Column::AuthorId.eq(author.uuid()))
            .filter(evidence::Column::EndedAt.is_null())
            .filter(evidence::Column::CultivarId.is_in(chunk.iter().map(|id| id.uuid())))
            .all(&db.inner())
            .await?;
        for row in rows {
            let key = TwinKey {
                cultivar: row.cultivar_id.map(CultivarId::from_uuid),
                descriptor: row.descriptor,
                value: row.value,
                day: row.observed_day,
                tree: row.tree,
                citation: row.citation,
            };
            all.insert(key, EvidenceId::from_uuid(row.id));
        }
    }
    Ok(all)
}

/// Fields that identify a piece of one author; two pieces with equal keys are duplicates.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct TwinKey {
    cultivar: Option<CultivarId>,
    descriptor: String,
    value: String,
    day: Option<i64>,
    tree: String,
    citation: String,
}

impl TwinKey {
    /// Returns the key of a piece.
    ///
    /// # Errors
    /// Returns [`StoreError::Corrupt`] when its value cannot be serialized.
    pub fn of(piece: &Evidence) -> Result<Self, StoreError> {
        let observed = piece.observed.as_ref();
        Ok(Self {
            cultivar: piece.cultivar,
            descriptor: piece.descriptor.clone(),
            value: serde_json::to_string(&piece.value)
                .map_err(|e| StoreError::corrupt("evidence.value", e))?,
            day: observed.and_then(|o| o.day).map(Date::days),
            tree: observed.map(|o| o.tree.clone()).unwrap_or_default(),
            citation: observed.map(|o| o.citation.clone()).unwrap_or_default(),
        })
    }
}

fn row_of(piece: &Evidence, key: Option<String>, at: Timestamp) -> Result<evidence::ActiveModel, StoreError> {
    let observed = piece.observed.as_deref();
    let value = serde_json::to_string(&piece.value).map_err(|e| StoreError::corrupt("evidence.value", e))?;
    let place = observed.and_then(|o| o.place.as_ref());
    Ok(evidence::ActiveModel {
        id: Set(piece.id.uuid()),
        row_key: Set(key),
        crop: Set(piece.crop.clone()),
        cultivar_id: Set(piece.cultivar.map(CultivarId::uuid)),
        subject: Set(piece.subject.clone()),
        named_as: Set(piece.named_as.clone()),
        descriptor: Set(piece.descriptor.clone()),
        value: Set(value),
        place: Set(piece.place.clone()),
        source_id: Set(piece.source.clone()),
        as_stated: Set(piece.as_stated.clone()),
        note: Set(piece.note.clone()),
        author_id: Set(observed.map(|o| o.by.account.uuid())),
        created_at: Set(observed.map_or(at, |o| o.at).micros()),
        kind: Set(observed.map(|o| word("evidence.kind", &o.kind)).transpose()?),
        report_id: Set(observed.map(|o| o.report.uuid())),
        sowing_id: Set(observed.and_then(|o| o.sowing).map(SowingId::uuid)),
        observed_day: Set(observed.and_then(|o| o.day).map(Date::days)),
        area_code: Set(place.and_then(|p| p.area.as_ref()).map(|a| a.as_str().to_string())),
        grid_code: Set(place.map(|p| p.grid.as_str().to_string())),
        place_label: Set(place.map(|p| p.label.clone()).unwrap_or_default()),
        tree: Set(observed.map(|o| o.tree.clone()).unwrap_or_default()),
        method: Set(match observed {
            Some(o) => word("evidence.method", &o.method)?,
            None => String::new(),
        }),
        citation: Set(observed.map(|o| o.citation.clone()).unwrap_or_default()),
        ended_at: Set(None),
        ended_why: Set(None),
        replaced_by: Set(None),
        moved: Set(false),
    })
}

/// Inserts pieces.
pub async fn insert(tx: &Tx, pieces: &[Evidence], at: Timestamp) -> Result<(), StoreError> {
    for chunk in pieces.chunks(WRITE_CHUNK) {
        let rows = chunk.iter().map(|p| row_of(p, None, at)).collect::<Result<Vec<_>, _>>()?;
        evidence::Entity::insert_many(rows).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Imports pieces from another registry's export under their own ids. Existing ids are not changed. Returns the
/// number of new pieces.
pub async fn import(
    tx: &Tx,
    pieces: &[(Evidence, Option<String>)],
    at: Timestamp,
) -> Result<u64, StoreError> {
    let mut new = 0;
    for chunk in pieces.chunks(WRITE_CHUNK) {
        let rows = chunk.iter().map(|(p, key)| row_of(p, key.clone(), at)).collect::<Result<Vec<_>, _>>()?;
        new += evidence::Entity::insert_many(rows)
            .on_conflict(OnConflict::new().do_nothing().to_owned())
            .exec_without_returning(&tx.inner())
            .await?;
    }
    Ok(new)
}

/// Returns the catalogue row keys of current pieces, by id.
pub async fn row_keys(db: &dyn Source) -> Result<HashMap<EvidenceId, String>, StoreError> {
    let rows: Vec<(uuid::Uuid, Option<String>)> = evidence::Entity::find()
        .select_only()
        .column(evidence::Column::Id)
        .column(evidence::Column::RowKey)
        .filter(evidence::Column::RowKey.is_not_null())
        .filter(evidence::Column::EndedAt.is_null())
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().filter_map(|(id, key)| Some((EvidenceId::from_uuid(id), key?))).collect())
}

/// Ends a piece; returns false if it has already ended.
pub async fn end(
    tx: &Tx,
    _granted: &Granted<EditEvidence>,
    id: EvidenceId,
    why: &str,
    replaced_by: Option<EvidenceId>,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = evidence::Entity::update_many()
        .col_expr(evidence::Column::EndedAt, Expr::value(at.micros()))
        .col_expr(evidence::Column::EndedWhy, Expr::value(why))
        .col_expr(evidence::Column::ReplacedBy, Expr::value(replaced_by.map(EvidenceId::uuid)))
        .filter(evidence::Column::Id.eq(id.uuid()))
        .filter(evidence::Column::EndedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Moves pieces from some records to another, as a split does. Returns how many were moved.
pub async fn move_pieces(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    pieces: &[EvidenceId],
    from: &[CultivarId],
    to: CultivarId,
) -> Result<u64, StoreError> {
    let mut moved = 0;
    let from: Vec<_> = from.iter().map(|id| id.uuid()).collect();
    for chunk in pieces.chunks(CHUNK) {
        moved += evidence::Entity::update_many()
            .col_expr(evidence::Column::CultivarId, Expr::value(to.uuid()))
            .col_expr(evidence::Column::Moved, Expr::value(true))
            .filter(evidence::Column::Id.is_in(chunk.iter().map(|id| id.uuid())))
            .filter(evidence::Column::CultivarId.is_in(from.clone()))
            .exec(&tx.inner())
            .await?
            .rows_affected;
    }
    Ok(moved)
}

/// Inserts a check; it replaces the account's earlier check of the piece.
pub async fn put_check(
    tx: &Tx,
    _granted: &Granted<CheckEvidence>,
    piece: EvidenceId,
    check: &Check,
) -> Result<(), StoreError> {
    end_check(tx, piece, check.by.account, check.at).await?;
    let row = evidence_check::ActiveModel {
        id: Set(check.id.uuid()),
        evidence_id: Set(piece.uuid()),
        account_id: Set(check.by.account.uuid()),
        verdict: Set(word("evidence_check.verdict", &check.verdict)?),
        reason: Set(check.reason.clone()),
        created_at: Set(check.at.micros()),
        ended_at: Set(None),
    };
    evidence_check::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Withdraws the account's check of a piece; returns false if there is none.
pub async fn end_check(
    tx: &Tx,
    piece: EvidenceId,
    account: AccountId,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = evidence_check::Entity::update_many()
        .col_expr(evidence_check::Column::EndedAt, Expr::value(at.micros()))
        .filter(evidence_check::Column::EvidenceId.eq(piece.uuid()))
        .filter(evidence_check::Column::AccountId.eq(account.uuid()))
        .filter(evidence_check::Column::EndedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected > 0)
}

/// Imports checks from another registry's export. Existing ids are not changed.
pub async fn import_checks(tx: &Tx, piece: EvidenceId, checks: &[Check]) -> Result<(), StoreError> {
    for check in checks {
        let row = evidence_check::ActiveModel {
            id: Set(check.id.uuid()),
            evidence_id: Set(piece.uuid()),
            account_id: Set(check.by.account.uuid()),
            verdict: Set(word("evidence_check.verdict", &check.verdict)?),
            reason: Set(check.reason.clone()),
            created_at: Set(check.at.micros()),
            ended_at: Set(None),
        };
        evidence_check::Entity::insert(row)
            .on_conflict(OnConflict::new().do_nothing().to_owned())
            .exec_without_returning(&tx.inner())
            .await?;
    }
    Ok(())
}
