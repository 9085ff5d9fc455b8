//! Faults on purpose: the server killed in the middle of writes, the database's connections cut.

use std::time::Duration;

use scionary_proto::{Rpc, v1};
use scionary_tests::{Database, Raw, TestServer, binaries::Server, client::fresh_key, samples::draft};
use tonic::transport::Endpoint;

const ROOMY: [&str; 3] =
    ["accounts.sign_up=open", "limits.writes_per_minute=1000000", "limits.reads_per_minute=1000000"];

async fn connect(server: &Server) -> Raw {
    Raw::new(Endpoint::from_shared(format!("http://{}", server.address)).unwrap().connect().await.unwrap())
}

async fn offers_on(server: &Server, token: &str) -> usize {
    let giver = connect(server).await.with_token(token);
    let (mut count, mut page_token) = (0, String::new());
    loop {
        let request = v1::ListMyOffersRequest { page_size: 100, page_token };
        let reply: v1::ListMyOffersResponse = giver.call(Rpc::OfferListMyOffers, &request).await.unwrap();
        count += reply.offers.len();
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return count;
        }
    }
}

/// Kills the server amid writes, starts it again, repeats what was not acknowledged under the same keys:
/// every acknowledged offer is there, every key was applied once.
async fn killed_amid_writes(url: &str, rounds: usize) {
    let mut server = Server::start(url, &ROOMY);
    let giver = connect(&server).await.member("giver").await;
    let token = giver.token().unwrap().to_string();
    let mut wanted = 0;
    for round in 0..rounds {
        let giver = connect(&server).await.with_token(&token);
        let writers: Vec<_> = (0..12)
            .map(|_| {
                let keyed = giver.with_key(&fresh_key());
                tokio::spawn(async move {
                    let request = v1::CreateOfferRequest { offer: Some(draft()) };
                    let done = keyed.call::<v1::CreateOfferResponse>(Rpc::OfferCreateOffer, &request).await;
                    (keyed, done.map(|r| r.offer.unwrap().offer_id).ok())
                })
            })
            .collect();
        tokio::time::sleep(Duration::from_millis(3 + 4 * u64::try_from(round).unwrap())).await;
        server.kill();
        server = Server::start(url, &ROOMY);
        for writer in writers {
            let (keyed, acknowledged) = writer.await.unwrap();
            wanted += 1;
            let again = connect(&server).await.with_token(&token).with_key(&keyed.key_text());
            let request = v1::CreateOfferRequest { offer: Some(draft()) };
            let repeat: v1::CreateOfferResponse = again.call(Rpc::OfferCreateOffer, &request).await.unwrap();
            if let Some(id) = acknowledged {
                assert_eq!(repeat.offer.unwrap().offer_id, id, "an acknowledged write was lost");
            }
        }
        assert_eq!(offers_on(&server, &token).await, wanted, "a key was applied twice, or not at all");
    }
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
            match keyed.call::<v1::CreateOfferResponse>(Rpc::OfferCreateOffer, &request).await {
                Ok(_) => {
                    done = true;
                    break;
                }
                Err(error) => {
                    assert_eq!(error.code(), tonic::Code::Unavailable, "{}", error.message());
                    assert!(!error.message().contains(&name), "nothing of the database is told");
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            }
        }
        assert!(done, "the server comes back by itself");
        // look-ups do not need the database
        admin.execute_unprepared(cut).await.unwrap();
        let look = v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() };
        assert!(server.raw().call::<v1::LookUpSeedResponse>(Rpc::CultivarLookUpSeed, &look).await.is_ok());
    }
    let mine: v1::ListMyOffersResponse =
        giver.call(Rpc::OfferListMyOffers, &v1::ListMyOffersRequest::default()).await.unwrap();
    assert_eq!(mine.offers.len(), 3, "each key was applied once");
    drop(admin);
    server.stop().await;
    database.done().await;
}
