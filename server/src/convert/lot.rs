//! Lots and alerts on the wire.

use std::collections::BTreeMap;

use scionary_app::{
    App, Error,
    alerts::{ConfirmAlert, DismissAlert, LiftAlert, RaiseAlert, Reached, ShownAlert, WithdrawAlert},
    lots::{Card, EndLot, NoteDescent, RecordLot, RecordTest, ShownLot, Traced, Warning},
};
use scionary_domain::{
    field::FieldError,
    ids::LotId,
    lineage::{AlertDraft, AlertKind, AlertState, Descent, Direction, Kind, LotDraft, Part, Route},
};
use scionary_proto::v1;

use super::{count, date, read_date, timestamp};

pairs!(
    write_kind,
    read_kind,
    LotKind,
    Kind {
        MotherPlant,
        ScionWood,
        Budwood,
        Seed,
        Seedling,
        Rootstock,
        GraftedPlant,
        FruitForSeed,
        Cutting,
        RootedPlant
    }
);
pairs!(
    write_descent,
    read_descent,
    Descent,
    Descent {
        SeedFrom,
        CutFrom,
        RaisedFrom,
        PartOf,
        ScionOf,
        RootstockOf,
        GraftedOnto,
        SameBlade,
        HandedOver
    }
);
pairs!(write_alert_kind, read_alert_kind, AlertKind, AlertKind { Health, Identity });
pairs!(write_part, read_part, PlantPart, Part { Whole, Top, Root });
pairs!(write_carrier, read_carrier, Carrier, Route { Graft, Cutting, Seed, Tool });

const fn state(state: AlertState) -> v1::AlertState {
    match state {
        AlertState::Raised => v1::AlertState::Raised,
        AlertState::Confirmed => v1::AlertState::Confirmed,
        AlertState::Lifted => v1::AlertState::Lifted,
    }
}

fn good<T>(value: T, wrong: Vec<FieldError>) -> Result<T, Error> {
    if wrong.is_empty() { Ok(value) } else { Err(wrong.into()) }
}

fn descent(field: &str, value: i32, wrong: &mut Vec<FieldError>) -> Descent {
    let before = wrong.len();
    read_descent(field, value, wrong).unwrap_or_else(|| {
        if wrong.len() == before {
            wrong.push(FieldError::new(field, "how it comes of it expected"));
        }
        Descent::PartOf
    })
}

/// A request to enter a lot.
///
/// # Errors
/// Values that cannot be read.
pub fn record(request: v1::CreateLotRequest) -> Result<RecordLot, Error> {
    let mut wrong = Vec::new();
    let v1::CreateLotRequest {
        kind,
        cultivar,
        crop,
        unknown_seedling,
        quantity,
        made_on,
        source,
        note,
        origins,
    } = request;
    let draft = LotDraft {
        kind: read_kind("lot.kind", kind, &mut wrong),
        crop: crop.trim().to_lowercase(),
        cultivar: None,
        unknown_seedling,
        quantity,
        made_on: read_date("lot.made_on", made_on, &mut wrong),
        source,
        note,
    };
    let origins = origins
        .into_iter()
        .enumerate()
        .map(|(at, o)| (o.lot, descent(&format!("origins[{at}].descent"), o.descent, &mut wrong)))
        .collect();
    good(RecordLot { cultivar, draft, origins }, wrong)
}

/// A request to note what happened later.
///
/// # Errors
/// Values that cannot be read.
pub fn later(request: v1::NoteDescentRequest) -> Result<NoteDescent, Error> {
    let mut wrong = Vec::new();
    let v1::NoteDescentRequest { lot, from_lot: from, descent: how, on } = request;
    let descent = descent("descent", how, &mut wrong);
    let on = read_date("on", on, &mut wrong);
    good(NoteDescent { lot, from, descent, on }, wrong)
}

/// A request to end a lot.
///
/// # Errors
/// Values that cannot be read.
pub fn end(request: v1::EndLotRequest) -> Result<EndLot, Error> {
    let mut wrong = Vec::new();
    let on = read_date("on", request.on, &mut wrong);
    good(EndLot { lot: request.lot, why: request.why, on }, wrong)
}

/// A test to be entered.
///
/// # Errors
/// Values that cannot be read.
pub fn test(request: v1::CreateTestRequest) -> Result<RecordTest, Error> {
    let mut wrong = Vec::new();
    let v1::LotTest { pest, sampled_on, latency_days, method } = request.test.unwrap_or_default();
    let sampled_on = read_date("test.sampled_on", sampled_on, &mut wrong);
    good(RecordTest { lot: request.lot, pest, sampled_on, latency_days: latency_days.into(), method }, wrong)
}

/// Which way.
///
/// # Errors
/// A value that this server does not know.
pub fn direction(value: i32) -> Result<Direction, Error> {
    match v1::TraceDirection::try_from(value) {
        Ok(v1::TraceDirection::Unspecified | v1::TraceDirection::Back) => Ok(Direction::Back),
        Ok(v1::TraceDirection::Forward) => Ok(Direction::Forward),
        Err(_) => Err(FieldError::new("direction", "back or forward expected").into()),
    }
}

fn warning(warning: &Warning) -> v1::LotWarning {
    let Warning { alert, since } = warning;
    v1::LotWarning {
        alert_id: alert.id.to_string(),
        kind: write_alert_kind(alert.kind),
        pest: alert.pest.clone(),
        state: state(alert.state).into(),
        words: alert.words.clone(),
        since: since.map(date),
    }
}

/// What everyone may read of a lot.
pub fn card(card: &Card) -> v1::LotCard {
    let Card { lot, cultivar_name, parents, warnings } = card;
    v1::LotCard {
        lot_id: lot.id.to_string(),
        code: lot.code.to_string(),
        kind: write_kind(lot.kind),
        crop: lot.crop.clone(),
        cultivar_id: lot.cultivar.map(|c| c.to_string()).unwrap_or_default(),
        cultivar_name: cultivar_name.clone(),
        made_on: Some(date(lot.made_on)),
        ended_on: lot.ended_on.map(date),
        origins: parents
            .iter()
            .map(|p| v1::LotOrigin {
                lot: p.code.to_string(),
                descent: write_descent(p.descent),
                kind: write_kind(p.kind),
                cultivar_name: p.cultivar_name.clone(),
                day: Some(date(p.day)),
            })
            .collect(),
        warnings: warnings.iter().map(warning).collect(),
    }
}

/// A lot as its holder sees it.
pub fn lot(shown: &ShownLot) -> v1::Lot {
    let lot = &shown.card.lot;
    v1::Lot {
        card: Some(card(&shown.card)),
        quantity: lot.quantity,
        source: lot.source.clone(),
        note: lot.note.clone(),
        claim_id: lot.claim.map(|c| c.to_string()).unwrap_or_default(),
        ended_why: lot.ended_why.clone(),
        tests: shown
            .tests
            .iter()
            .map(|t| v1::LotTest {
                pest: t.pest.clone(),
                sampled_on: Some(date(t.sampled_on)),
                latency_days: i32::try_from(t.latency_days).unwrap_or(i32::MAX),
                method: t.method.clone(),
            })
            .collect(),
        version: lot.version,
    }
}

/// A trace.
pub fn traced(found: &Traced) -> v1::TraceLotResponse {
    let codes: BTreeMap<LotId, String> =
        found.lots.iter().map(|l| (l.lot.id, l.lot.code.to_string())).collect();
    let code = |id: &LotId| codes.get(id).cloned().unwrap_or_default();
    v1::TraceLotResponse {
        lots: found
            .lots
            .iter()
            .map(|l| v1::TracedLot {
                code: l.lot.code.to_string(),
                kind: write_kind(l.lot.kind),
                cultivar_name: l.cultivar_name.clone(),
                made_on: Some(date(l.lot.made_on)),
                holder_name: l.holder_name.clone(),
                is_mine: l.is_mine,
                generation: i32::try_from(l.generation).unwrap_or(i32::MAX),
                ended_on: l.lot.ended_on.map(date),
            })
            .collect(),
        links: found
            .links
            .iter()
            .map(|l| v1::LotLink {
                parent: code(&l.parent),
                child: code(&l.child),
                descent: write_descent(l.descent),
                day: Some(date(l.day)),
            })
            .collect(),
        more: found.more,
    }
}

/// An alert to be raised.
///
/// # Errors
/// Values that cannot be read.
pub fn raise(request: v1::CreateAlertRequest) -> Result<RaiseAlert, Error> {
    let mut wrong = Vec::new();
    let v1::CreateAlertRequest { lot, kind, part, words, pest, carriers, since, seen_on, trace_back } =
        request;
    let carriers: Vec<Route> = carriers
        .iter()
        .take(scionary_domain::limits::CHOICES_MAX)
        .filter_map(|value| read_carrier("alert.carriers", *value, &mut wrong))
        .collect();
    let draft = AlertDraft {
        kind: read_alert_kind("alert.kind", kind, &mut wrong),
        part: read_part("alert.part", part, &mut wrong),
        words,
        pest,
        carriers,
        since: read_date("alert.since", since, &mut wrong),
        seen_on: read_date("alert.seen_on", seen_on, &mut wrong),
        trace_back,
    };
    good(RaiseAlert { lot, draft }, wrong)
}

/// A confirmation.
///
/// # Errors
/// What was expected.
pub fn confirm(request: v1::ConfirmAlertRequest) -> Result<ConfirmAlert, Error> {
    let v1::ConfirmAlertRequest { alert_id, words, trace_back } = request;
    Ok(ConfirmAlert { id: App::id(&alert_id)?, words, trace_back })
}

/// A dismissal.
///
/// # Errors
/// What was expected.
pub fn dismiss(request: v1::DismissAlertRequest) -> Result<DismissAlert, Error> {
    Ok(DismissAlert { id: App::id(&request.alert_id)?, reason: request.reason })
}

/// A lifting.
///
/// # Errors
/// What was expected.
pub fn lift(request: v1::LiftAlertRequest) -> Result<LiftAlert, Error> {
    Ok(LiftAlert { id: App::id(&request.alert_id)?, reason: request.reason })
}

/// A withdrawal.
///
/// # Errors
/// What was expected.
pub fn withdraw(request: &v1::WithdrawAlertRequest) -> Result<WithdrawAlert, Error> {
    Ok(WithdrawAlert { id: App::id(&request.alert_id)? })
}

/// An alert as someone sees it.
pub fn alert(shown: &ShownAlert) -> v1::Alert {
    let ShownAlert { alert, code, raised_by, is_mine, may_rule, lots, own } = shown;
    v1::Alert {
        alert_id: alert.id.to_string(),
        lot_code: code.map(|c| c.to_string()).unwrap_or_default(),
        crop: alert.crop.clone(),
        kind: write_alert_kind(alert.kind),
        part: write_part(alert.part),
        words: alert.words.clone(),
        pest: alert.pest.clone(),
        carriers: alert.carriers.iter().map(|c| write_carrier(*c)).collect(),
        since: alert.since.map(date),
        seen_on: Some(date(alert.seen_on)),
        trace_back: alert.trace_back,
        state: state(alert.state).into(),
        ruling: alert.ruling.clone(),
        lifted_why: alert.lifted_why.clone(),
        raised_by: raised_by.clone(),
        lots: count(*lots),
        own_lots: own.iter().map(ToString::to_string).collect(),
        is_mine: *is_mine,
        may_rule: *may_rule,
        raised_at: Some(timestamp(alert.created_at)),
    }
}

/// A lot that an alert reaches.
pub fn reached(reached: &Reached) -> v1::ReachedLot {
    let Reached { lot, cultivar_name, holder_name, since, chain } = reached;
    v1::ReachedLot {
        code: lot.code.to_string(),
        kind: write_kind(lot.kind),
        cultivar_name: cultivar_name.clone(),
        holder_name: holder_name.clone(),
        since: since.map(date),
        chain: chain.iter().map(ToString::to_string).collect(),
        lot_id: lot.id.to_string(),
        ended_on: lot.ended_on.map(date),
    }
}
