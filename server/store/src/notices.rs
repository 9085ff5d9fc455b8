//! Notices in members' inboxes, and the addresses for mailing them.

use std::collections::{BTreeMap, BTreeSet};

use scionary_domain::{
    ids::AccountId,
    notice::{Kind, NewNotice, Notice},
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
    sea_query::{Expr, OnConflict},
};

use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{mail_address, notice},
    error::StoreError,
    observers::CHUNK,
    source::Source,
};

fn to_notice(row: notice::Model) -> Result<Notice, StoreError> {
    Ok(Notice {
        seq: row.seq,
        kind: Kind::from_word(&row.kind)
            .ok_or_else(|| StoreError::corrupt("notice.kind", row.kind.clone()))?,
        subject: row.subject,
        words: row.words,
        at: Timestamp::from_micros(row.at),
        read_at: row.read_at.map(Timestamp::from_micros),
    })
}

fn once(new: &NewNotice) -> String {
    format!("{} {} {}", new.kind.word(), new.subject, new.once)
}

/// Inserts notices; existing ones (same recipient and deduplication key) are skipped. Returns the recipients of
/// new ones.
pub async fn insert(tx: &Tx, new: &[NewNotice], at: Timestamp) -> Result<BTreeSet<AccountId>, StoreError> {
    let mut told = BTreeSet::new();
    for chunk in new.chunks(CHUNK / 2) {
        let known: Vec<(Uuid, String)> = notice::Entity::find()
            .select_only()
            .column(notice::Column::AccountId)
            .column(notice::Column::Once)
            .filter(notice::Column::AccountId.is_in(chunk.iter().map(|n| n.to.uuid())))
            .filter(notice::Column::Once.is_in(chunk.iter().map(once)))
            .into_tuple()
            .all(&tx.inner())
            .await?;
        let known: BTreeSet<(Uuid, String)> = known.into_iter().collect();
        let mut rows: BTreeMap<(Uuid, String), notice::ActiveModel> = BTreeMap::new();
        for notice in chunk {
            let key = (notice.to.uuid(), once(notice));
            if known.contains(&key) {
                continue;
            }
            told.insert(notice.to);
            let row = notice::ActiveModel {
                seq: NotSet,
                account_id: Set(key.0),
                once: Set(key.1.clone()),
                kind: Set(notice.kind.word().into()),
                subject: Set(notice.subject.clone()),
                words: Set(notice.words.clone()),
                at: Set(at.micros()),
                read_at: Set(None),
                mailed_at: Set(None),
            };
            rows.insert(key, row);
        }
        if rows.is_empty() {
            continue;
        }
        // Another server may insert the same notice concurrently.
        notice::Entity::insert_many(rows.into_values())
            .on_conflict(
                OnConflict::columns([notice::Column::AccountId, notice::Column::Once])
                    .do_nothing()
                    .to_owned(),
            )
            .exec_without_returning(&tx.inner())
            .await?;
    }
    Ok(told)
}

/// Deletes all notices about a subject.
pub async fn remove_about(tx: &Tx, subject: &str) -> Result<(), StoreError> {
    notice::Entity::delete_many().filter(notice::Column::Subject.eq(subject)).exec(&tx.inner()).await?;
    Ok(())
}

/// Returns an account's notices before a sequence number, newest first: unread ones, or all.
pub async fn list(
    db: &dyn Source,
    to: AccountId,
    unread_only: bool,
    before: Option<i64>,
    limit: u64,
) -> Result<Vec<Notice>, StoreError> {
    let mut query = notice::Entity::find().filter(notice::Column::AccountId.eq(to.uuid()));
    if unread_only {
        query = query.filter(notice::Column::ReadAt.is_null());
    }
    if let Some(before) = before {
        query = query.filter(notice::Column::Seq.lt(before));
    }
    let rows = query.order_by_desc(notice::Column::Seq).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_notice).collect()
}

/// Returns an account's notices after a sequence number, oldest first.
pub async fn after(
    db: &dyn Source,
    to: AccountId,
    after: i64,
    limit: u64,
) -> Result<Vec<Notice>, StoreError> {
    let rows = notice::Entity::find()
        .filter(notice::Column::AccountId.eq(to.uuid()))
        .filter(notice::Column::Seq.gt(after))
        .order_by_asc(notice::Column::Seq)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_notice).collect()
}

/// Returns how many unread notices an account has.
pub async fn count_unread(db: &dyn Source, to: AccountId) -> Result<u64, StoreError> {
    Ok(notice::Entity::find()
        .filter(notice::Column::AccountId.eq(to.uuid()))
        .filter(notice::Column::ReadAt.is_null())
        .count(&db.inner())
        .await?)
}

/// Marks an account's notices up to a sequence number as read; returns how many were unread.
pub async fn mark_read(tx: &Tx, to: AccountId, up_to: i64, at: Timestamp) -> Result<u64, StoreError> {
    let done = notice::Entity::update_many()
        .col_expr(notice::Column::ReadAt, Expr::value(at.micros()))
        .filter(notice::Column::AccountId.eq(to.uuid()))
        .filter(notice::Column::Seq.lte(up_to))
        .filter(notice::Column::ReadAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected)
}

/// Deletes notices that were read before a time; returns their number.
pub async fn forget_read(tx: &Tx, before: Timestamp) -> Result<u64, StoreError> {
    let gone = notice::Entity::delete_many()
        .filter(notice::Column::ReadAt.lt(before.micros()))
        .exec(&tx.inner())
        .await?;
    Ok(gone.rows_affected)
}

/// Number of days for which an unsent mail is retried.
const MAIL_TRIED_DAYS: i64 = 2;

/// Address for mailing an account's notices.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MailAddress {
    /// Address to which mail goes.
    pub address: String,
    /// Hash of the confirmation code; `None` after confirmation.
    pub code_hash: Option<Vec<u8>>,
    /// When the member entered the address.
    pub asked_at: Timestamp,
    /// When the member confirmed it; `None` before.
    pub confirmed_at: Option<Timestamp>,
}

/// Returns an account's mail address, confirmed or not.
pub async fn mail_address(db: &dyn Source, account: AccountId) -> Result<Option<MailAddress>, StoreError> {
    let row = mail_address::Entity::find_by_id(account.uuid()).one(&db.inner()).await?;
    Ok(row.map(|row| MailAddress {
        address: row.address,
        code_hash: row.code_hash,
        asked_at: Timestamp::from_micros(row.asked_at),
        confirmed_at: row.confirmed_at.map(Timestamp::from_micros),
    }))
}

/// Inserts or replaces an account's mail address.
pub async fn set_mail_address(tx: &Tx, account: AccountId, new: &MailAddress) -> Result<(), StoreError> {
    use mail_address::Column as C;
    let row = mail_address::ActiveModel {
        account_id: Set(account.uuid()),
        address: Set(new.address.clone()),
        code_hash: Set(new.code_hash.clone()),
        asked_at: Set(new.asked_at.micros()),
        confirmed_at: Set(new.confirmed_at.map(Timestamp::micros)),
    };
    mail_address::Entity::insert(row)
        .on_conflict(
            OnConflict::column(C::AccountId)
                .update_columns([C::Address, C::CodeHash, C::AskedAt, C::ConfirmedAt])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Deletes an account's mail address.
pub async fn remove_mail_address(tx: &Tx, account: AccountId) -> Result<(), StoreError> {
    mail_address::Entity::delete_by_id(account.uuid()).exec(&tx.inner()).await?;
    Ok(())
}

/// Takes unmailed notices, oldest first, and groups those to mail by address. All taken notices count as
/// mailed, even those of accounts without a confirmed address. Returns the number taken, and the mails.
pub async fn take_to_mail(
    tx: &Tx,
    at: Timestamp,
    limit: u64,
) -> Result<(u64, BTreeMap<String, Vec<Notice>>), StoreError> {
    let rows = notice::Entity::find()
        .filter(notice::Column::MailedAt.is_null())
        // An older notice is no longer mailed; the inbox still has it.
        .filter(notice::Column::At.gte(at.plus_days(-MAIL_TRIED_DAYS).micros()))
        .order_by_asc(notice::Column::Seq)
        .limit(limit)
        .all(&tx.inner())
        .await?;
    if rows.is_empty() {
        return Ok((0, BTreeMap::new()));
    }
    let taken = notice::Entity::update_many()
        .col_expr(notice::Column::MailedAt, Expr::value(at.micros()))
        .filter(notice::Column::Seq.is_in(rows.iter().map(|r| r.seq)))
        .filter(notice::Column::MailedAt.is_null())
        .exec(&tx.inner())
        .await?;
    if taken.rows_affected != u64::try_from(rows.len()).unwrap_or(u64::MAX) {
        // Another server is taking some of the same notices.
        return Err(StoreError::Collision);
    }
    let accounts: BTreeSet<Uuid> = rows.iter().map(|r| r.account_id).collect();
    let addresses: BTreeMap<Uuid, String> = mail_address::Entity::find()
        .filter(mail_address::Column::AccountId.is_in(accounts))
        .filter(mail_address::Column::ConfirmedAt.is_not_null())
        .all(&tx.inner())
        .await?
        .into_iter()
        .map(|row| (row.account_id, row.address))
        .collect();
    let mut mails: BTreeMap<String, Vec<Notice>> = BTreeMap::new();
    for row in rows {
        // A notice that was read is not mailed.
        if row.read_at.is_none()
            && let Some(address) = addresses.get(&row.account_id)
        {
            mails.entry(address.clone()).or_default().push(to_notice(row)?);
        }
    }
    Ok((taken.rows_affected, mails))
}

/// Marks notices as unmailed after a failed delivery, so that they are retried.
pub async fn not_mailed(tx: &Tx, seqs: &[i64]) -> Result<(), StoreError> {
    notice::Entity::update_many()
        .col_expr(notice::Column::MailedAt, Expr::value(None::<i64>))
        .filter(notice::Column::Seq.is_in(seqs.iter().copied()))
        .exec(&tx.inner())
        .await?;
    Ok(())
}
