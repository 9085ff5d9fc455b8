//! The grafting log.

use scionary_app::{App, Error, grafts::RemoveGrafts};
use scionary_domain::{field::FieldError, ids::CultivarId};
use scionary_proto::v1;

use crate::{
    call::Admitted,
    convert::{grafts as convert, registry},
    dispatch::Encoded,
    site::Site,
    status::Failure,
};

pub(crate) async fn create_grafts(
    site: &Site,
    call: &Admitted,
    request: v1::CreateGraftsRequest,
) -> Result<Encoded<v1::CreateGraftsResponse>, Failure> {
    let use_case = convert::log(request);
    let today = call.now.date();
    let message = move |shown: &_| v1::CreateGraftsResponse { grafts: Some(convert::grafts(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn report_takes(
    site: &Site,
    call: &Admitted,
    request: v1::ReportTakesRequest,
) -> Result<Encoded<v1::ReportTakesResponse>, Failure> {
    let use_case = convert::report(&request);
    let today = call.now.date();
    let message = move |shown: &_| v1::ReportTakesResponse { grafts: Some(convert::grafts(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn list_my_grafts(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyGraftsRequest,
) -> Result<v1::ListMyGraftsResponse, Failure> {
    let v1::ListMyGraftsRequest { unreported_only, page_size, page_token } = request;
    let page = site.app.my_grafts(call, unreported_only, page_size, &page_token).await?;
    let today = call.now.date();
    Ok(v1::ListMyGraftsResponse {
        grafts: page.rows.iter().map(|g| convert::grafts(g, today)).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn delete_grafts(
    site: &Site,
    call: &Admitted,
    request: v1::DeleteGraftsRequest,
) -> Result<Encoded<v1::DeleteGraftsResponse>, Failure> {
    let use_case = App::id(&request.graft_id).map(|id| RemoveGrafts { id });
    let message = |id: &scionary_domain::ids::GraftId| v1::DeleteGraftsResponse { graft_id: id.to_string() };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_graft_rates(
    site: &Site,
    call: &Admitted,
    request: v1::GetGraftRatesRequest,
) -> Result<v1::GetGraftRatesResponse, Failure> {
    let v1::GetGraftRatesRequest { crop, cultivar } = request;
    let registry = site.app.registry();
    let (record, crop) = registry.asked_about(&cultivar, &crop)?;
    let Some(crop) = crop else {
        return Err(Error::from(FieldError::new("crop", "a crop or a cultivar expected")).into());
    };
    let ids: Option<Vec<CultivarId>> = record.map(|r| r.ids().collect());
    let rates = site.app.graft_rates(&crop.slug, ids.as_deref(), call.now.date()).await?;
    let published: Vec<_> = crop.timings_of("graft_").filter(|t| t.unit == "%").collect();
    Ok(v1::GetGraftRatesResponse {
        rates: rates.iter().map(convert::rate).collect(),
        sources: registry::sources(&registry, published.iter().map(|t| t.origin())),
        published: published.into_iter().map(registry::timing).collect(),
    })
}
