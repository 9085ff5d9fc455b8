//! A session as it is written down: who types what, and what is printed.
//!
//! ```text
//! # a comment
//! % data.reference_catalogue=false       a setting of the server, before anything else
//! : sound = --symptoms no --pests no     words that are written {sound} from here on
//! @odalind Odalind Marrack               someone new, who signs up and in; "…, steward" with a steward's code
//! @odalind                               someone who is there already
//! @no one                                someone who is not signed in
//! < a line on standard input of the next command
//! $ scionary offer list --page-size 1 | head 3
//! > offer = ofr_*                        what stands for * in what it printed is {offer} from here on
//!   what it printed, two spaces in
//! ! what it said on standard error
//! = 4                                    how it ended, unless well
//! ```
//!
//! `{day+20}` is the day in twenty days, `{odalind}` is the id of odalind's account, `{data}` the folder of the data that
//! ships. `$ put FILE` writes its standard input to a file, `$ ls` lists the files that commands wrote. `| head N` takes
//! the first lines and then ends the command; `| without TEXT` leaves lines out; `| sorted`, and
//! `| items HEADING` for lists of several lines, are for what comes in another order from each server; `| unfolded` is for
//! calendars; `| until TEXT` types the line again until what comes by itself is there. A long line goes on after ` \`.

/// A line that was typed.
#[derive(Debug, Clone)]
pub struct Typed {
    /// The text in the file, with its line breaks.
    pub shown: String,
    /// In one line.
    pub line: String,
    /// What is left of the output.
    pub filters: Vec<Filter>,
    /// Its captures: name and pattern.
    pub captures: Vec<(String, String)>,
}

/// What is left of an output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Filter {
    /// The first lines.
    Head(usize),
    /// Not the lines with a text.
    Without(String),
    /// The lines in the order of their letters, each once.
    Sorted,
    /// Items in the order of their letters, from a line with a text to the next empty one; everywhere without a text.
    Items(String),
    /// What is printed once a text is in it, which comes by itself.
    Until(String),
    /// Lines of a calendar that were broken made whole.
    Unfolded,
}

/// A step of a session.
#[derive(Debug, Clone)]
pub enum Step {
    /// Words for readers.
    Comment(String),
    /// A setting of the server.
    Setting(String),
    /// A name for words.
    Words(String, String),
    /// Who types from here on; with a name, someone new.
    Persona { handle: String, name: Option<String>, steward: bool },
    /// A line on standard input.
    Input(String),
    /// A command.
    Command(Typed),
}

/// Reads the steps of a file; what was printed is left out.
pub fn parse(text: &str) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let (mark, rest) = line.split_once(' ').unwrap_or((line, ""));
        match mark {
            "#" => steps.push(Step::Comment(rest.into())),
            "%" => steps.push(Step::Setting(rest.into())),
            ":" => {
                let (name, words) = rest.split_once(" = ").unwrap_or_else(|| panic!("NAME = WORDS: {line}"));
                steps.push(Step::Words(name.into(), words.into()));
            }
            "<" => steps.push(Step::Input(rest.into())),
            "$" => {
                let mut shown = line.to_string();
                while shown.ends_with(" \\") {
                    shown.push('\n');
                    shown.push_str(lines.next().unwrap_or_else(|| panic!("more expected: {shown}")));
                }
                steps.push(Step::Command(typed(shown)));
            }
            ">" => {
                let Some(Step::Command(typed)) = steps.last_mut() else {
                    panic!("no command before: {line}")
                };
                let (name, what) = rest.split_once(" = ").unwrap_or_else(|| panic!("NAME = PATTERN: {line}"));
                typed.captures.push((name.into(), what.into()));
            }
            // what was printed
            "" | "!" | "=" => {}
            at if at.starts_with('@') => {
                let handle = at[1..].to_string();
                let (name, steward) = match rest.strip_suffix(", steward") {
                    Some(name) => (name, true),
                    None => (rest, false),
                };
                let name = Some(name.to_string()).filter(|n| !n.is_empty());
                steps.push(Step::Persona { handle, name, steward });
            }
            _ => panic!("a line that is no step: {line}"),
        }
    }
    steps
}

fn typed(shown: String) -> Typed {
    let joined = shown.trim_start_matches("$ ").replace(" \\\n", " ");
    let mut parts = joined.split(" | ");
    let line = parts.next().unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ");
    let filters = parts
        .map(|part| match part.trim().split_once(' ') {
            Some(("head", count)) => Filter::Head(count.parse().expect("a count")),
            Some(("without", text)) => Filter::Without(text.into()),
            Some(("until", text)) => Filter::Until(text.into()),
            Some(("items", from)) => Filter::Items(from.into()),
            None if part.trim() == "items" => Filter::Items(String::new()),
            None if part.trim() == "sorted" => Filter::Sorted,
            None if part.trim() == "unfolded" => Filter::Unfolded,
            _ => panic!("no filter: {part}"),
        })
        .collect();
    Typed { shown, line, filters, captures: Vec::new() }
}

/// A line as a shell splits it.
pub fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let (mut word, mut quote) = (None::<String>, None::<char>);
    for c in line.chars() {
        match (quote, c) {
            (Some(q), c) if c == q => quote = None,
            (None, '"' | '\'') => {
                quote = Some(c);
                word.get_or_insert_default();
            }
            (None, ' ') => words.extend(word.take()),
            _ => word.get_or_insert_default().push(c),
        }
    }
    assert!(quote.is_none(), "a quote is left open: {line}");
    words.extend(word);
    words
}
