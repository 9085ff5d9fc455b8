//! Offers: single ones, a giver's own, and searches with keyset pagination.

use std::{fmt, str::FromStr};

use scionary_domain::{
    access::{EditOffer, Granted},
    ids::{AccountId, ClubId, CultivarId, LotId, OfferId},
    offer::{HandOver, Material, Offer, Terms},
    page::PageTokenError,
    place::GridCode,
    time::{Date, Timestamp},
};
use sea_orm::{
    ColumnTrait, Condition, EntityTrait, ExprTrait, Order, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect,
    sea_query::{Expr, SimpleExpr},
};

use crate::{
    door::Tx,
    entity::offer::{self, e4},
    error::StoreError,
    source::Source,
};

/// Order of a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OfferOrder {
    /// Newest first.
    Newest,
    /// Nearest first; newest first if the query has no place.
    Nearest,
}

/// Place from which a search measures distances.
#[derive(Clone, Debug, PartialEq)]
pub struct Near {
    /// Centre of the search.
    pub grid: GridCode,
    /// Maximum distance in kilometres; `None` for any distance.
    pub within_km: Option<f64>,
}

/// Key of an offer in a search, for keyset pagination.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OfferKey {
    /// Rank in the order: microseconds for newest, squared planar distance for nearest.
    pub rank: i64,
    /// Id of the offer; it breaks ties.
    pub id: OfferId,
}

impl fmt::Display for OfferKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.rank, self.id)
    }
}
impl FromStr for OfferKey {
    type Err = PageTokenError;
    fn from_str(text: &str) -> Result<Self, PageTokenError> {
        let parse = || {
            let (rank, id) = text.split_once(':')?;
            Some(Self { rank: rank.parse().ok()?, id: id.parse().ok()? })
        };
        parse().ok_or(PageTokenError::Unreadable)
    }
}

/// An offer with its key in the search's order.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranked {
    /// The offer found.
    pub offer: Offer,
    /// Its key, for the next page.
    pub key: OfferKey,
}

/// A search for open offers. All given conditions must hold.
#[derive(Clone, Debug)]
pub struct OfferQuery {
    /// Any of these cultivars; `None` for all.
    pub cultivars: Option<Vec<CultivarId>>,
    /// Only this crop; `None` for all.
    pub crop: Option<String>,
    /// Any of these materials; empty for all.
    pub materials: Vec<Material>,
    /// Any of these terms; empty for all.
    pub terms: Vec<Terms>,
    /// Any of these ways of handing over; empty for all.
    pub hand_over: Vec<HandOver>,
    /// Available and alive on or after this day.
    pub usable_from: Date,
    /// Available on or before this day; `None` for any day.
    pub usable_until: Option<Date>,
    /// Clubs whose own offers are included; offers for everyone always are.
    pub clubs: Vec<ClubId>,
    /// Folded words, each of which must occur in the search text.
    pub words: Vec<String>,
    /// Place from which distances are measured; `None` for everywhere.
    pub near: Option<Near>,
    /// Order of the results.
    pub order: OfferOrder,
    /// Only results after this key; `None` for the first page.
    pub after: Option<OfferKey>,
    /// Maximum number of rows.
    pub limit: u64,
}

/// Returns the offer with this id.
pub async fn offer(db: &dyn Source, id: OfferId) -> Result<Option<Offer>, StoreError> {
    offer::Entity::find_by_id(id.uuid()).one(&db.inner()).await?.map(offer::to_offer).transpose()
}

/// Returns the offers with these ids, in no particular order.
pub async fn some(db: &dyn Source, ids: &[OfferId]) -> Result<Vec<Offer>, StoreError> {
    let rows = offer::Entity::find()
        .filter(offer::Column::Id.is_in(ids.iter().map(|id| id.uuid())))
        .all(&db.inner())
        .await?;
    rows.into_iter().map(offer::to_offer).collect()
}

/// Inserts an offer. `search_text` holds its folded words.
pub async fn insert(tx: &Tx, new: &Offer, search_text: &str) -> Result<(), StoreError> {
    offer::Entity::insert(offer::to_row(new, search_text)?).exec_without_returning(&tx.inner()).await?;
    Ok(())
}

/// Replaces an offer if its version still equals `from_version` and no more than its new quantity is promised;
/// returns false otherwise.
pub async fn replace(
    tx: &Tx,
    _granted: Granted<EditOffer>,
    changed: &Offer,
    from_version: i64,
    search_text: &str,
) -> Result<bool, StoreError> {
    let done = offer::Entity::update_many()
        .set(offer::to_row(changed, search_text)?)
        .filter(offer::Column::Id.eq(changed.id.uuid()))
        .filter(offer::Column::Version.eq(from_version))
        .filter(offer::Column::Promised.lte(changed.contents.quantity))
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Sets the lot of an offer that has none; returns false if it has one.
pub async fn set_lot(tx: &Tx, id: OfferId, lot: LotId) -> Result<bool, StoreError> {
    let done = offer::Entity::update_many()
        .col_expr(offer::Column::LotId, Expr::value(lot.uuid()))
        .col_expr(offer::Column::Version, Expr::col(offer::Column::Version).add(1))
        .filter(offer::Column::Id.eq(id.uuid()))
        .filter(offer::Column::LotId.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(done.rows_affected == 1)
}

/// Returns all offers for one club only, oldest first.
pub async fn of_club(db: &dyn Source, club: ClubId) -> Result<Vec<Offer>, StoreError> {
    let rows = offer::Entity::find()
        .filter(offer::Column::ClubId.eq(club.uuid()))
        .order_by_asc(offer::Column::Id)
        .all(&db.inner())
        .await?;
    rows.into_iter().map(offer::to_offer).collect()
}

/// Withdraws all offers for one club only; returns those that were not yet withdrawn.
pub async fn withdraw_of_club(tx: &Tx, club: ClubId, at: Timestamp) -> Result<Vec<OfferId>, StoreError> {
    let open: Vec<OfferId> =
        of_club(tx, club).await?.iter().filter(|o| o.withdrawn_at.is_none()).map(|o| o.id).collect();
    offer::Entity::update_many()
        .col_expr(offer::Column::WithdrawnAt, Expr::value(at.micros()))
        .col_expr(offer::Column::UpdatedAt, Expr::value(at.micros()))
        .col_expr(offer::Column::Version, Expr::col(offer::Column::Version).add(1))
        .filter(offer::Column::ClubId.eq(club.uuid()))
        .filter(offer::Column::WithdrawnAt.is_null())
        .exec(&tx.inner())
        .await?;
    Ok(open)
}

/// Matches material that may still be alive on a day.
fn alive_on(day: Date) -> Condition {
    Condition::any().add(offer::Column::UseByDay.is_null()).add(offer::Column::UseByDay.gte(day.days()))
}

/// Returns how many offers of an account are neither past their last day nor withdrawn.
pub async fn count_open(db: &dyn Source, account: AccountId, today: Date) -> Result<u64, StoreError> {
    Ok(offer::Entity::find()
        .filter(offer::Column::AccountId.eq(account.uuid()))
        .filter(offer::Column::WithdrawnAt.is_null())
        .filter(offer::Column::UntilDay.gte(today.days()))
        .count(&db.inner())
        .await?)
}

/// Returns how many open offers of these records are for everyone.
pub async fn count_open_of(db: &dyn Source, records: &[CultivarId], today: Date) -> Result<u64, StoreError> {
    Ok(offer::Entity::find()
        .filter(offer::Column::CultivarId.is_in(records.iter().map(|id| id.uuid())))
        .filter(offer::Column::ClubId.is_null())
        .filter(offer::Column::WithdrawnAt.is_null())
        .filter(offer::Column::UntilDay.gte(today.days()))
        .filter(alive_on(today))
        .count(&db.inner())
        .await?)
}

/// Returns an account's offers after a key, newest first; with `clubs` only those for these clubs.
pub async fn by_giver(
    db: &dyn Source,
    account: AccountId,
    clubs: Option<&[ClubId]>,
    after: Option<OfferKey>,
    limit: u64,
) -> Result<Vec<Ranked>, StoreError> {
    let mut query = offer::Entity::find().filter(offer::Column::AccountId.eq(account.uuid()));
    if let Some(clubs) = clubs {
        query = query.filter(offer::Column::ClubId.is_in(clubs.iter().map(|club| club.uuid())));
    }
    if let Some(key) = after {
        query = query.filter(beyond(Expr::col(offer::Column::CreatedAt), Order::Desc, key));
    }
    let rows = query
        .order_by_desc(offer::Column::CreatedAt)
        .order_by_desc(offer::Column::Id)
        .limit(limit)
        .all(&db.inner())
        .await?;
    rows.into_iter()
        .map(|row| {
            let key = OfferKey { rank: row.created_at, id: OfferId::from_uuid(row.id) };
            Ok(Ranked { key, offer: offer::to_offer(row)? })
        })
        .collect()
}

/// Matches rows after a key in an order by (rank, id).
fn beyond(rank: SimpleExpr, order: Order, key: OfferKey) -> Condition {
    let id = Expr::col(offer::Column::Id);
    let (further, same_but_further) = if order == Order::Desc {
        (rank.clone().lt(key.rank), id.lt(key.id.uuid()))
    } else {
        (rank.clone().gt(key.rank), id.gt(key.id.uuid()))
    };
    Condition::any().add(further).add(Condition::all().add(rank.eq(key.rank)).add(same_but_further))
}

/// Kilometres per ten-thousandth of a degree along a meridian of a sphere of 6,371.0088 km.
const KM_PER_E4: f64 = 0.011_119_508;

/// Squared planar distance from a cell, in ten-thousandths of a degree, with the east-west part scaled by the
/// cosine of the latitude. Over the distances of swaps it orders rows as the true distance does, and both
/// databases can compute it in whole numbers.
struct Plane {
    latitude: i64,
    longitude: i64,
    /// Cosine of the latitude, in thousandths.
    shrink: i64,
}

impl Plane {
    #[expect(clippy::cast_possible_truncation, reason = "a cosine in thousandths is at most 1,000")]
    fn around(grid: &GridCode) -> Self {
        let (latitude, longitude) = grid.middle();
        let shrink = (latitude.to_radians().cos() * 1000.0).round().max(1.0) as i64;
        Self { latitude: e4(latitude), longitude: e4(longitude), shrink }
    }
    fn rank(&self, row: &offer::Model) -> i64 {
        let north = row.latitude_e4 - self.latitude;
        let east = (row.longitude_e4 - self.longitude).abs();
        let east = Ord::min(east, 3_600_000 - east) * self.shrink / 1000;
        north * north + east * east
    }
    /// Returns the same formula in SQL. It contains only our own numbers and no text of the caller.
    fn expression(&self) -> SimpleExpr {
        let Self { latitude, longitude, shrink } = self;
        let north = format!("(latitude_e4 - ({latitude}))");
        let apart = format!("abs(longitude_e4 - ({longitude}))");
        let east = format!(
            "((CASE WHEN {apart} > 1800000 THEN 3600000 - {apart} ELSE {apart} END) * {shrink} / 1000)"
        );
        Expr::cust(format!("({north} * {north} + {east} * {east})"))
    }
    /// Returns a bound on the squared distance, widened so that it excludes no true hit.
    #[expect(clippy::cast_possible_truncation, reason = "bounded by the earth's size, far below 2^53")]
    fn bound(km: f64) -> i64 {
        let e4 = (km * 1.1 + 12.0) / KM_PER_E4;
        (e4 * e4).min(9.0e15) as i64
    }
}

/// Returns open offers that match a query, in its order. Some may be slightly further than `within_km` on the
/// sphere; the caller filters exactly.
pub async fn search(db: &dyn Source, query: &OfferQuery) -> Result<Vec<Ranked>, StoreError> {
    use offer::Column as C;
    let mut find = offer::Entity::find()
        .filter(C::WithdrawnAt.is_null())
        .filter(C::UntilDay.gte(query.usable_from.days()))
        .filter(alive_on(query.usable_from));
    let of_clubs = C::ClubId.is_in(query.clubs.iter().map(|c| c.uuid()));
    find = find.filter(Condition::any().add(C::ClubId.is_null()).add(of_clubs));
    if let Some(until) = query.usable_until {
        find = find.filter(C::FromDay.lte(until.days()));
    }
    if let Some(cultivars) = &query.cultivars {
        find = find.filter(C::CultivarId.is_in(cultivars.iter().map(|c| c.uuid())));
    }
    if let Some(crop) = &query.crop {
        find = find.filter(C::Crop.eq(crop.as_str()));
    }
    if !query.materials.is_empty() {
        find = find.filter(C::Material.is_in(query.materials.iter().map(|m| m.word())));
    }
    if !query.terms.is_empty() {
        find = find.filter(C::Terms.is_in(query.terms.iter().map(|t| t.word())));
    }
    if !query.hand_over.is_empty() {
        let mut any = Condition::any();
        for way in &query.hand_over {
            any = any.add(match way {
                HandOver::Collect => C::ByCollect.eq(true),
                HandOver::Meeting => C::ByMeeting.eq(true),
                HandOver::Post => C::ByPost.eq(true),
            });
        }
        find = find.filter(any);
    }
    for word in &query.words {
        // Folded words contain only a to z and 0 to 9, so nothing needs escaping.
        find = find.filter(C::SearchText.contains(word));
    }
    let plane = query.near.as_ref().map(|near| Plane::around(&near.grid));
    if let (Some(plane), Some(km)) = (&plane, query.near.as_ref().and_then(|n| n.within_km)) {
        let reach = e4((km * 1.1 + 12.0) / (KM_PER_E4 * 10_000.0));
        find = find
            .filter(C::LatitudeE4.between(plane.latitude - reach, plane.latitude + reach))
            .filter(plane.expression().lte(Plane::bound(km)));
    }
    let (rank, order) = match (query.order, &plane) {
        (OfferOrder::Nearest, Some(plane)) => (plane.expression(), Order::Asc),
        (OfferOrder::Nearest | OfferOrder::Newest, _) => (Expr::col(C::CreatedAt), Order::Desc),
    };
    if let Some(key) = query.after {
        find = find.filter(beyond(rank.clone(), order.clone(), key));
    }
    let rows =
        find.order_by(rank, order.clone()).order_by(C::Id, order).limit(query.limit).all(&db.inner()).await?;
    rows.into_iter()
        .map(|row| {
            let rank = match (query.order, &plane) {
                (OfferOrder::Nearest, Some(plane)) => plane.rank(&row),
                (OfferOrder::Nearest | OfferOrder::Newest, _) => row.created_at,
            };
            let key = OfferKey { rank, id: OfferId::from_uuid(row.id) };
            Ok(Ranked { key, offer: offer::to_offer(row)? })
        })
        .collect()
}
