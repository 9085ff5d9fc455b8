//! What a rule on file prohibits never changes hands: neither by a claim nor in a round.

use scionary_domain::movement::{Move, Part, Taxa, Verdict};
use scionary_proto::v1;
use scionary_tests::{
    Raw,
    client::reason,
    on_both,
    samples::{draft, today},
};

use crate::{
    clubs::{let_in, make},
    evidence::Club as People,
    movement::{Example, examples, on_file},
    rounds::{create, mine, round, seal, settings, settle, wish},
};

/// Every worked example that is prohibited today is refused as a claim and never allotted in a round.
#[tokio::test]
async fn what_is_prohibited_is_neither_claimed_nor_allotted() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let giver = people.grower("giver").await;
        let club = make(&giver, "Larkwater growers").await.unwrap().club_id;
        let says = v1::RoundSettings {
            by_post: true,
            cap: Some(30),
            slack: Some(30),
            newcomers: Some(30),
            ..settings()
        };
        let round = create(&giver, &club, round(says)).await.unwrap().round_id;
        let part = |area: &str| v1::RoundPart {
            area_code: area.into(),
            post: true,
            contact: "at the gate".into(),
            give_more: 30,
            ..Default::default()
        };
        let join = async |who: &Raw, area: &str| {
            let request = v1::JoinRoundRequest { round_id: round.clone(), part: Some(part(area)) };
            who.call(&request).await.unwrap();
        };
        join(&giver, "XB-NS").await;
        let offer = async |plant: &str, material: v1::Material, form: v1::MaterialForm, from: &str| {
            let usual = draft();
            let grown_at = vec![v1::GrownAt { area_code: from.into(), ..Default::default() }];
            let health = v1::HealthDeclaration {
                botanical_name: plant.into(),
                form: form.into(),
                grown_at,
                ..usual.health.clone().unwrap_or_default()
            };
            let place = v1::Place { area_code: from.into(), ..usual.place.clone().unwrap_or_default() };
            let draft = v1::OfferDraft {
                material: material.into(),
                health: Some(health),
                place: Some(place),
                hand_over: vec![v1::HandOver::Post.into()],
                ..usual
            };
            let made: v1::CreateOfferResponse =
                giver.call(&v1::CreateOfferRequest { offer: Some(draft) }).await.unwrap();
            made.offer.unwrap().offer_id
        };
        let bring = async |offer_id: String| {
            let round_id = round.clone();
            let request =
                v1::BringLotRequest { round_id, offer_id, units: 1, gift: true, ..Default::default() };
            giver.call(&request).await.unwrap();
        };
        let today = today();
        let rules = on_file();
        let (mut lot, mut takers, mut over) = (0, Vec::new(), Vec::new());
        for Example { name, asked: example, verdict, .. } in examples() {
            if verdict != Verdict::Prohibited {
                continue;
            }
            // An offer names a country or a subdivision, no smaller place.
            let area = |code: &str| code.split('/').next().unwrap().to_string();
            let (from, to) = (area(example.grown_at[0].as_deref().unwrap()), area(&example.to[0]));
            let now = Move {
                dispatch: today,
                arrival: today,
                grown_at: vec![Some(from.clone())],
                to: vec![to.clone()],
                documents: Vec::new(),
                ..example.clone()
            };
            if rules.ask(&now).verdict != Verdict::Prohibited {
                over.push(name);
                continue;
            }
            let (material, form) = if example.parts.has(Part::Scion) {
                (v1::Material::ScionWood, v1::MaterialForm::Leafless)
            } else if example.parts.has(Part::Seed) {
                (v1::Material::Seed, v1::MaterialForm::CleanedSeed)
            } else if example.parts.has(Part::Fruit) {
                (v1::Material::FruitForSeed, v1::MaterialForm::WholeFruit)
            } else {
                (v1::Material::Seedling, v1::MaterialForm::BareRoot)
            };
            let offered = offer(&Taxa::shown(&example.plants[0]), material, form, &from).await;
            let taker = people.grower(&format!("taker{}", lot + 1)).await;
            let ask = v1::CreateClaimRequest {
                offer_id: offered.clone(),
                quantity: 1,
                to_area_code: to.clone(),
                contact: "at the gate".into(),
                ..Default::default()
            };
            assert_eq!(reason(&taker.call(&ask).await.unwrap_err()), "MOVEMENT_PROHIBITED", "{name}");
            let_in(&giver, &taker, &club).await;
            join(&taker, &to).await;
            bring(offered).await;
            lot += 1;
            wish(&taker, &round, &[lot]).await.unwrap();
            takers.push((name, taker));
        }
        assert_eq!(over, ["E19", "E23"], "what is over, and is prohibited on its day only");
        assert!(takers.len() >= 14, "{}", takers.len());
        // One unbarred offer next to them: the round does allot.
        let free =
            offer("Mangifera indica", v1::Material::ScionWood, v1::MaterialForm::Leafless, "XB-NS").await;
        bring(free).await;
        let near = people.grower("near").await;
        let_in(&giver, &near, &club).await;
        join(&near, "XB-NS").await;
        wish(&near, &round, &[lot + 1]).await.unwrap();
        seal(&giver, &round).await.unwrap();
        settle(&giver, &round, false).await.unwrap();
        assert_eq!(mine(&near, &round).await.gets.len(), 1);
        for (name, taker) in takers {
            let mine = mine(&taker, &round).await;
            assert!(mine.gets.is_empty(), "{name}: {:?}", mine.gets);
            assert_eq!(mine.wishes[0].lots[0].bar(), v1::RoundBar::Movement);
            let words = crate::rounds::why(&mine.wishes[0]);
            assert!(words.contains("A rule on file prohibits moving it to you"), "{name}: {words}");
        }
        people.server.stop().await;
    })
    .await;
}
