//! The grafting log on the wire.

use scionary_app::{
    App, Error,
    grafts::{LogGrafts, ReportTakes, ShownGrafts},
};
use scionary_domain::{
    field::FieldError,
    grafting::{Draft, Method, Rate},
    time::Date,
};
use scionary_proto::v1;

use super::{count, date, read_date};

fn write_method(method: Method) -> v1::GraftMethod {
    match method {
        Method::Cleft => v1::GraftMethod::Cleft,
        Method::WhipAndTongue => v1::GraftMethod::WhipAndTongue,
        Method::Splice => v1::GraftMethod::Splice,
        Method::Veneer => v1::GraftMethod::Veneer,
        Method::Side => v1::GraftMethod::Side,
        Method::Bark => v1::GraftMethod::Bark,
        Method::Approach => v1::GraftMethod::Approach,
        Method::ShieldBud => v1::GraftMethod::ShieldBud,
        Method::ChipBud => v1::GraftMethod::ChipBud,
        Method::PatchBud => v1::GraftMethod::PatchBud,
        Method::Other => v1::GraftMethod::Other,
    }
}

fn read_method(wire: i32, wrong: &mut Vec<FieldError>) -> Option<Method> {
    Some(match v1::GraftMethod::try_from(wire) {
        Ok(v1::GraftMethod::Unspecified) => return None,
        Ok(v1::GraftMethod::Cleft) => Method::Cleft,
        Ok(v1::GraftMethod::WhipAndTongue) => Method::WhipAndTongue,
        Ok(v1::GraftMethod::Splice) => Method::Splice,
        Ok(v1::GraftMethod::Veneer) => Method::Veneer,
        Ok(v1::GraftMethod::Side) => Method::Side,
        Ok(v1::GraftMethod::Bark) => Method::Bark,
        Ok(v1::GraftMethod::Approach) => Method::Approach,
        Ok(v1::GraftMethod::ShieldBud) => Method::ShieldBud,
        Ok(v1::GraftMethod::ChipBud) => Method::ChipBud,
        Ok(v1::GraftMethod::PatchBud) => Method::PatchBud,
        Ok(v1::GraftMethod::Other) => Method::Other,
        Err(_) => {
            wrong.push(FieldError::new("method", "a value known to this server expected"));
            return None;
        }
    })
}

/// Grafts to enter.
///
/// # Errors
/// Values that cannot be read.
pub fn log(request: v1::CreateGraftsRequest) -> Result<LogGrafts, Error> {
    let v1::CreateGraftsRequest {
        cultivar,
        crop,
        method,
        day,
        south,
        scion_from,
        rootstock,
        made,
        taken,
        note,
    } = request;
    let mut wrong = Vec::new();
    let draft = Draft {
        method: read_method(method, &mut wrong),
        day: read_date("day", day, &mut wrong),
        south,
        scion_from,
        rootstock,
        made,
        taken,
        note,
    };
    if wrong.is_empty() { Ok(LogGrafts { cultivar, crop, draft }) } else { Err(Error::Invalid(wrong)) }
}

/// A report.
///
/// # Errors
/// Values that cannot be read.
pub fn report(request: &v1::ReportTakesRequest) -> Result<ReportTakes, Error> {
    let mut wrong = Vec::new();
    let seen_on = read_date("seen_on", request.seen_on, &mut wrong);
    if !wrong.is_empty() {
        return Err(Error::Invalid(wrong));
    }
    Ok(ReportTakes { id: App::id(&request.graft_id)?, taken: request.taken, seen_on })
}

/// An entry on a day.
pub fn grafts(shown: &ShownGrafts, today: Date) -> v1::Grafts {
    let ShownGrafts { grafts, cultivar_name, union } = shown;
    v1::Grafts {
        graft_id: grafts.id.to_string(),
        cultivar_id: grafts.cultivar.to_string(),
        cultivar_name: cultivar_name.clone(),
        crop: grafts.crop.clone(),
        method: write_method(grafts.method).into(),
        day: Some(date(grafts.day)),
        south: grafts.south,
        scion_from: grafts.scion_from.clone(),
        rootstock: grafts.rootstock.clone(),
        made: grafts.made,
        taken: grafts.taken,
        seen_on: grafts.seen_on.map(date),
        note: grafts.note.clone(),
        version: grafts.version,
        report_due: grafts.report_due(today),
        union_report: union.as_ref().map(super::registry::union),
    }
}

/// A rate.
pub fn rate(rate: &Rate) -> v1::GraftRate {
    let Rate { method, month, about, growers, middle, interval } = rate;
    v1::GraftRate {
        method: method.map_or(v1::GraftMethod::Unspecified, write_method).into(),
        month: month.map_or(0, i32::from),
        about: i64::try_from(*about).unwrap_or(i64::MAX),
        growers: count(*growers),
        middle: *middle,
        low: interval.0,
        high: interval.1,
    }
}

/// The rates of all together and of each method.
pub fn by_method(rates: &[Rate]) -> Vec<v1::GraftRate> {
    rates.iter().filter(|r| r.month.is_none()).map(rate).collect()
}
