//! Cultivars that are protected by variety rights or a patent.

use std::collections::BTreeMap;

use scionary_domain::{
    access::{Granted, Protect},
    ids::CultivarId,
    place::AreaCode,
    protection::{Kind, Protection},
    time::{Date, Timestamp},
};
use sea_orm::{ActiveValue::Set, ColumnTrait, EntityTrait, QueryFilter, sea_query::OnConflict};

use crate::{door::Tx, entity::protection, error::StoreError, source::Source};

fn to_protection(row: protection::Model) -> Result<Protection, StoreError> {
    let areas: Result<Vec<AreaCode>, _> =
        row.area_codes.split(',').filter(|c| !c.is_empty()).map(AreaCode::parse).collect();
    Ok(Protection {
        cultivar: CultivarId::from_uuid(row.cultivar_id),
        kind: Kind::from_word(&row.kind)
            .ok_or_else(|| StoreError::corrupt("protection.kind", row.kind.clone()))?,
        office: row.office,
        reference: row.reference,
        areas: areas.map_err(|e| StoreError::corrupt("protection.area_codes", e))?,
        until: row.until_day.map(Date::from_days),
        citation: row.citation,
    })
}

/// Inserts or replaces the protection of a cultivar.
pub async fn set(
    tx: &Tx,
    granted: &Granted<Protect>,
    new: &Protection,
    at: Timestamp,
) -> Result<(), StoreError> {
    use protection::Column as C;
    let by = granted.by().ok_or_else(|| StoreError::Refused("a member enters it".into()))?;
    let areas: Vec<&str> = new.areas.iter().map(AreaCode::as_str).collect();
    let row = protection::ActiveModel {
        cultivar_id: Set(new.cultivar.uuid()),
        kind: Set(new.kind.word().into()),
        office: Set(new.office.clone()),
        reference: Set(new.reference.clone()),
        area_codes: Set(areas.join(",")),
        until_day: Set(new.until.map(Date::days)),
        citation: Set(new.citation.clone()),
        entered_by: Set(by.uuid()),
        entered_at: Set(at.micros()),
    };
    let all = [
        C::Kind,
        C::Office,
        C::Reference,
        C::AreaCodes,
        C::UntilDay,
        C::Citation,
        C::EnteredBy,
        C::EnteredAt,
    ];
    protection::Entity::insert(row)
        .on_conflict(OnConflict::column(C::CultivarId).update_columns(all).to_owned())
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Deletes a protection that was entered by mistake; returns true if there was one.
pub async fn remove(tx: &Tx, _granted: &Granted<Protect>, cultivar: CultivarId) -> Result<bool, StoreError> {
    Ok(protection::Entity::delete_by_id(cultivar.uuid()).exec(&tx.inner()).await?.rows_affected == 1)
}

/// Returns the protections of these cultivars.
pub async fn of(
    db: &dyn Source,
    cultivars: &[CultivarId],
) -> Result<BTreeMap<CultivarId, Protection>, StoreError> {
    let rows = protection::Entity::find()
        .filter(protection::Column::CultivarId.is_in(cultivars.iter().map(|c| c.uuid())))
        .all(&db.inner())
        .await?;
    rows.into_iter().map(|row| to_protection(row).map(|p| (p.cultivar, p))).collect()
}
