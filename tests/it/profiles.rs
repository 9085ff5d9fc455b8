//! What members keep for themselves, short numbers, and finding things by what people call them.

use scionary_proto::v1;
use scionary_tests::{
    client::{reason, wrong_fields},
    on_both,
    samples::mask,
};

use crate::evidence::Club as People;

fn profile() -> v1::Profile {
    v1::Profile {
        home: Some(v1::Place {
            area_code: "XB-NS".into(),
            grid_code: "2CGV2200+".into(),
            label: "Larkwater".into(),
        }),
        contact: "0400 000 000".into(),
        imperial: true,
        crop: "mango".into(),
        climate: v1::Climate::Warm.into(),
        version: 0,
        count_plants: true,
    }
}

fn update(profile: v1::Profile, paths: &[&str], version: i64) -> v1::UpdateProfileRequest {
    v1::UpdateProfileRequest { profile: Some(profile), update_mask: mask(paths), version }
}

#[tokio::test]
async fn a_profile_is_kept_by_fields_and_versions_and_is_its_owners_alone() {
    on_both(async |url| {
        let server = People::open(&url).await;
        let (own, other) = (server.grower("odalind").await, server.grower("tobin").await);
        let empty: v1::GetProfileResponse = own.call(&v1::GetProfileRequest {}).await.unwrap();
        assert_eq!(empty.profile, Some(v1::Profile::default()));
        let all = ["home", "contact", "imperial", "crop", "climate", "count_plants"];
        let made = own.call(&update(profile(), &all, 0)).await.unwrap();
        assert_eq!(made.version, 1);
        let kept = own.call(&v1::GetProfileRequest {}).await.unwrap().profile.unwrap();
        assert_eq!(kept, v1::Profile { version: 1, ..profile() });
        // One field changes, the others stay.
        own.call(&update(v1::Profile { crop: "citrus".into(), ..Default::default() }, &["crop"], 1))
            .await
            .unwrap();
        let kept = own.call(&v1::GetProfileRequest {}).await.unwrap().profile.unwrap();
        assert_eq!(kept, v1::Profile { crop: "citrus".into(), version: 2, ..profile() });
        // A version that has passed is refused, and so is what cannot be kept.
        let stale = own.call(&update(profile(), &["crop"], 1)).await.unwrap_err();
        assert_eq!(reason(&stale), "STALE_VERSION");
        let wrong = v1::Profile {
            home: Some(v1::Place { grid_code: "Brisbane".into(), ..Default::default() }),
            crop: "quince".into(),
            ..Default::default()
        };
        let refused = own.call(&update(wrong.clone(), &["home"], 0)).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["profile.home.grid_code"]);
        let refused = own.call(&update(wrong, &["crop"], 0)).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["profile.crop"]);
        let refused = own.call(&update(profile(), &["version"], 0)).await.unwrap_err();
        assert_eq!(wrong_fields(&refused), ["update_mask"]);
        // What is named and left out is forgotten.
        own.call(&update(v1::Profile::default(), &["home", "contact"], 0)).await.unwrap();
        let kept = own.call(&v1::GetProfileRequest {}).await.unwrap().profile.unwrap();
        assert_eq!((kept.home, kept.contact.as_str()), (None, ""));
        let others = other.call(&v1::GetProfileRequest {}).await.unwrap().profile.unwrap();
        assert_eq!(others, v1::Profile::default());
    })
    .await;
}

#[tokio::test]
async fn numbers_are_ones_own_are_given_once_and_stay() {
    on_both(async |url| {
        let server = People::open(&url).await;
        let (own, other) = (server.grower("odalind").await, server.grower("tobin").await);
        let id = |digit: char| format!("ofr_0{}", digit.to_string().repeat(25));
        let ask = |ids: Vec<String>| v1::NumberItemsRequest { item_ids: ids };
        let numbers = |reply: v1::NumberItemsResponse| -> Vec<(String, i64)> {
            reply.items.into_iter().map(|i| (i.item_id, i.number)).collect()
        };
        let first = own.call(&ask(vec![id('2'), id('1'), id('2')])).await.unwrap();
        assert_eq!(numbers(first), [(id('2'), 1), (id('1'), 2)]);
        // Again, beside a new one: the old numbers stay.
        let again = own.call(&ask(vec![id('3'), id('1')])).await.unwrap();
        assert_eq!(numbers(again), [(id('3'), 3), (id('1'), 2)]);
        // Another member counts from 1.
        let others = other.call(&ask(vec![id('3')])).await.unwrap();
        assert_eq!(numbers(others), [(id('3'), 1)]);
        // Many at once from one member: each id gets one number, and no number is given twice.
        let ids: Vec<String> = "456789abcd".chars().map(id).collect();
        let calls = (0..8).map(|turn| {
            let (own, mut some) = (own.clone(), ids.clone());
            some.rotate_left(turn);
            tokio::spawn(async move { own.call(&v1::NumberItemsRequest { item_ids: some }).await })
        });
        let mut all: Vec<(i64, String)> = Vec::new();
        for call in calls.collect::<Vec<_>>() {
            let items = call.await.unwrap().unwrap().items;
            all.extend(items.into_iter().map(|i| (i.number, i.item_id)));
        }
        all.sort();
        all.dedup();
        let numbers: Vec<i64> = all.iter().map(|(n, _)| *n).collect();
        assert_eq!(numbers, (4..=13).collect::<Vec<i64>>(), "{all:?}");
        // A number finds its item, for its owner alone.
        let find =
            |text: &str| v1::FindItemsRequest { kind: v1::ItemKind::Numbered.into(), text: text.into() };
        assert_eq!(own.call(&find("2")).await.unwrap().items[0].item_id, id('1'));
        assert_eq!(own.call(&find("#3")).await.unwrap().items[0].item_id, id('3'));
        assert!(other.call(&find("2")).await.unwrap().items.is_empty());
        // What is no id gets no number, and too many at once are refused.
        for wrong in [vec!["ofr_1".to_string()], vec![id('1'); 201]] {
            assert!(!wrong_fields(&own.call(&ask(wrong)).await.unwrap_err()).is_empty());
        }
    })
    .await;
}

#[tokio::test]
async fn clubs_rounds_and_people_are_found_by_what_they_are_called() {
    on_both(async |url| {
        let server = People::open(&url).await;
        let (corvin, odalind, tobin) =
            (server.grower("corvin").await, server.grower("odalind").await, server.grower("tobin").await);
        let club = |name: &str| v1::CreateClubRequest {
            club: Some(v1::ClubDraft { name: name.into(), takes_requests: true, ..Default::default() }),
        };
        let larkwater = corvin.call(&club("Larkwater Fruit Growers")).await.unwrap().club.unwrap().club_id;
        let dunmere = tobin.call(&club("Dunmere Fruit Growers")).await.unwrap().club.unwrap().club_id;
        let join = v1::AskToJoinClubRequest { club_id: larkwater.clone(), words: String::new() };
        odalind.call(&join).await.unwrap();
        let find =
            |kind: v1::ItemKind, text: &str| v1::FindItemsRequest { kind: kind.into(), text: text.into() };
        let ids = |reply: v1::FindItemsResponse| -> Vec<(String, bool)> {
            reply.items.into_iter().map(|i| (i.item_id, i.exact)).collect()
        };
        // By words, by the beginning, by the whole name in any case; one's own clubs before others.
        for (text, exact) in [("growers lark", false), ("Lark", false), ("LARKWATER fruit growers", true)] {
            let found = corvin.call(&find(v1::ItemKind::Club, text)).await.unwrap();
            assert_eq!(ids(found), [(larkwater.clone(), exact)], "{text}");
        }
        let found = corvin.call(&find(v1::ItemKind::Club, "fruit growers")).await.unwrap();
        assert_eq!(ids(found), [(larkwater.clone(), false)]);
        let found = corvin.call(&find(v1::ItemKind::Club, "dunmere")).await.unwrap();
        assert_eq!(ids(found), [(dunmere, false)]);
        // An organiser finds who waits; a stranger finds no one, so that handles cannot be tried out.
        let found = corvin.call(&find(v1::ItemKind::Account, "odalind")).await.unwrap();
        assert_eq!(found.items.len(), 1, "{found:?}");
        assert!(found.items[0].exact);
        for stranger in [&tobin, &odalind] {
            let found = stranger.call(&find(v1::ItemKind::Account, "corvin")).await.unwrap();
            assert!(found.items.is_empty(), "{found:?}");
        }
        let found = tobin.call(&find(v1::ItemKind::Account, "tobin")).await.unwrap();
        assert_eq!(found.items.len(), 1);
        // A round is found by its title, by members of its club alone.
        let round = crate::rounds::round(crate::rounds::settings());
        let made = v1::CreateRoundRequest { club_id: larkwater, round: Some(round) };
        let round = corvin.call(&made).await.unwrap().round.unwrap().round_id;
        let found = corvin.call(&find(v1::ItemKind::Round, "winter")).await.unwrap();
        assert_eq!(ids(found), [(round, false)]);
        assert!(tobin.call(&find(v1::ItemKind::Round, "winter")).await.unwrap().items.is_empty());
    })
    .await;
}

#[tokio::test]
async fn places_are_found_without_signing_in() {
    let database = scionary_tests::Database::sqlite();
    let server = People::open(&database.url).await;
    let find = |text: &str, prefer: &str| v1::FindPlacesRequest { text: text.into(), prefer: prefer.into() };
    let visitor = server.server.raw();
    let reply = visitor.call(&find("brisbane", "")).await.unwrap();
    assert!(reply.clear && reply.attribution.contains("GeoNames"), "{reply:?}");
    let place = reply.places[0].clone();
    assert_eq!(place.full_name, "Brisbane, Queensland, Australia");
    // Towns and states with their codes of ISO 3166 (from memory).
    for (text, area) in [
        ("Mareeba", "AU-QLD"),
        ("Darwin", "AU-NT"),
        ("Bombay", "IN-MH"),
        ("Firenze", "IT-52"),
        ("Miami", "US-FL"),
        ("Homestead FL", "US-FL"),
        ("San Juan PR", "PR"),
        ("Perth Scotland", "GB-SCT"),
        ("London ON", "CA-ON"),
        ("Queensland", "AU-QLD"),
        ("Florida", "US-FL"),
        ("Hawaii", "US-HI"),
        ("Sicily", "IT-82"),
        ("Australia", "AU"),
        ("Singapore", "SG"),
    ] {
        let reply = visitor.call(&find(text, "")).await.unwrap();
        let found = reply.places.first().and_then(|p| p.place.clone()).unwrap_or_default();
        assert_eq!((found.area_code.as_str(), reply.clear), (area, true), "{text}: {reply:?}");
    }
    // Names of many places are not taken without asking.
    for text in ["Springfield", "Georgia", "Victoria", "NT", "Kent", "Valencia"] {
        assert!(!visitor.call(&find(text, "")).await.unwrap().clear, "{text}");
    }
    assert!(visitor.call(&find("Atlantis Ocean", "")).await.unwrap().places.is_empty());
    assert_eq!(wrong_fields(&visitor.call(&find("", "")).await.unwrap_err()), ["text"]);
}
