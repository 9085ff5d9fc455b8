//! Rows of the `offer` table, and their conversion to and from domain offers.

use scionary_domain::{
    ids::{AccountId, ClubId, CultivarId, LotId, OfferId},
    offer::{Contents, HandOver, Material, Offer, Terms, Unit},
    place::{AreaCode, GridCode, Place},
    time::{Date, Timestamp},
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    entity::prelude::*,
};

use crate::error::StoreError;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "offer")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: Uuid,
    pub account_id: Uuid,
    pub crop: String,
    pub cultivar_id: Uuid,
    pub unknown_seedling: bool,
    pub material: String,
    pub quantity: i64,
    pub unit: String,
    pub terms: String,
    pub from_day: i64,
    pub until_day: i64,
    pub taken_day: Option<i64>,
    pub kept_how: String,
    pub use_by_day: Option<i64>,
    pub promised: i64,
    pub auto_accept: bool,
    pub contact: String,
    pub lot_id: Option<Uuid>,
    pub club_id: Option<Uuid>,
    pub holder_consent: String,
    pub entered_by: Option<Uuid>,
    pub area_code: Option<String>,
    pub grid_code: String,
    pub place_label: String,
    pub latitude_e4: i64,
    pub longitude_e4: i64,
    pub by_collect: bool,
    pub by_meeting: bool,
    pub by_post: bool,
    pub note: String,
    pub search_text: String,
    pub health: String,
    pub withdrawn_at: Option<i64>,
    pub version: i64,
    pub created_at: i64,
    pub updated_at: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}

/// Converts degrees to ten-thousandths of a degree.
#[expect(clippy::cast_possible_truncation, reason = "degrees are within 180, so this is within 1,800,000")]
pub fn e4(degrees: f64) -> i64 {
    (degrees * 10_000.0).round() as i64
}

fn read_word<T>(what: &'static str, word: &str, parse: impl Fn(&str) -> Option<T>) -> Result<T, StoreError> {
    parse(word).ok_or_else(|| StoreError::corrupt(what, format!("{word:?}")))
}

/// Converts a row to an offer.
pub fn to_offer(row: Model) -> Result<Offer, StoreError> {
    let area = row
        .area_code
        .as_deref()
        .map(|code| AreaCode::parse(code).map_err(|e| StoreError::corrupt("offer.area_code", e)))
        .transpose()?;
    let mut hand_over = Vec::new();
    for (set, way) in [
        (row.by_collect, HandOver::Collect),
        (row.by_meeting, HandOver::Meeting),
        (row.by_post, HandOver::Post),
    ] {
        if set {
            hand_over.push(way);
        }
    }
    Ok(Offer {
        id: OfferId::from_uuid(row.id),
        giver: AccountId::from_uuid(row.account_id),
        contents: Contents {
            crop: row.crop,
            cultivar: CultivarId::from_uuid(row.cultivar_id),
            unknown_seedling: row.unknown_seedling,
            material: read_word("offer.material", &row.material, Material::from_word)?,
            quantity: i32::try_from(row.quantity).map_err(|e| StoreError::corrupt("offer.quantity", e))?,
            unit: read_word("offer.unit", &row.unit, Unit::from_word)?,
            terms: read_word("offer.terms", &row.terms, Terms::from_word)?,
            available_from: Date::from_days(row.from_day),
            available_until: Date::from_days(row.until_day),
            taken_on: row.taken_day.map(Date::from_days),
            kept_how: row.kept_how,
            use_by: row.use_by_day.map(Date::from_days),
            place: Place {
                area,
                grid: GridCode::parse(&row.grid_code)
                    .map_err(|e| StoreError::corrupt("offer.grid_code", e))?,
                label: row.place_label,
            },
            hand_over,
            note: row.note,
            health: serde_json::from_str(&row.health).map_err(|e| StoreError::corrupt("offer.health", e))?,
            auto_accept: row.auto_accept,
            contact: row.contact,
            lot: row.lot_id.map(LotId::from_uuid),
            club: row.club_id.map(ClubId::from_uuid),
            holder_consent: row.holder_consent,
        },
        promised: i32::try_from(row.promised).map_err(|e| StoreError::corrupt("offer.promised", e))?,
        withdrawn_at: row.withdrawn_at.map(Timestamp::from_micros),
        entered_by: row.entered_by.map(AccountId::from_uuid),
        version: row.version,
        created_at: Timestamp::from_micros(row.created_at),
        updated_at: Timestamp::from_micros(row.updated_at),
    })
}

/// Converts an offer to a row. `search_text` holds its folded words.
pub fn to_row(new: &Offer, search_text: &str) -> Result<ActiveModel, StoreError> {
    // Only claims change `promised`, so an edit must not overwrite it.
    let Offer { id, giver, contents, promised: _, withdrawn_at, entered_by, version, created_at, updated_at } =
        new;
    let Contents {
        crop,
        cultivar,
        unknown_seedling,
        material,
        quantity,
        unit,
        terms,
        available_from,
        available_until,
        taken_on,
        kept_how,
        use_by,
        place,
        hand_over,
        note,
        health,
        auto_accept,
        contact,
        lot,
        club,
        holder_consent,
    } = contents;
    let (latitude, longitude) = place.grid.middle();
    Ok(ActiveModel {
        id: Set(id.uuid()),
        account_id: Set(giver.uuid()),
        crop: Set(crop.clone()),
        cultivar_id: Set(cultivar.uuid()),
        unknown_seedling: Set(*unknown_seedling),
        material: Set(material.word().into()),
        quantity: Set(i64::from(*quantity)),
        unit: Set(unit.word().into()),
        terms: Set(terms.word().into()),
        from_day: Set(available_from.days()),
        until_day: Set(available_until.days()),
        taken_day: Set(taken_on.map(Date::days)),
        kept_how: Set(kept_how.clone()),
        use_by_day: Set(use_by.map(Date::days)),
        area_code: Set(place.area.as_ref().map(|a| a.as_str().to_string())),
        grid_code: Set(place.grid.to_string()),
        place_label: Set(place.label.clone()),
        latitude_e4: Set(e4(latitude)),
        longitude_e4: Set(e4(longitude)),
        by_collect: Set(hand_over.contains(&HandOver::Collect)),
        by_meeting: Set(hand_over.contains(&HandOver::Meeting)),
        by_post: Set(hand_over.contains(&HandOver::Post)),
        note: Set(note.clone()),
        search_text: Set(search_text.into()),
        health: Set(serde_json::to_string(health).map_err(|e| StoreError::corrupt("offer.health", e))?),
        promised: NotSet,
        auto_accept: Set(*auto_accept),
        contact: Set(contact.clone()),
        lot_id: Set(lot.map(LotId::uuid)),
        club_id: Set(club.map(ClubId::uuid)),
        holder_consent: Set(holder_consent.clone()),
        entered_by: Set(entered_by.map(AccountId::uuid)),
        withdrawn_at: Set(withdrawn_at.map(Timestamp::micros)),
        version: Set(*version),
        created_at: Set(created_at.micros()),
        updated_at: Set(updated_at.micros()),
    })
}
