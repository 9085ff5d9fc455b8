//! The giver's statement on the health of an offer. It is the grower's own word and never called a certificate.
//! Its fields follow the model certificate of ISPM 12 where a hobby grower can know them. Answers are
//! three-valued, because "did not look" is not "no".

use serde::{Deserialize, Serialize};

use super::{Material, words};
use crate::{
    crop::Crop,
    field::Fields,
    limits::{HEALTH_ENTRIES_MAX, HEALTH_TEXT_CHARS_MAX, HEALTH_TEXT_TOTAL_MAX},
    place::AreaCode,
    time::{Date, YearMonth},
};

words! {
    /// Three-valued answer to a health question.
    Observed {
        /// The grower looked and saw it.
        Yes = "yes",
        /// The grower looked and did not see it.
        No = "no",
        /// The grower did not look, or does not know.
        Unknown = "unknown",
    }
}
words! {
    /// How the material is prepared for moving.
    Form {
        /// Wood without leaves.
        Leafless = "leafless",
        /// Wood with leaves.
        WithLeaves = "with_leaves",
        /// Plants with washed, bare roots.
        BareRoot = "bare_root",
        /// Plants with their growing medium.
        InMedium = "in_medium",
        /// Seed cleaned of pulp and husk.
        CleanedSeed = "cleaned_seed",
        /// Seed in its husk.
        SeedInHusk = "seed_in_husk",
        /// Fruit as picked.
        WholeFruit = "whole_fruit",
    }
}
words! {
    /// What the taker will do with the material.
    Purpose {
        /// Planting, sowing or grafting.
        Planting = "planting",
        /// Eating the fruit, then sowing its seed.
        EatingAndSowing = "eating_and_sowing",
    }
}

impl Material {
    /// Returns the forms in which the material can be offered.
    pub const fn forms(self) -> &'static [Form] {
        match self {
            Self::ScionWood | Self::Budwood | Self::Cutting => &[Form::Leafless, Form::WithLeaves],
            Self::Seed => &[Form::CleanedSeed, Form::SeedInHusk],
            Self::Seedling | Self::Rootstock | Self::GraftedPlant | Self::RootedPlant => {
                &[Form::BareRoot, Form::InMedium]
            }
            Self::FruitForSeed => &[Form::WholeFruit],
        }
    }
}

/// A place where the plant stood while growing, with months.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct GrownAt {
    /// Country or subdivision; `None` if unknown.
    pub area: Option<AreaCode>,
    /// First month at the place; `None` if not stated.
    pub from: Option<YearMonth>,
    /// Last month at the place; `None` if the plant is still there.
    pub to: Option<YearMonth>,
}

/// One treatment of the plant or material.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Treatment {
    /// Day of the treatment; `None` if not stated.
    pub date: Option<Date>,
    /// What was done.
    pub treatment: String,
    /// Active ingredient; may be empty.
    pub active_ingredient: String,
    /// True if an official did it; otherwise the offer marks it "not official".
    pub official: bool,
}

/// One laboratory or indexing test.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PestTest {
    /// Pest that the test looked for.
    pub pest: String,
    /// Test method; may be empty.
    pub method: String,
    /// Laboratory that did the test.
    pub laboratory: String,
    /// Day on which the sample was taken; `None` if not stated.
    pub sample_date: Option<Date>,
    /// Result in the report's words.
    pub result: String,
    /// Number of the report; may be empty.
    pub report_number: String,
}

/// An official document that the giver says exists.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// Kind of document.
    pub kind: String,
    /// Office that issued it.
    pub issuer: String,
    /// Number of the document.
    pub number: String,
    /// Day of issue; `None` if not stated.
    pub issued: Option<Date>,
    /// Last day of validity; `None` if not stated.
    pub valid_to: Option<Date>,
    /// Additional declaration on the document, word for word.
    pub additional_declaration: String,
}

/// A health statement that passed [`check`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Declaration {
    /// Places where the plant stood while growing; at least one entry, which may be unknown.
    pub grown_at: Vec<GrownAt>,
    /// Botanical name; the crop's name unless the giver typed another.
    pub botanical_name: String,
    /// Rootstock; required for a grafted plant.
    pub rootstock: String,
    /// Form in which the material is moved.
    pub form: Form,
    /// Intended use.
    pub purpose: Purpose,
    /// Tree that the material comes from, in the grower's words.
    pub source_tree: String,
    /// Day on which the grower last looked at the plant; `None` if not stated.
    pub last_looked: Option<Date>,
    /// Whether the grower saw symptoms of disease.
    pub symptoms: Observed,
    /// Description of the symptoms; required for "yes".
    pub symptoms_text: String,
    /// Whether the grower saw insects, mites or other pests.
    pub pests: Observed,
    /// Description of the pests; required for "yes".
    pub pests_text: String,
    /// Whether it was sprayed within 60 days; sprays may hide symptoms (ISPM 36).
    pub sprayed: Observed,
    /// Product used; required for "yes".
    pub sprayed_text: String,
    /// Treatments of the plant or material.
    pub treatments: Vec<Treatment>,
    /// Laboratory or indexing tests.
    pub tests: Vec<PestTest>,
    /// Official documents that the giver declares.
    pub documents: Vec<Document>,
    /// Remarks of the giver.
    pub note: String,
}

/// Unchecked form of [`GrownAt`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct GrownAtDraft {
    /// ISO 3166 code; empty if unknown.
    pub area_code: String,
    /// True if the giver does not know the place.
    pub unknown: bool,
    /// First month, as typed; empty if not stated.
    pub from_month: String,
    /// Last month, as typed; empty if not stated.
    pub to_month: String,
}

/// A health statement before [`check`]. A `None` answer is one that the giver did not give.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeclarationDraft {
    /// Places where the plant stood while growing.
    pub grown_at: Vec<GrownAtDraft>,
    /// Botanical name; if empty, the check fills in the crop's.
    pub botanical_name: String,
    /// Rootstock; required for a grafted plant.
    pub rootstock: String,
    /// Form in which the material is moved.
    pub form: Option<Form>,
    /// Intended use.
    pub purpose: Option<Purpose>,
    /// Tree that the material comes from, in the grower's words.
    pub source_tree: String,
    /// Day on which the grower last looked at the plant.
    pub last_looked: Option<Date>,
    /// Whether the grower saw symptoms of disease.
    pub symptoms: Option<Observed>,
    /// Description of the symptoms.
    pub symptoms_text: String,
    /// Whether the grower saw insects, mites or other pests.
    pub pests: Option<Observed>,
    /// Description of the pests.
    pub pests_text: String,
    /// Whether it was sprayed within 60 days.
    pub sprayed: Option<Observed>,
    /// Product used.
    pub sprayed_text: String,
    /// Treatments of the plant or material.
    pub treatments: Vec<Treatment>,
    /// Laboratory or indexing tests.
    pub tests: Vec<PestTest>,
    /// Official documents that the giver declares.
    pub documents: Vec<Document>,
    /// Remarks of the giver.
    pub note: String,
}

impl From<&Declaration> for DeclarationDraft {
    fn from(checked: &Declaration) -> Self {
        let Declaration {
            grown_at,
            botanical_name,
            rootstock,
            form,
            purpose,
            source_tree,
            last_looked,
            symptoms,
            symptoms_text,
            pests,
            pests_text,
            sprayed,
            sprayed_text,
            treatments,
            tests,
            documents,
            note,
        } = checked.clone();
        Self {
            grown_at: grown_at
                .iter()
                .map(|g| GrownAtDraft {
                    area_code: g.area.as_ref().map(|a| a.as_str().to_string()).unwrap_or_default(),
                    unknown: g.area.is_none(),
                    from_month: g.from.map(|m| m.to_string()).unwrap_or_default(),
                    to_month: g.to.map(|m| m.to_string()).unwrap_or_default(),
                })
                .collect(),
            botanical_name,
            rootstock,
            form: Some(form),
            purpose: Some(purpose),
            source_tree,
            last_looked,
            symptoms: Some(symptoms),
            symptoms_text,
            pests: Some(pests),
            pests_text,
            sprayed: Some(sprayed),
            sprayed_text,
            treatments,
            tests,
            documents,
            note,
        }
    }
}

struct Checker<'a> {
    fields: &'a mut Fields,
    path: &'a str,
}

impl Checker<'_> {
    fn at(&self, part: &str) -> String {
        format!("{}.{part}", self.path)
    }
    fn text(&mut self, part: &str, text: &str, min: usize) -> Option<String> {
        let at = self.at(part);
        if part == "note" {
            self.fields.text(&at, text, min, HEALTH_TEXT_CHARS_MAX)
        } else {
            self.fields.line(&at, text, min, HEALTH_TEXT_CHARS_MAX)
        }
    }
    fn wrong(&mut self, part: &str, expected: &str) {
        let at = self.at(part);
        self.fields.wrong(at, expected);
    }
    fn observed(
        &mut self,
        part: &str,
        answer: Option<Observed>,
        details: &str,
    ) -> Option<(Observed, String)> {
        let Some(answer) = answer else {
            self.wrong(part, "yes, no or unknown expected: say it, even if you did not look");
            return None;
        };
        let text_part = format!("{part}_text");
        let text = self.text(&text_part, details, 0)?;
        if answer == Observed::Yes && text.is_empty() {
            self.wrong(&text_part, "what was seen or used expected, as the answer is yes");
            return None;
        }
        Some((answer, text))
    }
    /// Returns true if a list is within its limit. A longer list is refused without checking its entries.
    fn few(&mut self, part: &str, count: usize) -> bool {
        if count > HEALTH_ENTRIES_MAX {
            self.wrong(part, &format!("at most {HEALTH_ENTRIES_MAX} entries expected, {count} found"));
        }
        count <= HEALTH_ENTRIES_MAX
    }
    fn past(&mut self, part: &str, date: Option<Date>, today: Date) {
        if let Some(date) = date.filter(|d| *d > today.plus_days(1)) {
            self.wrong(part, &format!("a day that is not in the future expected, {date} found"));
        }
    }
}

/// Checks a statement. Every defect goes to `fields`, with its field name under `path`.
pub fn check(
    fields: &mut Fields,
    path: &str,
    draft: &DeclarationDraft,
    material: Option<Material>,
    crop: &Crop,
    today: Date,
) -> Option<Declaration> {
    let mut check = Checker { fields, path };
    let grown_at = check_grown_at(&mut check, &draft.grown_at);
    let form = check_form(&mut check, draft.form, material);
    let purpose = draft.purpose.or_else(|| {
        check.wrong("purpose", "planting, or eating and sowing, expected");
        None
    });
    let rootstock = check.text("rootstock", &draft.rootstock, 0);
    if material == Some(Material::GraftedPlant) && draft.rootstock.trim().is_empty() {
        check.wrong("rootstock", "the rootstock of a grafted plant expected; \"unknown\" is an answer");
    }
    check.past("last_looked", draft.last_looked, today);
    let symptoms = check.observed("symptoms", draft.symptoms, &draft.symptoms_text);
    let pests = check.observed("pests", draft.pests, &draft.pests_text);
    let sprayed = check.observed("sprayed", draft.sprayed, &draft.sprayed_text);
    let treatments = check_treatments(&mut check, &draft.treatments, today);
    let tests = check_tests(&mut check, &draft.tests, today);
    let documents = check_documents(&mut check, &draft.documents);
    let botanical_name =
        if draft.botanical_name.trim().is_empty() { &crop.botanical_name } else { &draft.botanical_name };
    let botanical_name = check.text("botanical_name", botanical_name, 3);
    let source_tree = check.text("source_tree", &draft.source_tree, 0);
    let note = check.text("note", &draft.note, 0);
    let total = total_chars(draft);
    if total > HEALTH_TEXT_TOTAL_MAX {
        fields.wrong(
            path,
            format!("at most {HEALTH_TEXT_TOTAL_MAX} characters in all expected, {total} found"),
        );
    }
    let (symptoms, symptoms_text) = symptoms?;
    let (pests, pests_text) = pests?;
    let (sprayed, sprayed_text) = sprayed?;
    Some(Declaration {
        grown_at: grown_at?,
        botanical_name: botanical_name?,
        rootstock: rootstock?,
        form: form?,
        purpose: purpose?,
        source_tree: source_tree?,
        last_looked: draft.last_looked,
        symptoms,
        symptoms_text,
        pests,
        pests_text,
        sprayed,
        sprayed_text,
        treatments: treatments?,
        tests: tests?,
        documents: documents?,
        note: note?,
    })
}

/// Returns the total number of characters of all texts.
fn total_chars(draft: &DeclarationDraft) -> usize {
    let own = [
        &draft.botanical_name,
        &draft.rootstock,
        &draft.source_tree,
        &draft.symptoms_text,
        &draft.pests_text,
        &draft.sprayed_text,
        &draft.note,
    ];
    let treatments = draft.treatments.iter().flat_map(|t| [&t.treatment, &t.active_ingredient]);
    let tests =
        draft.tests.iter().flat_map(|t| [&t.pest, &t.method, &t.laboratory, &t.result, &t.report_number]);
    let documents =
        draft.documents.iter().flat_map(|d| [&d.kind, &d.issuer, &d.number, &d.additional_declaration]);
    own.into_iter().chain(treatments).chain(tests).chain(documents).map(|t| t.chars().count()).sum()
}

fn check_grown_at(check: &mut Checker<'_>, drafts: &[GrownAtDraft]) -> Option<Vec<GrownAt>> {
    if !check.few("grown_at", drafts.len()) {
        return None;
    }
    if drafts.is_empty() {
        check.wrong("grown_at", "where the plant was grown expected; \"unknown\" is an answer");
        return None;
    }
    let mut all = Vec::new();
    for (at, draft) in drafts.iter().enumerate() {
        let part = |field: &str| format!("grown_at[{at}].{field}");
        let area = match (draft.area_code.trim(), draft.unknown) {
            ("", true) => Some(None),
            ("", false) => {
                check.wrong(&part("area_code"), "a code of ISO 3166, or unknown, expected");
                None
            }
            (_, true) => {
                check.wrong(&part("unknown"), "either a code or unknown expected, not both");
                None
            }
            (code, false) => AreaCode::parse(code)
                .map_err(|expected| check.wrong(&part("area_code"), &expected))
                .ok()
                .map(Some),
        };
        let mut month = |field: &str, text: &str| -> Option<Option<YearMonth>> {
            if text.trim().is_empty() {
                return Some(None);
            }
            text.parse().map_err(|expected: String| check.wrong(&part(field), &expected)).ok().map(Some)
        };
        let (from, to) = (month("from_month", &draft.from_month), month("to_month", &draft.to_month));
        if let (Some(Some(from)), Some(Some(to))) = (from, to)
            && to < from
        {
            check.wrong(&part("to_month"), "not before the first month expected");
        }
        if let (Some(area), Some(from), Some(to)) = (area, from, to) {
            all.push(GrownAt { area, from, to });
        }
    }
    (all.len() == drafts.len()).then_some(all)
}

fn check_form(check: &mut Checker<'_>, form: Option<Form>, material: Option<Material>) -> Option<Form> {
    let possible = material.map_or(Form::ALL, Material::forms);
    match form {
        Some(form) if possible.contains(&form) => Some(form),
        Some(_) | None => {
            let names = possible.iter().map(|f| f.label()).collect::<Vec<_>>().join(" or ");
            check.wrong("form", &format!("{names} expected"));
            None
        }
    }
}

fn check_treatments(check: &mut Checker<'_>, drafts: &[Treatment], today: Date) -> Option<Vec<Treatment>> {
    if !check.few("treatments", drafts.len()) {
        return None;
    }
    let mut all = Vec::new();
    for (at, draft) in drafts.iter().enumerate() {
        check.past(&format!("treatments[{at}].date"), draft.date, today);
        let treatment = check.text(&format!("treatments[{at}].treatment"), &draft.treatment, 1);
        let active = check.text(&format!("treatments[{at}].active_ingredient"), &draft.active_ingredient, 0);
        if let (Some(treatment), Some(active_ingredient)) = (treatment, active) {
            all.push(Treatment { date: draft.date, treatment, active_ingredient, official: draft.official });
        }
    }
    (all.len() == drafts.len()).then_some(all)
}

fn check_tests(check: &mut Checker<'_>, drafts: &[PestTest], today: Date) -> Option<Vec<PestTest>> {
    if !check.few("tests", drafts.len()) {
        return None;
    }
    let mut all = Vec::new();
    for (at, draft) in drafts.iter().enumerate() {
        let mut text =
            |field: &str, value: &str, min: usize| check.text(&format!("tests[{at}].{field}"), value, min);
        let parts = (
            text("pest", &draft.pest, 1),
            text("method", &draft.method, 0),
            text("laboratory", &draft.laboratory, 1),
            text("result", &draft.result, 1),
            text("report_number", &draft.report_number, 0),
        );
        check.past(&format!("tests[{at}].sample_date"), draft.sample_date, today);
        if let (Some(pest), Some(method), Some(laboratory), Some(result), Some(report_number)) = parts {
            all.push(PestTest {
                pest,
                method,
                laboratory,
                sample_date: draft.sample_date,
                result,
                report_number,
            });
        }
    }
    (all.len() == drafts.len()).then_some(all)
}

fn check_documents(check: &mut Checker<'_>, drafts: &[Document]) -> Option<Vec<Document>> {
    if !check.few("documents", drafts.len()) {
        return None;
    }
    let mut all = Vec::new();
    for (at, draft) in drafts.iter().enumerate() {
        let mut text = |field: &str, value: &str, min: usize| {
            check.text(&format!("documents[{at}].{field}"), value, min)
        };
        let parts = (
            text("document_kind", &draft.kind, 1),
            text("issuer", &draft.issuer, 1),
            text("number", &draft.number, 1),
            text("additional_declaration", &draft.additional_declaration, 0),
        );
        if let (Some(issued), Some(valid_to)) = (draft.issued, draft.valid_to)
            && valid_to < issued
        {
            check.wrong(&format!("documents[{at}].valid_to"), "not before the day of issue expected");
        }
        if let (Some(kind), Some(issuer), Some(number), Some(additional_declaration)) = parts {
            all.push(Document {
                kind,
                issuer,
                number,
                issued: draft.issued,
                valid_to: draft.valid_to,
                additional_declaration,
            });
        }
    }
    (all.len() == drafts.len()).then_some(all)
}
