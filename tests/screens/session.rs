//! The format of a session: who types what, and what the client prints.
//!
//! ```text
//! # a comment
//! % data.reference_catalogue=false       a setting of the server, before anything else
//! : sound = --symptoms no --pests no     from here on {sound} stands for these words
//! @odalind Odalind Marrack               a new person, who signs up and in; "…, steward" with a steward's code
//! @odalind                               a person who exists already
//! @visitor                               a person who is not signed in
//! < a line on standard input of the next command
//! $ scionary offer list --page-size 1 | head 3
//! > offer = ofr_*                        from here on {offer} is the printed text that matches the pattern
//!   a printed line, indented by two spaces
//! ! a line on standard error
//! = 4                                    the exit code, unless it is 0
//! ```
//!
//! `{day+20}` is the day in twenty days, `{odalind}` is the id of odalind's account, `{data}` is the folder of the
//! shipped data. `$ put FILE` writes its standard input to a file, `$ ls` lists the files that commands wrote.
//! `| head N` takes the first lines and then ends the command. `| without TEXT` removes lines. `| sorted`, and
//! `| items HEADING` for lists of several lines, are for output whose order differs between servers. `| unfolded` is for
//! calendars. `| until TEXT` runs the line again until TEXT appears. A long line continues after ` \`.

/// A typed line.
#[derive(Debug, Clone)]
pub struct Typed {
    /// The text in the file, with its line breaks.
    pub shown: String,
    /// The text in one line, without the filters.
    pub line: String,
    /// The filters of the output.
    pub filters: Vec<Filter>,
    /// The captures: name and pattern.
    pub captures: Vec<(String, String)>,
}

/// A filter of an output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Filter {
    /// Keep the first lines.
    Head(usize),
    /// Remove the lines that contain a text.
    Without(String),
    /// Sort the lines alphabetically, without duplicates.
    Sorted,
    /// Sort list items alphabetically, from a line with this text to the next empty line; everywhere if the text is
    /// empty.
    Items(String),
    /// Repeat the command until its output contains a text.
    Until(String),
    /// Join the folded lines of a calendar.
    Unfolded,
}

/// A step of a session.
#[derive(Debug, Clone)]
pub enum Step {
    /// A comment for readers.
    Comment(String),
    /// A setting of the server.
    Setting(String),
    /// A name for words.
    Words(String, String),
    /// The person who types from here on; with a name, a new person.
    Persona { handle: String, name: Option<String>, steward: bool },
    /// A line on standard input.
    Input(String),
    /// A command.
    Command(Typed),
}

/// Parses the steps of a session file and skips the recorded output.
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
            // Recorded output.
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

/// Splits a line into words as a shell does.
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
