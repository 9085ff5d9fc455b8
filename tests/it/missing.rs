//! What is missing: which count would teach most, and which cultivars few members keep; on both databases.

use scionary_proto::v1::{self, observed_thing::Thing};
use scionary_tests::{
    Raw,
    client::{reason, wrong_fields},
    on_both,
    samples::{draft, mask, observed},
};

use sea_orm::ConnectionTrait as _;

use crate::{
    clubs::{let_in, make},
    evidence::{Club as People, add},
    lots::{enter, of},
};

async fn proposals(who: &Raw, request: v1::SuggestCountsRequest) -> Vec<v1::CountProposal> {
    who.call(&request).await.unwrap().proposals
}

async fn one(who: &Raw, cultivar: &str) -> v1::CountProposal {
    let request =
        v1::SuggestCountsRequest { cultivar: cultivar.into(), crop: "mango".into(), ..Default::default() };
    proposals(who, request).await.remove(0)
}

fn name(proposal: &v1::CountProposal) -> &str {
    &proposal.cultivar.as_ref().unwrap().name
}

async fn look_up(who: &Raw, name: &str) {
    let request = v1::LookUpSeedRequest { name: name.into(), crop: "mango".into() };
    assert!(who.call(&request).await.unwrap().report.is_some());
}

fn offered(material: v1::Material, cultivar: &str) -> v1::OfferDraft {
    let mut new = v1::OfferDraft { material: material.into(), cultivar: cultivar.into(), ..draft() };
    if material == v1::Material::Seed {
        new.health.as_mut().unwrap().form = v1::MaterialForm::CleanedSeed.into();
    }
    if material == v1::Material::GraftedPlant {
        new.health.as_mut().unwrap().rootstock = "unknown".into();
    }
    new
}

/// What is said of a count before it is made comes true when it is made: the interval after the middle outcome.
#[tokio::test]
async fn a_count_teaches_what_was_said() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        for cultivar in ["Golek", "R2E2"] {
            let before = one(&ann, cultivar).await;
            let promised = before.counts.last().unwrap();
            assert_eq!((before.counts.len(), promised.judged), (2, 20));
            assert!(promised.width_after < promised.high - promised.low);
            let judged = v1::SeedlingTally {
                which: v1::JudgedSeedlings::AsTheyCame.into(),
                judged: 20,
                off_type: i32::try_from(promised.middle_off_type).unwrap(),
            };
            add(&ann, cultivar, observed(Thing::Seedlings(judged))).await.unwrap();
            let after = one(&ann, cultivar).await;
            let known = &after.counts[0];
            let close = |a: f64, b: f64| (a - b).abs() < 1e-9;
            assert!(
                close(known.low, promised.middle_low) && close(known.high, promised.middle_high),
                "{cultivar}: {promised:?} promised, {known:?} known"
            );
            assert!(after.counted_before);
        }
        // A seedling of it is a new plant at any share: there is nothing to count but its sprouts.
        let single = one(&ann, "Keitt").await;
        assert_eq!((single.counts.len(), name(&single)), (0, "Keitt"));
        let before = single.sprouts.unwrap();
        let width = |c: &v1::CountTeaches| c.high - c.low;
        assert!(before.judged == 20 && before.width_after < width(&before));
        let sown = v1::SowingTally {
            one: Some(i32::try_from(20 - before.middle_off_type).unwrap()),
            several: Some(i32::try_from(before.middle_off_type).unwrap()),
            ..Default::default()
        };
        add(&ann, "Keitt", observed(Thing::Sowing(sown))).await.unwrap();
        let after = one(&ann, "Keitt").await.sprouts.unwrap();
        assert!(
            (after.low - before.middle_low).abs() < 1e-9 && (after.high - before.middle_high).abs() < 1e-9
        );
    })
    .await;
}

#[tokio::test]
async fn what_is_asked_for_and_can_be_counted_comes_first() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (ann, ben) = (people.grower("ann").await, people.grower("ben").await);
        let visitor = people.server.raw();
        let app = people.server.running.app().clone();
        let all = || v1::SuggestCountsRequest { crop: "mango".into(), page_size: 50, ..Default::default() };
        let rank = |found: &[v1::CountProposal], of: &str| found.iter().position(|p| name(p) == of);
        let before = proposals(&visitor, all()).await;
        let last = before.iter().rev().find(|p| p.source() == v1::CountSource::None).unwrap();
        let last = name(last).to_string();
        for _ in 0..3 {
            look_up(&visitor, &last).await;
        }
        app.keep_looks().await.unwrap();
        look_up(&ann, &last).await;
        app.keep_looks().await.unwrap();
        let asked = proposals(&visitor, all()).await;
        let at = rank(&asked, &last).unwrap();
        assert_eq!(asked[at].looked_up, 4);
        assert!(at < rank(&before, &last).unwrap());
        // Old look-ups weigh nothing, and are forgotten in time.
        let admin = app.store().admin();
        let old = "INSERT INTO look_up_day (cultivar_id, day, looks) SELECT id, 1, 500 FROM cultivar LIMIT 1";
        assert_eq!(admin.execute_unprepared(old).await.unwrap().rows_affected(), 1);
        assert!(proposals(&visitor, all()).await.iter().all(|p| p.looked_up < 500));
        app.housekeeping().await.unwrap();
        let gone = admin.execute_unprepared("DELETE FROM look_up_day WHERE day = 1").await.unwrap();
        assert_eq!(gone.rows_affected(), 0, "housekeeping forgot it");
        // Seed on offer counts ten times as much.
        let seed = offered(v1::Material::Seed, &last);
        ben.call(&v1::CreateOfferRequest { offer: Some(seed) }).await.unwrap();
        let offered = proposals(&visitor, all()).await;
        assert_eq!(rank(&offered, &last), Some(0));
        assert_eq!((offered[0].source(), offered[0].seed_offers), (v1::CountSource::Seed, 1));
        // Worth falls along the list, and each row is worth what it says.
        let worth = |p: &v1::CountProposal| {
            let count = p.counts.iter().map(|c| c.high - c.low - c.width_after).fold(0.0, f64::max);
            let can = match p.source() {
                v1::CountSource::Seed => 1.0,
                v1::CountSource::Plants => 0.5,
                v1::CountSource::None | v1::CountSource::Unspecified => 0.1,
            };
            count * (p.looked_up as f64 + 1.0) * can
        };
        assert!(offered.windows(2).all(|w| worth(&w[0]) >= worth(&w[1]) - 1e-12));
        // One's own: what one has seed or plants of, and no one else's.
        let mine = v1::SuggestCountsRequest { mine: true, ..Default::default() };
        assert_eq!(proposals(&ben, mine.clone()).await.iter().map(name).collect::<Vec<_>>(), [last.as_str()]);
        assert!(proposals(&ann, mine.clone()).await.is_empty());
        let plant = v1::CreateLotRequest {
            cultivar: "Golek".into(),
            crop: "mango".into(),
            ..of(v1::LotKind::MotherPlant, &[])
        };
        enter(&ann, plant).await.unwrap();
        let own = proposals(&ann, mine.clone()).await;
        assert_eq!((name(&own[0]), own[0].source()), ("Golek", v1::CountSource::Plants));
        let refused = visitor.call(&mine).await.unwrap_err();
        assert_eq!(refused.code(), tonic::Code::Unauthenticated);
        // A club's, for its members alone.
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let of_club = v1::SuggestCountsRequest { club_id: club.clone(), ..Default::default() };
        assert_eq!(reason(&ben.call(&of_club).await.unwrap_err()), "CLUB_ONLY");
        assert!(proposals(&ann, of_club.clone()).await.is_empty(), "ann's plants are not counted");
        let agrees = v1::UpdateProfileRequest {
            profile: Some(v1::Profile { count_plants: true, ..Default::default() }),
            update_mask: mask(&["count_plants"]),
            version: 0,
        };
        ann.call(&agrees).await.unwrap();
        assert_eq!(proposals(&ann, of_club).await.iter().map(name).collect::<Vec<_>>(), ["Golek"]);
        let both = v1::SuggestCountsRequest {
            mine: true,
            club_id: club,
            crop: "quince".into(),
            ..Default::default()
        };
        assert_eq!(wrong_fields(&ann.call(&both).await.unwrap_err()), ["club_id"]);
        let wrong = v1::SuggestCountsRequest { crop: "quince".into(), page_size: -1, ..Default::default() };
        assert_eq!(wrong_fields(&ann.call(&wrong).await.unwrap_err()), ["crop", "page_size"]);
    })
    .await;
}

#[tokio::test]
async fn who_still_keeps_it_finds_no_one() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let mut all = Vec::new();
        for handle in ["ann", "ben", "cleo", "dag", "eve"] {
            all.push(people.grower(handle).await);
        }
        let visitor = people.server.raw();
        let kept = async |club: &str, who: &Raw| {
            let request =
                v1::ListKeptRequest { crop: "mango".into(), club_id: club.into(), ..Default::default() };
            who.call(&request).await.unwrap()
        };
        for (who, area) in all.iter().zip(["AU-QLD", "AU-NSW", "AU", "US-FL", "US-FL"]) {
            let plant = v1::CreateLotRequest {
                cultivar: "Golek".into(),
                crop: "mango".into(),
                ..of(v1::LotKind::MotherPlant, &[])
            };
            enter(who, plant.clone()).await.unwrap();
            enter(who, plant).await.unwrap();
            assert_eq!(kept("", &visitor).await.rows, [], "no one agreed yet");
            let home =
                v1::Place { area_code: area.into(), grid_code: "2CGV2200+".into(), label: String::new() };
            let agrees = v1::UpdateProfileRequest {
                profile: Some(v1::Profile { count_plants: false, home: Some(home), ..Default::default() }),
                update_mask: mask(&["home"]),
                version: 0,
            };
            who.call(&agrees).await.unwrap();
        }
        let mut seen = Vec::new();
        for who in &all {
            let agrees = v1::UpdateProfileRequest {
                profile: Some(v1::Profile { count_plants: true, ..Default::default() }),
                update_mask: mask(&["count_plants"]),
                version: 0,
            };
            who.call(&agrees).await.unwrap();
            let reply = kept("", &visitor).await;
            let row = reply.rows[0].clone();
            let countries: Vec<(String, i64)> =
                row.countries.iter().map(|c| (c.country_name.clone(), c.members)).collect();
            assert_eq!(reply.counted_members, row.members);
            seen.push((row.members, countries, row.elsewhere, row.at_risk));
        }
        let australia = |n| vec![("Australia".to_string(), n)];
        assert_eq!(
            seen,
            [
                (1, vec![], 1, true),
                (2, vec![], 2, true),
                (3, australia(3), 0, true),
                (4, australia(3), 1, false),
                (5, australia(3), 2, false),
            ],
            "two lots of one member count once, and two members are never placed"
        );
        // Of a club, what its members keep.
        let club = make(&all[0], "Larkwater growers").await.unwrap().club_id;
        let_in(&all[0], &all[3], &club).await;
        let of_club = kept(&club, &all[3]).await;
        assert_eq!((of_club.rows[0].members, of_club.rows[0].members_in_club), (5, Some(2)));
        let request = v1::ListKeptRequest { club_id: club, ..Default::default() };
        assert_eq!(reason(&all[1].call(&request).await.unwrap_err()), "CLUB_ONLY");
        // Wood on offer is shown; seed does not keep a cultivar.
        let seed = offered(v1::Material::Seed, "Golek");
        all[1].call(&v1::CreateOfferRequest { offer: Some(seed) }).await.unwrap();
        assert_eq!(kept("", &visitor).await.rows[0].offers, 0);
        let scion = offered(v1::Material::GraftedPlant, "Golek");
        all[1].call(&v1::CreateOfferRequest { offer: Some(scion) }).await.unwrap();
        assert_eq!(kept("", &visitor).await.rows[0].offers, 1);
        // A plant that is gone is not counted, nor one whose keeper no longer agrees.
        let no = v1::UpdateProfileRequest {
            profile: Some(v1::Profile::default()),
            update_mask: mask(&["count_plants"]),
            version: 0,
        };
        all[4].call(&no).await.unwrap();
        assert_eq!(kept("", &visitor).await.rows[0].members, 4);
    })
    .await;
}
