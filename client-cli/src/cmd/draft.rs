//! From what was typed (or is asked for) to an offer's draft.

use scionary_domain::{
    offer::{Material, health::Form},
    place::AreaCode,
};
use scionary_proto::v1;

use crate::{
    args::{DraftArguments, Seen, parse_seen},
    error::Failure,
    prompt::ask,
    words,
};

fn optional_day(text: &str) -> Result<Option<v1::CalendarDate>, String> {
    if text.trim().is_empty() { Ok(None) } else { words::parse_day(text).map(Some) }
}

/// `CODE`, `CODE:FROM..TO`, or `unknown`.
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

/// The forms that a material can have, as people type them.
fn forms(material: Option<v1::Material>) -> Vec<String> {
    let known = material.and_then(|m| Material::from_word(&words::material(m).replace(' ', "_")));
    known.map_or(Form::ALL, Material::forms).iter().map(|f| f.label().replace(' ', "-")).collect()
}

/// A three-valued answer, with what was seen where it is yes.
fn parse_seen_whole(text: &str) -> Result<Seen, String> {
    match parse_seen(text)? {
        Seen { answer: v1::Observed::Yes, text } if text.is_empty() => {
            Err("say what, such as yes:scale insects on two plants".into())
        }
        seen => Ok(seen),
    }
}

/// Asks for what a new offer needs and was not typed. The cultivar is asked for before this.
pub(super) fn complete(a: &mut DraftArguments) -> Result<(), Failure> {
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

/// Puts what was typed over an offer's draft. The names of the fields that were typed.
pub(super) fn apply(a: DraftArguments, draft: &mut v1::OfferDraft) -> Result<Vec<String>, Failure> {
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
