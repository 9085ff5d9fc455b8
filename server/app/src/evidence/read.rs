//! Reading evidence: one piece with its author and checks, one's own, and how someone's held up.

use std::collections::HashMap;

use scionary_domain::{
    access,
    evidence::Evidence,
    field::FieldError,
    ids::{AccountId, CultivarId, EvidenceId},
    page::{self, Asked, Page},
};
use scionary_store::{Stored, Weight, account_store, evidence_store, observer_store};

use crate::{App, Call, Error, registry::Registry};

/// A piece with the names of its people and its weight.
#[derive(Clone, Debug)]
pub struct ShownEvidence {
    /// The piece.
    pub stored: Stored,
    /// Display names of its author and its checkers.
    pub names: HashMap<AccountId, String>,
    /// Its weight in the finding, and why.
    pub weight: (f64, String),
    /// The descriptor's label.
    pub label: String,
    /// The cultivar's name.
    pub cultivar_name: String,
}

/// How a grower's evidence held up.
#[derive(Clone, Debug)]
pub struct GrowerRecord {
    /// Whose.
    pub account: scionary_domain::account::Account,
    /// Someone vouched for them.
    pub vouched: bool,
    /// The row of the weight table; none before the first table with them in it.
    pub weight: Option<Weight>,
    /// The diagnosis is shown to those who curate, not to the grower.
    pub with_diagnosis: bool,
}

/// A current piece of a record, as a list shows it.
#[derive(Clone, Debug)]
pub struct ListedEvidence<'r> {
    /// The piece.
    pub evidence: &'r Evidence,
    /// The descriptor's label.
    pub label: String,
    /// Its weight in the finding, and why.
    pub weight: (f64, &'r str),
    /// The author's display name; empty for a publication.
    pub author_name: String,
}

impl App {
    /// A page of a record's current evidence, oldest first; on one descriptor where one is named.
    ///
    /// # Errors
    /// No such record or descriptor; wrong fields; a page token that does not fit.
    pub async fn evidence_of_record<'r>(
        &self,
        registry: &'r Registry,
        cultivar_id: &str,
        descriptor: &str,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ListedEvidence<'r>>, Error> {
        let id: CultivarId = Self::id(cultivar_id)?;
        let asked = Asked::read(page_size, token, format!("evidence {id} {descriptor}"))?;
        let record = registry.record(id).ok_or_else(|| Error::not_found("cultivar", id))?;
        let crop = registry.crop(&record.cultivar.crop);
        if !descriptor.is_empty() && crop.and_then(|c| c.descriptor(descriptor)).is_none() {
            let expected = format!("a descriptor of {} expected", record.cultivar.crop);
            return Err(FieldError::new("descriptor_key", expected).into());
        }
        let rows: Vec<&Evidence> = record
            .evidence
            .iter()
            .filter(|e| descriptor.is_empty() || e.descriptor == descriptor)
            .filter(|e| asked.after.is_none_or(|last: EvidenceId| e.id > last))
            .take(asked.size + 1)
            .map(AsRef::as_ref)
            .collect();
        let page = asked.cut(rows, |e| e.id);
        let authors: Vec<AccountId> =
            page.rows.iter().filter_map(|e| e.observed.as_ref()).map(|o| o.by.account).collect();
        let names = self.display_names(&authors).await?;
        let weights: HashMap<EvidenceId, (f64, &str)> = record
            .findings
            .iter()
            .flat_map(|f| &f.pieces)
            .map(|p| (p.evidence.id, (p.weight, p.why.as_str())))
            .collect();
        Ok(page.map(|evidence| ListedEvidence {
            evidence,
            label: crop
                .and_then(|c| c.descriptor(&evidence.descriptor))
                .map_or_else(|| evidence.descriptor.clone(), |d| d.label.clone()),
            weight: weights.get(&evidence.id).copied().unwrap_or((0.0, "")),
            author_name: evidence
                .observed
                .as_ref()
                .and_then(|o| names.get(&o.by.account).cloned())
                .unwrap_or_default(),
        }))
    }

    /// Display names of some accounts.
    ///
    /// # Errors
    /// When the database is away; without accounts it is not asked.
    pub async fn display_names(&self, ids: &[AccountId]) -> Result<HashMap<AccountId, String>, Error> {
        if ids.is_empty() {
            return Ok(HashMap::new());
        }
        Ok(account_store::display_names(self.store().reader(), ids).await?)
    }

    async fn shown_evidence(&self, rows: Vec<Stored>) -> Result<Vec<ShownEvidence>, Error> {
        let people: Vec<AccountId> = rows
            .iter()
            .filter_map(|s| s.evidence.observed.as_ref())
            .flat_map(|o| std::iter::once(o.by.account).chain(o.checks.iter().map(|c| c.by.account)))
            .collect();
        let names = account_store::display_names(self.store().reader(), &people).await?;
        let registry = self.registry();
        Ok(rows
            .into_iter()
            .map(|stored| {
                let record = stored.evidence.cultivar.and_then(|id| registry.record(id));
                let weight = record
                    .into_iter()
                    .flat_map(|r| &r.findings)
                    .flat_map(|f| &f.pieces)
                    .find(|p| p.evidence.id == stored.evidence.id)
                    .map_or((0.0, String::new()), |p| (p.weight, p.why.clone()));
                let label = registry
                    .crop(&stored.evidence.crop)
                    .and_then(|c| c.descriptor(&stored.evidence.descriptor))
                    .map_or_else(|| stored.evidence.descriptor.clone(), |d| d.label.clone());
                let own: HashMap<AccountId, String> = stored
                    .evidence
                    .observed
                    .iter()
                    .flat_map(|o| std::iter::once(o.by.account).chain(o.checks.iter().map(|c| c.by.account)))
                    .filter_map(|id| Some((id, names.get(&id)?.clone())))
                    .collect();
                ShownEvidence {
                    cultivar_name: record.map(|r| r.cultivar.full_name()).unwrap_or_default(),
                    names: own,
                    weight,
                    label,
                    stored,
                }
            })
            .collect())
    }

    /// One piece, current or ended.
    ///
    /// # Errors
    /// [`Error::NotFound`].
    pub async fn evidence(&self, id: EvidenceId) -> Result<ShownEvidence, Error> {
        let stored = evidence_store::piece(self.store().reader(), id)
            .await?
            .ok_or_else(|| Error::not_found("evidence", id))?;
        self.shown_evidence(vec![stored]).await?.pop().ok_or_else(|| Error::not_found("evidence", id))
    }

    /// Pieces that were just written, current or ended, in the order given.
    ///
    /// # Errors
    /// [`Error::NotFound`] where one is missing.
    pub async fn evidence_of(&self, ids: &[EvidenceId]) -> Result<Vec<ShownEvidence>, Error> {
        let stored = evidence_store::some(self.store().reader(), ids).await?;
        let mut shown: HashMap<EvidenceId, ShownEvidence> =
            self.shown_evidence(stored).await?.into_iter().map(|s| (s.stored.evidence.id, s)).collect();
        ids.iter().map(|id| shown.remove(id).ok_or_else(|| Error::not_found("evidence", id))).collect()
    }

    /// A page of the caller's own pieces, ended ones too, newest first.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub async fn my_evidence(
        &self,
        call: &Call,
        page_size: i32,
        token: &str,
    ) -> Result<Page<ShownEvidence>, Error> {
        let account = call.account()?;
        let asked = page::Asked::<EvidenceId>::read(page_size, token, format!("my evidence {}", account.id))?;
        let rows =
            evidence_store::by_author(self.store().reader(), account.id, asked.after, asked.limit()).await?;
        let Page { rows, next } = asked.cut(rows, |s| s.evidence.id);
        Ok(Page { rows: self.shown_evidence(rows).await?, next })
    }

    /// How someone's evidence held up: for themselves, and for those who curate.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Denied`].
    pub async fn grower_record(&self, call: &Call, handle: &str) -> Result<GrowerRecord, Error> {
        let caller = call.account()?;
        let reader = self.store().reader();
        let key = handle.trim().to_ascii_lowercase();
        let account = if key.is_empty() {
            caller.clone()
        } else {
            // who may not read any record does not learn which handles there are
            let found = account_store::account_to_sign_in(reader, &key).await?.map(|(a, _)| a);
            let whose = found.as_ref().map_or_else(|| AccountId::from_uuid(uuid::Uuid::nil()), |a| a.id);
            access::read_grower_record(caller, whose)?;
            found.ok_or_else(|| Error::not_found("account", handle))?
        };
        access::read_grower_record(caller, account.id)?;
        let observer = observer_store::one(reader, account.id).await?;
        Ok(GrowerRecord {
            vouched: observer.is_some_and(|o| o.vouched),
            weight: observer_store::weight(reader, account.id).await?,
            with_diagnosis: caller.id != account.id,
            account,
        })
    }
}
