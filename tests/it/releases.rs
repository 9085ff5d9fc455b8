//! Stewards' releases of movement rules, their effect on offers and claims, and protected cultivars.

use scionary_proto::v1::{self, ClaimState};
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{ask, draft, protection},
};
use tonic::Status;

use crate::evidence::Club;

const HEAD: &str = "rule,version,kind,hosts,parts,from,to,verdict,conditions,instrument,authority,effective_from,effective_to,text_date,review_by,citation,source_url,excepts,open_to,void_if,alternative_for,most,on_the_way,note";

fn rule(id: &str, version: u32, verdict: &str) -> String {
    format!(
        "{id},{version},rule,Mangifera,plant,XB,XB-NS,{verdict},Ask first,Larkland order,Larkland plant office,,,2026-01-01,,Larkland order 4,https://example.org/4,,,,,,,"
    )
}

async fn propose(who: &Raw, rules: &[String], dry_run: bool) -> Result<v1::MovementRelease, Status> {
    let text = format!("{HEAD}\n{}\n", rules.join("\n"));
    let request = v1::CreateMovementReleaseRequest {
        files: vec![v1::RuleFile { name: "rules.csv".into(), text }],
        note: "Read on a Tuesday.".into(),
        dry_run,
    };
    let reply = who.call(&request).await?;
    Ok(reply.release.unwrap())
}

async fn publish(who: &Raw, release: i64) -> Result<v1::MovementRelease, Status> {
    let request = v1::PublishMovementReleaseRequest { release };
    who.call(&request).await.map(|r| r.release.unwrap())
}

#[tokio::test]
async fn two_stewards_bring_in_rules_and_claims_follow() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let second = club.grower("second").await;
        let grant = v1::GrantRoleRequest {
            handle: "second".into(),
            role: v1::Role::Steward.into(),
            crop: String::new(),
        };
        club.steward.call(&grant).await.unwrap();
        let posted: v1::CreateOfferResponse =
            ann.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await.unwrap();
        let offer = posted.offer.unwrap();
        assert!(offer.movement.unwrap().headline.starts_with("No rule on file"), "told at posting");
        let promise = async |quantity| {
            let asked: v1::CreateClaimResponse = ben.call(&ask(&offer.offer_id, quantity)).await.unwrap();
            let claim_id = asked.claim.unwrap().claim_id;
            let accept = v1::AcceptClaimRequest {
                claim_id: claim_id.clone(),
                contact: "here".into(),
                note: String::new(),
            };
            ann.call(&accept).await.unwrap();
            claim_id
        };
        let claim_id = promise(2).await;

        // A dry run lists the changes, or all mistakes at once.
        let document = rule("LARK-1", 1, "official document required");
        let dry = propose(&club.steward, std::slice::from_ref(&document), true).await.unwrap();
        assert_eq!((dry.release, dry.added), (0, vec!["LARK-1 1".to_string()]));
        let bad = [rule("LARK-1", 1, "perhaps"), rule("LARK-2", 1, "no")];
        let wrong = propose(&club.steward, &bad, true).await.unwrap_err();
        assert_eq!(wrong_fields(&wrong).len(), 2, "{}", wrong.message());
        assert_eq!(reason(&propose(&ann, &[], true).await.unwrap_err()), "ROLE_MISSING");
        // One steward proposes, another publishes.
        let proposed = propose(&club.steward, std::slice::from_ref(&document), false).await.unwrap();
        assert_eq!(reason(&publish(&club.steward, proposed.release).await.unwrap_err()), "OWN_WORK");
        let published = publish(&second, proposed.release).await.unwrap();
        assert!(published.in_force);
        assert_eq!(reason(&publish(&second, proposed.release).await.unwrap_err()), "RELEASE_OVER");
        // A version on file never changes.
        let altered = propose(&club.steward, &[rule("LARK-1", 1, "prohibited")], true).await.unwrap_err();
        assert_eq!(wrong_fields(&altered), ["files"]);

        // Searches show the rules.
        let search = v1::SearchOffersRequest { to_area_code: "XB-NS".into(), ..Default::default() };
        let found: v1::SearchOffersResponse = ben.call(&search).await.unwrap();
        let movement = found.offers[0].offer.clone().unwrap().movement.unwrap();
        assert_eq!((movement.rules, movement.prohibited), (vec!["LARK-1 1".to_string()], false));
        // Rules stricter at the hand-over: the claim ends, and both sides get a notice.
        let confirm = v1::ConfirmHandOverRequest { claim_id: claim_id.clone() };
        let back: v1::ConfirmHandOverResponse = ann.call(&confirm).await.unwrap();
        let back = back.claim.unwrap();
        assert_eq!((back.state(), back.given, back.left), (ClaimState::Declined, false, 6));
        assert!(back.movement.unwrap().headline.contains("official document"));
        for who in [&ann, &ben] {
            let inbox: v1::ListNoticesResponse = who.call(&v1::ListNoticesRequest::default()).await.unwrap();
            assert_eq!(inbox.notices[0].kind(), v1::NoticeKind::ClaimStricter);
        }
        // Asked for and promised again under the new rule; then a rule prohibits it.
        let confirm = v1::ConfirmHandOverRequest { claim_id: promise(2).await };
        let strict = [rule("LARK-1", 1, "official document required"), rule("LARK-2", 1, "prohibited")];
        let proposed = propose(&second, &strict, false).await.unwrap();
        publish(&club.steward, proposed.release).await.unwrap();
        let back: v1::ConfirmHandOverResponse = ben.call(&confirm).await.unwrap();
        assert_eq!(back.claim.unwrap().state(), ClaimState::Declined);
        let refused = ben.call(&ask(&offer.offer_id, 1)).await.unwrap_err();
        assert_eq!(reason(&refused), "MOVEMENT_PROHIBITED");
        // Withdrawn: the release before is in force again, also after a restart.
        let back = v1::WithdrawMovementReleaseRequest { release: proposed.release };
        second.call(&back).await.unwrap();
        let get = v1::GetOfferRequest { offer_id: offer.offer_id.clone(), to_area_code: "XB-NS".into() };
        let shown: v1::GetOfferResponse = ben.call(&get).await.unwrap();
        assert_eq!(shown.offer.unwrap().movement.unwrap().rules, ["LARK-1 1"]);
        club.server.stop().await;
        let again = scionary_tests::TestServer::start(&url).await;
        let shown: v1::GetOfferResponse = again.raw().call(&get).await.unwrap();
        assert_eq!(shown.offer.unwrap().movement.unwrap().rules, ["LARK-1 1"]);
        again.stop().await;
    })
    .await;
}

#[tokio::test]
async fn a_protected_cultivar_asks_for_consent() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let curator = club.curator("curator", "mango").await;
        let protect = |protection| v1::SetProtectionRequest {
            cultivar: "R2E2".into(),
            crop: "mango".into(),
            protection,
        };
        let set = protect(Some(protection()));
        let denied = ann.call(&set).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        curator.call(&set).await.unwrap();
        let get = v1::GetProtectionRequest { cultivar: "R2E2".into(), crop: "mango".into() };
        let shown: v1::GetProtectionResponse = club.server.raw().call(&get).await.unwrap();
        assert_eq!(shown.protection.unwrap().reference, "2019/044");
        let post = async |offer| {
            let request = v1::CreateOfferRequest { offer: Some(offer) };
            ann.call(&request).await.map(|r| r.offer.unwrap())
        };
        let refused = post(draft()).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["offer.holder_consent"]);
        assert!(refused.message().contains("2019/044"), "{}", refused.message());
        let with = v1::OfferDraft { holder_consent: "Licence 12 of the holder.".into(), ..draft() };
        let posted = post(with).await.unwrap();
        assert!(posted.protection.contains("Larkland Office"));
        assert_eq!(posted.holder_consent, "Licence 12 of the holder.");
        // A protection elsewhere, or one that has ended, asks for nothing.
        let elsewhere = v1::Protection { area_codes: vec!["AU".into()], ..protection() };
        let set = protect(Some(elsewhere));
        curator.call(&set).await.unwrap();
        post(draft()).await.unwrap();
        let over = v1::Protection { until: Some(scionary_tests::samples::in_days(-1)), ..protection() };
        let set = protect(Some(over));
        curator.call(&set).await.unwrap();
        post(draft()).await.unwrap();
        curator.call(&protect(None)).await.unwrap();
        let none = curator.call(&protect(None)).await;
        assert_eq!(reason(&none.unwrap_err()), "NOT_PROTECTED");
        club.server.stop().await;
    })
    .await;
}
