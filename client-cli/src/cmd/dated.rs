//! Dated plans.

use scionary_proto::v1::{self, change_step_request::Edit};

use super::{grafts::rates_line, lookup::named, more, odds::cited, routes::figure};
use crate::{
    args::{Hemisphere, PlanArguments, PlanCommand},
    client::Client,
    error::Failure,
    output::Output,
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: PlanCommand) -> Result<(), Failure> {
    let PlanCommand::Draft { plan, sources } = command else {
        client.need_session()?;
        return own(client, output, command).await;
    };
    let reply: v1::DraftPlanResponse = client.call(wanted(plan)).await?;
    output.reply(&reply, |out| drafted(out, &reply, sources))
}

fn wanted(typed: PlanArguments) -> v1::DraftPlanRequest {
    let PlanArguments { name, crop, way, start, place, south, climate, have_rootstock } = typed;
    v1::DraftPlanRequest {
        cultivar: name.join(" "),
        crop: words::crop(crop),
        way: way.into(),
        start,
        grid_code: place.unwrap_or_default(),
        south,
        climate: climate.unwrap_or_default().into(),
        has_rootstock: have_rootstock,
    }
}

async fn own(client: &Client, output: &Output, command: PlanCommand) -> Result<(), Failure> {
    match command {
        PlanCommand::Draft { .. } => Ok(()),
        PlanCommand::Keep { plan, title, note } => {
            let request = v1::KeepPlanRequest { plan: Some(wanted(plan)), title, note };
            let reply: v1::KeepPlanResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                let Some(plan) = &reply.plan else { return };
                out.text("Kept:");
                overview(out, plan);
                out.gap();
                out.faint("In full: scionary plan show ID. Tick off: scionary plan done ID STEP. For your calendar: scionary plan calendar ID --output trees.ics");
            })
        }
        PlanCommand::List { paging } => list(client, output, paging).await,
        PlanCommand::Show { plan, all, sources } => {
            let request = v1::GetPlanRequest { plan_id: plan };
            let reply: v1::GetPlanResponse = client.call(request).await?;
            output.reply(&reply, |out| {
                reply.plan.iter().for_each(|plan| show(out, plan, all, sources));
            })
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
            let request = v1::AddStepRequest {
                plan_id: plan,
                version: 0,
                title,
                about,
                day: on,
                wait_days: days.unwrap_or(0),
                after,
            };
            let reply: v1::AddStepResponse = client.call(request).await?;
            output.reply(&reply, |out| reply.plan.iter().for_each(|p| overview(out, p)))
        }
        PlanCommand::RemoveStep(step) => {
            let request = v1::RemoveStepRequest { plan_id: step.plan, version: 0, step_key: step.step };
            let reply: v1::RemoveStepResponse = client.call(request).await?;
            output.reply(&reply, |out| reply.plan.iter().for_each(|p| overview(out, p)))
        }
        PlanCommand::Change { plan, title, note, start, place, hemisphere, climate } => {
            let request = v1::ChangePlanRequest {
                plan_id: plan,
                version: 0,
                title,
                note,
                start,
                grid_code: place.unwrap_or_default(),
                south: hemisphere.map(|side| side == Hemisphere::South),
                climate: climate.unwrap_or_default().into(),
            };
            let reply: v1::ChangePlanResponse = client.call(request).await?;
            output.reply(&reply, |out| reply.plan.iter().for_each(|p| overview(out, p)))
        }
        PlanCommand::Drop { plan } => {
            let request = v1::DropPlanRequest { plan_id: plan };
            let reply: v1::DropPlanResponse = client.call(request).await?;
            output.reply(&reply, |out| out.text(&format!("Forgotten: {}.", reply.plan_id)))
        }
        PlanCommand::Calendar { plan, output: file } => {
            let request = v1::ExportCalendarRequest { plan_id: plan.unwrap_or_default() };
            let reply: v1::ExportCalendarResponse = client.call(request).await?;
            let Some(file) = file else {
                return output.reply(&reply, |_| {
                    // as it is: lines end in CR LF
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
    let request = v1::ChangeStepRequest { plan_id, version: 0, step_key, edit: Some(edit) };
    let reply: v1::ChangeStepResponse = client.call(request).await?;
    output.reply(&reply, |out| reply.plan.iter().for_each(|p| overview(out, p)))
}

/// Asks before a step is ticked off while one that it follows is open.
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
    output.reply(&reply, |out| {
        if reply.plans.is_empty() {
            out.text("You keep no plans. Keep one with: scionary plan keep NAME --way seed");
        }
        for plan in &reply.plans {
            out.heading(&format!("{} ({}, {})", plan.title, plan.crop, words::way(plan.way())));
            out.field("plan", &plan.plan_id);
            out.field("open", &format!("{} of {} steps", plan.open_steps, plan.steps));
            for step in &plan.next {
                out.item(
                    0,
                    "-",
                    &format!("{} [{}]: {}{}", step.title, step.step_key, when(step), mark(step)),
                );
            }
            out.gap();
        }
        more(out, &reply.next_page_token);
    })
}

/// The days of a step.
fn when(step: &v1::PlanStep) -> String {
    if let Some(done) = step.done_on {
        return words::day(Some(done));
    }
    let day = |date| words::day(date);
    let from = day(step.earliest);
    if let (Some(until), Some(again)) = (step.first_until, step.again_from) {
        return format!("{from} to {}, or from {}", day(Some(until)), day(Some(again)));
    }
    match step.latest {
        Some(latest) if Some(latest) == step.earliest => from,
        Some(latest) => format!("{from} to {}", day(Some(latest))),
        None => format!("{from} or later"),
    }
}

/// Where a step stands, behind a comma.
fn mark(step: &v1::PlanStep) -> String {
    let standing = match step.state() {
        v1::StepState::Done => ", done".to_string(),
        v1::StepState::LeftOut => ", left out".into(),
        v1::StepState::Open | v1::StepState::Unspecified => match step.next_season {
            Some(next) => format!(", season missed: from {}", words::day(Some(next))),
            None if step.late => ", late".into(),
            None if step.due => ", due".into(),
            None => String::new(),
        },
    };
    let season = if step.out_of_season { ", out of season" } else { "" };
    let spoilt = if step.spoilt { ", cut fresh first" } else { "" };
    format!("{standing}{season}{spoilt}")
}

/// A table of the days, what comes first on top.
fn days(out: &Output, steps: &[v1::PlanStep]) {
    let mut sorted: Vec<&v1::PlanStep> = steps.iter().collect();
    let first = |s: &&v1::PlanStep| s.done_on.or(s.earliest).map(|d| (d.year, d.month, d.day));
    sorted.sort_by_key(first);
    out.table(
        ["STEP", "WHEN", "KEY"],
        sorted.into_iter().map(|s| [s.title.clone(), format!("{}{}", when(s), mark(s)), s.step_key.clone()]),
    );
}

/// The first sentence of a caution, to stand beside the step; in full it stands below.
fn first_sentence(caution: &str) -> &str {
    caution.split_inclusive(". ").next().unwrap_or(caution).trim_end()
}

/// A step in full.
fn full(out: &Output, step: &v1::PlanStep, steps: &[v1::PlanStep]) {
    out.gap();
    out.heading(&format!("{} [{}]", step.title, step.step_key));
    let after: Vec<&str> = step
        .after
        .iter()
        .filter_map(|key| steps.iter().find(|s| &s.step_key == key))
        .map(|s| s.title.as_str())
        .collect();
    out.field("when", &format!("{}{}", when(step), mark(step)));
    out.field("months", &words::months(&step.months));
    let wait = match (step.wait.is_empty(), after.is_empty()) {
        (true, true) => String::new(),
        (true, false) => format!("after “{}”", after.join("” and “")),
        (false, true) => step.wait.clone(),
        (false, false) => format!("{}, after “{}”", step.wait, after.join("” and “")),
    };
    out.field("how long", &wait);
    out.field("do", &step.about);
    out.field("look for", &step.look_for);
    out.field("if it fails", &step.if_fails);
    if step.spoilt {
        let again = step.after.first().map(String::as_str).unwrap_or_default();
        out.field("stop", &format!("What it uses will be dead by then: cut fresh. Begin again with scionary plan again ID {again}"));
    }
    let care: Vec<&str> = step.cautions.iter().map(|c| first_sentence(c)).collect();
    out.field("take care", &care.join(" "));
    out.field("bear in mind", &step.remark);
    out.field("your note", &step.note);
    out.field("left out", &step.left_out_why);
    out.field("from", &step.origins.join(", "));
}

/// What to be careful with in some steps, each once.
fn cautions(out: &Output, steps: &[v1::PlanStep]) {
    let mut told: Vec<&String> = Vec::new();
    for caution in steps.iter().flat_map(|s| &s.cautions) {
        if !told.contains(&caution) {
            told.push(caution);
        }
    }
    if told.is_empty() {
        return;
    }
    out.gap();
    out.heading("Take care");
    told.into_iter().for_each(|caution| out.item(0, "-", caution));
}

fn place(setting: Option<&v1::PlanSetting>, guessed: bool) -> String {
    const GUESS: &str = " (guessed from the latitude alone; height and sea change it: say it with --climate, and --south or --place)";
    let Some(setting) = setting else { return String::new() };
    let frost = match setting.climate() {
        v1::Climate::Warm => "no frost",
        v1::Climate::Mild | v1::Climate::Unspecified => "light frosts in some winters",
        v1::Climate::Cold => "hard frosts every winter",
        v1::Climate::Rains => {
            return format!(
                "near the equator, no frost; seasons follow the rains{}",
                if guessed { GUESS } else { "" }
            );
        }
    };
    let side = if setting.south { "south" } else { "north" };
    let guess = if guessed { GUESS } else { "" };
    format!("{side} of the equator, {frost}{guess}")
}

fn degrees(out: &Output, all: &[v1::Timing]) {
    if all.is_empty() {
        return;
    }
    out.gap();
    out.heading("Cold and heat");
    for timing in all {
        out.item(0, "-", &format!("{}.", figure(out, timing)));
    }
}

fn drafted(out: &Output, reply: &v1::DraftPlanResponse, all: bool) {
    let way = reply.setting.as_ref().map(|s| words::way(s.way())).unwrap_or_default();
    out.heading(&format!("{}: {way}", named(reply.cultivar.as_ref())));
    out.text(&reply.identity);
    out.field("from", &words::day(reply.start));
    out.field("place", &place(reply.setting.as_ref(), reply.climate_guessed));
    if reply.setting.as_ref().is_some_and(|s| s.climate() == v1::Climate::Rains) {
        out.text("When do the rains come there? The months of other places say nothing near the equator, so no step here waits for a month. Begin what has to root and grow with the rains; growers nearby know when that is.");
    }
    if let Some(line) = rates_line(&reply.grafting) {
        out.field("grafts here", &line);
    }
    out.gap();
    days(out, &reply.steps);
    reply.steps.iter().for_each(|step| full(out, step, &reply.steps));
    degrees(out, &reply.temperatures);
    cautions(out, &reply.steps);
    cited(out, &reply.sources, all);
    out.gap();
    out.faint("Keep it, tick it off, put it into your calendar: the same with scionary plan keep");
}

fn overview(out: &Output, plan: &v1::Plan) {
    out.heading(&plan.title);
    out.field("plan", &plan.plan_id);
    let way = plan.setting.as_ref().map(|s| words::way(s.way())).unwrap_or_default();
    out.field("for", &format!("{} ({}), {way}", plan.cultivar_name, plan.crop));
    out.field("from", &words::day(plan.start));
    out.field("place", &place(plan.setting.as_ref(), false));
    out.field("your note", &plan.note);
    out.gap();
    days(out, &plan.steps);
}

fn show(out: &Output, plan: &v1::Plan, all: bool, sources: bool) {
    overview(out, plan);
    let open = |s: &&v1::PlanStep| s.state() == v1::StepState::Open;
    let mut chosen: Vec<v1::PlanStep> =
        plan.steps.iter().filter(|s| all || (open(s) && s.due)).cloned().collect();
    if chosen.is_empty() {
        let day = |s: &&v1::PlanStep| s.earliest.map(|d| (d.year, d.month, d.day));
        chosen.extend(plan.steps.iter().filter(open).min_by_key(day).cloned());
    }
    for step in &chosen {
        full(out, step, &plan.steps);
    }
    cautions(out, &chosen);
    if all {
        degrees(out, &plan.temperatures);
        cited(out, &plan.sources, sources);
    } else {
        out.gap();
        out.faint("Every step in full: the same with --all. Tick off: scionary plan done ID KEY");
    }
}
