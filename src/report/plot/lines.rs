//! Carriage speed over each travel, and temperatures over the run: lines over time.

use super::Plot;
use super::frame::{Caption, Frame, named};
use super::span::Span;
use super::stretch::Stretch;
use crate::record::stored::{SpeedCurve, TemperatureCurve};
use crate::report::look;
use crate::report::number;
use crate::report::svg::Stroke;

/// Most curves that have a colour of their own; the rest keep them company.
const NAMED_MAX: usize = 3;
/// Travels slower than the fastest by more than this are left out: they last so long that the fast ones would not show.
const SLOW: f64 = 4.0;
/// Most points drawn of one curve: about two for each dot of a good printer would be 1,500, one a point is enough.
const POINTS_MAX: usize = 250;

struct Line<'a> {
    label: &'a str,
    points: &'a [(f64, f64)],
}

/// Speed of every travel; the fastest of each kind have their own colours.
pub fn speed(curves: &[SpeedCurve], stretch: Stretch) -> Option<Plot> {
    let mut lines: Vec<Line<'_>> =
        curves.iter().map(|curve| Line { label: &curve.label, points: &curve.points }).collect();
    let highest = lines.iter().map(Line::highest).fold(f64::NEG_INFINITY, f64::max);
    let total = lines.len();
    lines.retain(|line| line.highest() * SLOW >= highest);
    // Of travels about as fast, the plainest first: its label is the shortest.
    let class = |line: &Line<'_>| (line.highest() / highest * 4.0).round() as i64;
    lines.sort_by_key(|line| (std::cmp::Reverse(class(line)), line.label.len()));
    let description = format!(
        "Speed over time of the {} fastest of {total} travels; the highest is {} mm/s.",
        lines.len(),
        number::plain(tenth(highest))
    );
    draw(lines, stretch, ("Carriage speed", "mm/s", "seconds since the travel began"), description, true)
}

/// Temperatures over the run.
pub fn temperatures(curves: &[TemperatureCurve], stretch: Stretch) -> Option<Plot> {
    let lines: Vec<Line<'_>> = curves.iter().map(|curve| Line { label: &curve.label, points: &curve.points }).collect();
    let last: Vec<String> = lines
        .iter()
        .filter_map(|line| {
            Some(format!("{} ends at {} °C", named(line.label), number::plain(tenth(line.points.last()?.1))))
        })
        .take(NAMED_MAX)
        .collect();
    let description = format!("{}.", last.join(", "));
    draw(lines, stretch, ("Temperatures", "°C", "seconds since the run began"), description, false)
}

impl Line<'_> {
    fn highest(&self) -> f64 {
        self.points.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max)
    }
}

fn draw(
    mut lines: Vec<Line<'_>>,
    stretch: Stretch,
    (title, unit, along): (&'static str, &'static str, &str),
    description: String,
    is_from_zero: bool,
) -> Option<Plot> {
    let along_x = lines.iter().flat_map(|line| line.points.iter()).map(|point| point.0);
    let x = stretch.of(Span::tight(along_x.chain([0.0]), 6.0)?, 6.0)?;
    lines.iter_mut().for_each(|line| line.points = stretch.within(line.points, &x, |point| point.0));
    lines.retain(|line| !line.points.is_empty());
    let all = || lines.iter().flat_map(|line| line.points.iter());
    all().next()?;
    let zero = is_from_zero.then_some(0.0);
    let y = Span::of(all().map(|point| point.1).chain(zero), 5.0)?;
    let leaders = leaders(&lines);
    let mut legend: Vec<(String, Stroke)> = leaders
        .iter()
        .zip(look::CURVES)
        .map(|(leader, (colour, dash))| (named(lines[*leader].label), Stroke { colour, width: 1.0, dash }))
        .collect();
    let strokes: Vec<Stroke> = legend.iter().map(|entry| entry.1).collect();
    let company = Stroke::solid(look::COMPANY, 0.6);
    let others = lines.len() - leaders.len();
    if others > 0 {
        legend.push((format!("{others} more"), company));
    }
    let mut frame = Frame::new(Caption { title, unit, along, description, legend }, x, y, number::plain);
    for (_, line) in lines.iter().enumerate().filter(|(index, _)| !leaders.contains(index)) {
        let places = frame.places(thinned(line.points));
        frame.drawing.curve(&places, company);
    }
    for (leader, stroke) in leaders.iter().zip(strokes).rev() {
        let places = frame.places(thinned(lines[*leader].points));
        frame.drawing.curve(&places, stroke);
    }
    Some(frame.finish())
}

/// The first line of each label, as many as have a colour.
fn leaders(lines: &[Line<'_>]) -> Vec<usize> {
    let mut leaders: Vec<usize> = Vec::new();
    for (index, line) in lines.iter().enumerate() {
        if leaders.len() < NAMED_MAX && leaders.iter().all(|leader| lines[*leader].label != line.label) {
            leaders.push(index);
        }
    }
    leaders
}

/// The lowest and highest point of each stretch, so that no dip is lost.
fn thinned(points: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    let stretch = if points.len() <= POINTS_MAX { 1 } else { (2 * points.len()).div_ceil(POINTS_MAX) };
    points.chunks(stretch).flat_map(|stretch| {
        let order = |one: &&(f64, f64), other: &&(f64, f64)| one.1.total_cmp(&other.1);
        let low = stretch.iter().min_by(order).copied();
        let high = stretch.iter().max_by(order).copied();
        let (first, second) =
            if low.map(|point| point.0) <= high.map(|point| point.0) { (low, high) } else { (high, low) };
        first.into_iter().chain(second.filter(|second| Some(*second) != first))
    })
}

fn tenth(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_keeps_the_dip() {
        let points: Vec<(f64, f64)> =
            (0..10_000).map(|i| (f64::from(i), if i == 5_432 { -7.0 } else { 1.0 })).collect();
        let kept: Vec<(f64, f64)> = thinned(&points).collect();
        assert!(kept.len() <= POINTS_MAX + 2, "{}", kept.len());
        assert!(kept.contains(&(5_432.0, -7.0)));
        assert!(kept.is_sorted_by(|one, other| one.0 < other.0));
    }

    #[test]
    fn each_kind_of_travel_has_one_leader() {
        let points = [(0.0, 1.0)];
        let lines: Vec<Line<'_>> =
            ["a", "a", "b", "c", "d", "e"].map(|label| Line { label, points: &points }).into_iter().collect();
        assert_eq!(leaders(&lines), [0, 2, 3]);
    }
}
