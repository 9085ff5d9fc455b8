//! Proposals and their decisions, the history and locks of records, complaints.

use scionary_proto::v1::{self, change::Change};
use scionary_show::curation as show;

use crate::{
    args::{Grounds, LockArguments, Naming, ProposalCommand, ProposeCommand, ReportCommand, Target},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

/// A proposal to send: the record, its crop, the change and the grounds.
struct Wanted {
    cultivar: String,
    crop: Option<String>,
    change: Change,
    grounds: Grounds,
}

fn on(target: Target, change: Change) -> Wanted {
    let Target { cultivar, crop, grounds } = target;
    Wanted { cultivar, crop, change, grounds }
}

fn trait_and_value(text: &str) -> Result<(String, String), Failure> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() && !value.trim().is_empty() => {
            Ok((key.trim().to_lowercase().replace('-', "_"), value.trim().to_string()))
        }
        Some(_) | None => {
            Err(Failure::usage(format!("--finding: TRAIT=STATE or TRAIT=WORDS expected, {text:?} found")))
        }
    }
}

async fn id_of(client: &Client, cultivar: String, crop: Option<String>) -> Result<String, Failure> {
    let request = v1::GetCultivarRequest { cultivar, crop: words::crop(crop) };
    let found: v1::GetCultivarResponse = client.call(request).await?;
    Ok(found.summary.map(|s| s.cultivar_id).unwrap_or_default())
}

async fn wanted(client: &Client, command: ProposeCommand) -> Result<Wanted, Failure> {
    Ok(match command {
        ProposeCommand::New { name, crop, botanical_name, origin, notes, naming, grounds } => {
            let Naming { qualifier, historic } = naming;
            let change = v1::NewCultivar { name, qualifier, botanical_name, origin, notes, historic };
            Wanted { cultivar: String::new(), crop: Some(crop), change: Change::NewCultivar(change), grounds }
        }
        ProposeCommand::Rename { target, to, drop_old, naming } => {
            let Naming { qualifier, historic } = naming;
            on(target, Change::Rename(v1::Rename { name: to, qualifier, keep_old: !drop_old, historic }))
        }
        ProposeCommand::Name { target, name, kind, disputed } => {
            on(target, Change::AddName(v1::AddName { name, kind: kind.into(), disputed }))
        }
        ProposeCommand::DropName { target, name } => on(target, Change::RemoveName(v1::RemoveName { name })),
        ProposeCommand::Parent { target, name, role, disputed } => {
            on(target, Change::AddParent(v1::AddParent { role: role.into(), name, disputed }))
        }
        ProposeCommand::DropParent { target, name, role } => {
            on(target, Change::RemoveParent(v1::RemoveParent { role: role.into(), name }))
        }
        ProposeCommand::Describe { target, botanical_name, origin, notes } => {
            on(target, Change::Describe(v1::Describe { botanical_name, origin, notes }))
        }
        ProposeCommand::Descriptor { crop, descriptor, label, question, observe, grounds } => {
            let change = v1::DescriptorText { descriptor_key: descriptor, label, question, observe };
            Wanted {
                cultivar: String::new(),
                crop: Some(crop),
                change: Change::DescriptorText(change),
                grounds,
            }
        }
        ProposeCommand::Set { target, finding } => {
            let (descriptor_key, value) = trait_and_value(&finding)?;
            let change = v1::SetFinding { descriptor_key, state: value.clone(), text: value };
            on(target, Change::SetFinding(change))
        }
        ProposeCommand::Unset { target, finding } => {
            on(target, Change::UnsetFinding(v1::UnsetFinding { descriptor_key: finding }))
        }
        ProposeCommand::Split { target, name, evidence, names, naming } => {
            let Naming { qualifier, historic } = naming;
            let change = v1::Split { name, qualifier, evidence_ids: evidence, names, historic };
            on(target, Change::Split(change))
        }
        ProposeCommand::Merge { target, into } => {
            let into_cultivar_id = id_of(client, into, target.crop.clone()).await?;
            on(target, Change::Merge(v1::Merge { into_cultivar_id }))
        }
        ProposeCommand::Unmerge { target } => on(target, Change::UndoMerge(v1::UndoMerge {})),
        ProposeCommand::Revert { target, version } => {
            on(target, Change::Revert(v1::Revert { to_version: version }))
        }
    })
}

pub(super) async fn propose(
    client: &Client,
    output: &Output,
    command: ProposeCommand,
) -> Result<(), Failure> {
    client.need_session()?;
    let Wanted { cultivar, crop, change, grounds } = wanted(client, command).await?;
    let request = v1::CreateProposalRequest {
        cultivar,
        crop: words::crop(crop),
        change: Some(v1::Change { change: Some(change) }),
        reason: grounds.reason,
        citation: grounds.citation,
    };
    let reply: v1::CreateProposalResponse = client.call(request).await?;
    output.reply(&reply, |view| show::create_proposal(view, &reply))
}

pub(super) async fn proposal(
    client: &Client,
    output: &Output,
    command: ProposalCommand,
) -> Result<(), Failure> {
    match command {
        ProposalCommand::List { crop, cultivar, state, mine, paging } => {
            if mine {
                return my_proposals(client, output, state, paging.page_size, paging.page).await;
            }
            let request = v1::ListProposalsRequest {
                crop: words::crop(crop),
                cultivar: cultivar.unwrap_or_default(),
                state: state.into(),
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListProposalsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_proposals(view, &reply))
        }
        ProposalCommand::Show { proposal } => {
            let request = v1::GetProposalRequest { proposal_id: proposal };
            let reply: v1::GetProposalResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.proposal.iter().for_each(|p| show::full(view, p)))
        }
        ProposalCommand::Accept { proposal, reason } => rule(client, output, proposal, true, reason).await,
        ProposalCommand::Refuse { proposal, reason } => rule(client, output, proposal, false, reason).await,
        ProposalCommand::Withdraw { proposal } => {
            client.need_session()?;
            let request = v1::WithdrawProposalRequest { proposal_id: proposal };
            let reply: v1::WithdrawProposalResponse = client.call(request).await?;
            output.reply(&reply, |view| show::withdraw_proposal(view, &reply))
        }
    }
}

async fn my_proposals(
    client: &Client,
    output: &Output,
    state: v1::ProposalState,
    page_size: i32,
    page_token: String,
) -> Result<(), Failure> {
    client.need_session()?;
    let request = v1::ListMyProposalsRequest { state: state.into(), page_size, page_token };
    let reply: v1::ListMyProposalsResponse = client.call(request).await?;
    output.reply(&reply, |view| show::list_my_proposals(view, &reply))
}

async fn rule(
    client: &Client,
    output: &Output,
    proposal_id: String,
    accept: bool,
    reason: String,
) -> Result<(), Failure> {
    client.need_session()?;
    let request = v1::DecideProposalRequest { proposal_id, accept: Some(accept), reason };
    let reply: v1::DecideProposalResponse = client.call(request).await?;
    output.reply(&reply, |view| reply.proposal.iter().for_each(|p| show::full(view, p)))
}

pub(super) async fn history(
    client: &Client,
    output: &Output,
    cultivar: String,
    crop: Option<String>,
    page_size: i32,
    page_token: String,
) -> Result<(), Failure> {
    let request = v1::GetHistoryRequest { cultivar, crop: words::crop(crop), page_size, page_token };
    let reply: v1::GetHistoryResponse = client.call(request).await?;
    output.reply(&reply, |view| show::get_history(view, &reply))
}

pub(super) async fn check_name(
    client: &Client,
    output: &Output,
    name: String,
    crop: String,
    historic: bool,
) -> Result<(), Failure> {
    let request = v1::CheckNameRequest { crop, name, historic };
    let reply: v1::CheckNameResponse = client.call(request).await?;
    output.reply(&reply, |view| show::check_name(view, &reply))
}

pub(super) async fn lock(
    client: &Client,
    output: &Output,
    arguments: LockArguments,
    lock: bool,
) -> Result<(), Failure> {
    client.need_session()?;
    let LockArguments { cultivar, crop, reason } = arguments;
    let request = v1::LockRecordRequest { cultivar, crop: words::crop(crop), lock: Some(lock), reason };
    let reply: v1::LockRecordResponse = client.call(request).await?;
    output.reply(&reply, |view| show::lock_record(view, &reply, lock))
}

pub(super) async fn report(client: &Client, output: &Output, command: ReportCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        ReportCommand::File { about, id, reason } => {
            let request = v1::CreateTicketRequest { subject: about.into(), subject_id: id, reason };
            let reply: v1::CreateTicketResponse = client.call(request).await?;
            output.reply(&reply, |view| show::create_ticket(view, &reply))
        }
        ReportCommand::List { mine, all, paging } => {
            let request = v1::ListTicketsRequest {
                mine,
                open_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListTicketsResponse = client.call(request).await?;
            output.reply(&reply, |view| show::list_tickets(view, &reply))
        }
        ReportCommand::Close { report, outcome } => {
            let request = v1::CloseTicketRequest { ticket_id: report, outcome };
            let reply: v1::CloseTicketResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.ticket.iter().for_each(|t| show::ticket(view, t)))
        }
    }
}
