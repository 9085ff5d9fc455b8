//! The swap day of a round.

use scionary_proto::v1;

use crate::{View, round::show::told, words};

/// Shows a [`v1::CheckInLotResponse`].
pub fn check_in_lot(view: &mut View, reply: &v1::CheckInLotResponse, not_here: bool) {
    let is = if not_here { "is not here" } else { "is here" };
    let short = match reply.short {
        0 => String::new(),
        n => format!(
            " {} did not come: settle again to see who goes without.",
            words::counted(n, "promised pack")
        ),
    };
    view.drawn(format!("Lot {} {is}.{short}", reply.number));
}

/// Shows a [`v1::SetPresenceResponse`].
pub fn set_presence(view: &mut View, reply: &v1::SetPresenceResponse, came: bool) {
    let word = if came { "came" } else { "did not come" };
    view.drawn(format!("Member {} {word}.", reply.number));
}

/// Shows an [`v1::AddRoundMemberResponse`].
pub fn add_round_member(view: &mut View, reply: &v1::AddRoundMemberResponse, member: &str) {
    view.drawn(format!("{member} takes part: number {}.", reply.number));
}

/// Shows a [`v1::ListRoundEventsResponse`].
pub fn list_round_events(view: &mut View, reply: &v1::ListRoundEventsResponse) {
    if reply.events.is_empty() {
        view.line("Nothing is noted yet.");
    }
    for event in &reply.events {
        let lot = if event.lot_number > 0 { format!("lot {}", event.lot_number) } else { String::new() };
        let member = match event.member_number {
            0 => event.member_name.clone(),
            n => format!("{n} {}", event.member_name),
        };
        let packs = words::counted(event.units, "pack");
        let what = match event.kind() {
            v1::RoundEventKind::Unspecified => "something".into(),
            v1::RoundEventKind::Sealed => "sealed".into(),
            v1::RoundEventKind::Reopened => "opened again".into(),
            v1::RoundEventKind::Settled => format!("settled: {packs} change hands"),
            v1::RoundEventKind::Began => "the day began".into(),
            v1::RoundEventKind::Arrived => format!("{lot} arrived: {packs}"),
            v1::RoundEventKind::NotArrived => format!("{lot} is not here after all"),
            v1::RoundEventKind::Counted => format!("{lot} arrived with {packs} only"),
            v1::RoundEventKind::Absent => format!("{member} did not come"),
            v1::RoundEventKind::Came => format!("{member} came after all"),
            v1::RoundEventKind::HandedOver => format!("{lot} to {member}: {packs}"),
            v1::RoundEventKind::TakenBack => format!("tick taken back: {lot} to {member}"),
            v1::RoundEventKind::LeftOver => format!("{member} took {packs} of {lot}, left over"),
            v1::RoundEventKind::Joined => format!("{member} walked in"),
            v1::RoundEventKind::Brought => format!("{member} brought {lot}: {packs}"),
            v1::RoundEventKind::Closed => "closed".into(),
            v1::RoundEventKind::TakenAlong => "taken along, to be run without a connection".into(),
            v1::RoundEventKind::BroughtHome => {
                format!("{} brought home", words::counted(event.units, "step"))
            }
            v1::RoundEventKind::Refused => format!("{lot} for {member}: one of both said no"),
        };
        let at = words::time(event.at.as_ref());
        view.item(0, &format!("{:>3}.", event.number), format!("{what} ({at}, {})", event.by_name));
    }
    view.more(&reply.next_page_token);
}

/// What a step of a day was, in words.
fn step(step: &v1::BroughtStep) -> String {
    let v1::BroughtStep { method, lot, member, .. } = step;
    match method.as_str() {
        "StartHandOver" => "the day began".into(),
        "CheckInLot" => format!("lot {lot} checked in, or counted"),
        "SetPresence" => format!("whether {member} came"),
        "HandOverShare" => format!("lot {lot} to {member}"),
        "UndoHandOver" => format!("tick taken back: lot {lot} to {member}"),
        "AddRoundMember" => format!("{member} walked in"),
        "TakeLeftOver" if member.is_empty() => format!("left over of lot {lot}"),
        "TakeLeftOver" => format!("left over of lot {lot}, for {member}"),
        "SettleRound" => "settled again".into(),
        "CloseRound" => "closed".into(),
        "BringLot" => "a lot brought".into(),
        "SetWishes" => "a list of wishes".into(),
        "JoinRound" => "someone joined".into(),
        "EnterHelpedMember" => "someone without a computer entered".into(),
        "CreateOffer" => "an offer posted".into(),
        "EnterCultivar" => "a record entered as said".into(),
        other => other.to_string(),
    }
}

/// Shows what became of the steps of a day that was brought home: of all replies together, and how many steps of the file
/// or its copies the server had taken before the first.
pub fn brought_home(view: &mut View, steps: &[v1::BroughtStep], known: i32) {
    let number = |n: usize| i32::try_from(n).unwrap_or(i32::MAX);
    let count = |outcome: v1::StepOutcome| number(steps.iter().filter(|s| s.outcome() == outcome).count());
    let (taken, before) = (count(v1::StepOutcome::Taken), count(v1::StepOutcome::Before));
    if steps.is_empty() {
        view.line("The file has no step yet: nothing was noted with it.");
        return;
    }
    view.line(format!("{} taken.", words::counted(taken, "step")));
    if before > 0 {
        view.line(format!("{} taken before, and left as they are.", words::counted(before, "step")));
    }
    let elsewhere = known.saturating_sub(before);
    if elsewhere > 0 {
        view.line(format!(
            "A copy of this file was brought home before, with {} that this one does not have. The steps of both are in the log.",
            words::counted(elsewhere, "step")
        ));
    }
    let refused: Vec<&v1::BroughtStep> =
        steps.iter().filter(|s| s.outcome() == v1::StepOutcome::Refused).collect();
    if refused.is_empty() {
        return;
    }
    view.gap();
    view.line(format!("{} could not be taken:", words::counted(number(refused.len()), "step")));
    for one in refused {
        let at = words::time(one.noted_at.as_ref());
        view.item(0, "-", format!("{} ({at}): {}", step(one), one.message));
    }
}

/// Shows a [`v1::ListRoundMembersResponse`].
pub fn list_round_members(view: &mut View, reply: &v1::ListRoundMembersResponse) {
    if reply.members.is_empty() {
        view.line("No one takes part yet.");
    } else {
        view.table(
            ["no.", "member", "to", "brings", "wishes", "gets", "gives", "before"],
            reply.members.iter().map(|m| {
                let absent = if m.absent { " (absent)" } else { "" };
                [
                    m.number.to_string(),
                    format!("{}{absent}", m.name),
                    m.area_code.clone(),
                    m.brings.to_string(),
                    m.lines.to_string(),
                    m.gets.to_string(),
                    m.gives.to_string(),
                    format!("{:+}", m.given_before - m.taken_before),
                ]
            }),
        );
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListRoundSharesResponse`].
pub fn list_round_shares(view: &mut View, reply: &v1::ListRoundSharesResponse) {
    if reply.shares.is_empty() {
        view.line("Nothing changes hands, or the round is not settled yet.");
    }
    for share in &reply.shares {
        let done = if share.state() == v1::ClaimState::HandedOver { " [done]" } else { "" };
        let post = if share.by_post { ", by post" } else { "" };
        view.item(
            0,
            &format!("lot {}:", share.lot_number),
            format!(
                "{}, {} {} > {} {}{post}{done}",
                what(share),
                share.giver_number,
                share.giver_name,
                share.taker_number,
                share.taker_name
            ),
        );
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::CloseRoundResponse`].
pub fn close_round(view: &mut View, reply: &v1::CloseRoundResponse, open: usize) {
    told(view, reply.round.as_ref());
    view.line(&match open {
                    0 => "All that was promised changed hands; what was left over is on offer again.".to_string(),
                    n => format!(
                        "{n} still to change hands: their two sides were told, and confirm it themselves. What was left over is on offer again."
                    ),
                });
}

/// Returns what a share is: amount, cultivar and material.
pub fn what(share: &v1::RoundShare) -> String {
    format!(
        "{} of {} ({})",
        words::amount(share.quantity, share.unit()),
        share.cultivar_name,
        words::material(share.material())
    )
}
