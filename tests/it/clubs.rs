//! Clubs: joining, arranging, offers for members only, helped members, and the end of a club.

use scionary_proto::v1::{self, ClubStanding};
use scionary_tests::{
    Raw,
    client::{PASSWORD, reason, wrong_fields},
    on_both,
    samples::{ask, club, draft},
};
use tonic::Status;

use crate::evidence::Club as People;

pub async fn make(who: &Raw, name: &str) -> Result<v1::Club, Status> {
    let request = v1::CreateClubRequest { club: Some(club(name)) };
    who.call(&request).await.map(|r| r.club.unwrap())
}

async fn members(who: &Raw, club_id: &str, waiting: bool) -> Result<Vec<v1::ClubMember>, Status> {
    let request = v1::ListClubMembersRequest { club_id: club_id.into(), waiting, ..Default::default() };
    who.call(&request).await.map(|r| r.members)
}

pub async fn account_of(who: &Raw) -> String {
    let me: v1::WhoAmIResponse = who.call(&v1::WhoAmIRequest {}).await.unwrap();
    me.account.unwrap().account_id
}

/// Brings a person into a club: request and acceptance.
pub async fn let_in(organiser: &Raw, who: &Raw, club_id: &str) {
    let ask = v1::AskToJoinClubRequest { club_id: club_id.into(), words: "I grow two.".into() };
    who.call(&ask).await.unwrap();
    let account_id = account_of(who).await;
    let accept = v1::AnswerClubRequestRequest { club_id: club_id.into(), account_id, accept: Some(true) };
    organiser.call(&accept).await.unwrap();
}

async fn found(who: &Raw) -> Vec<String> {
    let found: v1::SearchOffersResponse = who.call(&v1::SearchOffersRequest::default()).await.unwrap();
    found.offers.into_iter().map(|f| f.offer.unwrap().offer_id).collect()
}

#[tokio::test]
async fn joined_arranged_and_closed() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (ann, ben, cat) =
            (people.grower("ann").await, people.grower("ben").await, people.grower("cat").await);
        let made = make(&ann, "Larkwater growers").await.unwrap();
        assert_eq!((made.own_standing(), made.members), (ClubStanding::Organiser, 1));
        let id = made.club_id.clone();
        assert_eq!(reason(&make(&ben, "LARKWATER Growers").await.unwrap_err()), "CLUB_NAME_TAKEN");
        // ben asks to join and is accepted; cat is invited and accepts.
        let asking = v1::AskToJoinClubRequest { club_id: id.clone(), words: "I grow two.".into() };
        let asked: v1::AskToJoinClubResponse = ben.call(&asking).await.unwrap();
        assert_eq!(asked.club.unwrap().own_standing(), ClubStanding::Asked);
        assert_eq!(reason(&members(&ben, &id, false).await.unwrap_err()), "ROLE_MISSING");
        let waiting = members(&ann, &id, true).await.unwrap();
        assert_eq!(waiting[0].words, "I grow two.");
        let yes = v1::AnswerClubRequestRequest {
            club_id: id.clone(),
            account_id: waiting[0].account_id.clone(),
            accept: Some(true),
        };
        let denied = ben.call(&yes).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        ann.call(&yes).await.unwrap();
        let invite =
            v1::InviteToClubRequest { club_id: id.clone(), handle: "cat".into(), words: String::new() };
        ann.call(&invite).await.unwrap();
        let inbox: v1::ListNoticesResponse = cat.call(&v1::ListNoticesRequest::default()).await.unwrap();
        assert_eq!(inbox.notices[0].subject_id, id);
        let accept = v1::AnswerClubInvitationRequest { club_id: id.clone(), accept: Some(true) };
        cat.call(&accept).await.unwrap();
        let seen = members(&ben, &id, false).await.unwrap();
        assert_eq!(seen.len(), 3);
        assert!(seen.iter().all(|m| m.words.is_empty()), "what was said on asking is for organisers");

        // An offer for members only.
        let dan = people.grower("dan").await;
        let for_club = |club: &str| v1::CreateOfferRequest {
            offer: Some(v1::OfferDraft { club: club.into(), ..draft() }),
        };
        let refused = dan.call(&for_club(&id)).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["offer.club"]);
        let posted: v1::CreateOfferResponse = ben.call(&for_club(&id)).await.unwrap();
        let offer_id = posted.offer.unwrap().offer_id;
        let get = v1::GetOfferRequest { offer_id: offer_id.clone(), ..Default::default() };
        for stranger in [&dan, &people.server.raw(), &people.server.raw().with_token("sst_0000")] {
            let none = stranger.call(&get).await.unwrap_err();
            assert_eq!(reason(&none), "NOT_FOUND");
            assert!(!found(stranger).await.contains(&offer_id));
            let moved = v1::CheckMovementRequest {
                offer_id: offer_id.clone(),
                to: vec!["XB-NS".into()],
                ..Default::default()
            };
            let none = stranger.call(&moved).await;
            assert_eq!(reason(&none.unwrap_err()), "NOT_FOUND");
        }
        assert!(found(&cat).await.contains(&offer_id));
        let refused = dan.call(&ask(&offer_id, 1)).await.unwrap_err();
        assert_eq!(reason(&refused), "CLUB_ONLY");
        let asked: v1::CreateClaimResponse = cat.call(&ask(&offer_id, 1)).await.unwrap();
        let claim_id = asked.claim.unwrap().claim_id;
        let accept = v1::AcceptClaimRequest {
            claim_id: claim_id.clone(),
            contact: "the shed".into(),
            note: String::new(),
        };
        ben.call(&accept).await.unwrap();
        // On the day an organiser confirms for both and sees no contact; other members cannot confirm.
        let confirm = v1::ConfirmHandOverRequest { claim_id: claim_id.clone() };
        let none = dan.call(&confirm).await;
        assert_eq!(reason(&none.unwrap_err()), "NOT_FOUND");
        let done: v1::ConfirmHandOverResponse = ann.call(&confirm).await.unwrap();
        let done = done.claim.unwrap();
        assert_eq!(done.state(), v1::ClaimState::HandedOver);
        assert!(done.contact.is_empty() && done.note.is_empty() && done.answer.is_empty());

        // A club needs an organiser.
        let leave = v1::LeaveClubRequest { club_id: id.clone() };
        let refused = ann.call(&leave).await.unwrap_err();
        assert_eq!(reason(&refused), "LAST_ORGANISER");
        let bens = account_of(&ben).await;
        let organiser =
            v1::SetClubOrganiserRequest { club_id: id.clone(), account_id: bens, organiser: Some(true) };
        ann.call(&organiser).await.unwrap();
        ann.call(&leave).await.unwrap();

        // The export holds everything before the club closes.
        let export = v1::ExportClubRequest { club_id: id.clone() };
        let mut stream = ben.open(&export).await.unwrap();
        let mut text = String::new();
        while let Some(reply) = stream.message().await.unwrap() {
            text.push_str(std::str::from_utf8(&reply.chunk).unwrap());
        }
        assert!(text.contains(&offer_id) && text.contains(&claim_id) && text.contains("cat of the club"));
        assert!(!text.contains("the shed") && !text.contains("0400 000 000"), "no contact: {text}");
        let more: v1::CreateOfferResponse = ben.call(&for_club(&id)).await.unwrap();
        let close = v1::CloseClubRequest { club_id: id.clone() };
        ben.call(&close).await.unwrap();
        let gone = cat.call(&v1::GetClubRequest { club_id: id }).await;
        assert_eq!(reason(&gone.unwrap_err()), "NOT_FOUND");
        let get = v1::GetOfferRequest { offer_id: more.offer.unwrap().offer_id, ..Default::default() };
        let offer: v1::GetOfferResponse = ben.call(&get).await.unwrap();
        assert_eq!(offer.offer.unwrap().state(), v1::OfferState::Withdrawn);
        make(&ann, "Larkwater growers").await.unwrap();
        people.server.stop().await;
    })
    .await;
}

/// An organiser acts for a member who agreed; the record is marked, and no one else can act.
#[tokio::test]
async fn organisers_act_for_members_who_agreed() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (ann, ben, cat) =
            (people.grower("ann").await, people.grower("ben").await, people.grower("cat").await);
        let id = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let_in(&ann, &ben, &id).await;
        let enter = v1::EnterHelpedMemberRequest {
            club_id: id.clone(),
            name: "Old Fern".into(),
            consent: "Said so to me at the May meeting.".into(),
        };
        let denied = ben.call(&enter).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        let entered: v1::EnterHelpedMemberResponse = ann.call(&enter).await.unwrap();
        let fern = entered.account_id;
        let for_fern = ann.on_behalf_of(&fern);
        // The consent covers this club only.
        let denied = for_fern.call(&v1::CreateOfferRequest { offer: Some(draft()) }).await;
        assert_eq!(wrong_fields(&denied.unwrap_err()), ["offer.club"]);
        let_in(&ann, &cat, &id).await;
        let request = v1::CreateOfferRequest { offer: Some(v1::OfferDraft { club: id.clone(), ..draft() }) };
        let posted: v1::CreateOfferResponse = for_fern.call(&request).await.unwrap();
        let offer = posted.offer.unwrap();
        assert_eq!((offer.giver_name.as_str(), offer.entered_for_giver), ("Old Fern", true));
        let asked: v1::CreateClaimResponse = cat.call(&ask(&offer.offer_id, 1)).await.unwrap();
        let accept = v1::AcceptClaimRequest {
            claim_id: asked.claim.unwrap().claim_id,
            contact: "by me, at the shed".into(),
            note: String::new(),
        };
        for_fern.call(&accept).await.unwrap();
        // The log shows who acted and for whom.
        let db = people.server.running.app().store().admin();
        let row = sea_orm::ConnectionTrait::query_one_raw(
            db,
            sea_orm::Statement::from_string(
                sea_orm::ConnectionTrait::get_database_backend(db),
                "SELECT change, actor_id FROM audit_log WHERE action = 'offer.posted'".to_string(),
            ),
        )
        .await
        .unwrap()
        .unwrap();
        let change: String = row.try_get("", "change").unwrap();
        assert!(change.contains(&fern), "{change}");

        // ben has not agreed; then he agrees, and withdraws it.
        let bens = account_of(&ben).await;
        let for_ben = ann.on_behalf_of(&bens);
        let mine = v1::ListMyOffersRequest::default();
        let denied = for_ben.call(&mine).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        let allow = |allow| v1::AllowHelpRequest { club_id: id.clone(), allow: Some(allow) };
        ben.call(&allow(true)).await.unwrap();
        for_ben.call(&mine).await.unwrap();
        // Consent does not cover his account, his plans or his clubs.
        let change =
            v1::ChangePasswordRequest { current_password: PASSWORD.into(), new_password: "x".into() };
        let denied = for_ben.call(&change).await;
        assert_eq!(reason(&denied.unwrap_err()), "NOT_ON_BEHALF");
        ben.call(&allow(false)).await.unwrap();
        let denied = for_ben.call(&mine).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        // No one else acts for Fern.
        let denied = ben.on_behalf_of(&fern).call(&mine).await;
        assert_eq!(reason(&denied.unwrap_err()), "ROLE_MISSING");
        people.server.stop().await;
    })
    .await;
}
