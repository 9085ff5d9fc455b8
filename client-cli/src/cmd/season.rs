//! `scionary season`: when cultivars are ripe, as bars by half month.

use scionary_proto::v1;
use scionary_show::season as show;

use crate::{args::SeasonArguments, client::Client, error::Failure, output::Output, words};

pub(super) async fn season(client: &Client, output: &Output, typed: SeasonArguments) -> Result<(), Failure> {
    let SeasonArguments { names, my_plans, crop, south, fill_gaps, near, within } = typed;
    let crop = words::crop(crop);
    let mut names = names;
    if my_plans {
        client.need_session()?;
        names.extend(planned(client, &crop).await?);
    }
    let near = match near {
        None if !south => client.profile().await?.home.map(|home| home.grid_code),
        near => near,
    };
    let request = v1::GetSeasonsRequest {
        cultivars: names,
        crop,
        south,
        fill_gaps,
        near_grid_code: near.unwrap_or_default(),
        within_km: within,
    };
    let reply: v1::GetSeasonsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::show(view, &reply, fill_gaps))
}

/// Returns the ids of the cultivars in the caller's plans, sorted and unique; only those of `crop` if it is not empty.
async fn planned(client: &Client, crop: &str) -> Result<Vec<String>, Failure> {
    let mut ids = Vec::new();
    let mut token = String::new();
    loop {
        let request = v1::ListMyPlansRequest { page_size: 100, page_token: token };
        let reply: v1::ListMyPlansResponse = client.call(request).await?;
        let fitting = reply.plans.into_iter().filter(|p| crop.is_empty() || p.crop == crop);
        ids.extend(fitting.map(|p| p.cultivar_id));
        token = reply.next_page_token;
        if token.is_empty() {
            ids.sort_unstable();
            ids.dedup();
            return Ok(ids);
        }
    }
}
