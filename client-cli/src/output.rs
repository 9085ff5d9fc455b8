//! What is printed: lines that fit the terminal, or JSON in the canonical mapping of protobuf.

use std::io::{IsTerminal as _, Write as _};

use anstyle::{AnsiColor, Style};
use prost::{Message, Name};
use prost_reflect::{DescriptorPool, DynamicMessage, SerializeOptions};
use scionary_proto::{FILE_DESCRIPTOR_SET, v1};

use crate::{
    error::Failure,
    harmless::{self, text as plain},
    units,
};

/// Where a command prints.
pub struct Output {
    json: bool,
    imperial: bool,
    width: usize,
}

/// Lines are never wider: they would be hard to read.
const WIDEST: usize = 110;

impl Output {
    /// For a person, or for a program.
    pub fn new(json: bool, imperial: bool) -> Self {
        let columns = if std::io::stdout().is_terminal() {
            textwrap::termwidth()
        } else {
            std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).unwrap_or(80)
        };
        Self { json, imperial, width: columns.clamp(40, WIDEST) }
    }
    /// Whether it is for a program.
    pub fn is_json(&self) -> bool {
        self.json
    }
    /// Columns to fill.
    pub fn width(&self) -> usize {
        self.width
    }

    /// A figure in the reader's units.
    pub fn in_units(&self, figure: &v1::Timing) -> v1::Timing {
        if self.imperial { units::timing(figure) } else { figure.clone() }
    }
    /// A finding's words, with what was measured in the reader's units.
    pub fn finding(&self, finding: &v1::Finding) -> String {
        match finding.quantity.as_ref().filter(|_| self.imperial).and_then(units::quantity) {
            Some(text) => format!("{} (that is {text})", finding.text),
            None => finding.text.clone(),
        }
    }

    /// Prints; a reader who has gone away is no mistake.
    fn print(&self, text: &str) {
        let mut out = anstream::stdout().lock();
        let _ = writeln!(out, "{text}");
    }

    /// A reply: as JSON, or by the lines that `show` prints.
    ///
    /// # Errors
    /// When the reply cannot be written as JSON.
    pub fn reply<M: Message + Name>(&self, message: &M, show: impl FnOnce(&Self)) -> Result<(), Failure> {
        if !self.json {
            show(self);
            return Ok(());
        }
        self.json(&M::full_name(), message.encode_to_vec())
    }

    fn json(&self, name: &str, message: Vec<u8>) -> Result<(), Failure> {
        let bug = |e: String| Failure::bug(format!("the reply cannot be written as JSON: {e}"));
        let pool = DescriptorPool::decode(FILE_DESCRIPTOR_SET).map_err(|e| bug(e.to_string()))?;
        let descriptor = pool.get_message_by_name(name).ok_or_else(|| bug(format!("no message {name}")))?;
        let dynamic =
            DynamicMessage::decode(descriptor, message.as_slice()).map_err(|e| bug(e.to_string()))?;
        let mut text = Vec::new();
        let mut serializer = serde_json::Serializer::pretty(&mut text);
        let options = SerializeOptions::new().skip_default_fields(false).use_proto_field_name(true);
        dynamic.serialize_with_options(&mut serializer, &options).map_err(|e| bug(e.to_string()))?;
        let text = String::from_utf8(text).map_err(|e| bug(e.to_string()))?;
        self.print(&harmless::json(&text));
        Ok(())
    }

    /// A failure: on standard error.
    pub fn failure(&self, failure: &Failure) {
        let mut err = anstream::stderr().lock();
        if self.json {
            let fields: Vec<_> = failure
                .fields
                .iter()
                .map(|(f, e)| serde_json::json!({ "field": f, "expected": e }))
                .collect();
            let body = serde_json::json!({ "error": {
                "reason": failure.reason,
                "message": failure.message,
                "fields": fields,
                "next": failure.next,
                "request_id": failure.request,
                "exit_code": failure.exit_code(),
            }});
            let _ = writeln!(err, "{}", harmless::json(&format!("{body:#}")));
            return;
        }
        let red = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
        let first = textwrap::fill(
            &plain(&failure.message),
            textwrap::Options::new(self.width.saturating_sub(7)).subsequent_indent("       "),
        );
        let _ = writeln!(err, "{red}error:{red:#} {first}");
        if failure.fields.len() > 1 {
            for (field, expected) in &failure.fields {
                let line = if field.is_empty() {
                    plain(expected)
                } else {
                    plain(&format!("{}: {expected}", plain_field(field)))
                };
                let options =
                    textwrap::Options::new(self.width).initial_indent("  - ").subsequent_indent("    ");
                let _ = writeln!(err, "{}", textwrap::fill(&line, options));
            }
        }
        if let Some(next) = &failure.next {
            let options = textwrap::Options::new(self.width).subsequent_indent("  ");
            let _ = writeln!(err, "{}", textwrap::fill(&plain(next), options));
        }
        if let Some(request) = failure.request.as_ref().filter(|_| failure.exit_code() == 70) {
            let _ = writeln!(err, "number of the call: {}", plain(request));
        }
    }

    /// A heading.
    pub fn heading(&self, text: &str) {
        let text = &plain(text);
        let bold = Style::new().bold();
        self.print(&format!("{bold}{text}{bold:#}"));
    }
    /// A line as it is, however long.
    pub fn line(&self, text: &str) {
        let text = &plain(text);
        self.print(text);
    }
    /// An empty line.
    pub fn gap(&self) {
        self.print("");
    }
    /// A paragraph.
    pub fn text(&self, text: &str) {
        let text = &plain(text);
        self.print(&textwrap::fill(text, self.width));
    }
    /// A paragraph that stands out.
    pub fn answer(&self, text: &str) {
        let text = &plain(text);
        let bold = Style::new().bold();
        for line in textwrap::wrap(text, self.width) {
            self.print(&format!("{bold}{line}{bold:#}"));
        }
    }
    /// A paragraph under a mark such as `-` or `1.`, indented by so many spaces.
    pub fn item(&self, indent: usize, mark: &str, text: &str) {
        let (mark, text) = (&plain(mark), &plain(text));
        let first = format!("{}{mark} ", " ".repeat(indent));
        let rest = " ".repeat(first.chars().count().min(indent + 4));
        let options = textwrap::Options::new(self.width).initial_indent(&first).subsequent_indent(&rest);
        self.print(&textwrap::fill(text, options));
    }
    /// A paragraph that hangs on a branch of a drawn tree: what leads to its first line, and to the others.
    pub fn branch(&self, first: &str, rest: &str, text: &str) {
        let options = textwrap::Options::new(self.width).initial_indent(first).subsequent_indent(rest);
        self.print(&textwrap::fill(&plain(text), options));
    }
    /// `label: value`, the values in one column; nothing for an empty value.
    pub fn field(&self, label: &str, value: &str) {
        let value = &plain(value);
        if value.trim().is_empty() {
            return;
        }
        let first = format!("{label:<14} ");
        let rest = " ".repeat(15);
        let options = textwrap::Options::new(self.width).initial_indent(&first).subsequent_indent(&rest);
        self.print(&textwrap::fill(value, options));
    }
    /// A less important line.
    pub fn faint(&self, text: &str) {
        let text = &plain(text);
        let dim = Style::new().dimmed();
        for line in textwrap::wrap(text, self.width) {
            self.print(&format!("{dim}{line}{dim:#}"));
        }
    }
    /// A table that fits the width.
    pub fn table<const N: usize>(&self, head: [&str; N], rows: impl IntoIterator<Item = [String; N]>) {
        let mut table = comfy_table::Table::new();
        table.load_style(comfy_table::presets::NOTHING);
        table.set_content_arrangement(comfy_table::ContentArrangement::Dynamic);
        table.set_width(u16::try_from(self.width).unwrap_or(80));
        table.set_header(head);
        for row in rows {
            table.add_row(row.map(|cell| plain(&cell)));
        }
        for column in table.column_iter_mut() {
            column.set_padding((0, 2));
        }
        for line in table.lines() {
            self.print(line.trim_end());
        }
    }
    /// A line about what is going on, on standard error, for a person only.
    pub fn aside(&self, text: &str) {
        if !self.json {
            let mut err = anstream::stderr().lock();
            let _ = writeln!(err, "{}", textwrap::fill(&plain(text), self.width));
        }
    }
}

/// A field's path as a person types it: `offer.health.pests_text` is `--pests`, `handle` is `handle`.
pub(crate) fn plain_field(path: &str) -> String {
    let Some(own) = path.strip_prefix("offer.") else {
        // of several things observed together the last part says enough
        let own = path.strip_prefix("change.").unwrap_or(path);
        let own = match own.split_once("].") {
            Some((first, rest)) if first.starts_with("observed[") => {
                rest.rsplit_once('.').map_or(rest, |(_, last)| last)
            }
            Some(_) | None => own,
        };
        let typed = match own {
            "done_on" | "seen_on" => "--on",
            "taken" => "--took",
            "leave_out" => "--reason",
            "step_key" => "step",
            "planned" => "day",
            "wait_days" => "--days",
            "grid_code" => "--place",
            _ => "",
        };
        if !typed.is_empty() {
            return typed.into();
        }
        return own.replace("descriptor_key", "trait").replace(['.', '_'], " ");
    };
    let own = own.strip_prefix("health.").unwrap_or(own);
    let first = own.split(['.', '[']).next().unwrap_or(own);
    let option = match (first, path) {
        ("place", p) if p.ends_with("area_code") => "area",
        ("place", p) if p.ends_with("label") => "place-label",
        ("note", p) if p.contains("health") => "health-note",
        ("available_from", _) => "from",
        ("available_until", _) => "until",
        ("hand_over", _) => "by",
        ("kept_how", _) => "kept",
        ("symptoms_text", _) => "symptoms",
        ("pests_text", _) => "pests",
        ("sprayed_text", _) => "sprayed",
        ("treatments", _) => "treatment",
        ("tests", _) => "test",
        ("documents", _) => "document",
        (other, _) => other,
    };
    let part = own.rsplit_once('.').map(|(_, part)| part).filter(|_| own.contains('[')).unwrap_or_default();
    let part = if part.is_empty() { String::new() } else { format!(" ({})", part.replace('_', " ")) };
    format!("--{}{part}", option.replace('_', "-"))
}
