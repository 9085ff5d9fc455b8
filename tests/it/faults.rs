//! Deliberate faults: the server is killed amid writes, the database's connections are cut.

use std::time::Duration;

use scionary_proto::v1;
use scionary_tests::{
    Database, Raw, TestServer, binaries::Server, client::fresh_key, kills::Kills, samples::draft,
};

const ROOMY: [&str; 3] =
    ["accounts.sign_up=open", "limits.writes_per_minute=1000000", "limits.reads_per_minute=1000000"];

async fn offers_on(server: &Server, token: &str) -> usize {
    let giver = Raw::at(&server.address).await.with_token(token);
    let (mut count, mut page_token) = (0, String::new());
    loop {
        let request = v1::ListMyOffersRequest { page_size: 100, page_token };
        let reply: v1::ListMyOffersResponse = giver.call(&request).await.unwrap();
        count += reply.offers.len();
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return count;
        }
    }
}

/// Kills the server amid writes, restarts it, and retries unacknowledged writes with their keys. Every acknowledged
/// offer is there, and every key was applied once.
async fn killed_amid_writes(url: &str, rounds: usize) {
    let mut server = Server::start(url, &ROOMY);
    let giver = Raw::at(&server.address).await.member("giver").await;
    let token = giver.token().unwrap().to_string();
    let mut wanted = 0;
    let mut kills = Kills::new(rounds, Duration::from_millis(3));
    while kills.go_on() {
        let giver = Raw::at(&server.address).await.with_token(&token);
        let writers: Vec<_> = (0..12)
            .map(|_| {
                let keyed = giver.with_key(&fresh_key());
                tokio::spawn(async move {
                    let request = v1::CreateOfferRequest { offer: Some(draft()) };
                    let done = keyed.call(&request).await;
                    (keyed, done.map(|r| r.offer.unwrap().offer_id).ok())
                })
            })
            .collect();
        kills.wait().await;
        server.kill();
        server = Server::start(url, &ROOMY);
        let committed = offers_on(&server, &token).await - wanted;
        kills.hit(writers.len() - committed, committed);
        for writer in writers {
            let (keyed, acknowledged) = writer.await.unwrap();
            wanted += 1;
            let again = Raw::at(&server.address).await.with_token(&token).with_key(&keyed.key_text());
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let repeat: v1::CreateOfferResponse = again.call(&request).await.unwrap();
            if let Some(id) = acknowledged {
                assert_eq!(repeat.offer.unwrap().offer_id, id, "an acknowledged write was lost");
            }
        }
        assert_eq!(offers_on(&server, &token).await, wanted, "a key was applied twice, or not at all");
    }
    kills.check();
    assert!(server.terminate(), "a graceful stop ends well");
}

#[tokio::test]
async fn a_killed_server_loses_nothing_it_acknowledged() {
    let rounds = if std::env::var_os("SCIONARY_LONG").is_some() { 15 } else { 4 };
    let sqlite = Database::sqlite();
    killed_amid_writes(&sqlite.url, rounds).await;
    if let Some(postgres) = Database::postgres().await {
        killed_amid_writes(&postgres.url, rounds).await;
        postgres.done().await;
    }
}

#[tokio::test]
async fn a_database_that_goes_and_comes_back_is_told_and_survived() {
    use sea_orm::ConnectionTrait as _;
    let Some(database) = Database::postgres().await else { return };
    let server = TestServer::start(&database.url).await;
    let giver = server.raw().member("giver").await;
    let admin = database.connect().await;
    let cut = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()";
    let name = database.url.rsplit('/').next().unwrap().split('?').next().unwrap().to_string();
    for _ in 0..3 {
        admin.execute_unprepared(cut).await.unwrap();
        let request = v1::CreateOfferRequest { offer: Some(draft()) };
        let keyed = giver.with_key(&fresh_key());
        let mut done = false;
        for _ in 0..20 {
            match keyed.call(&request).await {
                Ok(_) => {
                    done = true;
                    break;
                }
                Err(error) => {
                    assert_eq!(error.code(), tonic::Code::Unavailable, "{}", error.message());
                    assert!(!error.message().contains(&name), "nothing of the database is shown");
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            }
        }
        assert!(done, "the server comes back by itself");
        // Look-ups do not need the database.
        admin.execute_unprepared(cut).await.unwrap();
        let look = v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() };
        assert!(server.raw().call(&look).await.is_ok());
    }
    let mine: v1::ListMyOffersResponse = giver.call(&v1::ListMyOffersRequest::default()).await.unwrap();
    assert_eq!(mine.offers.len(), 3, "each key was applied once");
    drop(admin);
    server.stop().await;
    database.done().await;
}

/// Returns the id of a record, after following merges.
async fn stands_as(who: &Raw, cultivar: &str) -> String {
    let request = v1::GetCultivarRequest { cultivar: cultivar.into(), crop: "mango".into() };
    let reply: v1::GetCultivarResponse = who.call(&request).await.unwrap();
    reply.summary.unwrap().cultivar_id
}

/// Kills the server amid decisions on merges: each merge is complete with its decision and history, or absent.
async fn killed_amid_merges(url: &str, rounds: usize) {
    let mut server = Server::start(url, &ROOMY);
    let code = std::process::Command::new(scionary_tests::binaries::folder().join("scionaryd"))
        .args(["steward-code", "--database", url])
        .output()
        .unwrap();
    let code = String::from_utf8(code.stdout).unwrap().trim().to_string();
    let visitor = Raw::at(&server.address).await;
    visitor.sign_up("steward", &code).await.unwrap();
    let steward = visitor.sign_in("steward", scionary_tests::client::PASSWORD).await.unwrap();
    let ann = visitor.member("ann").await;
    let (steward, ann) = (steward.token().unwrap().to_string(), ann.token().unwrap().to_string());
    let mut kills = Kills::new(rounds, Duration::from_millis(2));
    while kills.go_on() {
        let round = kills.struck();
        let (proposer, ruler) = (
            Raw::at(&server.address).await.with_token(&ann),
            Raw::at(&server.address).await.with_token(&steward),
        );
        // New records, so that every round has some to merge.
        let mut merges = Vec::new();
        let into = stands_as(&proposer, "Kent").await;
        for n in 0..6 {
            let name = format!(
                "Lantern {}{} {}",
                ["Amber", "Birch", "Cedar", "Dapple"][round % 4],
                ["", " Minor", " Major", " Early", " Late", " Dwarf", " Giant", " Round", " Long", " Flat"]
                    [round / 4],
                ["Uno", "Duo", "Tre", "Quad", "Quin", "Sex"][n]
            );
            let made = propose(
                &proposer,
                "",
                v1::change::Change::NewCultivar(v1::NewCultivar { name: name.clone(), ..Default::default() }),
            )
            .await;
            rule(&ruler, &made).await.unwrap();
            let id = stands_as(&proposer, &name).await;
            let merge = v1::change::Change::Merge(v1::Merge { into_cultivar_id: into.clone() });
            merges.push((id.clone(), propose(&proposer, &id, merge).await));
        }
        let calls: Vec<_> = merges
            .iter()
            .map(|(_, proposal)| {
                let (ruler, proposal) = (ruler.clone(), proposal.clone());
                tokio::spawn(async move { rule(&ruler, &proposal).await.is_ok() })
            })
            .collect();
        kills.wait().await;
        server.kill();
        server = Server::start(url, &ROOMY);
        let mut committed = 0;
        let after = Raw::at(&server.address).await.with_token(&ann);
        for ((id, proposal), call) in merges.iter().zip(calls) {
            let acknowledged = call.await.unwrap();
            let get = v1::GetProposalRequest { proposal_id: proposal.clone() };
            let reply: v1::GetProposalResponse = after.call(&get).await.unwrap();
            let accepted = reply.proposal.unwrap().state() == v1::ProposalState::Accepted;
            let merged = stands_as(&after, id).await == into;
            let history =
                v1::GetHistoryRequest { cultivar: id.clone(), page_size: 100, ..Default::default() };
            let history: v1::GetHistoryResponse = after.call(&history).await.unwrap();
            let told = history.events.iter().any(|e| e.action == "merged" && e.subject_id == *proposal);
            assert_eq!((accepted, merged, told), (accepted, accepted, accepted), "between the two states");
            assert!(accepted || !acknowledged, "an acknowledged ruling was lost");
            committed += usize::from(accepted);
        }
        kills.hit(merges.len() - committed, committed);
    }
    kills.check();
    assert!(server.terminate());
}

async fn propose(who: &Raw, cultivar: &str, change: v1::change::Change) -> String {
    let request = v1::CreateProposalRequest {
        cultivar: cultivar.into(),
        crop: "mango".into(),
        change: Some(v1::Change { change: Some(change) }),
        reason: "As the growers here know it.".into(),
        citation: String::new(),
    };
    let reply: v1::CreateProposalResponse = who.call(&request).await.unwrap();
    reply.proposal.unwrap().proposal_id
}

async fn rule(who: &Raw, proposal: &str) -> Result<v1::DecideProposalResponse, tonic::Status> {
    let request = v1::DecideProposalRequest {
        proposal_id: proposal.into(),
        accept: Some(true),
        reason: "Compared with the source.".into(),
    };
    who.call(&request).await
}

#[tokio::test]
async fn a_crash_in_a_merge_leaves_either_state() {
    let rounds = if std::env::var_os("SCIONARY_LONG").is_some() { 4 } else { 2 };
    let sqlite = Database::sqlite();
    killed_amid_merges(&sqlite.url, rounds).await;
    if let Some(postgres) = Database::postgres().await {
        killed_amid_merges(&postgres.url, rounds).await;
        postgres.done().await;
    }
}
