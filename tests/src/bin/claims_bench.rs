//! Measures claims per second through the app, next to the same rows written by the database alone, for 64 claimers at
//! once.
//!
//! `cargo run --release -p scionary-tests --bin claims_bench -- DATABASE-URL`; without a URL, SQLite in a temporary
//! folder.
#![expect(clippy::disallowed_methods, reason = "a measure reads the clock")]

use std::time::Instant;

use scionary_app::{App, KeepReply, WriteKey, claims::AskForOffer, offers::CreateOffer};
use scionary_domain::{claim::Asked, ids::OfferId};
use scionary_store::Backend;
use scionary_tests::measured::{call_of, draft, literal, open, uuid};
use sea_orm::{ConnectionTrait as _, TransactionTrait as _};

const TAKERS: usize = 64;
const OFFERS: usize = 40;

/// Posts the offers of member 0.
async fn offers(app: &App) -> Vec<OfferId> {
    let mut all = Vec::new();
    let giver = call_of(app, 0);
    for _ in 0..OFFERS {
        let post = CreateOffer {
            cultivar: "R2E2".into(),
            crop: "mango".into(),
            draft: draft(app, 10_000),
            lot: String::new(),
            club: String::new(),
        };
        let id = app
            .write(&giver, post, KeepReply::Yes, |shown| shown.offer.id.to_string().into_bytes())
            .await
            .unwrap();
        all.push(String::from_utf8(id).unwrap().parse().unwrap());
    }
    all
}

/// Makes claims through the app. Returns claims per second.
async fn through_the_door(app: &App, offers: &[OfferId]) -> f64 {
    let began = Instant::now();
    let tasks: Vec<_> = (1..=TAKERS)
        .map(|n| {
            let (app, offers) = (app.clone(), offers.to_vec());
            tokio::spawn(async move {
                for (at, offer) in offers.into_iter().enumerate() {
                    let mut call = call_of(&app, n);
                    call.key = Some(WriteKey {
                        key: format!("key-of-{n}-{at}-padded-out"),
                        rpc: "bench",
                        fingerprint: [0; 32],
                    });
                    let asked = Asked {
                        quantity: 1,
                        to: "XB".into(),
                        note: String::new(),
                        contact: "0400 000 000".into(),
                    };
                    let ask = AskForOffer { offer, asked };
                    app.write(&call, ask, KeepReply::Yes, |id| id.to_string().into_bytes()).await.unwrap();
                }
            })
        })
        .collect();
    for task in tasks {
        task.await.unwrap();
    }
    (TAKERS * OFFERS) as f64 / began.elapsed().as_secs_f64()
}

/// Writes the same rows with the database alone. On PostgreSQL each claim is a transaction, on as many connections as
/// the server has; on SQLite one writer writes groups of 64, as the server does.
async fn by_the_database(app: &App, offers: &[OfferId]) -> f64 {
    let postgres = app.store().backend() == Backend::Postgres;
    let statements = |n: usize, at: usize, offer: OfferId| {
        let id = |kind, n| literal(uuid(kind, n), postgres);
        let number = n * 1_000 + at;
        [
            format!(
                "UPDATE offer SET promised = promised + 1 WHERE id = {} AND promised + 1 <= quantity",
                literal(offer.uuid(), postgres)
            ),
            format!(
                "INSERT INTO claim (id, offer_id, giver_id, taker_id, quantity, to_area, note, taker_contact, giver_contact, answer, movement, state, asked_at, lapses_at, giver_missed, taker_missed, version) VALUES ({}, {}, {}, {}, 1, 'XB', '', '0400 000 000', 'here', '', '{{}}', 'handed_over', 1, 1, '', '', 1)",
                id(9, number),
                literal(offer.uuid(), postgres),
                id(3, 0),
                id(3, n)
            ),
            format!(
                "INSERT INTO audit_log (at, actor_id, action, subject, change, request_id) VALUES (1, {}, 'claim.asked', 'clm', '{{}}', {})",
                id(3, n),
                id(5, number)
            ),
            "INSERT INTO outbox (at, topic, subject) VALUES (1, 'claim', 'clm')".to_string(),
            format!(
                "INSERT INTO idempotency (scope, key, rpc, fingerprint, reply, created_at) VALUES ('bench', 'plain-{number}', 'bench', {}, {}, 1)",
                if postgres { "'\\x00'" } else { "X'00'" },
                if postgres { "'\\x00'" } else { "X'00'" }
            ),
        ]
    };
    let began = Instant::now();
    if postgres {
        let tasks: Vec<_> = (1..=TAKERS)
            .map(|n| {
                let db = app.store().admin().clone();
                let all: Vec<[String; 5]> =
                    offers.iter().enumerate().map(|(at, offer)| statements(n, at, *offer)).collect();
                tokio::spawn(async move {
                    for five in all {
                        let tx = db.begin().await.unwrap();
                        for sql in five {
                            tx.execute_unprepared(&sql).await.unwrap();
                        }
                        tx.commit().await.unwrap();
                    }
                })
            })
            .collect();
        for task in tasks {
            task.await.unwrap();
        }
    } else {
        for (at, offer) in offers.iter().enumerate() {
            let tx = app.store().admin().begin().await.unwrap();
            for n in 1..=TAKERS {
                for sql in statements(n, at, *offer) {
                    tx.execute_unprepared(&sql).await.unwrap();
                }
            }
            tx.commit().await.unwrap();
        }
    }
    (TAKERS * OFFERS) as f64 / began.elapsed().as_secs_f64()
}

#[tokio::main]
async fn main() {
    let folder = tempfile::tempdir().unwrap();
    let url = std::env::args()
        .nth(1)
        .unwrap_or_else(|| format!("sqlite:{}", folder.path().join("claims.db").display()));
    let app = open(&url, TAKERS + 1).await;
    let (first, second) = (offers(&app).await, offers(&app).await);
    let door = through_the_door(&app, &first).await;
    let plain = by_the_database(&app, &second).await;
    println!(
        "{:?}: {door:.0} claims a second through the door, {plain:.0} by the database alone: ratio {:.2}",
        app.store().backend(),
        door / plain
    );
    app.store().clone().close().await;
}
