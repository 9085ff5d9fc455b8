//! Lots.

use scionary_app::App;
use scionary_proto::v1::{self, lot_service_server::LotService};
use tonic::{Request, Response, Status};

use crate::{call::Admitted, convert::lot as convert};

/// Answers `LotService`.
pub struct LotRpc(pub App);

#[tonic::async_trait]
impl LotService for LotRpc {
    async fn record_lot(
        &self,
        request: Request<v1::RecordLotRequest>,
    ) -> Result<Response<v1::RecordLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::record(request.clone()), |lot| v1::RecordLotResponse {
                lot: Some(convert::lot(lot)),
            })
            .await
    }

    async fn note_descent(
        &self,
        request: Request<v1::NoteDescentRequest>,
    ) -> Result<Response<v1::NoteDescentResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::later(request.clone()), |lot| v1::NoteDescentResponse {
                lot: Some(convert::lot(lot)),
            })
            .await
    }

    async fn end_lot(
        &self,
        request: Request<v1::EndLotRequest>,
    ) -> Result<Response<v1::EndLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::end(request.clone()), |lot| v1::EndLotResponse {
                lot: Some(convert::lot(lot)),
            })
            .await
    }

    async fn record_test(
        &self,
        request: Request<v1::RecordTestRequest>,
    ) -> Result<Response<v1::RecordTestResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let request = request.into_inner();
        admitted
            .write(&self.0, &request, convert::test(request.clone()), |lot| v1::RecordTestResponse {
                lot: Some(convert::lot(lot)),
            })
            .await
    }

    async fn get_lot(
        &self,
        request: Request<v1::GetLotRequest>,
    ) -> Result<Response<v1::GetLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let lot = self.0.my_lot(&admitted.call(), &request.into_inner().lot).await;
        let lot = Some(convert::lot(&lot.map_err(|e| admitted.fail(e))?));
        Ok(Response::new(v1::GetLotResponse { lot }))
    }

    async fn list_my_lots(
        &self,
        request: Request<v1::ListMyLotsRequest>,
    ) -> Result<Response<v1::ListMyLotsResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::ListMyLotsRequest { ended_too, page_size, page_token } = request.into_inner();
        let page = self.0.my_lots(&admitted.call(), ended_too, page_size, &page_token).await;
        let page = page.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::ListMyLotsResponse {
            lots: page.rows.iter().map(convert::lot).collect(),
            next_page_token: page.next.unwrap_or_default(),
        }))
    }

    async fn look_up_lot(
        &self,
        request: Request<v1::LookUpLotRequest>,
    ) -> Result<Response<v1::LookUpLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let card = self.0.lot_card(&request.into_inner().code).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(v1::LookUpLotResponse { card: Some(convert::card(&card)) }))
    }

    async fn trace_lot(
        &self,
        request: Request<v1::TraceLotRequest>,
    ) -> Result<Response<v1::TraceLotResponse>, Status> {
        let admitted = Admitted::of(&request)?;
        let v1::TraceLotRequest { lot, direction } = request.into_inner();
        let direction = convert::direction(direction).map_err(|e| admitted.fail(e))?;
        let traced =
            self.0.trace_lot(&admitted.call(), &lot, direction).await.map_err(|e| admitted.fail(e))?;
        Ok(Response::new(convert::traced(&traced)))
    }
}
