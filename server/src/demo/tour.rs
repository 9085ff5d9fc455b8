//! The tour: what a grower does first, against the running server, as any client would do it.

use crate::say::say;
use std::net::SocketAddr;

use anyhow::{Context as _, Result};
use scionary_proto::v1;

use super::{caller::Caller, paper::Paper, scene, swap};
use crate::{
    clock::SystemClock,
    convert::{date, read_date},
};
use scionary_app::ports::Clock as _;
use scionary_domain::ids::RoundId;

const MISSPELT: &str = "lantan moth";

/// Walks through the main job.
pub(super) async fn walk(address: SocketAddr, paper: &Paper, round: RoundId) -> Result<()> {
    let visitor = Caller::connect(address).await?;
    look_up(&visitor, paper).await?;
    paper.title("2. Sign in");
    let grower = visitor.sign_in(scene::GROWER).await?;
    paper.text(&format!("Signed in as {}.", grower.name));
    post(&grower, paper).await?;
    find(&visitor, paper).await?;
    plan(&visitor, paper).await?;
    report_back(&grower, paper).await?;
    swap::settle(&visitor, paper, round).await
}

async fn plan(visitor: &Caller, paper: &Paper) -> Result<()> {
    paper.title("5. Plan it: Quarrymead grafted on a rootstock of one's own");
    let request = v1::DraftPlanRequest {
        cultivar: "Quarrymead".into(),
        crop: "mango".into(),
        way: v1::Way::OwnRootstock.into(),
        climate: v1::Climate::Mild.into(),
        ..Default::default()
    };
    let reply = visitor.call(request).await?;
    paper.text(&reply.identity);
    let day = |wire: Option<v1::CalendarDate>| read_date("", wire, &mut Vec::new()).map(|d| d.to_string());
    for step in &reply.steps {
        let until = day(step.latest).map_or_else(|| "or later".into(), |d| format!("to {d}"));
        let origins = step.origins.join(", ");
        paper.item(
            "-",
            &format!("{} {until}: {} [{origins}]", day(step.earliest).unwrap_or_default(), step.title),
        );
    }
    Ok(())
}

async fn look_up(visitor: &Caller, paper: &Paper) -> Result<()> {
    paper.title(&format!("1. Does the seed of “{MISSPELT}” come true?"));
    let request = v1::LookUpSeedRequest { name: MISSPELT.into(), crop: String::new() };
    let reply = visitor.call(request).await?;
    let report = reply.report.context("the look-up found nothing")?;
    if let (true, Some(found)) = (reply.guessed, &reply.found_by) {
        paper.text(&format!("No cultivar is on file under that name; {}.", found.reason_text));
    }
    let name = report.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
    say!();
    paper.text(&format!("{}: {}", name.to_uppercase(), report.headline));
    say!();
    paper.text("What it rests on:");
    for finding in &report.findings {
        paper
            .item("-", &format!("{}: {}. Standing: {}.", finding.label, finding.text, finding.standing_text));
        for piece in &finding.evidence {
            let named = if piece.named_as.is_empty() {
                String::new()
            } else {
                format!(" (as “{}”)", piece.named_as)
            };
            paper.item("   ·", &format!("{} [{}]{named}", piece.as_stated, piece.source_id));
        }
    }
    say!();
    paper.text("What to do next:");
    for (at, advice) in report.advice.iter().enumerate() {
        paper.item(&format!("{}.", at + 1), &format!("{} [{}]", advice.text, advice.origins.join(", ")));
    }
    say!();
    paper.text("Sources:");
    for source in &report.sources {
        paper.item(&format!("[{}]", source.source_id), &source.citation);
    }
    Ok(())
}

async fn post(grower: &Caller, paper: &Paper) -> Result<()> {
    paper.title("3. Post surplus seedlings, with what is known of their health");
    let today = SystemClock.now().date();
    let draft = v1::OfferDraft {
        cultivar: "Lantern Moth".into(),
        material: v1::Material::Seedling.into(),
        quantity: 6,
        terms: v1::Terms::Gift.into(),
        available_until: Some(date(today.plus_days(30))),
        place: Some(v1::Place {
            area_code: "XB-NS".into(),
            grid_code: "2CGV2200+".into(),
            label: "Larkwater".into(),
        }),
        hand_over: vec![v1::HandOver::Collect.into(), v1::HandOver::Meeting.into()],
        note: "Two sprouts or more from each stone; the ones that came up alone are marked.".into(),
        health: Some(v1::HealthDeclaration {
            grown_at: vec![v1::GrownAt { area_code: "XB-NS".into(), ..Default::default() }],
            form: v1::MaterialForm::InMedium.into(),
            purpose: v1::Purpose::Planting.into(),
            source_tree: "my tree by the well".into(),
            last_looked: Some(date(today)),
            symptoms: v1::Observed::No.into(),
            pests: v1::Observed::Yes.into(),
            pests_text: "a few scale insects, wiped off".into(),
            sprayed: v1::Observed::No.into(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let reply = grower.call(v1::CreateOfferRequest { offer: Some(draft) }).await?;
    let offer = reply.offer.context("the offer came back empty")?;
    paper.text(&format!("Posted as {}: {}.", offer.offer_id, describe(&offer)));
    let health = offer.health.unwrap_or_default();
    paper.item(
        "-",
        &format!(
            "Grown at {}; in growing medium; pests seen: {}; symptoms seen: no; sprayed: no.",
            "XB-NS", health.pests_text
        ),
    );
    paper.item("-", &offer.movement_notice);
    Ok(())
}

async fn find(visitor: &Caller, paper: &Paper) -> Result<()> {
    paper.title("4. Find what is offered within 50 km");
    let request =
        v1::SearchOffersRequest { near_grid_code: "2CGV4300+".into(), within_km: 50, ..Default::default() };
    let reply = visitor.call(request).await?;
    for found in reply.offers {
        let Some(offer) = found.offer else { continue };
        let km = found.distance_km.map(|km| format!("{km:>3} km")).unwrap_or_default();
        paper.item(&km, &format!("{} from {}", describe(&offer), offer.giver_name));
    }
    Ok(())
}

/// The finding on off-type seedlings as it is now.
async fn off_types(visitor: &Caller) -> Result<v1::Finding> {
    let request = v1::GetCultivarRequest { cultivar: "Lantern Moth".into(), crop: "mango".into() };
    let reply = visitor.call(request).await?;
    let found = reply.findings.into_iter().find(|f| f.descriptor_key == "off_type_seedlings");
    found.context("the demo's own finding is missing")
}

async fn report_back(grower: &Caller, paper: &Paper) -> Result<()> {
    paper.title("6. Report what came up, so that the next person's answer is better");
    let tell = |finding: &v1::Finding, when: &str| {
        paper.item("-", &format!("{when}: {} ({}).", finding.text, finding.standing_text));
    };
    tell(&off_types(grower).await?, "On file");
    let judged = v1::SeedlingTally { which: v1::JudgedSeedlings::AsTheyCame.into(), judged: 30, off_type: 3 };
    let thing = v1::observed_thing::Thing::Seedlings(judged);
    let request = v1::CreateEvidenceRequest {
        cultivar: "Lantern Moth".into(),
        crop: "mango".into(),
        draft: Some(v1::EvidenceDraft {
            observed: vec![v1::ObservedThing { thing: Some(thing) }],
            day: Some(date(SystemClock.now().date())),
            method: v1::ObservationMethod::Eye.into(),
            tree: "my tree by the well".into(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let reply = grower.call(request).await?;
    let entered = reply.evidence.first().and_then(|d| d.evidence.clone()).context("nothing was entered")?;
    paper.text(&format!("Entered as {}: 3 of 30 seedlings unlike the mother, by eye.", entered.evidence_id));
    tell(&off_types(grower).await?, "Now");
    let checker = grower.sign_in(scene::CHECKER).await?;
    let check = v1::CheckEvidenceRequest {
        evidence_id: entered.evidence_id,
        verdict: v1::CheckVerdict::Agrees.into(),
        reason: "I looked at the same seedlings.".into(),
    };
    checker.call(check).await?;
    let found = off_types(grower).await?;
    tell(&found, &format!("Borne out by {}", checker.name));
    for piece in &found.evidence {
        paper.item("   ·", &format!("{}: {}", piece.as_stated, piece.weight_reason));
    }
    Ok(())
}

fn describe(offer: &v1::Offer) -> String {
    let word = |name: &str, prefix: &str| name.trim_start_matches(prefix).replace('_', " ").to_lowercase();
    let material = word(offer.material().as_str_name(), "MATERIAL_");
    let unit = word(offer.unit().as_str_name(), "QUANTITY_UNIT_");
    let terms = word(offer.terms().as_str_name(), "TERMS_");
    let until =
        read_date("", offer.available_until, &mut Vec::new()).map(|d| d.to_string()).unwrap_or_default();
    let place = offer.place.as_ref().map(|p| p.label.clone()).unwrap_or_default();
    format!(
        "{} {unit} of {} ({material}), {terms}, until {until}, {place}",
        offer.quantity, offer.cultivar_name
    )
}
