//! `scionary lookup`: whether a cultivar's seed comes true, and how to get a tree, on one screen.

use scionary_proto::v1;
use scionary_show::lookup as show;

use crate::{client::Client, error::Failure, home::NEAR_KM, output::Output, words};

/// Offers that are looked through for those near the reader.
const OFFERS: i32 = 100;

pub(super) async fn lookup(
    client: &Client,
    output: &Output,
    name: &str,
    crop: Option<String>,
    (more, evidence): (bool, bool),
) -> Result<(), Failure> {
    let request = v1::LookUpSeedRequest { name: name.to_string(), crop: words::crop(crop) };
    let reply: v1::LookUpSeedResponse = client.call(request).await?;
    let beside = match &reply.report {
        Some(report) if !more && !evidence && !output.is_json() => {
            Some(beside(client, report.cultivar.clone().unwrap_or_default()).await?)
        }
        Some(_) | None => None,
    };
    output.reply(&reply, |view| match (&beside, &reply.report) {
        (Some(beside), Some(report)) => show::short(view, name, &reply, report, beside),
        (_, _) => show::look_up_seed(view, &reply, name, evidence),
    })?;
    if reply.report.is_none() {
        let failure = if reply.others.is_empty() {
            Failure::not_found(format!("nothing is on file as “{name}”")).then(reply.nothing_found_hint)
        } else {
            Failure::not_found(format!("no single cultivar is meant by “{name}”"))
                .then("look it up again as it is written there; if two crops share the name, add --crop")
        };
        return Err(failure);
    }
    Ok(())
}

/// Asks for what the short answer shows beside the seed: the record, the ways to a tree, and who has it.
async fn beside(client: &Client, cultivar: v1::CultivarSummary) -> Result<show::Beside, Failure> {
    let (id, crop) = (cultivar.cultivar_id, cultivar.crop);
    let request = v1::GetCultivarRequest { cultivar: id.clone(), crop: crop.clone() };
    let record: v1::GetCultivarResponse = client.call(request).await?;
    let request = v1::CompareRoutesRequest { cultivar: id.clone(), crop: crop.clone(), ..Default::default() };
    let ways: v1::CompareRoutesResponse = client.call(request).await?;
    let home = client.profile().await?.home;
    let near = home.as_ref().map(|h| h.grid_code.clone()).unwrap_or_default();
    let request = v1::SearchOffersRequest {
        name: cultivar.name,
        crop,
        within_km: if near.is_empty() { 0 } else { NEAR_KM },
        near_grid_code: near,
        page_size: OFFERS,
        ..Default::default()
    };
    let found: v1::SearchOffersResponse = client.call(request).await?;
    let for_others = |o: &v1::Offer| o.cultivar_id == id && !client.is_own(&o.giver_account_id);
    let offers = found.offers.into_iter().filter(|f| f.offer.as_ref().is_some_and(for_others));
    Ok(show::Beside {
        record,
        ways,
        offers: offers.collect(),
        home: home.map(|h| h.label),
        within_km: NEAR_KM,
        more_offers: !found.next_page_token.is_empty(),
    })
}
