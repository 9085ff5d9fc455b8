//! Plans of the growers.

use scionary_domain::{
    access::{EditPlan, Granted},
    crop::{Climate, Way},
    ids::{AccountId, CultivarId, PlanId},
    plan::{Plan, Setting},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect,
};

use crate::{door::Tx, entity::plan, error::StoreError, source::Source};

fn to_plan(row: plan::Model) -> Result<Plan, StoreError> {
    let word = |what, word: &str| StoreError::corrupt(what, format!("{word:?}"));
    Ok(Plan {
        id: PlanId::from_uuid(row.id),
        grower: AccountId::from_uuid(row.account_id),
        cultivar: CultivarId::from_uuid(row.cultivar_id),
        crop: row.crop,
        title: row.title,
        note: row.note,
        setting: Setting {
            way: Way::from_word(&row.way).ok_or_else(|| word("plan.way", &row.way))?,
            south: row.south,
            climate: Climate::from_word(&row.climate).ok_or_else(|| word("plan.climate", &row.climate))?,
            has_rootstock: row.has_rootstock,
        },
        start: Date::from_days(row.start_day),
        steps: serde_json::from_str(&row.steps).map_err(|e| StoreError::corrupt("plan.steps", e))?,
        created_at: Timestamp::from_micros(row.created_at),
        updated_at: Timestamp::from_micros(row.updated_at),
        version: row.version,
    })
}

fn to_row(plan: &Plan) -> Result<plan::ActiveModel, StoreError> {
    let Plan {
        id,
        grower,
        cultivar,
        crop,
        title,
        note,
        setting,
        start,
        steps,
        created_at,
        updated_at,
        version,
    } = plan;
    let Setting { way, south, climate, has_rootstock } = setting;
    Ok(plan::ActiveModel {
        id: Set(id.uuid()),
        account_id: Set(grower.uuid()),
        cultivar_id: Set(cultivar.uuid()),
        crop: Set(crop.clone()),
        title: Set(title.clone()),
        note: Set(note.clone()),
        way: Set(way.word().into()),
        south: Set(*south),
        climate: Set(climate.word().into()),
        has_rootstock: Set(*has_rootstock),
        start_day: Set(start.days()),
        steps: Set(serde_json::to_string(steps).map_err(|e| StoreError::corrupt("plan.steps", e))?),
        version: Set(*version),
        created_at: Set(created_at.micros()),
        updated_at: Set(updated_at.micros()),
    })
}

/// Inserts a plan.
pub async fn insert(tx: &Tx, new: &Plan) -> Result<(), StoreError> {
    plan::Entity::insert(to_row(new)?).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the plan with this id.
pub async fn one(db: &dyn Source, id: PlanId) -> Result<Option<Plan>, StoreError> {
    plan::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(to_plan).transpose()
}

/// Returns a grower's plans before an id, newest first.
pub async fn of(
    db: &dyn Source,
    grower: AccountId,
    before: Option<PlanId>,
    limit: u64,
) -> Result<Vec<Plan>, StoreError> {
    let mut query = plan::Entity::find().filter(plan::Column::AccountId.eq(grower.uuid()));
    if let Some(before) = before {
        query = query.filter(plan::Column::Id.lt(before.uuid()));
    }
    let rows = query.order_by_desc(plan::Column::Id).limit(limit).all(&db.inner()).await?;
    rows.into_iter().map(to_plan).collect()
}

/// Returns how many plans a grower has.
pub async fn count(db: &dyn Source, grower: AccountId) -> Result<u64, StoreError> {
    Ok(plan::Entity::find().filter(plan::Column::AccountId.eq(grower.uuid())).count(&db.inner()).await?)
}

/// Replaces a plan if its version still equals `from_version`; returns false if it is stale.
pub async fn replace(
    tx: &Tx,
    _granted: Granted<EditPlan>,
    changed: &Plan,
    from_version: i64,
) -> Result<bool, StoreError> {
    let done = plan::Entity::update_many()
        .set(to_row(changed)?)
        .filter(plan::Column::Id.eq(changed.id.uuid()))
        .filter(plan::Column::Version.eq(from_version))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Deletes a plan; returns true if it existed.
pub async fn delete(tx: &Tx, _granted: Granted<EditPlan>, id: PlanId) -> Result<bool, StoreError> {
    Ok(plan::Entity::delete_by_id(id.uuid()).exec(&tx.inner()).await?.rows_affected == 1)
}
