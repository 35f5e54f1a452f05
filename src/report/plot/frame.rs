//! What all plots have around their curves: title, legend, axes.

use super::span::Span;
use super::{HEIGHT, Plot, WIDTH};
use crate::report::face::{self, Weight};
use crate::report::svg::{Anchor, Drawing, Lettering, Stroke, label};
use crate::report::{look, number, words};

const LEFT: f64 = 27.0;
const RIGHT: f64 = WIDTH - 6.0;
const BOTTOM: f64 = HEIGHT - 23.0;
const SMALL: f64 = 6.4;
const LEGEND_LINE: f64 = 9.0;
const SWATCH: f64 = 13.0;

/// What stands on the frame of a plot.
pub struct Caption<'a> {
    pub title: &'static str,
    /// Unit of the axis that goes up.
    pub unit: &'a str,
    /// What the axis along is, with its unit.
    pub along: &'a str,
    /// What is to be seen, in words.
    pub description: String,
    /// Names of the curves with their strokes; shown where there is more than one.
    pub legend: Vec<(String, Stroke)>,
}

/// A plot whose curves are still to be drawn.
pub struct Frame {
    pub drawing: Drawing,
    x: Span,
    y: Span,
    top: f64,
    title: &'static str,
    description: String,
}

impl Frame {
    /// Draws title, legend and axes; `y_label` says what a tick on the axis that goes up is called.
    pub fn new(caption: Caption<'_>, x: Span, y: Span, y_label: impl Fn(f64) -> String) -> Self {
        let mut drawing = Drawing::new(WIDTH, HEIGHT, &format!("{}. {}", caption.title, caption.description));
        title(&mut drawing, caption.title, caption.unit);
        let top = legend(&mut drawing, &caption.legend);
        let mut frame = Self { drawing, x, y, top, title: caption.title, description: caption.description };
        frame.axes(caption.along, y_label);
        frame
    }

    /// Where a point of the curves lies on the drawing.
    pub fn place(&self, x: f64, y: f64) -> (f64, f64) {
        (LEFT + self.x.share(x) * (RIGHT - LEFT), BOTTOM - self.y.share(y) * (BOTTOM - self.top))
    }

    /// Points along a curve, placed.
    pub fn places(&self, points: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
        points.map(|(x, y)| self.place(x, y)).collect()
    }

    /// Writes beside a point, on whichever side there is room.
    pub fn note(&mut self, at: (f64, f64), text: &str) {
        let text = face::drawable(&words::visible_within(text, 60));
        let is_left = at.0 > (LEFT + RIGHT) / 2.0;
        let anchor = if is_left { Anchor::End } else { Anchor::Start };
        let lettering = Lettering { size: SMALL, weight: Weight::SemiBold, fill: look::INK, anchor };
        let y = if at.1 + 10.0 > BOTTOM { at.1 - 5.0 } else { at.1 + 9.0 };
        let x = at.0 + if is_left { -5.0 } else { 5.0 };
        let extent = face::width(&text, lettering.weight, lettering.size);
        let left = if is_left { x - extent } else { x };
        self.drawing.rectangle((left - 1.0, y - SMALL), (extent + 2.0, SMALL + 2.0), look::PAPER);
        self.drawing.text((x, y), &text, lettering);
    }

    /// The finished plot.
    pub fn finish(mut self) -> Plot {
        self.drawing.line((LEFT, BOTTOM), (RIGHT, BOTTOM), Stroke::solid(look::INK, 0.7));
        Plot { title: self.title, description: self.description, svg: self.drawing.finish() }
    }

    fn axes(&mut self, along: &str, y_label: impl Fn(f64) -> String) {
        for tick in self.y.ticks() {
            let (_, y) = self.place(self.x.from, tick);
            self.drawing.line((LEFT, y), (RIGHT, y), Stroke::solid(look::GRID, 0.6));
            self.drawing.text((LEFT - 4.0, y + 2.2), &y_label(tick), label(SMALL, Anchor::End));
        }
        for tick in self.x.ticks() {
            let (x, _) = self.place(tick, self.y.from);
            self.drawing.line((x, BOTTOM), (x, BOTTOM + 2.5), Stroke::solid(look::INK, 0.6));
            let anchor = if x > RIGHT - 8.0 { Anchor::End } else { Anchor::Middle };
            self.drawing.text((x, BOTTOM + 9.5), &number::plain(tick), label(SMALL, anchor));
        }
        self.drawing.text((RIGHT, BOTTOM + 19.0), along, label(SMALL, Anchor::End));
    }
}

/// The name of a curve, fit for a legend.
pub fn named(name: &str) -> String {
    face::fitted(&face::drawable(&words::visible_within(name, 80)), Weight::Regular, SMALL, 170.0)
}

fn title(drawing: &mut Drawing, title: &str, unit: &str) {
    let lettering = Lettering { size: 8.0, weight: Weight::SemiBold, fill: look::INK, anchor: Anchor::Start };
    drawing.text((0.0, 8.5), title, lettering);
    let after = face::width(title, Weight::SemiBold, 8.0) + 4.0;
    drawing.text((after, 8.5), unit, label(SMALL, Anchor::Start));
}

/// Draws the legend and returns where the curves' area begins.
fn legend(drawing: &mut Drawing, entries: &[(String, Stroke)]) -> f64 {
    let (mut x, mut y) = (0.0, 19.0);
    if entries.len() < 2 {
        return y - 1.0;
    }
    for (name, stroke) in entries {
        let extent = SWATCH + 3.0 + face::width(name, Weight::Regular, SMALL);
        if x > 0.0 && x + extent > RIGHT {
            (x, y) = (0.0, y + LEGEND_LINE);
        }
        drawing.line((x, y - 2.2), (x + SWATCH, y - 2.2), Stroke { width: stroke.width.max(1.1), ..*stroke });
        drawing.text((x + SWATCH + 3.0, y), name, label(SMALL, Anchor::Start));
        x += extent + 9.0;
    }
    y + 9.0
}
