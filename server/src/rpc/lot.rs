//! Lots.

use scionary_proto::v1;

use crate::{call::Admitted, convert::lot as convert, dispatch::Encoded, site::Site, status::Failure};

pub(crate) async fn create_lot(
    site: &Site,
    call: &Admitted,
    request: v1::CreateLotRequest,
) -> Result<Encoded<v1::CreateLotResponse>, Failure> {
    call.write(&site.app, convert::record(request), |lot| v1::CreateLotResponse {
        lot: Some(convert::lot(lot)),
    })
    .await
}

pub(crate) async fn note_descent(
    site: &Site,
    call: &Admitted,
    request: v1::NoteDescentRequest,
) -> Result<Encoded<v1::NoteDescentResponse>, Failure> {
    call.write(&site.app, convert::later(request), |lot| v1::NoteDescentResponse {
        lot: Some(convert::lot(lot)),
    })
    .await
}

pub(crate) async fn end_lot(
    site: &Site,
    call: &Admitted,
    request: v1::EndLotRequest,
) -> Result<Encoded<v1::EndLotResponse>, Failure> {
    call.write(&site.app, convert::end(request), |lot| v1::EndLotResponse { lot: Some(convert::lot(lot)) })
        .await
}

pub(crate) async fn create_test(
    site: &Site,
    call: &Admitted,
    request: v1::CreateTestRequest,
) -> Result<Encoded<v1::CreateTestResponse>, Failure> {
    call.write(&site.app, convert::test(request), |lot| v1::CreateTestResponse {
        lot: Some(convert::lot(lot)),
    })
    .await
}

pub(crate) async fn get_lot(
    site: &Site,
    call: &Admitted,
    request: v1::GetLotRequest,
) -> Result<v1::GetLotResponse, Failure> {
    let lot = site.app.my_lot(call, &request.lot).await;
    let lot = Some(convert::lot(&lot?));
    Ok(v1::GetLotResponse { lot })
}

pub(crate) async fn list_my_lots(
    site: &Site,
    call: &Admitted,
    request: v1::ListMyLotsRequest,
) -> Result<v1::ListMyLotsResponse, Failure> {
    let v1::ListMyLotsRequest { ended_too, page_size, page_token } = request;
    let page = site.app.my_lots(call, ended_too, page_size, &page_token).await;
    let page = page?;
    Ok(v1::ListMyLotsResponse {
        lots: page.rows.iter().map(convert::lot).collect(),
        next_page_token: page.next.unwrap_or_default(),
    })
}

pub(crate) async fn look_up_lot(
    site: &Site,
    _call: &Admitted,
    request: v1::LookUpLotRequest,
) -> Result<v1::LookUpLotResponse, Failure> {
    let card = site.app.lot_card(&request.code).await?;
    Ok(v1::LookUpLotResponse { card: Some(convert::card(&card)) })
}

pub(crate) async fn trace_lot(
    site: &Site,
    call: &Admitted,
    request: v1::TraceLotRequest,
) -> Result<v1::TraceLotResponse, Failure> {
    let v1::TraceLotRequest { lot, direction } = request;
    let direction = convert::direction(direction)?;
    let traced = site.app.trace_lot(call, &lot, direction).await?;
    Ok(convert::traced(&traced))
}
