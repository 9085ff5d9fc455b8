//! Imports a CSV file of evidence: sends rows in batches, shows progress, reports errors by line.

use std::{collections::BTreeMap, path::Path};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use scionary_proto::v1::{self, observed_thing::Thing};
use scionary_show::View;

use super::observed::number_and_unit;
use crate::{client::Client, error::Failure, output::Output, words};

/// The columns. `cultivar` is required, and `crop` with a name; the others may be empty or missing.
const COLUMNS: [&str; 32] = [
    "crop",
    "cultivar",
    "day",
    "tree",
    "area",
    "grid",
    "place",
    "method",
    "published",
    "citation",
    "named_as",
    "note",
    "sown",
    "sprouted",
    "one",
    "two",
    "more",
    "several",
    "judged",
    "off_type",
    "which",
    "descriptor",
    "measure",
    "sample",
    "rating",
    "state",
    "text",
    "counted",
    "of_these",
    "first_ripe",
    "last_ripe",
    "unit",
];

/// Rows in one message, few enough to stay below the server's limit even with long notes.
const ROWS_AT_ONCE: usize = 50;

/// Prints the columns with an example.
pub(super) fn template(output: &Output) {
    let mut view = output.view();
    view.drawn(COLUMNS.join(","));
    let example = |cells: &[(&str, &str)]| {
        let of: BTreeMap<&str, &str> = cells.iter().copied().collect();
        let row: Vec<&str> = COLUMNS.iter().map(|c| of.get(c).copied().unwrap_or("")).collect();
        row.join(",")
    };
    view.drawn(example(&[
        ("crop", "mango"),
        ("cultivar", "NAME ON FILE"),
        ("day", "2026-03-31"),
        ("tree", "by the gate"),
        ("sown", "40"),
        ("one", "3"),
        ("two", "10"),
        ("more", "23"),
        ("judged", "30"),
        ("off_type", "2"),
        ("which", "as-they-came"),
    ]));
    view.drawn(example(&[
        ("crop", "mango"),
        ("cultivar", "NAME ON FILE"),
        ("day", "2026-07-04"),
        ("descriptor", "fruit_mass"),
        ("measure", "350g"),
        ("sample", "6"),
    ]));
    output.show(view);
    output.aside(
        "One row is one visit or one publication. Columns may stand in any order and be left out: sown to several are seeds of a sowing, judged, off_type and which are seedlings, descriptor goes with measure, rating, state, text, or counted and of_these. Put a cultivar of yours for NAME ON FILE.",
    );
}

/// A row's cells, addressed by the file's own headings.
struct Row<'a> {
    headers: &'a csv::StringRecord,
    cells: &'a csv::StringRecord,
}

impl Row<'_> {
    fn text(&self, column: &str) -> &str {
        self.headers
            .iter()
            .position(|h| h == column)
            .and_then(|at| self.cells.get(at))
            .unwrap_or_default()
            .trim()
    }
    fn parsed<T>(&self, column: &str, read: impl Fn(&str) -> Result<T, String>) -> Result<Option<T>, String> {
        match self.text(column) {
            "" => Ok(None),
            text => read(text).map(Some).map_err(|e| format!("{column}: {e}")),
        }
    }
    fn number(&self, column: &str) -> Result<Option<i32>, String> {
        self.parsed(column, |t| t.parse().map_err(|_| format!("a whole number expected, {t:?} found")))
    }
}

fn observed(row: &Row<'_>) -> Result<Vec<v1::ObservedThing>, String> {
    let mut all = Vec::new();
    let mut push = |thing: Thing| all.push(v1::ObservedThing { thing: Some(thing) });
    let sowing = v1::SowingTally {
        sown: row.number("sown")?,
        sprouted: row.number("sprouted")?,
        one: row.number("one")?,
        two: row.number("two")?,
        more: row.number("more")?,
        several: row.number("several")?,
    };
    if sowing != v1::SowingTally::default() {
        push(Thing::Sowing(sowing));
    }
    if let Some(judged) = row.number("judged")? {
        let which = row.parsed("which", words::parse_judged)?.unwrap_or(v1::JudgedSeedlings::AsTheyCame);
        let off_type = row.number("off_type")?.ok_or("off_type: a count expected beside judged")?;
        push(Thing::Seedlings(v1::SeedlingTally { which: which.into(), judged, off_type }));
    }
    let (first_ripe, last_ripe) =
        (row.parsed("first_ripe", words::parse_day)?, row.parsed("last_ripe", words::parse_day)?);
    if first_ripe.is_some() || last_ripe.is_some() {
        push(Thing::Sighting(v1::Sighting { descriptor_key: String::new(), first_ripe, last_ripe }));
    }
    let descriptor_key = row.text("descriptor").to_string();
    if let Some((value, own)) = row.parsed("measure", number_and_unit)? {
        let unit = if own.is_empty() { row.text("unit").to_string() } else { own };
        let sample = row.number("sample")?.unwrap_or(0);
        push(Thing::Measure(v1::Measure { descriptor_key: descriptor_key.clone(), value, unit, sample }));
    }
    if !row.text("rating").is_empty() {
        let state = row.text("rating").to_string();
        push(Thing::Rating(v1::Rating { descriptor_key: descriptor_key.clone(), state }));
    }
    let (state, text) = (row.text("state").to_string(), row.text("text").to_string());
    if !state.is_empty() || !text.is_empty() {
        push(Thing::Statement(v1::Statement { descriptor_key: descriptor_key.clone(), state, text }));
    }
    if let Some(counted) = row.number("counted")? {
        let of_these = row.number("of_these")?.ok_or("of_these: a count expected beside counted")?;
        push(Thing::Count(v1::Count { descriptor_key, counted, of_these }));
    }
    Ok(all)
}

fn import_row(line: u64, row: &Row<'_>) -> Result<v1::ImportRow, String> {
    let published = match row.text("published").to_lowercase().as_str() {
        "" | "no" | "false" | "0" => false,
        "yes" | "true" | "1" => true,
        other => return Err(format!("published: yes or no expected, {other:?} found")),
    };
    let place = v1::Place {
        area_code: row.text("area").to_string(),
        grid_code: row.parsed("grid", words::parse_grid)?.unwrap_or_default(),
        label: row.text("place").to_string(),
    };
    Ok(v1::ImportRow {
        line: i32::try_from(line).unwrap_or(i32::MAX),
        cultivar: row.text("cultivar").to_string(),
        crop: row.text("crop").to_lowercase(),
        draft: Some(v1::EvidenceDraft {
            observed: observed(row)?,
            day: row.parsed("day", words::parse_day)?,
            place: (place != v1::Place::default()).then_some(place),
            tree: row.text("tree").to_string(),
            method: row
                .parsed("method", words::parse_method)?
                .unwrap_or(v1::ObservationMethod::Unspecified)
                .into(),
            published,
            citation: row.text("citation").to_string(),
            named_as: row.text("named_as").to_string(),
            note: row.text("note").to_string(),
        }),
    })
}

/// Rows that cannot be parsed: the line of each, and why.
type Wrong = Vec<(u64, String)>;

/// Reads the file. Returns its rows, and the rows that cannot be parsed.
fn read(file: &Path) -> Result<(Vec<v1::ImportRow>, Wrong), Failure> {
    let failed = |e: String| Failure::usage(format!("{}: {e}", file.display()));
    let text = std::fs::read(file).map_err(|e| failed(e.to_string()))?;
    // Spreadsheets in many countries write semicolons.
    let first = text.split(|b| *b == b'\n').next().unwrap_or_default();
    let semicolons = first.contains(&b';') && !first.contains(&b',');
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .delimiter(if semicolons { b';' } else { b',' })
        .from_reader(text.as_slice());
    let headers = reader.headers().map_err(|e| failed(e.to_string()))?.clone();
    let strange: Vec<&str> = headers.iter().filter(|h| !COLUMNS.contains(h)).collect();
    if !strange.is_empty() {
        return Err(failed(format!("no column {}", strange.join(", ")))
            .then("print the columns with: scionary evidence template"));
    }
    if !headers.iter().any(|h| h == "cultivar") {
        return Err(failed("a column cultivar expected in the first line".into())
            .then("print the columns with: scionary evidence template"));
    }
    let (mut rows, mut wrong) = (Vec::new(), Vec::new());
    let mut cells = csv::StringRecord::new();
    loop {
        match reader.read_record(&mut cells) {
            Ok(true) => {
                let line = cells.position().map_or(0, csv::Position::line);
                match import_row(line, &Row { headers: &headers, cells: &cells }) {
                    Ok(row) => rows.push(row),
                    Err(expected) => wrong.push((line, expected)),
                }
            }
            Ok(false) => return Ok((rows, wrong)),
            Err(error) => return Err(failed(error.to_string())),
        }
    }
}

fn bar(output: &Output, rows: usize) -> ProgressBar {
    // The bar is for a person; it hides itself if standard error is not a terminal.
    let target = if output.is_json() { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
    let bar = ProgressBar::with_draw_target(Some(u64::try_from(rows).unwrap_or(0)), target);
    if let Ok(style) = ProgressStyle::with_template("{msg:8} {bar:30} {pos}/{len} rows, {elapsed}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}

/// Imports a file.
pub(super) async fn import(
    client: &Client,
    output: &Output,
    file: &Path,
    mode: v1::ImportMode,
) -> Result<(), Failure> {
    client.need_session()?;
    let (rows, wrong) = read(file)?;
    // A row that cannot be parsed stops an all-or-nothing import before it writes anything.
    let mode =
        if wrong.is_empty() || mode == v1::ImportMode::KeepGood { mode } else { v1::ImportMode::DryRun };
    let count = rows.len();
    let mut done = v1::ImportEvidenceResponse::default();
    if count > 0 {
        let parts: Vec<v1::ImportEvidenceRequest> = rows
            .chunks(ROWS_AT_ONCE)
            .map(|rows| v1::ImportEvidenceRequest { mode: mode.into(), rows: rows.to_vec() })
            .collect();
        let mut replies = client.both(parts).await?;
        let bar = bar(output, count);
        while let Some(reply) = client.next(&mut replies).await? {
            if reply.done {
                done = reply;
                continue;
            }
            let (word, at) =
                if reply.written > 0 { ("writing", reply.written) } else { ("checking", reply.checked) };
            bar.set_message(word);
            bar.set_position(u64::try_from(at).unwrap_or(0));
        }
        bar.finish_and_clear();
    }
    for (line, expected) in &wrong {
        done.errors.push(v1::ImportRowError {
            line: i32::try_from(*line).unwrap_or(i32::MAX),
            field: String::new(),
            expected: expected.clone(),
        });
    }
    done.errors.sort_by_key(|e| e.line);
    let unread = i32::try_from(wrong.len()).unwrap_or(i32::MAX);
    done.rows += unread;
    done.wrong += unread;
    output.reply(&done, |view| show(view, &done, mode))?;
    if done.wrong > 0 {
        let failure = Failure::usage(format!("{} of {} rows are wrong", done.wrong, done.rows));
        return Err(if done.written > 0 {
            failure.then("the good rows are written; correct the others and import the file again: what is there already is passed over")
        } else {
            failure.then("nothing is written; correct them, or write the good rows with --keep-good")
        });
    }
    Ok(())
}

fn show(view: &mut View, done: &v1::ImportEvidenceResponse, mode: v1::ImportMode) {
    for error in &done.errors {
        let field = crate::output::plain_field(&error.field);
        let what = if error.field.is_empty() {
            error.expected.clone()
        } else {
            format!("{field}: {}", error.expected)
        };
        view.item(0, &format!("line {}:", error.line), &what);
    }
    let told = i32::try_from(done.errors.len()).unwrap_or(i32::MAX);
    if done.wrong > told {
        view.line(format!("… and more: {} rows are wrong in all", done.wrong));
    }
    view.fact("rows", done.rows.to_string());
    view.fact("new and good", done.good.to_string());
    if done.already > 0 {
        view.fact("there already", done.already.to_string());
    }
    if done.wrong > 0 {
        view.fact("wrong", done.wrong.to_string());
    }
    view.fact("written", done.written.to_string());
    if mode == v1::ImportMode::DryRun && done.wrong == 0 {
        view.note("This was a dry run. Import the file with the same command without --dry-run.");
    }
}
