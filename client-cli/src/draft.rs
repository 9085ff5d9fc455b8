//! The form of an offer: its options, its questions, and how they become a draft. Only this file names the fields of an
//! offer. The `///` comments on [`DraftArguments`] are the help text.

use clap::Args;
use scionary_domain::{
    offer::{Material, health::Form},
    place::AreaCode,
};
use scionary_proto::v1;

use crate::{error::Failure, prompt::ask, words};

/// What you offer
#[derive(Debug, Clone, Default, Args)]
pub struct DraftArguments {
    /// The cultivar's name or id
    #[arg(long, value_name = "NAME")]
    pub cultivar: Option<String>,
    /// The code on the tag of your lot that you take it from
    #[arg(long, value_name = "CODE")]
    pub lot: Option<String>,
    /// Show it only to members of this club: the club's id
    #[arg(long, value_name = "CLUB")]
    pub club: Option<String>,
    /// How and when the holder consented, if variety rights or a patent protect the cultivar
    #[arg(long, value_name = "TEXT")]
    pub holder_consent: Option<String>,
    /// The crop, if two crops share the name
    #[arg(long)]
    pub crop: Option<String>,
    /// These are seedlings of this cultivar, and no one knows what they are
    #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
    pub unknown_seedling: Option<bool>,
    /// The material: scion-wood, budwood, seed, seedling, rootstock, grafted-plant or fruit-for-seed
    #[arg(long, value_parser = words::parse_material)]
    pub material: Option<v1::Material>,
    /// How many or how much
    #[arg(long)]
    pub quantity: Option<i32>,
    /// The unit: sticks, seeds, plants, fruits or grams; the usual one if left out
    #[arg(long, value_parser = words::parse_unit)]
    pub unit: Option<v1::QuantityUnit>,
    /// The terms: swap, gift or postage-only
    #[arg(long, value_parser = words::parse_terms)]
    pub terms: Option<v1::Terms>,
    /// First day it is available, such as 2027-03-31; today if left out
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub from: Option<v1::CalendarDate>,
    /// Last day it is available
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// The day you cut, picked or extracted it; leave it out if you cut to order
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub taken_on: Option<v1::CalendarDate>,
    /// How you keep it: a key that `scionary crop show` lists under keeping
    #[arg(long, value_name = "KEY")]
    pub kept: Option<String>,
    /// Accept claims without asking you while something is left; needs --contact
    #[arg(long, num_args = 0..=1, default_missing_value = "true", value_name = "true|false")]
    pub auto_accept: Option<bool>,
    /// How to reach you, for automatic accepts; only those takers see it
    #[arg(long, value_name = "TEXT")]
    pub contact: Option<String>,
    /// Where: a grid code (Open Location Code), or latitude,longitude; stored only to about 5 km
    #[arg(long, value_parser = words::parse_grid, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// Country or state code such as AU-QLD (ISO 3166)
    #[arg(long, value_name = "CODE")]
    pub area: Option<String>,
    /// What you call the place, such as a district
    #[arg(long, value_name = "TEXT")]
    pub place_label: Option<String>,
    /// How to hand over: collect, meeting, post; separate several with commas
    #[arg(long, value_delimiter = ',', value_parser = words::parse_hand_over)]
    pub by: Vec<v1::HandOver>,
    /// A note that everyone can read
    #[arg(long)]
    pub note: Option<String>,
    /// Health: where the plant grew, such as AU-QLD or AU-QLD:2019-05..2024-08; or unknown
    #[arg(long, value_name = "CODE[:FROM..TO]")]
    pub grown_at: Vec<String>,
    /// Health: how it is prepared: leafless, with-leaves, bare-root, in-medium, cleaned-seed, seed-in-husk, whole-fruit
    #[arg(long, value_parser = words::parse_form)]
    pub form: Option<v1::MaterialForm>,
    /// Health: its purpose: planting or eating-and-sowing
    #[arg(long, value_parser = words::parse_purpose)]
    pub purpose: Option<v1::Purpose>,
    /// Health: symptoms of disease: no, unknown, or yes:WHAT
    #[arg(long, value_parser = parse_seen, value_name = "ANSWER")]
    pub symptoms: Option<Seen>,
    /// Health: insects, mites or other pests: no, unknown, or yes:WHAT
    #[arg(long, value_parser = parse_seen, value_name = "ANSWER")]
    pub pests: Option<Seen>,
    /// Health: sprayed within 60 days: no, unknown, or yes:WITH WHAT
    #[arg(long, value_parser = parse_seen, value_name = "ANSWER")]
    pub sprayed: Option<Seen>,
    /// Health: the tree it comes from, in your words
    #[arg(long, value_name = "TEXT")]
    pub source_tree: Option<String>,
    /// Health: the rootstock of a grafted plant
    #[arg(long, value_name = "TEXT")]
    pub rootstock: Option<String>,
    /// Health: the day you last looked at the plants
    #[arg(long, value_parser = words::parse_day, value_name = "DAY")]
    pub last_looked: Option<v1::CalendarDate>,
    /// Health: a treatment, as DAY;WHAT;ACTIVE INGREDIENT;official or self
    #[arg(long, value_name = "PARTS")]
    pub treatment: Vec<String>,
    /// Health: a test, as PEST;METHOD;LABORATORY;SAMPLE DAY;RESULT;REPORT NUMBER
    #[arg(long, value_name = "PARTS")]
    pub test: Vec<String>,
    /// Health: an official document, as KIND;ISSUER;NUMBER;ISSUED;VALID TO;ADDITIONAL DECLARATION
    #[arg(long, value_name = "PARTS")]
    pub document: Vec<String>,
    /// Health: anything else the taker should know
    #[arg(long, value_name = "TEXT")]
    pub health_note: Option<String>,
}

/// A yes, no or unknown answer, with a description.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// The answer: yes, no or unknown.
    pub answer: v1::Observed,
    /// What the giver saw; may be empty.
    pub text: String,
}

/// Parses `no`, `unknown` or `yes:what`.
///
/// # Errors
/// Returns the accepted forms when the word before the colon is none of the three.
pub(crate) fn parse_seen(text: &str) -> Result<Seen, String> {
    let (word, rest) = text.split_once(':').unwrap_or((text, ""));
    let answer =
        words::parse_observed(word).map_err(|_| "no, unknown, or yes:WHAT YOU SAW expected".to_string())?;
    Ok(Seen { answer, text: rest.trim().to_string() })
}

fn optional_day(text: &str) -> Result<Option<v1::CalendarDate>, String> {
    if text.trim().is_empty() { Ok(None) } else { words::parse_day(text).map(Some) }
}

/// Parses `CODE`, `CODE:FROM..TO` or `unknown`; the months are passed on unchecked, and the server checks them.
fn grown_at(text: &str) -> v1::GrownAt {
    if text.trim().eq_ignore_ascii_case("unknown") {
        return v1::GrownAt { unknown: true, ..Default::default() };
    }
    let (area, months) = text.split_once(':').unwrap_or((text, ""));
    let (from, to) = months.split_once("..").unwrap_or((months, ""));
    v1::GrownAt {
        area_code: area.trim().into(),
        unknown: false,
        from_month: from.trim().into(),
        to_month: to.trim().into(),
    }
}

fn parts(text: &str) -> Vec<String> {
    let mut parts: Vec<String> = text.split(';').map(|p| p.trim().to_string()).collect();
    parts.resize(6.max(parts.len()), String::new());
    parts
}

fn treatment(text: &str) -> Result<v1::Treatment, String> {
    let [day, what, active, who, ..] =
        parts(text).try_into().map(|p: [String; 6]| p).map_err(|_| too_many(text))?;
    Ok(v1::Treatment {
        date: optional_day(&day)?,
        treatment: what,
        active_ingredient: active,
        official: who.eq_ignore_ascii_case("official"),
    })
}

fn test(text: &str) -> Result<v1::PestTest, String> {
    let [pest, method, laboratory, day, result, report_number] =
        parts(text).try_into().map(|p: [String; 6]| p).map_err(|_| too_many(text))?;
    Ok(v1::PestTest { pest, method, laboratory, sample_date: optional_day(&day)?, result, report_number })
}

fn document(text: &str) -> Result<v1::OfficialDocument, String> {
    let [document_kind, issuer, number, issued, valid_to, additional_declaration] =
        parts(text).try_into().map(|p: [String; 6]| p).map_err(|_| too_many(text))?;
    Ok(v1::OfficialDocument {
        document_kind,
        issuer,
        number,
        issued: optional_day(&issued)?,
        valid_to: optional_day(&valid_to)?,
        additional_declaration,
    })
}

fn too_many(text: &str) -> String {
    format!("at most six parts separated by semicolons expected, {text:?} found")
}

fn all<T>(
    option: &str,
    texts: &[String],
    read: impl Fn(&str) -> Result<T, String>,
) -> Result<Vec<T>, Failure> {
    texts.iter().map(|t| read(t).map_err(|e| Failure::usage(format!("--{option}: {e}")))).collect()
}

/// Returns the forms that a material can have, as people type them; all forms for an unknown material.
fn forms(material: Option<v1::Material>) -> Vec<String> {
    let known = material.and_then(|m| Material::from_word(&words::material(m).replace(' ', "_")));
    known.map_or(Form::ALL, Material::forms).iter().map(|f| f.label().replace(' ', "-")).collect()
}

/// Parses a [`Seen`] and requires a description after `yes`.
fn parse_seen_whole(text: &str) -> Result<Seen, String> {
    match parse_seen(text)? {
        Seen { answer: v1::Observed::Yes, text } if text.is_empty() => {
            Err("say what, such as yes:scale insects on two plants".into())
        }
        seen => Ok(seen),
    }
}

/// Asks for every value a new offer needs that was not typed. The caller asks for the cultivar first.
pub(crate) fn complete(a: &mut DraftArguments) -> Result<(), Failure> {
    let some = |text: &str| {
        if text.is_empty() { Err("something expected".to_string()) } else { Ok(text.to_string()) }
    };
    if a.material.is_none() {
        a.material = Some(ask(
            "Material (scion-wood, budwood, seed, seedling, rootstock, grafted-plant, fruit-for-seed)",
            None,
            words::parse_material,
        )?);
    }
    if a.quantity.is_none() {
        a.quantity = Some(ask("How many", None, |t| match t.parse::<i32>() {
            Ok(n) if n > 0 => Ok(n),
            Ok(_) | Err(_) => Err("a whole number from 1 expected".to_string()),
        })?);
    }
    if a.terms.is_none() {
        a.terms = Some(ask("Terms (swap, gift, postage-only)", Some("gift"), words::parse_terms)?);
    }
    if a.until.is_none() {
        a.until = Some(ask("Last day it can be had, such as 2027-03-31", None, words::parse_day)?);
    }
    if a.place.is_none() {
        a.place = Some(ask(
            "Where can it be fetched? Latitude and longitude from any map, such as -27.47,153.02 (kept only to about 5 km)",
            None,
            words::parse_grid,
        )?);
    }
    if a.place_label.is_none() {
        a.place_label =
            Some(ask("What do you call the place (district, town; may stay empty)", None, |t| {
                Ok(t.to_string())
            })?);
    }
    if a.by.is_empty() {
        a.by = ask("Handed over by (collect, meeting, post; with commas)", Some("collect"), |t| {
            t.split(',').map(words::parse_hand_over).collect()
        })?;
    }
    if a.note.is_none() {
        a.note = Some(ask(
            "Anything to say about it? Everyone can read it, so do not say how to reach you here: a taker sees that once you accept (may stay empty)",
            None,
            |t| Ok(t.to_string()),
        )?);
    }
    if a.grown_at.is_empty() {
        let usual = a.area.clone().unwrap_or_else(|| "unknown".into());
        let question = "Country or state it was grown in, as a code (AU, AU-QLD, US-FL …), or unknown";
        a.grown_at = vec![ask(question, Some(&usual), |t| {
            if t.eq_ignore_ascii_case("unknown") {
                return Ok(t.to_string());
            }
            let area = t.split(':').next().unwrap_or(t);
            AreaCode::parse(area).map(|_| t.to_string())
        })?];
    }
    if a.form.is_none() {
        let choices = forms(a.material);
        a.form = match choices.as_slice() {
            [only] => words::parse_form(only).ok(),
            several => {
                let question = format!("How is it prepared ({})", several.join(", "));
                let check = |t: &str| {
                    let form = words::parse_form(t)?;
                    let fits = several.contains(&words::form(form).replace(' ', "-"));
                    if fits { Ok(form) } else { Err(format!("one of {} expected", several.join(", "))) }
                };
                Some(ask(&question, None, check)?)
            }
        };
    }
    if a.purpose.is_none() {
        a.purpose = Some(ask("For (planting, eating-and-sowing)", Some("planting"), words::parse_purpose)?);
    }
    if a.material == Some(v1::Material::GraftedPlant) && a.rootstock.is_none() {
        a.rootstock = Some(ask("On which rootstock", Some("unknown"), some)?);
    }
    let seen = |question: &str| ask(question, None, parse_seen_whole);
    if a.symptoms.is_none() {
        a.symptoms = Some(seen("Symptoms of disease seen (no, unknown, or yes:WHAT)")?);
    }
    if a.pests.is_none() {
        a.pests = Some(seen("Insects, mites or other pests seen (no, unknown, or yes:WHAT)")?);
    }
    if a.sprayed.is_none() {
        a.sprayed = Some(seen("Sprayed within 60 days (no, unknown, or yes:WITH WHAT)")?);
    }
    Ok(())
}

/// Writes the typed values over an offer's draft, and returns the names of the typed fields for the update mask.
pub(crate) fn apply(a: DraftArguments, draft: &mut v1::OfferDraft) -> Result<Vec<String>, Failure> {
    let mut typed: Vec<&str> = Vec::new();
    let DraftArguments {
        cultivar,
        lot,
        club,
        holder_consent,
        crop,
        unknown_seedling,
        material,
        quantity,
        unit,
        terms,
        from,
        until,
        taken_on,
        kept,
        auto_accept,
        contact,
        place,
        area,
        place_label,
        by,
        note,
        grown_at: grown,
        form,
        purpose,
        symptoms,
        pests,
        sprayed,
        source_tree,
        rootstock,
        last_looked,
        treatment: treatments,
        test: tests,
        document: documents,
        health_note,
    } = a;
    if let Some(cultivar) = cultivar {
        draft.cultivar = cultivar;
        draft.crop = crop.unwrap_or_default();
        typed.push("cultivar");
    }
    if let Some(unknown) = unknown_seedling {
        draft.unknown_seedling = unknown;
        typed.push("unknown_seedling");
    }
    if let Some(material) = material {
        draft.set_material(material);
        typed.push("material");
    }
    if let Some(quantity) = quantity {
        draft.quantity = quantity;
        typed.push("quantity");
    }
    if let Some(unit) = unit {
        draft.set_unit(unit);
        typed.push("unit");
    }
    if let Some(terms) = terms {
        draft.set_terms(terms);
        typed.push("terms");
    }
    if let Some(day) = from {
        draft.available_from = Some(day);
        typed.push("available_from");
    }
    if let Some(day) = until {
        draft.available_until = Some(day);
        typed.push("available_until");
    }
    if let Some(day) = taken_on {
        draft.taken_on = Some(day);
        typed.push("taken_on");
    }
    if let Some(auto) = auto_accept {
        draft.auto_accept = auto;
        typed.push("auto_accept");
    }
    if let Some(contact) = contact {
        draft.contact = contact;
        typed.push("contact");
    }
    if let Some(lot) = lot {
        draft.lot = lot;
        typed.push("lot");
    }
    if let Some(club) = club {
        draft.club = club;
        typed.push("club");
    }
    if let Some(consent) = holder_consent {
        draft.holder_consent = consent;
        typed.push("holder_consent");
    }
    if let Some(key) = kept {
        draft.kept_how = key;
        typed.push("kept_how");
    }
    if place.is_some() || area.is_some() || place_label.is_some() {
        let old = draft.place.get_or_insert_default();
        if let Some(grid) = place {
            old.grid_code = grid;
        }
        if let Some(area) = area {
            old.area_code = area;
        }
        if let Some(label) = place_label {
            old.label = label;
        }
        typed.push("place");
    }
    if !by.is_empty() {
        draft.hand_over = by.into_iter().map(i32::from).collect();
        typed.push("hand_over");
    }
    if let Some(note) = note {
        draft.note = note;
        typed.push("note");
    }
    let mut health_typed = false;
    let health = draft.health.get_or_insert_default();
    let mut touch = || health_typed = true;
    if !grown.is_empty() {
        health.grown_at = grown.iter().map(|g| grown_at(g)).collect();
        touch();
    }
    if let Some(form) = form {
        health.set_form(form);
        touch();
    }
    if let Some(purpose) = purpose {
        health.set_purpose(purpose);
        touch();
    }
    if let Some(Seen { answer, text }) = symptoms {
        health.set_symptoms(answer);
        health.symptoms_text = text;
        touch();
    }
    if let Some(Seen { answer, text }) = pests {
        health.set_pests(answer);
        health.pests_text = text;
        touch();
    }
    if let Some(Seen { answer, text }) = sprayed {
        health.set_sprayed(answer);
        health.sprayed_text = text;
        touch();
    }
    if let Some(tree) = source_tree {
        health.source_tree = tree;
        touch();
    }
    if let Some(rootstock) = rootstock {
        health.rootstock = rootstock;
        touch();
    }
    if let Some(day) = last_looked {
        health.last_looked = Some(day);
        touch();
    }
    if !treatments.is_empty() {
        health.treatments = all("treatment", &treatments, treatment)?;
        touch();
    }
    if !tests.is_empty() {
        health.tests = all("test", &tests, test)?;
        touch();
    }
    if !documents.is_empty() {
        health.documents = all("document", &documents, document)?;
        touch();
    }
    if let Some(note) = health_note {
        health.note = note;
        touch();
    }
    if health_typed {
        typed.push("health");
    }
    Ok(typed.into_iter().map(str::to_string).collect())
}

/// Returns the option of an offer's field, given its path below the offer and its whole path: `health.pests_text` is
/// `--pests`.
pub(crate) fn option(own: &str, path: &str) -> String {
    let own = own.strip_prefix("health.").unwrap_or(own);
    let first = own.split(['.', '[']).next().unwrap_or(own);
    let option = match (first, path) {
        ("place", p) if p.ends_with("area_code") => "area",
        ("place", p) if p.ends_with("label") => "place-label",
        ("note", p) if p.contains("health") => "health-note",
        ("available_from", _) => "from",
        ("available_until", _) => "until",
        ("hand_over", _) => "by",
        ("kept_how", _) => "kept",
        ("symptoms_text", _) => "symptoms",
        ("pests_text", _) => "pests",
        ("sprayed_text", _) => "sprayed",
        ("treatments", _) => "treatment",
        ("tests", _) => "test",
        ("documents", _) => "document",
        (other, _) => other,
    };
    let part = own.rsplit_once('.').map(|(_, part)| part).filter(|_| own.contains('[')).unwrap_or_default();
    let part = if part.is_empty() { String::new() } else { format!(" ({})", part.replace('_', " ")) };
    format!("--{}{part}", option.replace('_', "-"))
}
