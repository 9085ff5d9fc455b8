//! Profiles of members, and the short numbers that they have for items.

use std::collections::HashMap;

use scionary_domain::{
    crop::Climate,
    ids::AccountId,
    place::{AreaCode, GridCode, Place},
    profile::Profile,
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, EntityTrait, QueryFilter, QuerySelect,
    sea_query::{Expr, ExprTrait as _, OnConflict},
};

use crate::{
    door::Tx,
    entity::{item_number, profile},
    error::StoreError,
    source::Source,
};

/// Returns an account's profile; `None` if it never saved one.
pub async fn one(db: &dyn Source, account: AccountId) -> Result<Option<Profile>, StoreError> {
    profile::Entity::find_by_id(account.uuid()).one(&db.inner()).await?.map(to_profile).transpose()
}

fn to_profile(row: profile::Model) -> Result<Profile, StoreError> {
    let area = row
        .area_code
        .as_deref()
        .map(|code| AreaCode::parse(code).map_err(|e| StoreError::corrupt("profile.area_code", e)))
        .transpose()?;
    let grid = row
        .grid_code
        .as_deref()
        .map(|code| {
            GridCode::parse(code).map_err(|e| StoreError::corrupt("profile.grid_code", e.to_string()))
        })
        .transpose()?;
    let climate = row
        .climate
        .as_deref()
        .map(|word| {
            Climate::from_word(word).ok_or_else(|| StoreError::corrupt("profile.climate", word.to_string()))
        })
        .transpose()?;
    Ok(Profile {
        home: grid.map(|grid| Place { area, grid, label: row.home_label }),
        contact: row.contact,
        imperial: row.imperial,
        crop: row.crop,
        climate,
        count_plants: row.count_plants,
        version: row.version,
    })
}

/// Inserts or replaces an account's profile.
pub async fn set(tx: &Tx, account: AccountId, new: &Profile) -> Result<(), StoreError> {
    use profile::Column as C;
    let home = new.home.as_ref();
    let row = profile::ActiveModel {
        account_id: Set(account.uuid()),
        home_label: Set(home.map(|h| h.label.clone()).unwrap_or_default()),
        area_code: Set(home.and_then(|h| h.area.as_ref()).map(|a| a.as_str().to_string())),
        grid_code: Set(home.map(|h| h.grid.as_str().to_string())),
        contact: Set(new.contact.clone()),
        imperial: Set(new.imperial),
        crop: Set(new.crop.clone()),
        climate: Set(new.climate.map(|c| c.word().to_string())),
        count_plants: Set(new.count_plants),
        version: Set(new.version),
    };
    let values = [
        C::HomeLabel,
        C::AreaCode,
        C::GridCode,
        C::Contact,
        C::Imperial,
        C::Crop,
        C::Climate,
        C::CountPlants,
        C::Version,
    ];
    profile::Entity::insert(row)
        .on_conflict(OnConflict::column(C::AccountId).update_columns(values).to_owned())
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns the numbers that an account has for these items.
pub async fn numbers(
    db: &dyn Source,
    account: AccountId,
    items: &[String],
) -> Result<HashMap<String, i64>, StoreError> {
    let rows = item_number::Entity::find()
        .filter(item_number::Column::AccountId.eq(account.uuid()))
        .filter(item_number::Column::ItemId.is_in(items))
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|row| (row.item_id, row.number)).collect())
}

/// Returns the highest number that an account has given; 0 for none. No number is ever removed, so none is given twice.
pub async fn last_number(db: &dyn Source, account: AccountId) -> Result<i64, StoreError> {
    let last: Option<Option<i64>> = item_number::Entity::find()
        .select_only()
        .expr(Expr::col(item_number::Column::Number).max())
        .filter(item_number::Column::AccountId.eq(account.uuid()))
        .into_tuple()
        .one(&db.inner())
        .await?;
    Ok(last.flatten().unwrap_or(0))
}

/// Gives items their numbers, from `first` upwards. Returns [`StoreError::Exists`] if one of them is taken.
pub async fn insert_numbers(
    tx: &Tx,
    account: AccountId,
    first: i64,
    items: &[String],
) -> Result<(), StoreError> {
    let rows = items.iter().zip(first..).map(|(item, number)| item_number::ActiveModel {
        account_id: Set(account.uuid()),
        number: Set(number),
        item_id: Set(item.clone()),
    });
    item_number::Entity::insert_many(rows).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Returns the item that has a number of an account.
pub async fn numbered(
    db: &dyn Source,
    account: AccountId,
    number: i64,
) -> Result<Option<String>, StoreError> {
    let row = item_number::Entity::find_by_id((account.uuid(), number)).one(&db.inner()).await?;
    Ok(row.map(|row| row.item_id))
}
