//! Reading evidence: one piece with its author and checks, one's own, and how somebody's held up.

use std::collections::HashMap;

use scionary_domain::{
    access,
    ids::{AccountId, EvidenceId},
    page::{self, Page, PageTokenError},
};
use scionary_store::{Stored, Weight, account_store, evidence_store, observer_store};

use crate::{App, Call, Error};

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
    /// Somebody vouched for them.
    pub vouched: bool,
    /// The row of the weight table; none before the first table with them in it.
    pub weight: Option<Weight>,
    /// The diagnosis is shown to those who curate, not to the grower.
    pub with_diagnosis: bool,
}

impl App {
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
        let size = page::page_size(page_size)?;
        let search = format!("my evidence {}", account.id);
        let before = match page::key(&search, token)? {
            None => None,
            Some(key) => Some(key.parse::<EvidenceId>().map_err(|_| PageTokenError::Unreadable)?),
        };
        let limit = u64::try_from(size + 1).unwrap_or(u64::MAX);
        let mut rows = evidence_store::by_author(self.store().reader(), account.id, before, limit).await?;
        let more = rows.len() > size;
        rows.truncate(size);
        let next = rows.last().filter(|_| more).map(|s| page::token(&search, &s.evidence.id.to_string()));
        Ok(Page { rows: self.shown_evidence(rows).await?, next })
    }

    /// How somebody's evidence held up: for themselves, and for those who curate.
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
