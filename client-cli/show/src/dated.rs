//! Plans with dates.

use scionary_proto::v1;

use crate::{Deed, View, words};
use crate::{grafts::rates_line, lookup::named, odds::cited, routes::figure};

/// Shows a [`v1::CreatePlanResponse`].
pub fn create_plan(view: &mut View, reply: &v1::CreatePlanResponse) {
    let Some(plan) = &reply.plan else { return };
    view.line("Kept:");
    overview(view, plan);
    view.gap();
    view.act("See every step", Deed::PlanShow.on(&plan.plan_id));
    view.act("Tick a step off", Deed::PlanDone.on(&plan.plan_id));
    view.act("Put it into your calendar", Deed::PlanCalendar.on(&plan.plan_id));
}

/// Shows a [`v1::GetPlanResponse`].
pub fn get_plan(view: &mut View, reply: &v1::GetPlanResponse, all: bool, sources: bool) {
    reply.plan.iter().for_each(|plan| show(view, plan, all, sources));
}

/// Shows a [`v1::ListMyPlansResponse`].
pub fn list_my_plans(view: &mut View, reply: &v1::ListMyPlansResponse) {
    if reply.plans.is_empty() {
        view.line("You keep no plans.");
        view.act("Keep one", Deed::PlanKeep.bare());
    }
    for plan in &reply.plans {
        view.title(format!("{} ({}, {})", plan.title, plan.crop, words::way(plan.way())));
        view.fact("plan", &plan.plan_id);
        view.fact("open", format!("{} of {} steps", plan.open_steps, plan.steps));
        for step in &plan.next {
            view.item(0, "-", format!("{} [{}]: {}{}", step.title, step.step_key, when(step), mark(step)));
        }
        view.gap();
    }
    view.more(&reply.next_page_token);
}

/// Returns the days of a step: the day it was done, or the span in which to do it.
pub fn when(step: &v1::PlanStep) -> String {
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

/// Returns a step's state as words after a comma; empty for an open step that is not due.
pub fn mark(step: &v1::PlanStep) -> String {
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

/// Shows a table of the steps, sorted by date.
pub fn days(view: &mut View, steps: &[v1::PlanStep]) {
    let mut sorted: Vec<&v1::PlanStep> = steps.iter().collect();
    let first = |s: &&v1::PlanStep| s.done_on.or(s.earliest).map(|d| (d.year, d.month, d.day));
    sorted.sort_by_key(first);
    view.table(
        ["STEP", "WHEN", "KEY"],
        sorted.into_iter().map(|s| [s.title.clone(), format!("{}{}", when(s), mark(s)), s.step_key.clone()]),
    );
}

/// Returns the first sentence of a caution, for use next to the step; the full caution is shown below.
pub fn first_sentence(caution: &str) -> &str {
    caution.split_inclusive(". ").next().unwrap_or(caution).trim_end()
}

/// Shows a step in full.
pub fn full(view: &mut View, step: &v1::PlanStep, steps: &[v1::PlanStep]) {
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
        view.fact("stop", "What it uses will be dead by then: cut fresh.");
        view.act("Begin again", Deed::PlanAgain.on_part("PLAN", again));
    }
    let care: Vec<&str> = step.cautions.iter().map(|c| first_sentence(c)).collect();
    view.fact("take care", care.join(" "));
    view.fact("bear in mind", &step.remark);
    view.fact("your note", &step.note);
    view.fact("left out", &step.left_out_why);
    view.fact("from", step.origins.join(", "));
}

/// Shows the cautions of some steps, without duplicates.
pub fn cautions(view: &mut View, steps: &[v1::PlanStep]) {
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

pub(crate) fn place(setting: Option<&v1::PlanSetting>, guessed: bool) -> String {
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

pub(crate) fn degrees(view: &mut View, all: &[v1::Timing]) {
    if all.is_empty() {
        return;
    }
    view.gap();
    view.title("Cold and heat");
    for timing in all {
        view.item(0, "-", format!("{}.", figure(view.reader(), timing)));
    }
}

/// Shows a plan that is not saved; every step in full with `all`, and every citation with `sources`.
pub fn drafted(view: &mut View, reply: &v1::DraftPlanResponse, (all, sources): (bool, bool)) {
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
    view.fact("rootstocks", crate::unions::brief(&reply.unions, |u| &u.rootstock, 3));
    view.gap();
    days(view, &reply.steps);
    let name = reply.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
    if all || sources {
        reply.steps.iter().for_each(|step| full(view, step, &reply.steps));
        degrees(view, &reply.temperatures);
        cautions(view, &reply.steps);
        cited(view, &reply.sources, sources);
        view.gap();
    } else {
        view.gap();
        let all: std::collections::BTreeSet<&String> = reply.steps.iter().flat_map(|s| &s.cautions).collect();
        let count = words::counted(i32::try_from(all.len()).unwrap_or(i32::MAX), "caution");
        view.fact(
            "take care",
            format!("{count} with the steps, see below; before moving it, ask the authority"),
        );
        view.act("Every step in full", Deed::PlanDraftAll.on_part(&name, &way.replace(' ', "-")));
    }
    view.act(
        "Keep it, tick its steps off, put it into your calendar",
        Deed::PlanKeep.on_part(&name, &way.replace(' ', "-")),
    );
}

/// Shows a plan in short.
pub fn overview(view: &mut View, plan: &v1::Plan) {
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

/// Shows a plan: the table of days, then the due steps in full, or every step if `all` is set.
pub fn show(view: &mut View, plan: &v1::Plan, all: bool, sources: bool) {
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
        view.act("See every step in full", Deed::PlanShowAll.on(&plan.plan_id));
        view.act("Tick a step off", Deed::PlanDone.on(&plan.plan_id));
    }
}
