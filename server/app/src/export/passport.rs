//! FAO/Bioversity Multi-Crop Passport Descriptors V.2.1 (2015) as CSV: one row a cultivar record.
//!
//! A record of this registry is no accession of a genebank: holder and donor stay empty, the record's id stands
//! where an accession number would. SAMPSTAT 500 (advanced or improved cultivar) is our reading for named cultivars.

use scionary_domain::{
    cultivar::{ParentRole, Rank},
    passport::{FIELDS, Passport, botanical, country, date},
};

use super::{Gone, Pipe};
use crate::registry::{Record, Registry};

pub(super) fn write(pipe: &mut Pipe, registry: &Registry, crop: &str, licence: &str) -> Result<(), Gone> {
    pipe.row(&FIELDS)?;
    for record in registry.records().filter(|r| crop.is_empty() || r.cultivar.crop == crop) {
        pipe.row(&passport(registry, record, licence).row())?;
    }
    Ok(())
}

fn passport(registry: &Registry, record: &Record, licence: &str) -> Passport {
    let cultivar = &record.cultivar;
    let crop = registry.crop(&cultivar.crop);
    let botanical_name = if cultivar.botanical_name.is_empty() {
        crop.map(|c| c.botanical_name.as_str()).unwrap_or_default()
    } else {
        &cultivar.botanical_name
    };
    let parts = botanical(botanical_name);
    let parent = |role: ParentRole| {
        cultivar.parents.iter().find(|p| p.role == role && !p.disputed).map(|p| p.name.clone())
    };
    let ancest = match (parent(ParentRole::SeedParent), parent(ParentRole::PollenParent)) {
        (Some(seed), Some(pollen)) => format!("{seed}/{pollen}"),
        (Some(seed), None) => format!("seedling of {seed}"),
        (None, Some(pollen)) => format!("pollen parent {pollen}"),
        (None, None) => {
            parent(ParentRole::UnknownParent).map(|p| format!("one parent {p}")).unwrap_or_default()
        }
    };
    let mut names = vec![cultivar.name.clone()];
    names.extend(cultivar.names.iter().filter(|n| !n.disputed).map(|n| n.name.clone()));
    names.extend(record.merged.iter().map(|m| m.name.clone()));
    names.dedup();
    let mut remarks = parts.remarks.clone();
    if !cultivar.origin.is_empty() {
        remarks.push(("ORIGCTY".into(), cultivar.origin.clone()));
    }
    remarks.push((String::new(), format!("registry record, version {}; {licence}", cultivar.version)));
    let updated = cultivar.updated_at.date();
    remarks.push((
        String::new(),
        format!("last changed {}", date(updated.year(), Some(updated.month()), Some(updated.day()))),
    ));
    Passport {
        accenumb: cultivar.id.to_string(),
        genus: parts.genus,
        species: parts.species,
        spauthor: parts.spauthor,
        subtaxa: parts.subtaxa,
        subtauthor: parts.subtauthor,
        cropname: crop.map(|c| c.name.clone()).unwrap_or_default(),
        accename: names,
        origcty: country(&cultivar.origin).unwrap_or_default(),
        sampstat: (cultivar.rank == Rank::Cultivar).then_some(500),
        ancest,
        remarks,
        ..Passport::default()
    }
}
