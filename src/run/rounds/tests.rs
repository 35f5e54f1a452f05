//! Rounds of made-up readings whose truth is known, taken as the runner takes them: decided after each, and left off where
//! another promises nothing.

use super::*;
use crate::capture::Action;
use crate::decide::Limits;
use crate::measure::find;
use crate::plan::Move;
use crate::quantity::Tolerance;
use crate::stats::Component;
use crate::stats::monte_carlo::Draw;

const FALSE_ACCEPT: f64 = 0.025;
const PLANS: Rule = Rule::FalseAccept { at_most: FALSE_ACCEPT };

/// A check that requires `measurand` to be at most 1 SI unit.
fn check(measurand: &str, rounds_max: u32, rule: Rule) -> Check {
    let measurand = find(measurand).expect("it is in the catalogue");
    let tolerance = Tolerance::parse("at most 1 s", crate::quantity::Dimension::Time).expect("a tolerance");
    let limits = Limits { lower: None, upper: Some(1.0) };
    let wait = Move { label: "rest".into(), action: Action::Wait, expected_s: 1.0, for_s: 1.0, expect: None };
    Check {
        name: "made up".into(),
        because: None,
        moves: vec![wait],
        rounds_max,
        requirements: vec![Requirement { measurand, tolerance, limits, rule: Some(rule.shared_among(rounds_max)) }],
        left_out: Vec::new(),
        if_not: Vec::new(),
    }
}

fn of(label: &str, result: Result<Estimate, Withheld>) -> Reading {
    Reading { label: label.into(), result }
}

/// A check that was taken round by round as long as that promises something.
struct Taken {
    decision: Decision,
    rounds: usize,
    after: After,
    readings: Vec<ReadingOutcome>,
}

fn take(check: &Check, mut round: impl FnMut(usize) -> Vec<Reading>) -> Taken {
    let mut rounds: Vec<Vec<Reading>> = Vec::new();
    loop {
        rounds.push(round(rounds.len()));
        let views: Vec<&[Reading]> = rounds.iter().map(Vec::as_slice).collect();
        let outcome = decide(0, &check.requirements[0], &views, &PLANS);
        let (decision, readings) = (outcome.decision, outcome.readings.clone());
        let after = after(check, &[outcome], rounds.len(), &PLANS);
        if after != After::Again {
            return Taken { decision, rounds: rounds.len(), after, readings };
        }
    }
}

/// Units on a bench: each round scatters, told from ten readings; the whole run is off by `systematic` of that, and each
/// round by `between`, which its own readings do not tell.
struct Units {
    draw: Draw,
    systematic: f64,
    between: f64,
}

const SCATTER: f64 = 0.1;

impl Units {
    fn one(&mut self, truth: f64, check: &Check) -> Taken {
        let freedom = 9.0;
        let off = self.systematic * SCATTER * self.draw.normal();
        take(check, |_| {
            let value = truth + off + SCATTER * (self.draw.normal() + self.between * self.draw.normal());
            let deviation = SCATTER * (self.draw.chi_squared(freedom) / freedom).sqrt();
            let estimate = Estimate::of(value)
                .with_freedom("repeat", deviation, freedom)
                .and(Component::normal("calibration", self.systematic * SCATTER));
            vec![of("to the left end", Ok(estimate))]
        })
    }
}

/// The fraction of units of one truth with an outcome.
fn fraction(units: &mut Units, truth: f64, check: &Check, number: usize, wanted: impl Fn(&Taken) -> bool) -> f64 {
    (0..number).filter(|_| wanted(&units.one(truth, check))).count() as f64 / number as f64
}

/// Repeated looks must not raise the risk that the plan states: not of a unit at the limit itself, whatever the bench adds
/// to the scatter and however often it may look, and not of one beyond it.
#[test]
fn a_unit_at_the_limit_passes_no_more_often_than_the_plan_says() {
    let number = 6_000;
    let chance = 3.0 * (FALSE_ACCEPT * (1.0 - FALSE_ACCEPT) / number as f64).sqrt();
    for (systematic, rounds_max, truth) in [(0.0, 4, 1.0), (1.0, 4, 1.0), (0.0, 10, 1.0), (0.3, 2, 1.0), (0.0, 4, 1.03)]
    {
        let check = check("period jitter rms", rounds_max, PLANS);
        let mut units = Units { draw: Draw::new(7), systematic, between: 0.0 };
        let accepted = fraction(&mut units, truth, &check, number, |taken| taken.decision == Decision::Conforms);
        assert!(accepted <= FALSE_ACCEPT + chance, "{rounds_max} rounds, systematic {systematic}: {accepted}");
    }
}

/// The same the other way round: a unit at the limit is no nonconforming one.
#[test]
fn nor_is_it_rejected_more_often() {
    let check = check("period jitter rms", 4, PLANS);
    let mut units = Units { draw: Draw::new(8), systematic: 0.5, between: 0.0 };
    let rejected = fraction(&mut units, 1.0, &check, 6_000, |taken| taken.decision == Decision::DoesNotConform);
    assert!(rejected <= FALSE_ACCEPT + 0.006, "{rejected}");
}

/// Without the share of each look the risk would be more than the plan says; else the test above would prove nothing.
#[test]
fn looking_again_at_full_risk_would_pass_too_many() {
    let mut careless = check("period jitter rms", 10, PLANS);
    careless.requirements[0].rule = Some(PLANS);
    let mut units = Units { draw: Draw::new(7), systematic: 0.0, between: 0.0 };
    let accepted = fraction(&mut units, 1.0, &careless, 6_000, |taken| taken.decision == Decision::Conforms);
    assert!(accepted > 1.5 * FALSE_ACCEPT, "{accepted}");
}

#[test]
fn a_unit_well_enough_inside_is_decided_by_repeating() {
    let inside = 1.0 - 1.7 * SCATTER;
    let (once, repeated) = (check("period jitter rms", 1, PLANS), check("period jitter rms", 6, PLANS));
    let mut units = Units { draw: Draw::new(9), systematic: 0.1, between: 0.0 };
    let conforms = |taken: &Taken| taken.decision == Decision::Conforms;
    let by_one = fraction(&mut units, inside, &once, 2_000, conforms);
    let by_several = fraction(&mut units, inside, &repeated, 2_000, conforms);
    assert!(by_one < 0.5 && by_several > 0.7, "{by_one} {by_several}");
    // One that is far inside is not kept waiting.
    let at_once = fraction(&mut units, 1.0 - 6.0 * SCATTER, &repeated, 2_000, |taken| taken.rounds == 1);
    assert!(at_once > 0.98, "{at_once}");
}

#[test]
fn what_more_rounds_cannot_settle_is_not_repeated_and_says_so() {
    let repeated = check("period jitter rms", 4, PLANS);
    // The calibration alone is in doubt by more than what separates the value from its limit.
    let value = Estimate::of(0.99).with("calibration", 0.05).with_freedom("repeat", 0.02, 9.0);
    let taken = take(&repeated, |_| vec![of("to the left end", Ok(value.clone()))]);
    assert_eq!((taken.rounds, taken.decision), (1, Decision::Undecided));
    let After::Enough(why) = taken.after else { panic!("{:?}", taken.after) };
    expect_test::expect!["even 4 rounds would hardly settle period jitter rms: they would bring its expanded uncertainty from 0.11 s to 0.10 s, and it lies 0.010 s from the limit"].assert_eq(&why);
    // An extreme counts by its worst round.
    let gap = check("longest step gap", 4, PLANS);
    let taken = take(&gap, |_| vec![of("to the left end", Ok(Estimate::of(0.99).with_freedom("repeat", 0.02, 9.0)))]);
    let After::Enough(why) = taken.after else { panic!("{:?}", taken.after) };
    expect_test::expect!["of longest step gap the worst round counts, so that more rounds would not settle it"]
        .assert_eq(&why);
    let silent = Withheld { why: "nobody heard it".into(), blame: Blame::Nobody };
    let taken = take(&repeated, |_| vec![of("to the left end", Err(silent.clone()))]);
    let After::Enough(why) = taken.after else { panic!("{:?}", taken.after) };
    expect_test::expect!["period jitter rms has no value, and more rounds would give it none"].assert_eq(&why);
}

#[test]
fn at_the_last_round_it_stays_as_it_is() {
    let repeated = check("period jitter rms", 3, PLANS);
    let values = [0.92, 0.92, 1.1];
    let taken = take(&repeated, |round| {
        vec![of("to the left end", Ok(Estimate::of(values[round]).with_freedom("repeat", 0.06, 9.0)))]
    });
    assert_eq!((taken.rounds, taken.decision), (3, Decision::Undecided));
    assert_eq!(taken.after, After::Enough("still undecided after 3 rounds, the most that the plan allows".into()));
}

/// One round that proves the unit's failure, or the bench's, is not made good by others.
#[test]
fn a_value_that_a_round_lacks_is_as_bad_as_its_worst() {
    let repeated = check("period jitter rms", 3, PLANS);
    let (good, doubtful) = (Estimate::of(0.2), Estimate::of(0.9).with_freedom("repeat", 0.06, 9.0));
    for (blame, decision) in [
        (Blame::Unit, Decision::DoesNotConform),
        (Blame::Bench, Decision::Invalid),
        (Blame::Nobody, Decision::Undecided),
    ] {
        let withheld = Withheld { why: "no step pulse came".into(), blame };
        let results = [Ok(doubtful.clone()), Err(withheld), Ok(good.clone())];
        let rounds: Vec<Vec<Reading>> =
            results.iter().map(|result| vec![of("to the left end", result.clone())]).collect();
        let views: Vec<&[Reading]> = rounds.iter().map(Vec::as_slice).collect();
        let outcome = decide(0, &repeated.requirements[0], &views, &PLANS);
        assert_eq!(outcome.decision, decision);
        let why = outcome.readings[0].result.as_ref().expect_err("there is no value").why.clone();
        assert_eq!(why, "round 2: no step pulse came");
        assert_eq!(outcome.readings[0].rounds.iter().filter(|round| round.is_ok()).count(), 2);
    }
}

#[test]
fn of_counts_the_worst_round_stays() {
    let counts = [0.0, 3.0, 1.0];
    let check = check("longest step gap", 3, PLANS);
    let rounds = counts.map(|count| vec![of("to the left end", Ok(Estimate::exact(count)))]);
    let outcome = decide(0, &check.requirements[0], &rounds.each_ref().map(Vec::as_slice), &PLANS);
    let [reading] = &outcome.readings[..] else { panic!("one reading: {outcome:?}") };
    assert_eq!(reading.result.as_ref().expect("a count").0.value, 3.0);
    assert_eq!((outcome.decision, reading.rounds.len()), (Decision::DoesNotConform, 3));
}

#[test]
fn readings_of_one_label_meet_in_their_order() {
    let check = check("period jitter rms", 2, PLANS);
    let round = |values: &[f64]| -> Vec<Reading> {
        values.iter().map(|value| of("to the left end", Ok(Estimate::of(*value).with("calibration", 0.001)))).collect()
    };
    let rounds = [round(&[0.1, 0.5]), round(&[0.3, 0.7])];
    let outcome = decide(0, &check.requirements[0], &rounds.each_ref().map(Vec::as_slice), &PLANS);
    let values: Vec<f64> =
        outcome.readings.iter().map(|reading| reading.result.as_ref().expect("a value").0.value).collect();
    assert!((values[0] - 0.2).abs() < 1e-12 && (values[1] - 0.6).abs() < 1e-12 && values.len() == 2);
    // What only one round gives is not proven by that one.
    let rounds = [round(&[0.1, 0.5]), round(&[0.3])];
    let outcome = decide(0, &check.requirements[0], &rounds.each_ref().map(Vec::as_slice), &PLANS);
    assert_eq!((outcome.readings.len(), outcome.decision), (2, Decision::Undecided));
}

#[test]
fn nothing_is_repeated_once_something_does_not_conform() {
    let repeated = check("period jitter rms", 4, PLANS);
    let taken = take(&repeated, |_| {
        vec![
            of("to the left end", Ok(Estimate::of(0.95).with_freedom("repeat", 0.05, 9.0))),
            of("to the right end", Ok(Estimate::of(3.0).with_freedom("repeat", 0.05, 9.0))),
        ]
    });
    assert_eq!((taken.rounds, taken.decision, taken.after), (1, Decision::DoesNotConform, After::Decided));
    assert!(taken.readings.iter().all(|reading| reading.rounds.is_empty()), "a single round speaks for itself");
}

/// The shares of a guard band add up to its own risk.
#[test]
fn a_guard_band_is_shared_by_its_risk() {
    let band = Rule::GuardBand { factor: 1.0 };
    let Rule::GuardBand { factor } = band.shared_among(4) else { panic!("a guard band") };
    // The normal quantiles of 0.025 and of a quarter of it: 1.960 and 2.498.
    assert!((factor - 2.497_705_5 / 1.959_964_0).abs() < 1e-6, "{factor}");
    assert_eq!(band.shared_among(1), band);
    assert_eq!(Rule::SimpleAcceptance.shared_among(4), Rule::SimpleAcceptance);
    let accepted_at = Rule::FalseAccept { at_most: 0.02 }.shared_among(4);
    assert_eq!(accepted_at, Rule::FalseAccept { at_most: 0.005 });
}
