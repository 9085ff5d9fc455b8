//! The lot on file that an offer is taken from: its name goes with it, and what is known of its health.

use scionary_domain::{
    field::Fields,
    ids::LotId,
    lineage::{Descent, Kind, Lot, fits},
    offer::Contents,
};

use crate::{Error, Rule, Write, alerts, lots, registry::Registry};

/// The giver's own lot that a text names; none for an empty one. Refused where nothing is left of it, or a confirmed alert
/// reaches it.
pub(super) async fn named(write: &Write<'_>, text: &str) -> Result<Option<Lot>, Error> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let (lot, _) = lots::own(write, "offer.lot", text).await?;
    if lot.ended_on.is_some() {
        return Err(Rule::LotEnded(lot.code.to_string()).into());
    }
    refuse(write, Some(lot.id)).await?;
    Ok(Some(lot))
}

/// Refuses a lot that a confirmed alert reaches.
pub(super) async fn refuse(write: &Write<'_>, lot: Option<LotId>) -> Result<(), Error> {
    match lot {
        Some(lot) => alerts::refuse_reached(write.tx, lot).await,
        None => Ok(()),
    }
}

/// Whether an offer can be of a lot: the same plant under the same name, and material that can be taken of it.
pub(super) fn check(registry: &Registry, contents: &Contents, lot: &Lot) -> Result<(), Error> {
    let mut fields = Fields::new();
    let same = |a, b| registry.record(a).map(|r| r.cultivar.id) == registry.record(b).map(|r| r.cultivar.id);
    if lot.cultivar.is_some_and(|own| own != contents.cultivar && !same(own, contents.cultivar)) {
        fields.wrong("offer.cultivar", format!("the name of the lot {} expected", lot.code));
    }
    if lot.unknown_seedling && !contents.unknown_seedling {
        fields.wrong("offer.unknown_seedling", format!("set, as it is for the lot {}", lot.code));
    }
    let kind = Kind::from(contents.material);
    let ways = [Descent::CutFrom, Descent::SeedFrom, Descent::PartOf, Descent::RaisedFrom];
    if kind != lot.kind && !ways.iter().any(|way| fits(kind, *way, lot.kind)) {
        let (material, of) = (contents.material.label(), lot.kind.label());
        fields.wrong("offer.lot", format!("a lot that gives {material} expected, {of} found"));
    }
    Ok(fields.finish(Some(()))?)
}

/// What a draft takes from its lot: its name, where none is given.
pub(super) fn cultivar_of(text: &str, lot: Option<&Lot>) -> String {
    match lot.and_then(|l| l.cultivar) {
        Some(id) if text.trim().is_empty() => id.to_string(),
        Some(_) | None => text.to_string(),
    }
}
