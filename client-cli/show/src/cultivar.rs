//! Cultivars and their records.

use scionary_proto::v1;

use crate::lookup::{matches, named, show_piece, sources};
use crate::{Deed, View, words};

/// Shows a [`v1::EnterCultivarResponse`].
pub fn enter_cultivar(view: &mut View, reply: &v1::EnterCultivarResponse, name: &str) {
    if reply.on_file {
        view.answer(format!("{name} is on file already."));
    } else {
        view.answer(format!("{name} is on file now, as you call it; no curator has looked at it yet."));
    }
    view.act("Offer it", Deed::OfferPost.bare());
    view.act("What is on file", Deed::LookUp.on(name));
}

/// Shows a [`v1::SearchCultivarsResponse`].
pub fn search_cultivars(view: &mut View, reply: &v1::SearchCultivarsResponse) {
    if !reply.matches.is_empty() {
        matches(view, &reply.matches);
    }
}

/// Shows a [`v1::ListCultivarsResponse`].
pub fn list_cultivars(view: &mut View, reply: &v1::ListCultivarsResponse, seed: Option<v1::SeedAnswer>) {
    if reply.cultivars.is_empty() {
        match seed {
            None => {
                view.line("No cultivar is on file here yet.");
                view.act("Check the server", Deed::ServerStatus.bare());
            }
            Some(v1::SeedAnswer::ComesTrue) => {
                view.line("No cultivar on file “comes true”: that needs a count of off-types.");
                view.act("See those that mostly come true", Deed::CultivarListMostlyTrue.bare());
            }
            Some(_) => view.line("No cultivar on file has this answer."),
        }
        return;
    }
    view.table(
        ["CULTIVAR", "SEED", "OTHER NAMES"],
        reply
            .cultivars
            .iter()
            .map(|c| [named(Some(c)), words::answer(c.seed_answer()), c.other_names.join(", ")]),
    );
    view.more(&reply.next_page_token);
}

/// Shows a [`v1::ListEvidenceResponse`].
pub fn list_evidence(view: &mut View, reply: &v1::ListEvidenceResponse) {
    if reply.evidence.is_empty() {
        view.line("No evidence is on file.");
    }
    let mut label = "";
    for piece in &reply.evidence {
        if piece.label != label {
            view.title(&piece.label);
            label = &piece.label;
        }
        show_piece(view, piece);
    }
    view.gap();
    sources(view, &reply.sources);
    view.more(&reply.next_page_token);
}

/// Shows a cultivar's record.
pub fn show(view: &mut View, reply: &v1::GetCultivarResponse) {
    view.title(named(reply.summary.as_ref()));
    view.answer(&reply.headline);
    view.gap();
    let summary = reply.summary.clone().unwrap_or_default();
    view.fact("botanical name", &reply.botanical_name);
    if summary.rank() == v1::CultivarRank::Group {
        view.fact("this is", "a group or species as sources name it, not one cultivar");
    }
    let cited = |source: &str| if source.is_empty() { String::new() } else { format!(" [{source}]") };
    for name in &reply.names {
        let disputed = if name.disputed { ", disputed" } else { "" };
        let note = if name.note.is_empty() { String::new() } else { format!(": {}", name.note) };
        let kind = words::plain(name.kind().as_str_name(), "NAME_KIND_");
        view.fact("also called", format!("{} ({kind}{disputed}){}{note}", name.name, cited(&name.source_id)));
    }
    for parent in &reply.parents {
        let role = match parent.role() {
            v1::ParentRole::Seed => "seed parent",
            v1::ParentRole::Pollen => "pollen parent",
            v1::ParentRole::Unknown | v1::ParentRole::Unspecified => "parent",
        };
        let disputed = if parent.disputed { ", disputed" } else { "" };
        let note = if parent.note.is_empty() { String::new() } else { format!(": {}", parent.note) };
        view.fact(role, format!("{}{disputed}{}{note}", parent.name, cited(&parent.source_id)));
    }
    view.fact("origin", &reply.origin);
    view.fact("notes", &reply.notes);
    view.fact("id", &summary.cultivar_id);
    if !reply.locked_why.is_empty() {
        view.fact("locked", format!("takes no evidence and no proposals for now: {}", reply.locked_why));
    }
    view.gap();
    view.title("Findings");
    if reply.findings.is_empty() {
        view.line("Nothing is on file yet: no statement, no measurement, no count.");
    }
    for finding in &reply.findings {
        view.item(
            0,
            "-",
            format!(
                "{} ({}): {}",
                finding.label,
                words::standing(finding.standing()),
                view.reader().finding(finding)
            ),
        );
    }
    if !reply.namesakes.is_empty() {
        view.gap();
        view.title("Others of this name");
        for namesake in &reply.namesakes {
            view.item(0, "-", format!("{}, {}", named(Some(namesake)), namesake.cultivar_id));
        }
    }
    view.gap();
    sources(view, &reply.sources);
}

/// Shows the variety right or patent on a cultivar.
pub fn protected(view: &mut View, protection: Option<&v1::Protection>) {
    let Some(protection) = protection else {
        view.line("No protection is on file here, which is not an answer: the office of each country has the register.");
        return;
    };
    view.answer(format!(
        "Protected by {}: passing on propagation material needs the holder's consent.",
        words::protection(protection.kind())
    ));
    view.fact("office", &protection.office);
    view.fact("number", &protection.reference);
    view.fact("where", protection.area_codes.join(", "));
    view.fact("until", words::day(protection.until));
    view.fact("look it up", &protection.citation);
}
