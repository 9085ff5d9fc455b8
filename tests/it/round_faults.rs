//! A server killed while it settles: the round is wholly sealed or wholly settled, and settled once.

use std::time::Duration;

use scionary_proto::v1::{self, RoundPhase};
use scionary_tests::{Database, Raw, binaries::Server, kills::Kills};
use tonic::transport::Endpoint;

use crate::{
    clubs::{let_in, make},
    rounds,
};

const ROOMY: [&str; 4] = [
    "accounts.sign_up=open",
    "limits.writes_per_minute=1000000",
    "limits.reads_per_minute=1000000",
    "limits.passwords_per_minute=100000",
];
const MEMBERS: usize = 6;

async fn visitor(server: &Server) -> Raw {
    Raw::new(Endpoint::from_shared(format!("http://{}", server.address)).unwrap().connect().await.unwrap())
}

/// Creates a sealed round in which everyone swaps in a ring.
async fn sealed(people: &[Raw], club: &str) -> String {
    let ann = &people[0];
    let round = rounds::create(ann, club, rounds::round(rounds::settings())).await.unwrap().round_id;
    for who in people {
        rounds::join(who, &round, "XB-NS").await.unwrap();
        let wood = rounds::offer(who, "Golek", 1).await;
        rounds::bring(who, &round, &wood, 1).await.unwrap();
    }
    for (at, who) in people.iter().enumerate() {
        rounds::wish(who, &round, &[i32::try_from((at + 1) % MEMBERS + 1).unwrap()]).await.unwrap();
    }
    rounds::seal(ann, &round).await.unwrap();
    round
}

async fn killed_amid_settling(url: &str, least: usize) {
    let mut server = Server::start(url, &ROOMY);
    let guest = visitor(&server).await;
    let mut tokens = Vec::new();
    for at in 0..MEMBERS {
        let who = guest.member(&format!("member{at}")).await;
        tokens.push(who.token().unwrap().to_string());
    }
    let ann = Raw::at(&server.address).await.with_token(&tokens[0]);
    let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
    for token in &tokens[1..] {
        let_in(&ann, &Raw::at(&server.address).await.with_token(token), &club).await;
    }
    let mut kills = Kills::new(least, Duration::from_millis(1));
    while kills.go_on() {
        let mut people = Vec::new();
        for token in &tokens {
            people.push(Raw::at(&server.address).await.with_token(token));
        }
        let round = sealed(&people, &club).await;
        let (caller, id) = (people[0].clone(), round.clone());
        let settling = tokio::spawn(async move { rounds::settle(&caller, &id, false).await });
        kills.wait().await;
        server.kill();
        let told = settling.await.unwrap();
        server = Server::start(url, &ROOMY);
        let ann = Raw::at(&server.address).await.with_token(&tokens[0]);
        let get = v1::GetRoundRequest { round_id: round.clone() };
        let stands: v1::GetRoundResponse = ann.call(&get).await.unwrap();
        let stands = stands.round.unwrap();
        let list = v1::ListRoundSharesRequest { round_id: round.clone(), ..Default::default() };
        let shares: v1::ListRoundSharesResponse = ann.call(&list).await.unwrap();
        match stands.phase() {
            RoundPhase::Sealed => {
                assert!(shares.shares.is_empty() && stands.runs == 0);
                assert!(!matches!(told, Ok(last) if last.settled), "what was told is kept");
                let again = rounds::settle(&ann, &round, false).await.unwrap();
                assert!(again.settled && again.runs == 1);
            }
            RoundPhase::Allotted => assert_eq!(shares.shares.len(), MEMBERS),
            other => panic!("neither sealed nor settled: {other:?}"),
        }
        let settled = usize::from(stands.phase() == RoundPhase::Allotted);
        kills.hit(1 - settled, settled);
        let off = v1::CallOffRoundRequest { round_id: round, reason: "Another one.".into() };
        ann.call(&off).await.unwrap();
    }
    kills.check();
    assert!(server.terminate());
}

#[tokio::test]
async fn a_crash_leaves_a_round_sealed_or_settled() {
    let kills = if std::env::var_os("SCIONARY_LONG").is_some() { 20 } else { 3 };
    let sqlite = Database::sqlite();
    killed_amid_settling(&sqlite.url, kills).await;
    if let Some(postgres) = Database::postgres().await {
        killed_amid_settling(&postgres.url, kills).await;
        postgres.done().await;
    }
}
