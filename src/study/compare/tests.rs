//! What comes of sets whose truth is known: nothing is proven where nothing differs, and what differs is found.

use super::*;
use crate::study::{Observed, Quantity, Tolerated};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};

/// How values of one quantity are spread.
#[derive(Clone, Copy)]
enum Spread {
    Even,
    Skewed,
    /// Few values, as a coarse reading has.
    Coarse,
    /// A count that is nearly always zero.
    Rare,
}

fn drawn(chance: &mut SmallRng, spread: Spread) -> f64 {
    let mut fraction = || chance.random_range(1e-9..1.0_f64);
    match spread {
        Spread::Even => (0..4).map(|_| fraction()).sum::<f64>() - 2.0,
        Spread::Skewed => -fraction().ln(),
        Spread::Coarse => (3.0 * fraction()).floor(),
        Spread::Rare => f64::from(u8::from(fraction() < 0.05)),
    }
}

fn quantity(name: &str) -> Quantity {
    let tolerance = Some(Tolerated { text: "at most 10".into(), lower: None, upper: Some(10.0) });
    Quantity { check: "c".into(), measurand: name.into(), reading: String::new(), unit: "s".into(), tolerance }
}

/// Twenty quantities of so many units, of which the first lies higher by `shift`.
fn set(chance: &mut SmallRng, side: &str, units: usize, shift: f64) -> Vec<Series> {
    let spreads = [Spread::Even, Spread::Skewed, Spread::Coarse, Spread::Rare];
    let series = (0..20).map(|number| {
        let observed = |unit: usize, value: f64| Observed { serial: format!("{side}{unit}"), value };
        let higher = if number == 0 { shift } else { 0.0 };
        let values = (0..units).map(|unit| observed(unit, drawn(chance, spreads[number % 4]) + higher));
        Series::plain(quantity(&format!("q{number}")), values.collect())
    });
    series.collect()
}

/// Comparisons of twenty quantities each with nothing changed, 2,000 of them for `RAILPROOF_DRAWS=2000`: a difference is
/// proven in at most one in twenty.
#[test]
fn nothing_is_proven_where_nothing_changed() {
    for (before, after) in [("a", "b"), ("a", "a")] {
        let draws = std::env::var("RAILPROOF_DRAWS").map_or(100, |draws| draws.parse().expect("a number"));
        let mut false_proofs = 0;
        for seed in 0..draws {
            let chance = &mut SmallRng::seed_from_u64(seed);
            let compared = compare(&set(chance, before, 5, 0.0), &set(chance, after, 5, 0.0), &Settings::default());
            false_proofs += u32::from(compared.count(Outcome::Worse) + compared.count(Outcome::Better) > 0);
        }
        let expected = 0.05 * draws as f64;
        assert!(
            f64::from(false_proofs) <= expected + 2.0 * expected.sqrt(),
            "{before} {after}: {false_proofs} of {draws}"
        );
    }
}

#[test]
fn what_got_worse_is_found_and_what_stayed_is_not_blamed() {
    let (mut found, mut blamed) = (0, 0);
    for seed in 0..60 {
        let chance = &mut SmallRng::seed_from_u64(seed);
        let compared = compare(&set(chance, "a", 5, 0.0), &set(chance, "b", 5, 8.0), &Settings::default());
        found += usize::from(compared.rows[0].outcome == Outcome::Worse);
        blamed += compared.rows[1..].iter().filter(|row| row.outcome == Outcome::Worse).count();
    }
    assert!(found >= 57 && blamed <= 6, "{found} {blamed}");
}

fn one(before: &[f64], after: &[f64], tolerance: Option<(Option<f64>, Option<f64>)>) -> Row {
    let tolerance = tolerance.map(|(lower, upper)| Tolerated { text: "as given".into(), lower, upper });
    let series = |side: &str, values: &[f64]| {
        let observed =
            values.iter().enumerate().map(|(unit, value)| Observed { serial: format!("{side}{unit}"), value: *value });
        let quantity = Quantity { tolerance: tolerance.clone(), ..quantity("q") };
        [Series::plain(quantity, observed.collect())]
    };
    let mut compared = compare(&series("a", before), &series("b", after), &Settings::default());
    assert_eq!(compared.refused, []);
    compared.rows.remove(0)
}

#[test]
fn the_tolerance_says_which_way_is_worse() {
    let low = [1.0, 1.1, 0.9, 1.05, 0.95];
    let high = low.map(|value| value + 2.0);
    for (lower, upper, worse) in
        [(None, Some(5.0), true), (Some(0.5), None, false), (Some(0.0), Some(2.0), true), (Some(2.0), Some(5.0), false)]
    {
        let expected = if worse { Outcome::Worse } else { Outcome::Better };
        assert_eq!(one(&low, &high, Some((lower, upper))).outcome, expected, "{lower:?} {upper:?}");
        let back = if worse { Outcome::Better } else { Outcome::Worse };
        assert_eq!(one(&high, &low, Some((lower, upper))).outcome, back, "{lower:?} {upper:?}");
    }
    assert_eq!(one(&low, &high, None).outcome, Outcome::Worse);
}

#[test]
fn a_difference_within_the_margin_is_equivalent_however_sure_it_is() {
    let low = [1.0, 1.001, 0.999, 1.0005, 0.9995];
    let row = one(&low, &low.map(|value| value + 0.1), Some((None, Some(5.0))));
    assert_eq!((row.outcome, row.remark.is_some()), (Outcome::Equivalent, true));
    assert!(row.holm.expect("tested") < 1e-6 && row.equivalence.expect("a margin") < 1e-6);
}

#[test]
fn too_little_is_told_with_how_many_more_would_tell() {
    let row = one(&[1.0, 3.0, 2.0], &[2.0, 4.0, 3.0], Some((None, Some(5.0))));
    assert!(matches!(row.more_runs, Some(MoreRuns::About(1..40))), "{row:?}");
    assert_eq!(row.outcome, Outcome::CannotTell);
}

#[test]
fn values_that_do_not_scatter_are_told_apart_by_ranks_or_are_alike() {
    assert_eq!(one(&[0.0; 5], &[0.0; 4], Some((None, Some(0.0)))).outcome, Outcome::Alike);
    let row = one(&[0.0; 5], &[1.0; 5], Some((None, Some(0.0))));
    assert_eq!((row.outcome, row.test), (Outcome::Worse, None));
    assert!((row.probability.expect("by ranks") - 2.0 / 252.0).abs() < 1e-12);
    let few = one(&[0.0; 2], &[1.0; 2], Some((None, Some(0.0))));
    assert_eq!((few.outcome, few.more_runs), (Outcome::CannotTell, None), "two a side prove nothing by ranks");
}

/// One run among five that is far off moves the mean; the ranks stay where they are.
#[test]
fn one_odd_run_proves_nothing() {
    let row = one(&[1.0, 1.01, 0.99, 1.02, 0.98], &[1.0, 1.01, 0.99, 1.02, 900.0], Some((None, Some(5.0))));
    assert_eq!(row.outcome, Outcome::CannotTell);
}

#[test]
fn what_one_set_lacks_or_has_in_another_unit_is_refused() {
    let series = |name: &str, unit: &str| {
        let values =
            (0..4).map(|number| Observed { serial: format!("{unit}{number}"), value: f64::from(number) }).collect();
        Series::plain(Quantity { unit: unit.into(), ..quantity(name) }, values)
    };
    let before = [series("both", "s"), series("before", "s"), series("other unit", "s")];
    let after = [series("both", "s"), series("after", "s"), series("other unit", "V")];
    let compared = compare(&before, &after, &Settings::default());
    assert_eq!(compared.rows.len(), 1);
    let why: Vec<_> = compared.refused.iter().map(|refused| (refused.name.as_str(), refused.why.as_str())).collect();
    assert_eq!(
        why,
        [
            ("c: after", "only the second set has it"),
            ("c: other unit", "one set has it in `s`, the other in `V`"),
            ("c: before", "only the first set has it")
        ]
    );
    assert_eq!(compared.outcome(), Outcome::CannotTell);
}
