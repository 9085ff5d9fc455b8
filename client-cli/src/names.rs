//! What people type in place of ids: numbers, handles, names of clubs and rounds, towns and states, cultivars as they
//! heard them. Requests are looked through before they go out, whatever their type, and the server finds what is meant.
//! A reading call takes what is clear; a writing call asks. Where no one can be asked, the choices are listed.

use std::collections::{BTreeMap, BTreeSet};

use prost::{Message as _, bytes::Bytes};
use prost_reflect::{DynamicMessage, FieldDescriptor, ReflectMessage as _, Value};
use scionary_domain::{
    names::score::{GUESS, GUESS_LEAD},
    place::AreaCode,
};
use scionary_proto::{Effect, Rpc, v1};
use scionary_show::{Block, View};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::{client::Client, error::Failure, output::pool, places, prompt};

/// Prefixes of ids that get a short number when they are shown.
const NUMBERED: [&str; 15] = [
    "acc_", "alt_", "clb_", "clm_", "evd_", "grf_", "inv_", "ofr_", "pln_", "prp_", "rep_", "rnd_", "sow_",
    "tkt_", "wnt_",
];
/// Letters of an id's prefix with its underscore, and its digits.
const ID_PREFIX: usize = 4;
const ID_DIGITS: usize = 26;

/// Kinds of things that requests name: the field without `_id`, the prefix of its ids, and what people call it.
const NOUNS: [(&str, &str, &str); 16] = [
    ("account", "acc_", "a person"),
    ("alert", "alt_", "an alert"),
    ("claim", "clm_", "a claim"),
    ("club", "clb_", "a club"),
    ("evidence", "evd_", "a piece of evidence"),
    ("graft", "grf_", "an entry of the grafting log"),
    ("invitation", "inv_", "an invitation"),
    ("offer", "ofr_", "an offer"),
    ("other_account", "acc_", "a person"),
    ("plan", "pln_", "a plan"),
    ("proposal", "prp_", "a proposal"),
    ("report", "rep_", "a report"),
    ("round", "rnd_", "a round"),
    ("sowing", "sow_", "a sowing"),
    ("ticket", "tkt_", "a complaint"),
    ("want", "wnt_", "a want"),
];

/// What a field of a request wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Wanted {
    /// A thing, and the row of [`NOUNS`] that it must be of, if there is one.
    Item(v1::ItemKind, Option<usize>),
    /// A cell of the map.
    Cell,
    /// A country or a state.
    Area,
    /// A code of two letters that is a country's, and may have been meant as a state's.
    TwoLetters,
    /// A page by its number.
    Page,
}

/// What was found for a text.
#[derive(Clone, Debug)]
enum Meant {
    Item(String),
    Place(v1::Place),
}

/// Returns whether a text looks like an id, such as `ofr_01j…`.
fn is_id(text: &str) -> bool {
    text.len() == ID_PREFIX + ID_DIGITS && text.get(ID_PREFIX - 1..ID_PREFIX) == Some("_")
}

/// Returns what a field wants, when its text is no id or code already.
fn wanted(field: &FieldDescriptor, text: &str) -> Option<Wanted> {
    let text = text.trim();
    if text.is_empty() || is_id(text) {
        return None;
    }
    let stem = field.name().strip_suffix("_id").unwrap_or(field.name());
    let noun = NOUNS.iter().position(|(name, ..)| *name == stem);
    let item = |kind| Some(Wanted::Item(kind, noun));
    match field.name() {
        "page_token" => is_page(text).then_some(Wanted::Page),
        name if name.ends_with("grid_code") => (!text.contains('+')).then_some(Wanted::Cell),
        "area_code" | "to_area_code" | "from_area_code" | "area_codes" => {
            if AreaCode::parse(text).is_err() {
                Some(Wanted::Area)
            } else {
                two_letters(text)
            }
        }
        "grown_at" | "to" | "by_way_of" => {
            let known = AreaCode::parse(text.split('/').next().unwrap_or(text)).is_ok();
            let here = field.parent_message().name() == "CheckMovementRequest";
            if !here {
                None
            } else if known {
                two_letters(text)
            } else {
                Some(Wanted::Area)
            }
        }
        "club_id" | "club" => item(v1::ItemKind::Club),
        "round_id" => item(v1::ItemKind::Round),
        "account_id" | "other_account_id" => item(v1::ItemKind::Account),
        "cultivar_id" | "lot_id" | "source_id" | "rule_id" | "item_ids" | "into_cultivar_id" => None,
        "subject_id" => is_number(text).then_some(Wanted::Item(v1::ItemKind::Numbered, None)),
        name if name.ends_with("_id") || name.ends_with("_ids") => item(v1::ItemKind::Numbered),
        _ => None,
    }
}

fn two_letters(text: &str) -> Option<Wanted> {
    (text.len() == 2).then_some(Wanted::TwoLetters)
}

/// Returns whether a text is the number of a page: tokens are longer.
fn is_page(text: &str) -> bool {
    text.len() <= PAGE_DIGITS && text.chars().all(|c| c.is_ascii_digit())
}

/// Digits of the number of a page at most.
const PAGE_DIGITS: usize = 3;

fn is_number(text: &str) -> bool {
    let digits = text.trim_start_matches('#');
    !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit())
}

/// Calls `each` for every text of a message, with its field.
fn texts(message: &DynamicMessage, each: &mut impl FnMut(&FieldDescriptor, &str)) {
    for (field, value) in message.fields() {
        texts_in(&field, value, each);
    }
}

fn texts_in(field: &FieldDescriptor, value: &Value, each: &mut impl FnMut(&FieldDescriptor, &str)) {
    if let Some(text) = value.as_str() {
        each(field, text);
    } else if let Some(inner) = value.as_message() {
        texts(inner, each);
    } else if let Some(all) = value.as_list() {
        all.iter().for_each(|one| texts_in(field, one, each));
    }
}

/// Puts new texts in place of old ones: `new` gives the text for a field's text, and may fill other fields.
fn replace(message: &mut DynamicMessage, new: &impl Fn(&FieldDescriptor, &str) -> Option<Meant>) {
    let mut beside = None;
    for (field, value) in message.fields_mut() {
        replace_in(&field, value, new, &mut beside);
    }
    // A place that was named by its town brings its state along, and the name as its label.
    if let Some(place) = beside {
        for (name, value) in [("area_code", place.area_code), ("label", place.label)] {
            let field = message.descriptor().get_field_by_name(name);
            if let Some(field) = field.filter(|f| !message.has_field(f)) {
                message.set_field(&field, Value::String(value));
            }
        }
    }
}

fn replace_in(
    field: &FieldDescriptor,
    value: &mut Value,
    new: &impl Fn(&FieldDescriptor, &str) -> Option<Meant>,
    beside: &mut Option<v1::Place>,
) {
    if let Some(text) = value.as_string_mut() {
        match new(field, text) {
            Some(Meant::Item(id)) => *text = id,
            Some(Meant::Place(place)) if field.name().ends_with("grid_code") => {
                *text = place.grid_code.clone();
                *beside = Some(place);
            }
            Some(Meant::Place(place)) => *text = place.area_code,
            None => {}
        }
    } else if let Some(inner) = value.as_message_mut() {
        replace(inner, new);
    } else if let Some(all) = value.as_list_mut() {
        all.iter_mut().for_each(|one| replace_in(field, one, new, beside));
    }
}

/// Reads a request by its method.
fn dynamic(rpc: Rpc, message: &[u8]) -> Option<DynamicMessage> {
    let pool = pool().ok()?;
    let method = pool.get_service_by_name(rpc.service())?.methods().find(|m| m.name() == rpc.name())?;
    DynamicMessage::decode(method.input(), message).ok()
}

/// Returns a request with ids and codes in place of what the person typed.
///
/// # Errors
/// Returns a [`Failure`] when nothing or more than one thing is meant, and no one can be asked.
pub(crate) async fn resolved(client: &Client, rpc: Rpc, message: Bytes) -> Result<Bytes, Failure> {
    // Reading the descriptors takes longer than most calls: not for requests that name nothing.
    let finds = matches!(rpc, Rpc::ProfileFindPlaces | Rpc::ProfileFindItems | Rpc::ProfileNumberItems);
    if message.is_empty() || finds {
        return Ok(message);
    }
    let Some(mut request) = dynamic(rpc, &message) else { return Ok(message) };
    let mut open: BTreeSet<(Wanted, String)> = BTreeSet::new();
    texts(&request, &mut |field, text| {
        open.extend(wanted(field, text).map(|wanted| (wanted, text.trim().to_string())));
    });
    if open.is_empty() {
        return Ok(message);
    }
    let writes = rpc.effect() != Effect::Reads;
    let mut found: BTreeMap<(Wanted, String), Meant> = BTreeMap::new();
    for (wanted, text) in open {
        let meant = match wanted {
            Wanted::Item(kind, noun) => {
                let id = item(client, kind, &text, writes).await?;
                check_kind(&id, &text, noun)?;
                Meant::Item(id)
            }
            Wanted::Page => Meant::Item(page(client, rpc, &request, &text).await?),
            Wanted::TwoLetters => match places::state_or_country(client, &text).await? {
                Some(place) => Meant::Place(place),
                None => continue,
            },
            Wanted::Cell | Wanted::Area => {
                Meant::Place(places::place(client, &text, wanted == Wanted::Cell).await?)
            }
        };
        found.insert((wanted, text), meant);
    }
    replace(&mut request, &|field, text| {
        wanted(field, text).and_then(|wanted| found.get(&(wanted, text.trim().to_string())).cloned())
    });
    Ok(request.encode_to_vec().into())
}

/// Returns the token of a page by its number: the pages before it are asked for.
async fn page(client: &Client, rpc: Rpc, request: &DynamicMessage, text: &str) -> Result<String, Failure> {
    let number: u32 = text.parse().map_err(|_| Failure::usage(format!("page {text} is too far")))?;
    client.on_page(number.max(1));
    let mut before = request.clone();
    let mut token = String::new();
    for at in 1..number {
        before.set_field_by_name("page_token", Value::String(token));
        let reply = client.bytes_for(rpc, before.encode_to_vec().into(), false).await?;
        token = next_page(rpc, &reply).unwrap_or_default();
        if token.is_empty() {
            return Err(Failure::usage(format!("there is no page {number}: the last one is page {at}")));
        }
    }
    Ok(token)
}

/// Returns the token of the page after a reply.
fn next_page(rpc: Rpc, reply: &[u8]) -> Option<String> {
    let pool = pool().ok()?;
    let method = pool.get_service_by_name(rpc.service())?.methods().find(|m| m.name() == rpc.name())?;
    let reply = DynamicMessage::decode(method.output(), reply).ok()?;
    reply.get_field_by_name("next_page_token")?.as_str().map(String::from)
}

/// Checks that an id is of the kind that is wanted: a number can be another thing's.
fn check_kind(id: &str, text: &str, noun: Option<usize>) -> Result<(), Failure> {
    let Some((_, prefix, wanted)) = noun.and_then(|at| NOUNS.get(at)) else { return Ok(()) };
    if id.starts_with(prefix) {
        return Ok(());
    }
    let is =
        NOUNS.iter().find(|(_, prefix, _)| id.starts_with(prefix)).map_or("something else", |(.., is)| is);
    Err(Failure::usage(format!("number {text} is {is}, not {wanted}"))
        .then("the lists show a number beside each thing"))
}

/// Returns the account id of a member: their handle, their name, a number or the id itself.
///
/// # Errors
/// As [`resolved`].
pub(crate) async fn account(client: &Client, text: &str) -> Result<String, Failure> {
    id(client, v1::ItemKind::Account, text).await
}

/// Returns the id of what a person calls `text`, or the id itself; a writing call follows.
///
/// # Errors
/// As [`resolved`].
pub(crate) async fn id(client: &Client, kind: v1::ItemKind, text: &str) -> Result<String, Failure> {
    if is_id(text) { Ok(text.into()) } else { item(client, kind, text, true).await }
}

/// Returns the id of what a person calls `text`.
///
/// # Errors
/// As [`resolved`].
pub(crate) async fn item(
    client: &Client,
    kind: v1::ItemKind,
    text: &str,
    writes: bool,
) -> Result<String, Failure> {
    let what = match kind {
        v1::ItemKind::Account => "person",
        v1::ItemKind::Club => "club",
        v1::ItemKind::Round => "round",
        v1::ItemKind::Numbered | v1::ItemKind::Unspecified => "number",
    };
    client.need_session()?;
    let kind = if is_number(text) { v1::ItemKind::Numbered } else { kind };
    if kind == v1::ItemKind::Numbered && !is_number(text) {
        return Err(Failure::usage(format!("“{text}” is no number of yours and no id"))
            .then("the lists show a number beside each thing"));
    }
    let request = v1::FindItemsRequest { kind: kind.into(), text: text.into() };
    let reply: v1::FindItemsResponse = client.call(request).await?;
    let exact: Vec<&v1::FoundItem> = reply.items.iter().filter(|i| i.exact).collect();
    match (exact.as_slice(), reply.items.as_slice()) {
        ([one], _) => Ok(one.item_id.clone()),
        ([], []) if kind == v1::ItemKind::Numbered => {
            Err(Failure::not_found(format!("you have nothing with the number {text}"))
                .then("the lists show a number beside each thing"))
        }
        ([], []) => Err(Failure::not_found(format!("no {what} is called “{text}”, as far as you can see"))),
        // One's own club or round cannot be mistaken for another one's; a person can.
        ([], [one]) if !writes || matches!(kind, v1::ItemKind::Club | v1::ItemKind::Round) => {
            client.say(&format!(
                "{} {} (you typed {text}).",
                if writes { "For" } else { "Showing" },
                one.name
            ));
            Ok(one.item_id.clone())
        }
        ([], [one]) => {
            prompt::confirm(
                client,
                &format!("Do you mean {}", one.name),
                true,
                &format!("“{text}” is not quite its name"),
            )?;
            Ok(one.item_id.clone())
        }
        (_, several) => {
            let names: Vec<String> = several.iter().map(|i| i.name.clone()).collect();
            let at = prompt::choose(client, &format!("“{text}” may mean:"), &names)?;
            several.get(at).map(|i| i.item_id.clone()).ok_or_else(|| Failure::bug("no such choice"))
        }
    }
}

/// Returns the request again with the cultivar that the person meant, after the server did not know the name or knew
/// several. `None` if the failure is about something else. `asks`: a near name is not taken without a question.
///
/// # Errors
/// As [`resolved`].
pub(crate) async fn amended(
    client: &Client,
    (rpc, asks): (Rpc, bool),
    message: &[u8],
    status: &Status,
) -> Result<Option<Bytes>, Failure> {
    let Some(text) = unknown_cultivar(status, rpc, message) else { return Ok(None) };
    let Some(mut request) = dynamic(rpc, message) else { return Ok(None) };
    let mut crop = String::new();
    texts(&request, &mut |field, text| {
        if field.name() == "crop" {
            crop = text.to_string();
        }
    });
    let named_crop = !crop.is_empty();
    let search = v1::SearchCultivarsRequest { query: text.clone(), crop, page_size: 6 };
    let mut reply: v1::SearchCultivarsResponse = client.call(search).await?;
    // Of several that bear the name, the one of the crop that the member mostly grows is meant.
    let usual = if named_crop { String::new() } else { client.profile().await?.crop };
    let of_crop = |m: &v1::CultivarMatch| m.cultivar.as_ref().is_some_and(|c| c.crop == usual);
    if reply.matches.iter().filter(|m| m.score >= EXACT).count() > 1 && reply.matches.iter().any(of_crop) {
        reply.matches.retain(|m| of_crop(m) || m.score < EXACT);
    }
    let names: Vec<String> =
        reply.matches.iter().map(|m| scionary_show::lookup::named(m.cultivar.as_ref())).collect();
    let lead = match reply.matches.as_slice() {
        [] => return Ok(None),
        [only] => only.score >= GUESS,
        [first, second, ..] => first.score >= GUESS && first.score - second.score >= GUESS_LEAD,
    };
    let at = match (lead, names.first()) {
        (true, Some(name)) if !asks => {
            client.say(&format!("Showing {name} (you typed {text})."));
            0
        }
        (lead, Some(name)) if lead || names.len() == 1 => {
            prompt::confirm(
                client,
                &format!("Do you mean {name}"),
                true,
                &format!("no cultivar is on file as “{text}”"),
            )?;
            0
        }
        (_, _) => prompt::choose(client, &format!("“{text}” may mean:"), &names)?,
    };
    let cultivar = reply.matches.get(at).and_then(|m| m.cultivar.clone()).unwrap_or_default();
    replace(&mut request, &|field, old| match field.name() {
        "cultivar" | "cultivars" if old.trim() == text.trim() => {
            Some(Meant::Item(cultivar.cultivar_id.clone()))
        }
        "crop" => Some(Meant::Item(cultivar.crop.clone())),
        _ => None,
    });
    Ok(Some(request.encode_to_vec().into()))
}

/// Returns the cultivar of a name or an id; a near name is taken after a question.
///
/// # Errors
/// As [`resolved`].
pub(crate) async fn cultivar(
    client: &Client,
    name: &str,
    crop: &str,
) -> Result<v1::CultivarSummary, Failure> {
    let request = v1::GetCultivarRequest { cultivar: name.into(), crop: crop.into() };
    let message = prost::Message::encode_to_vec(&request);
    // A question to the registry that something is written from: a near name is asked about.
    let reply = match client.bytes_for(Rpc::CultivarGetCultivar, message.into(), true).await {
        // Where a swap day is run away from its server, names are told and nothing that rests on evidence.
        Err(failure) if failure.reason == "NOT_ON_THE_DAY" => return by_name(client, name, crop).await,
        other => other?,
    };
    let reply = v1::GetCultivarResponse::decode(reply).map_err(|e| Failure::bug(e.to_string()))?;
    Ok(reply.summary.unwrap_or_default())
}

/// Returns the cultivar that a search finds; a near one is taken after a question.
async fn by_name(client: &Client, name: &str, crop: &str) -> Result<v1::CultivarSummary, Failure> {
    let request = v1::SearchCultivarsRequest { query: name.into(), crop: crop.into(), page_size: 5 };
    let reply: v1::SearchCultivarsResponse = client.call(request).await?;
    let found: Vec<v1::CultivarSummary> = reply.matches.into_iter().filter_map(|m| m.cultivar).collect();
    let at = match found.as_slice() {
        [] => return Err(Failure::not_found(format!("no cultivar is called “{name}”"))),
        [_, ..] if reply.exact => 0,
        several => {
            let names: Vec<String> = several.iter().map(|c| format!("{} ({})", c.name, c.crop)).collect();
            prompt::choose(client, &format!("“{name}” may mean:"), &names)?
        }
    };
    found.into_iter().nth(at).ok_or_else(|| Failure::bug("no such choice"))
}

/// The score of an exact name.
const EXACT: f64 = 0.99;

/// Returns the cultivar's name that a failure is about.
fn unknown_cultivar(status: &Status, rpc: Rpc, message: &[u8]) -> Option<String> {
    let details = status.get_error_details();
    let request = dynamic(rpc, message)?;
    let mut typed = Vec::new();
    texts(&request, &mut |field, text| {
        if matches!(field.name(), "cultivar" | "cultivars") && !is_id(text) {
            typed.push(text.to_string());
        }
    });
    if status.code() == Code::NotFound {
        let resource = details.resource_info().filter(|r| r.resource_type == "cultivar")?;
        return typed.into_iter().find(|text| text.trim().starts_with(&resource.resource_name));
    }
    let fields = details.bad_request()?;
    let about = fields.field_violations.iter().find(|v| {
        let last = v.field.rsplit('.').next().unwrap_or_default();
        last == "cultivar" || last.starts_with("cultivars[")
    })?;
    let at: Option<usize> =
        about.field.split_once('[').and_then(|(_, n)| n.trim_end_matches(']').parse().ok());
    about.description.starts_with("several cultivars").then(|| typed.get(at.unwrap_or(0)).cloned()).flatten()
}

/// Returns the ids in a view that get short numbers, in the order of the view; one can be there twice.
pub(crate) fn ids_in(view: &View) -> Vec<String> {
    let mut ids = Vec::new();
    for block in view.blocks() {
        for text in texts_of(block) {
            for (at, _) in text.match_indices('_') {
                let Some(from) = at.checked_sub(ID_PREFIX - 1) else { continue };
                let id = text.get(from..from + ID_PREFIX + ID_DIGITS);
                ids.extend(id.filter(|id| is_numbered(id)).map(String::from));
            }
        }
    }
    ids
}

fn is_numbered(id: &str) -> bool {
    NUMBERED.iter().any(|prefix| id.starts_with(prefix))
        && id.get(ID_PREFIX..).is_some_and(|digits| digits.chars().all(|c| c.is_ascii_alphanumeric()))
}

fn texts_of(block: &Block) -> Vec<&str> {
    match block {
        Block::Title(text)
        | Block::Answer(text)
        | Block::Line(text)
        | Block::Note(text)
        | Block::Drawn(text) => {
            vec![text]
        }
        Block::Fact(_, text) | Block::Item(_, _, text) | Block::Branch(_, _, text) => vec![text],
        Block::Entry(id, text) => vec![id, text],
        Block::Table(_, rows) => rows.iter().flatten().map(String::as_str).collect(),
        Block::Act(_, act) => act.on.iter().map(String::as_str).collect(),
        Block::More(_) | Block::Gap => Vec::new(),
    }
}

/// Returns the short numbers of ids. Empty for a visitor, or if the server gives none: ids work as well.
pub(crate) async fn numbers(client: &Client, ids: Vec<String>) -> BTreeMap<String, String> {
    if !client.is_signed_in() || ids.is_empty() {
        return BTreeMap::new();
    }
    let mut seen = BTreeSet::new();
    let ids = ids.into_iter().filter(|id| seen.insert(id.clone())).take(NUMBERED_AT_ONCE).collect();
    match client.call(v1::NumberItemsRequest { item_ids: ids }).await {
        Ok(v1::NumberItemsResponse { items }) => {
            items.into_iter().map(|item| (item.item_id, item.number.to_string())).collect()
        }
        Err(_) => BTreeMap::new(),
    }
}

/// The most ids that a server numbers at once.
const NUMBERED_AT_ONCE: usize = 200;

#[cfg(test)]
mod tests {
    use super::*;

    fn field(message: &str, name: &str) -> FieldDescriptor {
        pool().unwrap().get_message_by_name(message).unwrap().get_field_by_name(name).unwrap()
    }

    #[test]
    fn ids_and_codes_are_left_alone_and_names_are_looked_up() {
        let offer = field("scionary.v1.GetOfferRequest", "offer_id");
        assert_eq!(wanted(&offer, "ofr_01m8cnz27tes2b1a7hraxs3yeg"), None);
        assert_eq!(wanted(&offer, "12"), Some(Wanted::Item(v1::ItemKind::Numbered, Some(7))));
        let club = field("scionary.v1.GetClubRequest", "club_id");
        assert_eq!(wanted(&club, "larkwater"), Some(Wanted::Item(v1::ItemKind::Club, Some(3))));
        let area = field("scionary.v1.Place", "area_code");
        assert_eq!(wanted(&area, "AU-QLD"), None);
        assert_eq!(wanted(&area, "CA"), Some(Wanted::TwoLetters), "California or Canada");
        assert_eq!(wanted(&area, "Queensland"), Some(Wanted::Area));
        let grid = field("scionary.v1.Place", "grid_code");
        assert_eq!(wanted(&grid, "5RQ2VX00+"), None);
        assert_eq!(wanted(&grid, "Brisbane"), Some(Wanted::Cell));
    }

    #[test]
    fn a_town_brings_its_state_and_its_name_along() {
        let request = v1::CreateOfferRequest {
            offer: Some(v1::OfferDraft {
                place: Some(v1::Place { grid_code: "Brisbane".into(), ..Default::default() }),
                ..Default::default()
            }),
        };
        let mut message = dynamic(Rpc::OfferCreateOffer, &request.encode_to_vec()).unwrap();
        replace(&mut message, &|field, text| {
            (wanted(field, text) == Some(Wanted::Cell)).then(|| {
                Meant::Place(v1::Place {
                    area_code: "AU-QLD".into(),
                    grid_code: "5R4MG200+".into(),
                    label: text.into(),
                })
            })
        });
        let again = v1::CreateOfferRequest::decode(message.encode_to_vec().as_slice()).unwrap();
        let place = again.offer.unwrap().place.unwrap();
        assert_eq!(
            (place.area_code.as_str(), place.grid_code.as_str(), place.label.as_str()),
            ("AU-QLD", "5R4MG200+", "Brisbane")
        );
    }

    #[test]
    fn ids_in_sentences_tables_and_actions_are_found() {
        let mut view = View::new(scionary_show::Reader::default());
        view.line("See ofr_01m8cnz27tes2b1a7hraxs3yeg and cul_01m8cnz27tes2b1a7hraxs3yeg, or under_scores.");
        view.table(["A"], [["clm_01m8cnz27tes2b1a7hraxs3yeg".to_string()]]);
        view.act("Show it", scionary_show::Deed::PlanShow.on("pln_01m8cnz27tes2b1a7hraxs3yeg"));
        let ids = ids_in(&view);
        let tail = "01m8cnz27tes2b1a7hraxs3yeg";
        assert_eq!(ids, [format!("ofr_{tail}"), format!("clm_{tail}"), format!("pln_{tail}")]);
    }
}
