//! Proposals and their decisions, versions of records, and the public history.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    access::{Granted, LockRecord, RuleOnProposal, WithdrawProposal},
    curation::{Change, Content, Proposal, Ruling, State},
    ids::{AccountId, CultivarId, ProposalId},
    names::Folded,
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, OnConflict},
};

use crate::{
    door::Tx,
    entity::{
        cultivar, cultivar_name, cultivar_parent, cultivar_version, descriptor_text, proposal, record_event,
    },
    error::StoreError,
    registry::{from_word, word},
    source::Source,
};

/// Texts of a descriptor that a decision changed; `None` keeps the crop profile's text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DescriptorText {
    /// Key of the crop.
    pub crop: String,
    /// Key of the descriptor.
    pub descriptor: String,
    /// Label of the descriptor.
    pub label: Option<String>,
    /// Question that the descriptor answers.
    pub question: Option<String>,
    /// How to observe it.
    pub observe: Option<String>,
}

/// One entry of a record's public history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// Sequence number; later entries have higher numbers.
    pub seq: i64,
    /// Id of the record; `None` for an entry about the crop.
    pub cultivar: Option<CultivarId>,
    /// Key of the crop.
    pub crop: String,
    /// Time of the event.
    pub at: Timestamp,
    /// Account that acted; `None` for the server's own jobs.
    pub by: Option<AccountId>,
    /// Action, such as `renamed`.
    pub action: String,
    /// Id of the proposal, evidence or record concerned.
    pub subject: String,
    /// Reason for the action.
    pub why: String,
    /// What changed, in words.
    pub detail: String,
    /// Version of the record after the event.
    pub version: Option<i64>,
}

/// A stored version of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Version {
    /// Version number.
    pub version: i64,
    /// Content of the record at that version.
    pub content: Content,
    /// Time of the change.
    pub at: Timestamp,
    /// Steward whose decision made the version.
    pub by: Option<AccountId>,
    /// Proposal that led to the version.
    pub proposal: Option<ProposalId>,
}

fn to_proposal(row: proposal::Model) -> Result<Proposal, StoreError> {
    let change: Change =
        serde_json::from_str(&row.change).map_err(|e| StoreError::corrupt("proposal.change", e))?;
    Ok(Proposal {
        id: ProposalId::from_uuid(row.id),
        crop: row.crop,
        cultivar: row.cultivar_id.map(CultivarId::from_uuid),
        change,
        reason: row.reason,
        citation: row.citation,
        author: AccountId::from_uuid(row.author_id),
        at: Timestamp::from_micros(row.created_at),
        state: from_word::<State>("proposal.state", row.state)?,
        ruling: row.ruled_by.zip(row.ruled_at).map(|(by, at)| Ruling {
            by: AccountId::from_uuid(by),
            at: Timestamp::from_micros(at),
            reason: row.ruling,
        }),
        outcome: row.outcome,
    })
}

/// Inserts a proposal.
pub async fn insert_proposal(tx: &Tx, new: &Proposal) -> Result<(), StoreError> {
    let change = serde_json::to_string(&new.change).map_err(|e| StoreError::corrupt("proposal.change", e))?;
    let row = proposal::ActiveModel {
        id: Set(new.id.uuid()),
        crop: Set(new.crop.clone()),
        cultivar_id: Set(new.cultivar.map(CultivarId::uuid)),
        change: Set(change),
        change_word: Set(new.change.word().into()),
        reason: Set(new.reason.clone()),
        citation: Set(new.citation.clone()),
        author_id: Set(new.author.uuid()),
        created_at: Set(new.at.micros()),
        state: Set(word("proposal.state", &new.state)?),
        ruled_by: Set(None),
        ruled_at: Set(None),
        ruling: Set(String::new()),
        outcome: Set(String::new()),
    };
    proposal::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the proposal with this id.
pub async fn proposal(db: &dyn Source, id: ProposalId) -> Result<Option<Proposal>, StoreError> {
    proposal::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_proposal).transpose()
}

/// Filter of a proposal list; `None` does not filter.
#[derive(Clone, Debug, Default)]
pub struct ProposalQuery {
    /// Proposals for this crop.
    pub crop: Option<String>,
    /// Proposals about these records.
    pub cultivars: Option<Vec<CultivarId>>,
    /// Proposals by this author.
    pub author: Option<AccountId>,
    /// Proposals in this state.
    pub state: Option<State>,
    /// Proposals after this one.
    pub after: Option<ProposalId>,
    /// Maximum number of results.
    pub limit: u64,
}

/// Returns proposals, oldest first.
pub async fn proposals(db: &dyn Source, query: &ProposalQuery) -> Result<Vec<Proposal>, StoreError> {
    let mut select = proposal::Entity::find();
    if let Some(crop) = &query.crop {
        select = select.filter(proposal::Column::Crop.eq(crop.as_str()));
    }
    if let Some(ids) = &query.cultivars {
        select = select.filter(proposal::Column::CultivarId.is_in(ids.iter().map(|id| id.uuid())));
    }
    if let Some(author) = query.author {
        select = select.filter(proposal::Column::AuthorId.eq(author.uuid()));
    }
    if let Some(state) = query.state {
        select = select.filter(proposal::Column::State.eq(word("proposal.state", &state)?));
    }
    if let Some(after) = query.after {
        select = select.filter(proposal::Column::Id.gt(after.uuid()));
    }
    let rows = select.order_by_asc(proposal::Column::Id).limit(query.limit).all(&db.inner()).await?;
    rows.into_iter().map(to_proposal).collect()
}

/// Returns how many open proposals an author has.
pub async fn count_open(db: &dyn Source, author: AccountId) -> Result<u64, StoreError> {
    Ok(proposal::Entity::find()
        .filter(proposal::Column::AuthorId.eq(author.uuid()))
        .filter(proposal::Column::State.eq("open"))
        .count(&db.inner())
        .await?)
}

async fn close(
    tx: &Tx,
    id: ProposalId,
    state: State,
    ruling: &Ruling,
    outcome: &str,
) -> Result<bool, StoreError> {
    let changed = proposal::Entity::update_many()
        .col_expr(proposal::Column::State, Expr::value(word("proposal.state", &state)?))
        .col_expr(proposal::Column::RuledBy, Expr::value(ruling.by.uuid()))
        .col_expr(proposal::Column::RuledAt, Expr::value(ruling.at.micros()))
        .col_expr(proposal::Column::Ruling, Expr::value(ruling.reason.as_str()))
        .col_expr(proposal::Column::Outcome, Expr::value(outcome))
        .filter(proposal::Column::Id.eq(id.uuid()))
        .filter(proposal::Column::State.eq("open"))
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}

/// Decides an open proposal; returns false if it is no longer open. The update locks the proposal's row until
/// the transaction ends.
pub async fn rule(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    id: ProposalId,
    state: State,
    ruling: &Ruling,
) -> Result<bool, StoreError> {
    close(tx, id, state, ruling, "").await
}

/// Records the outcome of an accepted proposal.
pub async fn set_outcome(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    id: ProposalId,
    outcome: &str,
) -> Result<(), StoreError> {
    proposal::Entity::update_many()
        .col_expr(proposal::Column::Outcome, Expr::value(outcome))
        .filter(proposal::Column::Id.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Withdraws an open proposal; returns false if it is no longer open.
pub async fn withdraw(
    tx: &Tx,
    _granted: &Granted<WithdrawProposal>,
    id: ProposalId,
    ruling: &Ruling,
) -> Result<bool, StoreError> {
    close(tx, id, State::Withdrawn, ruling, "").await
}

/// Appends to the public history.
pub async fn tell(tx: &Tx, event: &Event) -> Result<(), StoreError> {
    let row = record_event::ActiveModel {
        seq: NotSet,
        cultivar_id: Set(event.cultivar.map(CultivarId::uuid)),
        crop: Set(event.crop.clone()),
        at: Set(event.at.micros()),
        actor_id: Set(event.by.map(AccountId::uuid)),
        action: Set(event.action.clone()),
        subject: Set(event.subject.clone()),
        why: Set(event.why.clone()),
        detail: Set(event.detail.clone()),
        version: Set(event.version),
    };
    record_event::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns how many events of this action an account has caused since an instant.
pub async fn count_events(
    db: &dyn Source,
    by: AccountId,
    action: &str,
    since: Timestamp,
) -> Result<u64, StoreError> {
    Ok(record_event::Entity::find()
        .filter(record_event::Column::ActorId.eq(by.uuid()))
        .filter(record_event::Column::Action.eq(action))
        .filter(record_event::Column::At.gte(since.micros()))
        .count(&db.inner())
        .await?)
}

/// Returns the history of these records before a sequence number, newest first.
pub async fn history(
    db: &dyn Source,
    records: &[CultivarId],
    before: Option<i64>,
    limit: u64,
) -> Result<Vec<Event>, StoreError> {
    let mut query = record_event::Entity::find()
        .filter(record_event::Column::CultivarId.is_in(records.iter().map(|id| id.uuid())));
    if let Some(before) = before {
        query = query.filter(record_event::Column::Seq.lt(before));
    }
    let rows = query.order_by_desc(record_event::Column::Seq).limit(limit).all(&db.inner()).await?;
    Ok(rows
        .into_iter()
        .map(|r| Event {
            seq: r.seq,
            cultivar: r.cultivar_id.map(CultivarId::from_uuid),
            crop: r.crop,
            at: Timestamp::from_micros(r.at),
            by: r.actor_id.map(AccountId::from_uuid),
            action: r.action,
            subject: r.subject,
            why: r.why,
            detail: r.detail,
            version: r.version,
        })
        .collect())
}

fn content_text(content: &Content) -> Result<String, StoreError> {
    serde_json::to_string(content).map_err(|e| StoreError::corrupt("cultivar_version.content", e))
}

/// Stores a version. Idempotent: an existing version is not changed.
pub async fn keep_version(tx: &Tx, id: CultivarId, version: &Version) -> Result<(), StoreError> {
    let row = cultivar_version::ActiveModel {
        cultivar_id: Set(id.uuid()),
        version: Set(version.version),
        content: Set(content_text(&version.content)?),
        at: Set(version.at.micros()),
        actor_id: Set(version.by.map(AccountId::uuid)),
        proposal_id: Set(version.proposal.map(ProposalId::uuid)),
    };
    cultivar_version::Entity::insert(row)
        .on_conflict(OnConflict::new().do_nothing().to_owned())
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns a stored version of a record.
pub async fn version(db: &dyn Source, id: CultivarId, number: i64) -> Result<Option<Version>, StoreError> {
    let Some(row) = cultivar_version::Entity::find_by_id((id.uuid(), number)).one(&db.inner()).await? else {
        return Ok(None);
    };
    Ok(Some(Version {
        version: row.version,
        content: serde_json::from_str(&row.content)
            .map_err(|e| StoreError::corrupt("cultivar_version.content", e))?,
        at: Timestamp::from_micros(row.at),
        by: row.actor_id.map(AccountId::from_uuid),
        proposal: row.proposal_id.map(ProposalId::from_uuid),
    }))
}

/// Inserts a record by decision, at version 1. Returns [`StoreError::Exists`] if the name is taken in the crop.
pub async fn insert_record(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    id: CultivarId,
    crop: &str,
    content: &Content,
    at: Timestamp,
) -> Result<(), StoreError> {
    put_row(tx, id, crop, content, 1, at, None).await
}

async fn put_row(
    tx: &Tx,
    id: CultivarId,
    crop: &str,
    content: &Content,
    version: i64,
    at: Timestamp,
    merged_into: Option<CultivarId>,
) -> Result<(), StoreError> {
    let row = cultivar::ActiveModel {
        id: Set(id.uuid()),
        crop: Set(crop.to_string()),
        name: Set(content.name.clone()),
        name_key: Set(Folded::new(&content.name).key()),
        qualifier: Set(content.qualifier.clone()),
        botanical_name: Set(content.botanical_name.clone()),
        rank: Set(word("cultivar.rank", &content.rank)?),
        origin: Set(content.origin.clone()),
        notes: Set(content.notes.clone()),
        catalogue: Set(None),
        version: Set(version),
        created_at: Set(at.micros()),
        updated_at: Set(at.micros()),
        pins: Set(pins_text(content)?),
        locked_why: Set(None),
        merged_into: Set(merged_into.map(CultivarId::uuid)),
        curated: Set(true),
        catalogue_key: Set(None),
    };
    cultivar::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    put_lists(tx, id, content).await
}

fn pins_text(content: &Content) -> Result<String, StoreError> {
    serde_json::to_string(&content.pins).map_err(|e| StoreError::corrupt("cultivar.pins", e))
}

async fn put_lists(tx: &Tx, id: CultivarId, content: &Content) -> Result<(), StoreError> {
    cultivar_name::Entity::delete_many()
        .filter(cultivar_name::Column::CultivarId.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    for name in &content.names {
        let row = cultivar_name::ActiveModel {
            id: NotSet,
            cultivar_id: Set(id.uuid()),
            name: Set(name.name.clone()),
            kind: Set(word("cultivar_name.kind", &name.kind)?),
            disputed: Set(name.disputed),
            source_id: Set(name.source.clone()),
            note: Set(name.note.clone()),
            catalogue: Set(None),
        };
        cultivar_name::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    cultivar_parent::Entity::delete_many()
        .filter(cultivar_parent::Column::CultivarId.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    for parent in &content.parents {
        let row = cultivar_parent::ActiveModel {
            id: NotSet,
            cultivar_id: Set(id.uuid()),
            role: Set(word("cultivar_parent.role", &parent.role)?),
            name: Set(parent.name.clone()),
            disputed: Set(parent.disputed),
            source_id: Set(parent.source.clone()),
            note: Set(parent.note.clone()),
            catalogue: Set(None),
        };
        cultivar_parent::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Replaces a record's content if its version still equals `seen`; returns false if it is stale. It marks the
/// record as curated, so that catalogue imports no longer change it.
pub async fn change_record(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    id: CultivarId,
    seen: i64,
    content: &Content,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = cultivar::Entity::update_many()
        .col_expr(cultivar::Column::Name, Expr::value(content.name.as_str()))
        .col_expr(cultivar::Column::NameKey, Expr::value(Folded::new(&content.name).key()))
        .col_expr(cultivar::Column::Qualifier, Expr::value(content.qualifier.as_str()))
        .col_expr(cultivar::Column::BotanicalName, Expr::value(content.botanical_name.as_str()))
        .col_expr(cultivar::Column::Rank, Expr::value(word("cultivar.rank", &content.rank)?))
        .col_expr(cultivar::Column::Origin, Expr::value(content.origin.as_str()))
        .col_expr(cultivar::Column::Notes, Expr::value(content.notes.as_str()))
        .col_expr(cultivar::Column::Pins, Expr::value(pins_text(content)?))
        .col_expr(cultivar::Column::Curated, Expr::value(true))
        .col_expr(cultivar::Column::Version, Expr::value(seen + 1))
        .col_expr(cultivar::Column::UpdatedAt, Expr::value(at.micros()))
        .filter(cultivar::Column::Id.eq(id.uuid()))
        .filter(cultivar::Column::Version.eq(seen))
        .exec(&tx.inner())
        .await?;
    if changed.rows_affected != 1 {
        return Ok(false);
    }
    put_lists(tx, id, content).await?;
    Ok(true)
}

/// Sets or clears the record into which this one is merged; returns false if it is already so.
pub async fn set_merged(
    tx: &Tx,
    _granted: &Granted<RuleOnProposal>,
    id: CultivarId,
    into: Option<CultivarId>,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let change = cultivar::Entity::update_many()
        .col_expr(cultivar::Column::MergedInto, Expr::value(into.map(CultivarId::uuid)))
        .col_expr(cultivar::Column::Version, Expr::cust("version + 1"))
        .col_expr(cultivar::Column::UpdatedAt, Expr::value(at.micros()))
        .filter(cultivar::Column::Id.eq(id.uuid()));
    let change = match into {
        Some(_) => change.filter(cultivar::Column::MergedInto.is_null()),
        None => change.filter(cultivar::Column::MergedInto.is_not_null()),
    };
    Ok(change.exec(&tx.inner()).await?.rows_affected == 1)
}

/// Locks a record with a reason, or unlocks it; returns false if it is already so.
pub async fn set_locked(
    tx: &Tx,
    _granted: &Granted<LockRecord>,
    id: CultivarId,
    why: Option<&str>,
) -> Result<bool, StoreError> {
    let change = cultivar::Entity::update_many()
        .col_expr(cultivar::Column::LockedWhy, Expr::value(why.map(str::to_string)))
        .filter(cultivar::Column::Id.eq(id.uuid()));
    let change = match why {
        Some(_) => change.filter(cultivar::Column::LockedWhy.is_null()),
        None => change.filter(cultivar::Column::LockedWhy.is_not_null()),
    };
    Ok(change.exec(&tx.inner()).await?.rows_affected == 1)
}

/// Returns all changed descriptor texts.
pub async fn descriptor_texts(db: &dyn Source) -> Result<Vec<DescriptorText>, StoreError> {
    let rows = descriptor_text::Entity::find().all(&db.inner()).await?;
    Ok(rows
        .into_iter()
        .map(|r| DescriptorText {
            crop: r.crop,
            descriptor: r.descriptor,
            label: r.label,
            question: r.question,
            observe: r.observe,
        })
        .collect())
}

/// Changes texts of a descriptor; `None` keeps the old text.
pub async fn put_descriptor_text(tx: &Tx, text: &DescriptorText) -> Result<(), StoreError> {
    let key = (text.crop.clone(), text.descriptor.clone());
    let known = descriptor_text::Entity::find_by_id(key).one(&tx.inner()).await?;
    let old = known.clone();
    let or = |new: &Option<String>, old: Option<String>| Set(new.clone().or(old));
    let row = descriptor_text::ActiveModel {
        crop: Set(text.crop.clone()),
        descriptor: Set(text.descriptor.clone()),
        label: or(&text.label, old.as_ref().and_then(|o| o.label.clone())),
        question: or(&text.question, old.as_ref().and_then(|o| o.question.clone())),
        observe: or(&text.observe, old.as_ref().and_then(|o| o.observe.clone())),
    };
    if known.is_some() {
        descriptor_text::Entity::update(row).exec(&tx.inner()).await?;
    } else {
        descriptor_text::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Imports a record from another registry's export under its own id; returns false if the id exists here.
/// Returns [`StoreError::Exists`] if another record has the name.
pub async fn import_record(
    tx: &Tx,
    id: CultivarId,
    crop: &str,
    content: &Content,
    version: i64,
    merged_into: Option<CultivarId>,
    at: Timestamp,
) -> Result<bool, StoreError> {
    if cultivar::Entity::find_by_id(id.uuid()).one(&tx.inner()).await?.is_some() {
        return Ok(false);
    }
    put_row(tx, id, crop, content, version, at, merged_into).await?;
    Ok(true)
}

/// Returns the id of the record with this name and qualifier in a crop.
pub async fn record_named(
    db: &dyn Source,
    crop: &str,
    name: &str,
    qualifier: &str,
) -> Result<Option<CultivarId>, StoreError> {
    Ok(cultivar::Entity::find()
        .filter(cultivar::Column::Crop.eq(crop))
        .filter(cultivar::Column::NameKey.eq(Folded::new(name).key()))
        .filter(cultivar::Column::Qualifier.eq(qualifier))
        .one(&db.inner())
        .await?
        .map(|row| CultivarId::from_uuid(row.id)))
}

/// Returns the merge families of these records: each record, those it is merged into, and all merged into those.
pub async fn families(
    db: &dyn Source,
    ids: &BTreeSet<CultivarId>,
) -> Result<BTreeMap<CultivarId, Option<CultivarId>>, StoreError> {
    let mut known: BTreeMap<CultivarId, Option<CultivarId>> = BTreeMap::new();
    let mut up: Vec<CultivarId> = ids.iter().copied().collect();
    while !up.is_empty() {
        let mut next = Vec::new();
        for chunk in up.chunks(crate::observers::CHUNK) {
            for (id, into) in links(db, cultivar::Column::Id, chunk).await? {
                if known.insert(id, into).is_none()
                    && let Some(into) = into.filter(|into| !known.contains_key(into))
                {
                    next.push(into);
                }
            }
        }
        up = next;
    }
    let mut down: Vec<CultivarId> = known.keys().copied().collect();
    while !down.is_empty() {
        let mut next = Vec::new();
        for chunk in down.chunks(crate::observers::CHUNK) {
            for (id, into) in links(db, cultivar::Column::MergedInto, chunk).await? {
                if known.insert(id, into).is_none() {
                    next.push(id);
                }
            }
        }
        down = next;
    }
    Ok(known)
}

async fn links(
    db: &dyn Source,
    by: cultivar::Column,
    ids: &[CultivarId],
) -> Result<Vec<(CultivarId, Option<CultivarId>)>, StoreError> {
    let rows: Vec<(uuid::Uuid, Option<uuid::Uuid>)> = cultivar::Entity::find()
        .select_only()
        .column(cultivar::Column::Id)
        .column(cultivar::Column::MergedInto)
        .filter(by.is_in(ids.iter().map(|id| id.uuid())))
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows
        .into_iter()
        .map(|(id, into)| (CultivarId::from_uuid(id), into.map(CultivarId::from_uuid)))
        .collect())
}
