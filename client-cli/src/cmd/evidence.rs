//! `scionary evidence` and `scionary sowing`.

use scionary_proto::v1;
use scionary_show::evidence as show;

use super::{
    import,
    observed::{complete, draft, is_empty},
};
use crate::{
    args::{EvidenceCommand, ObservedArguments, SowingCommand},
    client::Client,
    error::Failure,
    output::Output,
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: EvidenceCommand) -> Result<(), Failure> {
    match command {
        EvidenceCommand::Add { cultivar, crop, sowing, observed } => {
            add(client, output, cultivar.join(" "), crop, sowing, *observed).await
        }
        EvidenceCommand::Correct { evidence: id, reason, observed } => {
            client.need_session()?;
            let request =
                v1::CorrectEvidenceRequest { evidence_id: id, draft: Some(draft(*observed)?), reason };
            let reply: v1::CorrectEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| show::correct_evidence(view, &reply))
        }
        EvidenceCommand::Withdraw { evidence: id, reason, all } => {
            client.need_session()?;
            let request = v1::WithdrawEvidenceRequest { evidence_id: id, whole_report: all, reason };
            let reply: v1::WithdrawEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_evidence(view, &reply))
        }
        EvidenceCommand::Show { evidence: id } => {
            let request = v1::GetEvidenceRequest { evidence_id: id };
            let reply: v1::GetEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| show::get_evidence(view, &reply))
        }
        EvidenceCommand::List { paging } => {
            client.need_session()?;
            let request = v1::ListMyEvidenceRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMyEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_evidence(view, &reply))
        }
        EvidenceCommand::Agree { evidence: id, reason } => {
            check(client, output, id, v1::CheckVerdict::Agrees, reason).await
        }
        EvidenceCommand::Doubt { evidence: id, reason } => {
            check(client, output, id, v1::CheckVerdict::Doubts, reason).await
        }
        EvidenceCommand::Uncheck { evidence: id } => {
            client.need_session()?;
            let request = v1::WithdrawCheckRequest { evidence_id: id };
            let reply: v1::WithdrawCheckResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_check(view, &reply))
        }
        EvidenceCommand::Import { file, dry_run, keep_good } => {
            let mode = match (dry_run, keep_good) {
                (true, _) => v1::ImportMode::DryRun,
                (false, true) => v1::ImportMode::KeepGood,
                (false, false) => v1::ImportMode::AllOrNothing,
            };
            import::import(client, output, &file, mode).await
        }
        EvidenceCommand::Template => {
            import::template(output);
            Ok(())
        }
        EvidenceCommand::Agreement { crop } => {
            let request = v1::GetAgreementRequest { crop };
            let reply: v1::GetAgreementResponse = client.call(request).await?;
            output.reply(&reply, |view| show::agreement(view, &reply))
        }
        EvidenceCommand::Record { handle } => {
            client.need_session()?;
            let request = v1::GetGrowerRecordRequest { handle };
            let reply: v1::GetGrowerRecordResponse = client.call(request).await?;
            output.reply(&reply, |view| show::record(view, &reply))
        }
    }
}

async fn crop_of(
    client: &Client,
    cultivar: &str,
    crop: Option<String>,
) -> Result<v1::GetCropResponse, Failure> {
    let request = v1::GetCultivarRequest { cultivar: cultivar.to_string(), crop: words::crop(crop) };
    let found: v1::GetCultivarResponse = client.call(request).await?;
    let request = v1::GetCropRequest { crop: found.summary.map(|s| s.crop).unwrap_or_default() };
    client.call(request).await
}

async fn add(
    client: &Client,
    output: &Output,
    mut cultivar: String,
    crop: Option<String>,
    sowing: Option<String>,
    mut observed: ObservedArguments,
) -> Result<(), Failure> {
    client.need_session()?;
    if is_empty(&observed) && prompt::can_ask() && !output.is_json() {
        let asked = cultivar.is_empty();
        let profile = loop {
            if cultivar.is_empty() {
                cultivar = prompt::ask("Cultivar (its name on file)", None, |t| {
                    if t.is_empty() { Err("a name expected".to_string()) } else { Ok(t.to_string()) }
                })?;
            }
            match crop_of(client, &cultivar, crop.clone()).await {
                Ok(profile) => break profile,
                // Ask again only for a name typed at the prompt, not for one on the command line.
                Err(failure) if !asked || failure.exit_code() == 5 => return Err(failure),
                Err(failure) => {
                    eprintln!("{}", textwrap::indent(&textwrap::fill(&failure.message, 76), "  "));
                    cultivar.clear();
                }
            }
        };
        complete(&mut observed, &profile)?;
        let enter = prompt::ask("Everyone will be able to read it. Enter it (yes, no)", Some("yes"), |t| {
            match t.to_lowercase().as_str() {
                "y" | "yes" => Ok(true),
                "n" | "no" => Ok(false),
                _ => Err("yes or no expected".to_string()),
            }
        })?;
        if !enter {
            output.aside("Nothing was entered.");
            return Ok(());
        }
    }
    if cultivar.is_empty() {
        return Err(Failure::usage("a cultivar expected: its name on file, or its id"));
    }
    let request = v1::CreateEvidenceRequest {
        cultivar,
        crop: words::crop(crop),
        sowing_id: sowing.unwrap_or_default(),
        draft: Some(draft(observed)?),
    };
    let reply: v1::CreateEvidenceResponse = client.call(request).await?;
    // Growers want to know next what their evidence changes in the findings.
    let now = findings_of(client, &reply.evidence).await;
    output.reply(&reply, |view| show::create_evidence(view, &reply, now.as_deref().unwrap_or_default()))
}

/// Returns the findings on the traits of some pieces of evidence. All pieces are on one cultivar.
async fn findings_of(client: &Client, pieces: &[v1::EvidenceDetail]) -> Result<Vec<v1::Finding>, Failure> {
    let Some(first) = pieces.first() else { return Ok(Vec::new()) };
    let request = v1::GetCultivarRequest { cultivar: first.cultivar_id.clone(), crop: String::new() };
    let found: v1::GetCultivarResponse = client.call(request).await?;
    let touched =
        |key: &str| pieces.iter().any(|d| d.evidence.as_ref().is_some_and(|e| e.descriptor_key == key));
    Ok(found.findings.into_iter().filter(|f| touched(&f.descriptor_key)).collect())
}

async fn check(
    client: &Client,
    output: &Output,
    id: String,
    verdict: v1::CheckVerdict,
    reason: String,
) -> Result<(), Failure> {
    client.need_session()?;
    let request = v1::CheckEvidenceRequest { evidence_id: id, verdict: verdict.into(), reason };
    let reply: v1::CheckEvidenceResponse = client.call(request).await?;
    output.reply(&reply, |view| reply.evidence.iter().for_each(|d| show::full(view, d)))
}

pub(super) async fn sowing(client: &Client, output: &Output, command: SowingCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        SowingCommand::Add { cultivar, crop, seeds, day, tree, note } => {
            let request = v1::CreateSowingRequest {
                cultivar: cultivar.join(" "),
                crop: words::crop(crop),
                day,
                seeds,
                tree,
                note,
            };
            let reply: v1::CreateSowingResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_sowing(view, &reply))
        }
        SowingCommand::List { all, paging } => {
            let request = v1::ListMySowingsRequest {
                open_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMySowingsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_sowings(view, &reply))
        }
        SowingCommand::Close { sowing, reason } => {
            let request = v1::CloseSowingRequest { sowing_id: sowing, reason };
            let reply: v1::CloseSowingResponse = client.call(request).await?;
            output.reply(&reply, |view| show::close_sowing(view, &reply))
        }
    }
}
