//! Proposals, history, names and complaints on the wire.

use scionary_app::{
    App, Error,
    curation::{
        CloseTicket, FileTicket, HistoryEvent, LockRecord, ProposalFilter, Propose, Remark, RuleOnProposal,
        ShownProposal, ShownTicket, Subject, WithdrawProposal,
    },
    registry::Registry,
};
use scionary_domain::{
    cultivar::{NameKind, ParentRole},
    curation::{Change, State},
    evidence::{Pin, Value},
    field::FieldError,
    time::Timestamp,
};
use scionary_proto::v1;

use super::{count, said, timestamp};

fn kind(kind: NameKind) -> v1::NameKind {
    match kind {
        NameKind::Synonym => v1::NameKind::Synonym,
        NameKind::Spelling => v1::NameKind::Spelling,
        NameKind::Regional => v1::NameKind::Regional,
    }
}
fn read_kind(wire: v1::NameKind) -> NameKind {
    match wire {
        v1::NameKind::Unspecified | v1::NameKind::Synonym => NameKind::Synonym,
        v1::NameKind::Spelling => NameKind::Spelling,
        v1::NameKind::Regional => NameKind::Regional,
    }
}
fn role(role: ParentRole) -> v1::ParentRole {
    match role {
        ParentRole::SeedParent => v1::ParentRole::Seed,
        ParentRole::PollenParent => v1::ParentRole::Pollen,
        ParentRole::UnknownParent => v1::ParentRole::Unknown,
    }
}
fn read_role(wire: v1::ParentRole) -> ParentRole {
    match wire {
        v1::ParentRole::Seed => ParentRole::SeedParent,
        v1::ParentRole::Pollen => ParentRole::PollenParent,
        v1::ParentRole::Unknown | v1::ParentRole::Unspecified => ParentRole::UnknownParent,
    }
}

/// A change from the wire. A set finding's value follows the descriptor's kind.
fn read_change(
    wire: Option<v1::Change>,
    registry: &Registry,
    crop: &str,
    reason: &str,
) -> Result<Change, Error> {
    use v1::change::Change as Wire;
    let wrong = |field: &str, e: String| Error::from(FieldError::new(field, e));
    let Some(change) = wire.and_then(|c| c.change) else {
        return Err(wrong("change", "a change expected".into()));
    };
    Ok(match change {
        Wire::NewCultivar(c) => Change::NewCultivar {
            name: c.name,
            qualifier: c.qualifier,
            botanical_name: c.botanical_name,
            origin: c.origin,
            notes: c.notes,
            historic: c.historic,
        },
        Wire::Rename(c) => Change::Rename {
            name: c.name,
            qualifier: c.qualifier,
            keep_old: c.keep_old,
            historic: c.historic,
        },
        Wire::AddName(c) => Change::AddName { kind: read_kind(c.kind()), name: c.name, disputed: c.disputed },
        Wire::RemoveName(c) => Change::RemoveName { name: c.name },
        Wire::AddParent(c) => {
            Change::AddParent { role: read_role(c.role()), name: c.name, disputed: c.disputed }
        }
        Wire::RemoveParent(c) => Change::RemoveParent { role: read_role(c.role()), name: c.name },
        Wire::Describe(c) => {
            Change::Describe { botanical_name: c.botanical_name, origin: c.origin, notes: c.notes }
        }
        Wire::DescriptorText(c) => Change::DescriptorText {
            descriptor: c.descriptor_key,
            label: c.label,
            question: c.question,
            observe: c.observe,
        },
        Wire::SetFinding(c) => {
            let with_states = registry
                .crop(crop)
                .and_then(|p| p.descriptor(&c.descriptor_key))
                .is_some_and(|d| !d.states.is_empty());
            let ordinal = registry
                .crop(crop)
                .and_then(|p| p.descriptor(&c.descriptor_key))
                .is_some_and(|d| d.kind == scionary_domain::crop::DescriptorKind::Ordinal);
            let value = match (with_states, ordinal) {
                (true, true) => Value::Grade { state: c.state },
                (true, false) => Value::Class { state: c.state },
                (false, _) => Value::Text { text: c.text },
            };
            Change::Pin {
                pin: Pin {
                    descriptor: c.descriptor_key,
                    value,
                    citation: String::new(),
                    reason: reason.to_string(),
                },
            }
        }
        Wire::UnsetFinding(c) => Change::Unpin { descriptor: c.descriptor_key },
        Wire::Split(c) => Change::Split {
            name: c.name,
            qualifier: c.qualifier,
            evidence: c
                .evidence_ids
                .iter()
                .map(|id| id.parse().map_err(|e| wrong("change.evidence_ids", format!("{e}"))))
                .collect::<Result<_, _>>()?,
            names: c.names,
            historic: c.historic,
        },
        Wire::Merge(c) => Change::Merge {
            into: c.into_cultivar_id.parse().map_err(|e| wrong("change.into_cultivar_id", format!("{e}")))?,
        },
        Wire::UndoMerge(_) => Change::Unmerge,
        Wire::Revert(c) => Change::Revert { to_version: c.to_version },
    })
}

/// A change on the wire.
fn change(change: &Change) -> v1::Change {
    use v1::change::Change as Wire;
    let change = match change.clone() {
        Change::NewCultivar { name, qualifier, botanical_name, origin, notes, historic } => {
            Wire::NewCultivar(v1::NewCultivar { name, qualifier, botanical_name, origin, notes, historic })
        }
        Change::Rename { name, qualifier, keep_old, historic } => {
            Wire::Rename(v1::Rename { name, qualifier, keep_old, historic })
        }
        Change::AddName { name, kind: k, disputed } => {
            Wire::AddName(v1::AddName { name, kind: kind(k).into(), disputed })
        }
        Change::RemoveName { name } => Wire::RemoveName(v1::RemoveName { name }),
        Change::AddParent { role: r, name, disputed } => {
            Wire::AddParent(v1::AddParent { role: role(r).into(), name, disputed })
        }
        Change::RemoveParent { role: r, name } => {
            Wire::RemoveParent(v1::RemoveParent { role: role(r).into(), name })
        }
        Change::Describe { botanical_name, origin, notes } => {
            Wire::Describe(v1::Describe { botanical_name, origin, notes })
        }
        Change::DescriptorText { descriptor, label, question, observe } => {
            Wire::DescriptorText(v1::DescriptorText { descriptor_key: descriptor, label, question, observe })
        }
        Change::Pin { pin } => {
            let (state, text) = match &pin.value {
                Value::Class { state } | Value::Grade { state } => (state.clone(), String::new()),
                Value::Text { text } => (String::new(), text.clone()),
                Value::Tally { .. }
                | Value::Rate { .. }
                | Value::Quantity { .. }
                | Value::Period { .. }
                | Value::Sighting { .. } => (String::new(), pin.value.plain_text()),
            };
            Wire::SetFinding(v1::SetFinding { descriptor_key: pin.descriptor, state, text })
        }
        Change::Unpin { descriptor } => Wire::UnsetFinding(v1::UnsetFinding { descriptor_key: descriptor }),
        Change::Split { name, qualifier, evidence, names, historic } => Wire::Split(v1::Split {
            name,
            qualifier,
            evidence_ids: evidence.iter().map(ToString::to_string).collect(),
            names,
            historic,
        }),
        Change::Merge { into } => Wire::Merge(v1::Merge { into_cultivar_id: into.to_string() }),
        Change::Unmerge => Wire::UndoMerge(v1::UndoMerge {}),
        Change::Revert { to_version } => Wire::Revert(v1::Revert { to_version }),
    };
    v1::Change { change: Some(change) }
}

/// A request to change a record.
///
/// # Errors
/// What cannot be read.
pub fn propose(wire: v1::CreateProposalRequest, registry: &Registry) -> Result<Propose, Error> {
    let v1::CreateProposalRequest { cultivar, crop, change, reason, citation } = wire;
    let slug = if cultivar.trim().is_empty() {
        crop.trim().to_lowercase()
    } else {
        registry.resolve("cultivar", &cultivar, &crop)?.cultivar.crop.clone()
    };
    let change = read_change(change, registry, &slug, &reason)?;
    Ok(Propose { crop, cultivar, change, reason, citation })
}

/// A request to take a proposal back.
///
/// # Errors
/// What cannot be read.
pub fn withdraw(wire: &v1::WithdrawProposalRequest) -> Result<WithdrawProposal, Error> {
    Ok(WithdrawProposal { id: App::id(&wire.proposal_id)? })
}

/// A ruling.
///
/// # Errors
/// What cannot be read.
pub fn rule(wire: v1::DecideProposalRequest) -> Result<RuleOnProposal, Error> {
    Ok(RuleOnProposal {
        id: App::id(&wire.proposal_id)?,
        accept: said("accept", wire.accept)?,
        reason: wire.reason,
    })
}

fn read_state(wire: i32) -> Result<Option<State>, Error> {
    match v1::ProposalState::try_from(wire) {
        Ok(v1::ProposalState::Unspecified) => Ok(None),
        Ok(v1::ProposalState::Open) => Ok(Some(State::Open)),
        Ok(v1::ProposalState::Accepted) => Ok(Some(State::Accepted)),
        Ok(v1::ProposalState::Refused) => Ok(Some(State::Refused)),
        Ok(v1::ProposalState::Withdrawn) => Ok(Some(State::Withdrawn)),
        Err(_) => Err(FieldError::new("state", "a state known to this server expected").into()),
    }
}

/// Which proposals.
///
/// # Errors
/// What cannot be read.
pub fn filter(crop: &str, cultivar: &str, state: i32, mine: bool) -> Result<ProposalFilter, Error> {
    Ok(ProposalFilter {
        crop: crop.trim().to_lowercase(),
        cultivar: cultivar.to_string(),
        state: read_state(state)?,
        mine,
    })
}

/// A remark on a name.
pub fn remark(remark: &Remark) -> v1::NameRemark {
    v1::NameRemark { text: remark.text.clone(), source: remark.source.clone(), severe: remark.severe }
}

/// A proposal.
///
/// In a list the change itself is left out: it may hold thousands of ids.
pub fn proposal(shown: &ShownProposal, now: Timestamp, in_full: bool) -> v1::Proposal {
    let p = &shown.proposal;
    let until = p.ruling.as_ref().map_or(now, |r| r.at);
    let days = (until.micros() - p.at.micros()) / 86_400_000_000;
    v1::Proposal {
        proposal_id: p.id.to_string(),
        crop: p.crop.clone(),
        cultivar_id: p.cultivar.map(|id| id.to_string()).unwrap_or_default(),
        cultivar_name: shown.cultivar_name.clone(),
        change: in_full.then(|| change(&p.change)),
        change_text: p.change.word().into(),
        reason: p.reason.clone(),
        citation: p.citation.clone(),
        author_account_id: p.author.to_string(),
        author_name: shown.author_name.clone(),
        created_at: Some(timestamp(p.at)),
        age_days: i32::try_from(days.max(0)).unwrap_or(i32::MAX),
        state: match p.state {
            State::Open => v1::ProposalState::Open,
            State::Accepted => v1::ProposalState::Accepted,
            State::Refused => v1::ProposalState::Refused,
            State::Withdrawn => v1::ProposalState::Withdrawn,
        }
        .into(),
        differences: shown
            .differences
            .iter()
            .map(|d| v1::FieldDifference {
                field: d.field.clone(),
                before: d.before.clone(),
                after: d.after.clone(),
            })
            .collect(),
        remarks: shown.remarks.iter().map(remark).collect(),
        evidence_count: count(shown.evidence),
        offer_count: i32::try_from(shown.offers).unwrap_or(i32::MAX),
        ruled_by_name: shown.ruler_name.clone(),
        ruled_at: p.ruling.as_ref().map(|r| timestamp(r.at)),
        ruling: p.ruling.as_ref().map(|r| r.reason.clone()).unwrap_or_default(),
        outcome: p.outcome.clone(),
    }
}

/// An event of a record's history.
pub fn event(shown: &HistoryEvent) -> v1::RecordEvent {
    let e = &shown.event;
    v1::RecordEvent {
        at: Some(timestamp(e.at)),
        by_name: shown.by_name.clone(),
        action: e.action.clone(),
        subject_id: e.subject.clone(),
        why: e.why.clone(),
        detail: e.detail.clone(),
        version: e.version.unwrap_or(0),
        cultivar_id: e.cultivar.map(|id| id.to_string()).unwrap_or_default(),
    }
}

/// A request to lock or unlock.
///
/// # Errors
/// Whether to lock it was left out.
pub fn lock(wire: v1::LockRecordRequest) -> Result<LockRecord, Error> {
    let lock = said("lock", wire.lock)?;
    Ok(LockRecord { cultivar: wire.cultivar, crop: wire.crop, lock, reason: wire.reason })
}

fn subject(wire: v1::TicketSubject) -> Option<Subject> {
    match wire {
        v1::TicketSubject::Cultivar => Some(Subject::Cultivar),
        v1::TicketSubject::Evidence => Some(Subject::Evidence),
        v1::TicketSubject::Offer => Some(Subject::Offer),
        v1::TicketSubject::Account => Some(Subject::Account),
        v1::TicketSubject::Unspecified => None,
    }
}

/// A complaint from the wire.
///
/// # Errors
/// What cannot be read.
pub fn file(wire: v1::CreateTicketRequest) -> Result<FileTicket, Error> {
    let subject = subject(wire.subject())
        .ok_or_else(|| FieldError::new("subject", "a cultivar, evidence, an offer or an account expected"))?;
    Ok(FileTicket { subject, id: wire.subject_id, reason: wire.reason })
}

/// A request to close a complaint.
///
/// # Errors
/// What cannot be read.
pub fn close(wire: v1::CloseTicketRequest) -> Result<CloseTicket, Error> {
    let id = App::id(&wire.ticket_id)?;
    Ok(CloseTicket { id, outcome: wire.outcome })
}

/// A complaint.
pub fn ticket(shown: &ShownTicket) -> v1::Ticket {
    let t = &shown.ticket;
    let subject = match Subject::ALL.iter().find(|(_, word)| *word == t.subject_kind).map(|(s, _)| *s) {
        Some(Subject::Cultivar) => v1::TicketSubject::Cultivar,
        Some(Subject::Evidence) => v1::TicketSubject::Evidence,
        Some(Subject::Offer) => v1::TicketSubject::Offer,
        Some(Subject::Account) => v1::TicketSubject::Account,
        None => v1::TicketSubject::Unspecified,
    };
    v1::Ticket {
        ticket_id: t.id.to_string(),
        subject: subject.into(),
        subject_id: t.subject.clone(),
        crop: t.crop.clone().unwrap_or_default(),
        reason: t.reason.clone(),
        author_name: shown.author_name.clone(),
        created_at: Some(timestamp(t.at)),
        closed_at: t.closed.as_ref().map(|c| timestamp(c.0)),
        closed_by_name: shown.closer_name.clone(),
        outcome: t.closed.as_ref().map(|c| c.2.clone()).unwrap_or_default(),
        subject_name: shown.subject_name.clone(),
    }
}
