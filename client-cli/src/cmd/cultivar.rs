//! Cultivars.

use scionary_proto::v1;
use scionary_show::View;

use super::lookup::{matches, named, show_piece, sources};
use crate::{
    args::{CultivarCommand, ProtectArguments},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

pub(super) async fn run(client: &Client, output: &Output, command: CultivarCommand) -> Result<(), Failure> {
    match command {
        CultivarCommand::Search { name, crop, limit } => {
            let query = name.join(" ");
            let request = v1::SearchCultivarsRequest {
                query: query.clone(),
                crop: words::crop(crop),
                page_size: limit,
            };
            let reply: v1::SearchCultivarsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if !reply.matches.is_empty() {
                    matches(view, &reply.matches);
                }
            })?;
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
            output.reply(&reply, |view| {
                if reply.cultivars.is_empty() {
                    view.line(match seed {
                        None => "No cultivar is on file here yet. See: scionary status",
                        Some(v1::SeedAnswer::ComesTrue) => {
                            "None on file “comes true”: that is said only where off-types were counted. Try --seed mostly-true."
                        }
                        Some(_) => "No cultivar on file is so.",
                    });
                    return;
                }
                view.table(
                    ["CULTIVAR", "SEED", "OTHER NAMES"],
                    reply
                        .cultivars
                        .iter()
                        .map(|c| [named(Some(c)), words::answer(c.seed_answer()), c.other_names.join(", ")]),
                );
                view.more(&reply.next_page_token);
            })
        }
        CultivarCommand::Show { cultivar, crop } => {
            let reply = get(client, cultivar.join(" "), crop).await?;
            output.reply(&reply, |view| show(view, &reply))
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
            output.reply(&reply, |view| protected(view, reply.protection.as_ref()))
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
            output.reply(&reply, |view| protected(view, reply.protection.as_ref()))
        }
        CultivarCommand::Unprotect { cultivar, crop } => {
            client.need_session()?;
            let request = v1::SetProtectionRequest { cultivar, crop: words::crop(crop), protection: None };
            let reply: v1::SetProtectionResponse = client.call(request).await?;
            output.reply(&reply, |view| protected(view, reply.protection.as_ref()))
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
            output.reply(&reply, |view| {
                if reply.evidence.is_empty() {
                    view.line("No evidence is on file.");
                }
                let mut label = "";
                for piece in &reply.evidence {
                    if piece.label != label {
                        view.title(&piece.label);
                        label = &piece.label;
                    }
                    show_piece(view, piece);
                }
                view.gap();
                sources(view, &reply.sources);
                view.more(&reply.next_page_token);
            })
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

fn show(view: &mut View, reply: &v1::GetCultivarResponse) {
    view.title(named(reply.summary.as_ref()));
    view.answer(&reply.headline);
    view.gap();
    let summary = reply.summary.clone().unwrap_or_default();
    view.fact("botanical name", &reply.botanical_name);
    if summary.rank() == v1::CultivarRank::Group {
        view.fact("this is", "a group or species as sources name it, not one cultivar");
    }
    let cited = |source: &str| if source.is_empty() { String::new() } else { format!(" [{source}]") };
    for name in &reply.names {
        let disputed = if name.disputed { ", disputed" } else { "" };
        let note = if name.note.is_empty() { String::new() } else { format!(": {}", name.note) };
        let kind = words::plain(name.kind().as_str_name(), "NAME_KIND_");
        view.fact("also called", format!("{} ({kind}{disputed}){}{note}", name.name, cited(&name.source_id)));
    }
    for parent in &reply.parents {
        let role = match parent.role() {
            v1::ParentRole::Seed => "seed parent",
            v1::ParentRole::Pollen => "pollen parent",
            v1::ParentRole::Unknown | v1::ParentRole::Unspecified => "parent",
        };
        let disputed = if parent.disputed { ", disputed" } else { "" };
        let note = if parent.note.is_empty() { String::new() } else { format!(": {}", parent.note) };
        view.fact(role, format!("{}{disputed}{}{note}", parent.name, cited(&parent.source_id)));
    }
    view.fact("origin", &reply.origin);
    view.fact("notes", &reply.notes);
    view.fact("id", &summary.cultivar_id);
    if !reply.locked_why.is_empty() {
        view.fact("locked", format!("takes no evidence and no proposals for now: {}", reply.locked_why));
    }
    view.gap();
    view.title("Findings");
    if reply.findings.is_empty() {
        view.line("Nothing is on file: nobody has stated, measured or counted anything yet.");
    }
    for finding in &reply.findings {
        view.item(
            0,
            "-",
            format!(
                "{} ({}): {}",
                finding.label,
                words::standing(finding.standing()),
                view.reader().finding(finding)
            ),
        );
    }
    if !reply.namesakes.is_empty() {
        view.gap();
        view.title("Others of this name");
        for namesake in &reply.namesakes {
            view.item(0, "-", format!("{}, {}", named(Some(namesake)), namesake.cultivar_id));
        }
    }
    view.gap();
    sources(view, &reply.sources);
}

fn protected(view: &mut View, protection: Option<&v1::Protection>) {
    let Some(protection) = protection else {
        view.line("No protection is on file here, which is not an answer: the office of each country has the register.");
        return;
    };
    view.answer(format!(
        "Protected by {}: whoever passes on propagation material needs the holder's consent.",
        words::protection(protection.kind())
    ));
    view.fact("office", &protection.office);
    view.fact("number", &protection.reference);
    view.fact("where", protection.area_codes.join(", "));
    view.fact("until", words::day(protection.until));
    view.fact("look it up", &protection.citation);
}
