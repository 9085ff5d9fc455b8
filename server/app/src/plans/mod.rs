//! Dated plans: drafted for anyone, kept for members.

mod calendar;
mod change;
mod keep;
mod read;
mod ripe;

pub use change::{AddStep, ChangePlan, DropPlan, EditStep, RemoveStep};
pub use keep::KeepPlan;
pub use read::ShownPlan;
pub use ripe::{AskRipe, Ripe, RipeFiller};

use scionary_domain::{
    access::{self, EditPlan, Granted},
    crop::{Climate, Crop, Way},
    field::Fields,
    ids::PlanId,
    place::GridCode,
    plan::{self, Plan, Setting, Step},
    time::Date,
};
use scionary_store::plan_store;

use crate::{
    Error, Rule, Write,
    registry::{Record, Registry},
};

/// What a plan is asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wanted {
    /// The cultivar: an id or an exact name.
    pub cultivar: String,
    /// The crop, where a name is given.
    pub crop: String,
    /// The way to a tree.
    pub way: Option<Way>,
    /// The first day; today if left out.
    pub start: Option<Date>,
    /// Where: it tells the hemisphere, and the climate where none is said; may be empty.
    pub grid_code: String,
    /// South of the equator, where no place is said.
    pub south: bool,
    /// The climate; guessed from the place's latitude where it is not said, mild without a place.
    pub climate: Option<Climate>,
    /// A rootstock large enough to graft is at hand.
    pub has_rootstock: bool,
}

/// A plan that no one keeps yet.
pub struct Drafted<'a> {
    /// The cultivar's record.
    pub record: &'a Record,
    /// Its crop.
    pub crop: &'a Crop,
    /// What the steps are made from.
    pub setting: Setting,
    /// The climate was guessed.
    pub guessed: bool,
    /// The first day.
    pub start: Date,
    /// The steps.
    pub steps: Vec<Step>,
}

/// Drafts a plan.
///
/// # Errors
/// All wrong fields; no such cultivar; the crop has no steps for the way.
pub fn draft<'a>(registry: &'a Registry, wanted: &Wanted, today: Date) -> Result<Drafted<'a>, Error> {
    let mut fields = Fields::new();
    let start = wanted.start.unwrap_or(today);
    plan::check_start(&mut fields, "start", start, today);
    let way = wanted.way;
    if way.is_none() {
        let known: Vec<String> = Way::ALL.iter().map(|w| w.label()).collect();
        fields.wrong("way", format!("one of {} expected", known.join(", ")));
    }
    let grid = if wanted.grid_code.trim().is_empty() {
        None
    } else {
        fields.take("grid_code", GridCode::parse(&wanted.grid_code))
    };
    let way = fields.finish(way)?;
    let record = registry.resolve("cultivar", &wanted.cultivar, &wanted.crop)?;
    let crop = registry
        .crop(&record.cultivar.crop)
        .ok_or_else(|| Error::not_found("crop", &record.cultivar.crop))?;
    let latitude = grid.map(|grid| grid.middle().0);
    let setting = Setting {
        way,
        south: latitude.map_or(wanted.south, |degrees| degrees < 0.0),
        climate: wanted.climate.unwrap_or_else(|| latitude.map_or(Climate::Mild, Climate::guess)),
        has_rootstock: wanted.has_rootstock,
    };
    let steps = plan::draft(crop, registry.seed_of(record).0, setting);
    if steps.is_empty() {
        return Err(Rule::NoSteps(crop.name.clone()).into());
    }
    Ok(Drafted { record, crop, setting, guessed: wanted.climate.is_none(), start, steps })
}

/// A caller's own plan with the right to change it; someone else's is no one's business.
async fn own(write: &Write<'_>, id: PlanId) -> Result<(Plan, Granted<EditPlan>), Error> {
    let account = write.call.account()?;
    let missing = || Error::not_found("plan", id);
    let plan = plan_store::one(write.tx, id).await?.ok_or_else(missing)?;
    let granted = access::edit_plan(account, plan.grower).ok_or_else(missing)?;
    Ok((plan, granted))
}
