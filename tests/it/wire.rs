//! The wire: limits, deadlines, unknown methods, health, reflection, TLS, stop.

use std::time::Duration;

use prost::{Message as _, bytes::Bytes};
use scionary_proto::{Rpc, client::Wire, v1};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{reason, wrong_fields},
    server::settings,
};
use tonic::{Code, transport::Endpoint};
use tonic_health::pb::{
    HealthCheckRequest, health_check_response::ServingStatus, health_client::HealthClient,
};

#[tokio::test]
async fn what_is_too_large_or_unknown_is_refused() {
    let database = Database::sqlite();
    let server = TestServer::with(&database.url, &["limits.request_kib_max=16"]).await;
    let visitor = server.raw();
    let large = v1::LookUpSeedRequest { name: "x".repeat(20_000), crop: String::new() };
    let error = visitor.call(&large).await.unwrap_err();
    assert_eq!(
        (error.code(), reason(&error).as_str()),
        (Code::ResourceExhausted, "REQUEST_TOO_LARGE"),
        "a body over the limit"
    );
    let long = v1::LookUpSeedRequest { name: "x".repeat(200), crop: "durian".into() };
    let error = visitor.call(&long).await.unwrap_err();
    assert_eq!(wrong_fields(&error), ["name", "crop"]);
    let error = visitor.path("/scionary.v1.OfferService/Nothing", Vec::new(), false).await.unwrap_err();
    assert_eq!((error.code(), reason(&error).as_str()), (Code::Unimplemented, "UNKNOWN_METHOD"));
    let junk = visitor.bytes(Rpc::CultivarLookUpSeed, vec![0xff; 40]).await.unwrap_err();
    assert_eq!((junk.code(), reason(&junk).as_str()), (Code::InvalidArgument, "MALFORMED"));
    // A name without a match, and an unknown name with suggestions.
    let none: v1::LookUpSeedResponse =
        visitor.call(&v1::LookUpSeedRequest { name: "xyzzy".into(), crop: String::new() }).await.unwrap();
    assert!(none.report.is_none() && none.nothing_found_hint.contains("propose"));
    let request = v1::GetCultivarRequest { cultivar: "Kesington".into(), crop: String::new() };
    let error = visitor.call(&request).await.unwrap_err();
    assert_eq!(error.code(), Code::NotFound);
    assert!(error.message().contains("did you mean Kensington Pride"), "{}", error.message());
    let request =
        v1::GetOfferRequest { offer_id: "acc_00000000000000000000000000".into(), ..Default::default() };
    let error = visitor.call(&request).await.unwrap_err();
    assert!(error.message().contains("that is an account id"), "{}", error.message());
    server.stop().await;
}

#[tokio::test]
async fn calls_are_counted_and_told_when_to_come_again() {
    let database = Database::sqlite();
    let server = TestServer::with(&database.url, &["limits.reads_per_minute=5"]).await;
    let visitor = server.raw();
    let mut refused = None;
    for _ in 0..8 {
        let reply = visitor.call(&v1::ListCropsRequest {}).await;
        refused = refused.or(reply.err());
    }
    let refused = refused.expect("a refusal");
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::ResourceExhausted, "TOO_MANY_CALLS"));
    let wait = tonic_types::StatusExt::get_error_details(&refused).retry_info().unwrap().retry_delay.unwrap();
    assert!(wait > Duration::from_secs(1) && wait < Duration::from_secs(60));
    server.stop().await;
}

#[tokio::test]
async fn health_is_told_for_each_service_and_stop_finishes_calls() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let mut health = HealthClient::new(server.channel.clone());
    for service in Rpc::SERVICES.iter().chain(&[""]) {
        let request = HealthCheckRequest { service: (*service).into() };
        let reply = health.check(request).await.unwrap().into_inner();
        assert_eq!(reply.status(), ServingStatus::Serving, "{service}");
    }
    let unknown = HealthCheckRequest { service: "scionary.v1.NothingService".into() };
    assert_eq!(health.check(unknown).await.unwrap_err().code(), Code::NotFound);
    // A call in progress at the stop is finished.
    let visitor = server.raw();
    let sign_up = tokio::spawn(async move { visitor.sign_up("rosamund", "").await });
    let under_way = async {
        while server.running.calls_under_way() == 0 {
            assert!(!sign_up.is_finished(), "it was over before the stop came");
            tokio::task::yield_now().await;
        }
    };
    tokio::time::timeout(Duration::from_secs(20), under_way).await.expect("the call arrives");
    server.stop().await;
    assert!(sign_up.await.unwrap().is_ok());
}

#[tokio::test]
async fn a_silent_peer_does_not_hold_up_a_stop() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let _silent = tokio::net::TcpStream::connect(server.running.address()).await.unwrap();
    tokio::time::timeout(Duration::from_secs(8), server.stop()).await.expect("the stop's grace is kept");
}

#[tokio::test]
async fn deadlines_are_kept() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    // Hashing a password takes far longer than this deadline.
    let request = v1::SignInRequest { handle: "stranger".into(), password: "x".into(), label: String::new() };
    let mut request = tonic::Request::new(Bytes::from(request.encode_to_vec()));
    request.metadata_mut().insert("grpc-timeout", "1m".parse().unwrap());
    let wire = Wire::plain(server.channel.clone());
    let error = wire.unary(Rpc::AccountSignIn.path().parse().unwrap(), request).await.err().unwrap();
    assert!(matches!(error.code(), Code::DeadlineExceeded | Code::Cancelled), "{error:?}");
    server.stop().await;
}

#[tokio::test]
async fn tls_is_built_in_and_plaintext_beyond_this_machine_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let made = rcgen::generate_simple_self_signed(vec!["localhost".into()]).unwrap();
    let (certificate, key) = (folder.path().join("c.pem"), folder.path().join("k.pem"));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let database = Database::sqlite();
    let set = [
        format!("listen.tls_certificate={}", certificate.display()),
        format!("listen.tls_key={}", key.display()),
    ];
    let config = settings(&database.url, &[&set[0], &set[1]]);
    let running = scionary_server::serve::start(&config).await.unwrap();
    let tls = tonic::transport::ClientTlsConfig::new()
        .ca_certificate(tonic::transport::Certificate::from_pem(made.cert.pem()))
        .domain_name("localhost");
    let port = running.address().port();
    let channel =
        Endpoint::from_shared(format!("https://127.0.0.1:{port}")).unwrap().tls_config(tls).unwrap();
    let visitor = Raw::new(channel.connect().await.unwrap());
    assert!(visitor.call(&v1::GetServerRequest {}).await.is_ok());
    drop(visitor);
    running.stop().await.unwrap();

    let set = ["listen.address=0.0.0.0:0".to_string()];
    let sources = scionary_server::config::Sources { set: set.to_vec(), ..Default::default() };
    let error = scionary_server::config::load(&sources).unwrap_err().to_string();
    assert!(error.contains("passwords would travel in the clear"), "{error}");
}

#[tokio::test]
async fn one_server_sees_what_another_changed() {
    let Some(database) = Database::postgres().await else { return };
    let first = TestServer::start(&database.url).await;
    let second = TestServer::start(&database.url).await;
    let catalogue = scionary_app::catalogue::parse(
        &scionary_server::data::demo(),
        &first.running.app().registry().crops().cloned().collect::<Vec<_>>(),
    )
    .unwrap();
    first.running.app().load_catalogue(catalogue).await.unwrap();
    let mut seen = false;
    for _ in 0..60 {
        seen = second.running.app().registry().resolve("c", "Lantern Moth", "").is_ok();
        if seen {
            break;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    assert!(seen, "the second server's registry follows the first's");
    // An account made through one server signs in through the other.
    first.raw().sign_up("rosamund", "").await.unwrap();
    second.raw().sign_in("rosamund", scionary_tests::client::PASSWORD).await.unwrap();
    first.stop().await;
    second.stop().await;
    database.done().await;
}
