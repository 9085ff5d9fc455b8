//! Cultivars: look-up, search, records, evidence.

use scionary_app::{
    App, Error,
    missing::{Among, AskCounts},
    protection::SetProtection,
    registry::Registry,
};
use scionary_domain::{
    field::FieldError,
    ids::{ClubId, CultivarId},
};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{missing, registry as convert},
    data,
    dispatch::Encoded,
    site::Site,
    status::Failure,
};

/// What to do when a name is near nothing.
const NOTHING_FOUND: &str = "Try another spelling or a synonym, or look through the list of all cultivars. If it is missing, any member can enter it as they call it, or propose it to the curators of the crop.";

pub(crate) async fn look_up_seed(
    site: &Site,
    call: &Admitted,
    request: v1::LookUpSeedRequest,
) -> Result<v1::LookUpSeedResponse, Failure> {
    let registry = site.app.registry();
    let typed = request.name.clone();
    let (reply, record) = site.by_name(call, &typed, move || looked_up(&registry, request)).await?;
    if let Some(record) = record {
        site.app.looked_up(record);
    }
    Ok(reply)
}

/// The reply, and the record that it is about.
fn looked_up(
    registry: &Registry,
    request: v1::LookUpSeedRequest,
) -> Result<(v1::LookUpSeedResponse, Option<CultivarId>), Failure> {
    let v1::LookUpSeedRequest { name, crop } = request;
    let looked = registry.look_up(&name, &crop)?;
    let nothing = looked.answer.is_none() && looked.others.is_empty();
    let (report, found_by) = match &looked.answer {
        Some((found, report)) => (
            Some(convert::report(registry, found.record, report)),
            Some(convert::found(registry, found, name.trim())),
        ),
        None => (None, None),
    };
    let record = looked.answer.as_ref().map(|(found, _)| found.record.cultivar.id);
    let reply = v1::LookUpSeedResponse {
        report,
        found_by,
        others: looked.others.iter().map(|f| convert::found(registry, f, name.trim())).collect(),
        guessed: looked.guessed,
        nothing_found_hint: match registry.crop_called(&name) {
            Some(crop) if nothing => format!(
                "{} is a crop, of which {} cultivars are on file: look up one of them by its name.",
                crop.name,
                registry.count_of(&crop.slug)
            ),
            None if nothing => NOTHING_FOUND.into(),
            Some(_) | None => String::new(),
        },
    };
    Ok((reply, record))
}

pub(crate) async fn search_cultivars(
    site: &Site,
    call: &Admitted,
    request: v1::SearchCultivarsRequest,
) -> Result<v1::SearchCultivarsResponse, Failure> {
    let registry = site.app.registry();
    let v1::SearchCultivarsRequest { query, crop, page_size } = request;
    let typed = query.clone();
    let work = move || {
        let found = registry.search(&query, &crop, page_size)?;
        Ok(v1::SearchCultivarsResponse {
            exact: found.first().is_some_and(|f| f.hit.is_exact()),
            matches: found.iter().map(|f| convert::found(&registry, f, query.trim())).collect(),
        })
    };
    site.by_name(call, &typed, work).await
}

pub(crate) async fn list_cultivars(
    site: &Site,
    _call: &Admitted,
    request: v1::ListCultivarsRequest,
) -> Result<v1::ListCultivarsResponse, Failure> {
    let registry = site.app.registry();
    let v1::ListCultivarsRequest { crop, seed_answer, page_size, page_token } = request;
    let answer = convert::read_answer(seed_answer);
    if answer.is_none() && seed_answer != 0 {
        return Err(FieldError::new("seed_answer", "an answer known to this server expected").into());
    }
    let page = registry.list(&crop, answer, page_size, &page_token)?;
    Ok(v1::ListCultivarsResponse {
        cultivars: page.rows.into_iter().map(|r| convert::summary(&registry, r)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn get_cultivar(
    site: &Site,
    _call: &Admitted,
    request: v1::GetCultivarRequest,
) -> Result<v1::GetCultivarResponse, Failure> {
    let registry = site.app.registry();
    let v1::GetCultivarRequest { cultivar, crop } = request;
    let record = registry.resolve("cultivar", &cultivar, &crop)?;
    Ok(convert::record(&registry, record))
}

pub(crate) async fn list_evidence(
    site: &Site,
    _call: &Admitted,
    request: v1::ListEvidenceRequest,
) -> Result<v1::ListEvidenceResponse, Failure> {
    let registry = site.app.registry();
    let v1::ListEvidenceRequest { cultivar_id, descriptor_key, page_size, page_token } = request;
    let page =
        site.app.evidence_of_record(&registry, &cultivar_id, &descriptor_key, page_size, &page_token).await?;
    Ok(v1::ListEvidenceResponse {
        sources: convert::sources(&registry, page.rows.iter().map(|row| row.evidence.source.as_str())),
        evidence: page.rows.iter().map(convert::listed).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn get_protection(
    site: &Site,
    _call: &Admitted,
    request: v1::GetProtectionRequest,
) -> Result<v1::GetProtectionResponse, Failure> {
    let v1::GetProtectionRequest { cultivar, crop } = request;
    let found = site.app.protection(&cultivar, &crop.trim().to_lowercase()).await;
    let protection = found?.as_ref().map(convert::write_protection);
    Ok(v1::GetProtectionResponse { protection })
}

pub(crate) async fn set_protection(
    site: &Site,
    call: &Admitted,
    request: v1::SetProtectionRequest,
) -> Result<Encoded<v1::SetProtectionResponse>, Failure> {
    let v1::SetProtectionRequest { cultivar, crop, protection } = request.clone();
    let draft = protection.map(convert::read_protection).transpose();
    let crop = crop.trim().to_lowercase();
    let use_case = draft.map(|draft| SetProtection { cultivar, crop, draft });
    let message =
        |p: &Option<_>| v1::SetProtectionResponse { protection: p.as_ref().map(convert::write_protection) };
    call.write(&site.app, use_case, message).await
}

/// A club by its id; none where the text is empty.
fn club(text: &str) -> Result<Option<ClubId>, Error> {
    if text.is_empty() { Ok(None) } else { App::id_in("club_id", text).map(Some) }
}

pub(crate) async fn suggest_counts(
    site: &Site,
    call: &Admitted,
    request: v1::SuggestCountsRequest,
) -> Result<v1::SuggestCountsResponse, Failure> {
    let registry = site.app.registry();
    let v1::SuggestCountsRequest { cultivar, crop, mine, club_id, page_size } = request;
    let among = match (mine, club(&club_id)?) {
        (true, Some(_)) => return Err(FieldError::new("club_id", "leave it out beside mine").into()),
        (true, None) => Among::Mine,
        (false, Some(club)) => Among::Club(club),
        (false, None) => Among::All,
    };
    let asked = AskCounts { cultivar, crop, among, size: page_size };
    let found = site.app.counts_to_make(call, &registry, &asked).await?;
    Ok(v1::SuggestCountsResponse {
        proposals: found.iter().map(|p| missing::proposed(&registry, p)).collect(),
    })
}

pub(crate) async fn list_kept(
    site: &Site,
    call: &Admitted,
    request: v1::ListKeptRequest,
) -> Result<v1::ListKeptResponse, Failure> {
    let registry = site.app.registry();
    let v1::ListKeptRequest { cultivar, crop, club_id, page_size } = request;
    let club = club(&club_id)?;
    let kept = site.app.kept_by_few(call, &registry, (&cultivar, &crop), club, page_size).await?;
    let countries = data::gazetteer()?;
    Ok(v1::ListKeptResponse {
        rows: kept.rows.iter().map(|row| missing::kept(&registry, countries, row)).collect(),
        counted_members: i64::try_from(kept.counted_members).unwrap_or(i64::MAX),
    })
}

pub(crate) async fn list_partners(
    site: &Site,
    call: &Admitted,
    request: v1::ListPartnersRequest,
) -> Result<v1::ListPartnersResponse, Failure> {
    let registry = site.app.registry();
    let v1::ListPartnersRequest { cultivar, crop, club_id, page_size } = request;
    let club = club(&club_id)?;
    let found = site.app.partners(call, &registry, (&cultivar, &crop), club, page_size).await?;
    Ok(missing::partners(&registry, &found))
}
