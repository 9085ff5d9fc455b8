//! A trace of lots, drawn as a tree.

use std::collections::{BTreeMap, BTreeSet};

use scionary_proto::v1;

use crate::{View, words};

pub(crate) fn said(lot: &v1::TracedLot) -> String {
    let name = if lot.cultivar_name.is_empty() { "of unknown name" } else { &lot.cultivar_name };
    let whose = match (lot.is_mine, lot.holder_name.as_str()) {
        (true, _) => ", yours",
        (false, "") => "",
        (false, holder) => {
            return format!("{}  {} {name}, {holder}'s", lot.code, words::lot_kind(lot.kind()));
        }
    };
    let ended = if lot.ended_on.is_some() { ", nothing left" } else { "" };
    format!("{}  {} {name}{whose}{ended}", lot.code, words::lot_kind(lot.kind()))
}

/// Draws a trace as a tree from its first lot. A lot that several ways reach is expanded at the first of them only.
pub fn draw(view: &mut View, traced: &v1::TraceLotResponse, forward: bool) {
    let Some(first) = traced.lots.first() else { return };
    let lots: BTreeMap<&str, &v1::TracedLot> = traced.lots.iter().map(|l| (l.code.as_str(), l)).collect();
    let mut next: BTreeMap<&str, Vec<(&str, &v1::LotLink)>> = BTreeMap::new();
    for link in &traced.links {
        let (from, to) = if forward { (&link.parent, &link.child) } else { (&link.child, &link.parent) };
        next.entry(from).or_default().push((to, link));
    }
    view.title(said(first));
    // A stack of branches to draw: prefix, whether it is the last of its siblings, the lot's code, the link to it.
    let mut drawn = BTreeSet::from([first.code.as_str()]);
    let mut open: Vec<(String, bool, &str, &v1::LotLink)> = Vec::new();
    let hang = |open: &mut Vec<_>, at: &str, lead: &str| {
        let of = next.get(at).map(Vec::as_slice).unwrap_or_default();
        for (place, (to, link)) in of.iter().enumerate().rev() {
            open.push((lead.to_string(), place + 1 == of.len(), *to, *link));
        }
    };
    hang(&mut open, &first.code, "");
    while let Some((lead, last, code, link)) = open.pop() {
        let Some(lot) = lots.get(code) else { continue };
        let (branch, below) = if last { ("└─ ", "   ") } else { ("├─ ", "│  ") };
        let how = words::descent(link.descent());
        let day = words::day(link.day);
        let again = if drawn.contains(code) { " (as above)" } else { "" };
        let text = if forward {
            format!("{}; {how} it, {day}{again}", said(lot))
        } else {
            format!("{how} {}, {day}{again}", said(lot))
        };
        view.branch(&format!("{lead}{branch}"), &format!("{lead}{below}  "), &text);
        if drawn.insert(code) {
            hang(&mut open, code, &format!("{lead}{below}"));
        }
    }
    if traced.links.is_empty() {
        view.line(if forward {
            "Nothing on file descends from it."
        } else {
            "It is not on file what it comes from."
        });
    }
    if traced.more {
        view.gap();
        view.line("There is more than is shown here: a recall report of an alert has all of it.");
    }
}
