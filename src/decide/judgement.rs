//! A value judged by a decision rule: inside which limits it would have been accepted, and what it is.
//!
//! The true value is taken as distributed about the measured one as Student's t says, scaled by the standard uncertainty
//! (JCGM 106:2012, 6.3 and 7; with infinite degrees of freedom it is the normal distribution), or as its estimate knows
//! better: then a guard band may be wider at one limit than at the other. With the rule of a greatest
//! false acceptance a value conforms where the probability of conformity is at least 1 − α. For one limit that is a guard
//! band w = t(1 − α, ν)·u inside it (JCGM 106, 8.3.2); beyond the limit by as much, nonconformity is proven
//! (ISO 14253-1:2017, clause 5); between the two neither is. The other rules differ only in where the two borders lie.

use super::{Decision, Rule};
use crate::stats::{COVERAGE, Estimate, Spread};

/// Tolerance limits in SI; a missing one does not limit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// The lowest conforming value.
    pub lower: Option<f64>,
    /// The highest conforming value.
    pub upper: Option<f64>,
}

/// A reading as the rule judges it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judgement {
    /// The decision.
    pub decision: Decision,
    /// The lowest value that would have been accepted. Above `acceptance_upper` where the measurement is too uncertain
    /// for any value to be accepted.
    pub acceptance_lower: Option<f64>,
    /// The highest value that would have been accepted.
    pub acceptance_upper: Option<f64>,
    /// Distance to the nearest tolerance limit, positive inside; infinite where nothing limits.
    pub margin: f64,
    /// Probability that the true value lies within the tolerance limits.
    pub conformance_probability: f64,
}

/// Judges an estimate.
pub fn judge(estimate: &Estimate, limits: &Limits, rule: &Rule) -> Judgement {
    let uncertainty = estimate.standard_uncertainty();
    let belief = Belief { exact: uncertainty == 0.0, spread: estimate.spread() };
    let borders = Borders::of(rule, estimate, &belief);
    let acceptance = acceptance(limits, rule, &belief, &borders.accepted_inside);
    let value = estimate.value;
    let beyond = limits.lower.is_some_and(|lower| value < lower - borders.rejected_outside.lower)
        || limits.upper.is_some_and(|upper| value > upper + borders.rejected_outside.upper);
    let inside = limits.lower.is_none_or(|_| acceptance.lower.is_some_and(|lower| value >= lower))
        && limits.upper.is_none_or(|_| acceptance.upper.is_some_and(|upper| value <= upper));
    let decision = match (beyond, inside) {
        _ if !value.is_finite() || !uncertainty.is_finite() => Decision::Undecided,
        (true, _) => Decision::DoesNotConform,
        (false, true) => Decision::Conforms,
        (false, false) => Decision::Undecided,
    };
    Judgement {
        decision,
        acceptance_lower: acceptance.lower,
        acceptance_upper: acceptance.upper,
        margin: margin(value, limits),
        conformance_probability: belief.conformance_probability(value, limits),
    }
}

/// A distance from each of the two limits.
#[derive(Clone, Copy)]
struct Distances {
    lower: f64,
    upper: f64,
}

/// Where a rule draws its two borders.
struct Borders {
    /// How far inside the limit a value has to lie to be accepted; less than nothing where it may lie outside.
    accepted_inside: Distances,
    /// How far outside the limit a value has to lie to be rejected.
    rejected_outside: Distances,
}

impl Borders {
    fn of(rule: &Rule, estimate: &Estimate, belief: &Belief) -> Self {
        let both = |width| {
            let distances = Distances { lower: width, upper: width };
            Self { accepted_inside: distances, rejected_outside: distances }
        };
        match *rule {
            Rule::SimpleAcceptance => both(0.0),
            Rule::GuardBand { factor } => both(factor * estimate.expanded_uncertainty(COVERAGE)),
            Rule::FalseAccept { at_most } => {
                let (below, above) = belief.reach(1.0 - at_most);
                // Inside the upper limit the truth must not lie far above the value; outside it, not far below.
                Self {
                    accepted_inside: Distances { lower: below, upper: above },
                    rejected_outside: Distances { lower: above, upper: below },
                }
            }
            Rule::FalseReject { at_most } => {
                let (below, above) = belief.reach(1.0 - at_most);
                Self {
                    accepted_inside: Distances { lower: -above, upper: -below },
                    rejected_outside: Distances { lower: above, upper: below },
                }
            }
        }
    }
}

fn margin(value: f64, limits: &Limits) -> f64 {
    let above = limits.lower.map_or(f64::INFINITY, |lower| value - lower);
    let below = limits.upper.map_or(f64::INFINITY, |upper| upper - value);
    above.min(below)
}

/// What is believed of the true value.
struct Belief {
    /// Whether it is the measured one beyond doubt.
    exact: bool,
    /// How it is spread about the measured one.
    spread: Spread,
}

impl Belief {
    /// How far below and above the value a fraction of what is believed reaches; nothing for an exact count.
    fn reach(&self, wanted: f64) -> (f64, f64) {
        if self.exact { (0.0, 0.0) } else { self.spread.reach(wanted) }
    }

    /// Probability that the true value lies within the limits (JCGM 106, 7.2 to 7.4).
    fn conformance_probability(&self, value: f64, limits: &Limits) -> f64 {
        if self.exact {
            let inside =
                limits.lower.is_none_or(|lower| value >= lower) && limits.upper.is_none_or(|upper| value <= upper);
            return if inside { 1.0 } else { 0.0 };
        }
        let below = |limit: f64| self.spread.cumulative(limit - value);
        limits.upper.map_or(1.0, below) - limits.lower.map_or(0.0, below)
    }
}

/// The values that would be accepted. Where a two-sided tolerance is so narrow that both tails count, a rule that states a
/// greatest false acceptance widens its guard bands until the probability of conformity is again what it wants, and they
/// cross where no value can reach it.
fn acceptance(limits: &Limits, rule: &Rule, belief: &Belief, guard: &Distances) -> Limits {
    let plain = Limits {
        lower: limits.lower.map(|lower| lower + guard.lower),
        upper: limits.upper.map(|upper| upper - guard.upper),
    };
    let Rule::FalseAccept { at_most } = rule else { return plain };
    let (Some(lowest), Some(highest)) = (plain.lower, plain.upper) else {
        return plain;
    };
    let wanted = 1.0 - at_most;
    let enough = |value: f64| belief.conformance_probability(value, limits) >= wanted - 1e-12;
    let centre = lowest + 0.5 * (highest - lowest);
    if highest < centre || enough(lowest) && enough(highest) {
        return plain;
    }
    if !enough(centre) {
        return Limits { lower: limits.upper, upper: limits.lower };
    }
    let farthest = |plain: f64| {
        let (mut good, mut bad) = (centre, plain);
        for _ in 0..60 {
            let middle = good + 0.5 * (bad - good);
            *(if enough(middle) { &mut good } else { &mut bad }) = middle;
        }
        good
    };
    Limits { lower: Some(farthest(lowest)), upper: Some(farthest(highest)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::monte_carlo::{Effort, propagate};
    use crate::stats::student;

    const RULE: Rule = Rule::FalseAccept { at_most: 0.025 };

    fn between(lower: f64, upper: f64) -> Limits {
        Limits { lower: Some(lower), upper: Some(upper) }
    }

    fn at_most(upper: f64) -> Limits {
        Limits { lower: None, upper: Some(upper) }
    }

    fn decided(value: f64, uncertainty: f64, limits: Limits) -> Decision {
        judge(&Estimate::of(value).with("repeat", uncertainty), &limits, &RULE).decision
    }

    #[test]
    fn a_guard_band_lies_on_both_sides_of_a_limit() {
        let limit = at_most(10.0);
        assert_eq!(decided(8.03, 1.0, limit), Decision::Conforms);
        assert_eq!(decided(8.05, 1.0, limit), Decision::Undecided);
        assert_eq!(decided(11.95, 1.0, limit), Decision::Undecided);
        assert_eq!(decided(11.97, 1.0, limit), Decision::DoesNotConform);
    }

    #[test]
    fn a_count_is_exact() {
        assert_eq!(judge(&Estimate::exact(0.0), &at_most(0.0), &RULE).decision, Decision::Conforms);
        let one = judge(&Estimate::exact(1.0), &at_most(0.0), &RULE);
        assert_eq!((one.decision, one.margin), (Decision::DoesNotConform, -1.0));
        assert_eq!((one.conformance_probability, one.acceptance_upper), (0.0, Some(0.0)));
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_guard_band() {
        let few = Estimate::of(8.0).with_freedom("repeat", 1.0, 4.0);
        let judged = judge(&few, &at_most(10.0), &RULE);
        assert_eq!(judged.decision, Decision::Undecided);
        let width = 10.0 - judged.acceptance_upper.expect("limited above");
        assert!((width - student::one_sided_quantile(0.975, 4.0)).abs() < 1e-12, "{width}");
    }

    #[test]
    fn a_tolerance_narrower_than_the_doubt_accepts_nothing() {
        for value in [9.9, 10.0, 10.1] {
            assert_eq!(decided(value, 1.0, between(9.0, 11.0)), Decision::Undecided);
        }
        let judged = judge(&Estimate::of(10.0).with("repeat", 1.0), &between(9.0, 11.0), &RULE);
        assert!(judged.acceptance_lower > judged.acceptance_upper);
        assert_eq!(decided(14.0, 1.0, between(9.0, 11.0)), Decision::DoesNotConform);
    }

    #[test]
    fn both_tails_together_stay_below_the_accepted_risk() {
        // Tolerance of ±2.3 u: the guard bands alone would accept up to 0.34 u, where the two tails add up to 2.9 %.
        let judged = judge(&Estimate::of(0.0).with("repeat", 1.0), &between(-2.3, 2.3), &RULE);
        assert_eq!(judged.decision, Decision::Conforms);
        let edge = judged.acceptance_upper.expect("limited above");
        assert!(edge > 0.0 && edge < 2.3 - 1.96, "{edge}");
        let there = judge(&Estimate::of(edge).with("repeat", 1.0), &between(-2.3, 2.3), &RULE);
        assert!((there.conformance_probability - 0.975).abs() < 1e-9);
        assert_eq!(decided(0.0, 1.0, between(-2.1, 2.1)), Decision::Undecided);
    }

    #[test]
    fn what_is_no_number_is_never_accepted() {
        assert_eq!(decided(f64::NAN, 1.0, at_most(1.0)), Decision::Undecided);
        assert_eq!(decided(0.0, f64::INFINITY, at_most(1.0)), Decision::Undecided);
        assert_eq!(decided(0.0, f64::NAN, at_most(1.0)), Decision::Undecided);
        assert_eq!(decided(f64::NAN, 1.0, Limits::default()), Decision::Undecided);
    }

    #[test]
    fn without_limits_everything_conforms() {
        let judged = judge(&Estimate::of(5.0).with("repeat", 1.0), &Limits::default(), &RULE);
        assert_eq!((judged.decision, judged.conformance_probability), (Decision::Conforms, 1.0));
        assert_eq!(judged.margin, f64::INFINITY);
    }

    #[test]
    fn a_lopsided_belief_keeps_more_distance_on_its_long_side() {
        // The truth may lie far above the value, but hardly below it.
        let effort = Effort { probability: COVERAGE, digits: 2, draws_max: 100_000 };
        let drawn = propagate(1, effort, |draw| 10.0 + draw.chi_squared(2.0) - 1.0).expect("finite");
        let value = Estimate::of(10.0).with("repeat", 1.0).confirmed_or_replaced(Some(&drawn), COVERAGE);
        let judged = judge(&value, &between(8.0, 20.0), &RULE);
        let (lower, upper) = (judged.acceptance_lower.expect("limited"), judged.acceptance_upper.expect("limited"));
        // Quantiles of twice an exponential: −2 ln(1 − p).
        assert!((lower - 8.0 - 0.949).abs() < 0.02 && (20.0 - upper - 6.378).abs() < 0.15, "{lower} {upper}");
        for (upper, expected) in
            [(9.1, Decision::Undecided), (9.0, Decision::DoesNotConform), (16.6, Decision::Conforms)]
        {
            assert_eq!(judge(&value, &at_most(upper), &RULE).decision, expected, "at most {upper}");
        }
        let twice = judge(&value, &between(9.04, 16.5), &RULE);
        assert!(twice.conformance_probability < 0.975 && twice.decision == Decision::Undecided, "{twice:?}");
        let reversed = Rule::FalseReject { at_most: 0.025 };
        assert_eq!(judge(&value, &at_most(9.1), &reversed).decision, Decision::Conforms);
        assert_eq!(judge(&value, &at_most(9.0), &reversed).decision, Decision::DoesNotConform);
    }

    #[test]
    fn each_rule_draws_its_borders_where_its_name_says() {
        let value = |value| Estimate::of(value).with("calibration", 1.0);
        let accepted = |rule| judge(&value(0.0), &at_most(10.0), &rule).acceptance_upper.expect("limited above");
        assert_eq!(accepted(Rule::SimpleAcceptance), 10.0);
        let expanded = value(0.0).expanded_uncertainty(COVERAGE);
        assert_eq!(accepted(Rule::GuardBand { factor: 0.5 }), 10.0 - 0.5 * expanded);
        assert!((accepted(Rule::FalseReject { at_most: 0.025 }) - 10.0 - 1.959_964).abs() < 1e-6);
        let decided = |at, rule| judge(&value(at), &at_most(10.0), &rule).decision;
        for (at, rule, expected) in [
            (10.0, Rule::SimpleAcceptance, Decision::Conforms),
            (10.001, Rule::SimpleAcceptance, Decision::DoesNotConform),
            (9.0, Rule::GuardBand { factor: 0.5 }, Decision::Conforms),
            (9.1, Rule::GuardBand { factor: 0.5 }, Decision::Undecided),
            (10.9, Rule::GuardBand { factor: 0.5 }, Decision::Undecided),
            (11.0, Rule::GuardBand { factor: 0.5 }, Decision::DoesNotConform),
            (11.9, Rule::FalseReject { at_most: 0.025 }, Decision::Conforms),
            (12.0, Rule::FalseReject { at_most: 0.025 }, Decision::DoesNotConform),
        ] {
            assert_eq!(decided(at, rule), expected, "{at} by {rule:?}");
        }
    }

    #[test]
    fn no_rule_accepts_what_is_no_number_or_doubts_a_count() {
        let rules = [
            Rule::SimpleAcceptance,
            Rule::GuardBand { factor: 1.0 },
            Rule::FalseAccept { at_most: 0.05 },
            Rule::FalseReject { at_most: 0.05 },
        ];
        for rule in rules {
            for estimate in [Estimate::exact(f64::NAN), Estimate::of(0.0).with("repeat", f64::INFINITY)] {
                assert_eq!(judge(&estimate, &at_most(1.0), &rule).decision, Decision::Undecided, "{rule:?}");
            }
            assert_eq!(judge(&Estimate::exact(1.0), &at_most(1.0), &rule).decision, Decision::Conforms, "{rule:?}");
            let two = judge(&Estimate::exact(2.0), &at_most(1.0), &rule).decision;
            assert_eq!(two, Decision::DoesNotConform, "{rule:?}");
        }
    }
}
