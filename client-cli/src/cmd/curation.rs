//! Proposals, rulings, history, locks, complaints.

use scionary_proto::v1::{self, change::Change};
use scionary_show::View;

use crate::{
    args::{Grounds, LockArguments, Naming, ProposalCommand, ProposeCommand, ReportCommand, Target},
    client::Client,
    error::Failure,
    output::Output,
    words,
};

/// A proposal to make: the record, the crop, the change, why and on what.
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
    let request = v1::ProposeChangeRequest {
        cultivar,
        crop: words::crop(crop),
        change: Some(v1::Change { change: Some(change) }),
        reason: grounds.reason,
        citation: grounds.citation,
    };
    let reply: v1::ProposeChangeResponse = client.call(request).await?;
    output.reply(&reply, |view| {
        view.line("Proposed. The curators of the crop rule on it:");
        reply.proposal.iter().for_each(|p| full(view, p));
    })
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
            output.reply(&reply, |view| {
                list(view, &reply.proposals);
                view.more(&reply.next_page_token);
            })
        }
        ProposalCommand::Show { proposal } => {
            let request = v1::GetProposalRequest { proposal_id: proposal };
            let reply: v1::GetProposalResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.proposal.iter().for_each(|p| full(view, p)))
        }
        ProposalCommand::Accept { proposal, reason } => rule(client, output, proposal, true, reason).await,
        ProposalCommand::Refuse { proposal, reason } => rule(client, output, proposal, false, reason).await,
        ProposalCommand::Withdraw { proposal } => {
            client.need_session()?;
            let request = v1::WithdrawProposalRequest { proposal_id: proposal };
            let reply: v1::WithdrawProposalResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                reply.proposal.iter().for_each(|p| full(view, p));
            })
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
    output.reply(&reply, |view| {
        list(view, &reply.proposals);
        view.more(&reply.next_page_token);
    })
}

async fn rule(
    client: &Client,
    output: &Output,
    proposal_id: String,
    accept: bool,
    reason: String,
) -> Result<(), Failure> {
    client.need_session()?;
    let request = v1::RuleOnProposalRequest { proposal_id, accept, reason };
    let reply: v1::RuleOnProposalResponse = client.call(request).await?;
    output.reply(&reply, |view| reply.proposal.iter().for_each(|p| full(view, p)))
}

fn days(count: i32) -> String {
    match count {
        0 => "less than a day".into(),
        1 => "1 day".into(),
        n => format!("{n} days"),
    }
}

fn about(p: &v1::Proposal) -> String {
    let name =
        if p.cultivar_name.is_empty() { "words of a trait".to_string() } else { p.cultivar_name.clone() };
    format!("{}: {name} ({})", p.change_text, p.crop)
}

fn list(view: &mut View, proposals: &[v1::Proposal]) {
    if proposals.is_empty() {
        view.line("No such proposals.");
    }
    for p in proposals {
        let state = words::proposal_state(p.state());
        let impact = if p.state() == v1::ProposalState::Open {
            format!(
                ", {}; evidence {}, offers {}",
                if p.age_days == 0 { "new".to_string() } else { format!("waits {}", days(p.age_days)) },
                p.evidence_count,
                p.offer_count
            )
        } else {
            String::new()
        };
        view.item(0, "-", format!("{} [{state}{impact}]", about(p)));
        view.item(2, "", format!("{} by {}: {}", p.proposal_id, p.author_name, p.reason));
    }
    if proposals.iter().any(|p| p.state() == v1::ProposalState::Open) {
        view.gap();
        view.note("Next: scionary proposal show ID, then accept ID or refuse ID with --reason (curators).");
    }
}

fn full(view: &mut View, p: &v1::Proposal) {
    view.title(about(p));
    view.fact("state", words::proposal_state(p.state()));
    view.fact("proposed by", format!("{}, {}", p.author_name, words::day_of(p.created_at.as_ref())));
    view.fact("why", &p.reason);
    view.fact("citation", &p.citation);
    if p.state() == v1::ProposalState::Open {
        view.fact("waits", days(p.age_days));
        view.fact(
            "touches",
            format!("{} pieces of evidence, {} open offers", p.evidence_count, p.offer_count),
        );
    } else {
        view.fact("ruled by", format!("{}, {}", p.ruled_by_name, words::day_of(p.ruled_at.as_ref())));
        view.fact("ruling", &p.ruling);
        view.fact("outcome", &p.outcome);
    }
    view.fact("id", &p.proposal_id);
    if !p.differences.is_empty() {
        view.gap();
        view.table(
            ["WHAT", "NOW", "THEN"],
            p.differences.iter().map(|d| {
                let or_nothing = |t: &str| if t.is_empty() { "-".to_string() } else { t.to_string() };
                [d.field.clone(), or_nothing(&d.before), or_nothing(&d.after)]
            }),
        );
    }
    if !p.remarks.is_empty() {
        view.gap();
        view.title("To bear in mind");
        remarks(view, &p.remarks);
    }
}

fn remarks(view: &mut View, remarks: &[v1::NameRemark]) {
    for remark in remarks {
        let source = if remark.source.is_empty() { String::new() } else { format!(" [{}]", remark.source) };
        let mark = if remark.severe { "!" } else { "-" };
        view.item(0, mark, format!("{}{source}", remark.text));
    }
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
    output.reply(&reply, |view| {
        if reply.events.is_empty() {
            view.line("Nothing has happened to this record since it was loaded.");
        }
        for event in &reply.events {
            let version =
                if event.version > 0 { format!(", version {}", event.version) } else { String::new() };
            let by = if event.by_name.is_empty() { "the server" } else { event.by_name.as_str() };
            view.item(
                0,
                "-",
                format!("{} {} by {by}{version}", words::day_of(event.at.as_ref()), event.action),
            );
            if !event.detail.is_empty() {
                view.item(2, "", &event.detail);
            }
            if !event.why.is_empty() {
                view.item(2, "why:", &event.why);
            }
            view.item(2, "", &event.subject_id);
        }
        view.more(&reply.next_page_token);
    })
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
    output.reply(&reply, |view| {
        view.answer(if reply.acceptable {
            "Nothing stands in the way of this name."
        } else {
            "This name cannot be given to a new cultivar."
        });
        remarks(view, &reply.remarks);
    })
}

pub(super) async fn lock(
    client: &Client,
    output: &Output,
    arguments: LockArguments,
    lock: bool,
) -> Result<(), Failure> {
    client.need_session()?;
    let LockArguments { cultivar, crop, reason } = arguments;
    let request = v1::LockRecordRequest { cultivar, crop: words::crop(crop), lock, reason };
    let reply: v1::LockRecordResponse = client.call(request).await?;
    output.reply(&reply, |view| {
        view.line(if lock {
            "Locked: it takes no evidence and no proposals until it is unlocked."
        } else {
            "Unlocked."
        });
    })
}

pub(super) async fn report(client: &Client, output: &Output, command: ReportCommand) -> Result<(), Failure> {
    client.need_session()?;
    match command {
        ReportCommand::File { about, id, reason } => {
            let request = v1::FileTicketRequest { subject: about.into(), subject_id: id, reason };
            let reply: v1::FileTicketResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                view.line("Noted. Those who handle it will see it; only they and you do.");
                reply.ticket.iter().for_each(|t| ticket(view, t));
            })
        }
        ReportCommand::List { mine, all, paging } => {
            let request = v1::ListTicketsRequest {
                mine,
                open_only: !all,
                page_size: paging.page_size,
                page_token: paging.page,
            };
            let reply: v1::ListTicketsResponse = client.call(request).await?;
            output.reply(&reply, |view| {
                if reply.tickets.is_empty() {
                    view.line("No complaints are open.");
                }
                reply.tickets.iter().for_each(|t| ticket(view, t));
                view.more(&reply.next_page_token);
            })
        }
        ReportCommand::Close { report, outcome } => {
            let request = v1::CloseTicketRequest { ticket_id: report, outcome };
            let reply: v1::CloseTicketResponse = client.call(request).await?;
            output.reply(&reply, |view| reply.ticket.iter().for_each(|t| ticket(view, t)))
        }
    }
}

fn ticket(view: &mut View, t: &v1::Ticket) {
    let closed = if t.outcome.is_empty() {
        String::new()
    } else {
        format!(" [closed by {}: {}]", t.closed_by_name, t.outcome)
    };
    view.item(
        0,
        "-",
        format!(
            "{} {}: {} ({}, {}){closed}",
            words::ticket_subject(t.subject()),
            if t.subject_name.is_empty() { &t.subject_id } else { &t.subject_name },
            t.reason,
            t.author_name,
            words::day_of(t.created_at.as_ref())
        ),
    );
    view.item(2, "", format!("{} about {}", t.ticket_id, t.subject_id));
}
