//! Dated plans.

use scionary_proto::v1::{self, change_step_request::Edit};
use scionary_show::View;

use super::{grafts::rates_line, lookup::named, odds::cited, routes::figure};
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
    output.reply(&reply, |view| drafted(view, &reply, sources))
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
            output.reply(&reply, |view| {
                let Some(plan) = &reply.plan else { return };
                view.line("Kept:");
                overview(view, plan);
                view.gap();
                view.note("In full: scionary plan show ID. Tick off: scionary plan done ID STEP. For your calendar: scionary plan calendar ID --output trees.ics");
            })
        }
        PlanCommand::List { paging } => list(client, output, paging).await,
        PlanCommand::Show { plan, all, sources } => {
            let request = v1::GetPlanRequest { plan_id: plan };
            let reply: v1::GetPlanResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                reply.plan.iter().for_each(|plan| show(view, plan, all, sources));
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
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| overview(view, p)))
        }
        PlanCommand::RemoveStep(step) => {
            let request = v1::RemoveStepRequest { plan_id: step.plan, version: 0, step_key: step.step };
            let reply: v1::RemoveStepResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| overview(view, p)))
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
            output.reply(&reply, |view| reply.plan.iter().for_each(|p| overview(view, p)))
        }
        PlanCommand::Drop { plan } => {
            let request = v1::DropPlanRequest { plan_id: plan };
            let reply: v1::DropPlanResponse = client.call(request).await?;
            output.reply(&reply, |view| view.line(format!("Forgotten: {}.", reply.plan_id)))
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
    output.reply(&reply, |view| reply.plan.iter().for_each(|p| overview(view, p)))
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
    output.reply(&reply, |view| {
        if reply.plans.is_empty() {
            view.line("You keep no plans. Keep one with: scionary plan keep NAME --way seed");
        }
        for plan in &reply.plans {
            view.title(format!("{} ({}, {})", plan.title, plan.crop, words::way(plan.way())));
            view.fact("plan", &plan.plan_id);
            view.fact("open", format!("{} of {} steps", plan.open_steps, plan.steps));
            for step in &plan.next {
                view.item(
                    0,
                    "-",
                    format!("{} [{}]: {}{}", step.title, step.step_key, when(step), mark(step)),
                );
            }
            view.gap();
        }
        view.more(&reply.next_page_token);
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
fn days(view: &mut View, steps: &[v1::PlanStep]) {
    let mut sorted: Vec<&v1::PlanStep> = steps.iter().collect();
    let first = |s: &&v1::PlanStep| s.done_on.or(s.earliest).map(|d| (d.year, d.month, d.day));
    sorted.sort_by_key(first);
    view.table(
        ["STEP", "WHEN", "KEY"],
        sorted.into_iter().map(|s| [s.title.clone(), format!("{}{}", when(s), mark(s)), s.step_key.clone()]),
    );
}

/// The first sentence of a caution, to stand beside the step; in full it stands below.
fn first_sentence(caution: &str) -> &str {
    caution.split_inclusive(". ").next().unwrap_or(caution).trim_end()
}

/// A step in full.
fn full(view: &mut View, step: &v1::PlanStep, steps: &[v1::PlanStep]) {
    view.gap();
    view.title(format!("{} [{}]", step.title, step.step_key));
    let after: Vec<&str> = step
        .after
        .iter()
        .filter_map(|key| steps.iter().find(|s| &s.step_key == key))
        .map(|s| s.title.as_str())
        .collect();
    view.fact("when", format!("{}{}", when(step), mark(step)));
    view.fact("months", words::months(&step.months));
    let wait = match (step.wait.is_empty(), after.is_empty()) {
        (true, true) => String::new(),
        (true, false) => format!("after “{}”", after.join("” and “")),
        (false, true) => step.wait.clone(),
        (false, false) => format!("{}, after “{}”", step.wait, after.join("” and “")),
    };
    view.fact("how long", &wait);
    view.fact("do", &step.about);
    view.fact("look for", &step.look_for);
    view.fact("if it fails", &step.if_fails);
    if step.spoilt {
        let again = step.after.first().map(String::as_str).unwrap_or_default();
        view.fact("stop", format!("What it uses will be dead by then: cut fresh. Begin again with scionary plan again ID {again}"));
    }
    let care: Vec<&str> = step.cautions.iter().map(|c| first_sentence(c)).collect();
    view.fact("take care", care.join(" "));
    view.fact("bear in mind", &step.remark);
    view.fact("your note", &step.note);
    view.fact("left out", &step.left_out_why);
    view.fact("from", step.origins.join(", "));
}

/// What to be careful with in some steps, each once.
fn cautions(view: &mut View, steps: &[v1::PlanStep]) {
    let mut told: Vec<&String> = Vec::new();
    for caution in steps.iter().flat_map(|s| &s.cautions) {
        if !told.contains(&caution) {
            told.push(caution);
        }
    }
    if told.is_empty() {
        return;
    }
    view.gap();
    view.title("Take care");
    told.into_iter().for_each(|caution| view.item(0, "-", caution));
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

fn degrees(view: &mut View, all: &[v1::Timing]) {
    if all.is_empty() {
        return;
    }
    view.gap();
    view.title("Cold and heat");
    for timing in all {
        view.item(0, "-", format!("{}.", figure(view.reader(), timing)));
    }
}

fn drafted(view: &mut View, reply: &v1::DraftPlanResponse, all: bool) {
    let way = reply.setting.as_ref().map(|s| words::way(s.way())).unwrap_or_default();
    view.title(format!("{}: {way}", named(reply.cultivar.as_ref())));
    view.line(&reply.identity);
    view.fact("from", words::day(reply.start));
    view.fact("place", place(reply.setting.as_ref(), reply.climate_guessed));
    if reply.setting.as_ref().is_some_and(|s| s.climate() == v1::Climate::Rains) {
        view.line("When do the rains come there? The months of other places say nothing near the equator, so no step here waits for a month. Begin what has to root and grow with the rains; growers nearby know when that is.");
    }
    if let Some(line) = rates_line(&reply.grafting) {
        view.fact("grafts here", &line);
    }
    view.gap();
    days(view, &reply.steps);
    reply.steps.iter().for_each(|step| full(view, step, &reply.steps));
    degrees(view, &reply.temperatures);
    cautions(view, &reply.steps);
    cited(view, &reply.sources, all);
    view.gap();
    view.note("Keep it, tick it off, put it into your calendar: the same with scionary plan keep");
}

fn overview(view: &mut View, plan: &v1::Plan) {
    view.title(&plan.title);
    view.fact("plan", &plan.plan_id);
    let way = plan.setting.as_ref().map(|s| words::way(s.way())).unwrap_or_default();
    view.fact("for", format!("{} ({}), {way}", plan.cultivar_name, plan.crop));
    view.fact("from", words::day(plan.start));
    view.fact("place", place(plan.setting.as_ref(), false));
    view.fact("your note", &plan.note);
    view.gap();
    days(view, &plan.steps);
}

fn show(view: &mut View, plan: &v1::Plan, all: bool, sources: bool) {
    overview(view, plan);
    let open = |s: &&v1::PlanStep| s.state() == v1::StepState::Open;
    let mut chosen: Vec<v1::PlanStep> =
        plan.steps.iter().filter(|s| all || (open(s) && s.due)).cloned().collect();
    if chosen.is_empty() {
        let day = |s: &&v1::PlanStep| s.earliest.map(|d| (d.year, d.month, d.day));
        chosen.extend(plan.steps.iter().filter(open).min_by_key(day).cloned());
    }
    for step in &chosen {
        full(view, step, &plan.steps);
    }
    cautions(view, &chosen);
    if all {
        degrees(view, &plan.temperatures);
        cited(view, &plan.sources, sources);
    } else {
        view.gap();
        view.note("Every step in full: the same with --all. Tick off: scionary plan done ID KEY");
    }
}
