//! Complaints (tickets) about records, evidence, offers and people.

use scionary_domain::{
    access::{Granted, HandleTickets},
    ids::{AccountId, TicketId},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::Expr,
};

use crate::{door::Tx, entity::ticket, error::StoreError, source::Source};

/// A complaint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ticket {
    /// Id of the complaint.
    pub id: TicketId,
    /// Kind of the subject: `cultivar`, `evidence`, `offer` or `account`.
    pub subject_kind: String,
    /// Id of the subject.
    pub subject: String,
    /// Crop of a record or piece of evidence; `None` for other subjects.
    pub crop: Option<String>,
    /// What is wrong, in the author's words.
    pub reason: String,
    /// Account that complains.
    pub author: AccountId,
    /// Time of the complaint.
    pub at: Timestamp,
    /// Time of closing, steward who closed it, and outcome; `None` while open.
    pub closed: Option<(Timestamp, AccountId, String)>,
}

fn to_ticket(row: ticket::Model) -> Ticket {
    Ticket {
        id: TicketId::from_uuid(row.id),
        subject_kind: row.subject_kind,
        subject: row.subject,
        crop: row.crop,
        reason: row.reason,
        author: AccountId::from_uuid(row.author_id),
        at: Timestamp::from_micros(row.created_at),
        closed: row
            .closed_at
            .zip(row.closed_by)
            .map(|(at, by)| (Timestamp::from_micros(at), AccountId::from_uuid(by), row.outcome)),
    }
}

/// Inserts a complaint.
pub async fn insert(tx: &Tx, new: &Ticket) -> Result<(), StoreError> {
    let row = ticket::ActiveModel {
        id: Set(new.id.uuid()),
        subject_kind: Set(new.subject_kind.clone()),
        subject: Set(new.subject.clone()),
        crop: Set(new.crop.clone()),
        reason: Set(new.reason.clone()),
        author_id: Set(new.author.uuid()),
        created_at: Set(new.at.micros()),
        closed_at: Set(None),
        closed_by: Set(None),
        outcome: Set(String::new()),
    };
    ticket::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the complaint with this id.
pub async fn one(db: &dyn Source, id: TicketId) -> Result<Option<Ticket>, StoreError> {
    Ok(ticket::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_ticket))
}

/// Filter of a complaint list.
#[derive(Clone, Debug, Default)]
pub struct TicketQuery {
    /// Complaints on these crops only; `None` for all.
    pub crops: Option<Vec<String>>,
    /// Complaints by this author only; `None` for all.
    pub author: Option<AccountId>,
    /// True for open complaints only.
    pub open_only: bool,
    /// Complaints after this one only.
    pub after: Option<TicketId>,
    /// Maximum number of results.
    pub limit: u64,
}

/// Returns complaints, oldest first.
pub async fn list(db: &dyn Source, query: &TicketQuery) -> Result<Vec<Ticket>, StoreError> {
    let mut select = ticket::Entity::find();
    if let Some(crops) = &query.crops {
        select = select.filter(ticket::Column::Crop.is_in(crops.clone()));
    }
    if let Some(author) = query.author {
        select = select.filter(ticket::Column::AuthorId.eq(author.uuid()));
    }
    if query.open_only {
        select = select.filter(ticket::Column::ClosedAt.is_null());
    }
    if let Some(after) = query.after {
        select = select.filter(ticket::Column::Id.gt(after.uuid()));
    }
    let rows = select.order_by_asc(ticket::Column::Id).limit(query.limit).all(&db.inner()).await?;
    Ok(rows.into_iter().map(to_ticket).collect())
}

/// Returns how many open complaints an author has.
pub async fn count_open(db: &dyn Source, author: AccountId) -> Result<u64, StoreError> {
    Ok(ticket::Entity::find()
        .filter(ticket::Column::AuthorId.eq(author.uuid()))
        .filter(ticket::Column::ClosedAt.is_null())
        .count(&db.inner())
        .await?)
}

/// Closes a complaint; returns false if it is already closed.
pub async fn close(
    tx: &Tx,
    _granted: &Granted<HandleTickets>,
    id: TicketId,
    by: AccountId,
    outcome: &str,
    at: Timestamp,
) -> Result<bool, StoreError> {
    let changed = ticket::Entity::update_many()
        .col_expr(ticket::Column::ClosedAt, Expr::value(at.micros()))
        .col_expr(ticket::Column::ClosedBy, Expr::value(by.uuid()))
        .col_expr(ticket::Column::Outcome, Expr::value(outcome))
        .filter(ticket::Column::Id.eq(id.uuid()))
        .filter(ticket::Column::ClosedAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(changed.rows_affected == 1)
}
