//! The swap day: check-in, hand-overs, sheets and labels, and the close of the round.

use std::{collections::BTreeMap, io::BufRead as _, path::PathBuf};

use scionary_proto::v1;
use scionary_show::round::day as show;

use super::{every_lot, fetch, list};
use crate::{
    args::{LayoutArguments, RoundCommand},
    client::Client,
    error::Failure,
    names,
    output::Output,
    paper::{Label, Line, Section, labels, sheet},
    prompt, words,
};

pub(super) async fn run(client: &Client, output: &Output, command: RoundCommand) -> Result<(), Failure> {
    #[expect(clippy::wildcard_enum_match_arm, reason = "the others are sorted out by the caller")]
    match command {
        RoundCommand::Begin { round, early, undo } => {
            let says = fetch(client, round.clone()).await?.says.unwrap_or_default();
            let early = early || (!undo && is_early(says.day) && agrees(client, says.day)?);
            let request = v1::StartHandOverRequest { round_id: round, early, undo };
            let reply: v1::StartHandOverResponse = client.call(request).await?;
            output.reply(&reply, |view| scionary_show::round::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::CheckIn { round, lots, not_here, came } => {
            if came.is_some() && lots.len() > 1 {
                return Err(Failure::usage("--came counts the packs of one lot: give one lot"));
            }
            for lot in lots {
                let (here, came) = (Some(!not_here), came.unwrap_or(0));
                let request = v1::CheckInLotRequest { round_id: round.clone(), lot, here, came };
                let reply: v1::CheckInLotResponse = client.call(request).await?;
                output.reply(&reply, |view| show::check_in_lot(view, &reply, not_here))?;
            }
            Ok(())
        }
        RoundCommand::Absent { round, members, came } => {
            for member in members {
                let request = v1::SetPresenceRequest { round_id: round.clone(), member, absent: Some(!came) };
                let reply: v1::SetPresenceResponse = client.call(request).await?;
                output.reply(&reply, |view| show::set_presence(view, &reply, came))?;
            }
            output.aside(&format!(
                "Settle it again for those who are there: scionary round settle {round}. What was handed over stays, and as much of the rest as can."
            ));
            Ok(())
        }
        RoundCommand::WalkIn { round, members } => {
            for member in members {
                let account = names::account(client, &member).await?;
                let request = v1::AddRoundMemberRequest { round_id: round.clone(), member: account };
                let reply: v1::AddRoundMemberResponse = client.call(request).await?;
                output.reply(&reply, |view| show::add_round_member(view, &reply, &member))?;
            }
            output.aside(&format!(
                "They can take what is left over: scionary round take {round} LOT --for NUMBER"
            ));
            Ok(())
        }
        RoundCommand::Log { round, paging } => {
            let request = v1::ListRoundEventsRequest {
                round_id: round,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListRoundEventsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_round_events(view, &reply))
        }
        RoundCommand::HandOver { round, lot: Some(lot), member: Some(member), undo: true } => {
            let said = format!("Lot {lot} to member {member}: not handed over. Both get a notice.");
            let request = v1::UndoHandOverRequest { round_id: round, lot, member };
            let reply: v1::UndoHandOverResponse = client.call(request).await?;
            output.reply(&reply, |view| view.drawn(&said))
        }
        RoundCommand::HandOver { round, lot: Some(lot), member: Some(member), undo: false } => {
            hand_over(client, output, &round, lot, member).await
        }
        RoundCommand::HandOver { round, .. } => ticked_off(client, output, &round).await,
        RoundCommand::Members { round, csv: Some(path), .. } => {
            list::members(output, &path, &all_members(client, &round).await?)
        }
        RoundCommand::Shares { round, csv: Some(path), .. } => {
            list::shares(output, &path, &all_shares(client, &round).await?)
        }
        RoundCommand::Members { round, paging, csv: None } => {
            let request = v1::ListRoundMembersRequest {
                round_id: round,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListRoundMembersResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_round_members(view, &reply))
        }
        RoundCommand::Shares { round, paging, csv: None } => {
            let request = v1::ListRoundSharesRequest {
                round_id: round,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListRoundSharesResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_round_shares(view, &reply))
        }
        RoundCommand::Sheets { round, out } => {
            let says = fetch(client, round.clone()).await?.says.unwrap_or_default();
            let shares = all_shares(client, &round).await?;
            need_shares(&shares, &round)?;
            let left = every_lot(client, &round, true).await?;
            let reached = reached(client, &round).await?;
            let title = format!("{}, {}", says.title, words::day(says.day));
            let pdf = sheet(&sheets(&title, &shares, &left, &reached))
                .map_err(|e| Failure::usage(e.to_string()))?;
            std::fs::write(&out, pdf).map_err(|e| Failure::usage(format!("{}: {e}", out.display())))?;
            let count = words::counted(i32::try_from(shares.len()).unwrap_or(i32::MAX), "hand-over");
            output.aside(&format!(
                "{count} in {}. Tick them off: scionary round hand-over {round} LOT MEMBER",
                out.display()
            ));
            Ok(())
        }
        RoundCommand::Labels { round, lot, member, out, layout } => {
            print_labels(client, output, &round, (lot, member), out, layout).await
        }
        RoundCommand::Close { round, pending } => {
            let pending = pending || {
                let shares = all_shares(client, &round).await?;
                let open = shares.iter().filter(|s| s.state() == v1::ClaimState::Accepted).count();
                open > 0 && prompt::can_ask() && !client.is_quiet() && {
                    let open = i32::try_from(open).unwrap_or(i32::MAX);
                    let open = words::counted(open, "promised swap");
                    prompt::sure(
                        client,
                        &format!("{open} not ticked off: they can change hands later. Close it"),
                    )?;
                    true
                }
            };
            let request = v1::CloseRoundRequest { round_id: round, pending };
            let reply: v1::CloseRoundResponse = client.call(request).await?;
            let open = match &reply.round {
                Some(round) => all_shares(client, &round.round_id).await?,
                None => Vec::new(),
            };
            let open = open.iter().filter(|s| s.state() == v1::ClaimState::Accepted).count();
            output.reply(&reply, |view| show::close_round(view, &reply, open))
        }
        other => Err(Failure::bug(format!("{other:?} is not for here"))),
    }
}

/// Returns whether a day is later than tomorrow.
fn is_early(day: Option<v1::CalendarDate>) -> bool {
    let last = scionary_show::days::wire(crate::day::today().plus_days(1));
    day.is_some_and(|day| (day.year, day.month, day.day) > (last.year, last.month, last.day))
}

/// Asks whether to begin a day early; piped, the server refuses and says how.
fn agrees(client: &Client, day: Option<v1::CalendarDate>) -> Result<bool, Failure> {
    if !prompt::can_ask() || client.is_quiet() {
        return Ok(false);
    }
    prompt::sure(client, &format!("The day of this round is {}. Begin now", words::day(day)))?;
    Ok(true)
}

async fn hand_over(
    client: &Client,
    output: &Output,
    round: &str,
    lot: String,
    member: String,
) -> Result<(), Failure> {
    let said = format!("Lot {lot} to member {member}: handed over.");
    let request = v1::HandOverShareRequest { round_id: round.to_string(), lot, member };
    let reply: v1::HandOverShareResponse = client.call(request).await?;
    if reply.state() != v1::ClaimState::HandedOver {
        return Err(Failure::usage(
            "rules on moving it have become stricter since it was promised: keep it, do not hand it over",
        )
        .then(format!("see what they say: scionary claim show {}", reply.claim_id)));
    }
    output.reply(&reply, |view| view.drawn(&said))
}

/// Reads lines of a lot and a member, typed or scanned. It reports a wrong line and reads on.
async fn ticked_off(client: &Client, output: &Output, round: &str) -> Result<(), Failure> {
    output.aside("A lot and a member on each line, such as: 12 7. The end of input (Ctrl-D) ends it.");
    let tag = tag_of(&fetch(client, round.to_string()).await?.round_id);
    let mut failed = 0;
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(|e| Failure::usage(e.to_string()))?;
        let line = line.trim();
        if line.is_empty() {
            continue;
        }
        let done = match scanned(line, &tag) {
            Ok((lot, who)) => hand_over(client, output, round, lot, who).await,
            Err(failure) => Err(failure),
        };
        if let Err(failure) = done {
            failed += 1;
            output.failure(&failure);
        }
    }
    if failed == 0 {
        Ok(())
    } else {
        Err(Failure::usage(format!("{} could not be ticked off", words::counted(failed, "line"))))
    }
}

/// Returns the mark of a round on its labels, from the end of its id, which differs between rounds.
fn tag_of(round_id: &str) -> String {
    let from = round_id.len().saturating_sub(TAG);
    format!("@{}", round_id.get(from..).unwrap_or_default())
}

/// Letters of a round's id in its mark: one in a million that two rounds share it.
const TAG: usize = 4;

/// Reads a line that a scanner or a person typed: the lot (its number, or the code of its tag with or without spaces), the
/// member, and the mark of the round if it is from a label.
fn scanned(line: &str, tag: &str) -> Result<(String, String), Failure> {
    let words: Vec<&str> = line.split([' ', '\t', ',', ';']).filter(|w| !w.is_empty()).collect();
    let (words, mark) = match words.split_last() {
        Some((mark, rest)) if mark.starts_with('@') => (rest, Some(*mark)),
        Some(_) | None => (words.as_slice(), None),
    };
    if mark.is_some_and(|mark| mark != tag) {
        return Err(Failure::usage(format!("{line:?}: this label is from another round"))
            .then("look at its date, and tick it off by lot and member if it is right"));
    }
    match words.split_last() {
        Some((who, lot)) if !lot.is_empty() => Ok((lot.concat(), (*who).to_string())),
        Some(_) | None => Err(Failure::usage(format!("{line:?}: type a lot and a member, such as: 12 7"))),
    }
}

/// Fails with the next step if the round is not settled: there is nothing to print.
fn need_shares(shares: &[v1::RoundShare], round: &str) -> Result<(), Failure> {
    if shares.is_empty() {
        return Err(Failure::usage("nothing changes hands yet, so there is nothing to print")
            .then(format!("settle the round first: scionary round settle {round}")));
    }
    Ok(())
}

/// Returns every share of a round, from all pages.
async fn all_shares(client: &Client, round: &str) -> Result<Vec<v1::RoundShare>, Failure> {
    let mut all = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = v1::ListRoundSharesRequest { round_id: round.to_string(), page_size: 100, page_token };
        let reply: v1::ListRoundSharesResponse = client.call(request).await?;
        all.extend(reply.shares);
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return Ok(all);
        }
    }
}

/// Returns all members of a round.
async fn all_members(client: &Client, round: &str) -> Result<Vec<v1::RoundMember>, Failure> {
    let (mut all, mut page_token) = (Vec::new(), String::new());
    loop {
        let request = v1::ListRoundMembersRequest { round_id: round.to_string(), page_size: 100, page_token };
        let reply: v1::ListRoundMembersResponse = client.call(request).await?;
        all.extend(reply.members);
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return Ok(all);
        }
    }
}

/// Returns how members can be reached who agreed that it stands on the sheets, by number.
async fn reached(client: &Client, round: &str) -> Result<BTreeMap<i32, String>, Failure> {
    let told = all_members(client, round).await?.into_iter().filter(|m| !m.contact.is_empty());
    Ok(told.map(|m| (m.number, m.contact)).collect())
}

/// Returns the parts of a day's sheets: what lies on each table, what each member takes and gives, what goes by post, what is
/// left over.
fn sheets(
    title: &str,
    shares: &[v1::RoundShare],
    left: &[v1::RoundLot],
    reached: &BTreeMap<i32, String>,
) -> Vec<(String, Vec<Section>)> {
    let (post, there): (Vec<&v1::RoundShare>, Vec<_>) = shares.iter().partition(|s| s.by_post);
    let mut tables: BTreeMap<i32, Vec<&v1::RoundShare>> = BTreeMap::new();
    let mut takers: BTreeMap<i32, Vec<&v1::RoundShare>> = BTreeMap::new();
    for share in &there {
        tables.entry(share.giver_number).or_default().push(share);
        takers.entry(share.taker_number).or_default().push(share);
    }
    let code = |s: &v1::RoundShare| {
        if s.code.is_empty() {
            format!("lot {}", s.lot_number)
        } else {
            format!("lot {} {}", s.lot_number, s.code)
        }
    };
    let section =
        |heading: String, shares: &[&v1::RoundShare], who: &dyn Fn(&v1::RoundShare) -> String| Section {
            heading,
            lines: shares.iter().map(|s| Line { what: show::what(s), who: who(s), code: code(s) }).collect(),
        };
    let to = |s: &v1::RoundShare| format!("to {} {}", s.taker_number, s.taker_name);
    let from = |s: &v1::RoundShare| format!("table {} {}", s.giver_number, s.giver_name);
    let contact = |number: &i32| reached.get(number).map(|c| format!(" ({c})")).unwrap_or_default();
    let pick = tables.iter().map(|(number, shares)| {
        let name = shares.first().map(|s| s.giver_name.clone()).unwrap_or_default();
        section(format!("Table {number}: {name}{}", contact(number)), shares, &to)
    });
    let take = takers.iter().map(|(number, shares)| {
        let name = shares.first().map(|s| s.taker_name.clone()).unwrap_or_default();
        section(format!("{number} {name}{} takes", contact(number)), shares, &from)
    });
    let mut parts = vec![
        (format!("{title}: pick list by table"), pick.collect::<Vec<_>>()),
        (format!("{title}: who takes what"), take.collect()),
    ];
    if !post.is_empty() {
        let both = |s: &v1::RoundShare| format!("{} to {}", s.giver_name, s.taker_name);
        parts.push((format!("{title}: by post"), vec![section("To be sent".into(), &post, &both)]));
    }
    if !left.is_empty() {
        let line = |lot: &v1::RoundLot| Line {
            what: format!(
                "{} of {} ({})",
                words::counted(lot.left, "pack"),
                lot.cultivar_name,
                words::material(lot.material())
            ),
            who: format!("from {}", lot.giver_name),
            code: format!("lot {} {}", lot.number, lot.code),
        };
        let lines = left.iter().map(line).collect();
        let heading = "Left over: who comes first takes it; note who took it".to_string();
        parts.push((format!("{title}: left over"), vec![Section { heading, lines }]));
    }
    parts
}

async fn print_labels(
    client: &Client,
    output: &Output,
    round: &str,
    (lot, member): (Option<String>, Option<i32>),
    out: PathBuf,
    layout: LayoutArguments,
) -> Result<(), Failure> {
    let fetched = fetch(client, round.to_string()).await?;
    let (tag, says) = (tag_of(&fetched.round_id), fetched.says.unwrap_or_default());
    let mut all = Vec::new();
    let mut shares = all_shares(client, round).await?;
    need_shares(&shares, round)?;
    if let Some(lot) = &lot {
        let plain = |text: &str| text.replace([' ', '#'], "").to_uppercase();
        shares.retain(|s| s.lot_number.to_string() == plain(lot) || plain(&s.code) == plain(lot));
    }
    shares.retain(|s| member.is_none_or(|number| s.taker_number == number));
    if shares.is_empty() {
        return Err(Failure::usage("nothing that changes hands fits this")
            .then(format!("see what does: scionary round shares {round}")));
    }
    for share in shares {
        let label = Label {
            name: share.cultivar_name.clone(),
            code: if share.code.is_empty() {
                format!("lot {}", share.lot_number)
            } else {
                share.code.clone()
            },
            what: format!(
                "{} of {}, {}",
                words::amount(share.quantity / share.units.max(1), share.unit()),
                words::material(share.material()),
                words::day(says.day)
            ),
            // The taker comes first: where the label is too narrow, the giver is cut.
            source: format!(
                "for {} {}, from {} {}",
                share.taker_number, share.taker_name, share.giver_number, share.giver_name
            ),
            // The format that `round hand-over` reads: the lot, the member, the mark of the round.
            scanned: format!(
                "{} {} {tag}",
                if share.code.is_empty() {
                    share.lot_number.to_string()
                } else {
                    share.code.replace(' ', "")
                },
                share.taker_number
            ),
        };
        all.extend(std::iter::repeat_n(label, usize::try_from(share.units).unwrap_or(1)));
    }
    let pdf = labels(&all, layout.layout()).map_err(|e| Failure::usage(e.to_string()))?;
    std::fs::write(&out, pdf).map_err(|e| Failure::usage(format!("{}: {e}", out.display())))?;
    output.aside(&format!(
        "{} in {}. Print at 100 %, not fitted to the page.",
        words::counted(i32::try_from(all.len()).unwrap_or(i32::MAX), "label"),
        out.display()
    ));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scanned_line_is_read_with_and_without_spaces() {
        let tag = tag_of("rnd_01m8cnz27tes2b1a7hraxs3yeg");
        assert_eq!(tag, "@3yeg");
        for (line, lot, who) in [
            ("12 7", "12", "7"),
            ("12,7", "12", "7"),
            ("KKA FM4 Y 4", "KKAFM4Y", "4"),
            ("KKAFM4Y\t4 @3yeg", "KKAFM4Y", "4"),
        ] {
            assert_eq!(scanned(line, &tag).unwrap(), (lot.to_string(), who.to_string()), "{line}");
        }
        assert!(scanned("12 7 @aaaa", &tag).unwrap_err().message.contains("another round"));
        for wrong in ["12", "@3yeg", "12 @3yeg", ""] {
            assert!(scanned(wrong, &tag).is_err(), "{wrong}");
        }
    }
}
