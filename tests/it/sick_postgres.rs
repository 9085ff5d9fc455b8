//! PostgreSQL that is full, silent or gone: it is reported, calls do not hang, acknowledged writes are there once.

use std::time::Duration;

use scionary_proto::v1;
use scionary_tests::{Database, TestServer, samples::draft};
use sea_orm::ConnectionTrait as _;
use tonic::Code;

use crate::sick::{Evening, NOT_SERVING, SERVING, health, health_becomes};

/// PostgreSQL out of space, at a statement or at the commit: the same result.
#[tokio::test]
async fn a_full_postgres_is_said_and_survived() {
    let Some(database) = Database::postgres().await else { return };
    let admin = database.connect().await;
    // SQLSTATE 53100 as the server raises it; deferred, it comes at COMMIT.
    admin
        .execute_unprepared(
            "CREATE TABLE full_now (at_commit boolean);
             CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS $$
             BEGIN
                 IF EXISTS (SELECT FROM full_now WHERE at_commit = (TG_NAME = 'no_room_at_commit')) THEN
                     RAISE EXCEPTION 'could not extend file' USING ERRCODE = '53100';
                 END IF;
                 RETURN NULL;
             END $$;
             CREATE CONSTRAINT TRIGGER no_room_at_commit AFTER INSERT ON audit_log
                 DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION no_room();
             CREATE TRIGGER no_room AFTER INSERT ON audit_log FOR EACH ROW EXECUTE FUNCTION no_room();
             CREATE TRIGGER no_room AFTER INSERT OR UPDATE ON setting FOR EACH ROW EXECUTE FUNCTION no_room();
             CREATE CONSTRAINT TRIGGER no_room_at_commit AFTER INSERT OR UPDATE ON setting
                 DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION no_room();",
        )
        .await
        .unwrap();
    let server = TestServer::start(&database.url).await;
    let address = server.running.address().to_string();
    let mut n = 0;
    for at_commit in [false, true] {
        admin.execute_unprepared(&format!("INSERT INTO full_now VALUES ({at_commit})")).await.unwrap();
        let refused = server.raw().sign_up(&format!("early-{at_commit}"), "").await.unwrap_err();
        assert_eq!(refused.code(), Code::Unavailable, "{}", refused.message());
        assert!(refused.message().contains("disk is full"), "{}", refused.message());
        health_becomes(&address, NOT_SERVING).await;
        tokio::time::sleep(Duration::from_millis(1500)).await;
        assert_eq!(health(&address).await, NOT_SERVING);
        admin.execute_unprepared("DELETE FROM full_now").await.unwrap();
        health_becomes(&address, SERVING).await;
        n += 1;
        let mut evening = Evening {
            address: address.clone(),
            mend: Box::new(|| {}),
            mended: true,
            failed: 0,
            acknowledged: Vec::new(),
        };
        let people = evening.live(n).await;
        evening.check(&address, &people).await;
    }
    drop(admin);
    server.stop().await;
    database.done().await;
}

/// A connection to PostgreSQL that a test can cut or silence.
struct Line {
    port: u16,
    silent: tokio::sync::watch::Sender<bool>,
    task: tokio::task::JoinHandle<()>,
}

impl Line {
    async fn to(host: String) -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let (silent, look) = tokio::sync::watch::channel(false);
        let task = tokio::spawn(async move {
            loop {
                let (mut near, _) = listener.accept().await.unwrap();
                let (host, mut look) = (host.clone(), look.clone());
                tokio::spawn(async move {
                    let mut far = tokio::net::TcpStream::connect(host).await.unwrap();
                    // Silent: no byte passes, and the connection stays open.
                    let silent = async {
                        let _ = look.wait_for(|silent| *silent).await;
                    };
                    let over = tokio::select! {
                        _ = tokio::io::copy_bidirectional(&mut near, &mut far) => true,
                        () = silent => false,
                    };
                    if !over {
                        let _ = look.wait_for(|silent| !silent).await;
                    }
                });
            }
        });
        Self { port, silent, task }
    }
}

#[tokio::test]
async fn a_database_that_goes_silent_keeps_nobody_waiting() {
    let Some(database) = Database::postgres().await else { return };
    let (before, name) = database.url.rsplit_once('/').unwrap();
    let (user, host) = before.rsplit_once('@').unwrap();
    let line = Line::to(host.to_string()).await;
    let server = TestServer::start(&format!("{user}@127.0.0.1:{}/{name}", line.port)).await;
    let address = server.running.address().to_string();
    let ann = server.raw().member("ann").await;
    line.silent.send(true).unwrap();
    // Some calls come before the failure is known, some after.
    for _ in 0..2 {
        let calls: Vec<_> = (0..20)
            .map(|n| {
                let ann = ann.clone();
                tokio::spawn(async move {
                    match n % 2 {
                        0 => ann.call(&v1::WhoAmIRequest::default()).await.map(|_| ()),
                        _ => ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.map(|_| ()),
                    }
                })
            })
            .collect();
        let answered = async {
            for call in calls {
                let refused = call.await.unwrap().unwrap_err();
                assert_eq!(refused.code(), Code::Unavailable, "{}", refused.message());
                assert!(refused.message().contains("does not answer"), "{}", refused.message());
            }
        };
        // A call's usual deadline is 30 s; here a check starts within one, waits two, and calls wait one more.
        tokio::time::timeout(Duration::from_secs(8), answered).await.expect("no one is kept waiting");
        health_becomes(&address, NOT_SERVING).await;
    }
    let look = v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() };
    server.raw().call(&look).await.unwrap();
    line.silent.send(false).unwrap();
    health_becomes(&address, SERVING).await;
    ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
    // No PostgreSQL at all.
    line.task.abort();
    line.silent.send(true).unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    line.silent.send(false).unwrap();
    health_becomes(&address, NOT_SERVING).await;
    let who = v1::WhoAmIRequest::default();
    let refused = tokio::time::timeout(Duration::from_secs(4), ann.call(&who)).await.expect("no wait");
    assert_eq!(refused.unwrap_err().code(), Code::Unavailable);
    server.stop().await;
    database.done().await;
}
