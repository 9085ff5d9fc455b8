//! One file a table. Rows stay inside this crate.
#![allow(missing_docs, unreachable_pub, reason = "private rows; the columns are described in the migrations")]

use sea_orm::{EntityTrait, IdenStatic, Iterable};

pub mod account;
pub mod audit_log;
pub mod crop;
pub mod cultivar;
pub mod cultivar_name;
pub mod cultivar_parent;
pub mod evidence;
pub mod idempotency;
pub mod invitation;
pub mod offer;
pub mod outbox;
pub mod role_grant;
pub mod session;
pub mod setting;
pub mod source;

fn columns<E: EntityTrait>(entity: E) -> (&'static str, Vec<&'static str>) {
    (entity.table_name(), E::Column::iter().map(|c| IdenStatic::as_str(&c)).collect())
}

/// Every table and its columns as this crate expects them, for a test that compares them with the schema.
pub fn tables() -> Vec<(&'static str, Vec<&'static str>)> {
    vec![
        columns(account::Entity),
        columns(session::Entity),
        columns(role_grant::Entity),
        columns(invitation::Entity),
        columns(crop::Entity),
        columns(source::Entity),
        columns(cultivar::Entity),
        columns(cultivar_name::Entity),
        columns(cultivar_parent::Entity),
        columns(evidence::Entity),
        columns(offer::Entity),
        columns(idempotency::Entity),
        columns(audit_log::Entity),
        columns(outbox::Entity),
        columns(setting::Entity),
    ]
}
