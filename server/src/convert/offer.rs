//! Offers on the wire.

use scionary_app::{
    App, Error,
    offers::{ChangeOffer, Changed, CreateOffer, SearchOffers, Shown, WithdrawOffer},
};
use scionary_domain::{
    field::FieldError,
    ids::OfferId,
    limits,
    movement::Verdict,
    offer::{
        Contents, Draft, HandOver, MOVEMENT_NOTICE, Material, State, Terms, Unit,
        health::{
            Declaration, DeclarationDraft, Document, Form, GrownAtDraft, Observed, PestTest, Purpose,
            Treatment,
        },
    },
    place::Place,
    time::Date,
};
use scionary_proto::v1;
use scionary_store::OfferOrder;

use super::{date, read_date, seen, timestamp};
use crate::mask::Change;

pairs!(
    write_material,
    read_material,
    Material,
    Material {
        ScionWood,
        Budwood,
        Seed,
        Seedling,
        Rootstock,
        GraftedPlant,
        FruitForSeed,
        Cutting,
        RootedPlant
    }
);
pairs!(write_unit, read_unit, QuantityUnit, Unit { Sticks, Seeds, Plants, Fruits, Grams });
pairs!(write_terms, read_terms, Terms, Terms { Swap, Gift, PostageOnly });
pairs!(write_hand_over, read_hand_over, HandOver, HandOver { Collect, Meeting, Post });
pairs!(
    write_form,
    read_form,
    MaterialForm,
    Form { Leafless, WithLeaves, BareRoot, InMedium, CleanedSeed, SeedInHusk, WholeFruit }
);
pairs!(write_purpose, read_purpose, Purpose, Purpose { Planting, EatingAndSowing });
pairs!(write_observed, read_observed, Observed, Observed { Yes, No, Unknown });

/// Reads a list of choices. No one has a reason to name more than there are: a longer list is refused before
/// it is looked into, and one that is named twice counts once.
pub(super) fn all<T: Ord>(
    field: &str,
    values: &[i32],
    read: impl Fn(&str, i32, &mut Vec<FieldError>) -> Option<T>,
    wrong: &mut Vec<FieldError>,
) -> Vec<T> {
    if values.len() > limits::CHOICES_MAX {
        wrong.push(FieldError::new(
            field,
            format!("at most {} expected, {} found", limits::CHOICES_MAX, values.len()),
        ));
        return Vec::new();
    }
    let mut read_all: Vec<T> = values
        .iter()
        .enumerate()
        .filter_map(|(at, value)| {
            let path = format!("{field}[{at}]");
            let before = wrong.len();
            let read = read(&path, *value, wrong);
            if read.is_none() && wrong.len() == before {
                wrong.push(FieldError::new(path, "a value other than unspecified expected"));
            }
            read
        })
        .collect();
    read_all.sort_unstable();
    read_all.dedup();
    read_all
}

fn read_health(wire: v1::HealthDeclaration, wrong: &mut Vec<FieldError>) -> DeclarationDraft {
    let at = |part: &str| format!("offer.health.{part}");
    let v1::HealthDeclaration {
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
    } = wire;
    DeclarationDraft {
        grown_at: grown_at
            .into_iter()
            .map(|g| GrownAtDraft {
                area_code: g.area_code,
                unknown: g.unknown,
                from_month: g.from_month,
                to_month: g.to_month,
            })
            .collect(),
        botanical_name,
        rootstock,
        form: read_form(&at("form"), form, wrong),
        purpose: read_purpose(&at("purpose"), purpose, wrong),
        source_tree,
        last_looked: read_date(&at("last_looked"), last_looked, wrong),
        symptoms: read_observed(&at("symptoms"), symptoms, wrong),
        symptoms_text,
        pests: read_observed(&at("pests"), pests, wrong),
        pests_text,
        sprayed: read_observed(&at("sprayed"), sprayed, wrong),
        sprayed_text,
        treatments: treatments
            .into_iter()
            .enumerate()
            .map(|(i, t)| Treatment {
                date: read_date(&at(&format!("treatments[{i}].date")), t.date, wrong),
                treatment: t.treatment,
                active_ingredient: t.active_ingredient,
                official: t.official,
            })
            .collect(),
        tests: tests
            .into_iter()
            .enumerate()
            .map(|(i, t)| PestTest {
                pest: t.pest,
                method: t.method,
                laboratory: t.laboratory,
                sample_date: read_date(&at(&format!("tests[{i}].sample_date")), t.sample_date, wrong),
                result: t.result,
                report_number: t.report_number,
            })
            .collect(),
        documents: documents
            .into_iter()
            .enumerate()
            .map(|(i, d)| Document {
                kind: d.document_kind,
                issuer: d.issuer,
                number: d.number,
                issued: read_date(&at(&format!("documents[{i}].issued")), d.issued, wrong),
                valid_to: read_date(&at(&format!("documents[{i}].valid_to")), d.valid_to, wrong),
                additional_declaration: d.additional_declaration,
            })
            .collect(),
        note,
    }
}

/// What a draft names, to be looked up.
struct Named {
    cultivar: String,
    crop: String,
    lot: String,
    club: String,
}

fn read_draft(wire: v1::OfferDraft, wrong: &mut Vec<FieldError>) -> (Named, Draft) {
    let v1::OfferDraft {
        cultivar,
        crop,
        unknown_seedling,
        material,
        quantity,
        unit,
        terms,
        available_from,
        available_until,
        place,
        hand_over,
        note,
        health,
        taken_on,
        kept_how,
        auto_accept,
        contact,
        lot,
        club,
        holder_consent,
    } = wire;
    let v1::Place { area_code, grid_code, label } = place.unwrap_or_default();
    let draft = Draft {
        unknown_seedling,
        material: read_material("offer.material", material, wrong),
        quantity,
        unit: read_unit("offer.unit", unit, wrong),
        terms: read_terms("offer.terms", terms, wrong),
        available_from: read_date("offer.available_from", available_from, wrong),
        available_until: read_date("offer.available_until", available_until, wrong),
        taken_on: read_date("offer.taken_on", taken_on, wrong),
        kept_how,
        area_code,
        grid_code,
        place_label: label,
        hand_over: all("offer.hand_over", &hand_over, read_hand_over, wrong),
        note,
        health: read_health(health.unwrap_or_default(), wrong),
        auto_accept,
        contact,
        lot: None,
        club: None,
        holder_consent,
    };
    (Named { cultivar, crop, lot, club }, draft)
}

fn fine<T>(value: T, wrong: Vec<FieldError>) -> Result<T, Error> {
    if wrong.is_empty() { Ok(value) } else { Err(Error::Invalid(wrong)) }
}

/// A request to post.
///
/// # Errors
/// Values that cannot be read.
pub fn create(request: v1::CreateOfferRequest) -> Result<CreateOffer, Error> {
    let mut wrong = Vec::new();
    let (Named { cultivar, crop, lot, club }, draft) =
        read_draft(request.offer.unwrap_or_default(), &mut wrong);
    fine(CreateOffer { cultivar, crop, draft, lot, club }, wrong)
}

/// What an offer says, as its giver would state it. What it is kept for alone is not in it.
fn stated(contents: &Contents) -> v1::OfferDraft {
    v1::OfferDraft {
        cultivar: contents.cultivar.to_string(),
        crop: String::new(),
        unknown_seedling: contents.unknown_seedling,
        material: write_material(contents.material),
        quantity: contents.quantity,
        unit: write_unit(contents.unit),
        terms: write_terms(contents.terms),
        available_from: Some(date(contents.available_from)),
        available_until: Some(date(contents.available_until)),
        place: Some(place(&contents.place)),
        hand_over: contents.hand_over.iter().map(|h| write_hand_over(*h)).collect(),
        note: contents.note.clone(),
        health: Some(health(&contents.health)),
        taken_on: contents.taken_on.map(date),
        kept_how: contents.kept_how.clone(),
        auto_accept: contents.auto_accept,
        contact: contents.contact.clone(),
        lot: contents.lot.map(|l| l.to_string()).unwrap_or_default(),
        club: contents.club.map(|c| c.to_string()).unwrap_or_default(),
        holder_consent: contents.holder_consent.clone(),
    }
}

fn place(place: &Place) -> v1::Place {
    v1::Place {
        area_code: place.area.as_ref().map(|a| a.as_str().to_string()).unwrap_or_default(),
        grid_code: place.grid.to_string(),
        label: place.label.clone(),
    }
}

/// A request to change.
///
/// # Errors
/// Values that cannot be read.
pub fn change(request: v1::UpdateOfferRequest) -> Result<ChangeOffer, Error> {
    let v1::UpdateOfferRequest { offer_id, version, offer, update_mask } = request;
    let mut wrong = Vec::new();
    let id =
        offer_id.parse::<OfferId>().map_err(|e| wrong.push(FieldError::new("offer_id", e.to_string()))).ok();
    // values that cannot be read are wrong whether or not the mask names them
    read_draft(offer.clone().unwrap_or_default(), &mut wrong);
    let mask = Change::read("offer", offer, update_mask).map_err(|e| wrong.push(e)).ok().map(|mut mask| {
        // a cultivar is named with its crop
        if mask.fields.contains("cultivar") {
            mask.fields.insert("crop".into());
        }
        mask
    });
    let (Some(id), Some(mask), true) = (id, mask, wrong.is_empty()) else {
        return Err(Error::Invalid(wrong));
    };
    let fields = mask.fields.clone();
    let change = move |contents: &Contents| {
        let stated = mask.over(&stated(contents)).map_err(|e| Error::Internal(e.to_string()))?;
        let mut wrong = Vec::new();
        let (Named { cultivar, crop, lot, club }, draft) = read_draft(stated, &mut wrong);
        fine(Changed { cultivar, crop, draft, lot, club }, wrong)
    };
    Ok(ChangeOffer { id, version: seen(version), fields, change: Box::new(change) })
}

/// A request to withdraw.
///
/// # Errors
/// Values that cannot be read.
pub fn withdraw(request: &v1::WithdrawOfferRequest) -> Result<WithdrawOffer, Error> {
    let version = (request.version != 0).then_some(request.version);
    Ok(WithdrawOffer { id: App::id(&request.offer_id)?, version })
}

/// A search.
///
/// # Errors
/// Values that cannot be read.
pub fn search(request: v1::SearchOffersRequest) -> Result<(SearchOffers, i32, String), Error> {
    let v1::SearchOffersRequest {
        name,
        crop,
        materials,
        near_grid_code,
        within_km,
        usable_from,
        usable_until,
        text,
        terms,
        order,
        page_size,
        page_token,
        hand_over,
        to_area_code,
    } = request;
    let mut wrong = Vec::new();
    let order = match v1::OfferOrder::try_from(order) {
        Ok(v1::OfferOrder::Unspecified) => None,
        Ok(v1::OfferOrder::Newest) => Some(OfferOrder::Newest),
        Ok(v1::OfferOrder::Nearest) => Some(OfferOrder::Nearest),
        Err(_) => {
            wrong.push(FieldError::new("order", "newest or nearest expected"));
            None
        }
    };
    let search = SearchOffers {
        name,
        crop,
        materials: all("materials", &materials, read_material, &mut wrong),
        terms: all("terms", &terms, read_terms, &mut wrong),
        hand_over: all("hand_over", &hand_over, read_hand_over, &mut wrong),
        near_grid_code,
        within_km,
        usable_from: read_date("usable_from", usable_from, &mut wrong),
        usable_until: read_date("usable_until", usable_until, &mut wrong),
        text,
        order,
        to_area_code,
    };
    fine((search, page_size, page_token), wrong)
}

fn health(declaration: &Declaration) -> v1::HealthDeclaration {
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
    } = declaration.clone();
    v1::HealthDeclaration {
        grown_at: grown_at
            .iter()
            .map(|g| v1::GrownAt {
                area_code: g.area.as_ref().map(|a| a.as_str().to_string()).unwrap_or_default(),
                unknown: g.area.is_none(),
                from_month: g.from.map(|m| m.to_string()).unwrap_or_default(),
                to_month: g.to.map(|m| m.to_string()).unwrap_or_default(),
            })
            .collect(),
        botanical_name,
        rootstock,
        form: write_form(form),
        purpose: write_purpose(purpose),
        source_tree,
        last_looked: last_looked.map(date),
        symptoms: write_observed(symptoms),
        symptoms_text,
        pests: write_observed(pests),
        pests_text,
        sprayed: write_observed(sprayed),
        sprayed_text,
        treatments: treatments
            .into_iter()
            .map(|t| v1::Treatment {
                date: t.date.map(date),
                treatment: t.treatment,
                active_ingredient: t.active_ingredient,
                official: t.official,
            })
            .collect(),
        tests: tests
            .into_iter()
            .map(|t| v1::PestTest {
                pest: t.pest,
                method: t.method,
                laboratory: t.laboratory,
                sample_date: t.sample_date.map(date),
                result: t.result,
                report_number: t.report_number,
            })
            .collect(),
        documents: documents
            .into_iter()
            .map(|d| v1::OfficialDocument {
                document_kind: d.kind,
                issuer: d.issuer,
                number: d.number,
                issued: d.issued.map(date),
                valid_to: d.valid_to.map(date),
                additional_declaration: d.additional_declaration,
            })
            .collect(),
        note,
    }
}

/// An offer on a day.
pub fn offer(shown: &Shown, today: Date) -> v1::Offer {
    let Shown {
        offer,
        giver_name,
        cultivar_name,
        seed_headline,
        life,
        cautions,
        protection,
        unions,
        movement,
    } = shown;
    let contents = &offer.contents;
    let state = match offer.state(today) {
        State::Coming => v1::OfferState::Coming,
        State::Open => v1::OfferState::Open,
        State::Expired => v1::OfferState::Expired,
        State::Withdrawn => v1::OfferState::Withdrawn,
    };
    v1::Offer {
        offer_id: offer.id.to_string(),
        giver_account_id: offer.giver.to_string(),
        giver_name: giver_name.clone(),
        crop: contents.crop.clone(),
        cultivar_id: contents.cultivar.to_string(),
        cultivar_name: cultivar_name.clone(),
        unknown_seedling: contents.unknown_seedling,
        material: write_material(contents.material),
        quantity: contents.quantity,
        unit: write_unit(contents.unit),
        terms: write_terms(contents.terms),
        available_from: Some(date(contents.available_from)),
        available_until: Some(date(contents.available_until)),
        place: Some(place(&contents.place)),
        hand_over: contents.hand_over.iter().map(|h| write_hand_over(*h)).collect(),
        note: contents.note.clone(),
        health: Some(health(&contents.health)),
        state: state.into(),
        version: offer.version,
        created_at: Some(timestamp(offer.created_at)),
        updated_at: Some(timestamp(offer.updated_at)),
        seed_headline: seed_headline.clone(),
        movement_notice: MOVEMENT_NOTICE.into(),
        taken_on: contents.taken_on.map(date),
        kept_how: contents.kept_how.clone(),
        use_by: contents.use_by.map(date),
        life: life.clone(),
        cautions: cautions.clone(),
        promised: offer.promised,
        auto_accept: contents.auto_accept,
        lot_id: contents.lot.map(|l| l.to_string()).unwrap_or_default(),
        club_id: contents.club.map(|c| c.to_string()).unwrap_or_default(),
        entered_for_giver: offer.entered_by.is_some(),
        protection: protection.clone(),
        unions: unions.iter().map(super::registry::union).collect(),
        holder_consent: contents.holder_consent.clone(),
        movement: movement.as_ref().map(|(to, shown)| v1::OfferMovement {
            to_area_code: to.clone(),
            headline: shown.headline.clone(),
            rules: shown.rules.clone(),
            prohibited: shown.verdict == Verdict::Prohibited,
            on: Some(date(shown.on)),
        }),
    }
}

/// A distance in whole kilometres.
#[expect(clippy::cast_possible_truncation, reason = "at most half the earth's girth")]
pub fn whole_km(km: f64) -> i32 {
    km.round() as i32
}
