//! `scionary movement`: rules on moving plants.

use scionary_proto::v1;
use scionary_show::movement as show;

use crate::{
    args::{CheckArguments, MovementCommand},
    client::Client,
    error::Failure,
    home,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: MovementCommand) -> Result<(), Failure> {
    match command {
        MovementCommand::Check(arguments) => check(client, output, *arguments).await,
        MovementCommand::Import { folder, note, propose } => {
            client.need_session()?;
            let mut files = Vec::new();
            for name in ["rules.csv", "places.csv", "aliases.csv", "taxa.csv", "pests.csv", "authorities.csv"]
            {
                match std::fs::read_to_string(folder.join(name)) {
                    Ok(text) => {
                        files.push(v1::RuleFile { name: name.into(), text });
                    }
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
                    Err(error) => {
                        return Err(Failure::usage(format!("{}: {error}", folder.join(name).display())));
                    }
                }
            }
            let request = v1::CreateMovementReleaseRequest { files, note, dry_run: !propose };
            let reply: v1::CreateMovementReleaseResponse = client.call(request).await?;
            output.reply(&reply, |view| show::released(view, reply.release.as_ref()))
        }
        MovementCommand::Releases { paging } => {
            client.need_session()?;
            let request =
                v1::ListMovementReleasesRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMovementReleasesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_movement_releases(view, &reply))
        }
        MovementCommand::Publish { release } => {
            client.need_session()?;
            let request = v1::PublishMovementReleaseRequest { release };
            let reply: v1::PublishMovementReleaseResponse = client.call(request).await?;
            output.reply(&reply, |view| show::released(view, reply.release.as_ref()))
        }
        MovementCommand::TakeBack { release } => {
            client.need_session()?;
            let request = v1::WithdrawMovementReleaseRequest { release };
            let reply: v1::WithdrawMovementReleaseResponse = client.call(request).await?;
            output.reply(&reply, |view| show::released(view, reply.release.as_ref()))
        }
        MovementCommand::Rules { plant, paging } => {
            let request = v1::ListMovementRulesRequest {
                host: plant,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMovementRulesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_movement_rules(view, &reply))
        }
    }
}

async fn check(client: &Client, output: &Output, typed: CheckArguments) -> Result<(), Failure> {
    let CheckArguments {
        name,
        crop,
        offer,
        plant,
        unlisted,
        rootstock,
        material,
        form,
        from,
        to,
        by_way_of,
        leaves,
        arrives,
        count,
        document,
        full,
    } = typed;
    let to = if to.is_empty() { vec![home::area(client, None, "--to").await?] } else { to };
    let request = v1::CheckMovementRequest {
        offer_id: offer,
        cultivar: name.join(" "),
        crop: words::crop(crop),
        botanical_name: plant,
        material: material.unwrap_or_default().into(),
        form: form.unwrap_or_default().into(),
        grown_at: from,
        to,
        by_way_of,
        dispatch: leaves,
        arrival: arrives,
        count,
        documents: document,
        rootstock,
        unlisted,
    };
    let reply: v1::CheckMovementResponse = client.call(request).await.map_err(|failure| {
        let wrong = |name: &str| failure.fields.iter().any(|(field, _)| field == name);
        if wrong("botanical_name") && !unlisted {
            failure.then("a plant that no list has: add --unlisted")
        } else if wrong("rootstock") {
            failure.then("add --rootstock NAME, or --rootstock unknown")
        } else {
            failure
        }
    })?;
    output.reply(&reply, |view| show::show(view, &reply, full))
}
