//! Alerts, and the lots where the trace down the descent of each alert starts.

use scionary_domain::{
    access::{ChangeAlert, Granted},
    ids::{AccountId, AlertId, LotId},
    lineage::{Alert, AlertKind, AlertState, Node, Part, Route},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, Condition, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect,
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{alert, alert_start},
    error::StoreError,
    observers::CHUNK,
    source::Source,
};

fn to_alert(row: alert::Model) -> Result<Alert, StoreError> {
    let corrupt = |what, why: &str| StoreError::corrupt(what, why.to_string());
    let carriers: Option<Vec<Route>> =
        row.carriers.split(',').filter(|w| !w.is_empty()).map(Route::from_word).collect();
    Ok(Alert {
        id: AlertId::from_uuid(row.id),
        lot: LotId::from_uuid(row.lot_id),
        kind: AlertKind::from_word(&row.kind).ok_or_else(|| corrupt("alert.kind", &row.kind))?,
        part: Part::from_word(&row.part).ok_or_else(|| corrupt("alert.part", &row.part))?,
        raised_by: AccountId::from_uuid(row.raised_by),
        carriers: carriers.ok_or_else(|| corrupt("alert.carriers", &row.carriers))?,
        since: row.since_day.map(Date::from_days),
        seen_on: Date::from_days(row.seen_day),
        trace_back: row.trace_back,
        state: AlertState::from_word(&row.state).ok_or_else(|| corrupt("alert.state", &row.state))?,
        crop: row.crop,
        words: row.words,
        pest: row.pest,
        ruling: row.ruling,
        lifted_why: row.lifted_why,
        version: row.version,
        created_at: Timestamp::from_micros(row.created_at),
    })
}

fn to_row(alert: &Alert) -> alert::ActiveModel {
    let carriers: Vec<&str> = alert.carriers.iter().map(|r| r.word()).collect();
    alert::ActiveModel {
        id: Set(alert.id.uuid()),
        lot_id: Set(alert.lot.uuid()),
        crop: Set(alert.crop.clone()),
        kind: Set(alert.kind.word().into()),
        part: Set(alert.part.word().into()),
        raised_by: Set(alert.raised_by.uuid()),
        words: Set(alert.words.clone()),
        pest: Set(alert.pest.clone()),
        carriers: Set(carriers.join(",")),
        since_day: Set(alert.since.map(Date::days)),
        seen_day: Set(alert.seen_on.days()),
        trace_back: Set(alert.trace_back),
        state: Set(alert.state.word().into()),
        ruling: Set(alert.ruling.clone()),
        lifted_why: Set(alert.lifted_why.clone()),
        version: Set(alert.version),
        created_at: Set(alert.created_at.micros()),
    }
}

/// Inserts an alert.
pub async fn insert(tx: &Tx, new: &Alert) -> Result<(), StoreError> {
    alert::Entity::insert(to_row(new)).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces an alert if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: &Granted<ChangeAlert>,
    changed: &Alert,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = alert::Entity::update_many()
        .set(to_row(changed))
        .filter(alert::Column::Id.eq(changed.id.uuid()))
        .filter(alert::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Deletes an alert and its starts.
pub async fn remove(tx: &Tx, _granted: &Granted<ChangeAlert>, id: AlertId) -> Result<(), StoreError> {
    alert_start::Entity::delete_many()
        .filter(alert_start::Column::AlertId.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    alert::Entity::delete_by_id(id.uuid()).exec(&tx.inner()).await?;
    Ok(())
}

/// Returns the alert with this id.
pub async fn one(db: &dyn Source, id: AlertId) -> Result<Option<Alert>, StoreError> {
    alert::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_alert).transpose()
}

/// Returns how many open alerts an account has raised.
pub async fn count_open(db: &dyn Source, by: AccountId) -> Result<u64, StoreError> {
    let open = AlertState::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
    Ok(alert::Entity::find()
        .filter(alert::Column::RaisedBy.eq(by.uuid()))
        .filter(alert::Column::State.is_in(open))
        .count(&db.inner())
        .await?)
}

/// Filter of an alert list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Which {
    /// Alerts that this account raised.
    RaisedBy(AccountId),
    /// Alerts on these crops; on all crops if the list is empty.
    OnCrops(Vec<String>),
}

/// Returns alerts before an id, newest first: open ones, or with `lifted_too` all.
pub async fn list(
    db: &dyn Source,
    which: &Which,
    lifted_too: bool,
    before: Option<AlertId>,
    limit: u64,
) -> Result<Vec<Alert>, StoreError> {
    let mut filter = Condition::all();
    match which {
        Which::RaisedBy(by) => filter = filter.add(alert::Column::RaisedBy.eq(by.uuid())),
        Which::OnCrops(crops) if crops.is_empty() => {}
        Which::OnCrops(crops) => {
            filter = filter.add(alert::Column::Crop.is_in(crops.iter().map(String::as_str)));
        }
    }
    if !lifted_too {
        let open = AlertState::ALL.iter().filter(|s| s.is_open()).map(|s| s.word());
        filter = filter.add(alert::Column::State.is_in(open));
    }
    if let Some(before) = before {
        filter = filter.add(alert::Column::Id.lt(before.uuid()));
    }
    let rows = alert::Entity::find()
        .filter(filter)
        .order_by_desc(alert::Column::Id)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(to_alert).collect()
}

/// Replaces the starts of an alert.
pub async fn set_starts(tx: &Tx, id: AlertId, starts: &[(Node, i64)]) -> Result<(), StoreError> {
    alert_start::Entity::delete_many()
        .filter(alert_start::Column::AlertId.eq(id.uuid()))
        .exec(&tx.inner())
        .await?;
    let rows: Vec<alert_start::ActiveModel> = starts
        .iter()
        .map(|(node, since)| alert_start::ActiveModel {
            alert_id: Set(id.uuid()),
            lot_id: Set(node.lot.uuid()),
            part: Set(node.part.word().into()),
            since_day: Set(*since),
        })
        .collect();
    for chunk in rows.chunks(CHUNK) {
        alert_start::Entity::insert_many(chunk.to_vec()).exec_without_returning(&tx.inner()).await?;
    }
    Ok(())
}

/// Returns the starts of an alert, each with the first affected day.
pub async fn starts(db: &dyn Source, id: AlertId) -> Result<Vec<(Node, i64)>, StoreError> {
    let rows = alert_start::Entity::find()
        .filter(alert_start::Column::AlertId.eq(id.uuid()))
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|row| {
            let part = Part::from_word(&row.part)
                .ok_or_else(|| StoreError::corrupt("alert_start.part", row.part.clone()))?;
            Ok((Node { lot: LotId::from_uuid(row.lot_id), part }, row.since_day))
        })
        .collect()
}

/// Returns open alerts that start at any of these lots, oldest first.
pub async fn beginning_at(
    db: &dyn Source,
    lots: impl IntoIterator<Item = LotId>,
) -> Result<Vec<Alert>, StoreError> {
    let lots: Vec<Uuid> = lots.into_iter().map(LotId::uuid).collect();
    let mut ids: Vec<Uuid> = Vec::new();
    for chunk in lots.chunks(CHUNK) {
        let found: Vec<Uuid> = alert_start::Entity::find()
            .select_only()
            .column(alert_start::Column::AlertId)
            .filter(alert_start::Column::LotId.is_in(chunk.iter().copied()))
            .into_tuple()
            .all(&db.inner())
            .await?;
        ids.extend(found);
    }
    ids.sort_unstable();
    ids.dedup();
    let mut all = Vec::new();
    let open: Vec<&str> = AlertState::ALL.iter().filter(|s| s.is_open()).map(|s| s.word()).collect();
    for chunk in ids.chunks(CHUNK) {
        let rows = alert::Entity::find()
            .filter(alert::Column::Id.is_in(chunk.iter().copied()))
            .filter(alert::Column::State.is_in(open.iter().copied()))
            .order_by_asc(alert::Column::Id)
            .all(&db.inner())
            .await?;
        for row in rows {
            all.push(to_alert(row)?);
        }
    }
    Ok(all)
}
