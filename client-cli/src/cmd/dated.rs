//! `scionary plan`: dated plans.

use scionary_proto::v1::{self, update_step_request::Edit};
use scionary_show::dated as show;

use super::mask;
use crate::{
    args::{Hemisphere, PlanArguments, PlanCommand},
    client::Client,
    error::Failure,
    output::Output,
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: PlanCommand) -> Result<(), Failure> {
    let PlanCommand::Draft { plan, all, sources } = command else {
        client.need_session()?;
        return own(client, output, command).await;
    };
    let reply: v1::DraftPlanResponse = client.call(wanted(client, plan).await?).await?;
    output.reply(&reply, |view| show::drafted(view, &reply, (all, sources)))
}

/// Returns what a plan is wanted for; where nothing else is typed, it is for home.
async fn wanted(client: &Client, typed: PlanArguments) -> Result<v1::DraftPlanRequest, Failure> {
    let PlanArguments { name, crop, way, start, place, south, climate, have_rootstock } = typed;
    let profile = if place.is_none() && !south { client.profile().await? } else { v1::Profile::default() };
    let climate = climate.or(Some(profile.climate()).filter(|c| *c != v1::Climate::Unspecified));
    let place = place.or(profile.home.map(|home| home.grid_code));
    Ok(v1::DraftPlanRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        way: way.into(),
        start,
        grid_code: place.unwrap_or_default(),
        south,
        climate: climate.unwrap_or_default().into(),
        has_rootstock: have_rootstock,
    })
}

async fn own(client: &Client, output: &Output, command: PlanCommand) -> Result<(), Failure> {
    match command {
        PlanCommand::Draft { .. } => Ok(()),
        PlanCommand::Keep { plan, title, note } => {
            let request = v1::CreatePlanRequest { plan: Some(wanted(client, plan).await?), title, note };
            let reply: v1::CreatePlanResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_plan(view, &reply))
        }
        PlanCommand::List { paging } => list(client, output, paging).await,
        PlanCommand::Show { plan, all, sources } => {
            let request = v1::GetPlanRequest { plan_id: plan };
            let reply: v1::GetPlanResponse = client.call(request).await?;
            output.reply(&reply, |view| show::get_plan(view, &reply, all, sources))
        }
        PlanCommand::Done { step, on, anyway } => {
            if !anyway {
                mind_the_order(client, &step.plan, &step.step).await?;
            }
            let edit = on.map_or(Edit::DoneToday(true), Edit::DoneOn);
            change(client, output, step.plan, step.step, edit).await
        }
        PlanCommand::Reopen(step) => change(client, output, step.plan, step.step, Edit::Reopen(true)).await,
        PlanCommand::Again(step) => change(client, output, step.plan, step.step, Edit::Again(true)).await,
        PlanCommand::Skip { step, reason } => {
            change(client, output, step.plan, step.step, Edit::LeaveOut(reason)).await
        }
        PlanCommand::Move { step, day } => {
            let edit = day.map_or(Edit::Unplan(true), Edit::Planned);
            change(client, output, step.plan, step.step, edit).await
        }
        PlanCommand::Note { step, text } => {
            change(client, output, step.plan, step.step, Edit::Note(text)).await
        }
        PlanCommand::AddStep { plan, title, about, on, days, after } => {
            let request = v1::CreateStepRequest {
                plan_id: plan,
                version: 0,
                title,
                about,
                day: on,
                wait_days: days.unwrap_or(0),
                after,
            };
            let reply: v1::CreateStepResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| show::overview(view, p)))
        }
        PlanCommand::RemoveStep(step) => {
            let request = v1::DeleteStepRequest { plan_id: step.plan, version: 0, step_key: step.step };
            let reply: v1::DeleteStepResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| show::overview(view, p)))
        }
        PlanCommand::Change { plan, title, note, start, place, hemisphere, climate } => {
            let update_mask = Some(mask([
                (title.is_some(), "title"),
                (note.is_some(), "note"),
                (start.is_some(), "start"),
                (place.is_some(), "grid_code"),
                (hemisphere.is_some(), "south"),
                (climate.is_some(), "climate"),
            ])?);
            let says = v1::PlanDraft {
                title: title.unwrap_or_default(),
                note: note.unwrap_or_default(),
                start,
                grid_code: place.unwrap_or_default(),
                south: hemisphere.is_some_and(|side| side == Hemisphere::South),
                climate: climate.unwrap_or_default().into(),
            };
            let request = v1::UpdatePlanRequest { plan_id: plan, version: 0, plan: Some(says), update_mask };
            let reply: v1::UpdatePlanResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| show::overview(view, p)))
        }
        PlanCommand::Drop { plan } => {
            prompt::sure(
                client,
                &format!("Delete plan {plan} with its notes and ticks? It does not come back. Delete it"),
            )?;
            let request = v1::DeletePlanRequest { plan_id: plan };
            let reply: v1::DeletePlanResponse = client.call(request).await?;
            output.reply(&reply, |view| view.line(format!("Forgotten: {}.", reply.plan_id)))
        }
        PlanCommand::Calendar { plan, output: file } => {
            let request = v1::ExportCalendarRequest { plan_id: plan.unwrap_or_default() };
            let reply: v1::ExportCalendarResponse = client.call(request).await?;
            let Some(file) = file else {
                return output.reply(&reply, |_| {
                    // Write the calendar unchanged: its lines end in CR LF.
                    let _ = std::io::Write::write_all(&mut std::io::stdout(), reply.calendar.as_bytes());
                });
            };
            std::fs::write(&file, &reply.calendar)
                .map_err(|e| Failure::usage(format!("{}: {e}", file.display())))?;
            output.aside(&format!("Written: {}. Open it with your calendar program.", file.display()));
            Ok(())
        }
    }
}

async fn change(
    client: &Client,
    output: &Output,
    plan_id: String,
    step_key: String,
    edit: Edit,
) -> Result<(), Failure> {
    let request = v1::UpdateStepRequest { plan_id, version: 0, step_key, edit: Some(edit) };
    let reply: v1::UpdateStepResponse = client.call(request).await?;
    output.reply(&reply, |view| reply.plan.iter().for_each(|p| show::overview(view, p)))
}

/// Asks before it ticks off a step while an earlier step is open; without a terminal, it fails.
async fn mind_the_order(client: &Client, plan: &str, step: &str) -> Result<(), Failure> {
    let reply: v1::GetPlanResponse = client.call(v1::GetPlanRequest { plan_id: plan.into() }).await?;
    let steps = reply.plan.map(|plan| plan.steps).unwrap_or_default();
    let follows = steps.iter().find(|s| s.step_key == step).map(|s| s.after.as_slice()).unwrap_or_default();
    let open: Vec<&str> = steps
        .iter()
        .filter(|s| follows.contains(&s.step_key) && s.state() == v1::StepState::Open)
        .map(|s| s.title.as_str())
        .collect();
    if open.is_empty() {
        return Ok(());
    }
    let open = format!("still open before it: {}", open.join(", "));
    if !prompt::can_ask() {
        return Err(Failure::usage(format!("{open}; tick that off first, or add --anyway")));
    }
    let yes = |text: &str| match text.to_lowercase().as_str() {
        "y" | "yes" => Ok(true),
        "n" | "no" => Ok(false),
        other => Err(format!("yes or no expected, {other:?} found")),
    };
    if prompt::ask(&format!("{open}. Tick it off anyway? yes or no"), Some("no"), yes)? {
        Ok(())
    } else {
        Err(Failure::usage("nothing was ticked off"))
    }
}

async fn list(client: &Client, output: &Output, paging: crate::args::Paging) -> Result<(), Failure> {
    let request = v1::ListMyPlansRequest { page_size: paging.page_size, page_token: paging.page };
    let reply: v1::ListMyPlansResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_my_plans(view, &reply))
}
