//! Wants: matched in both directions, with notices in the inbox.

use scionary_proto::v1;
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{draft, want},
};
use tonic::Status;

use crate::{
    clubs::{account_of, let_in, make as make_club},
    evidence::Club,
};

async fn seek(who: &Raw, want: v1::WantDraft) -> Result<v1::Want, Status> {
    let request = v1::CreateWantRequest { want: Some(want) };
    who.call(&request).await.map(|r| r.want.unwrap())
}

async fn post(who: &Raw, offer: v1::OfferDraft) -> String {
    let request = v1::CreateOfferRequest { offer: Some(offer) };
    let posted: v1::CreateOfferResponse = who.call(&request).await.unwrap();
    posted.offer.unwrap().offer_id
}

async fn met(club: &Club, who: &Raw) -> Vec<String> {
    let app = club.server.running.app();
    let mut followed = app.begin_to_follow().await.unwrap();
    app.follow_changes(&mut followed).await.unwrap();
    let inbox: v1::ListNoticesResponse = who.call(&v1::ListNoticesRequest::default()).await.unwrap();
    let met = inbox.notices.into_iter().filter(|n| n.kind() == v1::NoticeKind::WantMet);
    met.map(|n| n.subject_id).collect()
}

#[tokio::test]
async fn offers_and_wants_find_each_other() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben, cat) = (club.grower("ann").await, club.grower("ben").await, club.grower("cat").await);
        // Offers that exist when the want is made, and later ones.
        let there = post(&ann, draft()).await;
        let made = seek(&ben, want("R2E2")).await.unwrap();
        assert_eq!((made.is_open, made.cultivar_name.as_str()), (true, "R2E2"));
        assert_eq!(met(&club, &ben).await, std::slice::from_ref(&there));
        let later = post(&cat, draft()).await;
        assert_eq!(met(&club, &ben).await, [later.clone(), there.clone()]);
        assert_eq!(met(&club, &ben).await.len(), 2, "told once");
        // Not another cultivar, too far, unknown seedlings, their own, or another material.
        let golek = post(&cat, v1::OfferDraft { cultivar: "Golek".into(), ..draft() }).await;
        post(&cat, v1::OfferDraft { unknown_seedling: true, ..draft() }).await;
        post(&ben, draft()).await;
        assert_eq!(met(&club, &ben).await.len(), 2);
        let wood = v1::WantDraft { materials: vec![v1::Material::ScionWood.into()], ..want("R2E2") };
        let dan = club.grower("dan").await;
        seek(&dan, wood).await.unwrap();
        assert!(met(&club, &dan).await.is_empty());
        // A wish for traits: matched with the registry's findings on the cultivar.
        let wish = |comes_true, key: &str, state: &str| v1::WantDraft {
            comes_true,
            traits: vec![v1::TraitWish {
                descriptor_key: key.into(),
                states: vec![state.into()],
                ..Default::default()
            }],
            ..want("")
        };
        let eve = club.grower("eve").await;
        seek(&eve, wish(false, "embryony", "polyembryonic")).await.unwrap();
        let of_eve = met(&club, &eve).await;
        assert_eq!(of_eve, std::slice::from_ref(&golek), "stated to be so, and not contested");
        let fay = club.grower("fay").await;
        seek(&fay, wish(false, "embryony", "monoembryonic")).await.unwrap();
        assert!(!met(&club, &fay).await.contains(&golek));
        assert_eq!(wrong_fields(&seek(&fay, want("")).await.unwrap_err()), ["want.cultivar"]);

        // Blocked members get no notices about each other.
        let gil = club.grower("gil").await;
        let block = v1::BlockMemberRequest { account_id: account_of(&gil).await };
        ann.call(&block).await.unwrap();
        seek(&gil, want("R2E2")).await.unwrap();
        let of_gil = met(&club, &gil).await;
        assert!(!of_gil.contains(&there) && of_gil.contains(&later), "{of_gil:?}");
        // Nor about a club's offers for members only.
        let id = make_club(&ann, "Larkwater growers").await.unwrap().club_id;
        let_in(&ann, &eve, &id).await;
        let inner = post(&ann, v1::OfferDraft { club: id, ..draft() }).await;
        seek(&eve, want("R2E2")).await.unwrap();
        assert!(met(&club, &eve).await.contains(&inner));
        assert!(!met(&club, &ben).await.contains(&inner));

        // The search shows what is sought, not by whom.
        let search = v1::SearchWantsRequest {
            crop: "mango".into(),
            near_grid_code: "2CGV2200+".into(),
            ..Default::default()
        };
        let sought: v1::SearchWantsResponse = club.server.raw().call(&search).await.unwrap();
        assert_eq!(sought.wants.len(), 6);
        let text = format!("{sought:?}");
        assert!(
            !text.contains("acc_") && !text.contains("ben of the club") && !text.contains("XB-NS"),
            "{text}"
        );
        // Withdrawn: no more notices.
        let withdraw = v1::WithdrawWantRequest { want_id: made.want_id.clone() };
        let none = cat.call(&withdraw).await.unwrap_err();
        assert_eq!(reason(&none), "NOT_FOUND");
        ben.call(&withdraw).await.unwrap();
        let before = met(&club, &ben).await.len();
        post(&cat, draft()).await;
        assert_eq!(met(&club, &ben).await.len(), before);
        club.server.stop().await;
    })
    .await;
}
