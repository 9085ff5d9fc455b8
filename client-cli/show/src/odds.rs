//! The odds of a sowing.

use scionary_proto::v1;

use crate::lookup::named;
use crate::{Deed, View};

/// Formats a chance as hundredths, without false precision: `under 1`, `over 99`, or a whole number.
pub fn hundredths(chance: f64) -> String {
    let pct = chance * 100.0;
    if pct > 0.0 && pct < 1.0 {
        "under 1".into()
    } else if pct < 100.0 && pct > 99.0 {
        "over 99".into()
    } else {
        format!("{pct:.0}")
    }
}

pub(crate) fn chance(range: &v1::ChanceRange) -> String {
    let (low, high) = (hundredths(range.low), hundredths(range.high));
    match range.middle {
        Some(middle) if low == high => format!("{} in 100", hundredths(middle)),
        Some(middle) => format!("about {} in 100 ({low} to {high})", hundredths(middle)),
        None if low == high => format!("{low} in 100"),
        None => format!("{low} to {high} in 100"),
    }
}

pub(crate) fn number(needed: &v1::NumberNeeded) -> String {
    let many = |n: Option<u32>| n.map_or_else(|| "over 5,000".to_string(), |n| n.to_string());
    let (best, worst) = (many(needed.at_best), many(needed.at_worst));
    match needed.likely {
        Some(likely) if best == worst => likely.to_string(),
        Some(likely) => format!("{likely} ({best} at best, {worst} at worst)"),
        None if best == worst => worst,
        None => format!("{best} at best, {worst} at worst"),
    }
}

/// Shows the odds of a sowing.
pub fn show(view: &mut View, reply: &v1::EstimateSeedOddsResponse, all: bool) {
    if reply.cultivar.is_some() {
        view.title(named(reply.cultivar.as_ref()));
    }
    view.answer(&reply.headline);
    let sure = format!("{:.1}", reply.confidence * 100.0);
    let sure = sure.trim_end_matches(".0");
    let plants =
        if reply.wanted == 1 { "1 true plant".into() } else { format!("{} true plants", reply.wanted) };
    for kept in &reply.kept {
        view.gap();
        view.title(format!("Keeping {}", kept.label));
        if let Some(range) = &kept.is_true {
            view.item(0, "-", format!("One of them is true: {}.", chance(range)));
        }
        if let Some(needed) = &kept.seedlings {
            view.item(0, "-", format!("Seedlings for {plants}, {sure} % sure: {}.", number(needed)));
        }
        if let Some(needed) = &kept.seeds {
            view.item(0, "-", format!("Seeds to sow for that: {}.", number(needed)));
        }
        if let Some(range) = &kept.off_type_in_batch {
            let text = format!("At least one off-type among {}: {}.", reply.batch, chance(range));
            view.item(0, "-", &text);
        }
        let origins =
            if kept.origins.is_empty() { String::new() } else { format!(" [{}]", kept.origins.join(", ")) };
        view.item(2, "rests on:", format!("{}{origins}", kept.basis));
    }
    if !reply.kept.is_empty() {
        view.gap();
        view.title("Coming up");
        if let Some(range) = &reply.germination {
            view.item(0, "-", format!("One seed comes up: {}.", chance(range)));
        }
        view.item(0, "-", &reply.germination_basis);
    }
    if !reply.notes.is_empty() {
        view.gap();
        view.title("Bear in mind");
        for note in &reply.notes {
            view.item(0, "-", format!("{} [{}]", note.text, note.origins.join(", ")));
        }
    }
    if !reply.kept.is_empty() && !reply.storages.is_empty() {
        view.gap();
        let keys: Vec<&str> = reply.storages.iter().map(|s| s.storage_key.as_str()).collect();
        let crop = reply.cultivar.as_ref().map(|c| c.crop.as_str()).unwrap_or_default();
        view.note(format!("For seed that was kept, say how many days, and how: {}.", keys.join(", ")));
        view.act("What each means", Deed::CropShow.on(crop));
    }
    cited(view, &reply.sources, all);
}

/// Shows the sources of an answer: every citation, or only their keys.
pub fn cited(view: &mut View, sources: &[v1::Source], all: bool) {
    if sources.is_empty() {
        return;
    }
    view.gap();
    if all {
        super::lookup::sources(view, sources);
    } else {
        let keys: Vec<&str> = sources.iter().map(|s| s.source_id.as_str()).collect();
        view.note(format!("Sources: {}. With --sources every citation is shown.", keys.join(", ")));
    }
}
