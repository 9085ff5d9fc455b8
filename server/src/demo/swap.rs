//! A swap day of thirty: gathered through the same use cases as everyone's, then settled over the socket, and told to
//! someone who never heard of optimisation.

use crate::say::say;
use anyhow::{Context as _, Result};
use scionary_app::{
    App, Call, KeepReply, UseCase,
    clubs::{AnswerInvitation, CreateClub, InviteToClub},
    offers::CreateOffer,
    rounds::{AcceptsDraft, BringLot, CreateRound, JoinRound, ListLine, SetWishes},
};
use scionary_domain::{
    club::ClubDraft,
    ids::{ClubId, OfferId, RoundId},
    offer::{Draft, HandOver, Material, Terms, health::Form},
    round::{PartDraft, RoundDraft, Settings},
};
use scionary_proto::v1;

use super::{
    caller::Caller,
    paper::Paper,
    scene::{self, looked_at, member},
};

/// Who takes part beside the three of the club's beginnings: handle and name.
const OTHERS: [(&str, &str); 27] = [
    ("juno", "Juno Vale"),
    ("petrik", "Petrik Holm"),
    ("amabel", "Amabel Thorne"),
    ("ruskin", "Ruskin Fell"),
    ("ottoline", "Ottoline Marsh"),
    ("garrick", "Garrick Penhale"),
    ("isolde", "Isolde Quay"),
    ("bevan", "Bevan Stroud"),
    ("lettice", "Lettice Orme"),
    ("hobart", "Hobart Wray"),
    ("sunniva", "Sunniva Dale"),
    ("cuthbert", "Cuthbert Lowe"),
    ("merrin", "Merrin Tallow"),
    ("ansel", "Ansel Birk"),
    ("fenella", "Fenella Crick"),
    ("oswin", "Oswin Hale"),
    ("tamsin", "Tamsin Rook"),
    ("lorcan", "Lorcan Pyke"),
    ("velda", "Velda Sorrel"),
    ("hamo", "Hamo Trist"),
    ("bronagh", "Bronagh Lisle"),
    ("edric", "Edric Vane"),
    ("marit", "Marit Sund"),
    ("colan", "Colan Reeve"),
    ("ursel", "Ursel Finch"),
    ("denzil", "Denzil Carew"),
    ("ione", "Ione Mallow"),
];
const CULTIVARS: [&str; 4] = ["Lantern Moth", "Quarrymead", "Ferrywell Gold", "Old Tollhouse"];
const MATERIALS: [(Material, Form); 3] = [
    (Material::ScionWood, Form::Leafless),
    (Material::Seed, Form::CleanedSeed),
    (Material::Seedling, Form::InMedium),
];
/// What is dear to many: cultivar and material, the dearest first.
const DEAR: [(usize, usize); 12] =
    [(1, 0), (3, 0), (0, 1), (2, 0), (0, 2), (1, 2), (0, 0), (3, 2), (2, 2), (2, 1), (1, 1), (3, 1)];

/// Does something through the door, and keeps what came of it.
async fn done<U: UseCase>(
    app: &App,
    call: &Call,
    use_case: U,
    keep: impl Fn(&U::Out) -> String + Send + Sync + 'static,
) -> Result<String> {
    let bytes = app.write(call, use_case, KeepReply::Yes, move |out| keep(out).into_bytes()).await?;
    Ok(String::from_utf8(bytes)?)
}

/// Makes the club and its round, and has thirty bring and wish; the round.
pub(super) async fn gather(app: &App, first: &[&Call]) -> Result<RoundId> {
    let [steward, ..] = first else { anyhow::bail!("the club has a steward") };
    let club =
        ClubDraft { name: "Larkwater Fruit Growers".into(), area: "XB-NS".into(), ..Default::default() };
    let club: ClubId =
        done(app, steward, CreateClub { draft: club }, |c| c.club.id.to_string()).await?.parse()?;
    let mut people: Vec<Call> = first.iter().map(|call| (*call).clone()).collect();
    for (handle, name) in OTHERS {
        people.push(member(app, handle, name, "").await?);
    }
    for call in people.iter().skip(1) {
        let handle = call.account()?.handle.clone();
        let words = String::new();
        done(app, steward, InviteToClub { id: club, handle, words }, |_| String::new()).await?;
        done(app, call, AnswerInvitation { id: club, accept: true }, |_| String::new()).await?;
    }
    let today = steward.now.date();
    let draft = RoundDraft {
        title: "Winter swap".into(),
        place: "the old packing shed, Larkwater".into(),
        area: "XB-NS".into(),
        day: Some(today.plus_days(8)),
        gather_until: Some(today.plus_days(6)),
        settings: Settings { cap: 4, ..Settings::default() },
        ..Default::default()
    };
    let round: RoundId =
        done(app, steward, CreateRound { club, draft }, |r| r.round.id.to_string()).await?.parse()?;
    for (at, call) in people.iter().enumerate() {
        let draft = PartDraft {
            // two live across the border, where no rule is on file
            area: if at == 11 || at == 23 { "XB-SS".into() } else { "XB-NS".into() },
            meeting: true,
            contact: format!("{}, at the shed", call.account()?.display_name),
            ..Default::default()
        };
        done(app, call, JoinRound { id: round, draft }, |_| String::new()).await?;
        // three come with empty hands: they are new
        if at < 27 {
            bring(app, call, round, at).await?;
        }
    }
    for (at, call) in people.iter().enumerate() {
        done(app, call, SetWishes { id: round, lines: wishes(at) }, |_| String::new()).await?;
    }
    Ok(round)
}

/// What the n-th member brings: one kind of thing, two or three packs; a few as gifts.
async fn bring(app: &App, call: &Call, round: RoundId, at: usize) -> Result<()> {
    let (cultivar, (material, form)) = (
        CULTIVARS.iter().cycle().nth(at),
        MATERIALS.iter().cycle().nth(at / 4 + at % 2).copied().unwrap_or(MATERIALS[0]),
    );
    let draft = Draft {
        material: Some(material),
        quantity: if material == Material::Seed { 15 } else { 3 },
        terms: Some(Terms::Swap),
        available_until: Some(call.now.date().plus_days(9)),
        area_code: "XB-NS".into(),
        grid_code: "2CGV2200+".into(),
        place_label: "Larkwater".into(),
        hand_over: vec![HandOver::Meeting],
        health: looked_at(form, "XB-NS"),
        ..Draft::default()
    };
    let post = CreateOffer {
        cultivar: (*cultivar.context("a cultivar")?).into(),
        crop: "mango".into(),
        draft,
        lot: String::new(),
        club: String::new(),
    };
    let offer: OfferId = done(app, call, post, |o| o.offer.id.to_string()).await?.parse()?;
    let units = if at.is_multiple_of(3) { 3 } else { 2 };
    let lot = BringLot { id: round, offer, units, per_unit: 0, gift: at % 9 == 4, papers: String::new() };
    done(app, call, lot, |_| String::new()).await?;
    Ok(())
}

/// What the n-th member wishes for: what is dear to many first, then further down the list.
fn wishes(at: usize) -> Vec<ListLine> {
    let picks = [at % 3, 1 + at % 5, 4 + at % 4, 6 + at % 6];
    let mut seen = Vec::new();
    let mut lines = Vec::new();
    for pick in picks {
        if seen.contains(&pick) {
            continue;
        }
        seen.push(pick);
        let Some((cultivar, material)) = DEAR.get(pick) else { continue };
        let accepts = AcceptsDraft {
            cultivar: CULTIVARS.get(*cultivar).copied().unwrap_or_default().into(),
            crop: "mango".into(),
            material: MATERIALS.get(*material).map(|(m, _)| *m),
            ..Default::default()
        };
        lines.push(ListLine { rank: 0, quantity: if pick > 5 { 2 } else { 1 }, accepts: vec![accepts] });
    }
    lines
}

fn counted(packs: i32) -> String {
    if packs == 1 { "one pack".into() } else { format!("{packs} packs") }
}

/// Settles the round over the socket, and tells what came of it.
pub(super) async fn settle(visitor: &Caller, paper: &Paper, round: RoundId) -> Result<()> {
    paper.title("7. A swap day of thirty, settled fairly");
    let round_id = round.to_string();
    let organiser = visitor.sign_in(scene::STEWARD).await?;
    let lots = organiser
        .call(v1::ListRoundLotsRequest { round_id: round_id.clone(), page_size: 100, ..Default::default() })
        .await?
        .lots;
    let packs: i32 = lots.iter().map(|l| l.units).sum();
    paper.text(&format!(
        "Thirty members of an invented club bring {} lots, {packs} packs in all (a pack is a stick of wood, five seeds or a seedling), and list what they wish for, the dearest first. No one sees the others' lists.",
        lots.len()
    ));
    let preview = v1::PreviewRoundRequest {
        round_id: round_id.clone(),
        tried: Some(v1::RoundSettings {
            cap: Some(2),
            slack: Some(0),
            newcomers: Some(0),
            ..Default::default()
        }),
    };
    let previews = organiser.call(preview).await?.previews;
    say!();
    paper.text("A dry run first, with two sets of rules side by side:");
    for (preview, rules) in
        previews.iter().zip(["up to 4 packs each, one of leeway", "up to 2 packs each, no leeway"])
    {
        paper.item(
            "-",
            &format!(
                "{rules}: {} packs change hands, {} members get a first wish, {} go home with nothing.",
                preview.given, preview.first_wish, preview.with_nothing
            ),
        );
    }
    let sealed = organiser.call(v1::SealRoundRequest { round_id: round_id.clone() }).await?;
    let sealed = sealed.round.context("the round came back empty")?;
    say!();
    paper.text(&format!(
        "The organiser seals it. The hash of the secret of the draw was known from the beginning ({}…), the hash of all lists is published now ({}…): no one can choose the draw any more.",
        sealed.commitment.get(..12).unwrap_or_default(),
        sealed.input_hash.get(..12).unwrap_or_default()
    ));
    let request = v1::SettleRoundRequest { round_id: round_id.clone(), only_checked_in: false };
    let mut stream = organiser.replies(request).await?;
    let mut last = v1::SettleRoundResponse::default();
    while let Some(step) = stream.message().await? {
        last = step;
    }
    let shares = organiser
        .call(v1::ListRoundSharesRequest { round_id: round_id.clone(), page_size: 100, ..Default::default() })
        .await?
        .shares;
    say!();
    paper.text(&format!(
        "Settled: {} packs change hands, in {} hand-overs. No one gives more than one pack beyond what they get, unless they said so; who has least comes first; then as many first wishes as can be. Lots 1 to 3:",
        last.units,
        shares.len()
    ));
    for share in shares.iter().filter(|s| s.lot_number <= 3) {
        paper.item(
            &format!("{:>2}", share.lot_number),
            &format!(
                "{} of {}: {} > {}",
                counted(share.units),
                share.cultivar_name,
                share.giver_name,
                share.taker_name
            ),
        );
    }
    // someone whose wishes did not all come true, and someone across the border
    for handle in ["juno", "lettice"] {
        let member = visitor.sign_in(handle).await?;
        let mine = member.call(v1::GetMyRoundRequest { round_id: round_id.clone() }).await?;
        say!();
        paper.text(&format!("What {} sees:", member.name));
        for wish in &mine.wishes {
            let came = match wish.units {
                n if n >= wish.quantity => "yours".to_string(),
                0 => "no".into(),
                n => format!("{n} of {}", wish.quantity),
            };
            paper.item(
                &format!("{}.", wish.rank),
                &format!(
                    "{}: {came}. {}",
                    wish.accepts.join(", or "),
                    wish.why_not.as_ref().map(scionary_show::round::why::why_not).unwrap_or_default()
                ),
            );
        }
    }
    say!();
    paper.text("Who was unlucky starts earlier in the next round. Anyone can check the outcome without solving it again: scionary round audit, then deploy/verify-round.");
    Ok(())
}
