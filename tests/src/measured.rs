//! What measures of the app share: an app on a database of its own, with members that no one has to sign up.

use std::sync::Arc;

use scionary_app::{App, Call, Policy, passwords::Passwords, ports::SystemEntropy};
use scionary_domain::{
    account::{Account, Actor},
    ids::{AccountId, RequestId, SessionId},
    offer::{
        Draft, HandOver, Material, Terms,
        health::{DeclarationDraft, Form, GrownAtDraft, Observed, Purpose},
    },
    time::Timestamp,
};
use scionary_server::clock::SystemClock;
use scionary_store::{Backend, Options, Store};
use sea_orm::ConnectionTrait as _;

/// Returns the id of the `n`-th thing of a kind.
pub fn uuid(kind: u8, n: usize) -> uuid::Uuid {
    uuid::Uuid::from_u128((u128::from(kind) << 120) | n as u128)
}

/// Returns the id of the `n`-th member.
pub fn member(n: usize) -> uuid::Uuid {
    uuid(3, n)
}

/// Writes an id as a literal of the database.
pub fn literal(id: uuid::Uuid, postgres: bool) -> String {
    if postgres { format!("'{id}'") } else { format!("X'{}'", id.simple()) }
}

/// Returns a call of the `n`-th member.
pub fn call_of(app: &App, n: usize) -> Call {
    let account = Account {
        id: AccountId::from_uuid(member(n)),
        handle: format!("member-{n}"),
        display_name: format!("Member {n}"),
        roles: Vec::new(),
        created_at: Timestamp::from_micros(0),
        suspended_at: None,
    };
    let mut call = app.system_call().unwrap();
    call.actor = Actor::Member {
        account,
        session: SessionId::from_uuid(uuid(4, n)),
        session_expires_at: Timestamp::from_micros(i64::MAX),
    };
    call.request = RequestId::from_uuid(uuid(5, n));
    call
}

/// Returns an offer of seedlings that is promised to whoever asks.
pub fn draft(app: &App, quantity: i32) -> Draft {
    Draft {
        material: Some(Material::Seedling),
        quantity,
        terms: Some(Terms::Gift),
        available_until: Some(app.clock().now().date().plus_days(30)),
        grid_code: "2CGV2200+".into(),
        hand_over: vec![HandOver::Collect],
        auto_accept: true,
        contact: "here".into(),
        health: DeclarationDraft {
            grown_at: vec![GrownAtDraft { area_code: "XB".into(), ..GrownAtDraft::default() }],
            form: Some(Form::InMedium),
            purpose: Some(Purpose::Planting),
            symptoms: Some(Observed::No),
            pests: Some(Observed::No),
            sprayed: Some(Observed::No),
            ..DeclarationDraft::default()
        },
        ..Draft::default()
    }
}

/// Opens an app on a database, with the reference catalogue and so many members.
pub async fn open(url: &str, members: usize) -> App {
    let store = Store::open(&Options::new(url)).await.unwrap();
    scionary_migrations::up(store.admin()).await.unwrap();
    let entropy = Arc::new(SystemEntropy);
    let passwords = Passwords::new(1, entropy.clone()).unwrap();
    let app = App::new(store, Policy::default(), Arc::new(SystemClock), entropy, passwords).await.unwrap();
    scionary_server::serve::load_catalogue(&app, &scionary_server::data::reference()).await.unwrap();
    app.set_movement_sources(vec![scionary_server::data::movement()]).await.unwrap();
    for n in 0..members {
        let id = literal(member(n), app.store().backend() == Backend::Postgres);
        let row = format!(
            "INSERT INTO account (id, handle, handle_key, display_name, password_hash, created_at, version) VALUES ({id}, 'member-{n}', 'member-{n}', 'Member {n}', '', 0, 1)"
        );
        app.store().admin().execute_unprepared(&row).await.unwrap();
    }
    app
}
