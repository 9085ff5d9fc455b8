//! What organisers do before the day: create a round, preview it, seal, settle, and write its audit file.

use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use scionary_proto::v1;
use scionary_show::round::arrange as show;

use super::fetch;
use crate::{
    args::{RoundArguments, RoundChanges, RoundCommand, TriedArguments},
    client::Client,
    cmd::{mask, save},
    error::Failure,
    output::Output,
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: RoundCommand) -> Result<(), Failure> {
    #[expect(clippy::wildcard_enum_match_arm, reason = "the others are sorted out by the caller")]
    match command {
        RoundCommand::Create { club, says } => {
            let request = v1::CreateRoundRequest { club_id: club, round: Some(draft(*says)) };
            let reply: v1::CreateRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::Change { round, parts } => {
            let current = fetch(client, round.clone()).await?;
            let (says, update_mask) = changed(current.says.unwrap_or_default(), *parts)?;
            let request = v1::UpdateRoundRequest {
                round_id: round,
                round: Some(says),
                version: current.version,
                update_mask: Some(update_mask),
            };
            let reply: v1::UpdateRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::CallOff { round, reason } => {
            prompt::sure(
                client,
                &format!(
                    "Call off {round}? Everyone who takes part is notified, and it does not come back. Call it off"
                ),
            )?;
            let request = v1::CallOffRoundRequest { round_id: round, reason };
            let reply: v1::CallOffRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::NoteAdvice { round, from, to, asked, said } => {
            let request = v1::NoteAdviceRequest {
                round_id: round,
                from_area_code: from,
                to_area_code: to,
                asked,
                said,
            };
            let reply: v1::NoteAdviceResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::DryRun { round, tried } => dry_run(client, output, round, tried).await,
        RoundCommand::Seal { round } => {
            let request = v1::SealRoundRequest { round_id: round };
            let reply: v1::SealRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::Reopen { round } => {
            let request = v1::ReopenRoundRequest { round_id: round };
            let reply: v1::ReopenRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::Settle { round, only_checked_in } => {
            settle(client, output, round, only_checked_in).await
        }
        RoundCommand::Audit { round, out, run } => {
            let bytes = audit(client, round, run, &out).await?;
            output.aside(&format!(
                "{bytes} bytes are in {0}. To check it: deploy/verify-round {0}",
                out.display()
            ));
            Ok(())
        }
        other => Err(Failure::bug(format!("{other:?} is not for here"))),
    }
}

fn draft(arguments: RoundArguments) -> v1::RoundDraft {
    let RoundArguments {
        title,
        about,
        place,
        area,
        day,
        until,
        most,
        slack,
        newcomers,
        of_one_cultivar,
        ranks_after,
        post,
    } = arguments;
    v1::RoundDraft {
        title,
        about,
        place,
        area_code: area,
        day: Some(day),
        gather_until: until,
        settings: Some(v1::RoundSettings {
            cap: Some(most),
            slack: Some(slack),
            newcomers: Some(newcomers),
            cultivar_cap: of_one_cultivar,
            fair_levels: ranks_after,
            by_post: post,
        }),
    }
}

/// Returns a round's details with the typed changes, and the update mask that names them.
fn changed(
    current: v1::RoundDraft,
    parts: RoundChanges,
) -> Result<(v1::RoundDraft, prost_types::FieldMask), Failure> {
    let RoundChanges { title, about, place, area, day, until, settings, no_post } = parts;
    let own = current.settings.unwrap_or_default();
    let settings = with(own, settings);
    let settings = v1::RoundSettings { by_post: settings.by_post && !no_post, ..settings };
    let update_mask = mask([
        (title.is_some(), "title"),
        (about.is_some(), "about"),
        (place.is_some(), "place"),
        (area.is_some(), "area_code"),
        (day.is_some(), "day"),
        // The last day for lots and wishes moves with the day, unless it is typed.
        (until.is_some() || day.is_some(), "gather_until"),
        (settings != own, "settings"),
    ])?;
    let says = v1::RoundDraft {
        title: title.unwrap_or_default(),
        about: about.unwrap_or_default(),
        place: place.unwrap_or_default(),
        area_code: area.unwrap_or_default(),
        day,
        gather_until: until,
        settings: Some(settings),
    };
    Ok((says, update_mask))
}

/// Returns the settings with the typed changes.
fn with(own: v1::RoundSettings, tried: TriedArguments) -> v1::RoundSettings {
    let TriedArguments { most, slack, newcomers, of_one_cultivar, ranks_after, post } = tried;
    v1::RoundSettings {
        cap: most.or(own.cap),
        slack: slack.or(own.slack),
        newcomers: newcomers.or(own.newcomers),
        cultivar_cap: of_one_cultivar.unwrap_or(own.cultivar_cap),
        fair_levels: ranks_after.or(own.fair_levels),
        by_post: post || own.by_post,
    }
}

async fn dry_run(
    client: &Client,
    output: &Output,
    round: String,
    tried: TriedArguments,
) -> Result<(), Failure> {
    let own = fetch(client, round.clone()).await?.says.and_then(|s| s.settings).unwrap_or_default();
    let tried = Some(with(own, tried)).filter(|tried| *tried != own);
    let request = v1::PreviewRoundRequest { round_id: round, tried };
    let reply: v1::PreviewRoundResponse = client.call(request).await?;
    output.reply(&reply, |view| show::preview_round(view, &reply))
}

async fn settle(
    client: &Client,
    output: &Output,
    round: String,
    only_checked_in: bool,
) -> Result<(), Failure> {
    let id = round.clone();
    let request = v1::SettleRoundRequest { round_id: round, only_checked_in };
    let mut stream = client.replies(request).await?;
    // indicatif draws on terminals only.
    let bar = ProgressBar::new(0);
    let style = ProgressStyle::with_template("settling {bar:30} {pos} of {len}");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    let mut last = v1::SettleRoundResponse::default();
    loop {
        match client.next(&mut stream).await {
            Ok(Some(reply)) => {
                bar.set_length(u64::try_from(reply.of).unwrap_or(0));
                bar.set_position(u64::try_from(reply.done).unwrap_or(0));
                last = reply;
            }
            Ok(None) => break,
            Err(failure) => {
                bar.finish_and_clear();
                return Err(failure);
            }
        }
    }
    bar.finish_and_clear();
    if !last.settled {
        return Err(Failure::bug("the server ended without having settled it"));
    }
    output.reply(&last, |view| {
        let packs = words::counted(last.units, "pack");
        let change = if last.units == 1 { "changes" } else { "change" };
        let told = if last.runs == 1 { "Everyone who takes part is notified." } else { "Those for whom something changes are notified." };
        view.answer(format!("Settled: {packs} {change} hands. {told}"));
        view.note(format!(
            "Who takes what: scionary round shares {id}. Sheets for the day: scionary round sheets {id} --out FILE. The day: scionary round begin {id}. The proof: scionary round audit {id} --out FILE"
        ));
    })
}

/// Writes an audit file and returns the bytes written. The file appears whole or not at all.
async fn audit(client: &Client, round: String, run: i32, path: &Path) -> Result<usize, Failure> {
    let request = v1::ExportRoundAuditRequest { round_id: round, run };
    let stream = client.replies(request).await?;
    save(client, stream, path, |reply| reply.chunk).await
}
