//! Answers to a look-up.

use scionary_proto::v1;

use crate::{View, words};

/// Shows a [`v1::LookUpSeedResponse`].
pub fn look_up_seed(view: &mut View, reply: &v1::LookUpSeedResponse, name: &str, evidence: bool) {
    match &reply.report {
        Some(report) => show(view, name, reply, report, evidence),
        None if reply.others.is_empty() => {}
        None => {
            let exact = reply.others.iter().any(|m| m.score >= 0.99);
            view.line(&if exact {
                format!("“{name}” may mean more than one cultivar:")
            } else {
                format!("No cultivar is on file as “{name}”. The nearest names:")
            });
            view.gap();
            matches(view, &reply.others);
        }
    }
}

/// Returns a cultivar's name with its crop and qualifier.
pub fn named(cultivar: Option<&v1::CultivarSummary>) -> String {
    cultivar
        .map(|c| {
            let qualifier = if c.qualifier.is_empty() { String::new() } else { format!(", {}", c.qualifier) };
            format!("{} ({}{qualifier})", c.name, c.crop)
        })
        .unwrap_or_default()
}

/// Shows whether a cultivar's seed comes true, and what else is known.
pub fn show(
    view: &mut View,
    typed: &str,
    reply: &v1::LookUpSeedResponse,
    report: &v1::SeedReport,
    all: bool,
) {
    if let Some(found) = &reply.found_by {
        if reply.guessed {
            view.line(format!("No cultivar is on file as “{typed}”; {}. Taken as:", found.reason_text));
            view.gap();
        } else if found.reason() != v1::MatchReason::Exact {
            view.line(format!("You asked for “{typed}”: {}.", found.reason_text));
            view.gap();
        }
        if !reply.guessed && !reply.others.is_empty() {
            let others: Vec<String> = reply.others.iter().map(|o| named(o.cultivar.as_ref())).collect();
            view.line(format!(
                "Careful: the name may also stand for {}. Ask which tree your seed came from.",
                others.join(", ")
            ));
            view.gap();
        }
    }
    view.title(named(report.cultivar.as_ref()));
    view.answer(&report.headline);
    view.gap();
    view.title("How sure is that?");
    for finding in &report.findings {
        view.item(0, "-", format!("{}: {}.", finding.label, view.reader().finding(finding)));
        view.item(2, &format!("{}:", words::standing(finding.standing())), &finding.standing_text);
        if all {
            for piece in &finding.evidence {
                show_piece(view, piece);
            }
        }
    }
    view.line(&report.how_sure);
    view.gap();
    view.title("What to do next");
    for (at, advice) in report.advice.iter().enumerate() {
        view.item(0, &format!("{}.", at + 1), format!("{}{}", advice.text, origins(&advice.origins)));
    }
    if !report.cautions.is_empty() {
        view.gap();
        view.title("Take care");
        for caution in &report.cautions {
            view.item(0, "-", &caution.text);
        }
    }
    view.gap();
    if all {
        sources(view, &report.sources);
    } else {
        let keys: Vec<&str> = report.sources.iter().map(|s| s.source_id.as_str()).collect();
        view.note(format!(
            "Sources: {}. With --evidence every piece and every citation is shown.",
            keys.join(", ")
        ));
    }
    if !reply.others.is_empty() {
        view.gap();
        view.title(if reply.guessed { "Near names" } else { "Others of this name" });
        matches(view, &reply.others);
    }
}

pub(crate) fn origins(keys: &[String]) -> String {
    if keys.is_empty() { String::new() } else { format!(" [{}]", keys.join(", ")) }
}

/// Shows a piece of evidence.
pub fn show_piece(view: &mut View, piece: &v1::Evidence) {
    let named =
        if piece.named_as.is_empty() { String::new() } else { format!(", as “{}”", piece.named_as) };
    let place = if piece.place.is_empty() { String::new() } else { format!(", {}", piece.place) };
    let day = words::day(piece.day);
    let day = if day.is_empty() { String::new() } else { format!(", {day}") };
    let note = if piece.note.is_empty() { String::new() } else { format!(" ({})", piece.note) };
    let who = match (piece.author_account_id.is_empty(), piece.author_name.is_empty()) {
        (true, _) => piece.source_id.clone(),
        (false, true) => "a grower".into(),
        (false, false) => piece.author_name.clone(),
    };
    let citation = if piece.citation.is_empty() { String::new() } else { format!(", {}", piece.citation) };
    view.item(4, "·", format!("{} [{who}{citation}{named}{place}{day}]{note}", piece.as_stated));
    if piece.weight > 0.0 || !piece.author_account_id.is_empty() {
        view.item(6, "weight:", &piece.weight_reason);
    }
    if !piece.author_account_id.is_empty() {
        view.item(6, "", &piece.evidence_id);
    }
}

/// Shows citations, each with the part that was read.
pub fn sources(view: &mut View, sources: &[v1::Source]) {
    if sources.is_empty() {
        return;
    }
    view.title("Sources");
    for source in sources {
        view.item(0, &format!("[{}]", source.source_id), &source.citation);
        if !source.read.is_empty() {
            view.item(4, "read:", &source.read);
        }
    }
}

/// Shows search results as a table.
pub fn matches(view: &mut View, matches: &[v1::CultivarMatch]) {
    view.table(
        ["CULTIVAR", "SEED", "WHY"],
        matches.iter().map(|m| {
            let answer = m.cultivar.as_ref().map(|c| words::answer(c.seed_answer())).unwrap_or_default();
            [named(m.cultivar.as_ref()), answer, m.reason_text.clone()]
        }),
    );
}
