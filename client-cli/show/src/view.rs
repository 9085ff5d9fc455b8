//! A view: the blocks that a reader sees. A terminal, a page or a sheet lays them out in its own way.

use std::collections::BTreeMap;

use crate::{act::Act, reader::Reader};

/// One element of a view.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// The heading of the lines below it.
    Title(String),
    /// The answer itself, or its first line; it stands out.
    Answer(String),
    /// A paragraph.
    Line(String),
    /// A paragraph with less weight.
    Note(String),
    /// A labelled value.
    Fact(String, String),
    /// A paragraph in a list: its indent, its mark (such as `-` or `1.`; may be empty) and its text.
    Item(usize, String, String),
    /// A paragraph on a branch of a drawn tree: the prefix of its first line, the prefix of its other lines, and its
    /// text.
    Branch(String, String, String),
    /// One of several things: its id, and what it is. A reader who has a number for it sees that in front.
    Entry(String, String),
    /// A table: its head, and rows with as many cells as the head.
    Table(Vec<String>, Vec<Vec<String>>),
    /// Preformatted text: it is neither wrapped nor cut.
    Drawn(String),
    /// An action that the reader can do next: its label, and the action.
    Act(String, Act),
    /// Another page follows; the token asks for it.
    More(String),
    /// Blank space between two groups of blocks.
    Gap,
}

/// The blocks for one reader.
#[derive(Debug)]
pub struct View {
    reader: Reader,
    blocks: Vec<Block>,
}

impl View {
    /// Returns an empty view for a reader.
    pub fn new(reader: Reader) -> Self {
        Self { reader, blocks: Vec::new() }
    }
    /// Returns the reader of the view.
    pub fn reader(&self) -> Reader {
        self.reader
    }
    /// Returns the blocks, first to last.
    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }
    /// Returns the same view with every id that `numbers` knows replaced by its number.
    #[must_use]
    pub fn numbered(mut self, numbers: &BTreeMap<String, String>) -> Self {
        let change = |text: &mut String| {
            if text.contains('_') {
                for (id, number) in numbers {
                    if text.contains(id.as_str()) {
                        *text = text.replace(id.as_str(), number);
                    }
                }
            }
        };
        for block in &mut self.blocks {
            match block {
                Block::Title(text) | Block::Answer(text) | Block::Line(text) | Block::Note(text) => {
                    change(text)
                }
                Block::Drawn(text) | Block::Fact(_, text) | Block::Item(_, _, text) => change(text),
                Block::Branch(_, _, text) => change(text),
                Block::Entry(id, text) => {
                    change(id);
                    change(text);
                }
                Block::Table(_, rows) => rows.iter_mut().flatten().for_each(change),
                Block::Act(_, act) => act.on.iter_mut().for_each(change),
                Block::More(_) | Block::Gap => {}
            }
        }
        self
    }
    /// Adds a [`Block::Title`].
    pub fn title(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Title(text.into()));
    }
    /// Adds a [`Block::Answer`].
    pub fn answer(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Answer(text.into()));
    }
    /// Adds a [`Block::Line`].
    pub fn line(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Line(text.into()));
    }
    /// Adds a [`Block::Note`].
    pub fn note(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Note(text.into()));
    }
    /// Adds a [`Block::Fact`], unless the value is empty.
    pub fn fact(&mut self, label: &str, value: impl Into<String>) {
        let value = value.into();
        if !value.trim().is_empty() {
            self.blocks.push(Block::Fact(label.into(), value));
        }
    }
    /// Adds a [`Block::Item`].
    pub fn item(&mut self, indent: usize, mark: &str, text: impl Into<String>) {
        self.blocks.push(Block::Item(indent, mark.into(), text.into()));
    }
    /// Adds a [`Block::Entry`].
    pub fn entry(&mut self, id: &str, text: impl Into<String>) {
        self.blocks.push(Block::Entry(id.into(), text.into()));
    }
    /// Adds a [`Block::Branch`].
    pub fn branch(&mut self, first: &str, rest: &str, text: impl Into<String>) {
        self.blocks.push(Block::Branch(first.into(), rest.into(), text.into()));
    }
    /// Adds a [`Block::Table`].
    pub fn table<const N: usize>(&mut self, head: [&str; N], rows: impl IntoIterator<Item = [String; N]>) {
        let rows = rows.into_iter().map(Vec::from).collect();
        self.blocks.push(Block::Table(head.map(String::from).into(), rows));
    }
    /// Adds a [`Block::Drawn`].
    pub fn drawn(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Drawn(text.into()));
    }
    /// Adds a [`Block::Act`].
    pub fn act(&mut self, text: &str, act: Act) {
        self.blocks.push(Block::Act(text.into(), act));
    }
    /// Adds a [`Block::More`], unless the token is empty.
    pub fn more(&mut self, token: &str) {
        if !token.is_empty() {
            self.blocks.push(Block::More(token.into()));
        }
    }
    /// Adds a [`Block::Gap`].
    pub fn gap(&mut self) {
        self.blocks.push(Block::Gap);
    }
}
