//! Offers.

use scionary_app::App;
use scionary_proto::v1;

use crate::{call::Admitted, convert::offer as convert, dispatch::Encoded, site::Site, status::Failure};

pub(crate) async fn create_offer(
    site: &Site,
    call: &Admitted,
    request: v1::CreateOfferRequest,
) -> Result<Encoded<v1::CreateOfferResponse>, Failure> {
    let today = call.now.date();
    let use_case = convert::create(request);
    let message = move |shown: &_| v1::CreateOfferResponse { offer: Some(convert::offer(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn get_offer(
    site: &Site,
    call: &Admitted,
    request: v1::GetOfferRequest,
) -> Result<v1::GetOfferResponse, Failure> {
    let v1::GetOfferRequest { offer_id, to_area_code } = request;
    let id = App::id(&offer_id)?;
    let shown = site.app.offer(call, id, &to_area_code).await?;
    let offer = convert::offer(&shown, call.now.date());
    Ok(v1::GetOfferResponse { offer: Some(offer) })
}

pub(crate) async fn list_my_offers(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyOffersRequest,
) -> Result<v1::ListMyOffersResponse, Failure> {
    let v1::ListMyOffersRequest { page_size, page_token } = request;
    let page = site.app.my_offers(call, page_size, &page_token).await?;
    Ok(v1::ListMyOffersResponse {
        offers: page.rows.iter().map(|s| convert::offer(s, call.now.date())).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn search_offers(
    site: &Site,
    call: &Admitted,
    request: v1::SearchOffersRequest,
) -> Result<v1::SearchOffersResponse, Failure> {
    let (search, page_size, token) = convert::search(request)?;
    let found = site.app.search_offers(call, &search, page_size, &token).await?;
    Ok(v1::SearchOffersResponse {
        offers: found
            .page
            .rows
            .iter()
            .map(|(shown, km)| v1::FoundOffer {
                offer: Some(convert::offer(shown, call.now.date())),
                distance_km: km.map(convert::whole_km),
            })
            .collect(),
        next_page_token: found.page.next.unwrap_or_default(),
        name_taken_for: found.name_taken_for,
    })
}

pub(crate) async fn update_offer(
    site: &Site,
    call: &Admitted,
    request: v1::UpdateOfferRequest,
) -> Result<Encoded<v1::UpdateOfferResponse>, Failure> {
    let today = call.now.date();
    let use_case = convert::change(request);
    let message = move |shown: &_| v1::UpdateOfferResponse { offer: Some(convert::offer(shown, today)) };
    call.write(&site.app, use_case, message).await
}

pub(crate) async fn withdraw_offer(
    site: &Site,
    call: &Admitted,
    request: v1::WithdrawOfferRequest,
) -> Result<Encoded<v1::WithdrawOfferResponse>, Failure> {
    let today = call.now.date();
    let use_case = convert::withdraw(&request);
    let message = move |shown: &_| v1::WithdrawOfferResponse { offer: Some(convert::offer(shown, today)) };
    call.write(&site.app, use_case, message).await
}
