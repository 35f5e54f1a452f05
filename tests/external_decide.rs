//! Decisions against JCGM 106:2012 and ISO 14253-1. Beside each check stands its source.

use railproof::decide::{Decision, Judgement, Limits, Rule, judge};
use railproof::stats::Estimate;

fn judged(value: f64, uncertainty: f64, lower: Option<f64>, upper: Option<f64>, false_accept: f64) -> Judgement {
    let estimate = Estimate::of(value).with("calibration", uncertainty);
    judge(&estimate, &Limits { lower, upper }, &Rule::FalseAccept { at_most: false_accept })
}

/// JCGM 106:2012, 7.4 (two-sided tolerance, normal distribution); figures by the closed form of 7.2 in scipy 1.17.
// Outside: JCGM 106:2012, 7.4, two-sided conformance probability; how: package scipy 1.17
#[test]
fn conformance_probability_between_two_limits() {
    let cases = [
        (10.0, 0.1, 0.954_499_736_1),
        (10.15, 0.1, 0.691_229_832_2),
        (10.2, 0.1, 0.499_968_328_8),
        (10.3, 0.1, 0.158_654_967_3),
        (9.83, 0.02, 0.933_192_798_7),
        (10.0, 0.2, 0.682_689_492_1),
    ];
    for (value, uncertainty, expected) in cases {
        let probability = judged(value, uncertainty, Some(9.8), Some(10.2), 0.05).conformance_probability;
        assert!((probability - expected).abs() < 1e-9, "{value} ± {uncertainty}: {probability} against {expected}");
    }
}

/// JCGM 106:2012, 7.3 (one upper limit); figures by the closed form in scipy 1.17.
// Outside: JCGM 106:2012, 7.3, one-sided conformance probability; how: package scipy 1.17
#[test]
fn conformance_probability_below_one_limit() {
    for (value, expected) in [(990.0, 0.977_249_868_1), (995.0, 0.841_344_746_1), (1000.0, 0.5)] {
        let probability = judged(value, 5.0, None, Some(1000.0), 0.05).conformance_probability;
        assert!((probability - expected).abs() < 1e-9, "{value}: {probability} against {expected}");
    }
}

/// JCGM 106:2012, 7.3 and 7.4, worked examples (figures from memory): breakdown voltage of a Zener diode at most −5.40 V,
/// bursting pressure of a container at least 490 kPa, kinematic viscosity of an oil from 12.5 mm²/s to 16.3 mm²/s.
// Outside: JCGM 106:2012, 7.3.3, example of a Zener diode: −5.47 V with 0.05 V, p_c = 0.92; how: from memory
// Outside: JCGM 106:2012, 7.3.3, example of a bursting pressure: 509.7 kPa with 8.6 kPa, p_c = 0.99; how: from memory
// Outside: JCGM 106:2012, 7.4, example of an oil's viscosity: 13.6 mm²/s with 1.8 mm²/s, p_c = 0.66; how: from memory
#[test]
fn examples_of_conformance_probability() {
    let examples = [
        (-5.47, 0.05, None, Some(-5.40), 0.92),
        (509.7, 8.6, Some(490.0), None, 0.99),
        (13.6, 1.8, Some(12.5), Some(16.3), 0.66),
    ];
    for (value, uncertainty, lower, upper, printed) in examples {
        let probability = judged(value, uncertainty, lower, upper, 0.05).conformance_probability;
        assert!((probability - printed).abs() <= 0.005, "{value}: {probability} against {printed}");
    }
}

/// JCGM 106:2012, 8.3.2: a guard band of r·U, U = 2 u. r = 1 leaves a risk of 2.275 %; 5 % needs 1.645 u, r = 0.8224; 1 %
/// needs 2.326 u. ISO 14253-1:2017 takes 5 % by default (from memory).
// Outside: JCGM 106:2012, 8.3.2, guard band of a given risk; how: package scipy 1.17
#[test]
fn guard_band_of_a_given_risk() {
    for (risk, width) in [(0.05, 1.644_853_627_0), (0.022_750_131_948_2, 2.0), (0.01, 2.326_347_874_0)] {
        let limit = judged(990.0, 5.0, None, Some(1000.0), risk).acceptance_upper.expect("limited above");
        assert!(((1000.0 - limit) / 5.0 - width).abs() < 1e-6, "{risk}: {limit}");
    }
    let limit = judged(0.0, 1.0, None, Some(10.0), 0.05).acceptance_upper.expect("limited above");
    assert!(((10.0 - limit) / 2.0 - 0.822_426_813_5).abs() < 1e-8);
}

/// ISO 14253-1:2017, clause 5: conformity and nonconformity are both proven only beyond the guard band; between the two
/// neither is (clauses and rule from memory).
// Outside: ISO 14253-1:2017, clause 5, zone of uncertainty; how: from memory
#[test]
fn the_zone_about_a_limit_proves_nothing() {
    for (value, expected) in [
        (991.7, Decision::Conforms),
        (991.8, Decision::Undecided),
        (1000.0, Decision::Undecided),
        (1008.2, Decision::Undecided),
        (1008.3, Decision::DoesNotConform),
    ] {
        assert_eq!(judged(value, 5.0, None, Some(1000.0), 0.05).decision, expected, "{value}");
    }
}

/// JCGM 100:2008, table G.2 through the decision: with 4 degrees of freedom a two-sided 95 % factor of 2.78 is the
/// one-sided one of 97.5 %.
// Outside: JCGM 100:2008, table G.2, through a decision with four degrees of freedom; how: from memory
#[test]
fn few_readings_widen_the_guard_band() {
    let estimate = Estimate::of(0.0).with_freedom("repeat", 1.0, 4.0);
    let limits = Limits { lower: Some(-100.0), upper: Some(100.0) };
    let judgement = judge(&estimate, &limits, &Rule::FalseAccept { at_most: 0.025 });
    assert!((100.0 - judgement.acceptance_upper.expect("limited above") - 2.776).abs() < 5e-4);
    assert!((judgement.acceptance_lower.expect("limited below") + 100.0 - 2.776).abs() < 5e-4);
}

fn by(rule: Rule, value: f64) -> Judgement {
    judge(&Estimate::of(value).with("calibration", 5.0), &Limits { lower: None, upper: Some(1000.0) }, &rule)
}

/// JCGM 106:2012, 8.2: with simple acceptance a value at the limit is accepted although half of what it may be is not.
// Outside: JCGM 106:2012, 8.2, simple acceptance; how: from memory
#[test]
fn simple_acceptance_shares_the_risk() {
    let at_the_limit = by(Rule::SimpleAcceptance, 1000.0);
    assert_eq!((at_the_limit.decision, at_the_limit.acceptance_upper), (Decision::Conforms, Some(1000.0)));
    assert!((at_the_limit.conformance_probability - 0.5).abs() < 1e-9);
    assert_eq!(by(Rule::SimpleAcceptance, 1000.1).decision, Decision::DoesNotConform);
}

/// JCGM 106:2012, 8.3.2.2: w = r·U. r = 1 with U of 95 % leaves a false acceptance of 2.5 %; the r of 5 % is z(0.95) / z(0.975).
// Outside: JCGM 106:2012, 8.3.2, guard band of a multiple r of U; how: package scipy 1.17 (normal quantiles), clause from memory
#[test]
fn a_guard_band_of_u_leaves_a_known_risk() {
    for (factor, conformity) in [(1.0, 0.975), (1.644_853_627_0 / 1.959_963_984_5, 0.95)] {
        let limit = by(Rule::GuardBand { factor }, 0.0).acceptance_upper.expect("limited above");
        let there = by(Rule::GuardBand { factor }, limit);
        assert_eq!(there.decision, Decision::Conforms);
        assert!((there.conformance_probability - conformity).abs() < 1e-6, "{factor}: {there:?}");
    }
}

/// JCGM 106:2012, 8.3.3: a guard band outside the limit, so that what is rejected is almost surely nonconforming; 95 % needs
/// 1.645 u.
// Outside: JCGM 106:2012, 8.3.3, guarded rejection; how: package scipy 1.17 (normal quantiles), clause from memory
#[test]
fn only_what_is_proven_is_rejected() {
    let rule = Rule::FalseReject { at_most: 0.05 };
    let limit = by(rule, 0.0).acceptance_upper.expect("limited above");
    assert!(((limit - 1000.0) / 5.0 - 1.644_853_627_0).abs() < 1e-6, "{limit}");
    assert_eq!(by(rule, limit - 0.01).decision, Decision::Conforms);
    let rejected = by(rule, limit + 0.01);
    assert_eq!(rejected.decision, Decision::DoesNotConform);
    assert!(rejected.conformance_probability < 0.05);
}
