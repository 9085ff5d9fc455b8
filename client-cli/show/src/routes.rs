//! Ways to a tree.

use std::collections::BTreeSet;

use scionary_proto::v1;

use crate::{
    Deed, Reader, View,
    crop::range,
    grafts::rates_line,
    lookup::{care, named},
    odds::{chance, cited},
    unions,
    words::{self, counted},
};

/// Formats years as a whole number or with one decimal.
pub fn plain_years(years: f64) -> String {
    let text = format!("{years:.1}");
    text.strip_suffix(".0").map_or(text.clone(), Into::into)
}

pub(crate) fn years(route: &v1::Route) -> String {
    match (route.fruit_years_low, route.fruit_years_high) {
        (Some(low), Some(high)) if (low - high).abs() < 0.05 => plain_years(low),
        (Some(low), Some(high)) => format!("{} to {}", plain_years(low), plain_years(high)),
        (Some(low), None) => format!("{} or more", plain_years(low)),
        (None, _) => "not on file".into(),
    }
}

pub(crate) fn is_cultivar(route: &v1::Route) -> String {
    match (&route.is_true, route.leads_there) {
        (_, false) => "no odds".into(),
        (Some(range), true) => chance(range),
        (None, true) => "if its scion is".into(),
    }
}

/// Returns a figure with its label and origin.
pub fn figure(reader: Reader, timing: &v1::Timing) -> String {
    let note = if timing.note.is_empty() { String::new() } else { format!(" ({})", timing.note) };
    let mut label = timing.label.chars();
    let label: String = label.next().into_iter().flat_map(char::to_uppercase).chain(label).collect();
    format!("{label}: {} [{}]{note}", range(&reader.figure(timing)), timing.origin)
}

/// Shows the ways to a tree next to each other; each in full with `more`, and every citation with `all`.
pub fn show(view: &mut View, reply: &v1::CompareRoutesResponse, (more, all): (bool, bool)) {
    view.title(named(reply.cultivar.as_ref()));
    if reply.routes.is_empty() {
        view.line("No ways to a tree are on file for this crop. The person who runs the server can add them to its profile.");
        return;
    }
    if let Some(best) = reply.routes.iter().find(|r| r.way() == reply.recommended()) {
        view.answer(format!("{}. {}", best.title, reply.reason));
        view.gap();
    }
    view.table(
        ["WAY", "IS IT THE CULTIVAR?", "YEARS TO FRUIT"],
        reply.routes.iter().map(|r| [r.title.clone(), is_cultivar(r), years(r)]),
    );
    if !more && !all {
        short(view, reply);
        return;
    }
    for route in &reply.routes {
        view.gap();
        view.title(&route.title);
        view.line(&route.about);
        view.item(0, "-", &route.identity);
        view.item(0, "-", format!("Work: {}", route.effort));
        view.item(0, "-", format!("You need: {}.", route.needs.join("; ")));
        if let Some(line) = rates_line(&route.grafting) {
            view.item(0, "-", format!("Grafts of growers here: {line}."));
        }
        for fact in route.first_fruit.iter().chain(&route.succeeds) {
            view.item(0, "-", format!("{}.", figure(view.reader(), fact)));
        }
    }
    if !reply.unions.is_empty() {
        view.gap();
        view.title("Rootstocks");
        for report in &reply.unions {
            view.item(0, "-", format!("{}.", unions::pair(report)));
        }
    }
    if !reply.sizes.is_empty() {
        view.gap();
        view.title("Room");
        for size in &reply.sizes {
            view.item(0, "-", format!("{}.", figure(view.reader(), size)));
        }
        view.line(&reply.yard);
    } else if !reply.yard.is_empty() {
        view.gap();
        view.line(&reply.yard);
    }
    view.gap();
    view.title("Take care");
    let mut told = BTreeSet::new();
    for caution in reply.routes.iter().flat_map(|r| &r.cautions) {
        if told.insert(&caution.text) {
            view.item(0, "-", &caution.text);
        }
    }
    cited(view, &reply.sources, all);
}

/// Adds what the recommended way needs, the room for a tree, and where to read on.
fn short(view: &mut View, reply: &v1::CompareRoutesResponse) {
    view.gap();
    if let Some(best) = reply.routes.iter().find(|r| r.way() == reply.recommended()) {
        view.fact("it takes", &best.effort);
        view.fact("you need", best.needs.join("; "));
    }
    view.fact("grafting", unions::brief(&reply.unions, |u| &u.rootstock, 3));
    if reply.partners > 0 {
        let own = if reply.flower_type.is_empty() {
            String::new()
        } else {
            format!("type {}; ", reply.flower_type)
        };
        view.fact("flowers", format!("{own}{} may help it to set fruit", counted(reply.partners, "other")));
    }
    view.fact("room", &reply.yard);
    care(view, reply.routes.iter().flat_map(|r| &r.cautions));
    let name = reply.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
    if reply.partners > 0 {
        view.act("What flowers with it", Deed::Partners.on(&name));
    }
    view.act("Each way in full", Deed::RoutesMore.on(&name));
    match reply.routes.iter().find(|r| r.way() == reply.recommended()) {
        Some(best) => {
            let way = words::way(best.way()).replace(' ', "-");
            view.act("Keep a plan with dates", Deed::PlanKeep.on_part(&name, &way));
        }
        None => view.act("Keep a plan with dates", Deed::PlanKeep.on(&name)),
    }
}
