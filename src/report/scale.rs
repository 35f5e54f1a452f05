//! A requirement as a small drawing: the tolerance zone, its guard bands, and where the measured value lies with its
//! expanded uncertainty (the intervals of JCGM 106:2012, figures 8 to 10, on one line).

use super::svg::{Drawing, Stroke};
use super::{look, worst};
use crate::record::stored::{Measured, Requirement, Verdict};

/// Width of the drawing, pt.
pub const WIDTH: f64 = 84.0;
/// Height of the drawing, pt.
pub const HEIGHT: f64 = 14.0;
const MIDDLE: f64 = HEIGHT / 2.0;
const EDGE: f64 = 3.0;

/// The drawing of a requirement's worst reading, where it has a value and a limit.
pub fn drawing(requirement: &Requirement) -> Option<String> {
    let reading = worst::reading(requirement)?;
    let measured = reading.measured.as_ref()?;
    let (from, to) = span(requirement, measured)?;
    let x = |value: f64| EDGE + ((value - from) / (to - from)).clamp(0.0, 1.0) * (WIDTH - 2.0 * EDGE);
    let label = format!("{} within {}", worst::value(requirement), worst::limits(requirement));
    let mut drawing = Drawing::new(WIDTH, HEIGHT, &label);
    zones(&mut drawing, requirement, measured, &x);
    value(&mut drawing, measured, reading.decision, (from, to), &x);
    Some(drawing.finish())
}

fn zones(drawing: &mut Drawing, requirement: &Requirement, measured: &Measured, x: &impl Fn(f64) -> f64) {
    let left = requirement.lower.map_or(EDGE, x);
    let right = requirement.upper.map_or(WIDTH - EDGE, x);
    drawing.line((EDGE, MIDDLE), (WIDTH - EDGE, MIDDLE), Stroke::solid(look::LINE, 0.6));
    drawing.rectangle((left, MIDDLE - 3.0), (right - left, 6.0), look::ZONE);
    let middle = (left + right) / 2.0;
    if let (Some(_), Some(accepted)) = (requirement.lower, measured.acceptance_lower) {
        let end = x(accepted).min(if requirement.upper.is_some() { middle } else { right });
        drawing.rectangle((left, MIDDLE - 3.0), ((end - left).max(0.0), 6.0), look::GUARD);
    }
    if let (Some(_), Some(accepted)) = (requirement.upper, measured.acceptance_upper) {
        let start = x(accepted).max(if requirement.lower.is_some() { middle } else { left });
        drawing.rectangle((start.min(right), MIDDLE - 3.0), ((right - start).max(0.0), 6.0), look::GUARD);
    }
    for limit in [requirement.lower, requirement.upper].into_iter().flatten() {
        drawing.line((x(limit), 1.5), (x(limit), HEIGHT - 1.5), Stroke::solid(look::INK, 0.9));
    }
}

/// The value: a disc where it conforms, a ring where nothing is proven, a lozenge where it does not conform; an arrow where
/// it lies beyond the drawing.
fn value(
    drawing: &mut Drawing,
    measured: &Measured,
    verdict: Verdict,
    (from, to): (f64, f64),
    x: &impl Fn(f64) -> f64,
) {
    let colour = look::colour(verdict);
    let at = x(measured.value);
    let (least, most) =
        (x(measured.value - measured.expanded_uncertainty), x(measured.value + measured.expanded_uncertainty));
    if most - least > 1.0 {
        drawing.line((least, MIDDLE), (most, MIDDLE), Stroke::solid(colour, 1.0));
        for end in [least, most] {
            drawing.line((end, MIDDLE - 2.0), (end, MIDDLE + 2.0), Stroke::solid(colour, 0.8));
        }
    }
    let lozenge = |drawing: &mut Drawing, reach: f64| {
        let points = [(at - reach, MIDDLE), (at, MIDDLE - reach), (at + reach, MIDDLE), (at, MIDDLE + reach)];
        drawing.area(&points, colour);
    };
    if measured.value < from {
        drawing.area(&[(0.4, MIDDLE), (5.0, MIDDLE - 3.2), (5.0, MIDDLE + 3.2)], colour);
    } else if measured.value > to {
        let tip = WIDTH - 0.4;
        drawing.area(&[(tip, MIDDLE), (tip - 4.6, MIDDLE - 3.2), (tip - 4.6, MIDDLE + 3.2)], colour);
    } else {
        match verdict {
            Verdict::Conforms => drawing.disc((at, MIDDLE), 2.2, colour, Stroke::solid(look::PAPER, 0.6)),
            Verdict::Undecided => drawing.disc((at, MIDDLE), 2.2, look::PAPER, Stroke::solid(colour, 1.1)),
            Verdict::DoesNotConform | Verdict::Invalid => lozenge(drawing, 3.0),
        }
    }
}

/// What the drawing spans: the tolerance zone and some air; for a one-sided tolerance from nothing to beyond the limit,
/// so that a value's place says how much of the limit it uses up.
fn span(requirement: &Requirement, measured: &Measured) -> Option<(f64, f64)> {
    let doubt = measured.expanded_uncertainty.abs();
    let value = measured.value;
    let (from, to) = match (requirement.lower, requirement.upper) {
        (Some(lower), Some(upper)) => {
            let width = extent((upper - lower).abs(), doubt);
            (lower.min(upper) - 0.3 * width, lower.max(upper) + 0.3 * width)
        }
        (None, Some(upper)) if upper > 0.0 && value >= 0.0 => (0.0, (1.15 * value).clamp(1.35 * upper, 2.5 * upper)),
        (None, Some(upper)) => {
            let reach = extent((upper - value).abs(), 4.0 * doubt);
            (upper - if value > upper { 0.3 } else { 1.5 } * reach, upper + 1.3 * reach)
        }
        (Some(lower), None) if lower > 0.0 && value >= 0.0 => (0.5 * lower, 1.5 * lower),
        (Some(lower), None) => {
            let reach = extent((lower - value).abs(), 4.0 * doubt);
            (lower - 1.3 * reach, lower + if value < lower { 0.3 } else { 1.5 } * reach)
        }
        (None, None) => return None,
    };
    (from.is_finite() && to.is_finite() && from < to).then_some((from, to))
}

fn extent(distance: f64, doubt: f64) -> f64 {
    let extent = distance.max(doubt);
    if extent > 0.0 { extent } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::stored::Reading;

    fn requirement(lower: Option<f64>, upper: Option<f64>, value: f64, doubt: f64, decision: Verdict) -> Requirement {
        let measured = Measured {
            value,
            standard_uncertainty: doubt / 2.0,
            expanded_uncertainty: doubt,
            coverage_factor: 2.0,
            propagated_interval: None,
            degrees_of_freedom: None,
            budget: Vec::new(),
            correlations: Vec::new(),
            acceptance_lower: lower.map(|lower| lower + doubt),
            acceptance_upper: upper.map(|upper| upper - doubt),
            margin: 0.0,
            conformance_probability: 0.5,
        };
        let reading = Reading {
            label: "whole check".into(),
            decision,
            measured: Some(measured),
            withheld: None,
            rounds: Vec::new(),
        };
        Requirement {
            measurand: "stop distance".into(),
            tolerance: String::new(),
            unit: "mm".into(),
            lower,
            upper,
            rule: None,
            decision,
            readings: vec![reading],
        }
    }

    #[test]
    fn decisions_differ_in_shape() {
        let of = |decision| drawing(&requirement(Some(1.0), Some(3.0), 2.0, 0.2, decision)).expect("it has a value");
        assert!(of(Verdict::Conforms).contains("<circle") && of(Verdict::Undecided).contains("fill=\"#ffffff\""));
        assert!(!of(Verdict::DoesNotConform).contains("<circle") && of(Verdict::DoesNotConform).contains("<polygon"));
    }

    #[test]
    fn any_limits_and_values_give_a_drawing_or_none() {
        let numbers = [0.0, -1.0, 1.0, 3.0, 1e300, -1e300, 1e-300];
        for lower in numbers.map(Some).into_iter().chain([None]) {
            for upper in numbers.map(Some).into_iter().chain([None]) {
                for value in numbers {
                    let drawing = drawing(&requirement(lower, upper, value, value.abs() / 7.0, Verdict::Undecided));
                    assert!(drawing.is_none_or(|svg| !svg.contains("NaN") && !svg.contains("inf")));
                }
            }
        }
    }
}
