//! Answers to a look-up.

use scionary_domain::evidence::voice::UNVERIFIED;
use scionary_proto::v1;

use crate::{Deed, View, unions, words};

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

/// What stands beside the answer on one screen.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    /// The record.
    pub record: v1::GetCultivarResponse,
    /// The ways to a tree.
    pub ways: v1::CompareRoutesResponse,
    /// Open offers of the cultivar, the nearest first.
    pub offers: Vec<v1::FoundOffer>,
    /// The name of the reader's home, where that is known; offers are then near it.
    pub home: Option<String>,
    /// Kilometres that count as near.
    pub within_km: i32,
    /// There may be more offers than these.
    pub more_offers: bool,
}

/// Findings that say how the seed behaves, with short names.
const SEED_FINDINGS: [(&str, &str); 3] =
    [("embryony", "kind of seed"), ("multi_sprout_seeds", "sprouts"), ("off_type_seedlings", "off-types")];
/// Findings that are shown as the fruit.
const FRUIT_FINDINGS: [&str; 3] = ["fruit_mass", "fibre", "use"];

/// Shows the answer on one screen: what the seed does, how sure, the best way to a tree, when it is ripe, the fruit, who
/// has it, and what to do next.
pub fn short(
    view: &mut View,
    typed: &str,
    reply: &v1::LookUpSeedResponse,
    report: &v1::SeedReport,
    beside: &Beside,
) {
    let name = report.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
    if let Some(found) = reply.found_by.as_ref().filter(|f| f.reason() != v1::MatchReason::Exact) {
        view.note(format!("You typed “{typed}”: {}.", found.reason_text));
    }
    view.title(named(report.cultivar.as_ref()));
    view.answer(&report.headline);
    let others: Vec<String> = reply.others.iter().map(|o| named(o.cultivar.as_ref())).collect();
    if !others.is_empty() {
        let label = if reply.guessed { "or did you mean" } else { "careful" };
        let may = if reply.guessed { "" } else { "the name may also stand for " };
        view.fact(label, format!("{may}{}", others.iter().take(3).cloned().collect::<Vec<_>>().join(", ")));
    }
    let sure: Vec<String> = SEED_FINDINGS
        .iter()
        .filter_map(|(key, label)| {
            let finding = report.findings.iter().find(|f| f.descriptor_key == *key)?;
            Some(format!("{label} {}", words::standing(finding.standing())))
        })
        .collect();
    view.fact(
        "how sure",
        if sure.is_empty() { "nothing on its seed counts yet".to_string() } else { sure.join(", ") },
    );
    ways(view, &beside.ways);
    let found = |key: &str| beside.record.findings.iter().find(|f| f.descriptor_key == key);
    view.fact("ripe", found("season").map(|f| in_brief(view, f)).unwrap_or_default());
    let fruit: Vec<String> = FRUIT_FINDINGS
        .iter()
        .filter_map(|key| found(key))
        .map(|f| {
            let (label, text) = (f.label.to_lowercase(), in_brief(view, f));
            // A weight says what it is; other texts need their label, if they do not begin with it.
            if f.descriptor_key == "fruit_mass" || text.starts_with(&label) {
                text
            } else {
                format!("{label}: {text}")
            }
        })
        .collect();
    view.fact("fruit", fruit.join("; "));
    let plant: Vec<String> = PLANT_FINDINGS
        .iter()
        .filter_map(|(key, label)| {
            let finding = found(key)?;
            let text = in_brief(view, finding);
            (!text.is_empty()).then(|| format!("{label} {text}"))
        })
        .collect();
    view.fact("plant", plant.join("; "));
    view.fact("grafting", unions::brief(&beside.ways.unions, |union| &union.rootstock, 3));
    who_has_it(view, beside);
    care(view, &report.cautions);
    match beside.offers.first().and_then(|f| f.offer.as_ref()) {
        Some(offer) => view.act("Ask for some", Deed::ClaimAsk.on(&offer.offer_id)),
        None => view.act("Look for it", Deed::WantAddCultivar.on(&name)),
    }
    view.act("More", Deed::LookUpMore.on(&name));
}

/// Findings on flowers, seeds and cold that decide a planting, with short names.
const PLANT_FINDINGS: [(&str, &str); 4] =
    [("race", "race"), ("flower_type", "flower type"), ("seediness", "seeds:"), ("cold_hardiness", "cold:")];
/// Statements of a list that fit on one line of an answer.
const BRIEFLY: usize = 2;

/// Returns the first statements of a list, and how many more there are.
fn brief(text: &str) -> String {
    let parts: Vec<&str> = text.split("; ").collect();
    match parts.len().saturating_sub(BRIEFLY) {
        0 => text.to_string(),
        more => {
            let first: Vec<&str> = parts.into_iter().take(BRIEFLY).collect();
            format!("{}; and {more} more", first.join("; "))
        }
    }
}

/// Returns a finding on one line: where nothing is weighed, the words of its sources.
fn in_brief(view: &View, finding: &v1::Finding) -> String {
    if finding.evidence.iter().all(|piece| piece.weight <= 0.0) && !finding.evidence.is_empty() {
        said(finding)
    } else {
        brief(&view.reader().finding(finding))
    }
}

/// Returns what sources say in their words, the verified ones first.
fn said(finding: &v1::Finding) -> String {
    let unverified = |piece: &v1::Evidence| piece.source_id.starts_with(UNVERIFIED);
    let mut pieces: Vec<&v1::Evidence> = finding.evidence.iter().collect();
    pieces.sort_by_key(|piece| unverified(piece));
    let words = |piece: &v1::Evidence| {
        let mark = if unverified(piece) { ", not verified" } else { "" };
        format!("{} ({}{mark})", piece.as_stated, piece.source_id.trim_start_matches(UNVERIFIED))
    };
    brief(&pieces.into_iter().map(words).collect::<Vec<_>>().join("; "))
}

/// Adds the recommended way to a tree, and sowing beside it.
fn ways(view: &mut View, reply: &v1::CompareRoutesResponse) {
    let line = |route: &v1::Route| {
        let sown = route.way() == v1::Way::Seed && route.leads_there;
        let keep = if sown { format!(". {}", route.identity.trim_end_matches('.')) } else { String::new() };

        format!("{}: fruit in {} years{keep}", route.title, whole_years(route))
    };
    let best = reply.routes.iter().find(|r| r.way() == reply.recommended());
    if let Some(best) = best {
        view.fact("best way", line(best));
    }
    let seed = reply.routes.iter().find(|r| r.way() == v1::Way::Seed && r.leads_there);
    if let Some(seed) = seed.filter(|s| best.is_none_or(|b| b.way() != s.way())) {
        view.fact("or", line(seed));
    }
}

/// Returns the years to fruit in whole years.
fn whole_years(route: &v1::Route) -> String {
    match (route.fruit_years_low.map(f64::round), route.fruit_years_high.map(f64::round)) {
        (Some(low), Some(high)) if high > low => format!("{low} to {high}"),
        (Some(low), Some(_)) => format!("about {low}"),
        (Some(low), None) => format!("{low} or more"),
        (None, _) => "an unknown number of".into(),
    }
}

/// Adds who has it: how many offers, and the nearest one.
fn who_has_it(view: &mut View, beside: &Beside) {
    let more = if beside.more_offers { " or more" } else { "" };
    let count = i32::try_from(beside.offers.len()).unwrap_or(i32::MAX);
    let offers = format!("{}{more}", words::counted(count, "offer"));
    let nearest = beside.offers.first().and_then(|found| {
        let offer = found.offer.as_ref()?;
        let km = found.distance_km.map(|km| format!(", about {km} km away")).unwrap_or_default();
        let goods = words::goods(offer.quantity, offer.unit(), offer.material(), "");
        Some(format!("{}{km} (number {})", goods.replace("  ", " ").trim(), offer.offer_id))
    });
    match (&beside.home, nearest) {
        (Some(home), Some(nearest)) => {
            view.fact("near you", format!("{offers} within {} km of {home}: {nearest}", beside.within_km));
        }
        (Some(home), None) => view.fact("near you", format!("none within {} km of {home}", beside.within_km)),
        (None, Some(nearest)) => view.fact("on offer", format!("{offers}: {nearest}")),
        (None, None) => view.fact("on offer", "none just now"),
    }
}

/// Adds what to take care of in one line; the cautions themselves are shown on request.
pub(crate) fn care<'a>(view: &mut View, cautions: impl IntoIterator<Item = &'a v1::Caution>) {
    let mut topics: Vec<&str> = Vec::new();
    for about in cautions.into_iter().map(|c| topic(&c.topic)) {
        if !about.is_empty() && !topics.contains(&about) {
            topics.push(about);
        }
    }
    let about = if topics.is_empty() { String::new() } else { format!("{}; ", topics.join(", ")) };
    view.fact("take care", format!("{about}before moving it, ask the authority"));
}

/// Returns what a caution is about, in a word or two.
fn topic(key: &str) -> &str {
    match key {
        "grafting" => "blades",
        "sap" => "sap",
        "seed" => "dry seed",
        "lime" => "lime",
        "saw" => "saws",
        "movement" => "",
        other => other,
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
