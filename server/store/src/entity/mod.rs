//! Row types, one file per table. Rows stay inside this crate.
#![allow(missing_docs, unreachable_pub, reason = "private rows; the columns are described in the migrations")]

use sea_orm::{EntityTrait, IdenStatic, Iterable};

pub mod account;
pub mod alert;
pub mod alert_start;
pub mod audit_log;
pub mod claim;
pub mod club;
pub mod club_invitation;
pub mod club_member;
pub mod crop;
pub mod cultivar;
pub mod cultivar_name;
pub mod cultivar_parent;
pub mod cultivar_version;
pub mod day_event;
pub mod descriptor_text;
pub mod evidence;
pub mod evidence_check;
pub mod grafts;
pub mod grower_weight;
pub mod idempotency;
pub mod invitation;
pub mod item_number;
pub mod look_up_day;
pub mod lot;
pub mod lot_link;
pub mod lot_test;
pub mod mail_address;
pub mod member_block;
pub mod movement_release;
pub mod notice;
pub mod observer;
pub mod offer;
pub mod outbox;
pub mod plan;
pub mod profile;
pub mod proposal;
pub mod protection;
pub mod record_event;
pub mod role_grant;
pub mod round;
pub mod round_advice;
pub mod round_event;
pub mod round_lot;
pub mod round_member;
pub mod round_reason;
pub mod round_run;
pub mod round_share;
pub mod round_wish;
pub mod session;
pub mod setting;
pub mod source;
pub mod sowing;
pub mod ticket;
pub mod want;

fn columns<E: EntityTrait>(entity: E) -> (&'static str, Vec<&'static str>) {
    (entity.table_name(), E::Column::iter().map(|c| IdenStatic::as_str(&c)).collect())
}

/// Returns every table with the columns that this crate uses, for a test that compares them with the schema.
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
        columns(evidence_check::Entity),
        columns(observer::Entity),
        columns(grower_weight::Entity),
        columns(sowing::Entity),
        columns(cultivar_version::Entity),
        columns(record_event::Entity),
        columns(proposal::Entity),
        columns(descriptor_text::Entity),
        columns(ticket::Entity),
        columns(plan::Entity),
        columns(grafts::Entity),
        columns(claim::Entity),
        columns(member_block::Entity),
        columns(lot::Entity),
        columns(lot_link::Entity),
        columns(lot_test::Entity),
        columns(alert::Entity),
        columns(alert_start::Entity),
        columns(notice::Entity),
        columns(mail_address::Entity),
        columns(club::Entity),
        columns(club_invitation::Entity),
        columns(club_member::Entity),
        columns(want::Entity),
        columns(movement_release::Entity),
        columns(protection::Entity),
        columns(round::Entity),
        columns(round_member::Entity),
        columns(round_lot::Entity),
        columns(round_wish::Entity),
        columns(round_advice::Entity),
        columns(round_event::Entity),
        columns(round_reason::Entity),
        columns(round_run::Entity),
        columns(round_share::Entity),
        columns(profile::Entity),
        columns(item_number::Entity),
        columns(day_event::Entity),
        columns(look_up_day::Entity),
    ]
}
