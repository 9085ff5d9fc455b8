//! A large swap round through the app: how long it takes to seal and to settle it, with everybody's reasons, how long 60
//! members at once wait for their result, how long the lists of the day take, and the memory before and after.
//!
//! `cargo run --release -p scionary-tests --bin day_bench -- [MEMBERS [DATABASE-URL]]`; without a URL, SQLite in a
//! temporary folder. Each member brings three packs and lists five wishes.
#![expect(clippy::disallowed_methods, reason = "a measure reads the clock")]

use std::time::{Duration, Instant};

use scionary_app::{
    App, KeepReply,
    clubs::CreateClub,
    offers::CreateOffer,
    rounds::{AcceptsDraft, AllotRequest, BringLot, CreateRound, JoinRound, ListLine, SetWishes},
};
use scionary_domain::{
    club::ClubDraft,
    ids::{ClubId, RoundId},
    round::{PartDraft, RoundDraft, Settings},
};
use scionary_store::Backend;
use scionary_tests::{
    measured::{call_of, draft, literal, member, open},
    rounds::Numbers,
};
use sea_orm::ConnectionTrait as _;

/// Readers of their own result at once.
const READERS: usize = 60;
/// Packs that each member brings.
const PACKS: usize = 3;
/// Wishes of each member.
const LINES: usize = 5;

/// Creates the club and its round. Returns the round.
async fn fill(app: &App, members: usize) -> RoundId {
    let organiser = call_of(app, 0);
    let club = CreateClub { draft: ClubDraft { name: "Larkwater growers".into(), ..ClubDraft::default() } };
    let id = app
        .write(&organiser, club, KeepReply::Yes, |shown| shown.club.id.to_string().into_bytes())
        .await
        .unwrap();
    let club: ClubId = String::from_utf8(id).unwrap().parse().unwrap();
    let postgres = app.store().backend() == Backend::Postgres;
    for n in 1..members {
        let row = format!(
            "INSERT INTO club_member (club_id, account_id, standing, words, since) VALUES ({}, {}, 'member', '', 0)",
            literal(club.uuid(), postgres),
            literal(member(n), postgres)
        );
        app.store().admin().execute_unprepared(&row).await.unwrap();
    }
    let today = app.clock().now().date();
    let round = CreateRound {
        club,
        draft: RoundDraft {
            title: "The large swap".into(),
            area: "XB".into(),
            day: Some(today.plus_days(7)),
            settings: Settings::default(),
            ..RoundDraft::default()
        },
    };
    let id = app
        .write(&organiser, round, KeepReply::Yes, |shown| shown.round.id.to_string().into_bytes())
        .await
        .unwrap();
    let round: RoundId = String::from_utf8(id).unwrap().parse().unwrap();
    for n in 0..members {
        let call = call_of(app, n);
        let join = JoinRound {
            id: round,
            draft: PartDraft {
                area: "XB".into(),
                meeting: true,
                contact: "here".into(),
                ..PartDraft::default()
            },
        };
        app.write(&call, join, KeepReply::Yes, |_| Vec::new()).await.unwrap();
        let post = CreateOffer {
            cultivar: ["R2E2", "Golek", "Keitt", "Kent"][n % 4].into(),
            crop: "mango".into(),
            draft: draft(app, PACKS as i32),
            lot: String::new(),
            club: String::new(),
        };
        let offer = app
            .write(&call, post, KeepReply::Yes, |shown| shown.offer.id.to_string().into_bytes())
            .await
            .unwrap();
        let bring = BringLot {
            id: round,
            offer: String::from_utf8(offer).unwrap().parse().unwrap(),
            units: 0,
            per_unit: 1,
            gift: false,
            papers: String::new(),
        };
        app.write(&call, bring, KeepReply::Yes, |_| Vec::new()).await.unwrap();
    }
    // A few lots are dear to many.
    let mut numbers = Numbers::new(7);
    for n in 0..members {
        let mut wanted: Vec<usize> = Vec::new();
        while wanted.len() < LINES {
            let lot = numbers.below(members).min(numbers.below(members)) + 1;
            if lot != n + 1 && !wanted.contains(&lot) {
                wanted.push(lot);
            }
        }
        let line = |lot: usize| ListLine {
            rank: 0,
            quantity: 1,
            accepts: vec![AcceptsDraft { lot: lot.to_string(), ..AcceptsDraft::default() }],
        };
        let wishes = SetWishes { id: round, lines: wanted.into_iter().map(line).collect() };
        app.write(&call_of(app, n), wishes, KeepReply::Yes, |_| Vec::new()).await.unwrap();
    }
    round
}

/// Resident memory of this process in MB (proc(5), statm).
fn memory() -> f64 {
    let text = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages: f64 = text.split(' ').nth(1).and_then(|n| n.parse().ok()).unwrap_or(0.0);
    pages * 4_096.0 / 1e6
}

async fn list_all(app: &App, round: RoundId) -> (usize, usize, usize) {
    let call = call_of(app, 0);
    let mut counts = [0; 3];
    for (which, count) in counts.iter_mut().enumerate() {
        let mut token = String::new();
        loop {
            let (rows, next) = match which {
                0 => {
                    let page = app.round_lots(&call, round, false, 100, &token).await.unwrap();
                    (page.rows.len(), page.next)
                }
                1 => {
                    let page = app.round_members(&call, round, 100, &token).await.unwrap();
                    (page.rows.len(), page.next)
                }
                _ => {
                    let page = app.round_shares(&call, round, 100, &token).await.unwrap();
                    (page.rows.len(), page.next)
                }
            };
            *count += rows;
            let Some(next) = next else { break };
            token = next;
        }
    }
    (counts[0], counts[1], counts[2])
}

#[tokio::main]
async fn main() {
    let members = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(1_000);
    let folder = tempfile::tempdir().unwrap();
    let url = std::env::args()
        .nth(2)
        .unwrap_or_else(|| format!("sqlite:{}", folder.path().join("day.db").display()));
    let app = open(&url, members).await;
    let round = fill(&app, members).await;
    let organiser = call_of(&app, 0);
    println!(
        "{:?}: {members} members, {} packs, {} lines; {:.0} MB",
        app.store().backend(),
        members * PACKS,
        members * LINES,
        memory()
    );
    let began = Instant::now();
    let seal = app.prepare_sealing(&organiser, round).await.unwrap();
    app.write(&organiser, seal, KeepReply::Yes, |_| Vec::new()).await.unwrap();
    println!("sealed in {:.2} s; {:.0} MB", began.elapsed().as_secs_f64(), memory());
    let began = Instant::now();
    let (tell, mut told) = tokio::sync::mpsc::channel(64);
    let listen = tokio::spawn(async move { while told.recv().await.is_some() {} });
    let request = AllotRequest { id: round, only_checked_in: false };
    app.allot_round(&organiser, request, tell).await.unwrap();
    listen.await.unwrap();
    println!(
        "settled, with everybody's reasons, in {:.2} s; {:.0} MB",
        began.elapsed().as_secs_f64(),
        memory()
    );
    let began = Instant::now();
    let readers: Vec<_> = (0..READERS)
        .map(|n| {
            let (app, call) = (app.clone(), call_of(&app, n * members / READERS));
            tokio::spawn(async move {
                let began = Instant::now();
                let mine = app.my_round(&call, round).await.unwrap();
                (began.elapsed(), mine.wishes.iter().filter(|wish| wish.why_not.is_some()).count())
            })
        })
        .collect();
    let (mut longest, mut reasons) = (Duration::ZERO, 0);
    for reader in readers {
        let (waited, short) = reader.await.unwrap();
        longest = longest.max(waited);
        reasons += short;
    }
    println!(
        "{READERS} read their result at once: the last after {:.3} s, all in {:.3} s, {reasons} reasons; {:.0} MB",
        longest.as_secs_f64(),
        began.elapsed().as_secs_f64(),
        memory()
    );
    let began = Instant::now();
    let (lots, people, shares) = list_all(&app, round).await;
    println!(
        "all pages of {lots} lots, {people} members, {shares} shares in {:.2} s; {:.0} MB",
        began.elapsed().as_secs_f64(),
        memory()
    );
    app.store().clone().close().await;
}
