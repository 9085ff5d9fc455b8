//! Writes a trace as a graph in GraphML (graphml.graphdrawing.org).

use std::{io::Write as _, path::Path};

use quick_xml::{
    Writer,
    events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event},
};
use scionary_proto::v1;

use crate::{error::Failure, words};

/// Writes a trace to a file as a graph.
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
