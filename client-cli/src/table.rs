//! Spreadsheets: CSV files (RFC 4180) that are read and written.

use std::path::Path;

use crate::error::Failure;

/// Rows of a file with their lines, by the names of their columns.
pub(crate) struct Rows<'a> {
    head: Vec<String>,
    file: &'a Path,
    /// Line and cells of each row that is not empty.
    pub(crate) rows: Vec<(u64, Vec<String>)>,
}

impl<'a> Rows<'a> {
    /// Reads a file whose first line names its columns.
    ///
    /// # Errors
    /// Returns a [`Failure`] that names the columns if one of `needed` is missing, or if there is no row.
    pub(crate) fn read(file: &'a Path, columns: &[&str], needed: &[&str]) -> Result<Self, Failure> {
        let failed = |e: String| Failure::usage(format!("{}: {e}", file.display()));
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .flexible(true)
            .from_path(file)
            .map_err(|e| failed(e.to_string()))?;
        let head: Vec<String> = reader
            .headers()
            .map_err(|e| failed(e.to_string()))?
            .iter()
            .map(|column| column.trim_start_matches('\u{feff}').to_lowercase())
            .collect();
        let told = || format!("the first line names the columns: {}", columns.join(","));
        if let Some(missing) = needed.iter().find(|column| !head.iter().any(|found| found == *column)) {
            return Err(failed(format!("the column {missing} is missing")).then(told()));
        }
        let unknown: Vec<&str> =
            head.iter().map(String::as_str).filter(|c| !c.is_empty() && !columns.contains(c)).collect();
        if !unknown.is_empty() {
            return Err(failed(format!("the column {} is not known", unknown.join(", "))).then(told()));
        }
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| failed(e.to_string()))?;
            let line = record.position().map_or(0, csv::Position::line);
            if record.iter().any(|cell| !cell.is_empty()) {
                rows.push((line, record.iter().map(str::to_string).collect()));
            }
        }
        if rows.is_empty() {
            return Err(failed("no line below the first".into()));
        }
        Ok(Self { head, file, rows })
    }

    /// Returns a cell of a row; empty where the column is missing.
    pub(crate) fn cell<'b>(&self, row: &'b [String], column: &str) -> &'b str {
        let at = self.head.iter().position(|found| found == column);
        at.and_then(|at| row.get(at)).map_or("", String::as_str)
    }

    /// Returns the failure that lists all wrong lines, if there is one. `undone` says that nothing was done.
    pub(crate) fn wrong(&self, wrong: Vec<(String, String)>, undone: &str) -> Result<(), Failure> {
        let failed = |e: String| Failure::usage(format!("{}: {e}", self.file.display()));
        match wrong.as_slice() {
            [] => Ok(()),
            [(line, expected)] => Err(failed(format!("{line}: {expected}; {undone}"))),
            several => {
                let mut failure = failed(format!("{} lines are wrong; {undone}", several.len()));
                failure.fields = wrong;
                Err(failure)
            }
        }
    }
}

/// A cell that no spreadsheet takes for a formula: others wrote the names in it.
fn plain(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{cell}") } else { cell.to_string() }
}

/// Writes a file of rows.
///
/// # Errors
/// Returns a [`Failure`] if it cannot be written.
pub(crate) fn write(
    path: &Path,
    head: &[&str],
    rows: impl IntoIterator<Item = Vec<String>>,
) -> Result<usize, Failure> {
    let failed = |e: String| Failure::usage(format!("{}: {e}", path.display()));
    let mut file = csv::Writer::from_path(path).map_err(|e| failed(e.to_string()))?;
    file.write_record(head).map_err(|e| failed(e.to_string()))?;
    let mut count = 0;
    for row in rows {
        file.write_record(row.iter().map(|cell| plain(cell))).map_err(|e| failed(e.to_string()))?;
        count += 1;
    }
    file.flush().map_err(|e| failed(e.to_string()))?;
    Ok(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_no_formula() {
        assert_eq!(plain("=HYPERLINK(\"x\")"), "'=HYPERLINK(\"x\")");
        assert_eq!(plain("Ada Quill"), "Ada Quill");
    }
}
