//! What goes on what, and what flowers with what: reports of sources beside ways, plans, offers and the grafting log.

use scionary_proto::v1::{self, observed_thing::Thing};
use scionary_tests::{
    client::reason,
    on_both,
    samples::{draft, mask, observed},
};

use crate::{
    clubs::make,
    evidence::Club as People,
    lots::{enter, of},
};

fn failing(reports: &[v1::UnionReport]) -> Vec<(&str, usize, usize)> {
    reports
        .iter()
        .filter(|r| !r.fails_source_ids.is_empty())
        .map(|r| (r.rootstock.as_str(), r.fails_source_ids.len(), r.holds_source_ids.len()))
        .collect()
}

#[tokio::test]
async fn a_union_that_sources_report_to_fail_is_said_wherever_it_is_planned() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        // Ways: LEMONAUS and DPIRD-RS on trifoliate orange; UCCHART against DPIRD-RS on rough lemon.
        let request = v1::CompareRoutesRequest {
            cultivar: "Eureka lemon".into(),
            crop: "citrus".into(),
            ..Default::default()
        };
        let ways = ann.call(&request).await.unwrap();
        let stocks = failing(&ways.unions);
        assert!(stocks.contains(&("trifoliate orange", 2, 0)), "{stocks:?}");
        assert!(stocks.contains(&("rough lemon", 1, 1)), "{stocks:?}");
        assert!(stocks.iter().all(|(name, ..)| !name.contains("sweet")), "sweet orange holds: {stocks:?}");
        let cited: Vec<&str> = ways.sources.iter().map(|s| s.source_id.as_str()).collect();
        assert!(cited.contains(&"LEMONAUS") && cited.contains(&"UCCHART"));
        // A plan that grafts, and one that does not.
        let plan = |way: v1::Way| v1::DraftPlanRequest {
            cultivar: "Eureka lemon".into(),
            crop: "citrus".into(),
            way: way.into(),
            ..Default::default()
        };
        let grafts = ann.call(&plan(v1::Way::OwnRootstock)).await.unwrap();
        assert_eq!(grafts.unions, ways.unions);
        assert!(ann.call(&plan(v1::Way::Seed)).await.unwrap().unions.is_empty());
        // The grafting log, with the rootstock as a grower calls it; what nothing is on file of says nothing.
        let log = async |rootstock: &str| {
            let request = v1::CreateGraftsRequest {
                cultivar: "Eureka lemon".into(),
                crop: "citrus".into(),
                method: v1::GraftMethod::Cleft.into(),
                rootstock: rootstock.into(),
                made: 4,
                ..Default::default()
            };
            ann.call(&request).await.unwrap().grafts.unwrap().union_report
        };
        let report = log("trifoliate").await.unwrap();
        assert_eq!((report.scion.as_str(), report.fails_source_ids.len()), ("Eureka lemon", 2));
        assert_eq!(log("Troyer").await.unwrap().fails_source_ids.len(), 3, "LEMONAUS, DPIRD-RS and UCIPM");
        assert_eq!(log("a seedling of the garden").await, None);
        assert_eq!(log("").await, None);
        let listed = ann.call(&v1::ListMyGraftsRequest::default()).await.unwrap().grafts;
        assert_eq!(listed.iter().filter(|g| g.union_report.is_some()).count(), 2);
        // A grafted plant, and a rootstock on offer.
        let mut grafted = v1::OfferDraft {
            cultivar: "Eureka lemon".into(),
            crop: "citrus".into(),
            material: v1::Material::GraftedPlant.into(),
            ..draft()
        };
        grafted.health.as_mut().unwrap().rootstock = "Swingle citrumelo".into();
        let offer = ann.call(&v1::CreateOfferRequest { offer: Some(grafted) }).await.unwrap().offer.unwrap();
        assert_eq!(failing(&offer.unions), [("Swingle citrumelo", 2, 0)]);
        let stock = v1::OfferDraft {
            cultivar: "trifoliate orange".into(),
            crop: "citrus".into(),
            material: v1::Material::Rootstock.into(),
            ..draft()
        };
        let offer = ann.call(&v1::CreateOfferRequest { offer: Some(stock) }).await.unwrap().offer.unwrap();
        let shown = ann.call(&v1::GetOfferRequest { offer_id: offer.offer_id, ..Default::default() }).await;
        let shown = shown.unwrap().offer.unwrap();
        let scions: Vec<&str> = shown.unions.iter().map(|u| u.scion.as_str()).collect();
        assert!(scions.contains(&"Eureka lemon") && scions.contains(&"Frost nucellar navel"), "{scions:?}");
        assert_eq!(shown.unions, offer.unions);
        // What a grower reports later is said as well: the reports are read again after a change.
        let statement = v1::Statement {
            descriptor_key: "union_fails".into(),
            text: "on a seedling of the garden".into(),
            ..Default::default()
        };
        let told = v1::CreateEvidenceRequest {
            cultivar: "Eureka lemon".into(),
            crop: "citrus".into(),
            draft: Some(observed(Thing::Statement(statement))),
            ..Default::default()
        };
        ann.call(&told).await.unwrap();
        let report = log("a seedling of the garden").await.unwrap();
        assert_eq!(report.fails_source_ids, ["grower"]);
        // A wider report stands where there is no narrower one: satsumas on rough lemon, for one satsuma.
        let request = v1::CreateGraftsRequest {
            cultivar: "Owari satsuma".into(),
            crop: "citrus".into(),
            method: v1::GraftMethod::Cleft.into(),
            rootstock: "rough lemon".into(),
            made: 1,
            ..Default::default()
        };
        let report = ann.call(&request).await.unwrap().grafts.unwrap().union_report.unwrap();
        assert!(report.of_group && report.fails_source_ids == ["DPIRD-RS"]);
    })
    .await;
}

/// Partners: flowers of the other type, and those that sources name, in both directions; a club's own.
#[tokio::test]
async fn what_flowers_with_what() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        let ask = async |cultivar: &str, crop: &str, club: &str| {
            let request = v1::ListPartnersRequest {
                cultivar: cultivar.into(),
                crop: crop.into(),
                club_id: club.into(),
                page_size: 50,
            };
            ann.call(&request).await.unwrap()
        };
        let names = |reply: &v1::ListPartnersResponse| -> Vec<String> {
            reply.partners.iter().map(|p| p.cultivar.as_ref().unwrap().name.clone()).collect()
        };
        let hass = ask("Hass", "avocado", "").await;
        assert_eq!(hass.flower_type, "A");
        assert!(hass.said.iter().any(|said| said.of_crop && said.source_id == "DAV94"), "the doubt is shown");
        assert!(!hass.partners.is_empty() && hass.partners.iter().all(|p| p.flower_type == "B"));
        let fuerte = ask("Fuerte", "avocado", "").await;
        assert_eq!(fuerte.flower_type, "B");
        assert!(names(&fuerte).contains(&"Hass".to_string()) && names(&hass).contains(&"Fuerte".to_string()));
        // Named by a source, in both directions.
        let orlando = ask("Orlando tangelo", "citrus", "").await;
        let dancy = orlando.partners.iter().find(|p| p.cultivar.as_ref().unwrap().name.starts_with("Dancy"));
        assert_eq!(dancy.unwrap().source_ids, ["DESTROP"]);
        assert!(names(&ask("Dancy", "citrus", "").await).contains(&"Orlando tangelo".to_string()));
        // What a club's members keep and let be counted.
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        assert!(ask("Hass", "avocado", &club).await.partners.is_empty());
        let plant = v1::CreateLotRequest {
            cultivar: "Fuerte".into(),
            crop: "avocado".into(),
            ..of(v1::LotKind::GraftedPlant, &[])
        };
        enter(&ann, plant).await.unwrap();
        let agrees = v1::UpdateProfileRequest {
            profile: Some(v1::Profile { count_plants: true, ..Default::default() }),
            update_mask: mask(&["count_plants"]),
            version: 0,
        };
        ann.call(&agrees).await.unwrap();
        let own = ask("Hass", "avocado", &club).await;
        assert_eq!((names(&own), own.partners[0].members_in_club), (vec!["Fuerte".to_string()], Some(1)));
        let stranger = people.grower("ben").await;
        let request = v1::ListPartnersRequest {
            cultivar: "Hass".into(),
            crop: "avocado".into(),
            club_id: club,
            page_size: 0,
        };
        assert_eq!(reason(&stranger.call(&request).await.unwrap_err()), "CLUB_ONLY");
    })
    .await;
}
