//! Accounts over the wire, on both databases.

use scionary_proto::v1;
use scionary_tests::{
    TestServer,
    client::{PASSWORD, fresh_key, reason, wrong_fields},
    on_both,
};
use tonic::Code;

#[tokio::test]
async fn from_the_stewards_code_to_a_club_of_two() {
    on_both(async |url| {
        let server = TestServer::with(&url, &["accounts.sign_up=invitation"]).await;
        let visitor = server.raw();
        // Sign-up needs a valid code.
        assert_eq!(reason(&visitor.sign_up("early", "").await.unwrap_err()), "CODE_NEEDED");
        assert_eq!(
            reason(&visitor.sign_up("early", "0000-1111-2222-3333").await.unwrap_err()),
            "CODE_NOT_VALID"
        );

        let code = server.running.app().first_steward_code().await.unwrap();
        let made = visitor
            .sign_up("Odalind", &code.to_lowercase().replace('-', " "))
            .await
            .unwrap()
            .account
            .unwrap();
        assert!(made.roles.iter().any(|r| r.role() == v1::Role::Steward));
        assert_eq!(
            reason(&visitor.sign_up("second", &code).await.unwrap_err()),
            "CODE_NOT_VALID",
            "good once"
        );
        let steward = visitor.sign_in("ODALIND", PASSWORD).await.unwrap();

        let invited: v1::CreateInvitationResponse =
            steward.call(&v1::CreateInvitationRequest { note: "Tobin".into() }).await.unwrap();
        visitor.sign_up("tobin", &invited.code).await.unwrap();
        let tobin = visitor.sign_in("tobin", PASSWORD).await.unwrap();
        let list: v1::ListInvitationsResponse =
            steward.call(&v1::ListInvitationsRequest::default()).await.unwrap();
        assert_eq!(list.invitations[0].state(), v1::InvitationState::Used);
        assert_eq!(reason(&visitor.sign_up("TOBIN", &invited.code).await.unwrap_err()), "CODE_NOT_VALID");

        // Only a steward grants roles, and the last steward stays.
        let grant = v1::GrantRoleRequest {
            handle: "tobin".into(),
            role: v1::Role::Curator.into(),
            crop: "mango".into(),
        };
        let refused = tobin.call(&grant).await.unwrap_err();
        assert_eq!(reason(&refused), "ROLE_MISSING");
        let granted: v1::GrantRoleResponse = steward.call(&grant).await.unwrap();
        assert!(
            granted.account.unwrap().roles.iter().any(|r| r.role() == v1::Role::Curator && r.crop == "mango")
        );
        let twice = steward.call(&grant).await.unwrap_err();
        assert_eq!(reason(&twice), "ROLE_HELD");
        let wrong = v1::GrantRoleRequest { crop: "durian".into(), ..grant.clone() };
        let wrong = steward.call(&wrong).await.unwrap_err();
        assert_eq!(wrong_fields(&wrong), ["crop"]);
        let last = v1::RevokeRoleRequest {
            handle: "odalind".into(),
            role: v1::Role::Steward.into(),
            crop: String::new(),
        };
        let last = steward.call(&last).await.unwrap_err();
        assert_eq!(reason(&last), "LAST_STEWARD");
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn sessions_end_when_they_should() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let visitor = server.raw();
        let first = visitor.member("rosamund").await;
        let second = visitor.sign_in("rosamund", PASSWORD).await.unwrap();
        let me = |who: &scionary_tests::Raw| {
            let who = who.clone();
            async move { who.call(&v1::WhoAmIRequest {}).await }
        };
        assert_eq!(me(&first).await.unwrap().account.unwrap().handle, "rosamund");

        // A new password ends the other sessions, and a retry of the call gets the first reply.
        let change = v1::ChangePasswordRequest {
            current_password: PASSWORD.into(),
            new_password: "wicker orbit kettle plank".into(),
        };
        let keyed = first.with_key(&fresh_key());
        for _ in 0..2 {
            let reply: v1::ChangePasswordResponse = keyed.call(&change).await.unwrap();
            assert_eq!(reply.sessions_ended, 1);
        }
        assert_eq!(reason(&me(&second).await.unwrap_err()), "SESSION_OVER");
        assert!(me(&first).await.is_ok());
        assert_eq!(reason(&visitor.sign_in("rosamund", PASSWORD).await.err().unwrap()), "WRONG_PASSWORD");

        let third = visitor.sign_in("rosamund", "wicker orbit kettle plank").await.unwrap();
        let ended: v1::SignOutEverywhereResponse =
            third.call(&v1::SignOutEverywhereRequest {}).await.unwrap();
        assert_eq!(ended.sessions_ended, 2);
        for session in [&first, &third] {
            assert_eq!(reason(&me(session).await.unwrap_err()), "SESSION_OVER");
        }
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn bad_accounts_are_refused_with_every_field() {
    let database = scionary_tests::Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let request = v1::SignUpRequest {
        handle: "7".into(),
        display_name: "x".repeat(90),
        password: "password".into(),
        code: String::new(),
    };
    let error = server.raw().call(&request).await.unwrap_err();
    assert_eq!(wrong_fields(&error), ["handle", "display_name", "password"]);
    server.raw().sign_up("rosamund", "").await.unwrap();
    let taken = server.raw().sign_up("Rosamund", "").await.unwrap_err();
    assert_eq!((taken.code(), reason(&taken).as_str()), (Code::AlreadyExists, "HANDLE_TAKEN"));
    server.stop().await;
}

#[tokio::test]
async fn closed_servers_take_nobody() {
    let database = scionary_tests::Database::sqlite();
    let server = TestServer::with(&database.url, &["accounts.sign_up=closed"]).await;
    assert_eq!(reason(&server.raw().sign_up("rosamund", "").await.unwrap_err()), "SIGN_UP_CLOSED");
    server.stop().await;
}

#[tokio::test]
async fn guessing_is_slowed_down_and_unknown_handles_look_the_same() {
    let database = scionary_tests::Database::sqlite();
    let server = TestServer::with(&database.url, &["limits.sign_ins_per_minute=3"]).await;
    let visitor = server.raw();
    visitor.sign_up("rosamund", "").await.unwrap();
    let mut seen = Vec::new();
    for handle in ["rosamund", "nobody-here"] {
        for _ in 0..4 {
            let error = visitor.sign_in(handle, "not the password").await.err().unwrap();
            seen.push((
                error.code(),
                reason(&error),
                error.message().to_string().replace(char::is_numeric, ""),
            ));
        }
    }
    assert_eq!(seen[..4], seen[4..], "an unknown handle looks like a known one");
    assert_eq!(seen[0].1, "WRONG_PASSWORD");
    assert_eq!((seen[3].0, seen[3].1.as_str()), (Code::ResourceExhausted, "TOO_MANY_CALLS"));
    server.stop().await;
}

#[tokio::test]
async fn secrets_are_stored_as_hashes_only() {
    use sea_orm::{ConnectionTrait as _, Statement};
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let member = server.raw().member("rosamund").await;
        let invited: v1::CreateInvitationResponse =
            member.call(&v1::CreateInvitationRequest::default()).await.unwrap();
        let keyed = member.with_key(&fresh_key());
        let request = v1::CreateInvitationRequest { note: "again".into() };
        keyed.call(&request).await.unwrap();
        let again = keyed.call(&request).await;
        assert_eq!(reason(&again.err().unwrap()), "REPLY_NOT_KEPT");

        let db = server.running.app().store().admin();
        let mut everything = String::new();
        for (table, columns) in scionary_store::tables() {
            let sql = format!("SELECT * FROM \"{table}\"");
            for row in db.query_all_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap()
            {
                for column in &columns {
                    if let Ok(text) = row.try_get::<String>("", column) {
                        everything.push_str(&text);
                    } else if let Ok(bytes) = row.try_get::<Vec<u8>>("", column) {
                        everything.push_str(&String::from_utf8_lossy(&bytes));
                    }
                }
            }
        }
        assert!(everything.contains("$argon2id$v=19$m=19456,t=2,p=1$"));
        for secret in [PASSWORD, member.token().unwrap(), &invited.code, &invited.code.replace('-', "")] {
            assert!(!everything.contains(secret), "a secret is stored as it is");
        }
        server.stop().await;
    })
    .await;
}
