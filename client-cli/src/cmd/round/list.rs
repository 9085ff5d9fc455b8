//! What many members bring and wish, from a spreadsheet (organisers), and spreadsheets of a round.

use std::{collections::BTreeMap, path::Path};

use scionary_proto::v1;

use super::{every_lot, fetch, wish};
use crate::{
    client::Client,
    draft::{self, DraftArguments},
    error::Failure,
    names,
    output::Output,
    table::{self, Rows},
    words,
};

/// The columns of a list for a round.
const COLUMNS: [&str; 6] = ["member", "brings", "form", "packs", "each", "wish"];

/// Something that a member brings.
struct Brings {
    line: u64,
    cultivar: v1::CultivarSummary,
    material: v1::Material,
    form: v1::MaterialForm,
    packs: i32,
    each: i32,
}

/// What the file says of one member.
#[derive(Default)]
struct Entry {
    account: String,
    brings: Vec<Brings>,
    wishes: Vec<v1::WishLine>,
}

/// Prints the columns, with lines that show how each is filled.
fn template(output: &Output) {
    let mut view = output.view();
    view.drawn(COLUMNS.join(","));
    view.drawn("Ada Quill,Larkwater Gold scion wood,leafless,4,1,");
    view.drawn("Ada Quill,,,,,lot 3");
    view.drawn("Ada Quill,,,,,\"Quarrymead or Old Tollhouse, seed\"");
    output.show(view);
}

/// Enters a list: what members bring, and their wishes, the dearest first. All lines are read before the first is entered.
pub(super) async fn enter(
    client: &Client,
    output: &Output,
    round: String,
    file: Option<&Path>,
) -> Result<(), Failure> {
    let Some(file) = file else {
        template(output);
        return Ok(());
    };
    let rows = Rows::read(file, &COLUMNS, &["member"])?;
    let round = fetch(client, round).await?;
    let lots = every_lot(client, &round.round_id, false).await?;
    let (order, mut entries) = read(client, &rows, &lots).await?;
    let profile = client.profile_now().await?;
    let says = round.says.clone().unwrap_or_default();
    let mut told = Vec::new();
    for name in &order {
        let Some(entry) = entries.remove(name) else { continue };
        let own = client.for_member(&entry.account);
        let entered = enter_one(&own, &round, &says, &profile, &entry).await;
        entered.map_err(|failure| {
            let done = if told.is_empty() { "no one".to_string() } else { told.join(", ") };
            failure.about(name).then(format!("entered before: {done}; take their lines out and go on"))
        })?;
        told.push(name.clone());
    }
    let mut view = output.view();
    view.line(format!("Entered: {}.", told.join(", ")));
    output.show(view);
    output.aside(&format!("Look at it: scionary round lots {0}; scionary round members {0}", round.round_id));
    Ok(())
}

/// Reads all lines, and returns all their mistakes together.
async fn read(
    client: &Client,
    rows: &Rows<'_>,
    lots: &[v1::RoundLot],
) -> Result<(Vec<String>, BTreeMap<String, Entry>), Failure> {
    let (mut order, mut entries, mut wrong) = (Vec::new(), BTreeMap::<String, Entry>::new(), Vec::new());
    for (line, row) in &rows.rows {
        let cell = |column: &str| rows.cell(row, column);
        let mut bad = |why: String| wrong.push((format!("line {line}"), why));
        let name = cell("member").to_string();
        if name.is_empty() {
            bad("the member is missing".into());
            continue;
        }
        if !entries.contains_key(&name) {
            match names::account(client, &name).await {
                Ok(account) => {
                    entries.insert(name.clone(), Entry { account, ..Entry::default() });
                    order.push(name.clone());
                }
                Err(failure) if failure.exit_code() == 5 => return Err(failure),
                Err(failure) => bad(failure.message),
            }
        }
        let Some(entry) = entries.get_mut(&name) else { continue };
        match (cell("brings"), cell("wish")) {
            ("", "") => bad("say what they bring, or a wish".into()),
            ("", text) => match wish::parse(text, lots) {
                Ok(wishes) => entry.wishes.extend(wishes),
                Err(why) => bad(why),
            },
            (text, "") => match brings(client, *line, text, &cell).await {
                Ok(Ok(brought)) => entry.brings.push(brought),
                Ok(Err(why)) => bad(why),
                Err(failure) => return Err(failure),
            },
            (_, _) => bad("a line is one thing brought, or one wish; put them on two lines".into()),
        }
    }
    rows.wrong(wrong, "nothing was entered")?;
    Ok((order, entries))
}

async fn brings<'a>(
    client: &Client,
    line: u64,
    text: &str,
    cell: &impl Fn(&str) -> &'a str,
) -> Result<Result<Brings, String>, Failure> {
    let number = |column: &str, usual: i32| match cell(column) {
        "" => Ok(usual),
        text => match text.parse::<i32>() {
            Ok(n) if n > 0 => Ok(n),
            Ok(_) | Err(_) => Err(format!("{column}: a whole number expected, such as 3")),
        },
    };
    let of = || {
        let (name, material) = wish::named(text)?;
        let material = material.ok_or_else(|| format!("say what of it, such as \"{name} scion wood\""))?;
        let form = match (draft::forms(Some(material)).as_slice(), cell("form")) {
            ([only], "") => words::parse_form(only)?,
            (several, "") => return Err(format!("form: one of {} expected", several.join(", "))),
            (_, form) => words::parse_form(&form.to_lowercase().replace(' ', "-"))?,
        };
        Ok((name, material, form, number("packs", 1)?, number("each", 1)?))
    };
    let (name, material, form, packs, each) = match of() {
        Ok(read) => read,
        Err(why) => return Ok(Err(why)),
    };
    match names::cultivar(client, name, "").await {
        Ok(cultivar) => Ok(Ok(Brings { line, cultivar, material, form, packs, each })),
        Err(failure) if failure.exit_code() == 5 => Err(failure),
        Err(failure) => Ok(Err(failure.message)),
    }
}

/// Enters one member: that they take part, what they bring, and their wishes.
async fn enter_one(
    client: &Client,
    round: &v1::Round,
    says: &v1::RoundDraft,
    profile: &v1::Profile,
    entry: &Entry,
) -> Result<(), Failure> {
    let round_id = round.round_id.clone();
    let request = v1::GetMyRoundRequest { round_id: round_id.clone() };
    let mine: Result<v1::GetMyRoundResponse, Failure> = client.call(request).await;
    let takes_part = match mine {
        Ok(mine) => mine.part.is_some(),
        Err(failure) if failure.reason == "NOT_IN_ROUND" => false,
        Err(failure) => return Err(failure),
    };
    if !takes_part {
        let part = v1::RoundPart {
            area_code: says.area_code.clone(),
            meeting: true,
            contact: "by the organisers".into(),
            ..Default::default()
        };
        client.call(v1::JoinRoundRequest { round_id: round_id.clone(), part: Some(part) }).await?;
    }
    for brought in &entry.brings {
        let mut arguments = DraftArguments {
            cultivar: Some(brought.cultivar.cultivar_id.clone()),
            crop: Some(brought.cultivar.crop.clone()),
            material: Some(brought.material),
            form: Some(brought.form),
            quantity: Some(brought.packs.saturating_mul(brought.each)),
            terms: Some(v1::Terms::Swap),
            club: Some(round.club_id.clone()),
            until: says.day,
            by: vec![v1::HandOver::Meeting],
            symptoms: Some(draft::unknown()),
            pests: Some(draft::unknown()),
            sprayed: Some(draft::unknown()),
            ..Default::default()
        };
        draft::remember(&mut arguments, profile, None);
        let mut offer = v1::OfferDraft::default();
        draft::apply(arguments, &mut offer)?;
        let line = format!("line {}", brought.line);
        let made: Result<v1::CreateOfferResponse, Failure> =
            client.call(v1::CreateOfferRequest { offer: Some(offer) }).await;
        let offer_id = made.map_err(|f| f.about(&line))?.offer.unwrap_or_default().offer_id;
        let (units, per_unit) = (brought.packs, brought.each);
        let request = v1::BringLotRequest {
            round_id: round_id.clone(),
            offer_id,
            units,
            per_unit,
            gift: false,
            papers: String::new(),
        };
        let lot: Result<v1::BringLotResponse, Failure> = client.call(request).await;
        lot.map_err(|f| f.about(&line))?;
    }
    if !entry.wishes.is_empty() {
        client.call(v1::SetWishesRequest { round_id, wishes: entry.wishes.clone() }).await?;
    }
    Ok(())
}

/// Writes the members of a round as a spreadsheet.
pub(super) fn members(output: &Output, path: &Path, all: &[v1::RoundMember]) -> Result<(), Failure> {
    let head = ["number", "member", "area", "absent", "brings", "wishes", "gets", "gives", "contact"];
    let yes = |b: bool| if b { "yes" } else { "" }.to_string();
    let rows = all.iter().map(|m| {
        let n = |n: i32| n.to_string();
        let area = m.area_code.clone();
        let counts = [n(m.brings), n(m.lines), n(m.gets), n(m.gives)];
        [vec![n(m.number), m.name.clone(), area, yes(m.absent)], counts.to_vec(), vec![m.contact.clone()]]
            .concat()
    });
    told(output, path, table::write(path, &head, rows)?)
}

/// Writes what changes hands as a spreadsheet.
pub(super) fn shares(output: &Output, path: &Path, all: &[v1::RoundShare]) -> Result<(), Failure> {
    let head = [
        "lot", "code", "cultivar", "material", "packs", "amount", "from", "giver", "to", "taker", "by post",
        "state",
    ];
    let rows = all.iter().map(|s| {
        vec![
            s.lot_number.to_string(),
            s.code.clone(),
            s.cultivar_name.clone(),
            words::material(s.material()).to_string(),
            s.units.to_string(),
            words::amount(s.quantity, s.unit()),
            s.giver_number.to_string(),
            s.giver_name.clone(),
            s.taker_number.to_string(),
            s.taker_name.clone(),
            if s.by_post { "yes" } else { "" }.to_string(),
            words::claim_state(s.state()).to_string(),
        ]
    });
    told(output, path, table::write(path, &head, rows)?)
}

fn told(output: &Output, path: &Path, count: usize) -> Result<(), Failure> {
    let lines = words::counted(i32::try_from(count).unwrap_or(i32::MAX), "line");
    output.aside(&format!("{lines} in {}", path.display()));
    Ok(())
}
