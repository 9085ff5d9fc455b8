//! Notices by mail, to a real mail server.

use std::{
    sync::{Arc, Mutex},
    time::Duration,
};

use scionary_proto::v1;
use scionary_tests::{
    Database, Raw, TestServer,
    binaries::{self, Server},
    client::{fresh_key, reason, wrong_fields},
    on_both,
    samples::{ask, draft},
};
use tokio::{
    io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader},
    net::TcpListener,
};

/// Starts a mail server that speaks enough SMTP (RFC 5321) to accept a message. Returns its address and the messages.
async fn catcher() -> (String, Arc<Mutex<Vec<String>>>) {
    catcher_at("127.0.0.1:0").await
}

async fn catcher_at(address: &str) -> (String, Arc<Mutex<Vec<String>>>) {
    let listener = TcpListener::bind(address).await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let caught = Arc::new(Mutex::new(Vec::new()));
    let into = caught.clone();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            let into = into.clone();
            tokio::spawn(async move {
                let (read, mut write) = stream.into_split();
                let mut lines = BufReader::new(read).lines();
                write.write_all(b"220 catcher\r\n").await.unwrap();
                let mut text: Option<String> = None;
                while let Ok(Some(line)) = lines.next_line().await {
                    let answer: &[u8] = match (&mut text, line.as_str()) {
                        (Some(message), ".") => {
                            into.lock().unwrap().push(std::mem::take(message));
                            text = None;
                            b"250 taken\r\n"
                        }
                        (Some(message), line) => {
                            message.push_str(line);
                            message.push('\n');
                            continue;
                        }
                        (None, "DATA") => {
                            text = Some(String::new());
                            b"354 go on\r\n"
                        }
                        (None, "QUIT") => b"221 bye\r\n",
                        (None, _) => b"250 fine\r\n",
                    };
                    if write.write_all(answer).await.is_err() {
                        return;
                    }
                }
            });
        }
    });
    (address, caught)
}

async fn mail(caught: &Mutex<Vec<String>>, count: usize) -> Vec<String> {
    for _ in 0..150 {
        let now = caught.lock().unwrap().clone();
        if now.len() >= count {
            return now;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("no mail: {:?}", caught.lock().unwrap());
}

/// Decodes quoted-printable (RFC 2045) to plain text.
fn plain(mail: &str) -> String {
    mail.replace("=\n", "").replace("=3D", "=")
}

#[tokio::test]
async fn notices_go_to_a_confirmed_address() {
    on_both(async |url| {
        let (address, caught) = catcher().await;
        let smtp = format!("mail.smtp=smtp://{address}");
        let server = TestServer::with(&url, &[&smtp, "mail.from=Larkwater growers <club@example.org>"]).await;
        let (ann, ben) = (server.raw().member("ann").await, server.raw().member("ben").await);
        let set = |address: &str| v1::SetMailAddressRequest { address: address.into() };
        let wrong = ann.call(&set("nowhere")).await;
        assert_eq!(wrong_fields(&wrong.unwrap_err()), ["address"]);
        ann.call(&set("ann@example.org")).await.unwrap();
        let first = plain(&mail(&caught, 1).await[0]);
        assert!(first.contains("To: ann@example.org"), "{first}");
        let code =
            first.split("with this code:").nth(1).unwrap().split_whitespace().next().unwrap().to_string();
        let confirm = |code: &str| v1::ConfirmMailAddressRequest { code: code.into() };
        let bad = ann.call(&confirm("AAAA-BBBB")).await;
        assert_eq!(reason(&bad.unwrap_err()), "CODE_NOT_VALID");
        // The code is valid for this address and this account only.
        let bad = ben.call(&confirm(&code)).await;
        assert_eq!(reason(&bad.unwrap_err()), "CODE_NOT_VALID");
        let posted: v1::CreateOfferResponse =
            ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
        let offer_id = posted.offer.unwrap().offer_id;
        ann.call(&confirm(&code)).await.unwrap();
        ben.call(&ask(&offer_id, 2)).await.unwrap();
        let told = plain(&mail(&caught, 2).await[1]);
        assert!(told.contains("asks for 2 plants of R2E2"), "{told}");
        assert!(!told.contains("0400 000 000"), "no contact by mail");
        // After deleting the address no more mail goes there.
        ann.call(&v1::DeleteMailAddressRequest {}).await.unwrap();
        let get = v1::GetMailAddressRequest {};
        let known: v1::GetMailAddressResponse = ann.call(&get).await.unwrap();
        assert!(known.address.is_empty() && known.server_sends);
        let app = server.running.app();
        let cat = server.raw().member("cat").await;
        cat.call(&ask(&offer_id, 1)).await.unwrap();
        app.mail_notices().await.unwrap();
        assert_eq!(caught.lock().unwrap().len(), 2);
        server.stop().await;
    })
    .await;
}

fn set(address: &str) -> v1::SetMailAddressRequest {
    v1::SetMailAddressRequest { address: address.into() }
}

/// The binary itself, as an operator configures it.
#[tokio::test]
async fn the_binary_mails_and_outlives_a_mail_server_that_is_dead_or_slow() {
    let database = Database::sqlite();
    let (address, caught) = catcher().await;
    let smtp = format!("mail.smtp=smtp://{address}");
    let from = "mail.from=Larkwater growers <club@example.org>";
    let server = Server::start(&database.url, &["accounts.sign_up=open", &smtp, from]);
    let ann = Raw::at(&server.address).await.member("ann").await;
    ann.call(&set("ann@example.org")).await.unwrap();
    assert!(plain(&mail(&caught, 1).await[0]).contains("with this code:"));
    let doctor = async |smtp: &str| {
        let doctor = tokio::process::Command::new(binaries::folder().join("scionaryd"))
            .args([
                "doctor",
                "--listen",
                "127.0.0.1:0",
                "--database",
                &database.url,
                "--set",
                smtp,
                "--set",
                from,
            ])
            .output()
            .await
            .unwrap();
        String::from_utf8(doctor.stdout).unwrap()
    };
    assert!(doctor(&smtp).await.contains("fine   mail"), "{}", doctor(&smtp).await);
    // No server listens at this address.
    let dead = TcpListener::bind("127.0.0.1:0").await.unwrap().local_addr().unwrap();
    let smtp = format!("mail.smtp=smtp://{dead}");
    assert!(doctor(&smtp).await.contains("WRONG  mail"), "{}", doctor(&smtp).await);
    assert!(server.terminate());
    let server = Server::start(&database.url, &["accounts.sign_up=open", &smtp, from]);
    let ann = Raw::at(&server.address).await.with_token(ann.token().unwrap());
    let key = fresh_key();
    let keyed = ann.with_key(&key);
    assert_eq!(reason(&keyed.call(&set("ann@example.org")).await.unwrap_err()), "MAIL_NOT_SENT");
    // A retry must not reply that the code was sent.
    assert_eq!(reason(&keyed.call(&set("ann@example.org")).await.unwrap_err()), "MAIL_NOT_SENT");
    // The mail server is back: the same call succeeds.
    let (_, caught) = catcher_at(&dead.to_string()).await;
    keyed.call(&set("ann@example.org")).await.unwrap();
    assert_eq!(mail(&caught, 1).await.len(), 1);
    keyed.call(&set("ann@example.org")).await.unwrap();
    assert_eq!(caught.lock().unwrap().len(), 1, "done is done");
    assert!(server.terminate());
    // A mail server that accepts the connection and stays silent.
    let silent = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let smtp = format!("mail.smtp=smtp://{}", silent.local_addr().unwrap());
    let server = Server::start(&database.url, &["accounts.sign_up=open", &smtp, from]);
    let ben = Raw::at(&server.address).await.member("ben").await;
    let asking = {
        let ben = ben.clone();
        tokio::spawn(async move { ben.call(&set("ben@example.org")).await })
    };
    tokio::time::sleep(Duration::from_millis(300)).await;
    ben.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
    assert!(!asking.is_finished(), "others go on meanwhile");
    assert_eq!(reason(&asking.await.unwrap().unwrap_err()), "MAIL_NOT_SENT");
    assert!(server.terminate());
    drop(silent);
}

#[tokio::test]
async fn mails_to_addresses_that_no_one_confirmed_are_few_and_of_our_making() {
    let database = Database::sqlite();
    let (address, caught) = catcher().await;
    let smtp = format!("mail.smtp=smtp://{address}");
    let server =
        TestServer::with(&database.url, &[&smtp, "mail.from=Larkwater growers <club@example.org>"]).await;
    let ann = server.raw().member("ann").await;
    for nasty in [
        "ann@example.org\r\nBcc: all@example.org",
        "ann@example.org\nSubject: win",
        "ann@example.org, ben@example.org",
        "<ann@example.org> ben@example.org",
        "ann@example.org\u{2028}Bcc: all@example.org",
    ] {
        let refused = ann.call(&set(nasty)).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["address"], "{nasty:?}");
    }
    // One account, many addresses.
    let mut sent = 0;
    for n in 0..10 {
        match ann.call(&set(&format!("stranger{n}@example.org"))).await {
            Ok(_) => sent += 1,
            Err(error) => {
                assert_eq!(reason(&error), "TOO_MANY_CALLS");
                assert!(error.message().contains("hours"), "{}", error.message());
            }
        }
    }
    assert_eq!(sent, 5);
    // Many accounts, one address.
    for n in 0..8 {
        let who = server.raw().member(&format!("member-{n}")).await;
        sent += usize::from(who.call(&set("Victim@example.org")).await.is_ok());
    }
    assert_eq!(sent, 10);
    for message in mail(&caught, 10).await {
        let (head, _) = message.split_once("\n\n").unwrap();
        assert!(!head.contains("Bcc") && head.matches("\nTo: ").count() == 1, "{head}");
    }
    server.stop().await;
}
