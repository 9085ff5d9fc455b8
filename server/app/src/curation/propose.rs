//! Proposing a change, and taking a proposal back.

use scionary_domain::{
    access,
    curation::{Change, Proposal, Ruling, State},
    field::Fields,
    ids::ProposalId,
    limits,
};
use scionary_store::{account_store, curation_store};

use super::fit::{check, id_of};
use crate::{Done, Error, Rule, UseCase, Write};

/// The outbox topic of proposals.
const TOPIC: &str = "proposal";

/// Suggests a change.
pub struct Propose {
    /// The crop's key; the record's if empty.
    pub crop: String,
    /// The record: its id or its exact name; empty for a new one.
    pub cultivar: String,
    /// What to change.
    pub change: Change,
    /// Why.
    pub reason: String,
    /// On what.
    pub citation: String,
}

/// Takes a proposal back.
pub struct WithdrawProposal {
    /// The proposal's id.
    pub id: ProposalId,
}

impl UseCase for Propose {
    type Out = ProposalId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ProposalId>, Error> {
        let account = write.call.account()?;
        let now = write.call.now;
        let registry = write.app.registry();
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let citation = fields.line("citation", &self.citation, 0, limits::CITATION_CHARS_MAX);
        let mut wanted = self.change.clone();
        wanted.check(&mut fields);
        let (reason, citation) = fields.finish(reason.zip(citation))?;
        let record = if self.cultivar.trim().is_empty() {
            None
        } else {
            Some(registry.resolve("cultivar", &self.cultivar, &self.crop)?)
        };
        let crop = record.map_or_else(|| self.crop.trim().to_lowercase(), |r| r.cultivar.crop.clone());
        check(&registry, &crop, record, id_of(&self.cultivar), &wanted, &citation)?;
        // a merge is undone on the record that it redirected; all else concerns the one that stands
        let cultivar = match (&wanted, record) {
            (Change::Unmerge, _) => id_of(&self.cultivar),
            (_, record) => record.map(|r| r.cultivar.id),
        };
        if let Change::Revert { to_version } = &wanted
            && let Some(id) = cultivar
            && curation_store::version(write.tx, id, *to_version).await?.is_none()
        {
            return Err(super::fit::misfit(format!(
                "version {to_version} is not kept; the record's history names those that are"
            )));
        }
        if let Some(record) = record
            && let Some(why) = &record.cultivar.locked
            && !access::curates(account, &crop)
        {
            return Err(Rule::RecordLocked(record.cultivar.full_name(), why.clone()).into());
        }
        account_store::lock_account(write.tx, account.id).await?;
        let open = curation_store::count_open(write.tx, account.id).await?;
        if i64::try_from(open).unwrap_or(i64::MAX) >= limits::PROPOSALS_OPEN_MAX {
            return Err(Rule::TooManyProposals(limits::PROPOSALS_OPEN_MAX).into());
        }
        let proposal = Proposal {
            id: ProposalId::from_uuid(write.new_uuid()?),
            crop,
            cultivar,
            change: wanted,
            reason,
            citation,
            author: account.id,
            at: now,
            state: State::Open,
            ruling: None,
            outcome: String::new(),
        };
        curation_store::insert_proposal(write.tx, &proposal).await?;
        let id = proposal.id;
        let change = serde_json::json!({
            "change": proposal.change.word(),
            "crop": proposal.crop,
            "record": proposal.cultivar.map(|c| c.to_string()),
        });
        Ok(Done::new(id, "proposal.made", id, change).and_publish(TOPIC, id))
    }
}

impl UseCase for WithdrawProposal {
    type Out = ProposalId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ProposalId>, Error> {
        let account = write.call.account()?;
        let missing = || Error::not_found("proposal", self.id);
        let proposal = curation_store::proposal(write.tx, self.id).await?.ok_or_else(missing)?;
        let granted = access::withdraw_proposal(account, proposal.author)?;
        let ruling = Ruling { by: account.id, at: write.call.now, reason: "taken back by its author".into() };
        if !curation_store::withdraw(write.tx, &granted, self.id, &ruling).await? {
            return Err(already(write, self.id).await?);
        }
        Ok(Done::new(self.id, "proposal.withdrawn", self.id, serde_json::json!({}))
            .and_publish(TOPIC, self.id))
    }
}

/// Who was faster: the refusal of a ruling or withdrawal that came second.
pub(super) async fn already(write: &Write<'_>, id: ProposalId) -> Result<Error, Error> {
    let proposal =
        curation_store::proposal(write.tx, id).await?.ok_or_else(|| Error::not_found("proposal", id))?;
    let word = match proposal.state {
        State::Open => "open",
        State::Accepted => "accepted",
        State::Refused => "refused",
        State::Withdrawn => "withdrawn",
    };
    let by = match &proposal.ruling {
        Some(ruling) => {
            let names = account_store::display_names(write.tx, &[ruling.by]).await?;
            let name = names.get(&ruling.by).cloned().unwrap_or_default();
            format!(" by {name} on {}", ruling.at.date())
        }
        None => String::new(),
    };
    Ok(Rule::ProposalClosed(word, by).into())
}
