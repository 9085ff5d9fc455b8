//! `scionary claim`.

use scionary_proto::v1;
use scionary_show::claim as show;

use crate::{args::ClaimCommand, client::Client, error::Failure, home, output::Output, prompt};

pub(super) async fn run(client: &Client, output: &Output, command: ClaimCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        ClaimCommand::Ask { offer, quantity, to, contact, note } => {
            let to = home::area(client, to, "--to").await?;
            let contact = home::contact(client, contact).await?;
            let request =
                v1::CreateClaimRequest { offer_id: offer, quantity, to_area_code: to, note, contact };
            let reply: v1::CreateClaimResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::List { made, on_mine, all, paging } => {
            let side = match (made, on_mine) {
                (true, _) => v1::ClaimSide::Taker,
                (_, true) => v1::ClaimSide::Giver,
                (false, false) => v1::ClaimSide::Unspecified,
            };
            let request = v1::ListMyClaimsRequest {
                side: side.into(),
                open_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListMyClaimsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_my_claims(view, &reply))
        }
        ClaimCommand::Show { claim } => {
            let request = v1::GetClaimRequest { claim_id: claim };
            let reply: v1::GetClaimResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::Accept { claim, contact, note } => {
            let contact = home::contact(client, contact).await?;
            let request = v1::AcceptClaimRequest { claim_id: claim, contact, note };
            let reply: v1::AcceptClaimResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::Decline { claim, reason } => {
            let request = v1::DeclineClaimRequest { claim_id: claim, reason };
            let reply: v1::DeclineClaimResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::Withdraw { claim } => {
            let request = v1::WithdrawClaimRequest { claim_id: claim };
            let reply: v1::WithdrawClaimResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::HandedOver { claim } => {
            prompt::sure(
                client,
                &format!("Has what claim {claim} is for changed hands? That cannot be taken back. It has"),
            )?;
            let request = v1::ConfirmHandOverRequest { claim_id: claim };
            let reply: v1::ConfirmHandOverResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::Missed { claim, words } => {
            let request = v1::NoteMissedRequest { claim_id: claim, words };
            let reply: v1::NoteMissedResponse = client.call(request).await?;
            output.reply(&reply, |view| show::told(view, reply.claim.as_ref()))
        }
        ClaimCommand::ListMissed { paging } => {
            let request = v1::ListMissedRequest { page_size: paging.page_size, page_token: paging.page };
            let reply: v1::ListMissedResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_missed(view, &reply))
        }
    }
}
