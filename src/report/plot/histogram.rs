//! Step-interval histogram: how far each step interval was from the commanded one. The count axis is logarithmic, because
//! a few late steps among fifty thousand are what an eye behind the camera sees.

use super::Plot;
use super::frame::{Caption, Frame, named};
use super::span::Span;
use super::stretch::Stretch;
use crate::record::stored::IntervalCurve;
use crate::report::svg::Stroke;
use crate::report::{look, number};

/// Speeds shown at most: the fastest ones.
const SPEEDS_MAX: usize = 3;
/// Bins wanted; fewer where the stored intervals are coarser.
const BINS: f64 = 80.0;

/// The histogram of the fastest speeds, deviation from the commanded interval in µs.
pub fn step_intervals(curves: &[IntervalCurve], stretch: Stretch) -> Option<Plot> {
    let mut fastest = by_speed(curves);
    fastest.truncate(SPEEDS_MAX);
    let deviations = || fastest.iter().flat_map(|curve| deviations(curve).map(|(deviation, _)| deviation));
    let range = stretch.of(Span::tight(deviations(), 7.0)?, 7.0)?;
    fastest.iter_mut().for_each(|speed| speed.keep(&range));
    fastest.retain(|speed| !speed.counts.is_empty());
    if fastest.is_empty() {
        return None;
    }
    let bin = bin_width(&fastest, &range);
    let x = Span { from: (range.from / bin).floor() * bin, to: ((range.to / bin).floor() + 1.0) * bin, ..range };
    let binned: Vec<Vec<u64>> = fastest.iter().map(|curve| bins(curve, &x, bin)).collect();
    let most = binned.iter().flatten().copied().max().unwrap_or(1).max(1);
    let decades = (most as f64).log10().floor() + 1.0;
    let y = Span { from: 0.0, to: decades, step: 1.0 };
    let legend: Vec<(String, Stroke)> = fastest
        .iter()
        .zip(look::CURVES)
        .map(|(curve, (colour, dash))| (named(&curve.name), Stroke { colour, width: 1.0, dash }))
        .collect();
    let strokes: Vec<Stroke> = legend.iter().map(|entry| entry.1).collect();
    let caption = Caption {
        title: "Step intervals",
        unit: "how many, logarithmic",
        along: "µs from the commanded interval",
        description: description(&fastest, &x),
        legend,
    };
    let mut frame = Frame::new(caption, x.clone(), y, decade);
    for (bins, stroke) in binned.iter().zip(strokes).rev() {
        let outline = outline(&frame, bins, &x);
        if binned.len() == 1 {
            frame.drawing.area(&outline, look::ZONE);
        }
        frame.drawing.curve(&outline, stroke);
    }
    Some(frame.finish())
}

/// All travels of one speed.
struct Speed {
    name: String,
    nominal_ns: f64,
    counts: Vec<(u64, u64)>,
    travels: usize,
}

impl Speed {
    /// Forgets what lies outside a range of deviations.
    fn keep(&mut self, range: &Span) {
        let nominal_ns = self.nominal_ns;
        self.counts.retain(|(interval, _)| (range.from..=range.to).contains(&deviation(*interval, nominal_ns)));
    }
}

/// How far an interval is from the commanded one, µs.
fn deviation(interval: u64, nominal_ns: f64) -> f64 {
    (interval as f64 - nominal_ns) / 1e3
}

/// Travels of one commanded interval together, the fastest first; named after the plainest of them.
fn by_speed(curves: &[IntervalCurve]) -> Vec<Speed> {
    let mut curves: Vec<&IntervalCurve> = curves.iter().filter(|curve| !curve.counts.is_empty()).collect();
    curves.sort_by(|one, other| {
        one.nominal_ns.total_cmp(&other.nominal_ns).then(one.label.len().cmp(&other.label.len()))
    });
    let mut speeds: Vec<Speed> = Vec::new();
    for curve in curves {
        match speeds.last_mut() {
            Some(speed) if (curve.nominal_ns - speed.nominal_ns).abs() <= 1e-3 * speed.nominal_ns.abs() => {
                speed.counts.extend(&curve.counts);
                speed.travels += 1;
            }
            _ => speeds.push(Speed {
                name: curve.label.clone(),
                nominal_ns: curve.nominal_ns,
                counts: curve.counts.clone(),
                travels: 1,
            }),
        }
    }
    for speed in speeds.iter_mut().filter(|speed| speed.travels > 1) {
        speed.name = format!("{} and {} more", speed.name, speed.travels - 1);
    }
    speeds
}

fn deviations(curve: &Speed) -> impl Iterator<Item = (f64, u64)> {
    curve.counts.iter().map(|(interval, count)| (deviation(*interval, curve.nominal_ns), *count))
}

/// Width of a bin, µs: a whole number of the coarsest step between stored intervals, or every other bin would be empty.
fn bin_width(curves: &[Speed], range: &Span) -> f64 {
    let coarsest = curves.iter().filter_map(finest_step).fold(1e-3, f64::max);
    ((range.to - range.from) / BINS / coarsest).ceil().max(1.0) * coarsest
}

/// The least distance of two stored intervals, µs.
fn finest_step(curve: &Speed) -> Option<f64> {
    let mut intervals: Vec<u64> = curve.counts.iter().map(|(interval, _)| *interval).collect();
    intervals.sort_unstable();
    intervals.dedup();
    intervals.windows(2).map(|pair| (pair[1] - pair[0]) as f64 / 1e3).reduce(f64::min)
}

fn bins(curve: &Speed, x: &Span, bin: f64) -> Vec<u64> {
    let count = (((x.to - x.from) / bin).round() as usize).clamp(1, 4 * BINS as usize);
    let mut bins = vec![0_u64; count];
    for (deviation, count) in deviations(curve) {
        let index = (((deviation - x.from) / bin) as usize).min(bins.len() - 1);
        bins[index] = bins[index].saturating_add(count);
    }
    bins
}

/// The stepped outline of the bins, down to the axis where a bin is empty.
fn outline(frame: &Frame, bins: &[u64], x: &Span) -> Vec<(f64, f64)> {
    let height = |count: u64| if count == 0 { 0.0 } else { (count as f64).log10().max(0.12) };
    let edge = |index: usize| x.from + (x.to - x.from) * index as f64 / bins.len() as f64;
    let corners = bins
        .iter()
        .enumerate()
        .flat_map(|(index, count)| [(edge(index), height(*count)), (edge(index + 1), height(*count))]);
    frame.places(std::iter::once((x.from, 0.0)).chain(corners).chain(std::iter::once((x.to, 0.0))))
}

fn decade(power: f64) -> String {
    if power < 4.0 { number::plain(10f64.powf(power).round()) } else { format!("10{}", raised(power as u32)) }
}

fn raised(power: u32) -> String {
    power
        .to_string()
        .chars()
        .map(|digit| ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'][digit as usize - '0' as usize])
        .collect()
}

fn description(curves: &[Speed], x: &Span) -> String {
    let total: u64 =
        curves.iter().flat_map(|curve| &curve.counts).map(|(_, count)| *count).fold(0, u64::saturating_add);
    let tenth = |number: f64| number::plain((number * 10.0).round() / 10.0);
    format!(
        "{total} step intervals at {} speeds lie from {} to {} µs off the commanded interval.",
        curves.len(),
        tenth(x.from),
        tenth(x.to)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_interval_is_in_a_bin() {
        let stored = IntervalCurve {
            label: "90 mm/s".into(),
            nominal_ns: 138_888.9,
            hdr: String::new(),
            counts: vec![(130_000, 1), (138_880, 40_000), (150_000, 2)],
        };
        let curve = by_speed(std::slice::from_ref(&stored)).remove(0);
        let x = Span::tight(deviations(&curve).map(|(deviation, _)| deviation), 7.0).expect("there are counts");
        let bin = bin_width(std::slice::from_ref(&curve), &x);
        assert!((bin - 8.88).abs() < 1e-9, "{bin}");
        assert_eq!(bins(&curve, &x, bin).iter().sum::<u64>(), 40_003);
        assert!(
            step_intervals(&[stored], Stretch::WHOLE)
                .is_some_and(|plot| plot.description.contains("40003 step intervals"))
        );
    }

    #[test]
    fn travels_of_one_speed_are_taken_together() {
        let of = |label: &str, nominal_ns| IntervalCurve {
            label: label.into(),
            nominal_ns,
            hdr: String::new(),
            counts: vec![(nominal_ns as u64, 7)],
        };
        let speeds = by_speed(&[of("stopped, to the left", 1e5), of("to the left", 2e5), of("to the left", 1e5)]);
        let seen: Vec<(&str, usize)> = speeds.iter().map(|speed| (speed.name.as_str(), speed.counts.len())).collect();
        assert_eq!(seen, [("to the left and 1 more", 2), ("to the left", 1)]);
    }

    #[test]
    fn no_counts_no_plot() {
        assert_eq!(step_intervals(&[], Stretch::WHOLE), None);
    }

    #[test]
    fn decades_are_named() {
        assert_eq!(decade(0.0), "1");
        assert_eq!(decade(3.0), "1000");
        assert_eq!(decade(12.0), "10¹²");
    }
}
