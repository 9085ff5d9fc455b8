//! Sheets for a swap day: lists with boxes to tick, by table or by person.

use super::{Paper, PaperError};

/// ISO 216 A4.
const PAGE: (f32, f32) = (210.0, 297.0);
const MARGIN: f32 = 15.0;
/// Font size for a reader who stands in front of a table.
const TEXT: f32 = 4.2;
const LINE: f32 = 8.5;

/// A list under a heading.
#[derive(Clone, Debug, Default)]
pub(crate) struct Section {
    /// The heading, such as a person's name and table.
    pub(crate) heading: String,
    /// The lines under the heading.
    pub(crate) lines: Vec<Line>,
}

/// A line with a box to tick.
#[derive(Clone, Debug, Default)]
pub(crate) struct Line {
    /// What changes hands: amount, cultivar and material.
    pub(crate) what: String,
    /// From whom or to whom it goes.
    pub(crate) who: String,
    /// A code, or a note.
    pub(crate) code: String,
}

/// Renders parts under their titles as a PDF; each part starts on a new page.
pub(crate) fn sheet(parts: &[(String, Vec<Section>)]) -> Result<Vec<u8>, PaperError> {
    let mut out = Paper::new()?;
    for (title, sections) in parts {
        // A heading moves to the next page unless its first line fits under it.
        let mut pages: Vec<Vec<Row<'_>>> = vec![Vec::new()];
        let mut used = MARGIN + 14.0;
        for section in sections {
            let rows =
                std::iter::once(Row::Heading(&section.heading)).chain(section.lines.iter().map(Row::Line));
            for (at, row) in rows.enumerate() {
                let needs = if at == 0 { 2.6 * LINE } else { LINE };
                if used + needs > PAGE.1 - MARGIN {
                    pages.push(Vec::new());
                    used = MARGIN + 14.0;
                    if at > 0
                        && let Some(page) = pages.last_mut()
                    {
                        page.push(Row::Continued(&section.heading));
                        used += 1.5 * LINE;
                    }
                }
                used += if at == 0 { 1.5 * LINE } else { LINE };
                if let Some(page) = pages.last_mut() {
                    page.push(row);
                }
            }
        }
        let count = pages.len();
        for (at, rows) in pages.iter().enumerate() {
            out.page(PAGE, |pen| {
                let room = PAGE.0 - 2.0 * MARGIN;
                pen.text((MARGIN, MARGIN + 6.0), 6.5, room - 25.0, title);
                pen.text(
                    (PAGE.0 - MARGIN - 22.0, MARGIN + 6.0),
                    3.5,
                    22.0,
                    &format!("page {} of {count}", at + 1),
                );
                let mut y = MARGIN + 14.0;
                for row in rows {
                    match row {
                        Row::Heading(heading) => {
                            y += 1.5 * LINE;
                            pen.text((MARGIN, y - 0.35 * LINE), 5.2, room, heading);
                        }
                        Row::Continued(heading) => {
                            y += 1.5 * LINE;
                            let heading = format!("{heading} (continued)");
                            pen.text((MARGIN, y - 0.35 * LINE), 5.2, room, &heading);
                        }
                        Row::Line(line) => {
                            y += LINE;
                            pen.outline((MARGIN, y - LINE * 0.68), (4.6, 4.6));
                            pen.text((MARGIN + 8.0, y - LINE * 0.25), TEXT, 82.0, &line.what);
                            pen.text((MARGIN + 93.0, y - LINE * 0.25), TEXT, 50.0, &line.who);
                            pen.text((MARGIN + 146.0, y - LINE * 0.25), TEXT, 34.0, &line.code);
                        }
                    }
                }
                Ok(())
            })?;
        }
    }
    out.finish()
}

enum Row<'a> {
    Heading(&'a str),
    /// The heading of a list that began on the page before.
    Continued(&'a str),
    Line(&'a Line),
}
