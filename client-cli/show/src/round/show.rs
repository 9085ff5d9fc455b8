//! A round and one's part in it.

use scionary_proto::v1;

use crate::{View, words};

/// Shows a [`v1::ListRoundsResponse`].
pub fn list_rounds(view: &mut View, reply: &v1::ListRoundsResponse) {
    if reply.rounds.is_empty() {
        view.line("No round of your clubs is open. Closed ones: scionary round list --all");
    }
    for round in &reply.rounds {
        let says = round.says.clone().unwrap_or_default();
        let part = if round.takes_part { "; you take part" } else { "" };
        view.item(
            0,
            "-",
            format!(
                "{} on {}, {} [{}{part}]",
                says.title,
                words::day(says.day),
                round.club_name,
                phase(round)
            ),
        );
        view.item(2, "", &round.round_id);
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListRoundLotsResponse`].
pub fn list_round_lots(view: &mut View, reply: &v1::ListRoundLotsResponse, left_only: bool) {
    if reply.lots.is_empty() {
        view.line(if left_only { "Nothing is left over." } else { "Nobody brings anything yet." });
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
        if !wish.why_not.is_empty() {
            view.item(5, "", &wish.why_not);
        }
        for lot in wish.lots.iter().filter(|_| every_lot) {
            view.item(5, &format!("lot {}:", lot.number), &lot.words);
        }
    }
    view.gap();
    let id = &round.round_id;
    view.note(&match (round.phase(), settled) {
        (v1::RoundPhase::HandingOver, _) => format!("What is left over: scionary round lots {id} --left"),
        (_, true) => "Each swap is a claim, with how the other can be reached: scionary claim show ID".into(),
        (_, false) => format!("Change your list: scionary round wish {id} LOT..."),
    });
}

pub(crate) fn phase(round: &v1::Round) -> String {
    words::plain(round.phase().as_str_name(), "ROUND_PHASE_")
}

/// A round, and what its reader does next.
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
            "up to {} each{of_one}; anybody may be asked to give {} more than they get, newcomers get {} more than they give{post}",
            words::counted(settings.cap, "pack"),
            settings.slack,
            settings.newcomers
        ),
    );
    if let Some(step) = settings.fair_levels {
        view.fact(
            "order",
            format!("everybody's packs up to their {step}., then wishes by rank, then all other packs"),
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
    let next = match (round.phase(), round.takes_part, round.arranges) {
        (v1::RoundPhase::Gathering, false, _) => {
            format!("Take part: scionary round join {id} --area CODE --contact \"HOW TO REACH YOU\"")
        }
        (v1::RoundPhase::Gathering, true, false) => format!(
            "What others bring: scionary round lots {id}. Your wishes: scionary round wish {id} LOT... Your part: scionary round mine {id}"
        ),
        (v1::RoundPhase::Gathering, true, true) => {
            format!("See what it would come to: scionary round dry-run {id}. Then: scionary round seal {id}")
        }
        (v1::RoundPhase::Sealed, _, true) => format!("Settle it: scionary round settle {id}"),
        (v1::RoundPhase::Sealed, _, false) => "Its organisers settle it next; your inbox tells you.".into(),
        (v1::RoundPhase::Allotted, _, true) => format!(
            "Print the sheets: scionary round sheets {id} --out FILE. On the day: scionary round begin {id}"
        ),
        (v1::RoundPhase::HandingOver, _, true) => format!(
            "What is there: scionary round check-in {id} LOT... Who is not: scionary round absent {id} MEMBER... Tick off: scionary round hand-over {id}. At the end: scionary round close {id}"
        ),
        (v1::RoundPhase::Allotted | v1::RoundPhase::HandingOver | v1::RoundPhase::Closed, true, _) => {
            format!("What you get, and why: scionary round mine {id}")
        }
        (_, _, _) => String::new(),
    };
    view.note(&next);
}

/// What a lot is: "12: 4 packs of 1 stick, Larkwater Gold (scion wood), from Juno Vale".
pub fn lot_line(lot: &v1::RoundLot) -> String {
    let packs = words::counted(lot.units, "pack");
    let each = words::amount(lot.per_unit, lot.unit());
    let gift = if lot.gift { ", a gift" } else { "" };
    format!("{} ({}): {packs} of {each}{gift}", lot.cultivar_name, words::material(lot.material()))
}

/// How somebody stands from earlier rounds.
pub fn standing(reply: &v1::GetMyRoundResponse) -> String {
    let (gave, took) = (reply.given_before, reply.taken_before);
    if gave == 0 && took == 0 {
        return "your first round of this club".into();
    }
    let books = format!("you gave {gave} and took {took} in earlier rounds");
    match reply.head_start {
        0 => format!("{books}: you stand as everybody"),
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
