//! Swap rounds on the wire.

use scionary_app::{
    App, Error,
    rounds::{
        AcceptsDraft, ChangeRound, ListLine, MyRound, Preview, Previewed, RoundProgress, ShownEvent,
        ShownLot, ShownPart, ShownRound, ShownShare, ShownTaken, ShownWish, WhyNot, WhyShort,
    },
};
use scionary_domain::{
    clearing::{Aim, Bar, Limit, Reason},
    field::FieldError,
    ids::AccountId,
    round::{
        Accepts, EventKind, Part, PartDraft, Phase, Round, RoundDraft, Says, Settings, WhyLeft, bar_words,
    },
};
use scionary_proto::v1;

use super::{
    claim::write_state,
    count, date,
    offer::{read_material, write_material, write_unit},
    read_date, seen, timestamp,
};
use crate::mask::Change;

fn small(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

/// A number that cannot be negative: a negative one is read as one that no limit allows.
fn natural(n: i32) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

fn read_settings(settings: Option<v1::RoundSettings>) -> Settings {
    let v1::RoundSettings { cap, slack, newcomers, cultivar_cap, fair_levels, by_post } =
        settings.unwrap_or_default();
    let usual = Settings::default();
    Settings {
        cap: cap.map_or(usual.cap, natural),
        slack: slack.map_or(usual.slack, natural),
        newcomers: newcomers.map_or(usual.newcomers, natural),
        cultivar_cap: natural(cultivar_cap),
        fair_levels,
        by_post,
    }
}

/// Settings to be tried.
pub fn tried(settings: Option<v1::RoundSettings>) -> Option<Settings> {
    settings.map(|settings| read_settings(Some(settings)))
}

fn write_settings(settings: &Settings) -> v1::RoundSettings {
    v1::RoundSettings {
        cap: Some(small(settings.cap)),
        slack: Some(small(settings.slack)),
        newcomers: Some(small(settings.newcomers)),
        cultivar_cap: small(settings.cultivar_cap),
        fair_levels: settings.fair_levels,
        by_post: settings.by_post,
    }
}

/// What a round says of itself.
///
/// # Errors
/// Days that are none.
pub fn draft(draft: Option<v1::RoundDraft>) -> Result<RoundDraft, Error> {
    let v1::RoundDraft { title, about, place, area_code, day, gather_until, settings } =
        draft.unwrap_or_default();
    let mut wrong = Vec::new();
    let day = read_date("round.day", day, &mut wrong);
    let gather_until = read_date("round.gather_until", gather_until, &mut wrong);
    if !wrong.is_empty() {
        return Err(wrong.into());
    }
    Ok(RoundDraft {
        title,
        about,
        place,
        area: area_code,
        day,
        gather_until,
        settings: read_settings(settings),
    })
}

/// What a round says of itself, as an organiser would state it.
fn stated(says: &Says) -> v1::RoundDraft {
    v1::RoundDraft {
        title: says.title.clone(),
        about: says.about.clone(),
        place: says.place.clone(),
        area_code: says.area.as_str().to_string(),
        day: Some(date(says.day)),
        gather_until: Some(date(says.gather_until)),
        settings: Some(write_settings(&says.settings)),
    }
}

/// A request to change a round.
///
/// # Errors
/// Values that cannot be read.
pub fn change(request: v1::UpdateRoundRequest) -> Result<ChangeRound, Error> {
    let v1::UpdateRoundRequest { round_id, round, version, update_mask } = request;
    let id = App::id(&round_id)?;
    let mask = Change::read("round", round, update_mask)?;
    let change = move |round: &Round| {
        draft(Some(mask.over(&stated(&round.says)).map_err(|e| Error::Internal(e.to_string()))?))
    };
    Ok(ChangeRound { id, version: seen(version), change: Box::new(change) })
}

/// How a member takes part.
pub fn part(part: Option<v1::RoundPart>) -> PartDraft {
    let v1::RoundPart { area_code, meeting, post, contact, give_more, contact_on_sheets } =
        part.unwrap_or_default();
    let give_more = natural(give_more);
    PartDraft { area: area_code, meeting, post, contact, give_more, on_sheets: contact_on_sheets }
}

/// A list of wishes.
///
/// # Errors
/// Materials that this server does not know.
pub fn lines(lines: Vec<v1::WishLine>) -> Result<Vec<ListLine>, Error> {
    let mut wrong = Vec::new();
    let mut all = Vec::new();
    for (at, v1::WishLine { rank, quantity, accepts }) in lines.into_iter().enumerate() {
        let accepts = accepts
            .into_iter()
            .enumerate()
            .map(|(place, v1::WishAccepts { what })| match what {
                Some(v1::wish_accepts::What::Lot(lot)) => AcceptsDraft { lot, ..Default::default() },
                Some(v1::wish_accepts::What::Any(v1::WishCultivar { cultivar, crop, material })) => {
                    let field = format!("wishes[{at}].accepts[{place}].any.material");
                    let material = read_material(&field, material, &mut wrong);
                    AcceptsDraft { lot: String::new(), cultivar, crop, material }
                }
                None => AcceptsDraft::default(),
            })
            .collect();
        all.push(ListLine { rank: natural(rank), quantity: natural(quantity), accepts });
    }
    if wrong.is_empty() { Ok(all) } else { Err(wrong.into()) }
}

/// A number of packs.
///
/// # Errors
/// A negative one.
pub fn packs(field: &str, n: i32) -> Result<u32, Error> {
    u32::try_from(n).map_err(|_| FieldError::new(field, "0 or more expected").into())
}

/// A round.
pub fn round(shown: &ShownRound) -> v1::Round {
    let round = &shown.round;
    let says = &round.says;
    let many = |n: u64| count(usize::try_from(n).unwrap_or(usize::MAX));
    v1::Round {
        round_id: round.id.to_string(),
        club_id: round.club.to_string(),
        club_name: shown.club_name.clone(),
        says: Some(stated(says)),
        phase: match round.phase {
            Phase::Gathering => v1::RoundPhase::Gathering,
            Phase::Sealed => v1::RoundPhase::Sealed,
            Phase::Allotted => v1::RoundPhase::Allotted,
            Phase::HandingOver => v1::RoundPhase::HandingOver,
            Phase::Closed => v1::RoundPhase::Closed,
            Phase::CalledOff => v1::RoundPhase::CalledOff,
        }
        .into(),
        commitment: round.commitment.clone(),
        secret: shown.secret().to_string(),
        input_hash: round.input_hash.clone().unwrap_or_default(),
        runs: small(round.runs),
        members: many(shown.members),
        lots: many(shown.lots),
        wishes: many(shown.wishes),
        takes_part: shown.takes_part,
        arranges: shown.arranges,
        advice: shown
            .advice
            .iter()
            .map(|advice| v1::RoundAdvice {
                from_area_code: advice.from.as_str().to_string(),
                to_area_code: advice.to.as_str().to_string(),
                asked: advice.asked.clone(),
                said: advice.said.clone(),
                noted_at: Some(timestamp(advice.at)),
            })
            .collect(),
        created_at: Some(timestamp(round.created_at)),
        version: round.says_version,
    }
}

/// A lot of a round, as someone sees it.
pub fn lot(shown: &ShownLot, seen_by: AccountId) -> v1::RoundLot {
    let lot = &shown.lot;
    let own = lot.giver == seen_by;
    v1::RoundLot {
        round_lot_id: lot.id.to_string(),
        number: small(lot.number),
        offer_id: lot.offer.to_string(),
        code: shown.code.map(|c| c.to_string()).unwrap_or_default(),
        cultivar_name: shown.cultivar_name.clone(),
        material: write_material(shown.material),
        giver_name: shown.giver_name.clone(),
        units: small(lot.units),
        per_unit: small(lot.per_unit),
        unit: write_unit(shown.unit),
        gift: lot.gift,
        papers: lot.papers.clone(),
        checked_in: lot.checked_in_at.is_some(),
        left: small(shown.left),
        barred: shown.bar.filter(|_| !own).map(|bar| bar_words(bar).to_string()).unwrap_or_default(),
        own,
        bar: shown.bar.filter(|_| !own).map_or(v1::RoundBar::Unspecified, write_bar).into(),
        cultivar_id: shown.cultivar.to_string(),
        came: small(lot.came.unwrap_or(0)),
    }
}

fn write_part(part: &Part) -> v1::RoundPart {
    v1::RoundPart {
        area_code: part.area.as_str().to_string(),
        meeting: part.meeting,
        post: part.post,
        contact: part.contact.clone(),
        give_more: small(part.give_more),
        contact_on_sheets: part.on_sheets,
    }
}

fn wish(shown: &ShownWish) -> v1::MyWish {
    v1::MyWish {
        wish_id: shown.wish.id.to_string(),
        rank: small(shown.wish.rank),
        quantity: small(shown.wish.quantity),
        accepts: shown.accepts.clone(),
        accepts_sent: shown
            .wish
            .accepts
            .iter()
            .map(|accepts| match accepts {
                Accepts::Lot(lot) => v1::wish_accepts::What::Lot(lot.to_string()),
                Accepts::Any(cultivar, material) => v1::wish_accepts::What::Any(v1::WishCultivar {
                    cultivar: cultivar.to_string(),
                    crop: String::new(),
                    material: write_material(*material),
                }),
            })
            .map(|what| v1::WishAccepts { what: Some(what) })
            .collect(),
        units: small(shown.units),
        why_not: shown.why_not.as_ref().map(why_short),
        lots: shown.lots.iter().map(|(number, why)| why_not(*number, why)).collect(),
    }
}

fn why_short(why: &WhyShort) -> v1::WhyNot {
    let only = |rule: v1::WhyNotRule| v1::WhyNot { rule: rule.into(), ..Default::default() };
    match why {
        WhyShort::NotBrought => only(v1::WhyNotRule::NotBrought),
        WhyShort::FromLeftOvers => only(v1::WhyNotRule::FromLeftOvers),
        WhyShort::Withdrawn => only(v1::WhyNotRule::Withdrawn),
        WhyShort::NotWorkedOut => only(v1::WhyNotRule::NotWorkedOut),
        WhyShort::Nearest(number, why) => why_not(*number, why),
    }
}

const fn write_bar(bar: Bar) -> v1::RoundBar {
    match bar {
        Bar::Own => v1::RoundBar::Own,
        Bar::Movement => v1::RoundBar::Movement,
        Bar::NoRule => v1::RoundBar::NoRule,
        Bar::HandOver => v1::RoundBar::HandOver,
        Bar::Alert => v1::RoundBar::Alert,
        Bar::Viability => v1::RoundBar::Viability,
        Bar::Blocked => v1::RoundBar::Blocked,
        Bar::Refused => v1::RoundBar::Refused,
        Bar::Absent => v1::RoundBar::Absent,
    }
}

fn why_not(number: u32, why: &WhyNot) -> v1::WhyNot {
    let base = v1::WhyNot { lot_number: small(number), others: small(why.others), ..Default::default() };
    let only = |rule: v1::WhyNotRule| v1::WhyNot { rule: rule.into(), ..base.clone() };
    match &why.reason {
        Reason::Met | Reason::AllOfIt => only(v1::WhyNotRule::AllOfIt),
        Reason::Gone => only(v1::WhyNotRule::Gone),
        Reason::Books => only(v1::WhyNotRule::NoChain),
        Reason::Barred { bar } => v1::WhyNot {
            bar: write_bar(*bar).into(),
            bar_words: bar_words(*bar).into(),
            ..only(v1::WhyNotRule::Barred)
        },
        Reason::Limits { limits } => {
            let limits = limits.iter().map(|limit| match limit {
                Limit::Cap => v1::RoundLimit::Cap,
                Limit::CultivarCap => v1::RoundLimit::CultivarCap,
                Limit::Get => v1::RoundLimit::Get,
                Limit::Give => v1::RoundLimit::Give,
            });
            v1::WhyNot { limits: limits.map(Into::into).collect(), ..only(v1::WhyNotRule::Limits) }
        }
        Reason::Decided { by, change } => {
            let (rule, rank) = match by {
                Aim::Kept => (v1::WhyNotRule::EarlierOutcome, 0),
                Aim::Level(_) => (v1::WhyNotRule::Level, 0),
                Aim::Who => (v1::WhyNotRule::DrawOfMembers, 0),
                Aim::Rank(rank) => (v1::WhyNotRule::Rank, *rank),
                Aim::Which | Aim::Settled => (v1::WhyNotRule::DrawOfLots, 0),
            };
            v1::WhyNot {
                rank: small(rank),
                own_total: change.own_total,
                own_lines: change.own_lines.iter().copied().map(small).collect(),
                same_line: change.same_line,
                others_less: small(change.others_less),
                others_more: small(change.others_more),
                at_level: small(change.at_level),
                standing: change.standing,
                lines_less: small(change.lines_less),
                lines_more: small(change.lines_more),
                ..only(rule)
            }
        }
    }
}

/// An event of a round's log.
pub fn event(shown: &ShownEvent) -> v1::RoundEvent {
    let event = &shown.event;
    v1::RoundEvent {
        number: small(event.number),
        kind: match event.kind {
            EventKind::Sealed => v1::RoundEventKind::Sealed,
            EventKind::Reopened => v1::RoundEventKind::Reopened,
            EventKind::Settled => v1::RoundEventKind::Settled,
            EventKind::Began => v1::RoundEventKind::Began,
            EventKind::Arrived => v1::RoundEventKind::Arrived,
            EventKind::NotArrived => v1::RoundEventKind::NotArrived,
            EventKind::Counted => v1::RoundEventKind::Counted,
            EventKind::Absent => v1::RoundEventKind::Absent,
            EventKind::Came => v1::RoundEventKind::Came,
            EventKind::HandedOver => v1::RoundEventKind::HandedOver,
            EventKind::TakenBack => v1::RoundEventKind::TakenBack,
            EventKind::TakenAlong => v1::RoundEventKind::TakenAlong,
            EventKind::BroughtHome => v1::RoundEventKind::BroughtHome,
            EventKind::LeftOver => v1::RoundEventKind::LeftOver,
            EventKind::Joined => v1::RoundEventKind::Joined,
            EventKind::Brought => v1::RoundEventKind::Brought,
            EventKind::Closed => v1::RoundEventKind::Closed,
            EventKind::Refused => v1::RoundEventKind::Refused,
        }
        .into(),
        lot_number: small(shown.lot_number),
        member_number: small(shown.member.0),
        member_name: shown.member.1.clone(),
        units: small(event.units),
        words: event.words.clone(),
        by_name: shown.by_name.clone(),
        at: Some(timestamp(event.at)),
    }
}

fn share(shown: &ShownTaken, seen_by: AccountId) -> v1::MyShare {
    let claim = &shown.claim;
    v1::MyShare {
        claim_id: claim.id.to_string(),
        state: write_state(claim.state),
        lot: Some(lot(&shown.lot, seen_by)),
        units: small(shown.units),
        other_number: small(shown.other_number),
        other_name: shown.other_name.clone(),
        contact: claim.side(seen_by).map(|side| claim.contact_for(side).to_string()).unwrap_or_default(),
    }
}

/// The caller's own part.
pub fn mine(mine: &MyRound) -> v1::GetMyRoundResponse {
    let who = mine.part.account;
    let units = |n: i64| i32::try_from(n).unwrap_or(i32::MAX);
    v1::GetMyRoundResponse {
        round: Some(round(&mine.round)),
        number: small(mine.part.number),
        part: Some(write_part(&mine.part)),
        given_before: units(mine.ledger.given),
        taken_before: units(mine.ledger.taken),
        head_start: mine.head_start,
        lots: mine.lots.iter().map(|l| lot(l, who)).collect(),
        wishes: mine.wishes.iter().map(wish).collect(),
        gets: mine.gets.iter().map(|s| share(s, who)).collect(),
        gives: mine.gives.iter().map(|s| share(s, who)).collect(),
    }
}

/// Someone who takes part, for organisers.
pub fn member(shown: &ShownPart) -> v1::RoundMember {
    let units = |n: i64| i32::try_from(n).unwrap_or(i32::MAX);
    v1::RoundMember {
        account_id: shown.part.account.to_string(),
        number: small(shown.part.number),
        name: shown.name.clone(),
        area_code: shown.part.area.as_str().to_string(),
        meeting: shown.part.meeting,
        post: shown.part.post,
        absent: shown.part.absent,
        given_before: units(shown.ledger.given),
        taken_before: units(shown.ledger.taken),
        brings: small(shown.brings),
        lines: small(shown.lines),
        gets: small(shown.gets),
        gives: small(shown.gives),
        contact: if shown.part.on_sheets { shown.part.contact.clone() } else { String::new() },
    }
}

/// Something that changes hands, for organisers.
pub fn changes(shown: &ShownShare) -> v1::RoundShare {
    v1::RoundShare {
        claim_id: shown.claim.id.to_string(),
        state: write_state(shown.claim.state),
        lot_number: small(shown.lot_number),
        code: shown.code.map(|c| c.to_string()).unwrap_or_default(),
        cultivar_name: shown.cultivar_name.clone(),
        material: write_material(shown.material),
        units: small(shown.claim.in_round.map_or(0, |r| r.units)),
        quantity: shown.claim.quantity,
        unit: write_unit(shown.unit),
        giver_number: small(shown.giver.0),
        giver_name: shown.giver.1.clone(),
        taker_number: small(shown.taker.0),
        taker_name: shown.taker.1.clone(),
        by_post: shown.by_post,
    }
}

const fn why_left(why: WhyLeft) -> &'static str {
    match why {
        WhyLeft::NotWished => "no one wishes for it",
        WhyLeft::Barred => {
            "those who wish for it cannot have it: a rule, an alert, or no way of handing over"
        }
        WhyLeft::Enough => "those who wish for it have all that they asked for, or their limit",
        WhyLeft::Books => {
            "its owner would give more than they get, or who wishes for it would take more than they give"
        }
    }
}

/// What a round would come to.
pub fn preview(found: &Previewed) -> Vec<v1::RoundPreview> {
    let one = |Preview { settings, summary }: &Preview| v1::RoundPreview {
        settings: Some(write_settings(settings)),
        members: small(summary.members),
        wishing: small(summary.wishing),
        brought: small(summary.brought),
        gifts: small(summary.gifts),
        given: small(summary.given),
        first_wish: small(summary.first_wish),
        with_nothing: small(summary.with_nothing),
        by_rank: summary.by_rank.iter().copied().map(small).collect(),
        by_units: summary.by_units.iter().copied().map(small).collect(),
        books: summary
            .books
            .iter()
            .map(|(id, gives, gets)| {
                let (number, name) = found.members.get(id).cloned().unwrap_or_default();
                v1::RoundBooks { number: small(number), name, gives: small(*gives), gets: small(*gets) }
            })
            .collect(),
        left: summary
            .left
            .iter()
            .map(|left| {
                let (number, what) = found.lots.get(&left.lot).cloned().unwrap_or_default();
                let why = why_left(left.why).to_string();
                v1::LeftOver { number: small(number), what, units: small(left.units), why }
            })
            .collect(),
    };
    let mut all: Vec<v1::RoundPreview> = found.previews.iter().map(one).collect();
    for preview in &mut all {
        preview.books.sort_by_key(|row| row.number);
    }
    all
}

/// How far a settling is.
pub fn progress(progress: RoundProgress) -> v1::SettleRoundResponse {
    match progress {
        RoundProgress::Settling(done, of) => {
            v1::SettleRoundResponse { done: small(done), of: small(of), ..Default::default() }
        }
        RoundProgress::Settled { runs, units } => v1::SettleRoundResponse {
            settled: true,
            runs: small(runs),
            units: small(units),
            ..Default::default()
        },
    }
}
