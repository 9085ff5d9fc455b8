//! Evidence, sowings and the agreement of growers.

use scionary_proto::v1;

use crate::{Deed, View, words};

/// Shows a [`v1::CorrectEvidenceResponse`].
pub fn correct_evidence(view: &mut View, reply: &v1::CorrectEvidenceResponse) {
    view.line("Corrected. What stands now:");
    reply.evidence.iter().for_each(|d| brief(view, d));
}

/// Shows a [`v1::WithdrawEvidenceResponse`].
pub fn withdraw_evidence(view: &mut View, reply: &v1::WithdrawEvidenceResponse) {
    view.line("Taken back; the history keeps it:");
    reply.evidence_ids.iter().for_each(|id| view.item(0, "-", id));
}

/// Shows a [`v1::GetEvidenceResponse`].
pub fn get_evidence(view: &mut View, reply: &v1::GetEvidenceResponse) {
    reply.evidence.iter().for_each(|d| full(view, d));
}

/// Shows a [`v1::ListMyEvidenceResponse`].
pub fn list_my_evidence(view: &mut View, reply: &v1::ListMyEvidenceResponse) {
    if reply.evidence.is_empty() {
        view.line("You have entered no evidence.");
        view.act("Enter some", Deed::EvidenceAdd.bare());
    }
    reply.evidence.iter().for_each(|d| brief(view, d));
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::WithdrawCheckResponse`].
pub fn withdraw_check(view: &mut View, reply: &v1::WithdrawCheckResponse) {
    reply.evidence.iter().for_each(|d| full(view, d));
}

/// Shows a [`v1::CreateEvidenceResponse`].
pub fn create_evidence(view: &mut View, reply: &v1::CreateEvidenceResponse, now: &[v1::Finding]) {
    view.line("Entered:");
    reply.evidence.iter().for_each(|d| brief(view, d));
    if reply.evidence.iter().filter_map(|d| d.evidence.as_ref()).all(|e| e.weight <= 0.0) {
        let why = reply.evidence.iter().filter_map(|d| d.evidence.as_ref()).map(|e| e.weight_reason.as_str());
        if let Some(why) = why.max_by_key(|w| w.contains("vouched")) {
            view.line(format!("It does not count yet: {why}."));
            view.act("See what counts", Deed::EvidenceRecord.bare());
        }
    }
    if !now.is_empty() {
        view.gap();
        view.title("The findings now");
        for finding in now {
            view.item(0, "-", format!("{}: {}.", finding.label, view.reader().finding(finding)));
            view.item(2, &format!("{}:", words::standing(finding.standing())), &finding.standing_text);
        }
    }
    view.gap();
    let first = reply.evidence.iter().filter_map(|d| d.evidence.as_ref()).next();
    let id = first.map(|e| e.evidence_id.as_str()).unwrap_or_default();
    view.act("A slip? Correct it", Deed::EvidenceCorrect.on(id));
    view.act("Or withdraw it", Deed::EvidenceWithdraw.on(id));
}

/// Shows a [`v1::CreateSowingResponse`].
pub fn create_sowing(view: &mut View, reply: &v1::CreateSowingResponse) {
    view.line("Entered. It will ask for its tallies:");
    reply.sowing.iter().for_each(|s| show_sowing(view, s));
}

/// Shows a [`v1::ListMySowingsResponse`].
pub fn list_my_sowings(view: &mut View, reply: &v1::ListMySowingsResponse) {
    if reply.sowings.is_empty() {
        view.line("You have no open sowings.");
        view.act("Enter one", Deed::SowingAdd.bare());
    }
    reply.sowings.iter().for_each(|s| show_sowing(view, s));
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::CloseSowingResponse`].
pub fn close_sowing(view: &mut View, reply: &v1::CloseSowingResponse) {
    reply.sowing.iter().for_each(|s| show_sowing(view, s));
}

/// Shows a piece of evidence in two lines.
pub fn brief(view: &mut View, detail: &v1::EvidenceDetail) {
    let Some(piece) = &detail.evidence else { return };
    let ended = if detail.ended_why.is_empty() { String::new() } else { format!(" [{}]", detail.ended_why) };
    let day = words::day(piece.day);
    let day = if day.is_empty() { String::new() } else { format!(", {day}") };
    let text = format!("{}, {}: {}{day}{ended}", detail.cultivar_name, piece.label, piece.as_stated);
    view.entry(&piece.evidence_id, text);
}

/// Shows a piece of evidence with its author, weight, checks and history.
pub fn full(view: &mut View, detail: &v1::EvidenceDetail) {
    let Some(piece) = &detail.evidence else { return };
    view.title(format!("{}, {}: {}", detail.cultivar_name, piece.label, piece.as_stated));
    let who = if piece.author_account_id.is_empty() {
        format!("source {}", piece.source_id)
    } else if piece.author_name.is_empty() {
        "a grower of another registry".into()
    } else {
        piece.author_name.clone()
    };
    view.fact("entered by", &who);
    view.fact("observed", words::day(piece.day));
    view.fact("place", &piece.place);
    view.fact("tree", &piece.tree);
    if piece.method() != v1::ObservationMethod::Unspecified {
        view.fact("judged by", words::method(piece.method()));
    }
    view.fact("reference", &piece.citation);
    view.fact("named as", &piece.named_as);
    view.fact("note", &piece.note);
    if detail.ended_why.is_empty() {
        let weight = if piece.weight > 0.0 { format!("{:.1}: ", piece.weight) } else { String::new() };
        view.fact("weight", format!("{weight}{}", piece.weight_reason));
    } else {
        let next = if detail.replaced_by.is_empty() {
            String::new()
        } else {
            format!("; in its place stands {}", detail.replaced_by)
        };
        let when = words::day_of(detail.ended_at.as_ref());
        view.fact("ended", format!("{} on {when}{next}", detail.ended_why));
    }
    view.fact("entered on", words::day_of(detail.created_at.as_ref()));
    view.fact("id", &piece.evidence_id);
    for check in &detail.checks {
        let word = match check.verdict() {
            v1::CheckVerdict::Agrees => "agree",
            v1::CheckVerdict::Doubts => "doubted",
            v1::CheckVerdict::Unspecified => "checked",
        };
        let name = if check.name.is_empty() { "a grower" } else { check.name.as_str() };
        view.item(0, "-", format!("{word} by {name}: {}", check.reason));
    }
}

/// Shows how growers agree on a cultivar.
pub fn agreement(view: &mut View, reply: &v1::GetAgreementResponse) {
    let compared: Vec<&v1::DescriptorAgreement> =
        reply.descriptors.iter().filter(|d| d.alpha.is_some()).collect();
    if compared.is_empty() {
        view.line("Nothing can be compared yet: no trait of two or more records was judged by two independent voices.");
        return;
    }
    view.table(
        ["TRAIT", "AGREEMENT", "LIKELY BETWEEN", "CULTIVARS", "READING"],
        compared.iter().map(|d| {
            let range =
                d.interval.as_ref().map(|i| format!("{:.2} to {:.2}", i.low, i.high)).unwrap_or_default();
            [
                d.label.clone(),
                d.alpha.map(|a| format!("{a:.2}")).unwrap_or_default(),
                range,
                d.records.to_string(),
                d.reading.clone(),
            ]
        }),
    );
    view.gap();
    view.note("1 is full agreement, 0 what chance gives (Krippendorff's alpha). From 0.80 on it is good, from 0.667 on tentative; of few cultivars it says little.");
}

/// Shows how a grower's evidence counts.
pub fn record(view: &mut View, reply: &v1::GetGrowerRecordResponse) {
    view.title(reply.account.as_ref().map(|a| a.display_name.clone()).unwrap_or_default());
    view.fact(
        "vouched for",
        if reply.vouched {
            "yes: evidence counts by itself"
        } else {
            "not yet: evidence counts once a vouched grower agrees with it; ask an organiser of your club to vouch"
        },
    );
    if reply.weights_version == 0 {
        view.line("Nothing was compared yet: that is done every night.");
        return;
    }
    view.fact("pieces", format!("{} as of the last night", reply.pieces));
    if reply.compared < 0.5 {
        view.line("Nothing could be compared yet: it takes independent evidence on the same traits.");
        return;
    }
    view.fact(
        "held up",
        format!("{:.1} of {:.1} comparisons with independent evidence", reply.right, reply.compared),
    );
    view.fact("checks", format!("{} agree, {} doubt", reply.agreed, reply.doubted));
    view.fact("taken as right", format!("{:.0} times in 100", reply.accuracy * 100.0));
    view.fact(
        "weight",
        format!("{:.2} of at most 2.2 as a vote (table {})", reply.vote_weight, reply.weights_version),
    );
    if let Some(diagnosis) = reply.diagnosis {
        view.fact(
            "diagnosis",
            format!(
                "{:.0} in 100 right by the model of Dawid and Skene, over {} shared records; it decides nothing",
                diagnosis * 100.0,
                reply.diagnosis_records
            ),
        );
    }
}

pub(crate) fn show_sowing(view: &mut View, sowing: &v1::Sowing) {
    let tree = if sowing.tree.is_empty() { String::new() } else { format!(", {}", sowing.tree) };
    let closed = if sowing.closed_why.is_empty() {
        String::new()
    } else {
        format!(" [closed: {}]", sowing.closed_why)
    };
    let text = format!(
        "{} seeds of {}, sown {}{tree}{closed}",
        sowing.seeds,
        sowing.cultivar_name,
        words::day(sowing.day)
    );
    view.entry(&sowing.sowing_id, text);
    for tally in &sowing.open_tallies {
        let when = if tally.due { "DUE since".to_string() } else { "from".to_string() };
        view.item(
            4,
            "·",
            format!("{when} {}: {} [{}]", words::day(tally.due_from), tally.text, tally.origin),
        );
    }
    if sowing.open_tallies.iter().any(|t| t.due) {
        let act = Deed::EvidenceAddFromSowing.on_part(&sowing.cultivar_name, &sowing.sowing_id);
        view.act("Enter what came up", act);
    }
}
