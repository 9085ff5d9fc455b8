//! A swap day away from the server: rows of one round copied out of a database and into an empty one, and the events
//! that were brought home.

use std::collections::BTreeSet;

use scionary_domain::{
    access::{Granted, OrganiseClub},
    claim::State,
    ids::{AccountId, ClubId, RoundId},
    time::Timestamp,
};
use sea_orm::{
    ActiveModelTrait,
    ActiveValue::Set,
    ColumnTrait, Condition, ConnectionTrait as _, EntityTrait, IdenStatic, Iterable, ModelTrait,
    PaginatorTrait, QueryFilter, QueryOrder, QuerySelect, QueryTrait,
    sea_query::{ColumnType, SelectStatement, Value},
};
use serde_json::{Value as Json, json};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{
        account, alert, alert_start, claim, club, club_member, crop, cultivar, cultivar_name, day_event, lot,
        lot_link, member_block, movement_release, offer, profile, protection, round, round_advice,
        round_event, round_lot, round_member, round_reason, round_run, round_share, round_wish, source,
    },
    error::StoreError,
    source::Source,
};

/// Rows of one table, each a list of values in the order of `columns`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// The table's name.
    pub name: String,
    /// Its columns.
    pub columns: Vec<String>,
    /// Its rows: null, booleans, integers and text; ids as text.
    pub rows: Vec<Vec<Json>>,
}

/// Secrets, which never leave the database, and are empty in a copy.
const SECRET: [(&str, &str); 1] = [("account", "password_hash")];
/// What members say to each other, and how they are reached.
const PRIVATE: [(&str, &str); 9] = [
    ("profile", "contact"),
    ("offer", "contact"),
    ("offer", "note"),
    ("claim", "note"),
    ("claim", "answer"),
    ("claim", "taker_contact"),
    ("claim", "giver_contact"),
    ("round_member", "contact"),
    ("club_member", "words"),
];

impl Table {
    /// Takes out what members say to each other and how they are reached: for each such value its row, its column and
    /// the value. Empty values stay.
    pub fn take_private(&mut self) -> Vec<(usize, usize, Json)> {
        let mut out = Vec::new();
        for (at, column) in self.columns.iter().enumerate() {
            if !PRIVATE.contains(&(self.name.as_str(), column.as_str())) {
                continue;
            }
            for (row, values) in self.rows.iter_mut().enumerate() {
                let Some(value) = values.get_mut(at) else { continue };
                if value.as_str().is_some_and(|text| !text.is_empty()) {
                    out.push((row, at, std::mem::replace(value, json!(""))));
                }
            }
        }
        out
    }
    /// Puts such values back. Values of rows that are not there are left out.
    pub fn put_private(&mut self, values: Vec<(usize, usize, Json)>) {
        for (row, at, value) in values {
            if let Some(place) = self.rows.get_mut(row).and_then(|values| values.get_mut(at)) {
                *place = value;
            }
        }
    }
}

#[expect(clippy::wildcard_enum_match_arm, reason = "the schema has columns of these types alone")]
fn to_json(value: Value) -> Result<Json, StoreError> {
    Ok(match value {
        Value::Bool(v) => json!(v),
        Value::Int(v) => json!(v),
        Value::BigInt(v) => json!(v),
        Value::String(v) => json!(v),
        Value::Uuid(v) => json!(v.map(|id| id.to_string())),
        other => return Err(StoreError::corrupt("copied row", format!("{other:?}"))),
    })
}

#[expect(clippy::wildcard_enum_match_arm, reason = "the schema has columns of these types alone")]
fn from_json(kind: &ColumnType, value: &Json) -> Option<Value> {
    if value.is_null() {
        return Some(match kind {
            ColumnType::Uuid => Value::Uuid(None),
            ColumnType::BigInteger => Value::BigInt(None),
            ColumnType::Integer => Value::Int(None),
            ColumnType::Boolean => Value::Bool(None),
            _ => Value::String(None),
        });
    }
    Some(match kind {
        ColumnType::Uuid => value.as_str()?.parse::<Uuid>().ok()?.into(),
        ColumnType::BigInteger => value.as_i64()?.into(),
        ColumnType::Integer => i32::try_from(value.as_i64()?).ok()?.into(),
        ColumnType::Boolean => value.as_bool()?.into(),
        _ => value.as_str()?.into(),
    })
}

async fn copy<E>(db: &dyn Source, entity: E, which: Condition) -> Result<Table, StoreError>
where
    E: EntityTrait,
    E::Model: ModelTrait<Entity = E> + Sync,
{
    let columns: Vec<E::Column> = E::Column::iter().collect();
    let name = entity.table_name().to_string();
    let names: Vec<String> = columns.iter().map(|c| IdenStatic::as_str(c).to_string()).collect();
    let mut query = E::find().filter(which);
    for key in <E::PrimaryKey as Iterable>::iter() {
        query = query.order_by_asc(sea_orm::PrimaryKeyToColumn::into_column(key));
    }
    let mut rows = Vec::new();
    for model in query.all(&db.inner()).await? {
        let value = |column: &E::Column| {
            if SECRET.contains(&(name.as_str(), IdenStatic::as_str(column))) {
                return Ok(json!(""));
            }
            to_json(model.get(*column))
        };
        rows.push(columns.iter().map(value).collect::<Result<_, _>>()?);
    }
    Ok(Table { name, columns: names, rows })
}

/// Rows in one statement; SQLite takes 32,766 values.
const ROWS: usize = 200;

async fn paste<E>(tx: &Tx, entity: E, table: &Table) -> Result<(), StoreError>
where
    E: EntityTrait,
    E::ActiveModel: ActiveModelTrait<Entity = E> + Send,
{
    let wrong = |what: &str| StoreError::corrupt("copied table", format!("{}: {what}", table.name));
    let columns: Vec<E::Column> = E::Column::iter().collect();
    let at: Vec<usize> = columns
        .iter()
        .map(|c| table.columns.iter().position(|name| name == IdenStatic::as_str(c)))
        .collect::<Option<_>>()
        .ok_or_else(|| wrong(&format!("columns {:?} of {}", table.columns, entity.table_name())))?;
    // rows that a migration makes are in the copy as well
    E::delete_many().exec(&tx.inner()).await?;
    for some in table.rows.chunks(ROWS) {
        let mut models = Vec::new();
        for row in some {
            let mut model = <E::ActiveModel as ActiveModelTrait>::default();
            for (column, at) in columns.iter().zip(&at) {
                let definition = ColumnTrait::def(column);
                let value = row.get(*at).and_then(|value| from_json(definition.get_column_type(), value));
                model.set(*column, value.ok_or_else(|| wrong(IdenStatic::as_str(column)))?);
            }
            models.push(model);
        }
        let inserted = E::insert_many(models).exec_without_returning(&tx.inner()).await;
        inserted.map_err(|e| wrong(&StoreError::from(e).to_string()))?;
    }
    Ok(())
}

/// The ids in a column of a copied table.
fn ids(table: &Table, column: &str) -> BTreeSet<Uuid> {
    let Some(at) = table.columns.iter().position(|name| name == column) else { return BTreeSet::new() };
    table.rows.iter().filter_map(|row| row.get(at)?.as_str()?.parse().ok()).collect()
}

/// Ids in one query.
const IDS: usize = 1_000;

/// Copies the rows that have one of these ids in a column.
async fn copy_of<E>(
    db: &dyn Source,
    entity: E,
    column: E::Column,
    ids: &BTreeSet<Uuid>,
) -> Result<Table, StoreError>
where
    E: EntityTrait,
    E::Model: ModelTrait<Entity = E> + Sync,
{
    let ids: Vec<Uuid> = ids.iter().copied().collect();
    let mut all = copy(db, entity, Condition::any().add(column.is_in([Uuid::nil()]))).await?;
    for some in ids.chunks(IDS) {
        let which = Condition::all().add(column.is_in(some.iter().copied()));
        all.rows.extend(copy(db, entity, which).await?.rows);
    }
    Ok(all)
}

/// Keeps the rows whose id in a column is one of these.
fn keep(mut table: Table, column: &str, ids: &BTreeSet<Uuid>) -> Table {
    let at = table.columns.iter().position(|name| name == column);
    table.rows.retain(|row| {
        let id = at.and_then(|at| row.get(at)?.as_str()?.parse().ok());
        id.is_some_and(|id: Uuid| ids.contains(&id))
    });
    table
}

fn beneath<C: ColumnTrait>(column: C, query: SelectStatement) -> Condition {
    Condition::all().add(column.in_subquery(query))
}

/// Which records of a crop go along beside those of the round: all, where the registry has no more than this.
const RECORDS_MAX: u64 = 20_000;

/// Copies all that a day of a round needs: the round with its members, lots, wishes, settlements and log; the club and its
/// members; their accounts without passwords; offers, claims and lots that belong to it; the club's earlier hand-overs,
/// which its books count; alerts on such lots; names of cultivars; the rules on moving plants.
///
/// # Errors
/// The database's.
pub async fn copy_day(
    db: &dyn Source,
    _granted: &Granted<OrganiseClub>,
    (round_id, club_id): (RoundId, ClubId),
) -> Result<Vec<Table>, StoreError> {
    let (round_id, club_id) = (round_id.uuid(), club_id.uuid());
    let of = |own: bool| {
        let rounds = round::Entity::find().select_only().column(round::Column::Id);
        if own {
            rounds.filter(round::Column::Id.eq(round_id)).into_query()
        } else {
            rounds.filter(round::Column::ClubId.eq(club_id)).into_query()
        }
    };
    let of_club = Condition::all().add(club_member::Column::ClubId.eq(club_id));
    let members = copy(db, club_member::Entity, of_club).await?;
    let parts = copy(db, round_member::Entity, beneath(round_member::Column::RoundId, of(true))).await?;
    let brought = copy(db, round_lot::Entity, beneath(round_lot::Column::RoundId, of(true))).await?;
    // of other rounds: what changed hands, as the books count it
    let claims = copy(
        db,
        claim::Entity,
        Condition::any().add(claim::Column::RoundId.eq(round_id)).add(
            beneath(claim::Column::RoundId, of(false)).add(claim::Column::State.eq(State::HandedOver.word())),
        ),
    )
    .await?;
    let mut offer_ids = ids(&brought, "offer_id");
    offer_ids.extend(ids(&claims, "offer_id"));
    let offers = copy_of(db, offer::Entity, offer::Column::Id, &offer_ids).await?;
    let mut lots = copy_of(db, lot::Entity, lot::Column::Id, &ids(&offers, "lot_id")).await?;
    let offered = ids(&lots, "id");
    let received = copy_of(db, lot::Entity, lot::Column::ClaimId, &ids(&claims, "id")).await?;
    let is_new = |row: &&Vec<Json>| {
        let id = row.iter().zip(&received.columns).find(|(_, column)| *column == "id");
        id.and_then(|(id, _)| id.as_str()?.parse().ok()).is_some_and(|id: Uuid| !offered.contains(&id))
    };
    lots.rows.extend(received.rows.iter().filter(is_new).cloned());
    let lot_ids = ids(&lots, "id");
    let links = copy_of(db, lot_link::Entity, lot_link::Column::ParentId, &lot_ids).await?;
    let links = keep(links, "child_id", &lot_ids);
    let alerts = copy_of(db, alert::Entity, alert::Column::LotId, &lot_ids).await?;
    let starts = copy_of(db, alert_start::Entity, alert_start::Column::LotId, &lot_ids).await?;
    let starts = keep(starts, "alert_id", &ids(&alerts, "id"));
    let events = copy(db, round_event::Entity, beneath(round_event::Column::RoundId, of(true))).await?;
    let runs = copy(db, round_run::Entity, beneath(round_run::Column::RoundId, of(true))).await?;
    let advice = copy(db, round_advice::Entity, beneath(round_advice::Column::RoundId, of(true))).await?;
    let mut people = ids(&members, "account_id");
    for (table, columns) in [
        (&parts, &["account_id", "entered_by"][..]),
        (&brought, &["account_id", "entered_by"]),
        (&claims, &["giver_id", "taker_id", "entered_by"]),
        (&offers, &["account_id", "entered_by"]),
        (&lots, &["holder_id", "entered_by"]),
        (&alerts, &["raised_by"]),
        (&events, &["by_id", "account_id"]),
        (&runs, &["by_id"]),
        (&advice, &["by_id"]),
    ] {
        people.extend(columns.iter().flat_map(|column| ids(table, column)));
    }
    let many = cultivar::Entity::find().count(&db.inner()).await? > RECORDS_MAX;
    let used: BTreeSet<Uuid> =
        ids(&offers, "cultivar_id").into_iter().chain(ids(&lots, "cultivar_id")).collect();
    let everything = Condition::all;
    let (records, names, protected) = if many {
        (
            copy_of(db, cultivar::Entity, cultivar::Column::Id, &used).await?,
            copy_of(db, cultivar_name::Entity, cultivar_name::Column::CultivarId, &used).await?,
            copy_of(db, protection::Entity, protection::Column::CultivarId, &used).await?,
        )
    } else {
        (
            copy(db, cultivar::Entity, everything()).await?,
            copy(db, cultivar_name::Entity, everything()).await?,
            copy(db, protection::Entity, everything()).await?,
        )
    };
    let blocks = copy_of(db, member_block::Entity, member_block::Column::AccountId, &people).await?;
    Ok(vec![
        copy_of(db, account::Entity, account::Column::Id, &people).await?,
        copy_of(db, profile::Entity, profile::Column::AccountId, &people).await?,
        keep(blocks, "blocked_id", &people),
        copy(db, crop::Entity, everything()).await?,
        copy(db, source::Entity, everything()).await?,
        records,
        names,
        protected,
        copy(db, movement_release::Entity, everything()).await?,
        copy_of(db, club::Entity, club::Column::Id, &BTreeSet::from([club_id])).await?,
        members,
        copy(db, round::Entity, beneath(round::Column::Id, of(false))).await?,
        offers,
        parts,
        brought,
        claims,
        lots,
        links,
        alerts,
        starts,
        copy(db, round_wish::Entity, beneath(round_wish::Column::RoundId, of(true))).await?,
        runs,
        copy(db, round_share::Entity, beneath(round_share::Column::RoundId, of(true))).await?,
        copy(db, round_reason::Entity, beneath(round_reason::Column::RoundId, of(true))).await?,
        advice,
        events,
    ])
}

/// Fills an empty database with such a copy.
///
/// # Errors
/// A table that is not known, or does not fit; the database's.
pub async fn paste_day(tx: &Tx, tables: &[Table]) -> Result<(), StoreError> {
    // rows name rows of later tables
    tx.inner().execute_unprepared("PRAGMA defer_foreign_keys = ON").await?;
    for table in tables {
        match table.name.as_str() {
            "account" => paste(tx, account::Entity, table).await?,
            "profile" => paste(tx, profile::Entity, table).await?,
            "member_block" => paste(tx, member_block::Entity, table).await?,
            "crop" => paste(tx, crop::Entity, table).await?,
            "source" => paste(tx, source::Entity, table).await?,
            "cultivar" => paste(tx, cultivar::Entity, table).await?,
            "cultivar_name" => paste(tx, cultivar_name::Entity, table).await?,
            "protection" => paste(tx, protection::Entity, table).await?,
            "movement_release" => paste(tx, movement_release::Entity, table).await?,
            "club" => paste(tx, club::Entity, table).await?,
            "club_member" => paste(tx, club_member::Entity, table).await?,
            "round" => paste(tx, round::Entity, table).await?,
            "offer" => paste(tx, offer::Entity, table).await?,
            "round_member" => paste(tx, round_member::Entity, table).await?,
            "round_lot" => paste(tx, round_lot::Entity, table).await?,
            "claim" => paste(tx, claim::Entity, table).await?,
            "lot" => paste(tx, lot::Entity, table).await?,
            "lot_link" => paste(tx, lot_link::Entity, table).await?,
            "alert" => paste(tx, alert::Entity, table).await?,
            "alert_start" => paste(tx, alert_start::Entity, table).await?,
            "round_wish" => paste(tx, round_wish::Entity, table).await?,
            "round_run" => paste(tx, round_run::Entity, table).await?,
            "round_share" => paste(tx, round_share::Entity, table).await?,
            "round_reason" => paste(tx, round_reason::Entity, table).await?,
            "round_advice" => paste(tx, round_advice::Entity, table).await?,
            "round_event" => paste(tx, round_event::Entity, table).await?,
            other => return Err(StoreError::corrupt("copied table", other.to_string())),
        }
    }
    Ok(())
}

/// Sets the password of these accounts, for the day alone.
///
/// # Errors
/// The database's.
pub async fn set_day_password(tx: &Tx, people: &[AccountId], hash: &str) -> Result<(), StoreError> {
    account::Entity::update_many()
        .set(account::ActiveModel { password_hash: Set(hash.into()), ..Default::default() })
        .filter(account::Column::Id.is_in(people.iter().map(|p| p.uuid())))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// An event of a day that was run away from the server.
#[derive(Clone, Copy, Debug)]
pub struct Brought {
    /// The event's id.
    pub id: Uuid,
    /// The round.
    pub round: RoundId,
    /// The file that was taken along.
    pub take: Uuid,
    /// Who noted it.
    pub noted_by: AccountId,
    /// When, by the clock of the computer that ran the day.
    pub noted_at: Timestamp,
    /// Who brought it home.
    pub by: AccountId,
    /// When.
    pub at: Timestamp,
}

/// Keeps an event that was brought home.
///
/// # Errors
/// [`StoreError::Exists`] if it was brought before; the database's.
pub async fn keep_day_event(tx: &Tx, event: &Brought) -> Result<(), StoreError> {
    let row = day_event::ActiveModel {
        id: Set(event.id),
        round_id: Set(event.round.uuid()),
        take_id: Set(event.take),
        noted_by: Set(event.noted_by.uuid()),
        noted_at: Set(event.noted_at.micros()),
        by_id: Set(event.by.uuid()),
        at: Set(event.at.micros()),
    };
    day_event::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Whether an event was brought home.
///
/// # Errors
/// The database's.
pub async fn has_day_event(db: &dyn Source, id: Uuid) -> Result<bool, StoreError> {
    Ok(day_event::Entity::find_by_id(id).one(&db.inner()).await?.is_some())
}

/// The ids of all events of one file that were brought home.
///
/// # Errors
/// The database's.
pub async fn day_events(db: &dyn Source, round: RoundId, take: Uuid) -> Result<BTreeSet<Uuid>, StoreError> {
    let rows = day_event::Entity::find()
        .filter(day_event::Column::RoundId.eq(round.uuid()))
        .filter(day_event::Column::TakeId.eq(take))
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|row| row.id).collect())
}
