//! A swap day away from the server: the file that is taken along, and the steps that come home.

use bytes::Bytes;
use prost::Message as _;
use scionary_app::{
    App, Error, KeepReply, Rule,
    day::{Bringing, Standing, Step, TakeAlong},
};
use scionary_domain::{field::FieldError, limits};
use scionary_proto::{Rpc, v1};
use tonic::Code;

use crate::{
    call::Admitted,
    convert,
    dispatch::{self, Encoded, RepliesOf},
    site::Site,
    status::Failure,
};

/// Bytes in one part of a file.
const CHUNK: usize = 256 * 1024;

pub(crate) async fn take_round_along(
    site: &Site,
    call: &Admitted,
    request: v1::TakeRoundAlongRequest,
) -> Result<RepliesOf<v1::TakeRoundAlongRequest>, Failure> {
    let v1::TakeRoundAlongRequest { round_id, word } = request;
    let take = TakeAlong { id: App::id(&round_id)?, word, schema: scionary_migrations::newest() };
    let file = site.app.write(call, take, KeepReply::Secret, |text| text.clone().into_bytes()).await?;
    let file = Bytes::from(file);
    let chunks: Vec<Bytes> =
        (0..file.len()).step_by(CHUNK).map(|from| file.slice(from..file.len().min(from + CHUNK))).collect();
    let replies = chunks.into_iter().map(|chunk| Ok(v1::TakeRoundAlongResponse { chunk: chunk.to_vec() }));
    Ok(Box::pin(futures_util::stream::iter(replies)))
}

pub(crate) async fn bring_round_home(
    site: &Site,
    call: &Admitted,
    request: v1::BringRoundHomeRequest,
) -> Result<Encoded<v1::BringRoundHomeResponse>, Failure> {
    if let Some(reply) = call.first_reply(&site.app).await? {
        return Ok(reply);
    }
    let v1::BringRoundHomeRequest { header, signature, steps } = request;
    if steps.len() > limits::DAY_STEPS_AT_ONCE_MAX {
        let expected = format!("at most {} steps in one call expected", limits::DAY_STEPS_AT_ONCE_MAX);
        return Err(FieldError::new("steps", expected).into());
    }
    let bringing = site.app.bring_home(call, &header, &signature).await?;
    let known = i32::try_from(bringing.before.len()).unwrap_or(i32::MAX);
    let (mut told, mut taken) = (Vec::new(), 0);
    for (at, line) in steps.iter().enumerate() {
        let step: Step = serde_json::from_str(line).map_err(|e| {
            FieldError::new(format!("steps[{at}]"), format!("a line of the file expected: {e}"))
        })?;
        let result = bring(site, call, &bringing, step).await?;
        taken += u32::from(result.outcome == v1::StepOutcome::Taken as i32);
        told.push(result);
    }
    let note = site.app.note_home(&bringing, taken);
    let reply = v1::BringRoundHomeResponse { steps: told, known };
    call.write(&site.app, Ok(note), move |()| reply.clone()).await
}

/// Takes one step. A refusal is part of the reply; only a server in trouble breaks off.
async fn bring(
    site: &Site,
    call: &Admitted,
    bringing: &Bringing,
    step: Step,
) -> Result<v1::BroughtStep, Failure> {
    let (request, (lot, member)) = (Bytes::from(step.request.clone()), named(&step));
    let told = |outcome: v1::StepOutcome, message: String| v1::BroughtStep {
        step_id: step.id.to_string(),
        outcome: outcome.into(),
        noted_at: Some(convert::timestamp(step.at)),
        method: step.rpc.rsplit('/').next().unwrap_or_default().to_string(),
        lot: lot.clone(),
        member: member.clone(),
        message,
    };
    let run = async {
        let rpc = Rpc::from_path(&step.rpc).ok_or(Error::Rule(Rule::NoDayStep))?;
        match site.app.step_home(call, bringing, step.clone()).await? {
            Standing::Before => Ok(v1::StepOutcome::Before),
            Standing::New(of_step) => {
                dispatch::again(site, &call.again(rpc, *of_step), request).await?;
                Ok(v1::StepOutcome::Taken)
            }
        }
    };
    match run.await {
        Ok(outcome) => Ok(told(outcome, String::new())),
        Err(Failure::App(Error::Rule(Rule::BroughtBefore))) => {
            Ok(told(v1::StepOutcome::Before, String::new()))
        }
        Err(failure) => {
            let status = call.fail(failure);
            let broken =
                [Code::Unavailable, Code::Internal, Code::Unknown, Code::DataLoss, Code::DeadlineExceeded];
            if broken.contains(&status.code()) {
                return Err(Failure::Transport(Box::new(status)));
            }
            Ok(told(v1::StepOutcome::Refused, status.message().to_string()))
        }
    }
}

/// The lot and the member that a step names, as they were given.
fn named(step: &Step) -> (String, String) {
    let whom = |text: String| match (&step.on_behalf, text.is_empty()) {
        (Some(account), true) => account.to_string(),
        (_, _) => text,
    };
    let bytes = step.request.as_slice();
    let (lot, member) = match Rpc::from_path(&step.rpc) {
        Some(Rpc::RoundCheckInLot) => v1::CheckInLotRequest::decode(bytes).map(|r| (r.lot, String::new())),
        Some(Rpc::RoundSetPresence) => {
            v1::SetPresenceRequest::decode(bytes).map(|r| (String::new(), r.member))
        }
        Some(Rpc::RoundHandOverShare) => v1::HandOverShareRequest::decode(bytes).map(|r| (r.lot, r.member)),
        Some(Rpc::RoundUndoHandOver) => v1::UndoHandOverRequest::decode(bytes).map(|r| (r.lot, r.member)),
        Some(Rpc::RoundAddRoundMember) => {
            v1::AddRoundMemberRequest::decode(bytes).map(|r| (String::new(), r.member))
        }
        Some(Rpc::RoundTakeLeftOver) => v1::TakeLeftOverRequest::decode(bytes).map(|r| (r.lot, r.member)),
        Some(_) | None => Ok((String::new(), String::new())),
    }
    .unwrap_or_default();
    (lot, whom(member))
}
