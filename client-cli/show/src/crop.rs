//! Crop profiles.

use scionary_domain::evidence::voice::UNVERIFIED;
use scionary_proto::v1;

use crate::lookup::sources;
use crate::{Deed, View, words};

/// Shows a [`v1::ListCropsResponse`].
pub fn list_crops(view: &mut View, reply: &v1::ListCropsResponse) {
    if reply.crops.is_empty() {
        view.line("No crop is on file yet: the person who runs this server loads a catalogue first.");
        return;
    }
    view.table(
        ["CROP", "NAME", "BOTANICAL NAME", "CULTIVARS"],
        reply.crops.iter().map(|c| {
            [c.crop.clone(), c.name.clone(), c.botanical_name.clone(), c.cultivar_count.to_string()]
        }),
    );
}

/// Returns the name of a month from 1 to 12; a question mark for any other number.
#[expect(clippy::cast_possible_truncation, reason = "a month; what is none reads as a question mark")]
pub(crate) fn month(number: f64) -> &'static str {
    words::month(number.round() as i32)
}

pub(crate) fn range(timing: &v1::Timing) -> String {
    if let ("month", Some(low), Some(high)) = (timing.unit.as_str(), timing.low, timing.high) {
        return format!("{} to {}", month(low), month(high));
    }
    match (timing.low, timing.high) {
        (Some(low), Some(high)) if (low - high).abs() < f64::EPSILON => format!("{low} {}", timing.unit),
        (Some(low), Some(high)) => format!("{low} to {high} {}", timing.unit),
        (Some(low), None) => format!("from {low} {}", timing.unit),
        (None, Some(high)) => format!("up to {high} {}", timing.unit),
        (None, None) => "(no figure)".into(),
    }
}

/// Returns a way of keeping seed or wood as a sentence.
pub fn keeping(storage: &v1::Storage) -> String {
    let mut says = Vec::new();
    if let Some(good) = storage.good_days {
        let to = storage.at_most_days.map(|most| format!(" to {most}")).unwrap_or_default();
        let alive = storage.alive_pct.map(|pct| format!(", {pct} % alive at the end")).unwrap_or_default();
        says.push(format!("good for {good}{to} days{alive}"));
    }
    match storage.dead_days {
        Some(dead) if storage.words.is_empty() => says.push(format!("nothing alive from {dead} days on")),
        Some(dead) => says.push(format!("to be used within {dead}")),
        None => {}
    }
    if !storage.words.is_empty() {
        says.push(format!("a reading of “{}”", storage.words));
    }
    let note = if storage.note.is_empty() { String::new() } else { format!(" ({})", storage.note) };
    let material = storage.material.replace('_', " ");
    format!("{material} kept {}: {} [{}]{note}", storage.how, says.join("; "), storage.origin)
}

/// Shows a crop's profile.
pub fn show(view: &mut View, reply: &v1::GetCropResponse, more: bool) {
    let summary = reply.summary.clone().unwrap_or_default();
    view.title(format!("{} ({})", summary.name, summary.botanical_name));
    view.line(&reply.about);
    if !reply.timings.is_empty() {
        view.gap();
        view.title("Timings, sizes, temperatures");
    }
    for timing in &reply.timings {
        let note = if timing.note.is_empty() { String::new() } else { format!(" ({})", timing.note) };
        view.item(
            0,
            "-",
            format!("{}: {} [{}]{note}", timing.label, range(&view.reader().figure(timing)), timing.origin),
        );
    }
    if !reply.storages.is_empty() {
        view.gap();
        view.title("How long it keeps");
        for storage in &reply.storages {
            view.item(0, &format!("{}:", storage.storage_key), keeping(storage));
        }
    }
    if !reply.statements.is_empty() {
        view.gap();
        view.title("What sources say of the crop as a whole");
        // by what they are about, and what no one verified last
        let mut statements: Vec<&v1::CropStatement> = reply.statements.iter().collect();
        statements.sort_by_key(|s| (s.source_id.starts_with(UNVERIFIED), s.descriptor_label.clone()));
        let own = summary.name.to_lowercase();
        for statement in statements {
            let about = &statement.subject;
            let about = if about.to_lowercase() == own { String::new() } else { format!(", {about}") };
            let note =
                if statement.note.is_empty() { String::new() } else { format!(" ({})", statement.note) };
            view.item(
                0,
                "-",
                format!(
                    "{}{about}: {} [{}]{note}",
                    statement.descriptor_label, statement.as_stated, statement.source_id
                ),
            );
        }
    }
    view.gap();
    view.title("Take care");
    for caution in &reply.cautions {
        view.item(0, "-", &caution.text);
    }
    if !more {
        view.gap();
        view.act("What growers observe, and every citation", Deed::CropShowMore.on(&summary.crop));
        return;
    }
    view.gap();
    observed(view, &reply.descriptors);
    view.gap();
    sources(view, &reply.sources);
}

/// Shows what growers observe of a crop, and how.
fn observed(view: &mut View, descriptors: &[v1::Descriptor]) {
    view.title("What is observed");
    for descriptor in descriptors {
        view.item(
            0,
            "-",
            format!("{} ({}): {}", descriptor.label, descriptor.descriptor_key, descriptor.question),
        );
        view.item(2, "how:", &descriptor.observe);
        if !descriptor.states.is_empty() {
            let states: Vec<&str> = descriptor.states.iter().map(|s| s.label.as_str()).collect();
            view.item(2, "states:", states.join(", "));
        }
    }
}
