//! Proposals, histories and complaints.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::CreateProposalResponse`].
pub fn create_proposal(view: &mut View, reply: &v1::CreateProposalResponse) {
    view.line("Proposed. The curators of the crop rule on it:");
    reply.proposal.iter().for_each(|p| full(view, p));
}

/// Shows a [`v1::ListProposalsResponse`].
pub fn list_proposals(view: &mut View, reply: &v1::ListProposalsResponse) {
    list(view, &reply.proposals);
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::WithdrawProposalResponse`].
pub fn withdraw_proposal(view: &mut View, reply: &v1::WithdrawProposalResponse) {
    reply.proposal.iter().for_each(|p| full(view, p));
}

/// Shows a [`v1::ListMyProposalsResponse`].
pub fn list_my_proposals(view: &mut View, reply: &v1::ListMyProposalsResponse) {
    list(view, &reply.proposals);
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::GetHistoryResponse`].
pub fn get_history(view: &mut View, reply: &v1::GetHistoryResponse) {
    if reply.events.is_empty() {
        view.line("Nothing has happened to this record since it was loaded.");
    }
    for event in &reply.events {
        let version = if event.version > 0 { format!(", version {}", event.version) } else { String::new() };
        let by = if event.by_name.is_empty() { "the server" } else { event.by_name.as_str() };
        view.item(0, "-", format!("{} {} by {by}{version}", words::day_of(event.at.as_ref()), event.action));
        if !event.detail.is_empty() {
            view.item(2, "", &event.detail);
        }
        if !event.why.is_empty() {
            view.item(2, "why:", &event.why);
        }
        view.item(2, "", &event.subject_id);
    }
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::CheckNameResponse`].
pub fn check_name(view: &mut View, reply: &v1::CheckNameResponse) {
    view.answer(if reply.acceptable {
        "Nothing stands in the way of this name."
    } else {
        "This name cannot be given to a new cultivar."
    });
    remarks(view, &reply.remarks);
}

/// Shows a [`v1::LockRecordResponse`].
pub fn lock_record(view: &mut View, _: &v1::LockRecordResponse, lock: bool) {
    view.line(if lock {
        "Locked: it takes no evidence and no proposals until it is unlocked."
    } else {
        "Unlocked."
    });
}

/// Shows a [`v1::CreateTicketResponse`].
pub fn create_ticket(view: &mut View, reply: &v1::CreateTicketResponse) {
    view.line("Noted. Those who handle it will see it; only they and you do.");
    reply.ticket.iter().for_each(|t| ticket(view, t));
}

/// Shows a [`v1::ListTicketsResponse`].
pub fn list_tickets(view: &mut View, reply: &v1::ListTicketsResponse) {
    if reply.tickets.is_empty() {
        view.line("No complaints are open.");
    }
    reply.tickets.iter().for_each(|t| ticket(view, t));
    view.more(&reply.next_page_token);
}

pub(crate) fn days(count: i32) -> String {
    match count {
        0 => "less than a day".into(),
        1 => "1 day".into(),
        n => format!("{n} days"),
    }
}

pub(crate) fn about(p: &v1::Proposal) -> String {
    let name =
        if p.cultivar_name.is_empty() { "words of a trait".to_string() } else { p.cultivar_name.clone() };
    format!("{}: {name} ({})", p.change_text, p.crop)
}

/// Shows a list of proposals.
pub fn list(view: &mut View, proposals: &[v1::Proposal]) {
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
        view.entry(&p.proposal_id, format!("{} [{state}{impact}]", about(p)));
        view.item(5, "", format!("by {}: {}", p.author_name, p.reason));
    }
    if proposals.iter().any(|p| p.state() == v1::ProposalState::Open) {
        view.gap();
        view.act("See one in full", Deed::ProposalShow.bare());
        view.act("Curators accept one", Deed::ProposalAccept.bare());
        view.act("Or refuse it", Deed::ProposalRefuse.bare());
    }
}

/// Shows a proposal in full.
pub fn full(view: &mut View, p: &v1::Proposal) {
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

pub(crate) fn remarks(view: &mut View, remarks: &[v1::NameRemark]) {
    for remark in remarks {
        let source = if remark.source.is_empty() { String::new() } else { format!(" [{}]", remark.source) };
        let mark = if remark.severe { "!" } else { "-" };
        view.item(0, mark, format!("{}{source}", remark.text));
    }
}

/// Shows a complaint.
pub fn ticket(view: &mut View, t: &v1::Ticket) {
    let closed = if t.outcome.is_empty() {
        String::new()
    } else {
        format!(" [closed by {}: {}]", t.closed_by_name, t.outcome)
    };
    let text = format!(
        "{} {}: {} ({}, {}){closed}",
        words::ticket_subject(t.subject()),
        if t.subject_name.is_empty() { &t.subject_id } else { &t.subject_name },
        t.reason,
        t.author_name,
        words::day_of(t.created_at.as_ref())
    );
    view.entry(&t.ticket_id, text);
    view.item(6, "about", &t.subject_id);
}
