//! Offers over the wire, on both databases.

use scionary_proto::v1;
use scionary_tests::{
    Raw, TestServer,
    client::{fresh_key, reason, wrong_fields},
    on_both,
    samples::{draft, in_days},
};
use tonic::Code;

async fn post(who: &Raw, draft: v1::OfferDraft) -> Result<v1::Offer, tonic::Status> {
    let reply: v1::CreateOfferResponse = who.call(&v1::CreateOfferRequest { offer: Some(draft) }).await?;
    Ok(reply.offer.expect("an offer"))
}

async fn search(who: &Raw, request: v1::SearchOffersRequest) -> v1::SearchOffersResponse {
    who.call(&request).await.expect("a search")
}

fn at(grid: &str) -> v1::OfferDraft {
    let mut draft = draft();
    draft.place.as_mut().unwrap().grid_code = grid.into();
    draft
}

#[tokio::test]
async fn an_offer_lives_from_posting_to_withdrawal() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let visitor = server.raw();
        let offer = post(&giver, draft()).await.unwrap();
        assert_eq!(
            (offer.state(), offer.version, offer.unit()),
            (v1::OfferState::Open, 1, v1::QuantityUnit::Plants)
        );
        assert!(offer.seed_headline.contains("both kinds of seed"));
        assert!(offer.movement_notice.contains("plant-health authority"));
        assert_eq!(offer.place.as_ref().unwrap().grid_code, "2CGV2200+");

        let change = |version, quantity, paths: &[&str]| v1::UpdateOfferRequest {
            offer_id: offer.offer_id.clone(),
            version,
            offer: Some(v1::OfferDraft { quantity, ..v1::OfferDraft::default() }),
            update_mask: Some(prost_types::FieldMask {
                paths: paths.iter().map(|p| (*p).to_string()).collect(),
            }),
        };
        let changed: v1::UpdateOfferResponse = giver.call(&change(1, 4, &["quantity"])).await.unwrap();
        let changed = changed.offer.unwrap();
        assert_eq!((changed.quantity, changed.version, changed.note.as_str()), (4, 2, offer.note.as_str()));

        // A stale version is refused with both versions.
        let stale = giver.call(&change(1, 5, &["quantity"])).await.unwrap_err();
        assert_eq!((stale.code(), reason(&stale).as_str()), (Code::Aborted, "STALE_VERSION"));
        let details = tonic_types::StatusExt::get_error_details(&stale);
        let versions = &details.error_info().unwrap().metadata;
        assert_eq!((versions["seen_version"].as_str(), versions["current_version"].as_str()), ("1", "2"));

        for (paths, field) in [
            (vec!["giver_name"], "update_mask"),
            (vec![], "update_mask"),
            (vec!["quantity"], "offer.quantity"),
        ] {
            let error = giver.call(&change(2, 0, &paths)).await.unwrap_err();
            assert_eq!(wrong_fields(&error), [field]);
        }
        let withdraw = v1::WithdrawOfferRequest { offer_id: offer.offer_id.clone(), version: 2 };
        let gone: v1::WithdrawOfferResponse = giver.call(&withdraw).await.unwrap();
        assert_eq!(gone.offer.unwrap().state(), v1::OfferState::Withdrawn);
        let again = giver.call(&withdraw).await.unwrap_err();
        assert_eq!(reason(&again), "OFFER_WITHDRAWN");
        assert!(search(&visitor, v1::SearchOffersRequest::default()).await.offers.is_empty());
        let still: v1::GetOfferResponse = visitor
            .call(&v1::GetOfferRequest { offer_id: offer.offer_id, ..Default::default() })
            .await
            .unwrap();
        assert_eq!(still.offer.unwrap().version, 3);
        let mine: v1::ListMyOffersResponse = giver.call(&v1::ListMyOffersRequest::default()).await.unwrap();
        assert_eq!(mine.offers.len(), 1);
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn every_wrong_field_is_told_at_once() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let wrong = v1::OfferDraft {
            cultivar: "Kesington Pryde".into(),
            material: v1::Material::ScionWood.into(),
            quantity: -1,
            unit: v1::QuantityUnit::Plants.into(),
            terms: 99,
            available_from: Some(v1::CalendarDate { year: 2020, month: 1, day: 1 }),
            available_until: Some(v1::CalendarDate { year: 2027, month: 2, day: 30 }),
            place: Some(v1::Place {
                area_code: "Narnia".into(),
                grid_code: "here".into(),
                label: "x".repeat(100),
            }),
            note: "y".repeat(3000),
            health: Some(v1::HealthDeclaration {
                form: v1::MaterialForm::WholeFruit.into(),
                symptoms: v1::Observed::Yes.into(),
                pests: v1::Observed::No.into(),
                tests: vec![v1::PestTest {
                    pest: "anthracnose".into(),
                    result: "none found".into(),
                    ..Default::default()
                }],
                documents: vec![v1::OfficialDocument {
                    document_kind: "phytosanitary certificate".into(),
                    ..Default::default()
                }],
                ..Default::default()
            }),
            ..Default::default()
        };
        // First the fields that cannot be parsed.
        let unreadable = post(&giver, wrong.clone()).await.unwrap_err();
        assert_eq!(wrong_fields(&unreadable), ["offer.terms", "offer.available_until"]);
        // Then everything that breaks a rule.
        let readable = v1::OfferDraft { terms: 0, available_until: None, ..wrong };
        let error = post(&giver, readable).await.unwrap_err();
        assert_eq!(error.code(), Code::InvalidArgument);
        assert_eq!(
            wrong_fields(&error),
            [
                "offer.cultivar",
                "offer.quantity",
                "offer.unit",
                "offer.terms",
                "offer.available_from",
                "offer.available_until",
                "offer.place.area_code",
                "offer.place.grid_code",
                "offer.place.label",
                "offer.hand_over",
                "offer.note",
                "offer.health.grown_at",
                "offer.health.form",
                "offer.health.purpose",
                "offer.health.symptoms_text",
                "offer.health.sprayed",
                "offer.health.tests[0].laboratory",
                "offer.health.documents[0].issuer",
                "offer.health.documents[0].number",
            ]
        );
        assert!(
            error.message().contains("Kensington Pride"),
            "the near name is offered: {}",
            error.message()
        );
        assert!(
            search(&giver, v1::SearchOffersRequest::default()).await.offers.is_empty(),
            "nothing is half written"
        );
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn a_key_is_bound_to_its_request_and_answers_with_the_first_reply() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let keyed = giver.with_key(&fresh_key());
        let first = post(&keyed, draft()).await.unwrap();
        assert_eq!(post(&keyed, draft()).await.unwrap(), first, "the same bytes get the first reply");
        let other = post(&keyed, v1::OfferDraft { quantity: 7, ..draft() }).await.unwrap_err();
        assert_eq!(reason(&other), "IDEMPOTENCY_KEY_REUSED");
        let request = v1::WithdrawOfferRequest { offer_id: first.offer_id.clone(), version: 0 };
        let other = keyed.call(&request).await.unwrap_err();
        assert_eq!(reason(&other), "IDEMPOTENCY_KEY_REUSED", "nor may another method use it");
        // Keys are separate for each person.
        let second = server.raw().member("second").await.with_key("shared-key-of-two-people");
        let third = giver.with_key("shared-key-of-two-people");
        assert_ne!(
            post(&second, draft()).await.unwrap().offer_id,
            post(&third, draft()).await.unwrap().offer_id
        );
        for key in ["", "short", "with space inside it"] {
            let error = post(&giver.with_key(key), draft()).await.unwrap_err();
            assert_eq!(reason(&error), "IDEMPOTENCY_KEY_NEEDED");
        }
        // Sixteen calls at once with one key make one offer.
        let keyed = giver.with_key(&fresh_key());
        let calls = (0..16).map(|_| {
            let keyed = keyed.clone();
            tokio::spawn(async move { post(&keyed, draft()).await.map(|o| o.offer_id) })
        });
        let mut ids = std::collections::BTreeSet::new();
        for call in calls.collect::<Vec<_>>() {
            ids.insert(call.await.unwrap().unwrap());
        }
        assert_eq!(ids.len(), 1);
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn searches_find_by_everything_and_page_by_key() {
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let visitor = server.raw();
        // Cells at growing distances.
        let cells = ["2CGV2200+", "2CGV6200+", "2CHV2200+", "2CMV2200+"];
        for (at_cell, cell) in cells.iter().enumerate() {
            post(&giver, v1::OfferDraft { quantity: i32::try_from(at_cell).unwrap() + 1, ..at(cell) })
                .await
                .unwrap();
        }
        let scion = v1::OfferDraft {
            cultivar: "Kensington Pride".into(),
            material: v1::Material::ScionWood.into(),
            note: "From the old tree by the Ferry.".into(),
            terms: v1::Terms::Swap.into(),
            hand_over: vec![v1::HandOver::Post.into()],
            available_from: Some(in_days(40)),
            available_until: Some(in_days(50)),
            health: Some(v1::HealthDeclaration {
                form: v1::MaterialForm::Leafless.into(),
                ..draft().health.unwrap()
            }),
            ..at("2CGV2200+")
        };
        post(&giver, scion).await.unwrap();
        let ids = |reply: &v1::SearchOffersResponse| -> Vec<i32> {
            reply.offers.iter().map(|o| o.offer.as_ref().unwrap().quantity).collect()
        };
        let near = |within| v1::SearchOffersRequest {
            near_grid_code: "2CGV2200+".into(),
            within_km: within,
            materials: vec![v1::Material::Seedling.into()],
            ..Default::default()
        };
        let all = search(&visitor, near(0)).await;
        assert_eq!(ids(&all), [1, 2, 3, 4], "nearest first");
        let km: Vec<i32> = all.offers.iter().map(|o| o.distance_km.unwrap()).collect();
        assert_eq!(km[0], 0);
        assert!(km.windows(2).all(|w| w[0] < w[1]), "{km:?}");
        assert_eq!(ids(&search(&visitor, near(km[1])).await), [1, 2], "cut exactly at the distance");
        assert_eq!(ids(&search(&visitor, near(km[1] - 1)).await), [1]);

        // Pages in both orders together make the whole list.
        for order in [v1::OfferOrder::Nearest, v1::OfferOrder::Newest] {
            let mut paged = Vec::new();
            let mut token = String::new();
            loop {
                let page = search(
                    &visitor,
                    v1::SearchOffersRequest {
                        page_size: 2,
                        page_token: token,
                        order: order.into(),
                        ..near(0)
                    },
                )
                .await;
                paged.extend(ids(&page));
                token = page.next_page_token;
                if token.is_empty() {
                    break;
                }
            }
            let whole = if order == v1::OfferOrder::Nearest { vec![1, 2, 3, 4] } else { vec![4, 3, 2, 1] };
            assert_eq!(paged, whole);
        }
        let first = search(&visitor, v1::SearchOffersRequest { page_size: 2, ..near(0) }).await;
        let other =
            v1::SearchOffersRequest { page_token: first.next_page_token, crop: "mango".into(), ..near(0) };
        let error = visitor.call(&other).await.unwrap_err();
        assert_eq!(reason(&error), "PAGE_TOKEN_MISMATCH", "a token of another search");
        let junk = v1::SearchOffersRequest { page_token: "zz".into(), ..near(0) };
        let error = visitor.call(&junk).await.unwrap_err();
        assert_eq!(reason(&error), "PAGE_TOKEN_UNREADABLE");

        let count = async |request| search(&visitor, request).await.offers.len();
        let base = v1::SearchOffersRequest::default;
        assert_eq!(count(v1::SearchOffersRequest { name: "kesington prid".into(), ..base() }).await, 1);
        assert_eq!(
            count(v1::SearchOffersRequest { name: "Bowen".into(), ..base() }).await,
            1,
            "by a synonym"
        );
        assert_eq!(count(v1::SearchOffersRequest { name: "xyzzy".into(), ..base() }).await, 0);
        assert_eq!(count(v1::SearchOffersRequest { text: "FERRY tree".into(), ..base() }).await, 1);
        assert_eq!(
            count(v1::SearchOffersRequest { text: "100%_".into(), ..base() }).await,
            0,
            "no wild cards"
        );
        assert_eq!(count(v1::SearchOffersRequest { terms: vec![v1::Terms::Swap.into()], ..base() }).await, 1);
        assert_eq!(
            count(v1::SearchOffersRequest { hand_over: vec![v1::HandOver::Post.into()], ..base() }).await,
            1
        );
        assert_eq!(count(v1::SearchOffersRequest { crop: "citrus".into(), ..base() }).await, 0);
        assert_eq!(
            count(v1::SearchOffersRequest { usable_from: Some(in_days(45)), ..base() }).await,
            1,
            "still to be had then"
        );
        assert_eq!(
            count(v1::SearchOffersRequest { usable_until: Some(in_days(5)), ..base() }).await,
            4,
            "not yet to be had"
        );
        let wrong = v1::SearchOffersRequest {
            within_km: 5,
            crop: "durian".into(),
            order: v1::OfferOrder::Nearest.into(),
            ..base()
        };
        let error = visitor.call(&wrong).await.unwrap_err();
        assert_eq!(wrong_fields(&error), ["crop", "near_grid_code", "near_grid_code"]);
        server.stop().await;
    })
    .await;
}

#[tokio::test]
async fn expired_offers_leave_searches_by_themselves() {
    use sea_orm::ConnectionTrait as _;
    on_both(async |url| {
        let server = TestServer::start(&url).await;
        let giver = server.raw().member("giver").await;
        let offer = post(&giver, draft()).await.unwrap();
        assert_eq!(search(&giver, v1::SearchOffersRequest::default()).await.offers.len(), 1);
        // The offer's last day was yesterday.
        let db = server.running.app().store().admin();
        db.execute_unprepared("UPDATE offer SET until_day = until_day - 31").await.unwrap();
        assert!(search(&giver, v1::SearchOffersRequest::default()).await.offers.is_empty());
        let shown: v1::GetOfferResponse = giver
            .call(&v1::GetOfferRequest { offer_id: offer.offer_id, ..Default::default() })
            .await
            .unwrap();
        assert_eq!(shown.offer.unwrap().state(), v1::OfferState::Expired);
        server.stop().await;
    })
    .await;
}
