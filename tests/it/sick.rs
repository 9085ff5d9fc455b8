//! Failing storage: acknowledged writes are there, exactly once, whatever write, flush or allocation failed. Callers,
//! health checks and `scionaryd doctor` report what is wrong.

use std::{
    path::{Path, PathBuf},
    process::{Command, Output},
    time::Duration,
};

use prost::Message as _;
use scionary_proto::{Unary, v1};
use scionary_tests::{
    Database, Raw,
    binaries::{self, Server},
    client::{PASSWORD, fresh_key, reason},
    faults::{Fault, Faults},
    samples::{ask, draft},
};
use sea_orm::{ConnectionTrait as _, DatabaseBackend, Statement, TransactionTrait as _};
use tonic::Code;

const ROOMY: [&str; 5] = [
    "accounts.sign_up=open",
    "limits.writes_per_minute=1000000",
    "limits.reads_per_minute=1000000",
    "limits.passwords_per_minute=1000000",
    "limits.sign_ins_per_minute=1000000",
];

fn file_of(url: &str) -> PathBuf {
    PathBuf::from(url.strip_prefix("sqlite:").unwrap())
}

/// One evening: two people sign up, one offers, the other claims, both confirm the hand-over. Each call is retried with
/// its own key until it is acknowledged: at first while faults can strike, then after `mend`.
pub struct Evening<'a> {
    pub address: String,
    pub mend: Box<dyn Fn() + 'a>,
    pub mended: bool,
    pub failed: usize,
    pub acknowledged: Vec<Acknowledged>,
}

/// An acknowledged call.
pub struct Acknowledged {
    rpc: scionary_proto::Rpc,
    key: String,
    token: String,
    request: Vec<u8>,
    reply: Vec<u8>,
}

impl Evening<'_> {
    async fn insist<M: Unary>(&mut self, token: &str, request: &M) -> M::Reply {
        let key = fresh_key();
        let who = Raw::at(&self.address).await.with_token(token).with_key(&key);
        let who = if token.is_empty() { Raw::at(&self.address).await.with_key(&key) } else { who };
        let mut tries = 0;
        loop {
            match who.bytes(M::RPC, request.encode_to_vec()).await {
                Ok(reply) => {
                    let message = M::Reply::decode(reply.as_slice()).unwrap();
                    let request = request.encode_to_vec();
                    self.acknowledged.push(Acknowledged {
                        rpc: M::RPC,
                        key,
                        token: token.into(),
                        request,
                        reply,
                    });
                    return message;
                }
                Err(error) => {
                    assert_eq!(error.code(), Code::Unavailable, "{}: {}", M::RPC.path(), error.message());
                    self.failed += 1;
                    tries += 1;
                    if tries == 2 && !self.mended {
                        (self.mend)();
                        self.mended = true;
                    }
                    assert!(
                        tries < 40,
                        "{} is not done after the fault is over: {}",
                        M::RPC.path(),
                        error.message()
                    );
                    tokio::time::sleep(Duration::from_millis(if tries < 3 { 1 } else { 100 })).await;
                }
            }
        }
    }

    async fn member(&mut self, handle: &str) -> String {
        let request = v1::SignUpRequest {
            handle: handle.into(),
            display_name: handle.into(),
            password: PASSWORD.into(),
            code: String::new(),
        };
        self.insist("", &request).await;
        // A session is a secret that is shown once, so each try makes its own.
        for _ in 0..40 {
            match Raw::at(&self.address).await.sign_in(handle, PASSWORD).await {
                Ok(who) => return who.token().unwrap().to_string(),
                Err(error) => {
                    assert_eq!(error.code(), Code::Unavailable, "{}", error.message());
                    self.failed += 1;
                    (self.mend)();
                    self.mended = true;
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            }
        }
        panic!("{handle} cannot sign in");
    }

    pub async fn live(&mut self, n: usize) -> (String, String) {
        let (giver, taker) =
            (self.member(&format!("giver-{n}")).await, self.member(&format!("taker-{n}")).await);
        let posted =
            self.insist(&giver, &v1::CreateOfferRequest { offer: Some(draft()) }).await.offer.unwrap();
        let claim = self.insist(&taker, &ask(&posted.offer_id, 2)).await.claim.unwrap();
        let accept = v1::AcceptClaimRequest {
            claim_id: claim.claim_id.clone(),
            contact: "the blue door".into(),
            note: String::new(),
        };
        self.insist(&giver, &accept).await;
        let confirm = v1::ConfirmHandOverRequest { claim_id: claim.claim_id };
        self.insist(&taker, &confirm).await;
        self.insist(&giver, &confirm).await;
        (giver, taker)
    }

    /// Checks that every acknowledged write is there, once.
    pub async fn check(&self, address: &str, (giver, taker): &(String, String)) {
        for Acknowledged { rpc, key, token, request, reply } in &self.acknowledged {
            let who = Raw::at(address).await.with_key(key);
            let who = if token.is_empty() { who } else { who.with_token(token) };
            let again = who.bytes(*rpc, request.clone()).await.unwrap();
            if rpc.service() == "scionary.v1.ClaimService" {
                // The reply is made from the stored claim, which has changed since.
                let claim =
                    |bytes: &[u8]| v1::CreateClaimResponse::decode(bytes).unwrap().claim.unwrap().claim_id;
                assert_eq!(claim(&again), claim(reply), "{}", rpc.path());
            } else {
                assert_eq!(&again, reply, "{}: its kept reply is another", rpc.path());
            }
        }
        let giver = Raw::at(address).await.with_token(giver);
        let taker = Raw::at(address).await.with_token(taker);
        let offers = giver.call(&v1::ListMyOffersRequest::default()).await.unwrap().offers;
        let claims = taker.call(&v1::ListMyClaimsRequest::default()).await.unwrap().claims;
        let lots = taker.call(&v1::ListMyLotsRequest::default()).await.unwrap().lots;
        assert_eq!((offers.len(), claims.len(), lots.len()), (1, 1, 1), "each once");
        assert_eq!(claims[0].state(), v1::ClaimState::HandedOver);
        assert_eq!(offers[0].promised, 2);
    }
}

/// Returns the health check's status of the whole server.
pub async fn health(address: &str) -> i32 {
    let reply = Raw::at(address).await.path("/grpc.health.v1.Health/Check", Vec::new(), false).await.unwrap();
    i32::from(*reply.get(1).unwrap_or(&0))
}
pub const SERVING: i32 = 1;
pub const NOT_SERVING: i32 = 2;

pub async fn health_becomes(address: &str, wanted: i32) {
    let becomes = async {
        while health(address).await != wanted {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    };
    let became = tokio::time::timeout(Duration::from_secs(20), becomes).await;
    assert!(became.is_ok(), "health does not become {wanted}");
}

/// Each fault strikes at the n-th chance of an evening, once or until it is mended.
#[tokio::test]
async fn whatever_fails_on_the_disk_what_is_acknowledged_is_there_once() {
    let database = Database::sqlite();
    let Some(faults) = Faults::of(&file_of(&database.url)) else { return };
    let long = std::env::var_os("SCIONARY_LONG").is_some();
    let mut struck = [0; 4];
    let mut failed = [0; 4];
    let mut n = 0;
    let mut server = Server::start_in(&database.url, &ROOMY, faults.environment());
    for fault in Fault::ALL {
        // An evening has about 150 writes, 25 flushes and 5,000 allocations; extensions are rare, because the log is
        // reused.
        let at: Vec<i64> = match (fault, long) {
            (Fault::Write, false) => vec![0, 1, 7, 20, 45, 90],
            (Fault::Write, true) => (0..160).collect(),
            (Fault::Flush, false) => vec![0, 2, 5, 9],
            (Fault::Flush, true) => (0..25).collect(),
            (Fault::Room, _) => vec![0],
            (Fault::Memory, false) => vec![0, 30, 333, 1200],
            (Fault::Memory, true) => (0..400).map(|k| k * 13).collect(),
        };
        for well in at {
            for times in [1, i64::MAX] {
                n += 1;
                faults.begin(fault, well, times);
                let mut evening = Evening {
                    address: server.address.clone(),
                    mend: Box::new(|| faults.end()),
                    mended: false,
                    failed: 0,
                    acknowledged: Vec::new(),
                };
                let people = evening.live(n).await;
                struck[fault as usize] += faults.struck();
                failed[fault as usize] += evening.failed;
                faults.end();
                evening.check(&server.address, &people).await;
                // Only what is on the disk counts, not what the process holds in memory.
                server.kill();
                server = Server::start_in(&database.url, &ROOMY, faults.environment());
                evening.check(&server.address, &people).await;
            }
        }
    }
    for fault in [Fault::Write, Fault::Flush, Fault::Memory] {
        let fault_at = fault as usize;
        assert!(
            struck[fault_at] > 0 && failed[fault_at] > 0,
            "{fault:?}: {struck:?} struck, {failed:?} calls failed"
        );
    }
    assert!(server.terminate());
}

/// A disk that is full for a moment: it is reported, health is down meanwhile, and the server recovers without a
/// restart.
#[tokio::test]
async fn a_full_disk_is_said_and_survived() {
    let database = Database::sqlite();
    let Some(faults) = Faults::of(&file_of(&database.url)) else { return };
    let server = Server::start_in(&database.url, &ROOMY, faults.environment());
    let ann = Raw::at(&server.address).await.member("ann").await;
    assert_eq!(health(&server.address).await, SERVING);
    faults.begin(Fault::Write, 0, i64::MAX);
    for _ in 0..3 {
        let refused = ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::Unavailable, "DATABASE_UNAVAILABLE"));
        assert!(refused.message().contains("disk is full"), "{}", refused.message());
        assert!(
            !refused.message().contains(database.url.rsplit('/').next().unwrap()),
            "{}",
            refused.message()
        );
    }
    health_becomes(&server.address, NOT_SERVING).await;
    // Still full: the periodic health check keeps the state.
    tokio::time::sleep(Duration::from_millis(2500)).await;
    assert_eq!(health(&server.address).await, NOT_SERVING);
    let look = v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() };
    Raw::at(&server.address).await.call(&look).await.unwrap();
    assert!(faults.struck() > 0);
    faults.end();
    health_becomes(&server.address, SERVING).await;
    let posted = ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap().offer.unwrap();
    assert!(server.log().contains("make room on its disk"), "the log says what to do");
    server.kill();
    let server = Server::start(&database.url, &ROOMY);
    let ann = Raw::at(&server.address).await.with_token(ann.token().unwrap());
    let offers = ann.call(&v1::ListMyOffersRequest::default()).await.unwrap().offers;
    assert_eq!(offers.iter().map(|o| o.offer_id.as_str()).collect::<Vec<_>>(), [posted.offer_id]);
}

fn scionaryd(arguments: &[&str]) -> Output {
    Command::new(binaries::folder().join("scionaryd")).args(arguments).output().unwrap()
}

/// Runs a command that must fail. Returns its output.
fn refused(arguments: &[&str]) -> String {
    let output = scionaryd(arguments);
    assert!(!output.status.success(), "scionaryd {arguments:?} went well");
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn doctor(url: &str) -> String {
    let output = scionaryd(&["doctor", "--listen", "127.0.0.1:0", "--database", url]);
    String::from_utf8(output.stdout).unwrap()
}

/// The file is renamed, replaced or deleted under the server: it acknowledges nothing that would be lost, and earlier
/// acknowledged writes are in the moved file.
#[tokio::test]
async fn a_file_that_is_moved_away_is_noticed() {
    for moved in ["", "-wal"] {
        let database = Database::sqlite();
        let file = file_of(&database.url);
        let server = Server::start(&database.url, &ROOMY);
        let ann = Raw::at(&server.address).await.member("ann").await;
        ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
        let from = PathBuf::from(format!("{}{moved}", file.display()));
        let to = PathBuf::from(format!("{}.aside{moved}", file.display()));
        std::fs::rename(&from, &to).unwrap();
        // Readers open their own connections and report the moved file, whatever SQLite says about it.
        let mut reads = tokio::task::JoinSet::new();
        for _ in 0..64 {
            let ann = ann.clone();
            reads.spawn(async move { ann.call(&v1::ListMyOffersRequest::default()).await });
        }
        for refused in reads.join_all().await.into_iter().filter_map(Result::err) {
            assert!(refused.message().contains("moved or deleted"), "{}", refused.message());
        }
        let refused = ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap_err();
        assert_eq!(refused.code(), Code::Unavailable, "{}", refused.message());
        assert!(refused.message().contains("moved or deleted"), "{}", refused.message());
        health_becomes(&server.address, NOT_SERVING).await;
        // SQLite itself can make a new log: empty, once the old one is in the database.
        assert!(!from.exists() || moved == "-wal", "no new file was made in its place");
        assert!(server.log().contains("put the file back"));
        if moved.is_empty() {
            assert!(doctor(&database.url).contains("will be made at the first start"));
            std::fs::rename(&to, &from).unwrap();
        }
        server.kill();
        // The moved log was copied into the database before anything was refused.
        let server = Server::start(&database.url, &ROOMY);
        let ann = Raw::at(&server.address).await.with_token(ann.token().unwrap());
        let offers = ann.call(&v1::ListMyOffersRequest::default()).await.unwrap().offers;
        assert_eq!(offers.len(), 1, "{moved}");
    }
}

/// Another program's transaction that does not end: the writer cannot begin one, and health and doctor show that.
#[tokio::test]
async fn a_writer_that_is_kept_out_is_seen() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &ROOMY);
    let ann = Raw::at(&server.address).await.member("ann").await;
    let db = database.connect().await;
    let stuck = db.begin().await.unwrap();
    stuck.execute_unprepared("DELETE FROM setting WHERE name = 'none'").await.unwrap();
    // SQLite waits five seconds for the lock.
    health_becomes(&server.address, NOT_SERVING).await;
    let refused = ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap_err();
    assert_eq!(refused.code(), Code::Unavailable, "{}", refused.message());
    let said = doctor(&database.url);
    assert!(said.contains("WRONG") && said.contains("end the other program"), "{said}");
    stuck.rollback().await.unwrap();
    health_becomes(&server.address, SERVING).await;
    ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
    server.kill();
}

#[tokio::test]
async fn one_server_alone_serves_a_file() {
    let database = Database::sqlite();
    let server = Server::start(&database.url, &ROOMY);
    let said = refused(&["serve", "--listen", "127.0.0.1:0", "--database", &database.url]);
    assert!(said.contains("another server serves") && said.contains("PostgreSQL"), "{said}");
    // Tools work next to a running server.
    assert!(scionaryd(&["steward-code", "--database", &database.url]).status.success());
    assert!(server.terminate());
    let server = Server::start(&database.url, &ROOMY);
    server.kill();
    // A killed server leaves no lock behind; the next start reports a missing log.
    for end in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", file_of(&database.url).display()));
    }
    let log = Command::new("timeout")
        .args(["-s", "TERM", "8"])
        .arg(binaries::folder().join("scionaryd"))
        .args(["serve", "--listen", "127.0.0.1:0", "--database", &database.url])
        .output()
        .unwrap();
    let log = String::from_utf8_lossy(&log.stderr).into_owned();
    assert!(log.contains("which held the last writes, is gone"), "{log}");
}

/// The demo ends quietly when its reader closes the pipe.
#[test]
fn a_demo_whose_reader_goes_away_ends_quietly() {
    let demo = format!("{} demo --once | head -n 1", binaries::folder().join("scionaryd").display());
    let ended = Command::new("bash").args(["-c", &format!("set -o pipefail; {demo}")]).output().unwrap();
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    assert!(ended.stderr.is_empty(), "{}", String::from_utf8_lossy(&ended.stderr));
}

/// Overwrites pages of a database file while no server runs.
fn damage(file: &Path, first: usize, many: usize) {
    let mut bytes = std::fs::read(file).unwrap();
    bytes[(first - 1) * 4096..(first - 1 + many) * 4096].fill(0x5a);
    std::fs::write(file, bytes).unwrap();
}

#[tokio::test]
async fn sick_storage_is_said_with_its_path_and_a_remedy() {
    let database = Database::sqlite();
    let file = file_of(&database.url);
    let path = file.display().to_string();
    assert!(doctor(&database.url).contains("keeps what is written"), "{}", doctor(&database.url));

    // Overwritten bytes.
    let whole = std::fs::read(&file).unwrap();
    let db = database.connect().await;
    let root = "SELECT rootpage FROM sqlite_schema WHERE name = 'audit_log'";
    let root =
        db.query_one_raw(Statement::from_string(DatabaseBackend::Sqlite, root)).await.unwrap().unwrap();
    let root: i64 = root.try_get("", "rootpage").unwrap();
    db.close().await.unwrap();
    // A table that the start does not read.
    damage(&file, usize::try_from(root).unwrap(), 1);
    let said = doctor(&database.url);
    assert!(
        said.contains("WRONG  damage") && said.contains("deploy/restore") && said.contains(&path),
        "{said}"
    );
    let server = Server::start(&database.url, &ROOMY);
    health_becomes(&server.address, NOT_SERVING).await;
    assert!(server.log().contains("put the last good copy back"), "{}", server.log());
    server.kill();
    // So much that the file does not open.
    damage(&file, 2, 16);
    for said in
        [doctor(&database.url), refused(&["serve", "--listen", "127.0.0.1:0", "--database", &database.url])]
    {
        assert!(
            said.contains("damaged") && said.contains("deploy/restore") && said.contains(&path),
            "{said}"
        );
    }

    // The file's header.
    let mut headless = whole.clone();
    headless[..64].fill(b'x');
    std::fs::write(&file, headless).unwrap();
    for said in
        [doctor(&database.url), refused(&["serve", "--listen", "127.0.0.1:0", "--database", &database.url])]
    {
        assert!(
            said.contains(&path) && said.contains("no SQLite database") && said.contains("deploy/restore"),
            "{said}"
        );
    }
    std::fs::write(&file, &whole).unwrap();

    // A newer schema.
    let db = database.connect().await;
    db.execute_unprepared("INSERT INTO seaql_migrations VALUES ('m0099_of_tomorrow', 0)").await.unwrap();
    for said in
        [doctor(&database.url), refused(&["serve", "--listen", "127.0.0.1:0", "--database", &database.url])]
    {
        assert!(
            said.contains("m0099_of_tomorrow") && said.contains("Install that version or a later one"),
            "{said}"
        );
    }
    drop(db);

    // A missing folder, and tools that create no file.
    let nowhere = tempfile::tempdir().unwrap();
    let missing = format!("sqlite:{}/none/of.db", nowhere.path().display());
    let said = refused(&["serve", "--listen", "127.0.0.1:0", "--database", &missing]);
    assert!(said.contains("none/of.db") && said.contains("Make its folder"), "{said}");
    assert!(doctor(&missing).contains("does not exist; make it"), "{}", doctor(&missing));
    let empty = format!("sqlite:{}/of.db", nowhere.path().display());
    for command in [&["steward-code"][..], &["weigh"], &["import", "/dev/null"]] {
        let said = refused(&[command, &["--database", &empty]].concat());
        assert!(said.contains("there is no file") && said.contains("start the server once"), "{said}");
    }
    assert!(doctor(&empty).contains("will be made at the first start"));
    assert_eq!(std::fs::read_dir(nowhere.path()).unwrap().count(), 0, "no file was made");
}

/// A real file system that is read-only or full, if the test can mount one.
#[tokio::test]
async fn a_small_file_system_that_fills_up_and_is_made_read_only() {
    let folder = tempfile::tempdir().unwrap();
    let mount = |arguments: &[&str]| {
        Command::new("mount").args(arguments).arg(folder.path()).output().is_ok_and(|o| o.status.success())
    };
    // Elsewhere the deliberate faults above cover this.
    if !mount(&["-t", "tmpfs", "-o", "size=12m", "none"]) {
        return;
    }
    struct Unmount(PathBuf);
    impl Drop for Unmount {
        fn drop(&mut self) {
            let _ = Command::new("umount").arg("-l").arg(&self.0).status();
        }
    }
    let _unmount = Unmount(folder.path().into());
    let source = Database::sqlite();
    let file = folder.path().join("small.db");
    std::fs::copy(file_of(&source.url), &file).unwrap();
    let url = format!("sqlite:{}", file.display());
    let server = Server::start(&url, &ROOMY);
    let ann = Raw::at(&server.address).await.member("ann").await;
    let mut kept = 0;
    let post = v1::CreateOfferRequest { offer: Some(draft()) };
    for _ in 0..20 {
        ann.call(&post).await.unwrap();
        kept += 1;
    }
    // Fill the remaining space with one file.
    let ballast = folder.path().join("ballast");
    let _ = Command::new("dd")
        .args(["if=/dev/zero", "bs=4k", &format!("of={}", ballast.display())])
        .output()
        .unwrap();
    let mut failed = 0;
    for _ in 0..2000 {
        match ann.call(&post).await {
            Ok(_) => kept += 1,
            Err(error) => {
                assert_eq!(error.code(), Code::Unavailable, "{}", error.message());
                failed += 1;
                if failed == 20 {
                    break;
                }
            }
        }
    }
    assert_eq!(failed, 20, "the disk fills up");
    std::fs::remove_file(&ballast).unwrap();
    health_becomes(&server.address, SERVING).await;
    for _ in 0..20 {
        ann.call(&post).await.unwrap();
        kept += 1;
    }
    let token = ann.token().unwrap().to_string();
    server.kill();
    let server = Server::start(&url, &ROOMY);
    let ann = Raw::at(&server.address).await.with_token(&token);
    let (mut found, mut page_token) = (0, String::new());
    loop {
        let page = ann.call(&v1::ListMyOffersRequest { page_size: 100, page_token }).await.unwrap();
        found += page.offers.len();
        page_token = page.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    assert_eq!(found, kept, "acknowledged = present");
    server.kill();
    assert!(mount(&["-o", "remount,ro"]));
    let said = doctor(&url);
    assert!(said.contains("WRONG") && said.contains(&file.display().to_string()), "{said}");
    let said = refused(&["serve", "--listen", "127.0.0.1:0", "--database", &url]);
    assert!(said.contains("write to its folder") || said.contains("right to write"), "{said}");
}
