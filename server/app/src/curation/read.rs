//! Reading proposals and the public history.

use std::collections::HashMap;

use scionary_domain::{
    curation::{Change, Content, Difference, Proposal, State, apply, difference, founded},
    ids::{AccountId, ProposalId},
    page::{self, Page},
};
use scionary_store::{Event, ProposalQuery, account_store, curation_store, offer_store};

use super::fit::{self, Remark};
use crate::{App, Call, Error, registry::Registry};

/// A proposal as a curator sees it.
#[derive(Clone, Debug)]
pub struct ShownProposal {
    /// The proposal.
    pub proposal: Proposal,
    /// The author's display name.
    pub author_name: String,
    /// Who ruled.
    pub ruler_name: String,
    /// The record's name; of a new one the name proposed.
    pub cultivar_name: String,
    /// What would change, side by side.
    pub differences: Vec<Difference>,
    /// What curators should know.
    pub remarks: Vec<Remark>,
    /// Pieces of evidence on the record.
    pub evidence: usize,
    /// Open offers of the record.
    pub offers: u64,
}

/// Which proposals.
#[derive(Clone, Debug, Default)]
pub struct ProposalFilter {
    /// Of this crop.
    pub crop: String,
    /// About this record: its id or its exact name.
    pub cultivar: String,
    /// In this state; all if absent.
    pub state: Option<State>,
    /// The caller's own only.
    pub mine: bool,
}

/// An event with the name of who did it.
#[derive(Clone, Debug)]
pub struct HistoryEvent {
    /// The event.
    pub event: Event,
    /// Display name; empty for the server's own jobs.
    pub by_name: String,
}

/// What a change would do to the registry as it is, side by side.
fn differences(registry: &Registry, proposal: &Proposal) -> Vec<Difference> {
    let record = proposal.cultivar.and_then(|id| registry.record(id));
    let before = record.map(|r| Content::from(&r.cultivar));
    let line =
        |field: &str, b: &str, a: &str| Difference { field: field.into(), before: b.into(), after: a.into() };
    let name = |id| registry.record(id).map(|r| r.cultivar.full_name()).unwrap_or_default();
    match &proposal.change {
        Change::NewCultivar { .. } => {
            let botanical =
                registry.crop(&proposal.crop).map(|c| c.botanical_name.clone()).unwrap_or_default();
            let mut empty = founded(&proposal.change, &botanical, None);
            let after = empty.clone();
            if let Some(content) = &mut empty {
                content.name.clear();
                content.qualifier.clear();
                content.botanical_name.clear();
                content.origin.clear();
                content.notes.clear();
            }
            empty.zip(after).map(|(b, a)| difference(&b, &a)).unwrap_or_default()
        }
        Change::DescriptorText { descriptor, label, question, observe } => {
            let found = registry.crop(&proposal.crop).and_then(|c| c.descriptor(descriptor));
            let Some(found) = found else { return Vec::new() };
            [
                ("label", &found.label, label),
                ("question", &found.question, question),
                ("how to observe", &found.observe, observe),
            ]
            .into_iter()
            .filter_map(|(field, before, after)| {
                let after = after.as_ref()?;
                (before != after).then(|| line(field, before, after))
            })
            .collect()
        }
        Change::Merge { into } => {
            let own = proposal.cultivar.map(name).unwrap_or_default();
            let pieces = record.map_or(0, |r| r.evidence.len());
            vec![
                line("record", &own, &format!("{} stands for it", name(*into))),
                line("evidence", &format!("{pieces} pieces"), "counted with the other record's"),
            ]
        }
        Change::Unmerge => {
            let own = record
                .and_then(|r| r.merged.iter().find(|m| Some(m.id) == proposal.cultivar))
                .map(scionary_domain::cultivar::Cultivar::full_name)
                .unwrap_or_default();
            let stands = record.map(|r| r.cultivar.full_name()).unwrap_or_default();
            vec![line("record", &format!("{own} is merged into {stands}"), "a record of its own again")]
        }
        Change::Revert { to_version } => {
            vec![line(
                "version",
                &record.map_or(0, |r| r.cultivar.version).to_string(),
                &format!("as in {to_version}"),
            )]
        }
        other @ (Change::Rename { .. }
        | Change::AddName { .. }
        | Change::RemoveName { .. }
        | Change::AddParent { .. }
        | Change::RemoveParent { .. }
        | Change::Describe { .. }
        | Change::Pin { .. }
        | Change::Unpin { .. }
        | Change::Split { .. }) => {
            let mut rows = before
                .as_ref()
                .and_then(|b| apply(other, b, &proposal.citation).ok().map(|a| difference(b, &a)))
                .unwrap_or_default();
            if let Change::Split { name, evidence, .. } = other {
                rows.push(line("new record", "", name));
                rows.push(line("evidence", "", &format!("{} pieces move to it", evidence.len())));
            }
            rows
        }
    }
}

impl App {
    async fn shown_proposals(&self, rows: Vec<Proposal>, in_full: bool) -> Result<Vec<ShownProposal>, Error> {
        let reader = self.store().reader();
        let people: Vec<AccountId> = rows
            .iter()
            .flat_map(|p| std::iter::once(p.author).chain(p.ruling.as_ref().map(|r| r.by)))
            .collect();
        let names = account_store::display_names(reader, &people).await?;
        let registry = self.registry();
        let mut all = Vec::new();
        for proposal in rows {
            let record = proposal.cultivar.and_then(|id| registry.record(id));
            let open = proposal.state == State::Open;
            // what a list does not show is not computed for it
            let compared = open && in_full;
            let offers = match record {
                Some(record) if open => {
                    let ids: Vec<_> = record.ids().collect();
                    offer_store::count_open_of(reader, &ids, self.clock().now().date()).await?
                }
                Some(_) | None => 0,
            };
            let remarks = match proposal.change.new_name() {
                Some((name, _, historic)) if compared => {
                    registry.name_remarks(&proposal.crop, name, historic)
                }
                Some(_) | None => Vec::new(),
            };
            let kept = match (&proposal.change, proposal.cultivar) {
                (Change::Revert { to_version }, Some(id)) if compared => {
                    curation_store::version(reader, id, *to_version).await?
                }
                (_, Some(_) | None) => None,
            };
            // a proposal that does not fit any more says so
            let misfit = compared
                .then(|| {
                    fit::check(
                        &registry,
                        &proposal.crop,
                        record,
                        proposal.cultivar,
                        &proposal.change,
                        &proposal.citation,
                    )
                    .err()
                })
                .flatten()
                .map(|e| Remark {
                    text: format!("it does not fit the registry as it is now: {e}"),
                    source: String::new(),
                    severe: true,
                });
            all.push(ShownProposal {
                author_name: names.get(&proposal.author).cloned().unwrap_or_default(),
                ruler_name: proposal
                    .ruling
                    .as_ref()
                    .and_then(|r| names.get(&r.by).cloned())
                    .unwrap_or_default(),
                cultivar_name: match (&proposal.change, record) {
                    (Change::NewCultivar { name, .. }, _) => name.clone(),
                    (Change::DescriptorText { descriptor, .. }, _) => descriptor.clone(),
                    (_, Some(record)) => record.cultivar.full_name(),
                    (_, None) => String::new(),
                },
                differences: if let (Some(kept), Some(record)) = (&kept, record) {
                    difference(&Content::from(&record.cultivar), &kept.content)
                } else if compared {
                    differences(&registry, &proposal)
                } else {
                    Vec::new()
                },
                remarks: remarks.into_iter().chain(misfit).collect(),
                evidence: record.map_or(0, |r| r.evidence.len()),
                offers,
                proposal,
            });
        }
        Ok(all)
    }

    /// A proposal as it is now.
    ///
    /// # Errors
    /// [`Error::NotFound`].
    pub async fn proposal(&self, id: ProposalId) -> Result<ShownProposal, Error> {
        let missing = || Error::not_found("proposal", id);
        let row = curation_store::proposal(self.store().reader(), id).await?.ok_or_else(missing)?;
        self.shown_proposals(vec![row], true).await?.pop().ok_or_else(missing)
    }

    /// A page of proposals, oldest first. They are public, as the history is.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit; `mine` without a session.
    pub async fn proposals(
        &self,
        call: &Call,
        filter: &ProposalFilter,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownProposal>, Error> {
        let registry = self.registry();
        registry.check_crop(&filter.crop)?;
        let author = if filter.mine { Some(call.account_id()?) } else { None };
        let cultivars = if filter.cultivar.trim().is_empty() {
            None
        } else {
            Some(registry.resolve("cultivar", &filter.cultivar, &filter.crop)?.ids().collect())
        };
        let asked =
            page::Asked::<ProposalId>::read(page_size, token, format!("proposals {filter:?} {author:?}"))?;
        let query = ProposalQuery {
            crop: (!filter.crop.is_empty()).then(|| filter.crop.clone()),
            cultivars,
            author,
            state: filter.state,
            after: asked.after,
            limit: asked.limit(),
        };
        let rows = curation_store::proposals(self.store().reader(), &query).await?;
        let Page { rows, next } = asked.cut(rows, |p| p.id);
        Ok(Page { rows: self.shown_proposals(rows, false).await?, next })
    }

    /// A page of a record's history, newest first; of records merged into it too.
    ///
    /// # Errors
    /// [`Error::NotFound`]; a page token that does not fit.
    pub async fn history(
        &self,
        cultivar: &str,
        crop: &str,
        page_size: i32,
        token: &str,
    ) -> Result<Page<HistoryEvent>, Error> {
        let registry = self.registry();
        let record = registry.resolve("cultivar", cultivar, crop)?;
        let asked = page::Asked::<i64>::read(page_size, token, format!("history {}", record.cultivar.id))?;
        let ids: Vec<_> = record.ids().collect();
        let reader = self.store().reader();
        let rows = curation_store::history(reader, &ids, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |e| e.seq);
        let people: Vec<AccountId> = rows.iter().filter_map(|e| e.by).collect();
        let names: HashMap<AccountId, String> = account_store::display_names(reader, &people).await?;
        let rows = rows
            .into_iter()
            .map(|event| HistoryEvent {
                by_name: event.by.and_then(|id| names.get(&id).cloned()).unwrap_or_default(),
                event,
            })
            .collect();
        Ok(Page { rows, next })
    }
}
