//! A control chart of individual values: each in its turn, the centre and the control limits, and a mark on what is no
//! chance.

use super::Plot;
use super::frame::{Caption, Frame};
use super::span::Span;
use crate::record::stored::Verdict;
use crate::report::drift::Individuals;
use crate::report::svg::Stroke;
use crate::report::{look, number};

/// Most values drawn: the latest.
const VALUES_MAX: usize = 250;

/// The chart; none without a value.
pub fn individuals(chart: &Individuals) -> Option<Plot> {
    let first = chart.values.len().saturating_sub(VALUES_MAX);
    let points: Vec<(f64, f64)> =
        chart.values.iter().enumerate().skip(first).map(|(at, value)| (at as f64 + 1.0, *value)).collect();
    let (last, _) = points.last()?;
    let x = Span::tight(points.iter().map(|point| point.0).chain([last + 1.0]), 6.0)?;
    let limits = chart.limits.map(|(lower, centre, upper)| [lower, centre, upper]);
    let y = Span::of(points.iter().map(|point| point.1).chain(limits.into_iter().flatten()), 5.0)?;
    let description = format!(
        "{} values; the last is {} {}.",
        chart.values.len(),
        number::plain(chart.values.last().copied().unwrap_or(f64::NAN)),
        chart.unit
    );
    let caption = Caption {
        title: "Individual values",
        unit: &chart.unit,
        along: "in the order of time",
        description,
        legend: Vec::new(),
    };
    let mut frame = Frame::new(caption, x.clone(), y, number::plain);
    for (place, height) in limits.into_iter().flatten().enumerate() {
        let (colour, dash, width) = if place == 1 { (look::QUIET, "", 0.6) } else { (look::INK, "4 2", 0.7) };
        let ends = [frame.place(x.from, height), frame.place(x.to, height)];
        frame.drawing.line(ends[0], ends[1], Stroke { colour, width, dash });
    }
    let (colour, _) = look::CURVES[0];
    let places = frame.places(points.iter().copied());
    frame.drawing.curve(&places, Stroke::solid(colour, 0.6));
    for (index, at) in places.into_iter().enumerate() {
        let flagged = chart.flagged.contains(&(first + index));
        let (fill, stroke) = if flagged {
            let marked = look::colour(Verdict::DoesNotConform);
            (marked, Stroke::solid(marked, 1.2))
        } else {
            (look::PAPER, Stroke::solid(colour, 0.8))
        };
        frame.drawing.disc(at, if flagged { 2.4 } else { 1.6 }, fill, stroke);
    }
    Some(frame.finish())
}
