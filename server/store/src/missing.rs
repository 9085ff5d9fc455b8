//! What is missing: how often records are looked up, who lets their plants be counted, and what is on offer, each by
//! cultivar.

use std::collections::BTreeMap;

use scionary_domain::{
    club::Standing,
    ids::{AccountId, ClubId, CultivarId},
    lineage::Kind,
    offer::Material,
    place::AreaCode,
    time::Date,
};
use sea_orm::{
    ActiveValue::Set,
    ColumnTrait, Condition, EntityTrait, QueryFilter, QuerySelect,
    sea_query::{Expr, ExprTrait as _, OnConflict, Query},
};
use uuid::Uuid;

use crate::{
    door::Tx,
    entity::{club_member, look_up_day, lot, offer, profile},
    error::StoreError,
    observers::CHUNK,
    source::Source,
};

/// Adds look-ups of records on a day.
pub async fn add_looks(tx: &Tx, looks: &[(CultivarId, Date, i64)]) -> Result<(), StoreError> {
    use look_up_day::Column as C;
    for chunk in looks.chunks(CHUNK) {
        let rows = chunk.iter().map(|(cultivar, day, looks)| look_up_day::ActiveModel {
            cultivar_id: Set(cultivar.uuid()),
            day: Set(day.days()),
            looks: Set(*looks),
        });
        let sum = Expr::col((look_up_day::Entity, C::Looks)).add(Expr::cust("excluded.looks"));
        look_up_day::Entity::insert_many(rows)
            .on_conflict(OnConflict::columns([C::CultivarId, C::Day]).value(C::Looks, sum).to_owned())
            .exec_without_returning(&tx.inner())
            .await?;
    }
    Ok(())
}

/// Returns how often each record was looked up on or after a day.
pub async fn looks_since(db: &dyn Source, day: Date) -> Result<BTreeMap<CultivarId, u64>, StoreError> {
    let rows: Vec<(Uuid, i64)> = look_up_day::Entity::find()
        .select_only()
        .column(look_up_day::Column::CultivarId)
        .expr(Expr::cust("CAST(SUM(looks) AS BIGINT)"))
        .filter(look_up_day::Column::Day.gte(day.days()))
        .group_by(look_up_day::Column::CultivarId)
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|(id, n)| (CultivarId::from_uuid(id), u64::try_from(n).unwrap_or(0))).collect())
}

/// Forgets look-ups before a day; returns how many rows went.
pub async fn forget_looks(tx: &Tx, before: Date) -> Result<u64, StoreError> {
    let done = look_up_day::Entity::delete_many()
        .filter(look_up_day::Column::Day.lt(before.days()))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected)
}

/// A member who keeps plants of a cultivar and lets them be counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keeper {
    /// What they keep.
    pub cultivar: CultivarId,
    /// Who.
    pub account: AccountId,
    /// Country or subdivision of their home, if they said so.
    pub area: Option<AreaCode>,
}

/// Returns who keeps plants of named cultivars, each pair once: of a crop, of a club's members, or of all.
pub async fn keepers(db: &dyn Source, crop: &str, club: Option<ClubId>) -> Result<Vec<Keeper>, StoreError> {
    let counted = Query::select()
        .column(profile::Column::AccountId)
        .from(profile::Entity)
        .and_where(Expr::col(profile::Column::CountPlants).eq(true))
        .to_owned();
    let kinds = [Kind::MotherPlant, Kind::GraftedPlant, Kind::RootedPlant].map(Kind::word);
    let mut find = lot::Entity::find()
        .select_only()
        .column(lot::Column::CultivarId)
        .column(lot::Column::HolderId)
        .filter(lot::Column::CultivarId.is_not_null())
        .filter(lot::Column::UnknownSeedling.eq(false))
        .filter(lot::Column::EndedDay.is_null())
        .filter(lot::Column::Kind.is_in(kinds))
        .filter(lot::Column::HolderId.in_subquery(counted));
    if !crop.is_empty() {
        find = find.filter(lot::Column::Crop.eq(crop));
    }
    if let Some(club) = club {
        let members = Query::select()
            .column(club_member::Column::AccountId)
            .from(club_member::Entity)
            .and_where(Expr::col(club_member::Column::ClubId).eq(club.uuid()))
            .and_where(
                Expr::col(club_member::Column::Standing)
                    .is_in([Standing::Member.word(), Standing::Organiser.word()]),
            )
            .to_owned();
        find = find.filter(lot::Column::HolderId.in_subquery(members));
    }
    let pairs: Vec<(Uuid, Uuid)> = find.distinct().into_tuple().all(&db.inner()).await?;
    let areas: Vec<(Uuid, Option<String>)> = profile::Entity::find()
        .select_only()
        .column(profile::Column::AccountId)
        .column(profile::Column::AreaCode)
        .filter(profile::Column::CountPlants.eq(true))
        .into_tuple()
        .all(&db.inner())
        .await?;
    let areas: BTreeMap<Uuid, Option<String>> = areas.into_iter().collect();
    pairs
        .into_iter()
        .map(|(cultivar, holder)| {
            let area = areas.get(&holder).cloned().flatten();
            let area = area
                .map(|code| AreaCode::parse(&code).map_err(|e| StoreError::corrupt("profile.area_code", e)))
                .transpose()?;
            Ok(Keeper {
                cultivar: CultivarId::from_uuid(cultivar),
                account: AccountId::from_uuid(holder),
                area,
            })
        })
        .collect()
}

/// Returns how many members let their plants be counted.
pub async fn counted_members(db: &dyn Source) -> Result<u64, StoreError> {
    use sea_orm::PaginatorTrait as _;
    Ok(profile::Entity::find().filter(profile::Column::CountPlants.eq(true)).count(&db.inner()).await?)
}

/// Returns the cultivars of a member's lots that have not ended, each once.
pub async fn own_lots(db: &dyn Source, holder: AccountId) -> Result<Vec<(CultivarId, Kind)>, StoreError> {
    let rows: Vec<(Option<Uuid>, String)> = lot::Entity::find()
        .select_only()
        .column(lot::Column::CultivarId)
        .column(lot::Column::Kind)
        .filter(lot::Column::HolderId.eq(holder.uuid()))
        .filter(lot::Column::CultivarId.is_not_null())
        .filter(lot::Column::UnknownSeedling.eq(false))
        .filter(lot::Column::EndedDay.is_null())
        .distinct()
        .into_tuple()
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .filter_map(|(cultivar, kind)| Some((CultivarId::from_uuid(cultivar?), kind)))
        .map(|(cultivar, kind)| {
            let read = Kind::from_word(&kind).ok_or_else(|| StoreError::corrupt("lot.kind", kind.clone()))?;
            Ok((cultivar, read))
        })
        .collect()
}

/// Whose open offers are counted.
#[derive(Clone, Copy, Debug)]
pub enum OffersOf<'a> {
    /// Those for everyone and for these clubs.
    Seen(&'a [ClubId]),
    /// Those that this member gives.
    Giver(AccountId),
    /// Those for this club alone.
    Club(ClubId),
}

/// Returns how many open offers of these materials there are of each cultivar.
pub async fn open_offers(
    db: &dyn Source,
    of: OffersOf<'_>,
    materials: &[Material],
    today: Date,
) -> Result<BTreeMap<CultivarId, u64>, StoreError> {
    use offer::Column as C;
    let whose = match of {
        OffersOf::Seen(clubs) => Condition::any()
            .add(C::ClubId.is_null())
            .add(C::ClubId.is_in(clubs.iter().map(|club| club.uuid()))),
        OffersOf::Giver(account) => Condition::all().add(C::AccountId.eq(account.uuid())),
        OffersOf::Club(club) => Condition::all().add(C::ClubId.eq(club.uuid())),
    };
    let rows: Vec<(Uuid, i64)> = offer::Entity::find()
        .select_only()
        .column(C::CultivarId)
        .expr(Expr::cust("COUNT(*)"))
        .filter(whose)
        .filter(C::Material.is_in(materials.iter().map(|m| m.word())))
        .filter(C::WithdrawnAt.is_null())
        .filter(C::UntilDay.gte(today.days()))
        .filter(Condition::any().add(C::UseByDay.is_null()).add(C::UseByDay.gte(today.days())))
        .group_by(C::CultivarId)
        .into_tuple()
        .all(&db.inner())
        .await?;
    Ok(rows.into_iter().map(|(id, n)| (CultivarId::from_uuid(id), u64::try_from(n).unwrap_or(0))).collect())
}
