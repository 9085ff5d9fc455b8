//! Ways to a tree.

use std::collections::BTreeSet;

use scionary_proto::v1;

use crate::View;
use crate::{
    Reader,
    crop::range,
    grafts::rates_line,
    lookup::named,
    odds::{chance, cited},
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

/// Shows the ways to a tree next to each other.
pub fn show(view: &mut View, reply: &v1::CompareRoutesResponse, all: bool) {
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
