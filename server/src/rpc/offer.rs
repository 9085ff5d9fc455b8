//! Offers.

use prost::Message as _;
use scionary_app::{App, KeepReply};
use scionary_proto::v1::{self, offer_service_server::OfferService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::offer as convert};

/// Answers `OfferService`.
pub struct OfferRpc(pub App);

#[tonic::async_trait]
impl OfferService for OfferRpc {
    async fn create_offer(
        &self,
        request: Request<v1::CreateOfferRequest>,
    ) -> Result<Response<v1::CreateOfferResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let today = call.now.date();
        let use_case = convert::create(request).map_err(|e| admitted.fail(e))?;
        let encode = move |shown: &_| {
            v1::CreateOfferResponse { offer: Some(convert::offer(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn get_offer(
        &self,
        request: Request<v1::GetOfferRequest>,
    ) -> Result<Response<v1::GetOfferResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::GetOfferRequest { offer_id, to_area_code } = request.into_inner();
        let id = convert::read_id(&offer_id).map_err(|e| admitted.fail(e))?;
        let shown = self.0.offer(&admitted.call(), id, &to_area_code).await.map_err(|e| admitted.fail(e))?;
        let offer = convert::offer(&shown, admitted.call().now.date());
        Ok(Response::new(v1::GetOfferResponse { offer: Some(offer) }))
    }

    async fn list_my_offers(
        &self,
        request: Request<v1::ListMyOffersRequest>,
    ) -> Result<Response<v1::ListMyOffersResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let v1::ListMyOffersRequest { page_size, page_token } = request.into_inner();
        let page = self.0.my_offers(&call, page_size, &page_token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyOffersResponse {
            offers: page.rows.iter().map(|s| convert::offer(s, call.now.date())).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn search_offers(
        &self,
        request: Request<v1::SearchOffersRequest>,
    ) -> Result<Response<v1::SearchOffersResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let call = admitted.call();
        let (search, page_size, token) =
            convert::search(request.into_inner()).map_err(|e| admitted.fail(e))?;
        let found =
            self.0.search_offers(&call, &search, page_size, &token).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::SearchOffersResponse {
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
        }))
    }

    async fn update_offer(
        &self,
        request: Request<v1::UpdateOfferRequest>,
    ) -> Result<Response<v1::UpdateOfferResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let today = call.now.date();
        let use_case = convert::change(request).map_err(|e| admitted.fail(e))?;
        let encode = move |shown: &_| {
            v1::UpdateOfferResponse { offer: Some(convert::offer(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }

    async fn withdraw_offer(
        &self,
        request: Request<v1::WithdrawOfferRequest>,
    ) -> Result<Response<v1::WithdrawOfferResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        let call = admitted.write_call(&request);
        let today = call.now.date();
        let use_case = convert::withdraw(&request).map_err(|e| admitted.fail(e))?;
        let encode = move |shown: &_| {
            v1::WithdrawOfferResponse { offer: Some(convert::offer(shown, today)) }.encode_to_vec()
        };
        admitted.reply(self.0.write(&call, use_case, KeepReply::Yes, encode).await)
    }
}
