//! Cultivars: look-up, search, records, evidence.

use std::collections::HashMap;

use scionary_app::{App, Error, protection::SetProtection};
use scionary_domain::{
    field::FieldError,
    ids::CultivarId,
    page::{self, PageTokenError},
};
use scionary_proto::v1::{self, cultivar_service_server::CultivarService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::registry as convert};

/// What to do when a name is near nothing.
const NOTHING_FOUND: &str = "Try another spelling or a synonym, or look through the list of all cultivars. If the cultivar is missing, any member can propose it (scionary propose new): the curators of the crop rule on it.";

/// Answers `CultivarService`.
pub struct CultivarRpc(pub App);

#[tonic::async_trait]
impl CultivarService for CultivarRpc {
    async fn look_up_seed(
        &self,
        request: Request<v1::LookUpSeedRequest>,
    ) -> Result<Response<v1::LookUpSeedResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let v1::LookUpSeedRequest { name, crop } = request.into_inner();
        let looked = registry.look_up(&name, &crop).map_err(|e| admitted.fail(e))?;
        let nothing = looked.answer.is_none() && looked.others.is_empty();
        let (report, found_by) = match &looked.answer {
            Some((found, report)) => (
                Some(convert::report(&registry, found.record, report)),
                Some(convert::found(found, name.trim())),
            ),
            None => (None, None),
        };
        Ok(Response::new(v1::LookUpSeedResponse {
            report,
            found_by,
            others: looked.others.iter().map(|f| convert::found(f, name.trim())).collect(),
            guessed: looked.guessed,
            nothing_found_hint: if nothing { NOTHING_FOUND.into() } else { String::new() },
        }))
    }

    async fn search_cultivars(
        &self,
        request: Request<v1::SearchCultivarsRequest>,
    ) -> Result<Response<v1::SearchCultivarsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let v1::SearchCultivarsRequest { query, crop, page_size } = request.into_inner();
        let found = registry.search(&query, &crop, page_size).map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::SearchCultivarsResponse {
            exact: found.first().is_some_and(|f| f.hit.is_exact()),
            matches: found.iter().map(|f| convert::found(f, query.trim())).collect(),
        }))
    }

    async fn list_cultivars(
        &self,
        request: Request<v1::ListCultivarsRequest>,
    ) -> Result<Response<v1::ListCultivarsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let v1::ListCultivarsRequest { crop, seed_answer, page_size, page_token } = request.into_inner();
        let answer = convert::read_answer(seed_answer);
        if answer.is_none() && seed_answer != 0 {
            return Err(
                admitted.fail(FieldError::new("seed_answer", "an answer known to this server expected"))
            );
        }
        let page = registry.list(&crop, answer, page_size, &page_token).map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListCultivarsResponse {
            cultivars: page.rows.into_iter().map(convert::summary).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn get_cultivar(
        &self,
        request: Request<v1::GetCultivarRequest>,
    ) -> Result<Response<v1::GetCultivarResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let v1::GetCultivarRequest { cultivar, crop } = request.into_inner();
        let record = registry.resolve("cultivar", &cultivar, &crop).map_err(|e| admitted.fail(e))?;
        Ok(Response::new(convert::record(&registry, record)))
    }

    async fn list_evidence(
        &self,
        request: Request<v1::ListEvidenceRequest>,
    ) -> Result<Response<v1::ListEvidenceResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let registry = self.0.registry();
        let v1::ListEvidenceRequest { cultivar_id, descriptor_key, page_size, page_token } =
            request.into_inner();
        let id: CultivarId =
            cultivar_id.parse().map_err(|e| admitted.fail(FieldError::new("cultivar_id", format!("{e}"))))?;
        let size = page::page_size(page_size).map_err(|e| admitted.fail(e))?;
        let record = registry.record(id).ok_or_else(|| admitted.fail(Error::not_found("cultivar", id)))?;
        let crop = registry.crop(&record.cultivar.crop);
        if !descriptor_key.is_empty() && crop.and_then(|c| c.descriptor(&descriptor_key)).is_none() {
            return Err(admitted.fail(FieldError::new(
                "descriptor_key",
                format!("a descriptor of {} expected", record.cultivar.crop),
            )));
        }
        let search = format!("evidence {id} {descriptor_key}");
        let after = match page::key(&search, &page_token).map_err(|e| admitted.fail(e))? {
            None => None,
            Some(key) => Some(key.parse().map_err(|_| admitted.fail(PageTokenError::Unreadable))?),
        };
        let mut rows: Vec<_> = record
            .evidence
            .iter()
            .filter(|e| descriptor_key.is_empty() || e.descriptor == descriptor_key)
            .filter(|e| after.is_none_or(|last| e.id > last))
            .take(size + 1)
            .collect();
        let more = rows.len() > size;
        rows.truncate(size);
        let label =
            |key: &str| crop.and_then(|c| c.descriptor(key)).map_or(key.to_string(), |d| d.label.clone());
        let authors: Vec<_> = rows.iter().filter_map(|e| e.observed.as_ref()).map(|o| o.by.account).collect();
        let names = self.0.display_names(&authors).await.map_err(|e| admitted.fail(e))?;
        let weights: HashMap<_, _> = record
            .findings
            .iter()
            .flat_map(|f| &f.pieces)
            .map(|p| (p.evidence.id, (p.weight, p.why.as_str())))
            .collect();
        let weight =
            |e: &scionary_domain::evidence::Evidence| weights.get(&e.id).copied().unwrap_or((0.0, ""));
        Ok(Response::new(v1::ListEvidenceResponse {
            next_page_token: rows
                .last()
                .filter(|_| more)
                .map(|e| page::token(&search, &e.id.to_string()))
                .unwrap_or_default(),
            sources: convert::sources(&registry, rows.iter().map(|e| e.source.as_str())),
            evidence: rows
                .iter()
                .map(|e| {
                    let (weight, why) = weight(e);
                    let mut wire = convert::evidence(e, &label(&e.descriptor), weight, why);
                    wire.author_name = e
                        .observed
                        .as_ref()
                        .and_then(|o| names.get(&o.by.account).cloned())
                        .unwrap_or_default();
                    wire
                })
                .collect(),
        }))
    }

    async fn get_protection(
        &self,
        request: Request<v1::GetProtectionRequest>,
    ) -> Result<Response<v1::GetProtectionResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::GetProtectionRequest { cultivar, crop } = request.into_inner();
        let found = self.0.protection(&cultivar, &crop.trim().to_lowercase()).await;
        let protection = found.map_err(|e| admitted.fail(e))?.as_ref().map(convert::write_protection);
        Ok(Response::new(v1::GetProtectionResponse { protection }))
    }

    async fn set_protection(
        &self,
        request: Request<v1::SetProtectionRequest>,
    ) -> Result<Response<v1::SetProtectionResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let v1::SetProtectionRequest { cultivar, crop, protection } = request.clone();
        let draft = protection.map(convert::read_protection).transpose();
        let crop = crop.trim().to_lowercase();
        let use_case = draft.map(|draft| SetProtection { cultivar, crop, draft });
        let message = |p: &Option<_>| v1::SetProtectionResponse {
            protection: p.as_ref().map(convert::write_protection),
        };
        admitted.write(&self.0, &request, use_case, message).await
    }
}
