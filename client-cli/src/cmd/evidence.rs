//! Evidence and sowings.

use scionary_proto::v1;
use scionary_show::View;

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
            output.reply(&reply, |view| {
                view.line("Corrected. What stands now:");
                reply.evidence.iter().for_each(|d| brief(view, d));
            })
        }
        EvidenceCommand::Withdraw { evidence: id, reason, all } => {
            client.need_session()?;
            let request = v1::WithdrawEvidenceRequest { evidence_id: id, whole_report: all, reason };
            let reply: v1::WithdrawEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Taken back; the history keeps it:");
                reply.evidence_ids.iter().for_each(|id| view.item(0, "-", id));
            })
        }
        EvidenceCommand::Show { evidence: id } => {
            let request = v1::GetEvidenceRequest { evidence_id: id };
            let reply: v1::GetEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                reply.evidence.iter().for_each(|d| full(view, d));
            })
        }
        EvidenceCommand::List { paging } => {
            client.need_session()?;
            let request = v1::ListMyEvidenceRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMyEvidenceResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.evidence.is_empty() {
                    view.line(
                        "You have entered no evidence. Enter some with: scionary evidence add CULTIVAR",
                    );
                }
                reply.evidence.iter().for_each(|d| brief(view, d));
                view.more(&reply.next_page_token);
            })
        }
        EvidenceCommand::BearOut { evidence: id, reason } => {
            check(client, output, id, v1::CheckVerdict::BearsOut, reason).await
        }
        EvidenceCommand::Doubt { evidence: id, reason } => {
            check(client, output, id, v1::CheckVerdict::Doubts, reason).await
        }
        EvidenceCommand::Uncheck { evidence: id } => {
            client.need_session()?;
            let request = v1::WithdrawCheckRequest { evidence_id: id };
            let reply: v1::WithdrawCheckResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                reply.evidence.iter().for_each(|d| full(view, d));
            })
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
            output.reply(&reply, |view| agreement(view, &reply))
        }
        EvidenceCommand::Record { handle } => {
            client.need_session()?;
            let request = v1::GetGrowerRecordRequest { handle };
            let reply: v1::GetGrowerRecordResponse = client.call(request).await?;
            output.reply(&reply, |view| record(view, &reply))
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
                // what was typed on the command line is the caller's to correct
                Err(failure) if !asked || failure.exit_code() == 5 => return Err(failure),
                Err(failure) => {
                    eprintln!("{}", textwrap::indent(&textwrap::fill(&failure.message, 76), "  "));
                    cultivar.clear();
                }
            }
        };
        complete(&mut observed, &profile)?;
        let enter = prompt::ask("Everybody will be able to read it. Enter it (yes, no)", Some("yes"), |t| {
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
    let request = v1::AddEvidenceRequest {
        cultivar,
        crop: words::crop(crop),
        sowing_id: sowing.unwrap_or_default(),
        draft: Some(draft(observed)?),
    };
    let reply: v1::AddEvidenceResponse = client.call(request).await?;
    // what it does to the findings is what a grower wants to know next
    let now = findings_of(client, &reply.evidence).await;
    output.reply(&reply, |view| {
        view.line("Entered:");
        reply.evidence.iter().for_each(|d| brief(view, d));
        if reply.evidence.iter().filter_map(|d| d.evidence.as_ref()).all(|e| e.weight <= 0.0) {
            let why = reply.evidence.iter().filter_map(|d| d.evidence.as_ref()).map(|e| e.weight_reason.as_str());
            if let Some(why) = why.max_by_key(|w| w.contains("vouched")) {
                view.line(format!("It does not count yet: {why}. See: scionary evidence record"));
            }
        }
        if let Ok(findings) = &now {
            view.gap();
            view.title("The findings now");
            for finding in findings {
                view.item(0, "-", format!("{}: {}.", finding.label, view.reader().finding(finding)));
                view.item(2, &format!("{}:", words::standing(finding.standing())), &finding.standing_text);
            }
        }
        view.gap();
        view.note("A slip? scionary evidence correct ID --reason WHY …, or scionary evidence withdraw ID --reason WHY");
    })
}

/// The findings that some pieces enter.
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
    output.reply(&reply, |view| reply.evidence.iter().for_each(|d| full(view, d)))
}

/// A piece in two lines.
fn brief(view: &mut View, detail: &v1::EvidenceDetail) {
    let Some(piece) = &detail.evidence else { return };
    let ended = if detail.ended_why.is_empty() { String::new() } else { format!(" [{}]", detail.ended_why) };
    let day = words::day(piece.day);
    let day = if day.is_empty() { String::new() } else { format!(", {day}") };
    view.item(0, "-", format!("{}, {}: {}{day}{ended}", detail.cultivar_name, piece.label, piece.as_stated));
    view.item(2, "", &piece.evidence_id);
}

/// A piece with all that is said of it.
fn full(view: &mut View, detail: &v1::EvidenceDetail) {
    let Some(piece) = &detail.evidence else { return };
    view.title(format!("{}, {}: {}", detail.cultivar_name, piece.label, piece.as_stated));
    let who = if piece.author_account_id.is_empty() {
        format!("source {}", piece.source_id)
    } else if piece.author_name.is_empty() {
        "a grower of another registry".into()
    } else {
        piece.author_name.clone()
    };
    view.fact("entered by", &who);
    view.fact("observed", words::day(piece.day));
    view.fact("place", &piece.place);
    view.fact("tree", &piece.tree);
    if piece.method() != v1::ObservationMethod::Unspecified {
        view.fact("judged by", words::method(piece.method()));
    }
    view.fact("reference", &piece.citation);
    view.fact("named as", &piece.named_as);
    view.fact("note", &piece.note);
    if detail.ended_why.is_empty() {
        let weight = if piece.weight > 0.0 { format!("{:.1}: ", piece.weight) } else { String::new() };
        view.fact("weight", format!("{weight}{}", piece.weight_reason));
    } else {
        let next = if detail.replaced_by.is_empty() {
            String::new()
        } else {
            format!("; in its place stands {}", detail.replaced_by)
        };
        let when = words::day_of(detail.ended_at.as_ref());
        view.fact("ended", format!("{} on {when}{next}", detail.ended_why));
    }
    view.fact("entered on", words::day_of(detail.created_at.as_ref()));
    view.fact("id", &piece.evidence_id);
    for check in &detail.checks {
        let word = match check.verdict() {
            v1::CheckVerdict::BearsOut => "borne out",
            v1::CheckVerdict::Doubts => "doubted",
            v1::CheckVerdict::Unspecified => "checked",
        };
        let name = if check.name.is_empty() { "a grower" } else { check.name.as_str() };
        view.item(0, "-", format!("{word} by {name}: {}", check.reason));
    }
}

fn agreement(view: &mut View, reply: &v1::GetAgreementResponse) {
    let compared: Vec<&v1::DescriptorAgreement> =
        reply.descriptors.iter().filter(|d| d.alpha.is_some()).collect();
    if compared.is_empty() {
        view.line("Nothing can be compared yet: no trait of two or more records was judged by two independent voices.");
        return;
    }
    view.table(
        ["TRAIT", "AGREEMENT", "LIKELY BETWEEN", "CULTIVARS", "READING"],
        compared.iter().map(|d| {
            let range =
                d.interval.as_ref().map(|i| format!("{:.2} to {:.2}", i.low, i.high)).unwrap_or_default();
            [
                d.label.clone(),
                d.alpha.map(|a| format!("{a:.2}")).unwrap_or_default(),
                range,
                d.records.to_string(),
                d.reading.clone(),
            ]
        }),
    );
    view.gap();
    view.note("1 is full agreement, 0 what chance gives (Krippendorff's alpha). From 0.80 on it is good, from 0.667 on tentative; of few cultivars it says little.");
}

fn record(view: &mut View, reply: &v1::GetGrowerRecordResponse) {
    view.title(reply.account.as_ref().map(|a| a.display_name.clone()).unwrap_or_default());
    view.fact(
        "vouched for",
        if reply.vouched {
            "yes: evidence counts by itself"
        } else {
            "not yet: evidence counts once a vouched grower bears it out; ask an organiser of your club to vouch"
        },
    );
    if reply.weights_version == 0 {
        view.line("Nothing was compared yet: that is done every night.");
        return;
    }
    view.fact("pieces", format!("{} as of the last night", reply.pieces));
    if reply.compared < 0.5 {
        view.line("Nothing could be compared yet: it takes independent evidence on the same traits.");
        return;
    }
    view.fact(
        "held up",
        format!("{:.1} of {:.1} comparisons with independent evidence", reply.right, reply.compared),
    );
    view.fact("checks", format!("borne out by {}, doubted by {}", reply.borne_out, reply.doubted));
    view.fact("taken as right", format!("{:.0} times in 100", reply.accuracy * 100.0));
    view.fact(
        "weight",
        format!("{:.2} of at most 2.2 as a vote (table {})", reply.vote_weight, reply.weights_version),
    );
    if let Some(diagnosis) = reply.diagnosis {
        view.fact(
            "diagnosis",
            format!(
                "{:.0} in 100 right by the model of Dawid and Skene, over {} shared records; it decides nothing",
                diagnosis * 100.0,
                reply.diagnosis_records
            ),
        );
    }
}

pub(super) async fn sowing(client: &Client, output: &Output, command: SowingCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        SowingCommand::Add { cultivar, crop, seeds, day, tree, note } => {
            let request = v1::RecordSowingRequest {
                cultivar: cultivar.join(" "),
                crop: words::crop(crop),
                day,
                seeds,
                tree,
                note,
            };
            let reply: v1::RecordSowingResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Entered. It will ask for its tallies:");
                reply.sowing.iter().for_each(|s| show_sowing(view, s));
            })
        }
        SowingCommand::List { all, paging } => {
            let request = v1::ListMySowingsRequest {
                open_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMySowingsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.sowings.is_empty() {
                    view.line(
                        "You have no open sowings. Enter one with: scionary sowing add CULTIVAR --seeds N",
                    );
                }
                reply.sowings.iter().for_each(|s| show_sowing(view, s));
                view.more(&reply.next_page_token);
            })
        }
        SowingCommand::Close { sowing, reason } => {
            let request = v1::CloseSowingRequest { sowing_id: sowing, reason };
            let reply: v1::CloseSowingResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                reply.sowing.iter().for_each(|s| show_sowing(view, s));
            })
        }
    }
}

fn show_sowing(view: &mut View, sowing: &v1::Sowing) {
    let tree = if sowing.tree.is_empty() { String::new() } else { format!(", {}", sowing.tree) };
    let closed = if sowing.closed_why.is_empty() {
        String::new()
    } else {
        format!(" [closed: {}]", sowing.closed_why)
    };
    view.item(
        0,
        "-",
        format!(
            "{} seeds of {}, sown {}{tree}{closed}",
            sowing.seeds,
            sowing.cultivar_name,
            words::day(sowing.day)
        ),
    );
    view.item(2, "", &sowing.sowing_id);
    for tally in &sowing.open_tallies {
        let when = if tally.due { "DUE since".to_string() } else { "from".to_string() };
        view.item(
            4,
            "·",
            format!("{when} {}: {} [{}]", words::day(tally.due_from), tally.text, tally.origin),
        );
    }
    if sowing.open_tallies.iter().any(|t| t.due) {
        view.item(
            4,
            "",
            format!("scionary evidence add \"{}\" --sowing {}", sowing.cultivar_name, sowing.sowing_id),
        );
    }
}
