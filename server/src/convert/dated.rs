//! Dated plans on the wire.

use scionary_app::{
    App, Error,
    plans::{AddStep, ChangePlan, Drafted, EditStep, KeepPlan, RemoveStep, ShownPlan, Wanted},
    registry::Registry,
};
use scionary_domain::{
    crop::{Climate, Crop, Way},
    field::FieldError,
    grafting::Rate,
    plan::{Dates, Edit, OwnStep, Plan, Setting, State, Step, schedule, temperatures},
    routes,
    time::Date,
};
use scionary_proto::v1;

use super::{count, date, grafts, plan::way, read_date, registry as convert, seen, timestamp};
use crate::mask::Change;

fn read_way(field: &str, wire: i32, wrong: &mut Vec<FieldError>) -> Option<Way> {
    match v1::Way::try_from(wire) {
        Ok(v1::Way::Unspecified) => None,
        Ok(v1::Way::GraftedTree) => Some(Way::GraftedTree),
        Ok(v1::Way::Seed) => Some(Way::Seed),
        Ok(v1::Way::OwnRootstock) => Some(Way::OwnRootstock),
        Ok(v1::Way::TopWorking) => Some(Way::TopWorking),
        Ok(v1::Way::Cutting) => Some(Way::Cutting),
        Ok(v1::Way::Division) => Some(Way::Division),
        Err(_) => {
            wrong.push(FieldError::new(field, "a value known to this server expected"));
            None
        }
    }
}

/// Winters on the wire.
pub(super) fn climate(climate: Climate) -> v1::Climate {
    match climate {
        Climate::Warm => v1::Climate::Warm,
        Climate::Mild => v1::Climate::Mild,
        Climate::Cold => v1::Climate::Cold,
        Climate::Rains => v1::Climate::Rains,
    }
}

/// Winters, from the wire.
pub(super) fn read_climate(field: &str, wire: i32, wrong: &mut Vec<FieldError>) -> Option<Climate> {
    match v1::Climate::try_from(wire) {
        Ok(v1::Climate::Unspecified) => None,
        Ok(v1::Climate::Warm) => Some(Climate::Warm),
        Ok(v1::Climate::Mild) => Some(Climate::Mild),
        Ok(v1::Climate::Cold) => Some(Climate::Cold),
        Ok(v1::Climate::Rains) => Some(Climate::Rains),
        Err(_) => {
            wrong.push(FieldError::new(field, "a value known to this server expected"));
            None
        }
    }
}

fn fine<T>(value: T, wrong: Vec<FieldError>) -> Result<T, Error> {
    if wrong.is_empty() { Ok(value) } else { Err(Error::Invalid(wrong)) }
}

/// What a plan is asked for.
///
/// # Errors
/// Values that cannot be read.
pub fn wanted(request: v1::DraftPlanRequest) -> Result<Wanted, Error> {
    let v1::DraftPlanRequest { cultivar, crop, way, start, grid_code, south, climate, has_rootstock } =
        request;
    let mut wrong = Vec::new();
    let wanted = Wanted {
        cultivar,
        crop,
        way: read_way("way", way, &mut wrong),
        start: read_date("start", start, &mut wrong),
        grid_code,
        south,
        climate: read_climate("climate", climate, &mut wrong),
        has_rootstock,
    };
    fine(wanted, wrong)
}

/// A plan to keep.
///
/// # Errors
/// Values that cannot be read.
pub fn keep(request: v1::CreatePlanRequest) -> Result<KeepPlan, Error> {
    let v1::CreatePlanRequest { plan, title, note } = request;
    Ok(KeepPlan { wanted: wanted(plan.unwrap_or_default())?, title, note })
}

/// A change of a plan.
///
/// # Errors
/// Values that cannot be read.
pub fn change(request: v1::UpdatePlanRequest) -> Result<ChangePlan, Error> {
    let v1::UpdatePlanRequest { plan_id, version, plan, update_mask } = request;
    let id = App::id(&plan_id)?;
    let mask = Change::read("plan", plan, update_mask)?;
    let named = |field: &str| mask.fields.contains(field);
    let v1::PlanDraft { title, note, start, grid_code, south, climate } = mask.new.clone();
    let mut wrong = Vec::new();
    let start = read_date("plan.start", start, &mut wrong).filter(|_| named("start"));
    if start.is_none() && named("start") && wrong.is_empty() {
        wrong.push(FieldError::new("plan.start", "say the first day"));
    }
    let climate = read_climate("plan.climate", climate, &mut wrong).filter(|_| named("climate"));
    let change = ChangePlan {
        id,
        version: seen(version),
        title: named("title").then_some(title),
        note: named("note").then_some(note),
        start,
        grid_code: if named("grid_code") { grid_code } else { String::new() },
        south: named("south").then_some(south),
        climate,
    };
    fine(change, wrong)
}

/// A change of a step.
///
/// # Errors
/// Values that cannot be read.
pub fn edit(request: v1::UpdateStepRequest, today: Date) -> Result<EditStep, Error> {
    use v1::update_step_request::Edit as Wire;
    let v1::UpdateStepRequest { plan_id, version, step_key, edit } = request;
    let id = App::id(&plan_id)?;
    let mut wrong = Vec::new();
    let mut day = |field, wire| read_date(field, Some(wire), &mut wrong);
    let edit = match edit {
        Some(Wire::DoneOn(wire)) => day("done_on", wire).map(|day| Edit::Done { day }),
        Some(Wire::Planned(wire)) => day("planned", wire).map(|day| Edit::Plan { day: Some(day) }),
        Some(Wire::DoneToday(true)) => Some(Edit::Done { day: today }),
        Some(Wire::Reopen(true)) => Some(Edit::Reopen),
        Some(Wire::Again(true)) => Some(Edit::Again),
        Some(Wire::Unplan(true)) => Some(Edit::Plan { day: None }),
        Some(Wire::LeaveOut(why)) => Some(Edit::LeaveOut { why }),
        Some(Wire::Note(text)) => Some(Edit::Note { text }),
        Some(Wire::Reopen(false) | Wire::Unplan(false) | Wire::DoneToday(false) | Wire::Again(false))
        | None => None,
    };
    match edit {
        Some(edit) => fine(EditStep { id, version: seen(version), key: step_key, edit }, wrong),
        None if wrong.is_empty() => Err(FieldError::new("edit", "what to change expected").into()),
        None => Err(Error::Invalid(wrong)),
    }
}

/// An own step to add.
///
/// # Errors
/// Values that cannot be read.
pub fn create_step(request: v1::CreateStepRequest) -> Result<AddStep, Error> {
    let v1::CreateStepRequest { plan_id, version, title, about, day, wait_days, after } = request;
    let mut wrong = Vec::new();
    let day = read_date("day", day, &mut wrong);
    let step = OwnStep { title, about, day, wait_days: wait_days.into(), after };
    fine(AddStep { id: App::id(&plan_id)?, version: seen(version), step }, wrong)
}

/// An own step to take away.
///
/// # Errors
/// Values that cannot be read.
pub fn delete_step(request: v1::DeleteStepRequest) -> Result<RemoveStep, Error> {
    let v1::DeleteStepRequest { plan_id, version, step_key } = request;
    Ok(RemoveStep { id: App::id(&plan_id)?, version: seen(version), key: step_key })
}

fn setting(setting: Setting) -> v1::PlanSetting {
    let Setting { way: chosen, south, climate, has_rootstock } = setting;
    v1::PlanSetting { way: way(chosen).into(), south, climate: self::climate(climate).into(), has_rootstock }
}

fn step(step: &Step, dates: Dates) -> v1::PlanStep {
    let Step {
        key,
        title,
        about,
        look_for,
        if_fails,
        after,
        low: _,
        high: _,
        wait,
        months,
        cautions,
        origins,
        remark,
        planned,
        not_before: _,
        perishes: _,
        state,
        note,
        own,
    } = step.clone();
    let (standing, done_on, left_out_why) = match state {
        State::Open => (v1::StepState::Open, None, String::new()),
        State::Done { day } => (v1::StepState::Done, Some(date(day)), String::new()),
        State::LeftOut { why } => (v1::StepState::LeftOut, None, why),
    };
    v1::PlanStep {
        step_key: key,
        title,
        about,
        look_for,
        if_fails,
        after,
        wait,
        months: months.into_iter().map(i32::from).collect(),
        earliest: Some(date(dates.earliest)),
        latest: dates.latest.map(date),
        state: standing.into(),
        done_on,
        left_out_why,
        planned: planned.map(date),
        first_until: dates.first_until.map(date),
        again_from: dates.again_from.map(date),
        next_season: dates.next_season.map(date),
        spoilt: dates.spoilt,
        due: dates.due,
        late: dates.late,
        out_of_season: dates.out_of_season,
        cautions,
        origins,
        remark,
        note,
        own,
    }
}

fn steps(start: Date, all: &[Step], today: Date) -> Vec<v1::PlanStep> {
    all.iter().zip(schedule(start, all, today)).map(|(s, dates)| step(s, dates)).collect()
}

fn cited<'a>(all: &'a [Step], crop: Option<&'a Crop>) -> impl Iterator<Item = &'a str> {
    let degrees = crop.map(temperatures).unwrap_or_default();
    all.iter()
        .flat_map(|s| s.origins.iter().map(String::as_str))
        .chain(degrees.into_iter().map(|t| t.origin()))
}

fn degrees(crop: Option<&Crop>) -> Vec<v1::Timing> {
    crop.map(temperatures).unwrap_or_default().into_iter().map(convert::timing).collect()
}

/// A plan that no one keeps yet.
pub fn drafted(
    registry: &Registry,
    found: &Drafted<'_>,
    rates: &[Rate],
    today: Date,
) -> v1::DraftPlanResponse {
    let Drafted { record, crop, setting: made_from, guessed, start, steps: all } = found;
    let odds = super::plan::usual_odds(registry, record, crop);
    let unions = if routes::grafts(made_from.way) { registry.stocks_for(record) } else { Vec::new() };
    let of_unions = unions.iter().flat_map(|u| u.fails.iter().chain(&u.holds)).map(String::as_str);
    v1::DraftPlanResponse {
        cultivar: Some(convert::summary(registry, record)),
        setting: Some(setting(*made_from)),
        climate_guessed: *guessed,
        start: Some(date(*start)),
        steps: steps(*start, all, today),
        temperatures: degrees(Some(crop)),
        identity: routes::identity(made_from.way, &odds),
        grafting: if routes::grafts(made_from.way) { grafts::by_method(rates) } else { Vec::new() },
        sources: convert::sources(registry, cited(all, Some(crop)).chain(of_unions)),
        unions: unions.iter().map(convert::union).collect(),
    }
}

/// A plan on a day.
pub fn plan(registry: &Registry, shown: &ShownPlan, today: Date) -> v1::Plan {
    let ShownPlan { plan, cultivar_name } = shown;
    let Plan {
        id,
        grower: _,
        cultivar,
        crop,
        title,
        note,
        setting: made_from,
        start,
        steps: all,
        created_at,
        updated_at,
        version,
    } = plan;
    let profile = registry.crop(crop);
    v1::Plan {
        plan_id: id.to_string(),
        title: title.clone(),
        note: note.clone(),
        cultivar_id: cultivar.to_string(),
        cultivar_name: cultivar_name.clone(),
        crop: crop.clone(),
        setting: Some(setting(*made_from)),
        start: Some(date(*start)),
        steps: steps(*start, all, today),
        temperatures: degrees(profile),
        sources: convert::sources(registry, cited(all, profile)),
        version: *version,
        created_at: Some(timestamp(*created_at)),
        updated_at: Some(timestamp(*updated_at)),
    }
}

/// A plan in a list: what is due, or else what comes next.
pub fn summary(shown: &ShownPlan, today: Date) -> v1::PlanSummary {
    let ShownPlan { plan, cultivar_name } = shown;
    let open: Vec<v1::PlanStep> = steps(plan.start, &plan.steps, today)
        .into_iter()
        .filter(|s| s.state() == v1::StepState::Open)
        .collect();
    let mut next: Vec<v1::PlanStep> = open.iter().filter(|s| s.due).cloned().collect();
    if next.is_empty() {
        let day = |s: &&v1::PlanStep| s.earliest.map(|d| (d.year, d.month, d.day));
        next.extend(open.iter().min_by_key(day).cloned());
    }
    v1::PlanSummary {
        plan_id: plan.id.to_string(),
        title: plan.title.clone(),
        cultivar_name: cultivar_name.clone(),
        crop: plan.crop.clone(),
        way: way(plan.setting.way).into(),
        open_steps: count(open.len()),
        steps: count(plan.steps.len()),
        next,
        cultivar_id: plan.cultivar.to_string(),
    }
}
