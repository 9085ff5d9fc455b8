//! Lays a view out as lines of a terminal.

use anstyle::{AnsiColor, Style};
use scionary_show::{Act, Block, View};

use crate::{commands, harmless::text as plain};

/// Columns for the labels of facts.
const LABEL: usize = 15;

/// Lays a view out in lines of at most `width` columns, with styles as ANSI codes. `page_after` is the number of the page
/// that follows, where one does.
pub(crate) fn lay_out(view: &View, width: usize, page_after: u32) -> String {
    let mut page = Page { width, page_after, text: String::new() };
    for block in view.blocks() {
        page.block(block);
    }
    page.text
}

/// Formats an error's heading and first paragraph.
pub(crate) fn error(message: &str, width: usize) -> String {
    let red = Style::new().fg_color(Some(AnsiColor::Red.into())).bold();
    let options = textwrap::Options::new(width.saturating_sub(7)).subsequent_indent("       ");
    format!("{red}error:{red:#} {}\n", textwrap::fill(&plain(message), options))
}

/// Wraps a paragraph, with one prefix for its first line and another for the other lines.
pub(crate) fn paragraph(text: &str, first: &str, rest: &str, width: usize) -> String {
    let options = textwrap::Options::new(width).initial_indent(first).subsequent_indent(rest);
    textwrap::fill(&plain(text), options) + "\n"
}

struct Page {
    width: usize,
    page_after: u32,
    text: String,
}

impl Page {
    fn block(&mut self, block: &Block) {
        let (bold, dim) = (Style::new().bold(), Style::new().dimmed());
        match block {
            // Titles are not wrapped, so that the reader can search for them.
            Block::Title(text) => self.push(&format!("{bold}{}{bold:#}\n", plain(text))),
            Block::Answer(text) => self.styled(text, bold),
            Block::Note(text) => self.styled(text, dim),
            Block::Line(text) => self.push(&paragraph(text, "", "", self.width)),
            Block::Fact(label, value) => {
                let first = format!("{label:<width$} ", width = LABEL - 1);
                self.push(&paragraph(value, &first, &" ".repeat(LABEL), self.width));
            }
            Block::Item(indent, mark, text) => {
                let first = format!("{}{} ", " ".repeat(*indent), plain(mark));
                let rest = " ".repeat(first.chars().count().min(indent + 4));
                self.push(&paragraph(text, &first, &rest, self.width));
            }
            Block::Entry(id, text) if id.contains('_') => {
                self.push(&paragraph(text, "- ", "    ", self.width));
                self.push(&format!("   {}\n", plain(id)));
            }
            Block::Entry(number, text) => {
                let first = format!("{:>4}  ", plain(number));
                self.push(&paragraph(text, &first, "      ", self.width));
            }
            Block::Branch(first, rest, text) => self.push(&paragraph(text, first, rest, self.width)),
            Block::Table(head, rows) => self.table(head, rows),
            Block::Drawn(text) => self.push(&(plain(text) + "\n")),
            Block::Act(text, act) => self.act(text, act),
            Block::More(_) => {
                self.push("\n");
                self.styled(
                    &format!("There is more: repeat the command with --page {}", self.page_after),
                    dim,
                );
            }
            Block::Gap => self.push("\n"),
        }
    }
    fn push(&mut self, text: &str) {
        self.text.push_str(text);
    }
    fn styled(&mut self, text: &str, style: Style) {
        for line in textwrap::wrap(&plain(text), self.width) {
            self.push(&format!("{style}{line}{style:#}\n"));
        }
    }
    /// Adds an action. The command is not wrapped, so that the reader can copy it.
    fn act(&mut self, text: &str, act: &Act) {
        let dim = Style::new().dimmed();
        let (text, command) = (plain(text), plain(&commands::command(act)));
        let line = format!("{text}: {command}");
        if line.chars().count() <= self.width {
            self.push(&format!("{dim}{line}{dim:#}\n"));
        } else {
            self.styled(&format!("{text}:"), dim);
            self.push(&format!("{dim}  {command}{dim:#}\n"));
        }
    }
    fn table(&mut self, head: &[String], rows: &[Vec<String>]) {
        let mut table = comfy_table::Table::new();
        table.load_style(comfy_table::presets::NOTHING);
        table.set_content_arrangement(comfy_table::ContentArrangement::Dynamic);
        table.set_width(u16::try_from(self.width).unwrap_or(80));
        table.set_header(head);
        for row in rows {
            table.add_row(row.iter().map(|cell| plain(cell)));
        }
        for column in table.column_iter_mut() {
            column.set_padding((0, 2));
        }
        for line in table.lines() {
            self.push(&format!("{}\n", line.trim_end()));
        }
    }
}
