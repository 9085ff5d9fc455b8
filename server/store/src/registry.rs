//! Crops, sources, cultivars and catalogue evidence. A catalogue writes under its own row keys, so that a
//! repeated import refreshes its own rows and nothing else.

use std::collections::{BTreeSet, HashMap};

use scionary_domain::{
    crop::Crop,
    cultivar::{Cultivar, NameKind, OtherName, Parent, ParentRole, Rank, Source as Citation},
    evidence::Evidence,
    ids::CultivarId,
    names::Folded,
    time::Timestamp,
};
use sea_orm::{
    ActiveValue::{NotSet, Set},
    ColumnTrait, EntityTrait, QueryFilter, QueryOrder,
    sea_query::{Expr, OnConflict},
};
use serde::{Serialize, de::DeserializeOwned};

use crate::{
    door::Tx,
    entity::{crop, cultivar, cultivar_name, cultivar_parent, evidence, source},
    error::StoreError,
    evidence::Of,
    observers::CHUNK,
    source::Source,
};

/// A record in a catalogue import.
#[derive(Debug)]
pub struct CatalogueCultivar<'a> {
    /// Id for a new record.
    pub fresh_id: CultivarId,
    /// Content of the record; its id and version are ignored.
    pub cultivar: &'a Cultivar,
    /// Name of the catalogue.
    pub catalogue: &'a str,
}

/// Key of a catalogue's piece of evidence.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct EvidenceKey(pub String);

/// A piece of evidence in a catalogue import.
#[derive(Debug)]
pub struct CatalogueEvidence<'a> {
    /// Key of the piece: catalogue name and row key.
    pub key: &'a EvidenceKey,
    /// The piece; its id is used only if the key is new.
    pub evidence: &'a Evidence,
}

pub(crate) fn word<T: Serialize>(what: &'static str, value: &T) -> Result<String, StoreError> {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => Ok(word),
        Ok(other) => Err(StoreError::corrupt(what, other)),
        Err(error) => Err(StoreError::corrupt(what, error)),
    }
}

pub(crate) fn from_word<T: DeserializeOwned>(what: &'static str, word: String) -> Result<T, StoreError> {
    serde_json::from_value(serde_json::Value::String(word)).map_err(|e| StoreError::corrupt(what, e))
}

/// Returns all crops, by key.
pub async fn crops(db: &dyn Source) -> Result<Vec<Crop>, StoreError> {
    let rows = crop::Entity::find().order_by_asc(crop::Column::Slug).all(&db.inner()).await?;
    rows.into_iter()
        .map(|row| serde_json::from_str(&row.profile).map_err(|e| StoreError::corrupt("crop.profile", e)))
        .collect()
}

/// Inserts or replaces a crop's profile.
pub async fn put_crop(tx: &Tx, profile: &Crop, at: Timestamp) -> Result<(), StoreError> {
    let text = serde_json::to_string(profile).map_err(|e| StoreError::corrupt("crop.profile", e))?;
    let row = crop::ActiveModel {
        slug: Set(profile.slug.clone()),
        profile: Set(text),
        updated_at: Set(at.micros()),
    };
    crop::Entity::insert(row)
        .on_conflict(
            OnConflict::column(crop::Column::Slug)
                .update_columns([crop::Column::Profile, crop::Column::UpdatedAt])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns all sources, by id.
pub async fn sources(db: &dyn Source) -> Result<Vec<Citation>, StoreError> {
    let rows = source::Entity::find().order_by_asc(source::Column::Id).all(&db.inner()).await?;
    Ok(rows.into_iter().map(|r| Citation { id: r.id, citation: r.citation, read: r.read }).collect())
}

/// Inserts or replaces a source.
pub async fn put_source(tx: &Tx, citation: &Citation) -> Result<(), StoreError> {
    let row = source::ActiveModel {
        id: Set(citation.id.clone()),
        citation: Set(citation.citation.clone()),
        read: Set(citation.read.clone()),
    };
    source::Entity::insert(row)
        .on_conflict(
            OnConflict::column(source::Column::Id)
                .update_columns([source::Column::Citation, source::Column::Read])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    Ok(())
}

/// Returns records with their names and parents, in the order of their ids.
pub async fn cultivars(db: &dyn Source, of: Of<'_>) -> Result<Vec<Cultivar>, StoreError> {
    let (mut rows, mut names, mut parents) = (Vec::new(), Vec::new(), Vec::new());
    match of {
        Of::All => {
            rows = cultivar::Entity::find().all(&db.inner()).await?;
            names = cultivar_name::Entity::find().all(&db.inner()).await?;
            parents = cultivar_parent::Entity::find().all(&db.inner()).await?;
        }
        Of::Records(ids) => {
            for chunk in ids.chunks(CHUNK) {
                let ids = || chunk.iter().map(|id| id.uuid());
                rows.extend(
                    cultivar::Entity::find()
                        .filter(cultivar::Column::Id.is_in(ids()))
                        .all(&db.inner())
                        .await?,
                );
                names.extend(
                    cultivar_name::Entity::find()
                        .filter(cultivar_name::Column::CultivarId.is_in(ids()))
                        .all(&db.inner())
                        .await?,
                );
                parents.extend(
                    cultivar_parent::Entity::find()
                        .filter(cultivar_parent::Column::CultivarId.is_in(ids()))
                        .all(&db.inner())
                        .await?,
                );
            }
        }
    }
    rows.sort_by_key(|r| r.id);
    names.sort_by_key(|n| n.id);
    parents.sort_by_key(|p| p.id);
    let mut names_of: HashMap<_, Vec<OtherName>> = HashMap::new();
    for row in names {
        names_of.entry(row.cultivar_id).or_default().push(OtherName {
            name: row.name,
            kind: from_word::<NameKind>("cultivar_name.kind", row.kind)?,
            disputed: row.disputed,
            source: row.source_id,
            note: row.note,
        });
    }
    let mut parents_of: HashMap<_, Vec<Parent>> = HashMap::new();
    for row in parents {
        parents_of.entry(row.cultivar_id).or_default().push(Parent {
            role: from_word::<ParentRole>("cultivar_parent.role", row.role)?,
            name: row.name,
            disputed: row.disputed,
            source: row.source_id,
            note: row.note,
        });
    }
    rows.into_iter()
        .map(|row| {
            Ok(Cultivar {
                id: CultivarId::from_uuid(row.id),
                names: names_of.remove(&row.id).unwrap_or_default(),
                parents: parents_of.remove(&row.id).unwrap_or_default(),
                crop: row.crop,
                name: row.name,
                qualifier: row.qualifier,
                botanical_name: row.botanical_name,
                rank: from_word::<Rank>("cultivar.rank", row.rank)?,
                origin: row.origin,
                notes: row.notes,
                pins: serde_json::from_str(&row.pins).map_err(|e| StoreError::corrupt("cultivar.pins", e))?,
                locked: row.locked_why,
                merged_into: row.merged_into.map(CultivarId::from_uuid),
                version: row.version,
                updated_at: Timestamp::from_micros(row.updated_at),
            })
        })
        .collect()
}

/// Inserts or refreshes a catalogue's record and returns its id. A curated record is not changed.
pub async fn put_catalogue_cultivar(
    tx: &Tx,
    new: &CatalogueCultivar<'_>,
    at: Timestamp,
) -> Result<CultivarId, StoreError> {
    let record = new.cultivar;
    let name_key = Folded::new(&record.name).key();
    let catalogue_key = format!("{}/{name_key}/{}", record.crop, record.qualifier);
    // First by the catalogue's key, which survives renames; then by the current name.
    let mut known = cultivar::Entity::find()
        .filter(cultivar::Column::CatalogueKey.eq(catalogue_key.as_str()))
        .one(&tx.inner())
        .await?;
    if known.is_none() {
        known = cultivar::Entity::find()
            .filter(cultivar::Column::Crop.eq(record.crop.as_str()))
            .filter(cultivar::Column::NameKey.eq(name_key.as_str()))
            .filter(cultivar::Column::Qualifier.eq(record.qualifier.as_str()))
            .one(&tx.inner())
            .await?;
    }
    if let Some(row) = known.as_ref().filter(|row| row.curated) {
        return Ok(CultivarId::from_uuid(row.id));
    }
    let (id, created_at, version) = match &known {
        Some(row) => (row.id, row.created_at, row.version + 1),
        None => (new.fresh_id.uuid(), at.micros(), 1),
    };
    let row = cultivar::ActiveModel {
        id: Set(id),
        crop: Set(record.crop.clone()),
        name: Set(record.name.clone()),
        name_key: Set(name_key),
        qualifier: Set(record.qualifier.clone()),
        botanical_name: Set(record.botanical_name.clone()),
        rank: Set(word("cultivar.rank", &record.rank)?),
        origin: Set(record.origin.clone()),
        notes: Set(record.notes.clone()),
        catalogue: Set(Some(new.catalogue.into())),
        version: Set(version),
        created_at: Set(created_at),
        updated_at: Set(at.micros()),
        pins: Set(known.as_ref().map_or_else(|| "[]".to_string(), |row| row.pins.clone())),
        locked_why: Set(known.as_ref().and_then(|row| row.locked_why.clone())),
        merged_into: Set(known.as_ref().and_then(|row| row.merged_into)),
        curated: Set(false),
        catalogue_key: Set(Some(catalogue_key)),
    };
    if known.is_some() {
        cultivar::Entity::update(row).exec(&tx.inner()).await?;
    } else {
        cultivar::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    cultivar_name::Entity::delete_many()
        .filter(cultivar_name::Column::CultivarId.eq(id))
        .filter(cultivar_name::Column::Catalogue.eq(new.catalogue))
        .exec(&tx.inner())
        .await?;
    for name in &record.names {
        let row = cultivar_name::ActiveModel {
            id: NotSet,
            cultivar_id: Set(id),
            name: Set(name.name.clone()),
            kind: Set(word("cultivar_name.kind", &name.kind)?),
            disputed: Set(name.disputed),
            source_id: Set(name.source.clone()),
            note: Set(name.note.clone()),
            catalogue: Set(Some(new.catalogue.into())),
        };
        cultivar_name::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    cultivar_parent::Entity::delete_many()
        .filter(cultivar_parent::Column::CultivarId.eq(id))
        .filter(cultivar_parent::Column::Catalogue.eq(new.catalogue))
        .exec(&tx.inner())
        .await?;
    for parent in &record.parents {
        let row = cultivar_parent::ActiveModel {
            id: NotSet,
            cultivar_id: Set(id),
            role: Set(word("cultivar_parent.role", &parent.role)?),
            name: Set(parent.name.clone()),
            disputed: Set(parent.disputed),
            source_id: Set(parent.source.clone()),
            note: Set(parent.note.clone()),
            catalogue: Set(Some(new.catalogue.into())),
        };
        cultivar_parent::Entity::insert(row).exec_without_returning(&tx.inner()).await?;
    }
    Ok(CultivarId::from_uuid(id))
}

/// Inserts or refreshes a catalogue's piece of evidence; an existing piece keeps its id.
pub async fn put_catalogue_evidence(
    tx: &Tx,
    new: &CatalogueEvidence<'_>,
    at: Timestamp,
) -> Result<(), StoreError> {
    let piece = new.evidence;
    let value = serde_json::to_string(&piece.value).map_err(|e| StoreError::corrupt("evidence.value", e))?;
    let row = evidence::ActiveModel {
        id: Set(piece.id.uuid()),
        row_key: Set(Some(new.key.0.clone())),
        crop: Set(piece.crop.clone()),
        cultivar_id: Set(piece.cultivar.map(CultivarId::uuid)),
        subject: Set(piece.subject.clone()),
        named_as: Set(piece.named_as.clone()),
        descriptor: Set(piece.descriptor.clone()),
        value: Set(value),
        place: Set(piece.place.clone()),
        source_id: Set(piece.source.clone()),
        as_stated: Set(piece.as_stated.clone()),
        note: Set(piece.note.clone()),
        author_id: Set(None),
        created_at: Set(at.micros()),
        kind: Set(None),
        report_id: Set(None),
        sowing_id: Set(None),
        observed_day: Set(None),
        area_code: Set(None),
        grid_code: Set(None),
        place_label: Set(String::new()),
        tree: Set(String::new()),
        method: Set(String::new()),
        citation: Set(String::new()),
        ended_at: Set(None),
        ended_why: Set(None),
        replaced_by: Set(None),
        moved: Set(false),
    };
    use evidence::Column as C;
    evidence::Entity::insert(row)
        .on_conflict(
            OnConflict::column(C::RowKey)
                .update_columns([
                    C::Crop,
                    C::Subject,
                    C::NamedAs,
                    C::Descriptor,
                    C::Value,
                    C::Place,
                    C::SourceId,
                    C::AsStated,
                    C::Note,
                ])
                .to_owned(),
        )
        .exec_without_returning(&tx.inner())
        .await?;
    // Sets the record of the piece, unless a split has moved it.
    evidence::Entity::update_many()
        .col_expr(C::CultivarId, Expr::value(piece.cultivar.map(CultivarId::uuid)))
        .filter(C::RowKey.eq(new.key.0.as_str()))
        .filter(C::Moved.eq(false))
        .exec(&tx.inner())
        .await?;
    Ok(())
}

/// Deletes evidence that a catalogue no longer contains; returns how many pieces.
pub async fn forget_catalogue_evidence(
    tx: &Tx,
    catalogue: &str,
    kept: &BTreeSet<EvidenceKey>,
) -> Result<u64, StoreError> {
    let rows = evidence::Entity::find()
        .filter(evidence::Column::RowKey.starts_with(format!("{catalogue}/")))
        .all(&tx.inner())
        .await?;
    let mut removed = 0;
    for row in rows {
        if row.row_key.is_some_and(|key| !kept.contains(&EvidenceKey(key))) {
            evidence::Entity::delete_by_id(row.id).exec(&tx.inner()).await?;
            removed += 1;
        }
    }
    Ok(removed)
}
