//! Movement of plants on the wire.

use scionary_app::{
    App, Error,
    movement::{AskMovement, MovementFound, ShownRelease},
};
use scionary_domain::movement::{
    Applies, Atom, Document, Gap, Kind, NOT_A_DECISION, OpenTo, Pest, Rule, Side, Taxa, Verdict,
};
use scionary_proto::v1;

use super::{
    date,
    offer::{read_form, read_material},
    read_date,
};

/// A question.
///
/// # Errors
/// Values that cannot be read.
pub fn ask(request: v1::CheckMovementRequest) -> Result<AskMovement, Error> {
    let v1::CheckMovementRequest {
        offer_id,
        cultivar,
        crop,
        botanical_name,
        material,
        form,
        grown_at,
        to,
        by_way_of,
        dispatch,
        arrival,
        count,
        documents,
        rootstock,
        unlisted,
    } = request;
    let mut wrong = Vec::new();
    let offer = if offer_id.is_empty() { None } else { Some(App::id(&offer_id)?) };
    let mut papers = Vec::new();
    for (at, document) in documents.into_iter().enumerate() {
        let field = format!("documents[{at}].valid_to");
        papers.push(Document {
            opens: document.opens_rule_id,
            valid_to: read_date(&field, document.valid_to, &mut wrong),
        });
    }
    let asked = AskMovement {
        offer,
        cultivar,
        crop,
        botanical_name,
        unlisted,
        rootstock,
        material: read_material("material", material, &mut wrong),
        form: read_form("form", form, &mut wrong),
        grown_at,
        to,
        by_way_of,
        dispatch: read_date("dispatch", dispatch, &mut wrong),
        arrival: read_date("arrival", arrival, &mut wrong),
        count: (count > 0).then_some(count),
        documents: papers,
    };
    if wrong.is_empty() { Ok(asked) } else { Err(Error::Invalid(wrong)) }
}

/// A verdict.
pub fn verdict(verdict: Verdict) -> i32 {
    match verdict {
        Verdict::NoRule => v1::MovementVerdict::NoRule,
        Verdict::Conditions => v1::MovementVerdict::Conditions,
        Verdict::DocumentRequired => v1::MovementVerdict::DocumentRequired,
        Verdict::Prohibited => v1::MovementVerdict::Prohibited,
    }
    .into()
}

/// A rule.
pub fn rule(rule: &Rule) -> v1::MovementRule {
    v1::MovementRule {
        rule_id: rule.id.clone(),
        version: rule.version,
        verdict: verdict(rule.verdict),
        conditions: rule.conditions.clone(),
        instrument: rule.instrument.clone(),
        authority: rule.authority.clone(),
        citation: rule.citation.clone(),
        source_url: rule.source_url.clone(),
        text_date: rule.text_date.clone(),
        effective_from: rule.effective_from.map(date),
        effective_to: rule.effective_to.map(date),
        hosts: rule.hosts.clone(),
        excepts: rule.excepts.clone().unwrap_or_default(),
        open_to: rule.open_to.map(OpenTo::words).unwrap_or_default().into(),
        note: rule.note.clone(),
        stub: rule.kind == Kind::Stub,
        unverified: rule.kind == Kind::Unverified,
        checked_on: rule.checked_on.map(date),
        review_by: rule.review_by.map(date),
        read_how: rule.read_how.clone(),
    }
}

fn applied(all: &[Applies]) -> Vec<v1::AppliedRule> {
    all.iter()
        .map(|a| v1::AppliedRule { rule: Some(rule(&a.rule)), unsure: a.unsure, stale: a.stale })
        .collect()
}

fn gap(gap: &Gap) -> v1::MovementGap {
    v1::MovementGap {
        side: match gap.side {
            Side::Leaving => v1::MovementSide::Leaving,
            Side::Entering => v1::MovementSide::Entering,
            Side::Within => v1::MovementSide::Within,
        }
        .into(),
        place: gap.place.clone(),
        ask: gap.ask.clone(),
    }
}

fn open(atom: &Atom) -> v1::OpenMovement {
    v1::OpenMovement {
        part: atom.part.word().into(),
        from_place: atom.from.clone().unwrap_or_else(|| "unknown".into()),
        to_place: atom.to.clone(),
        plant: Taxa::shown(&atom.plant),
    }
}

fn pest(pest: &Pest) -> v1::PestNote {
    v1::PestNote {
        name: pest.name.clone(),
        carried_by: pest.carried_by.clone(),
        not_by: pest.not_by.clone(),
        how: pest.how.clone(),
        source: pest.source.clone(),
    }
}

/// What was found.
pub fn found(found: &MovementFound) -> v1::CheckMovementResponse {
    let MovementFound { plants, grown_at, days, answer } = found;
    v1::CheckMovementResponse {
        verdict: verdict(answer.verdict),
        headline: answer.headline(),
        lead: applied(&answer.lead),
        also: applied(&answer.also),
        could_change: applied(&answer.could_change),
        stubs: applied(&answer.stubs),
        unverified: applied(&answer.unverified),
        coming: applied(&answer.coming),
        gaps: answer.gaps.iter().map(gap).collect(),
        pests: answer.pests.iter().map(pest).collect(),
        botanical_name: plants.iter().map(|name| Taxa::shown(name)).collect::<Vec<_>>().join(" x "),
        grown_at: if grown_at.is_empty() {
            vec!["unknown".into()]
        } else {
            grown_at.iter().map(|p| p.clone().unwrap_or_else(|| "unknown".into())).collect()
        },
        dispatch: Some(date(days.0)),
        arrival: Some(date(days.1)),
        notice: NOT_A_DECISION.into(),
        open: answer.open().map(open).collect(),
        not_looked_at: applied(&answer.hollow),
        counted: answer
            .counted_as
            .iter()
            .map(|(stated, counted_as)| v1::CountedPlace {
                stated: stated.clone(),
                counted_as: counted_as.clone(),
            })
            .collect(),
        unlisted_plants: answer.unlisted.iter().map(|name| Taxa::shown(name)).collect(),
        ask: answer.ask.clone(),
    }
}

/// A release of rules.
pub fn release(shown: &ShownRelease) -> v1::MovementRelease {
    let ShownRelease { release, changes, in_force } = shown;
    v1::MovementRelease {
        release: release.as_ref().map_or(0, |r| r.seq),
        note: release.as_ref().map(|r| r.note.clone()).unwrap_or_default(),
        proposed_at: release.as_ref().map(|r| super::timestamp(r.proposed_at)),
        published_at: release.as_ref().and_then(|r| r.published_at).map(super::timestamp),
        withdrawn_at: release.as_ref().and_then(|r| r.withdrawn_at).map(super::timestamp),
        in_force: *in_force,
        added: changes.added.clone(),
        gone: changes.gone.clone(),
        rules: super::count(changes.rules),
    }
}
