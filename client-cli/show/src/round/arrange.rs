//! What a round's organisers see.

use scionary_proto::v1;

use crate::{View, words};

/// Shows a [`v1::PreviewRoundResponse`].
pub fn preview_round(view: &mut View, reply: &v1::PreviewRoundResponse) {
    view.title("What settling now would give. Nothing is settled by this.");
    let columns: Vec<&v1::RoundPreview> = reply.previews.iter().collect();
    match columns.as_slice() {
        [own] => {
            for (what, value) in figures(own) {
                view.fact(what, &value);
            }
        }
        [own, tried] => {
            let rows = figures(own)
                .into_iter()
                .zip(figures(tried))
                .map(|((what, a), (_, b))| [what.to_string(), a, b]);
            view.table(["", "as it is", "tried"], rows);
        }
        _ => {}
    }
    let Some(last) = columns.last() else { return };
    view.gap();
    let of = if columns.len() > 1 { " by the rules tried" } else { "" };
    view.answer(format!("Who gives and gets{of} (gifts are not counted as given)"));
    let rows = last
        .books
        .iter()
        .map(|row| [row.number.to_string(), row.name.clone(), row.gives.to_string(), row.gets.to_string()]);
    view.table(["no.", "member", "gives", "gets"], rows);
    if !last.left.is_empty() {
        view.gap();
        view.answer(format!("What stays over{of}, and why"));
        for left in &last.left {
            let packs = words::counted(left.units, "pack");
            view.item(0, &format!("lot {}:", left.number), format!("{packs} of {}: {}", left.what, left.why));
        }
    }
}

/// Returns the figures of a preview, each with its label.
pub fn figures(preview: &v1::RoundPreview) -> Vec<(&'static str, String)> {
    let settings = preview.settings.unwrap_or_default();
    let ranks: Vec<String> = preview.by_rank.iter().map(ToString::to_string).collect();
    let units: Vec<String> = preview
        .by_units
        .iter()
        .enumerate()
        .map(|(n, members)| (n, *members))
        .filter(|(_, members)| *members > 0)
        .map(|(n, members)| format!("{members} get {n}"))
        .collect();
    let of_one =
        if settings.cultivar_cap == 0 { "no limit".into() } else { settings.cultivar_cap.to_string() };
    vec![
        ("most packs each", settings.cap().to_string()),
        ("of one cultivar", of_one),
        ("slack", settings.slack().to_string()),
        ("newcomers", settings.newcomers().to_string()),
        (
            "ranks count",
            settings.fair_levels.map_or_else(|| "after all packs".into(), |n| format!("after pack {n}")),
        ),
        ("post", if settings.by_post { "yes".into() } else { "no".into() }),
        ("members", format!("{}, of whom {} wish", preview.members, preview.wishing)),
        ("brought", format!("{}, of which {} as gifts", preview.brought, preview.gifts)),
        ("change hands", preview.given.to_string()),
        ("a first wish", format!("{} members", preview.first_wish)),
        ("nothing", format!("{} members", preview.with_nothing)),
        ("by rank of wish", ranks.join(", ")),
        ("who gets how many", units.join(", ")),
    ]
}
