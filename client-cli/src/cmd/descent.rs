//! A trace drawn as a tree, and written as a graph in GraphML (graphml.graphdrawing.org).

use std::{
    collections::{BTreeMap, BTreeSet},
    io::Write as _,
    path::Path,
};

use quick_xml::{
    Writer,
    events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event},
};
use scionary_proto::v1;
use scionary_show::View;

use crate::{error::Failure, words};

fn said(lot: &v1::TracedLot) -> String {
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

/// Draws a trace from where it began. What several ways lead to is drawn at the first of them.
pub(super) fn draw(view: &mut View, traced: &v1::TraceLotResponse, forward: bool) {
    let Some(first) = traced.lots.first() else { return };
    let lots: BTreeMap<&str, &v1::TracedLot> = traced.lots.iter().map(|l| (l.code.as_str(), l)).collect();
    let mut next: BTreeMap<&str, Vec<(&str, &v1::LotLink)>> = BTreeMap::new();
    for link in &traced.links {
        let (from, to) = if forward { (&link.parent, &link.child) } else { (&link.child, &link.parent) };
        next.entry(from).or_default().push((to, link));
    }
    view.title(said(first));
    // what is still to be drawn, the next one last: how it hangs, whether it is the last of its kind, code, how it came
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

/// Writes a trace as a graph.
pub(super) fn write_graph(path: &Path, traced: &v1::TraceLotResponse) -> Result<(), Failure> {
    let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", path.display()));
    let text = graphml(traced).map_err(failed)?;
    let mut file = std::fs::File::create(path).map_err(failed)?;
    file.write_all(&text).map_err(failed)
}

fn graphml(traced: &v1::TraceLotResponse) -> std::io::Result<Vec<u8>> {
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
    writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let mut root = BytesStart::new("graphml");
    root.push_attribute(("xmlns", "http://graphml.graphdrawing.org/xmlns"));
    writer.write_event(Event::Start(root))?;
    for (key, of) in [
        ("kind", "node"),
        ("cultivar", "node"),
        ("made_on", "node"),
        ("holder", "node"),
        ("descent", "edge"),
        ("day", "edge"),
    ] {
        let mut element = BytesStart::new("key");
        element.extend_attributes([("id", key), ("for", of), ("attr.name", key), ("attr.type", "string")]);
        writer.write_event(Event::Empty(element))?;
    }
    let mut graph = BytesStart::new("graph");
    graph.extend_attributes([("id", "descent"), ("edgedefault", "directed")]);
    writer.write_event(Event::Start(graph))?;
    let data = |writer: &mut Writer<Vec<u8>>, key: &str, value: &str| -> std::io::Result<()> {
        let mut element = BytesStart::new("data");
        element.push_attribute(("key", key));
        writer.write_event(Event::Start(element))?;
        writer.write_event(Event::Text(BytesText::new(value)))?;
        writer.write_event(Event::End(BytesEnd::new("data")))
    };
    for lot in &traced.lots {
        let mut node = BytesStart::new("node");
        node.push_attribute(("id", lot.code.as_str()));
        writer.write_event(Event::Start(node))?;
        data(&mut writer, "kind", &words::lot_kind(lot.kind()))?;
        data(&mut writer, "cultivar", &lot.cultivar_name)?;
        data(&mut writer, "made_on", &words::day(lot.made_on))?;
        data(&mut writer, "holder", &lot.holder_name)?;
        writer.write_event(Event::End(BytesEnd::new("node")))?;
    }
    for link in &traced.links {
        let mut edge = BytesStart::new("edge");
        edge.extend_attributes([("source", link.parent.as_str()), ("target", link.child.as_str())]);
        writer.write_event(Event::Start(edge))?;
        data(&mut writer, "descent", words::descent(link.descent()))?;
        data(&mut writer, "day", &words::day(link.day))?;
        writer.write_event(Event::End(BytesEnd::new("edge")))?;
    }
    writer.write_event(Event::End(BytesEnd::new("graph")))?;
    writer.write_event(Event::End(BytesEnd::new("graphml")))?;
    Ok(writer.into_inner())
}
