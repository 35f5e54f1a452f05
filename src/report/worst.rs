//! Which reading speaks for a requirement: the one nearest to, or deepest in, nonconformity. And by how much it fails.

use super::{number, rule, words};
use crate::record::stored::{Check, Measured, Reading, Requirement, Rule, Verdict};
use std::cmp::Ordering;

/// Label of a reading that belongs to no single phase.
const WHOLE: &str = "whole check";

/// The reading that decided a requirement: the worst decision, then the least probable conformity, then the least margin.
pub fn reading(requirement: &Requirement) -> Option<&Reading> {
    requirement.readings.iter().reduce(|worst, next| if is_worse(next, worst) { next } else { worst })
}

/// The requirement that speaks for a check.
pub fn requirement(check: &Check) -> Option<&Requirement> {
    check.requirements.iter().reduce(|worst, next| {
        let is_worse_one = match next.decision.cmp(&worst.decision) {
            Ordering::Equal => match (reading(next), reading(worst)) {
                (Some(next), Some(worst)) => is_worse(next, worst),
                (next, worst) => next.is_none() && worst.is_some(),
            },
            order => order == Ordering::Greater,
        };
        if is_worse_one { next } else { worst }
    })
}

fn is_worse(this: &Reading, that: &Reading) -> bool {
    let rank = |reading: &Reading| match &reading.measured {
        None => (reading.decision, f64::NEG_INFINITY, f64::NEG_INFINITY),
        Some(measured) => (reading.decision, measured.conformance_probability, relative_margin(measured)),
    };
    let (this, that) = (rank(this), rank(that));
    this.0 > that.0 || this.0 == that.0 && (this.1 < that.1 || this.1 == that.1 && this.2 < that.2)
}

/// Margin against the doubt, so that margins in different units compare. A count has no doubt: it is as good as can be, or
/// as bad.
fn relative_margin(measured: &Measured) -> f64 {
    if measured.expanded_uncertainty > 0.0 {
        measured.margin / measured.expanded_uncertainty
    } else if measured.margin < 0.0 {
        f64::NEG_INFINITY
    } else {
        f64::INFINITY
    }
}

/// The measured value with its doubt, or that there is none.
pub fn value(requirement: &Requirement) -> String {
    match reading(requirement) {
        None => "not measured".into(),
        Some(Reading { measured: Some(measured), .. }) => {
            number::measured(measured.value, measured.expanded_uncertainty, &unit(requirement))
        }
        Some(_) => "no value".into(),
    }
}

/// The phase that a reading belongs to; `None` where it belongs to the whole check.
pub fn phase(reading: &Reading) -> Option<String> {
    (reading.label != WHOLE).then(|| words::visible(&reading.label)).filter(|phase| !phase.is_empty())
}

/// The requirement's unit, safe to show.
pub fn unit(requirement: &Requirement) -> String {
    words::visible_within(&requirement.unit, 24)
}

/// Its tolerance limits, in words.
pub fn limits(requirement: &Requirement) -> String {
    number::limits(requirement.lower, requirement.upper, &unit(requirement))
}

/// Distance to the nearest tolerance limit in words: `2.64 mm/s inside`. A count at its limit has none worth telling.
pub fn margin(requirement: &Requirement) -> Option<String> {
    let measured = reading(requirement)?.measured.as_ref()?;
    let distance = number::with_unit(&distance(measured), &unit(requirement));
    Some(match measured.margin {
        margin if margin < 0.0 => format!("{distance} outside"),
        0.0 if measured.expanded_uncertainty == 0.0 => return None,
        0.0 => "at the limit".into(),
        _ => format!("{distance} inside"),
    })
}

/// Probability that the true value lies within the tolerance limits: `P > 99.9 %`. A count is beyond doubt, and has none.
pub fn probability(requirement: &Requirement) -> Option<String> {
    let measured = reading(requirement)?.measured.as_ref()?;
    let probability = number::short_percentage(measured.conformance_probability);
    let is_bounded = probability.starts_with(['<', '>']);
    let sign = if is_bounded { "P" } else { "P =" };
    (measured.expanded_uncertainty > 0.0).then(|| format!("{sign} {probability}"))
}

/// What is wrong with a requirement that is not proven, in a sentence without its full stop; `None` for one that conforms.
pub fn shortcoming(requirement: &Requirement, plans: &Rule) -> Option<String> {
    if requirement.decision == Verdict::Conforms {
        return None;
    }
    let Some(reading) = reading(requirement) else { return Some("nothing was measured".into()) };
    let Some(measured) = &reading.measured else {
        let why = reading.withheld.as_deref().unwrap_or("no reason is on record");
        return Some(format!("no value: {}", words::visible(why)));
    };
    Some(match reading.decision {
        Verdict::Undecided => format!(
            "within the guard band: the probability of conforming is {}, and {} is needed",
            number::percentage(measured.conformance_probability),
            rule::needed(requirement.rule.as_ref().unwrap_or(plans))
        ),
        _ => outside(requirement, measured),
    })
}

fn outside(requirement: &Requirement, measured: &Measured) -> String {
    let unit = unit(requirement);
    let distance = number::with_unit(&distance(measured), &unit);
    match (requirement.lower, requirement.upper) {
        (Some(lower), _) if measured.value < lower => {
            format!("{distance} below the lower limit of {}", number::with_unit(&number::plain(lower), &unit))
        }
        (_, Some(upper)) if measured.value > upper => {
            format!("{distance} above the upper limit of {}", number::with_unit(&number::plain(upper), &unit))
        }
        _ => format!("{distance} from the nearest limit"),
    }
}

fn distance(measured: &Measured) -> String {
    number::beside(measured.margin.abs(), measured.expanded_uncertainty)
}
