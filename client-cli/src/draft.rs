//! The form of an offer: its options, its questions, and how they become a draft. Only this file names the fields of an
//! offer. The `///` comments on [`DraftArguments`] are the help text.

use clap::Args;
use scionary_domain::offer::{Material, health::Form};
use scionary_proto::v1;

use crate::{
    error::Failure,
    prompt::{self, ask},
    words,
};

/// What you offer
#[derive(Debug, Clone, Default, Args)]
pub struct DraftArguments {
    /// The cultivar, as you heard its name
    #[arg(long, value_name = "NAME")]
    pub cultivar: Option<String>,
    /// The code on the tag of your lot that you take it from
    #[arg(long, value_name = "CODE")]
    pub lot: Option<String>,
    /// Show it only to members of this club: its name, or words of it
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
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub from: Option<v1::CalendarDate>,
    /// Last day it is available
    #[arg(long, value_parser = crate::day::coming, value_name = "DAY")]
    pub until: Option<v1::CalendarDate>,
    /// The day you cut, picked or extracted it; leave it out if you cut to order
    #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
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
    /// Health: you looked, and there is no sign of disease, no pests, and it was not sprayed within 60 days
    #[arg(long, conflicts_with_all = ["symptoms", "pests", "sprayed"])]
    pub looked_fine: bool,
    /// Health: the tree it comes from, in your words
    #[arg(long, value_name = "TEXT")]
    pub source_tree: Option<String>,
    /// Health: the rootstock of a grafted plant
    #[arg(long, value_name = "TEXT")]
    pub rootstock: Option<String>,
    /// Health: the day you last looked at the plants
    #[arg(long, value_parser = crate::day::past, value_name = "DAY")]
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
    if text.trim().is_empty() { Ok(None) } else { crate::day::coming(text).map(Some) }
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
pub(crate) fn forms(material: Option<v1::Material>) -> Vec<String> {
    let known = material.and_then(|m| Material::from_word(&words::material(m).replace(' ', "_")));
    known.map_or(Form::ALL, Material::forms).iter().map(|f| f.label().replace(' ', "-")).collect()
}

/// Parses an answer at a prompt: `no`, `unknown`, or a description, which means yes.
fn parse_seen_whole(text: &str) -> Result<Seen, String> {
    match parse_seen(text) {
        Ok(Seen { answer: v1::Observed::Yes, text }) if text.is_empty() => {
            Err("say what, such as: scale insects on two plants".into())
        }
        Ok(seen) => Ok(seen),
        Err(_) if text.chars().count() < 3 => Err("type no, unknown, or what you saw".into()),
        Err(_) => Ok(Seen { answer: v1::Observed::Yes, text: text.trim().into() }),
    }
}

/// Days that an offer of a material is open, if nothing else is said: common practice, and shorter than it keeps.
fn usual_days(material: v1::Material) -> i64 {
    match material {
        v1::Material::FruitForSeed => 7,
        v1::Material::Seed | v1::Material::ScionWood | v1::Material::Budwood | v1::Material::Cutting => 14,
        v1::Material::Seedling
        | v1::Material::Rootstock
        | v1::Material::GraftedPlant
        | v1::Material::RootedPlant => 60,
        v1::Material::Unspecified => 30,
    }
}

/// The materials in the order in which they are offered to choose from.
const MATERIALS: [v1::Material; 9] = [
    v1::Material::ScionWood,
    v1::Material::Budwood,
    v1::Material::Seed,
    v1::Material::Seedling,
    v1::Material::Rootstock,
    v1::Material::GraftedPlant,
    v1::Material::FruitForSeed,
    v1::Material::Cutting,
    v1::Material::RootedPlant,
];

/// Fills in what the member's profile and last offer say, for values that were not typed.
pub(crate) fn remember(a: &mut DraftArguments, profile: &v1::Profile, last: Option<&v1::Offer>) {
    if let Some(home) = profile.home.as_ref().filter(|_| a.place.is_none()) {
        a.place = Some(home.grid_code.clone());
        a.area.get_or_insert(home.area_code.clone());
        a.place_label.get_or_insert(home.label.clone());
    }
    if let Some(area) = a.area.clone().filter(|area| a.grown_at.is_empty() && !area.is_empty()) {
        a.grown_at = vec![area];
    }
    if a.terms.is_none() {
        a.terms = Some(last.map_or(v1::Terms::Gift, v1::Offer::terms));
    }
    if a.by.is_empty() {
        a.by = last.map_or_else(|| vec![v1::HandOver::Collect], |o| o.hand_over().collect());
    }
    if a.looked_fine {
        let no = || Seen { answer: v1::Observed::No, text: String::new() };
        a.symptoms.get_or_insert_with(no);
        a.pests.get_or_insert_with(no);
        a.sprayed.get_or_insert_with(no);
    }
    if let Some(material) = a.material {
        if a.until.is_none() {
            a.until = crate::day::coming(&format!("in {} days", usual_days(material))).ok();
        }
        // A material of one form needs no answer.
        if let ([only], None) = (forms(Some(material)).as_slice(), a.form) {
            a.form = words::parse_form(only).ok();
        }
    }
    a.purpose.get_or_insert(v1::Purpose::Planting);
}

/// Asks for what cannot be guessed. The caller asks for the cultivar first, and shows the offer before it goes out.
pub(crate) fn complete(a: &mut DraftArguments) -> Result<(), Failure> {
    if a.material.is_none() || a.form.is_none() {
        let all: Vec<(v1::Material, String)> = MATERIALS
            .iter()
            .filter(|m| a.material.is_none_or(|typed| typed == **m))
            .flat_map(|m| forms(Some(*m)).into_iter().map(|form| (*m, form)))
            .filter(|(_, form)| a.form.is_none_or(|typed| words::parse_form(form) == Ok(typed)))
            .collect();
        let at = match all.as_slice() {
            [_] => 0,
            several => {
                let name = |(material, form): &(v1::Material, String)| {
                    format!(
                        "{}, {}",
                        words::material(*material),
                        form.replace("in-medium", "in its pot or bag").replace('-', " ")
                    )
                };
                prompt::pick("What is it?", &several.iter().map(name).collect::<Vec<_>>(), None)?
            }
        };
        if let Some((material, form)) = all.get(at) {
            a.material = Some(*material);
            a.form = words::parse_form(form).ok();
        }
    }
    if a.quantity.is_none() {
        a.quantity = Some(ask("How many", None, |t| match t.parse::<i32>() {
            Ok(n) if n > 0 => Ok(n),
            Ok(_) | Err(_) => Err("type a whole number, such as 5".to_string()),
        })?);
    }
    if a.material == Some(v1::Material::GraftedPlant) && a.rootstock.is_none() {
        a.rootstock = Some(ask("On which rootstock", Some("unknown"), |t| Ok(t.to_string()))?);
    }
    if a.symptoms.is_none() || a.pests.is_none() || a.sprayed.is_none() {
        health(a)?;
    }
    Ok(())
}

/// The answer of someone who did not look.
pub(crate) fn unknown() -> Seen {
    Seen { answer: v1::Observed::Unknown, text: String::new() }
}

/// Asks for the giver's statement on the health of what they give.
fn health(a: &mut DraftArguments) -> Result<(), Failure> {
    let choices = [
        "I looked: no sign of disease, no pests, not sprayed within 60 days".to_string(),
        "I saw something, or it was sprayed".to_string(),
        "I did not look".to_string(),
    ];
    let simple = |answer| Seen { answer, text: String::new() };
    let seen = |question: &str| ask(question, Some("no"), parse_seen_whole);
    let all = match prompt::pick("Its health?", &choices, None)? {
        0 => [simple(v1::Observed::No), simple(v1::Observed::No), simple(v1::Observed::No)],
        2 => [simple(v1::Observed::Unknown), simple(v1::Observed::Unknown), simple(v1::Observed::Unknown)],
        _ => [
            seen("Signs of disease: no, unknown, or what you saw")?,
            seen("Insects, mites or other pests: no, unknown, or what you saw")?,
            seen("Sprayed within 60 days: no, unknown, or with what")?,
        ],
    };
    let [symptoms, pests, sprayed] = all;
    a.symptoms.get_or_insert(symptoms);
    a.pests.get_or_insert(pests);
    a.sprayed.get_or_insert(sprayed);
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
        looked_fine: _,
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
