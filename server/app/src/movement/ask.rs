//! Asking what is on file for a movement: of an offer, or of a plant that anyone names.

use scionary_domain::{
    field::Fields,
    ids::OfferId,
    limits,
    movement::{ANY, Answer, Document, Move, Parts, Rule, Rules},
    offer::{Contents, Material, health::Form},
    page::{self, Page},
    place::AreaCode,
    time::Date,
};
use scionary_store::offer_store;

use super::plants;
use crate::{App, Call, Error, registry::Registry};

/// A question.
#[derive(Clone, Debug, Default)]
pub struct AskMovement {
    /// An offer: its plant, material and origins are taken from it.
    pub offer: Option<OfferId>,
    /// Or a cultivar: its id or exact name.
    pub cultivar: String,
    /// The crop of that name, or a crop alone.
    pub crop: String,
    /// Or a botanical name.
    pub botanical_name: String,
    /// The botanical name is in no list: only rules on any plant are looked at.
    pub unlisted: bool,
    /// The rootstock of a grafted plant: a cultivar or a plant.
    pub rootstock: String,
    /// What is moved.
    pub material: Option<Material>,
    /// How it is prepared.
    pub form: Option<Form>,
    /// Where it was grown; empty if not known.
    pub grown_at: Vec<String>,
    /// Where it goes.
    pub to: Vec<String>,
    /// Places on the way.
    pub by_way_of: Vec<String>,
    /// When it leaves; today if left out.
    pub dispatch: Option<Date>,
    /// When it arrives; the day it leaves if left out.
    pub arrival: Option<Date>,
    /// How many articles.
    pub count: Option<u32>,
    /// Papers that are there: the rule that each opens, and until when it holds.
    pub documents: Vec<Document>,
}

/// What was found, and for what.
#[derive(Clone, Debug)]
pub struct MovementFound {
    /// The plants that rules were looked up by: one, a hybrid's parents, a graft's rootstock too.
    pub plants: Vec<String>,
    /// Where it was grown, in codes; empty where no one knows.
    pub grown_at: Vec<Option<String>>,
    /// The days.
    pub days: (Date, Date),
    /// The answer.
    pub answer: Answer,
}

/// A place: a code of ISO 3166, or a local part below one (`US-TX/zapata`) as rules name them.
fn place(code: &str) -> Result<String, String> {
    let (area, part) = code.trim().split_once('/').unwrap_or((code.trim(), ""));
    let area = AreaCode::parse(area)?;
    if part.is_empty() {
        return Ok(area.as_str().to_string());
    }
    let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '/');
    if part.len() <= limits::PLACE_PART_CHARS_MAX && part.chars().all(fits) {
        Ok(format!("{}/{part}", area.as_str()))
    } else {
        Err("a part of a place in small letters, such as US-TX/zapata, expected".into())
    }
}

fn places(fields: &mut Fields, field: &str, codes: &[String]) -> Vec<String> {
    if codes.len() > limits::CHOICES_MAX {
        fields.wrong(field, format!("at most {} places expected", limits::CHOICES_MAX));
        return Vec::new();
    }
    let mut all = Vec::new();
    for (at, code) in codes.iter().enumerate() {
        all.extend(fields.take(&format!("{field}[{at}]"), place(code)));
    }
    all
}

/// Where an offer's plants stood: where they were grown, and where they are now.
fn grown_at_of(contents: &Contents) -> Vec<Option<String>> {
    let mut stood: Vec<Option<String>> =
        contents.health.grown_at.iter().map(|g| g.area.as_ref().map(|a| a.as_str().to_string())).collect();
    if stood.is_empty() {
        stood.push(None);
    }
    let here = contents.place.area.as_ref().map(|area| Some(area.as_str().to_string()));
    stood.extend(here.filter(|here| !stood.contains(here)));
    stood
}

/// The movement of so much of an offer to a place.
pub(crate) fn of_offer(
    (registry, rules): (&Registry, &Rules),
    contents: &Contents,
    to: &str,
    quantity: i32,
    today: Date,
) -> Move {
    let dispatch = contents.available_from.max(today);
    Move {
        plants: plants::of_offer(registry, rules, contents),
        parts: Parts::of_material(contents.material, Some(contents.health.form)),
        grown_at: grown_at_of(contents),
        to: vec![to.to_string()],
        by_way_of: Vec::new(),
        dispatch,
        arrival: dispatch,
        count: u32::try_from(quantity).ok(),
        documents: Vec::new(),
    }
}

impl App {
    /// What is on file for a movement.
    ///
    /// # Errors
    /// All wrong fields; no such offer, cultivar or crop.
    pub async fn ask_movement(&self, call: &Call, asked: &AskMovement) -> Result<MovementFound, Error> {
        let today = call.now.date();
        let registry = self.registry();
        let mut fields = Fields::new();
        let (mut material, mut form) = (asked.material, asked.form);
        let mut grown_at: Vec<Option<String>> =
            places(&mut fields, "grown_at", &asked.grown_at).into_iter().map(Some).collect();
        let to = places(&mut fields, "to", &asked.to);
        if asked.to.is_empty() {
            fields.wrong("to", "where it goes expected: a code of ISO 3166 such as AU-QLD");
        }
        let by_way_of = places(&mut fields, "by_way_of", &asked.by_way_of);
        let rules = self.movement();
        let mut plants = Vec::new();
        let mut count = asked.count;
        if let Some(id) = asked.offer {
            let offer = offer_store::offer(self.store().reader(), id)
                .await?
                .ok_or_else(|| Error::not_found("offer", id))?;
            if !crate::offers::sees(self.store().reader(), &offer, call.actor.id()).await? {
                return Err(Error::not_found("offer", id));
            }
            let contents = &offer.contents;
            material = Some(contents.material);
            form = Some(contents.health.form);
            plants = plants::of_offer(&registry, &rules, contents);
            grown_at = grown_at_of(contents);
            count = count.or_else(|| u32::try_from(contents.quantity).ok());
        } else if !asked.cultivar.trim().is_empty() || !asked.crop.is_empty() {
            let (record, crop) = registry.asked_about(&asked.cultivar, &asked.crop)?;
            let crop = crop.map(|c| c.slug.as_str()).unwrap_or_default();
            let named = record.map(|r| r.cultivar.botanical_name.as_str()).unwrap_or_default();
            plants = plants::of_name(&registry, &rules, named, crop);
        } else if asked.unlisted {
            plants.extend(Some(asked.botanical_name.trim().to_string()).filter(|name| !name.is_empty()));
        } else if !asked.botanical_name.trim().is_empty() {
            let read = plants::typed(&registry, &rules, &asked.botanical_name);
            plants = fields.take("botanical_name", read).unwrap_or_default();
        }
        if plants.iter().map(|name| name.chars().count()).sum::<usize>() > limits::NAME_CHARS_MAX {
            fields.wrong("botanical_name", format!("at most {} characters expected", limits::NAME_CHARS_MAX));
        }
        if asked.offer.is_none()
            && [&asked.cultivar, &asked.crop, &asked.botanical_name].iter().all(|t| t.trim().is_empty())
        {
            fields.wrong("botanical_name", "an offer, a cultivar, a crop or a botanical name expected");
        }
        if asked.offer.is_none() && material == Some(Material::GraftedPlant) {
            // a rule on the rootstock binds as one on the scion does
            let known = if asked.rootstock.trim().is_empty() {
                fields.wrong(
                    "rootstock",
                    "the plant that it is grafted onto expected; \"unknown\" is an answer",
                );
                None
            } else {
                fields.line("rootstock", &asked.rootstock, 1, limits::NAME_CHARS_MAX)
            };
            plants.extend(
                known
                    .map(|words| plants::rootstock(&registry, &rules, &words, &asked.crop))
                    .unwrap_or_default(),
            );
            plants.dedup();
        }
        if material.is_none() {
            fields.wrong("material", "what is moved expected, such as scion wood");
        }
        let dispatch = asked.dispatch.unwrap_or(today);
        let arrival = asked.arrival.unwrap_or(dispatch);
        if arrival < dispatch {
            fields.wrong("arrival", format!("{dispatch} or later expected, {arrival} found"));
        }
        let material = fields.finish(material)?;
        let days = (dispatch, arrival);
        let question = Move {
            plants: plants.clone(),
            parts: Parts::of_material(material, form),
            grown_at: grown_at.clone(),
            to,
            by_way_of,
            dispatch,
            arrival,
            count,
            documents: asked.documents.clone(),
        };
        Ok(MovementFound { plants, grown_at, days, answer: rules.ask(&question) })
    }

    /// A page of the rules on file, in their order; of those that name a plant or any plant, where one is named.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub fn movement_page<'a>(
        rules: &'a Rules,
        host: &str,
        page_size: i32,
        token: &str,
    ) -> Result<Page<&'a Rule>, Error> {
        let asked = page::Asked::<usize>::read(page_size, token, format!("movement rules {host}"))?;
        let after = asked.after.unwrap_or(0);
        let wanted = host.trim().to_lowercase();
        let fits = |rule: &&Rule| {
            wanted.is_empty() || rule.hosts.iter().any(|h| h == ANY || h.to_lowercase().contains(&wanted))
        };
        let rows = rules.all().filter(fits).enumerate().skip(after).take(asked.size + 1).collect();
        Ok(asked.cut(rows, |(at, _)| at + 1).map(|(_, rule)| rule))
    }
}
