//! `scionary round`: what members do, and what organisers do.

mod arrange;
mod away;
mod day;
mod list;
mod show;
mod wish;

use scionary_proto::v1;
use scionary_show::round as views;

use crate::{args::RoundCommand, client::Client, error::Failure, home, output::Output};

pub(super) async fn run(client: &Client, output: &Output, command: RoundCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        RoundCommand::List { club, all, paging } => show::list(client, output, club, all, paging).await,
        RoundCommand::Show { round } => {
            let round = fetch(client, round).await?;
            let reply = v1::GetRoundResponse { round: Some(round) };
            output.reply(&reply, |view| views::show::told(view, reply.round.as_ref()))
        }
        RoundCommand::Lots { round, left, paging } => show::lots(client, output, round, left, paging).await,
        RoundCommand::Mine { round, every_lot } => show::mine(client, output, round, every_lot).await,
        RoundCommand::Join { round, area, contact, post, not_there, give_more, on_sheets } => {
            let area = home::area(client, area, "--area").await?;
            let contact = home::contact(client, contact).await?;
            let part = v1::RoundPart {
                area_code: area,
                meeting: !not_there,
                post,
                contact,
                give_more,
                contact_on_sheets: on_sheets,
            };
            let request = v1::JoinRoundRequest { round_id: round, part: Some(part) };
            let reply: v1::JoinRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| views::join_round(view, &reply))
        }
        RoundCommand::Leave { round } => {
            let request = v1::LeaveRoundRequest { round_id: round };
            let reply: v1::LeaveRoundResponse = client.call(request).await?;
            output.reply(&reply, |view| views::leave_round(view, &reply))
        }
        RoundCommand::Bring { round, offer, packs, each, gift, papers } => {
            let request = v1::BringLotRequest {
                round_id: round,
                offer_id: offer,
                units: packs.unwrap_or(0),
                per_unit: each.unwrap_or(0),
                gift,
                papers,
            };
            let reply: v1::BringLotResponse = client.call(request).await?;
            output.reply(&reply, |view| views::bring_lot(view, &reply))
        }
        RoundCommand::TakeBack { round, lot } => {
            let request = v1::TakeBackLotRequest { round_id: round, lot };
            let reply: v1::TakeBackLotResponse = client.call(request).await?;
            output.reply(&reply, |view| view.answer("Taken back; it is on offer again."))
        }
        RoundCommand::Wish { round, wishes, from, none } => {
            wish::wish(client, output, round, wishes, from, none).await
        }
        RoundCommand::EnterList { round, file } => list::enter(client, output, round, file.as_deref()).await,
        RoundCommand::Take { round, lot, packs, member } => {
            let for_other = !member.is_empty();
            let request = v1::TakeLeftOverRequest { round_id: round, lot, units: packs, member };
            let reply: v1::TakeLeftOverResponse = client.call(request).await?;
            output.reply(&reply, |view| views::take_left_over(view, &reply, for_other))
        }
        other @ (RoundCommand::Create { .. }
        | RoundCommand::Change { .. }
        | RoundCommand::CallOff { .. }
        | RoundCommand::NoteAdvice { .. }
        | RoundCommand::DryRun { .. }
        | RoundCommand::Seal { .. }
        | RoundCommand::Reopen { .. }
        | RoundCommand::Settle { .. }
        | RoundCommand::Audit { .. }) => arrange::run(client, output, other).await,
        other @ (RoundCommand::TakeAlong { .. } | RoundCommand::BringHome { .. }) => {
            away::run(client, output, other).await
        }
        other @ (RoundCommand::Begin { .. }
        | RoundCommand::CheckIn { .. }
        | RoundCommand::WalkIn { .. }
        | RoundCommand::Log { .. }
        | RoundCommand::Absent { .. }
        | RoundCommand::HandOver { .. }
        | RoundCommand::Members { .. }
        | RoundCommand::Shares { .. }
        | RoundCommand::Sheets { .. }
        | RoundCommand::Labels { .. }
        | RoundCommand::Close { .. }) => day::run(client, output, other).await,
    }
}

/// Returns a round.
async fn fetch(client: &Client, round: String) -> Result<v1::Round, Failure> {
    let request = v1::GetRoundRequest { round_id: round };
    let reply: v1::GetRoundResponse = client.call(request).await?;
    reply.round.ok_or_else(|| Failure::bug("the server answered without a round"))
}

/// Returns every lot of a round, or those of which something is left over, from all pages.
async fn every_lot(client: &Client, round: &str, left_only: bool) -> Result<Vec<v1::RoundLot>, Failure> {
    let mut all = Vec::new();
    let mut page_token = String::new();
    loop {
        let request =
            v1::ListRoundLotsRequest { round_id: round.to_string(), left_only, page_size: 100, page_token };
        let reply: v1::ListRoundLotsResponse = client.call(request).await?;
        all.extend(reply.lots);
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            return Ok(all);
        }
    }
}
