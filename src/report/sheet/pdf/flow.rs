//! Pages being filled from top to bottom.

use super::tree::{NodeId, Role, Tree};
use crate::report::face::{self, Weight};
use crate::report::look;

/// A4, pt.
pub const PAGE: (f64, f64) = (595.28, 841.89);
/// Left edge of the text.
pub const LEFT: f64 = 44.0;
/// Right edge of the text.
pub const RIGHT: f64 = PAGE.0 - 44.0;
/// Where text begins on the first page, below the mark of a simulated run.
const TOP_FIRST: f64 = 52.0;
/// Where it begins on the others, below the running head.
const TOP: f64 = 70.0;
/// Where it ends, above the foot.
const BOTTOM: f64 = PAGE.1 - 50.0;

/// How a text is set; `leading` is the distance of its lines.
#[derive(Debug, Clone, Copy)]
pub struct Type {
    pub size: f64,
    pub leading: f64,
    pub weight: Weight,
    pub colour: &'static str,
}

impl Type {
    /// Running text.
    pub const BODY: Self = Self { size: 8.4, leading: 11.2, weight: Weight::Regular, colour: look::INK };
    /// The same, strong.
    pub const STRONG: Self = Self { weight: Weight::SemiBold, ..Self::BODY };
    /// Notes and labels.
    pub const SMALL: Self = Self { size: 6.8, leading: 8.8, weight: Weight::Regular, colour: look::QUIET };
    /// Heading of a section.
    pub const SECTION: Self = Self { size: 11.0, leading: 14.0, weight: Weight::SemiBold, colour: look::INK };

    /// The same in another colour.
    pub const fn coloured(self, colour: &'static str) -> Self {
        Self { colour, ..self }
    }

    /// The text in lines no wider than `room`, made drawable.
    pub fn wrap(self, text: &str, room: f64) -> Vec<String> {
        face::wrap(&face::drawable(text), self.weight, self.size, room)
    }
}

/// Something to be printed.
#[derive(Debug)]
pub enum Ink {
    Text {
        at: (f64, f64),
        text: String,
        kind: Type,
    },
    /// A filled rectangle: left, top, width, height.
    Box {
        frame: (f64, f64, f64, f64),
        colour: &'static str,
    },
    /// An SVG, with its frame.
    Drawing {
        frame: (f64, f64, f64, f64),
        svg: String,
    },
}

/// Ink with the node that it belongs to; decoration belongs to none.
#[derive(Debug)]
pub struct Piece {
    pub node: Option<NodeId>,
    pub ink: Ink,
}

/// Where a section's heading stands, for the outline.
#[derive(Debug)]
pub struct Landmark {
    pub text: String,
    pub page: usize,
    pub y: f64,
}

/// The pages.
#[derive(Debug)]
pub struct Flow {
    pub pages: Vec<Vec<Piece>>,
    pub tree: Tree,
    pub landmarks: Vec<Landmark>,
    /// The upper edge of what comes next.
    pub y: f64,
}

impl Flow {
    /// One empty page.
    pub fn new() -> Self {
        Self { pages: vec![Vec::new()], tree: Tree::default(), landmarks: Vec::new(), y: TOP_FIRST }
    }

    /// Whether so much still fits on the page.
    pub fn fits(&self, height: f64) -> bool {
        self.y + height <= BOTTOM
    }

    /// Starts a new page unless so much still fits; whether it did start one.
    pub fn need(&mut self, height: f64) -> bool {
        let is_full = !self.fits(height);
        if is_full {
            self.pages.push(Vec::new());
            self.y = TOP;
        }
        is_full
    }

    /// Leaves room, except at the top of a page.
    pub fn gap(&mut self, height: f64) {
        if self.y > TOP {
            self.y += height;
        }
    }

    /// Prints on the present page.
    pub fn put(&mut self, node: Option<NodeId>, ink: Ink) {
        self.pages.last_mut().expect("there is always a page").push(Piece { node, ink });
    }

    /// Prints a line whose upper edge is `top`.
    pub fn text(&mut self, node: Option<NodeId>, (left, top): (f64, f64), text: &str, kind: Type) {
        if !text.is_empty() {
            let baseline = top + (kind.leading - kind.size) / 2.0 + 0.86 * kind.size;
            self.put(node, Ink::Text { at: (left, baseline), text: text.to_owned(), kind });
        }
    }

    /// Prints lines below each other from `top` on, on one page; returns the lower edge.
    pub fn lines(&mut self, node: Option<NodeId>, (left, top): (f64, f64), lines: &[String], kind: Type) -> f64 {
        for (index, line) in lines.iter().enumerate() {
            self.text(node, (left, top + index as f64 * kind.leading), line, kind);
        }
        top + lines.len() as f64 * kind.leading
    }

    /// A filled rectangle without meaning.
    pub fn fill(&mut self, frame: (f64, f64, f64, f64), colour: &'static str) {
        self.put(None, Ink::Box { frame, colour });
    }

    /// A horizontal hairline at the cursor.
    pub fn rule(&mut self, colour: &'static str, thickness: f64) {
        self.fill((LEFT, self.y, RIGHT - LEFT, thickness), colour);
    }

    /// Running text over the whole width, over as many pages as it takes.
    pub fn paragraph(&mut self, text: &str, kind: Type) {
        let node = self.tree.add(None, Role::Paragraph);
        for line in kind.wrap(text, RIGHT - LEFT) {
            self.need(kind.leading);
            self.text(Some(node), (LEFT, self.y), &line, kind);
            self.y += kind.leading;
        }
    }

    /// A section's heading, which never stands alone: `follows` is the height of what must stay with it.
    pub fn section(&mut self, text: &'static str, follows: f64) {
        self.gap(14.0);
        self.need(Type::SECTION.leading + 4.0 + follows);
        let node = self.tree.add(None, Role::Heading { level: 2, text: text.into() });
        self.landmarks.push(Landmark { text: text.into(), page: self.pages.len() - 1, y: self.y });
        self.text(Some(node), (LEFT, self.y), text, Type::SECTION);
        self.y += Type::SECTION.leading + 4.0;
    }
}
