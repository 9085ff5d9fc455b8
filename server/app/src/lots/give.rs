//! A hand-over makes the receiver's lot, so that what changed hands can be followed.

use scionary_domain::{
    claim::Claim,
    ids::LotId,
    lineage::{Descent, Kind, Link, Lot, fits},
    offer::Offer,
};
use scionary_store::{StoreError, lot_store, offer_store};

use super::free_code;
use crate::{Error, Write};

/// How what was handed over comes of the giver's lot: the same material changes hands; other material was taken of it.
fn descent(child: Kind, parent: Kind) -> Descent {
    let ways = [Descent::CutFrom, Descent::SeedFrom, Descent::PartOf, Descent::RaisedFrom];
    if child == parent {
        Descent::HandedOver
    } else {
        ways.into_iter().find(|way| fits(child, *way, parent)).unwrap_or(Descent::HandedOver)
    }
}

/// Makes the receiver's lot of a claim that was handed over, and the giver's where the offer named none.
pub(crate) async fn given(write: &Write<'_>, claim: &Claim, offer: &Offer) -> Result<Lot, Error> {
    let now = write.call.now;
    let today = now.date();
    let contents = &offer.contents;
    let kind = Kind::from(contents.material);
    let taken_on = contents.taken_on.unwrap_or(today).min(today);
    let source = match contents.lot {
        Some(id) => lot_store::one(write.tx, id).await?.ok_or_else(|| Error::not_found("lot", id))?,
        None => {
            let lot = Lot {
                id: LotId::from_uuid(write.new_uuid()?),
                code: free_code(write).await?,
                holder: offer.giver,
                crop: contents.crop.clone(),
                cultivar: Some(contents.cultivar),
                unknown_seedling: contents.unknown_seedling,
                kind,
                quantity: contents.quantity,
                made_on: taken_on,
                source: contents.health.source_tree.clone(),
                note: String::new(),
                claim: None,
                ended_on: None,
                ended_why: String::new(),
                entered_by: None,
                version: 1,
                created_at: now,
            };
            lot_store::insert(write.tx, &lot).await.map_err(|e| e.if_exists(StoreError::Collision))?;
            if !offer_store::set_lot(write.tx, offer.id, lot.id).await? {
                // another hand-over of the offer made its lot at this moment: run again, on that one
                return Err(StoreError::Collision.into());
            }
            lot
        }
    };
    let descent = descent(kind, source.kind);
    let day = if descent == Descent::HandedOver { today } else { taken_on.max(source.made_on) };
    let lot = Lot {
        id: LotId::from_uuid(write.new_uuid()?),
        code: free_code(write).await?,
        holder: claim.taker,
        quantity: claim.quantity,
        kind,
        made_on: today,
        source: String::new(),
        note: String::new(),
        claim: Some(claim.id),
        ended_on: None,
        ended_why: String::new(),
        entered_by: None,
        version: 1,
        created_at: now,
        ..source.clone()
    };
    lot_store::insert(write.tx, &lot).await.map_err(|e| e.if_exists(StoreError::Collision))?;
    lot_store::link(write.tx, &Link { parent: source.id, child: lot.id, descent, day }, now).await?;
    Ok(lot)
}
