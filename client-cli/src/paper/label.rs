//! Labels for tags: several on a sheet, or one to a page. Sizes are in millimetres.

use qrcode::{Color, EcLevel, QrCode};

use super::{Paper, PaperError, Pen, failed};

/// The text of one label.
#[derive(Clone, Debug, Default)]
pub(crate) struct Label {
    /// The cultivar's name: the largest line.
    pub(crate) name: String,
    /// The code on the tag.
    pub(crate) code: String,
    /// What the lot is, and its day.
    pub(crate) what: String,
    /// Where the lot came from.
    pub(crate) source: String,
    /// The content of the QR code.
    pub(crate) scanned: String,
}

/// How labels lie on the paper, in millimetres.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Layout {
    /// The width and height of a label.
    pub(crate) label: (f32, f32),
    /// The width and height of the paper; `None` prints one label to a page.
    pub(crate) paper: Option<(f32, f32)>,
    /// The gaps between labels, across and down.
    pub(crate) gap: (f32, f32),
    /// Labels already used on the first sheet.
    pub(crate) skip: usize,
}

/// Light modules around a QR code (ISO/IEC 18004: four).
const QUIET: usize = 4;
/// The largest share of a label's width for its QR code.
const CODE_SHARE: f32 = 0.42;

/// Renders labels as a PDF.
pub(crate) fn labels(all: &[Label], layout: Layout) -> Result<Vec<u8>, PaperError> {
    let (width, height) = layout.label;
    let paper = layout.paper.unwrap_or(layout.label);
    let fit = |paper: f32, label: f32, gap: f32| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few labels")]
        let count = ((paper + gap + 0.01) / (label + gap)).floor().max(0.0) as usize;
        count
    };
    let (across, down) = (fit(paper.0, width, layout.gap.0), fit(paper.1, height, layout.gap.1));
    if across == 0 || down == 0 {
        return Err(failed("a label is larger than the paper"));
    }
    let each = across * down;
    let used = |count: usize, size: f32, gap: f32| {
        #[expect(clippy::cast_precision_loss, reason = "a few labels")]
        let count = count as f32;
        count * size + (count - 1.0) * gap
    };
    // The margins share the space that is left over.
    let margin = (
        (paper.0 - used(across, width, layout.gap.0)) / 2.0,
        (paper.1 - used(down, height, layout.gap.1)) / 2.0,
    );
    let mut out = Paper::new()?;
    let places: Vec<Option<&Label>> =
        std::iter::repeat_n(None, layout.skip % each).chain(all.iter().map(Some)).collect();
    for page in places.chunks(each) {
        out.page(paper, |pen| {
            for (at, label) in page.iter().enumerate() {
                if let Some(label) = label {
                    let (column, row) = (
                        used(at % across + 1, width, layout.gap.0),
                        used(at / across + 1, height, layout.gap.1),
                    );
                    let corner = (margin.0 + column - width, margin.1 + row - height);
                    draw(pen, label, corner, layout.label)?;
                }
            }
            Ok(())
        })?;
    }
    out.finish()
}

fn draw(
    pen: &mut Pen<'_, '_>,
    label: &Label,
    (left, top): (f32, f32),
    (width, height): (f32, f32),
) -> Result<(), PaperError> {
    let pad = (height * 0.07).clamp(1.0, 4.0);
    let square = (height - 2.0 * pad).min(width * CODE_SHARE);
    let code_left = left + width - pad - square;
    qr(pen, &label.scanned, (code_left, top + (height - square) / 2.0), square)?;
    let room = code_left - left - 1.5 * pad;
    // The name and the code are read at arm's length, the rest with the label in the hand.
    let lines = [(&label.name, 0.20), (&label.code, 0.20), (&label.what, 0.115), (&label.source, 0.115)];
    let mut base = top + pad;
    for (text, share) in lines {
        let size = (height * share).min(9.0);
        base += size * 1.12;
        if !text.is_empty() {
            pen.text((left + pad, base - size * 0.12), size, room, text);
        }
        base += size * 0.12;
    }
    Ok(())
}

fn qr(pen: &mut Pen<'_, '_>, text: &str, at: (f32, f32), size: f32) -> Result<(), PaperError> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M)
        .map_err(|e| PaperError(format!("no QR code for {text:?}: {e}")))?;
    let width = code.width();
    #[expect(clippy::cast_precision_loss, reason = "less than 200 modules")]
    let module = size / (width + 2 * QUIET) as f32;
    for (index, color) in code.to_colors().iter().enumerate() {
        if *color == Color::Dark {
            #[expect(clippy::cast_precision_loss, reason = "less than 200 modules")]
            let place = |n: usize| (n + QUIET) as f32 * module;
            let (x, y) = (place(index % width), place(index / width));
            // Slightly larger, so that no light line shows between neighbouring modules.
            pen.fill((at.0 + x, at.1 + y), (module * 1.02, module * 1.02));
        }
    }
    Ok(())
}
