//! A round and the reader's part in it.

use scionary_proto::v1;

use super::why::why_not;
use crate::{Deed, View, words};

/// Shows a [`v1::ListRoundsResponse`].
pub fn list_rounds(view: &mut View, reply: &v1::ListRoundsResponse) {
    if reply.rounds.is_empty() {
        view.line("No round of your clubs is open.");
        view.act("See closed ones too", Deed::RoundListAll.bare());
    }
    for round in &reply.rounds {
        let says = round.says.clone().unwrap_or_default();
        let part = if round.takes_part { "; you take part" } else { "" };
        view.entry(
            &round.round_id,
            format!(
                "{} on {}, {} [{}{part}]",
                says.title,
                words::day(says.day),
                round.club_name,
                phase(round)
            ),
        );
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListRoundLotsResponse`].
pub fn list_round_lots(view: &mut View, reply: &v1::ListRoundLotsResponse, left_only: bool) {
    if reply.lots.is_empty() {
        view.line(if left_only { "Nothing is left over." } else { "No one brings anything yet." });
    }
    for lot in &reply.lots {
        let who = if lot.own { "yours".to_string() } else { format!("from {}", lot.giver_name) };
        let left = if lot.left < lot.units { format!("; {} left", lot.left) } else { String::new() };
        view.item(0, &format!("lot {}:", lot.number), format!("{}, {who}{left}", lot_line(lot)));
        if !lot.barred.is_empty() {
            view.item(4, "", format!("Not for you: {}.", lot.barred));
        }
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::GetMyRoundResponse`].
pub fn get_my_round(view: &mut View, reply: &v1::GetMyRoundResponse, every_lot: bool) {
    let round = reply.round.clone().unwrap_or_default();
    let says = round.says.clone().unwrap_or_default();
    let settled = round.runs > 0;
    view.title(format!("{} on {}: your part", says.title, words::day(says.day)));
    view.fact("stands", phase(&round));
    let place = if says.place.is_empty() { &says.area_code } else { &says.place };
    view.fact("where", place);
    view.fact("your number", format!("{}: your table, and how others find you", reply.number));
    let part = reply.part.clone().unwrap_or_default();
    let comes = match (part.meeting, part.post) {
        (true, true) => "you come to the day, or post",
        (true, false) => "you come to the day",
        (false, _) => "by post",
    };
    view.fact("how", format!("{comes}; what you get goes to {}", part.area_code));
    view.fact("so far", standing(reply));
    if settled {
        shares(view, "You get", &reply.gets, "from");
        shares(view, "You give", &reply.gives, "for");
    } else {
        view.gap();
        view.answer("You bring");
        if reply.lots.is_empty() {
            view.line("Nothing yet.");
        }
        for lot in &reply.lots {
            view.item(0, &format!("lot {}:", lot.number), lot_line(lot));
        }
    }
    view.gap();
    view.answer(if settled { "Your wishes, and what came of them" } else { "Your wishes" });
    if reply.wishes.is_empty() {
        view.line("None yet.");
    }
    for wish in &reply.wishes {
        let packs = if wish.quantity == 1 { String::new() } else { format!("{} of ", wish.quantity) };
        let came = match (settled, wish.units) {
            (false, _) => String::new(),
            (true, units) if units >= wish.quantity => " - yours".into(),
            (true, 0) => " - no".into(),
            (true, units) => format!(" - {units} of {}", wish.quantity),
        };
        view.item(0, &format!("{:>3}.", wish.rank), format!("{packs}{}{came}", wish.accepts.join(", or ")));
        if let Some(why) = &wish.why_not {
            view.item(5, "", why_not(why));
        }
        for lot in wish.lots.iter().filter(|_| every_lot) {
            view.item(5, &format!("lot {}:", lot.lot_number), why_not(lot));
        }
    }
    view.gap();
    let id = &round.round_id;
    match (round.phase(), settled) {
        (v1::RoundPhase::HandingOver, _) => view.act("What is left over", Deed::RoundLotsLeft.on(id)),
        (_, true) => view.act("Each swap is a claim: how to reach the other side", Deed::ClaimShow.bare()),
        (_, false) => view.act("Change your list", Deed::RoundWish.on(id)),
    }
}

pub(crate) fn phase(round: &v1::Round) -> String {
    words::plain(round.phase().as_str_name(), "ROUND_PHASE_")
}

/// Shows a round and what its reader can do next.
pub fn told(view: &mut View, round: Option<&v1::Round>) {
    let Some(round) = round else { return };
    let says = round.says.clone().unwrap_or_default();
    let settings = says.settings.unwrap_or_default();
    view.title(format!("{} ({})", says.title, round.club_name));
    view.fact("round", &round.round_id);
    view.fact("stands", phase(round));
    view.fact("day", words::day(says.day));
    let place = if says.place.is_empty() {
        says.area_code.clone()
    } else {
        format!("{} ({})", says.place, says.area_code)
    };
    view.fact("where", &place);
    view.fact("gathers", format!("until {}", words::day(says.gather_until)));
    view.fact("about", &says.about);
    let people = words::counted(round.members, "member");
    let (lots, lines) = (words::counted(round.lots, "lot"), words::counted(round.wishes, "line"));
    view.fact("so far", format!("{people}, {lots}, {lines} of wishes"));
    let post = if settings.by_post { "; post is possible" } else { "" };
    let of_one = match settings.cultivar_cap {
        0 => String::new(),
        n => format!(", at most {n} of one cultivar"),
    };
    view.fact(
        "rules",
        format!(
            "up to {} each{of_one}; a member may be asked to give {} more than they get; newcomers get {} more than they give{post}",
            words::counted(settings.cap(), "pack"),
            settings.slack(),
            settings.newcomers()
        ),
    );
    if let Some(step) = settings.fair_levels {
        view.fact(
            "order",
            format!("everyone's packs up to their {step}., then wishes by rank, then all other packs"),
        );
    }
    for advice in &round.advice {
        let way = format!("{} to {}", advice.from_area_code, advice.to_area_code);
        view.fact("advice", format!("{way}: {} said: {}", advice.asked, advice.said));
    }
    if !round.secret.is_empty() {
        view.fact("draw", format!("secret {}", round.secret));
    }
    view.fact("draw's hash", &round.commitment);
    view.fact("sealed hash", &round.input_hash);
    view.gap();
    let id = &round.round_id;
    match (round.phase(), round.takes_part, round.arranges) {
        (v1::RoundPhase::Gathering, false, _) => view.act("Take part", Deed::RoundJoin.on(id)),
        (v1::RoundPhase::Gathering, true, false) => {
            view.act("What others bring", Deed::RoundLots.on(id));
            view.act("List your wishes", Deed::RoundWish.on(id));
            view.act("See your part", Deed::RoundMine.on(id));
        }
        (v1::RoundPhase::Gathering, true, true) => {
            view.act("See what settling would give", Deed::RoundDryRun.on(id));
            view.act("Then seal it", Deed::RoundSeal.on(id));
        }
        (v1::RoundPhase::Sealed, _, true) => view.act("Settle it", Deed::RoundSettle.on(id)),
        (v1::RoundPhase::Sealed, _, false) => {
            view.note("Its organisers settle it next. You get a notice.");
        }
        (v1::RoundPhase::Allotted, _, true) => {
            view.act("Print the sheets", Deed::RoundSheets.on(id));
            view.act("On the day", Deed::RoundBegin.on(id));
        }
        (v1::RoundPhase::HandingOver, _, true) => {
            view.act("Note what is there", Deed::RoundCheckIn.on(id));
            view.act("Note who is absent", Deed::RoundAbsent.on(id));
            view.act("Tick off what changed hands", Deed::RoundHandOver.on(id));
            view.act("At the end", Deed::RoundClose.on(id));
        }
        (v1::RoundPhase::Allotted | v1::RoundPhase::HandingOver | v1::RoundPhase::Closed, true, _) => {
            view.act("What you get, and why", Deed::RoundMine.on(id));
        }
        (_, _, _) => {}
    }
}

/// Returns a lot in one line: `Larkwater Gold (scion wood): 4 packs of 1 stick`.
pub fn lot_line(lot: &v1::RoundLot) -> String {
    let packs = words::counted(lot.units, "pack");
    let each = words::amount(lot.per_unit, lot.unit());
    let gift = if lot.gift { ", a gift" } else { "" };
    let came = if lot.came > 0 { format!(", {} came", lot.came) } else { String::new() };
    format!("{} ({}): {packs} of {each}{gift}{came}", lot.cultivar_name, words::material(lot.material()))
}

/// Returns how earlier rounds count for a member.
pub fn standing(reply: &v1::GetMyRoundResponse) -> String {
    let (gave, took) = (reply.given_before, reply.taken_before);
    if gave == 0 && took == 0 {
        return "your first round of this club".into();
    }
    let books = format!("you gave {gave} and took {took} in earlier rounds");
    match reply.head_start {
        0 => format!("{books}: you count like everyone else"),
        n if n > 0 => format!(
            "{books}: your first pack counts as if you had {} less than others",
            words::counted(n, "pack")
        ),
        n => format!(
            "{books}: your first pack counts as if you had {} more than others",
            words::counted(-n, "pack")
        ),
    }
}

pub(crate) fn shares(view: &mut View, heading: &str, shares: &[v1::MyShare], word: &str) {
    view.gap();
    view.answer(heading);
    if shares.is_empty() {
        view.line("Nothing.");
    }
    for share in shares {
        let lot = share.lot.clone().unwrap_or_default();
        let done = if share.state() == v1::ClaimState::HandedOver { " [handed over]" } else { "" };
        view.item(
            0,
            &format!("lot {}:", lot.number),
            format!(
                "{} of {} ({}), {word} {} (number {}){done}",
                words::counted(share.units, "pack"),
                lot.cultivar_name,
                words::material(lot.material()),
                share.other_name,
                share.other_number
            ),
        );
        if !share.contact.is_empty() {
            view.item(
                4,
                "",
                format!("Reach them: {}. Claim: {}", share.contact.trim_end_matches('.'), share.claim_id),
            );
        }
    }
}
