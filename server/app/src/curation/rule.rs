//! Ruling on a proposal: the change is made in the same transaction, or the proposal is refused with a reason.

use scionary_domain::{
    access::{self, Granted},
    cultivar::Cultivar,
    curation::{Change, Content, Proposal, Ruling, State, apply, difference, founded},
    field::Fields,
    ids::{CultivarId, ProposalId},
    limits,
};
use scionary_store::{
    DescriptorText, Event, Of, StoreError, Version, curation_store, evidence_store, record_store,
    registry_store,
};

use super::{fit::misfit, propose::already};
use crate::{Done, Error, Rule, UseCase, Write, registry};

/// Accepts or refuses a proposal.
pub struct RuleOnProposal {
    /// The proposal's id.
    pub id: ProposalId,
    /// Accept it, or refuse it.
    pub accept: bool,
    /// Why.
    pub reason: String,
}

type Act = Granted<access::RuleOnProposal>;

/// What a ruling did: the records that changed, and what came of it in words.
struct Made {
    records: Vec<CultivarId>,
    outcome: String,
    /// Words of a descriptor changed: the crop's profile is read again.
    crop_changed: bool,
}

impl UseCase for RuleOnProposal {
    type Out = ProposalId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<ProposalId>, Error> {
        let account = write.call.account()?;
        let mut fields = Fields::new();
        let reason = fields.text("reason", &self.reason, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
        let missing = || Error::not_found("proposal", self.id);
        let proposal = curation_store::proposal(write.tx, self.id).await?.ok_or_else(missing)?;
        let granted = access::rule_on_proposal(account, &proposal.crop, proposal.author)?;
        let reason = fields.finish(reason)?;
        let ruling = Ruling { by: account.id, at: write.call.now, reason };
        let state = if self.accept { State::Accepted } else { State::Refused };
        // the row is locked from here on: of two curators one waits, and gets an error
        if !curation_store::rule(write.tx, &granted, self.id, state, &ruling).await? {
            return Err(already(write, self.id).await?);
        }
        let mut made = Made { records: Vec::new(), outcome: String::new(), crop_changed: false };
        if self.accept {
            made = carry_out(write, &granted, &proposal).await?;
            curation_store::set_outcome(write.tx, &granted, self.id, &made.outcome).await?;
        } else if let Some(id) = proposal.cultivar {
            tell(write, &proposal, &ruling, Some(id), "proposal refused", String::new(), None).await?;
        }
        let crop = proposal.crop.clone();
        let change = serde_json::json!({
            "accepted": self.accept,
            "change": proposal.change.word(),
            "records": made.records.iter().map(ToString::to_string).collect::<Vec<_>>(),
        });
        let mut done = Done::new(self.id, "proposal.ruled", self.id, change).and_publish("proposal", self.id);
        for record in made.records {
            done = done.and_publish(registry::TOPIC, record);
        }
        if made.crop_changed {
            done = done.and_publish(registry::TOPIC, crop);
        }
        Ok(done)
    }
}

async fn tell(
    write: &Write<'_>,
    proposal: &Proposal,
    ruling: &Ruling,
    cultivar: Option<CultivarId>,
    action: &str,
    detail: String,
    version: Option<i64>,
) -> Result<(), Error> {
    let event = Event {
        seq: 0,
        cultivar,
        crop: proposal.crop.clone(),
        at: ruling.at,
        by: Some(ruling.by),
        action: action.into(),
        subject: proposal.id.to_string(),
        why: format!("proposed: {}; ruled: {}", proposal.reason, ruling.reason),
        detail,
        version,
    };
    Ok(curation_store::tell(write.tx, &event).await?)
}

/// The record as it is in this transaction.
async fn stored(write: &Write<'_>, id: CultivarId) -> Result<Cultivar, Error> {
    registry_store::cultivars(write.tx, Of::Records(&[id]))
        .await?
        .pop()
        .ok_or_else(|| Error::not_found("cultivar", id))
}

fn name_taken(name: &str) -> impl FnOnce(StoreError) -> Error + '_ {
    move |e| e.if_exists(Rule::NameTaken(name.to_string()).into())
}

/// One ruling under way.
struct Hand<'a> {
    write: &'a Write<'a>,
    granted: &'a Act,
    proposal: &'a Proposal,
    ruling: Ruling,
}

async fn carry_out(write: &Write<'_>, granted: &Act, proposal: &Proposal) -> Result<Made, Error> {
    let account = write.call.account()?;
    let stored_ruling = curation_store::proposal(write.tx, proposal.id)
        .await?
        .and_then(|p| p.ruling)
        .ok_or_else(|| Error::not_found("proposal", proposal.id))?;
    let ruling = Ruling { by: account.id, ..stored_ruling };
    let hand = Hand { write, granted, proposal, ruling };
    match &proposal.change {
        Change::NewCultivar { .. } => hand.new_cultivar().await,
        Change::DescriptorText { descriptor, label, question, observe } => {
            let text = DescriptorText {
                crop: proposal.crop.clone(),
                descriptor: descriptor.clone(),
                label: label.clone(),
                question: question.clone(),
                observe: observe.clone(),
            };
            curation_store::put_descriptor_text(write.tx, &text).await?;
            hand.tell(None, "descriptor reworded", descriptor.clone(), None).await?;
            Ok(Made { records: Vec::new(), outcome: format!("{descriptor} reworded"), crop_changed: true })
        }
        Change::Merge { into } => hand.merge(*into).await,
        Change::Unmerge => hand.unmerge().await,
        Change::Split { evidence, .. } => hand.split(evidence).await,
        Change::Rename { .. }
        | Change::AddName { .. }
        | Change::RemoveName { .. }
        | Change::AddParent { .. }
        | Change::RemoveParent { .. }
        | Change::Describe { .. }
        | Change::Pin { .. }
        | Change::Unpin { .. }
        | Change::Revert { .. } => hand.change().await,
    }
}

impl Hand<'_> {
    fn record(&self) -> Result<CultivarId, Error> {
        self.proposal.cultivar.ok_or_else(|| Error::Internal("a proposal without its record".into()))
    }
    async fn tell(
        &self,
        id: Option<CultivarId>,
        action: &str,
        detail: String,
        version: Option<i64>,
    ) -> Result<(), Error> {
        tell(self.write, self.proposal, &self.ruling, id, action, detail, version).await
    }
    fn version(&self, number: i64, content: &Content) -> Version {
        Version {
            version: number,
            content: content.clone(),
            at: self.ruling.at,
            by: Some(self.ruling.by),
            proposal: Some(self.proposal.id),
        }
    }

    async fn new_cultivar(&self) -> Result<Made, Error> {
        let registry = self.write.app.registry();
        let botanical =
            registry.crop(&self.proposal.crop).map(|c| c.botanical_name.clone()).unwrap_or_default();
        let content = founded(&self.proposal.change, &botanical, None)
            .ok_or_else(|| Error::Internal("a new cultivar without a name".into()))?;
        let id = self.found(&content).await?;
        self.tell(Some(id), "record made", content.name.clone(), Some(1)).await?;
        Ok(Made {
            records: vec![id],
            outcome: format!("{} is on file as {id}", content.name),
            crop_changed: false,
        })
    }

    /// Makes a record.
    async fn found(&self, content: &Content) -> Result<CultivarId, Error> {
        let tx = self.write.tx;
        let id = CultivarId::from_uuid(self.write.new_uuid()?);
        curation_store::insert_record(tx, self.granted, id, &self.proposal.crop, content, self.ruling.at)
            .await
            .map_err(name_taken(&content.name))?;
        curation_store::keep_version(tx, id, &self.version(1, content)).await?;
        Ok(id)
    }

    /// Puts other content into the record and keeps both versions.
    async fn put(&self, cultivar: &Cultivar, after: &Content, action: &str) -> Result<i64, Error> {
        let tx = self.write.tx;
        let before = Content::from(cultivar);
        let first = Version {
            version: cultivar.version,
            content: before.clone(),
            at: cultivar.updated_at,
            by: None,
            proposal: None,
        };
        curation_store::keep_version(tx, cultivar.id, &first).await?;
        let changed = curation_store::change_record(
            tx,
            self.granted,
            cultivar.id,
            cultivar.version,
            after,
            self.ruling.at,
        )
        .await
        .map_err(name_taken(&after.name))?;
        if !changed {
            return Err(StoreError::Collision.into());
        }
        let number = cultivar.version + 1;
        curation_store::keep_version(tx, cultivar.id, &self.version(number, after)).await?;
        let detail: Vec<String> = difference(&before, after)
            .into_iter()
            .map(|d| match (d.before.is_empty(), d.after.is_empty()) {
                (true, _) => format!("{}: + {}", d.field, d.after),
                (_, true) => format!("{}: - {}", d.field, d.before),
                (false, false) => format!("{}: {} became {}", d.field, d.before, d.after),
            })
            .collect();
        self.tell(Some(cultivar.id), action, detail.join("; "), Some(number)).await?;
        Ok(number)
    }

    async fn change(&self) -> Result<Made, Error> {
        let id = self.record()?;
        let cultivar = stored(self.write, id).await?;
        let before = Content::from(&cultivar);
        let after = if let Change::Revert { to_version } = &self.proposal.change {
            let kept = curation_store::version(self.write.tx, id, *to_version).await?;
            kept.ok_or_else(|| misfit(format!("version {to_version} is not kept")))?.content
        } else {
            apply(&self.proposal.change, &before, &self.proposal.citation).map_err(misfit)?
        };
        let number = self.put(&cultivar, &after, self.proposal.change.word()).await?;
        Ok(Made {
            records: vec![id],
            outcome: format!("{} is at version {number}", after.name),
            crop_changed: false,
        })
    }

    async fn split(&self, evidence: &[scionary_domain::ids::EvidenceId]) -> Result<Made, Error> {
        let id = self.record()?;
        let cultivar = stored(self.write, id).await?;
        let before = Content::from(&cultivar);
        let content = founded(&self.proposal.change, &cultivar.botanical_name, Some(&before))
            .ok_or_else(|| Error::Internal("a split without a name".into()))?;
        let after = apply(&self.proposal.change, &before, &self.proposal.citation).map_err(misfit)?;
        let new = self.found(&content).await?;
        let family: Vec<CultivarId> =
            curation_store::families(self.write.tx, &[id].into()).await?.into_keys().collect();
        let moved = evidence_store::move_pieces(self.write.tx, self.granted, evidence, &family, new).await?;
        if after == before {
            self.tell(Some(id), "split", format!("{moved} pieces went to {} ({new})", content.name), None)
                .await?;
        } else {
            self.put(&cultivar, &after, "split").await?;
        }
        self.tell(
            Some(new),
            "record made by a split",
            format!("from {} ({id}) with {moved} pieces of evidence", cultivar.name),
            Some(1),
        )
        .await?;
        Ok(Made {
            records: vec![id, new],
            outcome: format!("{} is on file as {new} with {moved} pieces of evidence", content.name),
            crop_changed: false,
        })
    }

    /// One merge at a time: two that point at each other would leave no record standing.
    async fn one_at_a_time(&self) -> Result<(), Error> {
        let at = self.ruling.at;
        Ok(record_store::set_setting(self.write.tx, "merges.changed_at", &at.to_string(), at).await?)
    }

    async fn merge(&self, into: CultivarId) -> Result<Made, Error> {
        let tx = self.write.tx;
        self.one_at_a_time().await?;
        let id = self.record()?;
        let links = curation_store::families(tx, &[id, into].into()).await?;
        let root = |mut at: CultivarId| {
            for _ in 0..=links.len() {
                match links.get(&at).copied().flatten() {
                    Some(next) => at = next,
                    None => break,
                }
            }
            at
        };
        let (from, to) = (root(id), root(into));
        if from == to {
            return Err(misfit("they are one record by now".into()));
        }
        if !curation_store::set_merged(tx, self.granted, from, Some(to), self.ruling.at).await? {
            return Err(StoreError::Collision.into());
        }
        let (gone, stays) = (stored(self.write, from).await?, stored(self.write, to).await?);
        let name = |c: &Cultivar| c.full_name();
        self.tell(Some(from), "merged", format!("{} is now {} ({to})", name(&gone), name(&stays)), None)
            .await?;
        self.tell(Some(to), "took in", format!("{} ({from})", name(&gone)), None).await?;
        Ok(Made {
            records: vec![from, to],
            outcome: format!("{} now stands for {}", name(&stays), name(&gone)),
            crop_changed: false,
        })
    }

    async fn unmerge(&self) -> Result<Made, Error> {
        self.one_at_a_time().await?;
        let id = self.record()?;
        let was = stored(self.write, id).await?;
        let into = was.merged_into.ok_or_else(|| misfit("it is a record of its own already".into()))?;
        if !curation_store::set_merged(self.write.tx, self.granted, id, None, self.ruling.at).await? {
            return Err(StoreError::Collision.into());
        }
        let other = stored(self.write, into).await?;
        let (own, other) = (was.full_name(), other.full_name());
        self.tell(Some(id), "merge undone", format!("{own} is a record of its own again"), None).await?;
        self.tell(Some(into), "merge undone", format!("{own} ({id}) left {other}"), None).await?;
        Ok(Made {
            records: vec![id, into],
            outcome: format!("{own} is a record of its own again"),
            crop_changed: false,
        })
    }
}
