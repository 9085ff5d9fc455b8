//! Printed PDF files: labels for tags, sheets for a swap day. All lengths are in millimetres.

mod label;
mod sheet;

use std::{io::Read as _, sync::LazyLock};

pub(crate) use label::{Label, Layout, labels};
pub(crate) use sheet::{Line, Section, sheet};

use flate2::read::GzDecoder;
use krilla::{
    Document,
    color::rgb,
    geom::{PathBuilder, Point, Rect, Size},
    num::NormalizedF32,
    page::PageSettings,
    paint::{Fill, Stroke},
    surface::Surface,
    text::{Font, TextDirection},
};

/// DejaVu Sans (its Bitstream Vera licence is next to the file): Latin, Greek, Cyrillic.
static FONT: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let packed: &[u8] = include_bytes!("../../data/DejaVuSans.ttf.gz");
    let mut font = Vec::new();
    // A font that does not unpack becomes empty, and parsing it fails later.
    if GzDecoder::new(packed).read_to_end(&mut font).is_err() {
        font.clear();
    }
    font
});

/// Points in a millimetre (ISO 32000-1: 72 to an inch).
const POINTS: f32 = 72.0 / 25.4;

/// Why a PDF could not be made.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(crate) struct PaperError(String);

fn failed(what: &str) -> PaperError {
    PaperError(what.to_string())
}

/// A PDF document under construction.
struct Paper {
    document: Document,
    font: Font,
    face: ttf_parser::Face<'static>,
}

impl Paper {
    fn new() -> Result<Self, PaperError> {
        let font = Font::new(FONT.clone().into(), 0).ok_or_else(|| failed("the font cannot be read"))?;
        let face = ttf_parser::Face::parse(&FONT, 0).map_err(|e| PaperError(e.to_string()))?;
        Ok(Self { document: Document::new(), font, face })
    }

    /// Adds a page of `size`, width and height in millimetres.
    fn page(
        &mut self,
        size: (f32, f32),
        draw: impl FnOnce(&mut Pen<'_, '_>) -> Result<(), PaperError>,
    ) -> Result<(), PaperError> {
        let settings = Size::from_wh(size.0 * POINTS, size.1 * POINTS)
            .map(PageSettings::new)
            .ok_or_else(|| failed("a page needs a width and a height"))?;
        let mut page = self.document.start_page_with(settings);
        let mut surface = page.surface();
        let done = draw(&mut Pen { surface: &mut surface, font: &self.font, face: &self.face });
        surface.finish();
        page.finish();
        done
    }

    fn finish(self) -> Result<Vec<u8>, PaperError> {
        self.document.finish().map_err(|e| PaperError(format!("the PDF cannot be written: {e:?}")))
    }
}

/// Draws on a page; the origin is the top left corner.
struct Pen<'a, 's> {
    surface: &'a mut Surface<'s>,
    font: &'a Font,
    face: &'a ttf_parser::Face<'static>,
}

impl Pen<'_, '_> {
    /// Returns the width of a text at a font size.
    fn width(&self, text: &str, size: f32) -> f32 {
        let units = f32::from(self.face.units_per_em());
        let advance = |c: char| {
            let glyph = self.face.glyph_index(c).unwrap_or_default();
            f32::from(self.face.glyph_hor_advance(glyph).unwrap_or(0))
        };
        text.chars().map(advance).sum::<f32>() / units * size
    }

    /// Draws one line of text with its baseline at `at`. Text wider than `most` is shrunk, to half the size at the
    /// least, and then cut.
    fn text(&mut self, at: (f32, f32), size: f32, most: f32, text: &str) {
        let wide = self.width(text, size);
        let size = if wide > most { (size * most / wide * 0.995).max(size * 0.5) } else { size };
        let mut text = text.to_string();
        if self.width(&text, size) > most {
            while !text.is_empty() && self.width(&format!("{text}…"), size) > most {
                text.pop();
            }
            text.push('…');
        }
        let point = Point::from_xy(at.0 * POINTS, at.1 * POINTS);
        self.black();
        self.surface.draw_text(point, self.font.clone(), size * POINTS, &text, false, TextDirection::Auto);
    }

    fn black(&mut self) {
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(Fill {
            paint: rgb::Color::new(0, 0, 0).into(),
            opacity: NormalizedF32::ONE,
            rule: krilla::paint::FillRule::default(),
        }));
    }

    /// Draws a filled rectangle.
    fn fill(&mut self, at: (f32, f32), size: (f32, f32)) {
        self.black();
        self.path(at, size);
    }

    /// Draws the outline of a rectangle, such as a box to tick.
    fn outline(&mut self, at: (f32, f32), size: (f32, f32)) {
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(Stroke { width: 0.2 * POINTS, ..Stroke::default() }));
        self.path(at, size);
    }

    fn path(&mut self, at: (f32, f32), size: (f32, f32)) {
        let rect = Rect::from_xywh(at.0 * POINTS, at.1 * POINTS, size.0 * POINTS, size.1 * POINTS);
        if let Some(rect) = rect {
            let mut path = PathBuilder::new();
            path.push_rect(rect);
            if let Some(path) = path.finish() {
                self.surface.draw_path(&path);
            }
        }
    }
}
