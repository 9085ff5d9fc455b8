//! Dated plans, the grafting log, and how long offered wood and seed live.

use scionary_proto::v1::{self, update_step_request::Edit};
use scionary_tests::{
    Database, Raw, TestServer,
    client::{reason, wrong_fields},
    on_both,
    samples::{draft, grafts, in_days, plan},
};
use tonic::Status;

use crate::evidence::Club;

async fn keep(who: &Raw, plan: v1::DraftPlanRequest) -> Result<v1::Plan, Status> {
    let request =
        v1::CreatePlanRequest { plan: Some(plan), title: "By the gate".into(), note: String::new() };
    who.call(&request).await.map(|r| r.plan.unwrap())
}

async fn edit(who: &Raw, plan: &v1::Plan, key: &str, edit: Edit) -> Result<v1::Plan, Status> {
    let request = v1::UpdateStepRequest {
        plan_id: plan.plan_id.clone(),
        version: plan.version,
        step_key: key.into(),
        edit: Some(edit),
    };
    who.call(&request).await.map(|r| r.plan.unwrap())
}

fn step<'a>(steps: &'a [v1::PlanStep], key: &str) -> &'a v1::PlanStep {
    steps.iter().find(|s| s.step_key == key).unwrap()
}

/// Any crop and any way give the profile's steps with days, with local months and named sources. Every plan has the
/// movement caution.
#[tokio::test]
async fn every_way_of_every_crop_has_its_steps() {
    let database = Database::sqlite();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../deploy/catalogue-apple");
    let server = TestServer::with(&database.url, &[&format!("data.catalogue_folders={folder}")]).await;
    let anyone = server.raw();
    let crops: v1::ListCropsResponse = anyone.call(&v1::ListCropsRequest {}).await.unwrap();
    let mut plans = 0;
    for crop in &crops.crops {
        let list = v1::ListCultivarsRequest { crop: crop.crop.clone(), page_size: 1, ..Default::default() };
        let one: v1::ListCultivarsResponse = anyone.call(&list).await.unwrap();
        let Some(cultivar) = one.cultivars.first() else { continue };
        for way in [v1::Way::GraftedTree, v1::Way::Seed, v1::Way::OwnRootstock, v1::Way::TopWorking] {
            for climate in [v1::Climate::Warm, v1::Climate::Mild, v1::Climate::Cold] {
                let request = v1::DraftPlanRequest {
                    cultivar: cultivar.cultivar_id.clone(),
                    way: way.into(),
                    climate: climate.into(),
                    start: Some(v1::CalendarDate { year: 2027, month: 5, day: 3 }),
                    ..Default::default()
                };
                let found: v1::DraftPlanResponse = anyone.call(&request).await.unwrap();
                assert!(found.steps.len() >= 4, "{} {way:?}: {:?}", crop.crop, found.steps);
                assert!(found.steps.iter().all(|s| !s.origins.is_empty() && !s.about.is_empty()));
                let fruit = step(&found.steps, "first_fruit");
                assert!(fruit.earliest.unwrap().year > 2027, "{} {way:?}", crop.crop);
                let cautions: Vec<&String> = found.steps.iter().flat_map(|s| &s.cautions).collect();
                assert!(
                    cautions.iter().any(|c| c.contains("plant-health authority")),
                    "{} {way:?}",
                    crop.crop
                );
                plans += 1;
            }
        }
    }
    assert!(plans >= 36, "{plans}");
    // A place gives the hemisphere and an estimate of the climate.
    let south_of_the_tropic = scionary_domain::place::GridCode::around(-27.47, 153.02).unwrap().to_string();
    let at = v1::DraftPlanRequest { climate: 0, south: false, grid_code: south_of_the_tropic, ..plan() };
    let found: v1::DraftPlanResponse = anyone.call(&at).await.unwrap();
    let setting = found.setting.unwrap();
    assert!(setting.south && found.climate_guessed && setting.climate() == v1::Climate::Mild, "{setting:?}");
    assert!(found.temperatures.iter().any(|t| t.unit == "°C" && t.origin == "HS2"));
    let wrong = v1::DraftPlanRequest {
        way: 0,
        start: Some(v1::CalendarDate { year: 1700, month: 1, day: 1 }),
        grid_code: "nowhere".into(),
        ..plan()
    };
    let wrong = anyone.call(&wrong).await.unwrap_err();
    assert_eq!(wrong_fields(&wrong), ["start", "way", "grid_code"]);
    server.stop().await;
    database.done().await;
}

/// A plan is saved, ticked off, moved, extended, exported and deleted; no one else sees it.
#[tokio::test]
async fn a_plan_is_kept_and_followed() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let kept = keep(&ann, v1::DraftPlanRequest { start: Some(in_days(-40)), ..plan() }).await.unwrap();
        assert_eq!((kept.title.as_str(), kept.version), ("By the gate", 1));
        let sow = step(&kept.steps, "sow");
        assert!(sow.due && sow.late, "not sown for forty days: {sow:?}");
        assert_eq!(step(&kept.steps, "sprouts").earliest, Some(in_days(8)), "counts from today");
        // Ticked off with its real day: the later steps count from there.
        let done = edit(&ann, &kept, "sow", Edit::DoneOn(in_days(-30))).await.unwrap();
        assert_eq!(step(&done.steps, "sprouts").earliest, Some(in_days(-22)));
        assert_eq!(step(&done.steps, "sow").done_on, Some(in_days(-30)));
        let stale = edit(&ann, &kept, "sprouts", Edit::DoneOn(in_days(-20))).await.unwrap_err();
        assert_eq!(reason(&stale), "STALE_VERSION");
        let future = edit(&ann, &done, "sprouts", Edit::DoneOn(in_days(9))).await.unwrap_err();
        assert_eq!(wrong_fields(&future), ["done_on"]);
        let early = edit(&ann, &done, "sprouts", Edit::DoneOn(in_days(-31))).await.unwrap_err();
        assert_eq!(wrong_fields(&early), ["done_on"], "before it was sown");
        let moved = edit(&ann, &done, "pot_on", Edit::Planned(in_days(300))).await.unwrap();
        assert_eq!(step(&moved.steps, "pot_on").latest, Some(in_days(300)));
        let moved_on = step(&moved.steps, "plant_out").earliest;
        assert_eq!(moved_on, Some(in_days(300 + 334)), "eleven months later");
        let left = edit(&ann, &moved, "separate", Edit::LeaveOut("one sprout each".into())).await.unwrap();
        assert_eq!(step(&left.steps, "separate").state(), v1::StepState::LeftOut);
        let add = v1::CreateStepRequest {
            plan_id: left.plan_id.clone(),
            title: "Shade cloth".into(),
            wait_days: 5,
            after: "sprouts".into(),
            ..Default::default()
        };
        let added: v1::CreateStepResponse = ann.call(&add).await.unwrap();
        let added = added.plan.unwrap();
        let own = added.steps.iter().find(|s| s.own).unwrap();
        assert_eq!(
            (own.wait.as_str(), own.step_key.as_str()),
            ("5 days", "own_5"),
            "a key of its own for ever"
        );
        // An edit that changes nothing makes no new version.
        let same = edit(&ann, &added, "sow", Edit::DoneOn(in_days(-30))).await.unwrap();
        assert_eq!(same.version, added.version);
        // The notes together are too long.
        let long = "x".repeat(1_000);
        let mut kept = Ok(same.clone());
        for step in &same.steps {
            if let Ok(plan) = &kept {
                kept = edit(&ann, plan, &step.step_key, Edit::Note(long.clone())).await;
            }
        }
        let filled = kept.unwrap();
        for step in &filled.steps {
            edit(&ann, &v1::Plan { version: 0, ..filled.clone() }, &step.step_key, Edit::Note(String::new()))
                .await
                .unwrap();
        }
        // A failed step: it and all later steps open again.
        let again = v1::Plan { version: 0, ..added.clone() };
        let again = edit(&ann, &again, "sow", Edit::Again(true)).await.unwrap();
        assert!(step(&again.steps, "sow").state() == v1::StepState::Open);
        assert_eq!(step(&again.steps, "sow").earliest, Some(in_days(0)));
        let back = edit(&ann, &again, "sow", Edit::DoneOn(in_days(-30))).await.unwrap();
        let added = edit(&ann, &back, "separate", Edit::LeaveOut("one sprout each".into())).await.unwrap();
        // Another place: the months of the other hemisphere; finished steps stay.
        let change = v1::UpdatePlanRequest {
            plan_id: added.plan_id.clone(),
            plan: Some(v1::PlanDraft {
                climate: v1::Climate::Mild.into(),
                south: false,
                ..Default::default()
            }),
            update_mask: Some(prost_types::FieldMask { paths: vec!["climate".into(), "south".into()] }),
            ..Default::default()
        };
        let elsewhere: v1::UpdatePlanResponse = ann.call(&change).await.unwrap();
        let elsewhere = elsewhere.plan.unwrap();
        assert_eq!(step(&elsewhere.steps, "plant_out").months, [3, 4, 5, 6]);
        assert_eq!(step(&elsewhere.steps, "sow").state(), v1::StepState::Done);
        assert!(
            elsewhere.steps.iter().any(|s| s.step_key == "frost") && elsewhere.steps.iter().any(|s| s.own)
        );
        let added = elsewhere;
        let missing = edit(&ann, &v1::Plan { version: 0, ..added.clone() }, "own_9", Edit::Reopen(true))
            .await
            .unwrap_err();
        assert_eq!(wrong_fields(&missing), ["step_key"]);

        let list: v1::ListMyPlansResponse = ann.call(&v1::ListMyPlansRequest::default()).await.unwrap();
        let summary = &list.plans[0];
        assert_eq!(usize::try_from(summary.steps).unwrap(), added.steps.len());
        assert_eq!(summary.open_steps, summary.steps - 2);
        assert!(summary.next.iter().any(|s| s.step_key == "sprouts" && s.late));

        // NotFound for anyone else, so that existence does not leak.
        let get = v1::GetPlanRequest { plan_id: added.plan_id.clone() };
        let hidden = ben.call(&get).await.unwrap_err();
        assert_eq!(reason(&hidden), "NOT_FOUND");
        assert_eq!(reason(&edit(&ben, &added, "sow", Edit::Reopen(true)).await.unwrap_err()), "NOT_FOUND");
        let mine: v1::ListMyPlansResponse = ben.call(&v1::ListMyPlansRequest::default()).await.unwrap();
        assert!(mine.plans.is_empty());

        let export = v1::ExportCalendarRequest { plan_id: added.plan_id.clone() };
        let file: v1::ExportCalendarResponse = ann.call(&export).await.unwrap();
        assert!(file.calendar.contains("Done: Sow the seed"), "{}", file.calendar);
        assert!(file.calendar.contains("STATUS:CANCELLED"), "what is left out leaves calendars that have it");
        assert!(file.calendar.lines().all(|line| line.len() <= 75), "folded (RFC 5545, 3.1)");

        let drop = v1::DeletePlanRequest { plan_id: added.plan_id.clone() };
        let refused = ben.call(&drop).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND");
        ann.call(&drop).await.unwrap();
        let gone = ann.call(&get).await.unwrap_err();
        assert_eq!(reason(&gone), "NOT_FOUND");
        club.server.stop().await;
    })
    .await;
}

async fn rates(who: &Raw, crop: &str) -> v1::GetGraftRatesResponse {
    let request = v1::GetGraftRatesRequest { crop: crop.into(), cultivar: String::new() };
    who.call(&request).await.unwrap()
}

/// Logs are private. Rates are over vouched-for growers, by method and by northern month, and appear in plans and
/// routes.
#[tokio::test]
async fn grafting_logs_become_rates() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let (ann, ben) = (club.grower("ann").await, club.grower("ben").await);
        let stranger = club.newcomer("stranger").await;
        let log = async |who: &Raw, entry: v1::CreateGraftsRequest| {
            who.call(&entry).await.map(|r| r.grafts.unwrap())
        };
        let day = |month| Some(v1::CalendarDate { year: 2025, month, day: 10 });
        let april = |made, taken| v1::CreateGraftsRequest { day: day(4), made, taken, ..grafts() };
        let first = log(&ann, april(10, None)).await.unwrap();
        assert!(first.report_due && first.taken.is_none());
        let report =
            |taken| v1::ReportTakesRequest { graft_id: first.graft_id.clone(), taken, seen_on: None };
        let too_many = ann.call(&report(11)).await;
        assert_eq!(wrong_fields(&too_many.unwrap_err()), ["taken"]);
        let other = ben.call(&report(8)).await;
        assert_eq!(reason(&other.unwrap_err()), "NOT_FOUND");
        ann.call(&report(8)).await.unwrap();
        // October in the south is April in the north.
        let south = v1::CreateGraftsRequest { day: day(10), south: true, ..april(10, Some(9)) };
        log(&ben, south).await.unwrap();
        log(&stranger, april(500, Some(0))).await.unwrap();
        // Two growers are too few: the rates would show their logs.
        assert!(rates(&ann, "mango").await.rates.is_empty());
        let cat = club.grower("cat").await;
        // Neither reports made too early nor grafts made too recently count yet.
        let early = v1::CreateGraftsRequest { day: Some(in_days(-10)), ..april(400, Some(0)) };
        let early = log(&cat, early).await.unwrap();
        assert!(!early.report_due);
        assert!(rates(&ann, "mango").await.rates.is_empty());
        log(&cat, april(10, Some(9))).await.unwrap();

        let found = rates(&ann, "mango").await;
        let all = &found.rates[0];
        assert_eq!((all.about, all.growers, all.month), (30, 3, 0));
        assert!(all.low < 0.87 && all.high > 0.87, "26 of 30: {all:?}");
        let april =
            found.rates.iter().find(|r| r.month == 4 && r.method() == v1::GraftMethod::Cleft).unwrap();
        assert_eq!(april.growers, 3);
        assert!(found.published.iter().any(|t| t.origin == "AH24-72"), "for comparison");
        assert!(rates(&ann, "citrus").await.rates.is_empty());

        let own = v1::DraftPlanRequest { way: v1::Way::OwnRootstock.into(), ..plan() };
        let drafted: v1::DraftPlanResponse = ann.call(&own).await.unwrap();
        assert_eq!(drafted.grafting[0].growers, 3);
        let routes = v1::CompareRoutesRequest { cultivar: "Sabre".into(), ..Default::default() };
        let routes: v1::CompareRoutesResponse = ann.call(&routes).await.unwrap();
        for route in &routes.routes {
            let grafted_by_oneself = matches!(route.way(), v1::Way::OwnRootstock | v1::Way::TopWorking);
            assert_eq!(!route.grafting.is_empty(), grafted_by_oneself, "{}", route.title);
        }

        let list = v1::ListMyGraftsRequest { unreported_only: true, ..Default::default() };
        let open: v1::ListMyGraftsResponse = ann.call(&list).await.unwrap();
        assert!(open.grafts.is_empty());
        let remove = v1::DeleteGraftsRequest { graft_id: first.graft_id.clone() };
        let other = ben.call(&remove).await;
        assert_eq!(reason(&other.unwrap_err()), "NOT_FOUND");
        ann.call(&remove).await.unwrap();
        assert!(rates(&ann, "mango").await.rates.is_empty(), "two are left");
        club.server.stop().await;
    })
    .await;
}

/// The cutting day and the way of keeping give a use-by day; after it searches no longer show the offer.
#[tokio::test]
async fn dead_material_leaves_searches() {
    on_both(async |url| {
        let club = Club::open(&url).await;
        let ann = club.grower("ann").await;
        let post = async |offer: v1::OfferDraft| {
            let request = v1::CreateOfferRequest { offer: Some(offer) };
            ann.call(&request).await.map(|r| r.offer.unwrap())
        };
        let health =
            v1::HealthDeclaration { form: v1::MaterialForm::Leafless.into(), ..draft().health.unwrap() };
        let scion = |taken_on, kept: &str| v1::OfferDraft {
            material: v1::Material::ScionWood.into(),
            health: Some(health.clone()),
            taken_on,
            kept_how: kept.into(),
            ..draft()
        };
        // Damp in plastic: 6 to 9 days (AH24-72).
        let fresh = post(scion(Some(in_days(-2)), "damp_plastic")).await.unwrap();
        assert_eq!(fresh.use_by, Some(in_days(7)));
        assert!(fresh.life.iter().any(|l| l.contains("AH24-72")), "{:?}", fresh.life);
        assert!(fresh.life.iter().any(|l| l.contains("not shown after")), "{:?}", fresh.life);
        let dead = post(scion(Some(in_days(-10)), "damp_plastic")).await.unwrap_err();
        assert_eq!(wrong_fields(&dead), ["offer.taken_on"], "dead before anybody has it");
        let unsaid = post(scion(Some(in_days(-2)), "")).await.unwrap();
        assert_eq!(unsaid.use_by, Some(in_days(3)), "the way of keeping that is over first");
        let to_order = post(scion(None, "")).await.unwrap();
        assert!(to_order.use_by.is_none() && to_order.life[0].contains("dies"), "{:?}", to_order.life);
        let search = async |from: Option<v1::CalendarDate>| {
            let request = v1::SearchOffersRequest { usable_from: from, ..Default::default() };
            let found: v1::SearchOffersResponse = ann.call(&request).await.unwrap();
            let mut ids: Vec<String> = found.offers.into_iter().map(|f| f.offer.unwrap().offer_id).collect();
            ids.sort();
            ids
        };
        let mut living = [fresh.offer_id.clone(), to_order.offer_id.clone(), unsaid.offer_id.clone()];
        living.sort();
        assert_eq!(search(None).await, living);
        assert_eq!(search(Some(in_days(8))).await, vec![to_order.offer_id.clone()]);

        let wrong = post(scion(Some(in_days(7)), "charcoal")).await.unwrap_err();
        assert_eq!(wrong_fields(&wrong), ["offer.taken_on", "offer.kept_how"]);
        // A better way of keeping gives a later use-by day.
        let change = v1::UpdateOfferRequest {
            offer_id: unsaid.offer_id.clone(),
            version: unsaid.version,
            offer: Some(scion(None, "damp_plastic")),
            update_mask: Some(prost_types::FieldMask { paths: vec!["kept_how".into()] }),
        };
        let changed: v1::UpdateOfferResponse = ann.call(&change).await.unwrap();
        assert_eq!(changed.offer.unwrap().use_by, Some(in_days(7)));
        club.server.stop().await;
    })
    .await;
}
