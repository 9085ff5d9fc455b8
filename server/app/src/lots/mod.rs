//! Mother plants and lots: entered, linked, tested, given on, traced.

mod end;
mod give;
mod later;
mod read;
mod record;
mod test;
mod trace;

pub use end::EndLot;
pub(crate) use give::given;
pub use later::NoteDescent;
pub use read::{Card, ParentShown, ShownLot, Warning};
pub use record::RecordLot;
pub use test::RecordTest;
pub use trace::{Traced, TracedLot};
pub(crate) use trace::{alerts_reaching, alerts_reaching_each, follow, name, starts_of};

use scionary_domain::{
    access::{self, EditLot, Granted},
    field::FieldError,
    ids::LotId,
    lineage::{Lot, LotCode},
};
use scionary_store::{Source, StoreError, lot_store};

use crate::{Error, Rule, Write};

/// The outbox topic of changes to lots.
pub const TOPIC: &str = "lot";

/// How often a new code may be one that is taken: of 148 million, few are.
const CODE_TRIES: usize = 20;

/// The lot that a code or an id names.
pub(crate) async fn find(db: &dyn Source, field: &str, text: &str) -> Result<Lot, Error> {
    let missing = || Error::NotFound {
        kind: "lot",
        id: text.trim().to_string(),
        hint: "read the code on its tag again".into(),
    };
    let found = if text.trim().starts_with("lot_") {
        let id: LotId = crate::App::id_in(field, text)?;
        lot_store::one(db, id).await?
    } else {
        let code: LotCode = text.parse().map_err(|e| FieldError::new(field, format!("{e}")))?;
        lot_store::by_code(db, code).await?
    };
    found.ok_or_else(missing)
}

/// The caller's own lot that a code or an id names; someone else's is not theirs to change.
pub(crate) async fn own(
    write: &Write<'_>,
    field: &str,
    text: &str,
) -> Result<(Lot, Granted<EditLot>), Error> {
    let account = write.call.account()?;
    let lot = find(write.tx, field, text).await?;
    match access::edit_lot(account, lot.holder) {
        Some(granted) => Ok((lot, granted)),
        None => Err(FieldError::new(
            field,
            format!("a lot that you hold expected; {} belongs to someone else", lot.code),
        )
        .into()),
    }
}

/// Stores a changed lot; a caller who was overtaken is served again, on what stands then.
async fn store(write: &Write<'_>, granted: &Granted<EditLot>, lot: &mut Lot) -> Result<(), Error> {
    let seen = lot.version;
    lot.version += 1;
    if lot_store::replace(write.tx, granted, lot, seen).await? {
        Ok(())
    } else {
        Err(StoreError::Collision.into())
    }
}

/// A code that no lot has.
async fn free_code(write: &Write<'_>) -> Result<LotCode, Error> {
    for _ in 0..CODE_TRIES {
        let random = write.entropy().bytes()?;
        let mut bytes = [0; 12];
        bytes.iter_mut().zip(random).for_each(|(to, from)| *to = from);
        let code = LotCode::from_random(bytes);
        if lot_store::by_code(write.tx, code).await?.is_none() {
            return Ok(code);
        }
        // its label is printed with this code and no other
        if write.call.day.is_some() {
            return Err(Rule::DayTagTaken(code).into());
        }
    }
    Err(Error::Internal("no free code for a lot was found".into()))
}
