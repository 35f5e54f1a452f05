//! A small writer of SVG: the same string goes inline into HTML and, as vectors with real text, into PDF.
//!
//! Only presentation attributes, so that neither a style sheet nor a script is needed to show it.

use super::face::Weight;
use super::look;
use std::fmt::Write;

/// Where a text's `x` is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub struct Lettering {
    pub size: f64,
    pub weight: Weight,
    pub fill: &'static str,
    pub anchor: Anchor,
}

/// How a line is drawn; `dash` is empty for a solid one.
#[derive(Debug, Clone, Copy)]
pub struct Stroke {
    pub colour: &'static str,
    pub width: f64,
    pub dash: &'static str,
}

impl Stroke {
    /// A solid line.
    pub const fn solid(colour: &'static str, width: f64) -> Self {
        Self { colour, width, dash: "" }
    }

    fn attributes(&self) -> String {
        let dash = if self.dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", self.dash) };
        format!("stroke=\"{}\" stroke-width=\"{}\"{dash}", self.colour, short(self.width))
    }
}

/// A drawing in the making. Coordinates are points, y downwards.
#[derive(Debug)]
pub struct Drawing {
    body: String,
}

impl Drawing {
    /// An empty drawing; `label` is read to those who cannot see it.
    pub fn new(width: f64, height: f64, label: &str) -> Self {
        let (width, height) = (short(width), short(height));
        Self {
            body: format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
                 height=\"{height}\" role=\"img\" aria-label=\"{}\" font-family=\"Inter, sans-serif\">",
                escaped(label)
            ),
        }
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        let (x1, y1, x2, y2) = (short(from.0), short(from.1), short(to.0), short(to.1));
        self.add(&format!("<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" {}/>", stroke.attributes()));
    }

    /// A line through points.
    pub fn curve(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        if points.is_empty() {
            return;
        }
        let path = listed(points);
        self.add(&format!(
            "<polyline points=\"{path}\" fill=\"none\" stroke-linejoin=\"round\" {}/>",
            stroke.attributes()
        ));
    }

    /// A filled outline.
    pub fn area(&mut self, points: &[(f64, f64)], fill: &str) {
        if points.is_empty() {
            return;
        }
        let path = listed(points);
        self.add(&format!("<polygon points=\"{path}\" fill=\"{fill}\"/>"));
    }

    /// A filled rectangle; nothing where it has no extent.
    pub fn rectangle(&mut self, (left, top): (f64, f64), (width, height): (f64, f64), fill: &str) {
        if width <= 0.0 || height <= 0.0 {
            return;
        }
        let (left, top, width, height) = (short(left), short(top), short(width), short(height));
        self.add(&format!("<rect x=\"{left}\" y=\"{top}\" width=\"{width}\" height=\"{height}\" fill=\"{fill}\"/>"));
    }

    /// A disc with an outline.
    pub fn disc(&mut self, centre: (f64, f64), radius: f64, fill: &str, stroke: Stroke) {
        let (x, y, radius) = (short(centre.0), short(centre.1), short(radius));
        self.add(&format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" fill=\"{fill}\" {}/>", stroke.attributes()));
    }

    /// A text, which must be drawable.
    pub fn text(&mut self, at: (f64, f64), text: &str, lettering: Lettering) {
        let anchor = match lettering.anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if lettering.weight == Weight::SemiBold { " font-weight=\"600\"" } else { "" };
        let (x, y, size, fill) = (short(at.0), short(at.1), short(lettering.size), lettering.fill);
        let text = escaped(text);
        self.add(&format!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{fill}\"{weight}{anchor}>{text}</text>"
        ));
    }

    /// The finished drawing.
    pub fn finish(mut self) -> String {
        self.body.push_str("</svg>");
        self.body
    }

    fn add(&mut self, element: &str) {
        self.body.push_str(element);
    }
}

/// Plain lettering for labels.
pub const fn label(size: f64, anchor: Anchor) -> Lettering {
    Lettering { size, weight: Weight::Regular, fill: look::QUIET, anchor }
}

fn listed(points: &[(f64, f64)]) -> String {
    let mut path = String::with_capacity(points.len() * 12);
    for (index, (x, y)) in points.iter().enumerate() {
        let gap = if index == 0 { "" } else { " " };
        write!(path, "{gap}{},{}", short(*x), short(*y)).expect("writing to a string cannot fail");
    }
    path
}

/// A coordinate with two decimals at most: finer than any printer.
fn short(number: f64) -> String {
    let digits = format!("{number:.2}");
    let digits = digits.trim_end_matches('0').trim_end_matches('.');
    if digits == "-0" { "0".into() } else { digits.to_owned() }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_and_label_are_escaped() {
        let mut drawing = Drawing::new(10.0, 10.0, "a \"b\" <c>");
        drawing.text((1.0, 2.0), "</text><script>&", label(6.0, Anchor::End));
        let svg = drawing.finish();
        assert!(svg.contains("aria-label=\"a &quot;b&quot; &lt;c&gt;\""), "{svg}");
        assert!(svg.contains(">&lt;/text&gt;&lt;script&gt;&amp;</text>"), "{svg}");
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!(short(12.0), "12");
        assert_eq!(short(0.126), "0.13");
        assert_eq!(short(-0.0001), "0");
        assert_eq!(short(100.0), "100");
    }
}
