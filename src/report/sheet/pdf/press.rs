//! Prints laid-out pages with krilla.

use super::flow::{Flow, Ink, Landmark, PAGE, Piece, Type};
use crate::report::face::Weight;
use crate::report::sheet::Sheet;
use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla::text::{Font, TextDirection};
use krilla_svg::{SurfaceExt, SvgSettings};
use std::sync::{Arc, LazyLock};
use usvg::fontdb::Database;

/// Prints all pages; the error is what krilla's own check found.
pub fn print(sheet: &Sheet, flow: Flow) -> Result<Vec<u8>, String> {
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| format!("{error:?}"))?;
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    document.set_metadata(metadata(sheet));
    document.set_outline(outline(&flow.landmarks));
    let Flow { pages, mut tree, .. } = flow;
    let press = Press::new()?;
    for pieces in &pages {
        let settings = PageSettings::from_wh(PAGE.0 as f32, PAGE.1 as f32).ok_or("a page without size")?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for Piece { node, ink } in pieces {
            let tag = match (node, ink) {
                (None, _) => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
                (Some(_), Ink::Text { .. }) => ContentTag::Span(SpanTag::empty()),
                (Some(_), _) => ContentTag::Other,
            };
            let content = surface.start_tagged(tag);
            let done = press.ink(&mut surface, ink);
            surface.end_tagged();
            done?;
            if let Some(node) = node {
                tree.hold(*node, content);
            }
        }
        surface.finish();
        page.finish();
    }
    document.set_tag_tree(tree.finish());
    document.finish().map_err(|error| error.to_string())
}

struct Press {
    fonts: [Font; 2],
    options: usvg::Options<'static>,
}

impl Press {
    fn new() -> Result<Self, String> {
        static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
            let mut database = Database::new();
            for weight in [Weight::Regular, Weight::SemiBold] {
                database.load_font_data(weight.file().to_vec());
            }
            Arc::new(database)
        });
        let font = |weight: Weight| Font::new(weight.file().into(), 0).ok_or("a built-in font cannot be read");
        let options =
            usvg::Options { fontdb: Arc::clone(&FONTS), font_family: "Inter".into(), ..usvg::Options::default() };
        Ok(Self { fonts: [font(Weight::Regular)?, font(Weight::SemiBold)?], options })
    }

    fn ink(&self, surface: &mut Surface<'_>, ink: &Ink) -> Result<(), String> {
        match ink {
            Ink::Text { at, text, kind } => self.text(surface, *at, text, *kind),
            Ink::Box { frame, colour } => fill(surface, *frame, colour),
            Ink::Drawing { frame, svg } => self.drawing(surface, *frame, svg)?,
        }
        Ok(())
    }

    fn text(&self, surface: &mut Surface<'_>, at: (f64, f64), text: &str, kind: Type) {
        surface.set_fill(Some(paint(kind.colour)));
        let font = self.fonts[kind.weight as usize].clone();
        let at = Point::from_xy(at.0 as f32, at.1 as f32);
        surface.draw_text(at, font, kind.size as f32, text, false, TextDirection::LeftToRight);
    }

    fn drawing(&self, surface: &mut Surface<'_>, frame: (f64, f64, f64, f64), svg: &str) -> Result<(), String> {
        let tree = usvg::Tree::from_str(svg, &self.options).map_err(|error| format!("a drawing: {error}"))?;
        let size = Size::from_wh(frame.2 as f32, frame.3 as f32).ok_or("a drawing without size")?;
        surface.push_transform(&Transform::from_translate(frame.0 as f32, frame.1 as f32));
        let drawn = surface.draw_svg(&tree, size, SvgSettings::default());
        surface.pop();
        drawn.ok_or_else(|| "a drawing that cannot be drawn".into())
    }
}

fn fill(surface: &mut Surface<'_>, (left, top, width, height): (f64, f64, f64, f64), colour: &str) {
    let Some(frame) = Rect::from_xywh(left as f32, top as f32, width as f32, height as f32) else { return };
    let mut path = PathBuilder::new();
    path.push_rect(frame);
    if let Some(path) = path.finish() {
        surface.set_fill(Some(paint(colour)));
        surface.draw_path(&path);
    }
}

/// A colour written `#rrggbb`.
fn paint(colour: &str) -> Fill {
    let part = |at: usize| colour.get(at..at + 2).and_then(|digits| u8::from_str_radix(digits, 16).ok()).unwrap_or(0);
    Fill { paint: rgb::Color::new(part(1), part(3), part(5)).into(), ..Fill::default() }
}

fn metadata(sheet: &Sheet) -> Metadata {
    let made = sheet.ended.map_or(DateTime::new(1970), |ended| {
        DateTime::new(u16::try_from(ended.year()).unwrap_or(0))
            .month(ended.month().into())
            .day(ended.day())
            .hour(ended.hour())
            .minute(ended.minute())
            .second(ended.second())
            .utc_offset_hour(0)
    });
    Metadata::new()
        .title(format!("{}: {}, {}", sheet.title, sheet.model, sheet.serial))
        .authors(vec![sheet.maker.clone()])
        .creator("railproof".into())
        .language("en".into())
        .document_id(format!("{} {}", sheet.run_id, sheet.digest))
        .creation_date(made)
}

fn outline(landmarks: &[Landmark]) -> Outline {
    let mut outline = Outline::new();
    for landmark in landmarks {
        let place = XyzDestination::new(landmark.page, Point::from_xy(0.0, landmark.y as f32 - 6.0));
        outline.push_child(OutlineNode::new(landmark.text.clone(), place));
    }
    outline
}
