//! From a name to a tree: the odds of sowings, for cultivars on file and for typed numbers.

use scionary_proto::v1::{self, observed_thing::Thing};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{reason, wrong_fields},
    samples::{day, draft, observed},
};
use tonic::Status;

use crate::evidence::{Club, add};

async fn odds(
    who: &Raw,
    request: v1::EstimateSeedOddsRequest,
) -> Result<v1::EstimateSeedOddsResponse, Status> {
    who.call(&request).await
}

fn of(cultivar: &str) -> v1::EstimateSeedOddsRequest {
    v1::EstimateSeedOddsRequest { cultivar: cultivar.into(), ..Default::default() }
}

/// The published rates of the catalogue give these numbers; without a published rate there is no number.
#[tokio::test]
async fn published_rates_become_numbers_of_seedlings() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let anyone = server.raw();

    // Off-type 2 and 4 % (LITZ-POLY), of an unstated number: 2 to 27 in 100 together with the crop's other cultivars.
    let sabre =
        odds(&anyone, v1::EstimateSeedOddsRequest { germination: Some(0.8), batch: 20, ..of("Sabre") });
    let sabre = sabre.await.unwrap();
    assert_eq!((sabre.wanted, sabre.confidence, sabre.new_plant), (1, 0.9, false));
    let kept = &sabre.kept[0];
    assert_eq!(kept.kept(), v1::SeedlingsKept::AsTheyCome);
    assert_eq!(kept.origins, ["LITZ-POLY"]);
    let is_true = kept.is_true.unwrap();
    assert!((0.70..0.76).contains(&is_true.low) && (0.97..0.99).contains(&is_true.high), "{is_true:?}");
    assert_eq!(kept.seedlings.unwrap().likely, Some(2), "one is true only 86 times of 100");
    assert_eq!(kept.seeds.unwrap().likely, Some(2), "0.8 x 0.86 = 0.69; 1 - 0.31^2 = 0.90");
    let batch = kept.off_type_in_batch.unwrap();
    let ends = |is_true: f64| 1.0 - is_true.powi(20);
    assert!((batch.low - ends(is_true.high)).abs() < 1e-9, "{batch:?}");
    assert!((batch.high - ends(is_true.low)).abs() < 1e-9, "{batch:?}");
    assert!(sabre.sources.iter().any(|s| s.source_id == "LITZ-POLY"));

    // 64 % off-type by one source: 0.64^6 is below 0.1; with the uncertainty of that one figure, 4 to 8 are likely.
    let golek = odds(&anyone, of("Golek")).await.unwrap();
    let needed = golek.kept[0].seedlings.unwrap();
    assert!(needed.likely >= Some(3) && needed.likely <= Some(6), "{needed:?}");
    assert!(needed.at_best < needed.likely && needed.likely <= needed.at_worst, "{needed:?}");

    // Stated to be polyembryonic, never counted: the crop's range, and no figure of its own.
    let pride = odds(&anyone, of("Kensington Pride")).await.unwrap();
    let needed = pride.kept[0].seedlings.unwrap();
    assert!(needed.at_best == Some(1) && needed.likely < needed.at_worst, "{needed:?}");
    assert!(pride.kept[0].basis.contains("not counted for this cultivar"), "{}", pride.kept[0].basis);
    assert!(pride.notes.iter().any(|n| n.origins.contains(&"FATIMAH".to_string())), "studies that disagree");

    // Avocado: a new plant, and nothing that looks like odds.
    let hass = odds(&anyone, v1::EstimateSeedOddsRequest { crop: "avocado".into(), ..of("Simmonds") });
    let hass = hass.await.unwrap();
    assert!(hass.new_plant && hass.kept.is_empty(), "{hass:?}");
    assert!(hass.headline.contains("rootstock"), "{}", hass.headline);
    server.stop().await;
    database.done().await;
}

/// Typed numbers override those on file; the way of keeping the seed changes its germination.
#[tokio::test]
async fn typed_numbers_and_keeping_count() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let anyone = server.raw();
    let count = |of_these, counted| Some(v1::CountOf { of_these, counted });
    let own = odds(
        &anyone,
        v1::EstimateSeedOddsRequest {
            wanted: 10,
            confidence: 0.95,
            off_type_counted: count(3, 12),
            germination_counted: count(30, 40),
            ..Default::default()
        },
    );
    let own = own.await.unwrap();
    assert!(own.cultivar.is_none() && own.storages.is_empty());
    let (seedlings, seeds) = (own.kept[0].seedlings.unwrap(), own.kept[0].seeds.unwrap());
    assert!(
        seedlings.likely.unwrap() > 17,
        "a known 3 in 4 takes 17; 9 true of 12 leave it open: {seedlings:?}"
    );
    assert!(seeds.likely > seedlings.likely && seeds.at_worst > seeds.likely, "{seeds:?}");

    let kept = |days, how: &str| v1::EstimateSeedOddsRequest {
        germination: Some(0.9),
        kept_days: days,
        kept_how: how.into(),
        ..of("Sabre")
    };
    // 80 % alive after 70 days in charcoal dust (MORTON87).
    let charcoal = odds(&anyone, kept(70, "charcoal")).await.unwrap();
    assert!((charcoal.germination.unwrap().middle.unwrap() - 0.72).abs() < 1e-9);
    assert!(charcoal.germination_basis.contains("MORTON87"), "{}", charcoal.germination_basis);
    // Nothing alive after 42 days in sphagnum (MORTON87).
    let sphagnum = odds(&anyone, kept(42, "sphagnum")).await.unwrap();
    assert!(sphagnum.headline.contains("fresh seed"), "{}", sphagnum.headline);
    assert_eq!(sphagnum.kept[0].seeds, Some(v1::NumberNeeded::default()));
    // No source covers the time between.
    let between = odds(&anyone, kept(20, "unprotected")).await.unwrap();
    assert_eq!(between.germination.unwrap().middle, None);
    server.stop().await;
    database.done().await;
}

/// The routes next to each other: years over all sources, each with its origin; the advice depends on what is at hand.
#[tokio::test]
async fn ways_to_a_tree_side_by_side() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let anyone = server.raw();
    let routes = async |request: v1::CompareRoutesRequest| anyone.call(&request).await;
    let of = |name: &str| v1::CompareRoutesRequest { cultivar: name.into(), ..Default::default() };
    let way = |found: &v1::CompareRoutesResponse, way: v1::Way| {
        found.routes.iter().find(|r| r.way() == way).unwrap().clone()
    };

    let sabre = routes(of("Sabre")).await.unwrap();
    assert_eq!(sabre.routes.len(), 4);
    let (grafted, seed) = (way(&sabre, v1::Way::GraftedTree), way(&sabre, v1::Way::Seed));
    // 3 to 5 years (HS2) and 2 to 3 (WASI) after planting, which can take four months, as in plans.
    let (low, high) = (grafted.fruit_years_low.unwrap(), grafted.fruit_years_high.unwrap());
    assert!((low - 2.0).abs() < 0.01 && (high - 5.34).abs() < 0.02, "{low} {high}");
    let origins: Vec<&str> = grafted.first_fruit.iter().map(|f| f.origin.as_str()).collect();
    assert_eq!(origins, ["HS2", "WASI"]);
    // 6 years (MORTON87), in the fourth year in common practice: the whole range, open above.
    assert!((seed.fruit_years_low.unwrap() - 4.0).abs() < 0.01 && seed.fruit_years_high.is_none());
    let is_true = seed.is_true.unwrap();
    assert!(is_true.low < 0.76 && is_true.high > 0.97, "2 and 4 % off-type, not of how many (LITZ-POLY)");
    assert_eq!(sabre.recommended(), v1::Way::GraftedTree);
    // A rootstock takes 6 to 8 months (PD11) before the years begin, unless one is at hand.
    let own = way(&sabre, v1::Way::OwnRootstock);
    let ready = routes(v1::CompareRoutesRequest { has_rootstock: true, has_scion: true, ..of("Sabre") })
        .await
        .unwrap();
    let with_stock = way(&ready, v1::Way::OwnRootstock).fruit_years_low.unwrap();
    let saved = own.fruit_years_low.unwrap() - with_stock;
    assert!((saved - 0.5).abs() < 0.02, "six months at the least: {saved}");
    assert_eq!(ready.recommended(), v1::Way::OwnRootstock);
    assert!(ready.reason.contains("scion wood and a rootstock"), "{}", ready.reason);
    for route in &sabre.routes {
        assert!(route.cautions.iter().any(|c| c.topic == "movement"), "{}", route.title);
        assert!(!route.origin.is_empty() && !route.needs.is_empty());
    }

    // Avocado: the seed gives a new plant; nothing is invented where nothing is on file.
    let yard = v1::CompareRoutesRequest {
        crop: "avocado".into(),
        yard_height_m: Some(4.0),
        has_tree: true,
        has_scion: true,
        ..of("Simmonds")
    };
    let avocado = routes(yard).await.unwrap();
    let seed = way(&avocado, v1::Way::Seed);
    assert!(!seed.leads_there && seed.is_true.is_none());
    assert_eq!(seed.fruit_years_low, Some(5.0), "common practice, as its plan says");
    assert_eq!(avocado.recommended(), v1::Way::TopWorking);
    assert!(avocado.yard.contains("outgrow the 4 m"), "{}", avocado.yard);

    let wrong =
        v1::CompareRoutesRequest { yard_height_m: Some(0.0), yard_width_m: Some(-1.0), ..of("Sabre") };
    assert_eq!(wrong_fields(&routes(wrong).await.unwrap_err()), ["yard_height_m", "yard_width_m"]);
    server.stop().await;
    database.done().await;
}

/// Growers' counts change the advice: without a count it is a grafted tree; if counted true, it is the seed.
#[tokio::test]
async fn the_advice_follows_the_evidence() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let routes = async |who: &Raw| {
        let request = v1::CompareRoutesRequest { cultivar: "Sabre".into(), ..Default::default() };
        who.call(&request).await.unwrap()
    };
    let mut growers = Vec::new();
    for handle in ["ann", "ben", "cat", "dan", "eve", "fay", "gus", "hal"] {
        growers.push(club.grower(handle).await);
    }
    assert_eq!(routes(&growers[0]).await.recommended(), v1::Way::GraftedTree);
    let judged =
        |off_type| v1::SeedlingTally { which: v1::JudgedSeedlings::AsTheyCame.into(), judged: 100, off_type };
    for who in &growers {
        let draft = v1::EvidenceDraft {
            method: v1::ObservationMethod::Marker.into(),
            ..observed(Thing::Seedlings(judged(1)))
        };
        add(who, "Sabre", draft).await.unwrap();
    }
    let now = routes(&growers[0]).await;
    assert_eq!(now.recommended(), v1::Way::Seed, "{}", now.reason);
    club.server.stop().await;
    database.done().await;
}

/// Sightings make a calendar; offers fill its gaps, half a year later in the south.
#[tokio::test]
async fn a_calendar_shows_gaps_and_what_on_offer_fills_them() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let ann = club.grower("ann").await;
    let seen = |first: v1::CalendarDate, last: v1::CalendarDate| {
        let sighting = v1::Sighting { first_ripe: Some(first), last_ripe: Some(last), ..Default::default() };
        let draft = observed(Thing::Sighting(sighting));
        v1::EvidenceDraft { day: Some(last), ..draft }
    };
    // Keitt ripens late in the year, Kent before it, both at the sample's place south of the equator.
    add(&ann, "Keitt", seen(day(2026, 3, 1), day(2026, 3, 31))).await.unwrap();
    add(&ann, "Kent", seen(day(2026, 1, 1), day(2026, 2, 28))).await.unwrap();
    let offer = v1::CreateOfferRequest { offer: Some(v1::OfferDraft { cultivar: "Kent".into(), ..draft() }) };
    let _: v1::CreateOfferResponse = ann.call(&offer).await.unwrap();
    let seasons = async |request: v1::GetSeasonsRequest| ann.call(&request).await;
    let request = v1::GetSeasonsRequest {
        cultivars: vec!["Keitt".into(), "Tommy Atkins".into(), "Keitt".into()],
        crop: "mango".into(),
        fill_gaps: true,
        ..Default::default()
    };
    let found = seasons(request.clone()).await.unwrap();
    let ripe = |row: &v1::SeasonRow| -> Vec<usize> {
        (0..).zip(&row.half_months).filter(|(_, share)| **share >= 0.5).map(|(at, _)| at).collect()
    };
    assert_eq!(found.rows.len(), 2, "each once");
    let at_home = ripe(&found.rows[0]);
    assert_eq!(at_home.len(), 2, "one month");
    assert_eq!(found.gaps.len(), 22);
    assert_eq!(found.fillers.len(), 1);
    assert_eq!((found.fillers[0].fills.len(), found.fillers[0].offers), (4, 1));
    // The same in the other hemisphere: half a year apart.
    let other = seasons(v1::GetSeasonsRequest { south: !found.south, ..request.clone() }).await.unwrap();
    let moved: Vec<usize> = at_home.iter().map(|at| (at + 12) % 24).collect();
    assert_eq!(ripe(&other.rows[0]), moved);
    // Near a place, the place decides the hemisphere.
    let near = v1::GetSeasonsRequest {
        near_grid_code: draft().place.unwrap().grid_code,
        within_km: 50,
        ..request.clone()
    };
    let near = seasons(near).await.unwrap();
    assert_eq!(near.fillers[0].nearest_km, Some(0));
    let away = v1::GetSeasonsRequest { near_grid_code: "8FVC2200+".into(), within_km: 50, ..request.clone() };
    assert!(seasons(away).await.unwrap().fillers.is_empty());

    let wrong = v1::GetSeasonsRequest { cultivars: Vec::new(), crop: String::new(), ..request };
    assert_eq!(wrong_fields(&seasons(wrong).await.unwrap_err()), ["cultivars", "crop"]);
    club.server.stop().await;
    database.done().await;
}

/// Published months are drawn unchanged, for their places; near the equator no month is shifted.
#[tokio::test]
async fn published_months_stand_as_they_are_told_and_the_equator_is_asked_about() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let ann = club.grower("ann").await;
    let of = |names: &[&str], near: &str, south: bool| v1::GetSeasonsRequest {
        cultivars: names.iter().map(ToString::to_string).collect(),
        crop: "mango".into(),
        near_grid_code: near.into(),
        south,
        ..Default::default()
    };
    let seasons = async |request: v1::GetSeasonsRequest| ann.call(&request).await.unwrap();
    // The catalogue's rows: Kent, March in Kenya (GRIES03) and July to September in Florida (MORTON87); Ngowe's season
    // passes the end of the year.
    for south in [false, true] {
        let found = seasons(of(&["Kent", "Ngowe"], "", south)).await;
        let told: Vec<_> = found.rows[0]
            .published
            .iter()
            .map(|p| (p.place.as_str(), p.from_month, p.to_month, p.source_id.as_str()))
            .collect();
        assert_eq!(told, [("Florida", 7, 9, "MORTON87"), ("Kenya", 3, 3, "GRIES03")]);
        let ngowe = &found.rows[1].published[0];
        assert_eq!((ngowe.place.as_str(), ngowe.from_month, ngowe.to_month), ("Kenya coast", 11, 3));
        assert!(found.rows[0].expected.is_empty() && !found.near_equator);
    }
    // A season seen far away is drawn elsewhere, but not near the equator, where a shift of half a year is a guess.
    let seen = async |grid: &str, first: v1::CalendarDate, last: v1::CalendarDate| {
        let sighting = v1::Sighting { first_ripe: Some(first), last_ripe: Some(last), ..Default::default() };
        let place = v1::Place { grid_code: grid.into(), ..Default::default() };
        let draft =
            v1::EvidenceDraft { day: Some(last), place: Some(place), ..observed(Thing::Sighting(sighting)) };
        add(&ann, "Kent", draft).await.unwrap();
    };
    let grid =
        |latitude| scionary_domain::place::GridCode::around(latitude, 37.0).unwrap().as_str().to_string();
    seen("8FVC2200+", day(2025, 9, 1), day(2025, 9, 30)).await;
    for latitude in [3.0, -3.0] {
        let found = seasons(of(&["Kent"], &grid(latitude), false)).await;
        assert!(found.near_equator && found.rows[0].expected.is_empty(), "{found:?}");
    }
    assert!(!seasons(of(&["Kent"], &grid(-20.0), false)).await.rows[0].expected.is_empty());
    // A season seen near the equator is drawn there.
    seen(&grid(-3.0), day(2025, 3, 1), day(2025, 3, 31)).await;
    let found = seasons(of(&["Kent"], &grid(-3.0), false)).await;
    let ripe: Vec<usize> = (0..24).filter(|at| found.rows[0].expected[*at] >= 0.5).collect();
    assert_eq!(ripe, [4, 5], "March, as it was seen");
    club.server.stop().await;
    database.done().await;
}

/// Near a place its own sightings count most; if they are few, the crop's other cultivars fill in.
#[tokio::test]
async fn seasons_of_a_place_lean_on_what_is_known_elsewhere() {
    let database = Database::sqlite();
    let club = Club::open(&database.url).await;
    let ann = club.grower("ann").await;
    let seen = async |cultivar: &str, grid: &str, first: v1::CalendarDate, last: v1::CalendarDate| {
        let sighting = v1::Sighting { first_ripe: Some(first), last_ripe: Some(last), ..Default::default() };
        let place = v1::Place { grid_code: grid.into(), ..Default::default() };
        let draft =
            v1::EvidenceDraft { day: Some(last), place: Some(place), ..observed(Thing::Sighting(sighting)) };
        add(&ann, cultivar, draft).await.unwrap();
    };
    let (here, far) = ("8FVC2200+", "8FW42200+");
    seen("Keitt", here, day(2025, 9, 1), day(2025, 9, 30)).await;
    for year in [2023, 2024, 2025] {
        seen("Keitt", far, day(year, 6, 1), day(year, 6, 30)).await;
    }
    let seasons = async |request: v1::GetSeasonsRequest| ann.call(&request).await;
    let of = |names: &[&str], near: &str| v1::GetSeasonsRequest {
        cultivars: names.iter().map(ToString::to_string).collect(),
        crop: "mango".into(),
        near_grid_code: near.into(),
        ..Default::default()
    };
    let (june, september) = (10, 16);
    let anywhere = seasons(of(&["Keitt"], "")).await.unwrap().rows.remove(0);
    assert_eq!((anywhere.place_years, anywhere.near_place_years), (4, 0));
    assert!((anywhere.expected[june] - 0.75).abs() < 1e-9, "{anywhere:?}");
    // One year here and four anywhere: (1 x 1 + 2 x 0.25) / 3 in September, (0 + 2 x 0.75) / 3 in June.
    let near = seasons(of(&["Keitt"], here)).await.unwrap().rows.remove(0);
    assert_eq!((near.place_years, near.near_place_years), (4, 1));
    assert!(
        (near.expected[september] - 0.5).abs() < 1e-9 && (near.expected[june] - 0.5).abs() < 1e-9,
        "{near:?}"
    );
    assert!((near.half_months[june] - 0.75).abs() < 1e-9, "what was seen is not drawn");
    // No season is estimated while too few cultivars of the crop are known.
    assert!(seasons(of(&["Golek"], "")).await.unwrap().rows[0].expected.is_empty());
    for cultivar in ["Kent", "Sabre", "Edward", "Tommy Atkins"] {
        seen(cultivar, here, day(2025, 7, 1), day(2025, 7, 31)).await;
    }
    let golek = seasons(of(&["Golek"], "")).await.unwrap().rows.remove(0);
    assert!(golek.half_months.is_empty() && golek.place_years == 0);
    assert!((golek.expected[12] - 0.8).abs() < 1e-9, "July in four of five cultivars: {golek:?}");

    club.server.stop().await;
    database.done().await;
}

/// A crop is data: a folder with a profile adds one, without code.
#[tokio::test]
async fn a_fourth_crop_is_a_folder() {
    let database = Database::sqlite();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/catalogue-apple");
    let server = TestServer::with(&database.url, &[&format!("data.catalogue_folders={folder}")]).await;
    let anyone = server.raw();
    let request = v1::GetCropRequest { crop: "apple".into() };
    let apple: v1::GetCropResponse = anyone.call(&request).await.unwrap();
    let winter = apple.storages.iter().find(|s| s.material == "scion_wood").unwrap();
    assert_eq!((winter.good_days, winter.origin.as_str()), (Some(60), "common practice"));
    assert!(apple.timings.iter().any(|t| t.origin == "KSU"));
    let found = odds(
        &anyone,
        v1::EstimateSeedOddsRequest {
            crop: "apple".into(),
            off_type: Some(0.5),
            germination: Some(0.5),
            kept_days: 30,
            kept_how: "cold_moist".into(),
            ..Default::default()
        },
    );
    let found = found.await.unwrap();
    assert_eq!(found.kept[0].seeds.unwrap().likely, Some(9), "1 - 0.75^n passes 0.9 at nine");
    server.stop().await;
    database.done().await;
}

#[tokio::test]
async fn everything_wrong_is_told() {
    let database = Database::sqlite();
    let server = TestServer::start(&database.url).await;
    let anyone = server.raw();
    let wrong = odds(
        &anyone,
        v1::EstimateSeedOddsRequest {
            wanted: 501,
            confidence: f64::NAN,
            off_type: Some(-0.1),
            germination: Some(0.0),
            kept_how: "in a drawer".into(),
            ..of("Sabre")
        },
    );
    let wrong = wrong_fields(&wrong.await.unwrap_err());
    assert_eq!(wrong, ["wanted", "confidence", "off_type", "germination", "kept_how"]);
    let missing = odds(&anyone, of("Keitx")).await.unwrap_err();
    assert_eq!(reason(&missing), "NOT_FOUND");
    server.stop().await;
    database.done().await;
}
