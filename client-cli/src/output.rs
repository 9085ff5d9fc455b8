//! Output: lines that fit the terminal, or JSON in the canonical mapping of protobuf.

use std::{
    cell::{Cell, RefCell},
    collections::BTreeMap,
    io::{IsTerminal as _, Write as _},
    sync::LazyLock,
};

use prost::{Message, Name};
use prost_reflect::{DescriptorPool, DynamicMessage, SerializeOptions};
use scionary_proto::FILE_DESCRIPTOR_SET;
use scionary_show::{Reader, View};

use crate::{
    client::Client,
    error::Failure,
    harmless::{self, text as plain},
    names, pager, terminal,
};

/// Returns the descriptors of all messages.
pub(crate) fn pool() -> Result<&'static DescriptorPool, Failure> {
    static POOL: LazyLock<Result<DescriptorPool, String>> =
        LazyLock::new(|| DescriptorPool::decode(FILE_DESCRIPTOR_SET).map_err(|e| e.to_string()));
    POOL.as_ref().map_err(|e| Failure::bug(format!("the messages are not described: {e}")))
}

/// Where and how a command prints. Views wait until they are flushed, which puts numbers in place of ids.
pub struct Output {
    waiting: RefCell<Vec<View>>,
    json: bool,
    reader: Cell<Reader>,
    width: usize,
}

/// The number of the first page of a list.
const FIRST_PAGE: u32 = 1;
/// Most columns a line fills; wider lines are hard to read.
const WIDEST: usize = 110;

impl Output {
    /// Returns an output for a person, or for a program when `json` is set. The width is clamped to 40 to 110 columns.
    pub fn new(json: bool, imperial: bool) -> Self {
        let columns = if std::io::stdout().is_terminal() {
            textwrap::termwidth()
        } else {
            std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).unwrap_or(80)
        };
        Self {
            waiting: RefCell::default(),
            json,
            reader: Cell::new(Reader { imperial }),
            width: columns.clamp(40, WIDEST),
        }
    }
    /// Returns whether the output is JSON.
    pub fn is_json(&self) -> bool {
        self.json
    }
    /// Returns the columns to fill.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Prints to standard output. A closed pipe is not an error.
    fn print(&self, text: &str) {
        let mut out = anstream::stdout().lock();
        let _ = write!(out, "{text}");
        let _ = out.flush();
    }

    /// Prints a reply: as JSON, or as the view that `show` makes.
    ///
    /// # Errors
    /// Returns a [`Failure`] when the reply cannot be encoded as JSON.
    pub fn reply<M: Message + Name>(&self, message: &M, show: impl FnOnce(&mut View)) -> Result<(), Failure> {
        if self.json {
            return self.json(&M::full_name(), message.encode_to_vec());
        }
        let mut view = self.view();
        show(&mut view);
        self.show(view);
        Ok(())
    }
    /// Shows feet, pounds and Fahrenheit from now on, if the member reads them.
    pub(crate) fn prefer(&self, imperial: bool) {
        let asked = self.reader.get().imperial;
        self.reader.set(Reader { imperial: asked || imperial });
    }
    /// Returns an empty view for the reader.
    pub fn view(&self) -> View {
        View::new(self.reader.get())
    }
    /// Prints a view when the command has ended, or flushes.
    pub fn show(&self, view: View) {
        self.waiting.borrow_mut().push(view);
    }
    /// Prints the views that wait, with the caller's numbers in place of ids. Long ones go through a pager.
    pub(crate) async fn flush(&self, client: Option<&Client>) {
        let text = self.laid_out(client).await;
        if !pager::shown(&text) {
            self.print(&text);
        }
    }
    /// The same without a pager, while more comes.
    pub(crate) async fn stream(&self, client: &Client) {
        let text = self.laid_out(Some(client)).await;
        self.print(&text);
    }
    async fn laid_out(&self, client: Option<&Client>) -> String {
        let views = self.waiting.take();
        let ids = views.iter().flat_map(names::ids_in).collect();
        let numbers = match client {
            Some(client) => names::numbers(client, ids).await,
            None => BTreeMap::new(),
        };
        let page_after = client.map_or(FIRST_PAGE + 1, Client::page_after);
        let views = views.into_iter();
        views.map(|view| terminal::lay_out(&view.numbered(&numbers), self.width, page_after)).collect()
    }

    fn json(&self, name: &str, message: Vec<u8>) -> Result<(), Failure> {
        let bug = |e: String| Failure::bug(format!("the reply cannot be written as JSON: {e}"));
        let descriptor =
            pool()?.get_message_by_name(name).ok_or_else(|| bug(format!("no message {name}")))?;
        let dynamic =
            DynamicMessage::decode(descriptor, message.as_slice()).map_err(|e| bug(e.to_string()))?;
        let mut text = Vec::new();
        let mut serializer = serde_json::Serializer::pretty(&mut text);
        let options = SerializeOptions::new().skip_default_fields(false).use_proto_field_name(true);
        dynamic.serialize_with_options(&mut serializer, &options).map_err(|e| bug(e.to_string()))?;
        let text = String::from_utf8(text).map_err(|e| bug(e.to_string()))?;
        self.print(&(harmless::json(&text) + "\n"));
        Ok(())
    }

    /// Prints a failure to standard error.
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
        let _ = write!(err, "{}", terminal::error(&failure.message, self.width));
        if failure.fields.len() > 1 {
            for (field, expected) in &failure.fields {
                let line = if field.is_empty() {
                    expected.clone()
                } else {
                    format!("{}: {expected}", plain_field(field))
                };
                let _ = write!(err, "{}", terminal::paragraph(&line, "  - ", "    ", self.width));
            }
        }
        if let Some(next) = &failure.next {
            let _ = write!(err, "{}", terminal::paragraph(next, "", "  ", self.width));
        }
        if let Some(request) = failure.request.as_ref().filter(|_| failure.exit_code() == 70) {
            let _ = writeln!(err, "number of the call: {}", plain(request));
        }
    }

    /// Prints a progress line to standard error, for a person only: nothing with `--json`.
    pub fn aside(&self, text: &str) {
        if !self.json {
            let mut err = anstream::stderr().lock();
            let _ = writeln!(err, "{}", textwrap::fill(&plain(text), self.width));
        }
    }
}

/// Returns a field's path as a person types it: `offer.health.pests_text` is `--pests`, `handle` is `handle`.
pub(crate) fn plain_field(path: &str) -> String {
    let Some(own) = path.strip_prefix("offer.") else {
        // For an observed thing the last part of the path is enough.
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
    crate::draft::option(own, path)
}
