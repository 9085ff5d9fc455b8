//! `scionary cultivar`.

use scionary_proto::v1;
use scionary_show::cultivar as show;

use crate::{
    args::{CultivarCommand, ProtectArguments},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: CultivarCommand) -> Result<(), Failure> {
    match command {
        CultivarCommand::Enter { name, crop } => {
            let name = name.join(" ");
            let request = v1::EnterCultivarRequest { crop: words::crop(Some(crop)), name: name.clone() };
            let reply: v1::EnterCultivarResponse = client.call(request).await?;
            output.reply(&reply, |view| show::enter_cultivar(view, &reply, &name))
        }
        CultivarCommand::Search { name, crop, limit } => {
            let query = name.join(" ");
            let request = v1::SearchCultivarsRequest {
                query: query.clone(),
                crop: words::crop(crop),
                page_size: limit,
            };
            let reply: v1::SearchCultivarsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::search_cultivars(view, &reply))?;
            if reply.matches.is_empty() {
                return Err(Failure::not_found(format!("nothing on file is near “{query}”"))
                    .then("try another spelling or a synonym; a steward of the server adds what is missing, with a source"));
            }
            Ok(())
        }
        CultivarCommand::List { crop, seed, paging } => {
            let request = v1::ListCultivarsRequest {
                crop: words::crop(crop),
                seed_answer: seed.unwrap_or_default().into(),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListCultivarsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_cultivars(view, &reply, seed))
        }
        CultivarCommand::Show { cultivar, crop } => {
            let reply = get(client, cultivar.join(" "), crop).await?;
            output.reply(&reply, |view| show::show(view, &reply))
        }
        CultivarCommand::History { cultivar, crop, paging } => {
            super::curation::history(client, output, cultivar.join(" "), crop, paging.page_size, paging.page)
                .await
        }
        CultivarCommand::CheckName { name, crop, historic } => {
            super::curation::check_name(client, output, name.join(" "), crop, historic).await
        }
        CultivarCommand::Protection { cultivar, crop } => {
            let request = v1::GetProtectionRequest { cultivar: cultivar.join(" "), crop: words::crop(crop) };
            let reply: v1::GetProtectionResponse = client.call(request).await?;
            output.reply(&reply, |view| show::protected(view, reply.protection.as_ref()))
        }
        CultivarCommand::Protect(arguments) => {
            client.need_session()?;
            let ProtectArguments { cultivar, crop, kind, office, reference, area, until, citation } =
                arguments;
            let protection =
                v1::Protection { kind: kind.into(), office, reference, area_codes: area, until, citation };
            let request =
                v1::SetProtectionRequest { cultivar, crop: words::crop(crop), protection: Some(protection) };
            let reply: v1::SetProtectionResponse = client.call(request).await?;
            output.reply(&reply, |view| show::protected(view, reply.protection.as_ref()))
        }
        CultivarCommand::Unprotect { cultivar, crop } => {
            client.need_session()?;
            let request = v1::SetProtectionRequest { cultivar, crop: words::crop(crop), protection: None };
            let reply: v1::SetProtectionResponse = client.call(request).await?;
            output.reply(&reply, |view| show::protected(view, reply.protection.as_ref()))
        }
        CultivarCommand::Lock(arguments) => super::curation::lock(client, output, arguments, true).await,
        CultivarCommand::Unlock(arguments) => super::curation::lock(client, output, arguments, false).await,
        CultivarCommand::Evidence { cultivar, crop, descriptor, paging } => {
            let text = cultivar.join(" ");
            let id = if text.starts_with("cul_") {
                text
            } else {
                get(client, text, crop).await?.summary.map(|s| s.cultivar_id).unwrap_or_default()
            };
            let request = v1::ListEvidenceRequest {
                cultivar_id: id,
                descriptor_key: descriptor.unwrap_or_default(),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_evidence(view, &reply))
        }
    }
}

async fn get(
    client: &Client,
    cultivar: String,
    crop: Option<String>,
) -> Result<v1::GetCultivarResponse, Failure> {
    let request = v1::GetCultivarRequest { cultivar, crop: words::crop(crop) };
    client.call(request).await
}
