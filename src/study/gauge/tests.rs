//! The study against the handbook's example, and what comes of readings that are not enough.

use super::*;
use crate::study::Tolerated;

/// Ten units, three appraisers, three repeats: the example of the manual of the Automotive Industry Action Group.
const EXAMPLE: [[[f64; 10]; 3]; 3] = [
    [
        [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
        [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
        [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
    ],
    [
        [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
        [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
        [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
    ],
    [
        [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
        [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
        [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
    ],
];

fn quantity() -> Quantity {
    let tolerance = Some(Tolerated { text: "± 4".into(), lower: Some(-4.0), upper: Some(4.0) });
    Quantity { check: String::new(), measurand: "m".into(), reading: String::new(), unit: "mm".into(), tolerance }
}

fn example() -> Vec<Reading> {
    let mut readings = Vec::new();
    for (who, repeats) in EXAMPLE.iter().enumerate() {
        for repeat in repeats {
            for (unit, value) in repeat.iter().enumerate() {
                let reading =
                    Reading { unit: unit.to_string(), appraiser: who.to_string(), value: *value, reference: None };
                readings.push(reading);
            }
        }
    }
    readings
}

fn one(readings: Vec<Reading>, nested: bool) -> Result<Row, String> {
    let (mut rows, refused) = rows(vec![Sample { quantity: quantity(), readings }], nested);
    rows.pop().ok_or_else(|| refused[0].why.clone())
}

// Outside: AIAG Measurement Systems Analysis, example of 10 units, 3 appraisers, 3 trials by ANOVA: repeatability 0.199933, reproducibility 0.226838, together 0.302373, units 1.042327; how: from memory
// Outside: the same by the range method: 0.20188, 0.22963, 0.30575, 1.10456, total 1.14610; how: from memory
#[test]
fn the_manuals_example() {
    let row = one(example(), false).expect("a whole table");
    let Spread { repeatability, reproducibility, jig, units, total } = row.anova.spread;
    assert_eq!(row.anova.kind, Kind::WithoutInteraction);
    for (found, known) in
        [(repeatability, 0.199_933), (reproducibility, 0.226_838), (jig, 0.302_373), (units, 1.042_327)]
    {
        assert!((found - known).abs() < 5e-6, "{found} {known}");
    }
    assert!((total - 1.085).abs() < 5e-4);
    assert_eq!(row.anova.spread.classes(), Some(4));
    assert!((row.anova.spread.of_tolerance(&quantity(), row.mean).expect("limits") - 6.0 * jig / 8.0).abs() < 1e-12);
    let by_range = row.ranges.expect("few enough").spread;
    for (found, known) in [
        (by_range.repeatability, 0.20188),
        (by_range.reproducibility, 0.22963),
        (by_range.jig, 0.30575),
        (by_range.units, 1.10456),
        (by_range.total, 1.14610),
    ] {
        assert!((found - known).abs() < 2e-4, "{found} {known}");
    }
}

#[test]
fn nested_and_one_appraiser() {
    let readings = example().into_iter().map(|one| Reading { unit: format!("{}{}", one.appraiser, one.unit), ..one });
    let nested = one(readings.collect(), true).expect("nested");
    assert_eq!((nested.anova.kind, nested.units, nested.ranges), (Kind::Nested, 10, None));
    assert!(one(example(), true).expect_err("crossed").contains("leave --nested out"));
    let alone = example().into_iter().filter(|reading| reading.appraiser == "0").collect();
    let alone = one(alone, false).expect("one appraiser");
    assert_eq!((alone.anova.kind, alone.anova.spread.reproducibility), (Kind::OneAppraiser, 0.0));
}

#[test]
fn bias_and_linearity_against_references() {
    let reading = |unit: usize, repeat: usize| {
        let reference = 10.0 * unit as f64;
        let value = reference * 1.01 + 0.5 + 0.01 * (repeat as f64 - 1.0);
        Reading { unit: unit.to_string(), appraiser: "a".into(), value, reference: Some(reference) }
    };
    let readings = (1..6).flat_map(|unit| (0..3).map(move |repeat| reading(unit, repeat))).collect();
    let trueness = one(readings, false).expect("a table").trueness.expect("references");
    let linearity = trueness.linearity.expect("several references");
    assert!((linearity.slope - 0.01).abs() < 1e-9 && (linearity.intercept - 0.5).abs() < 1e-9);
    assert!((trueness.bias - 0.8).abs() < 1e-9 && linearity.probability < 1e-6);
}

#[test]
fn what_is_not_enough_is_refused_with_what_is_missing() {
    let mut hole = example();
    hole.remove(12);
    let unit = |reading: &Reading| reading.unit == "3";
    for (readings, says) in [
        (hole, "measured 2 2 times, and others 3 times"),
        (example().into_iter().filter(unit).collect(), "1 unit tells nothing"),
        (example().into_iter().take(10).collect(), "measured once"),
        (example().into_iter().map(|one| Reading { value: 1.5, ..one }).collect(), "nothing varies"),
        (example().into_iter().map(|one| Reading { value: f64::NAN, ..one }).collect(), "no finite number"),
        (Vec::new(), "0 unit tells nothing"),
    ] {
        let why = one(readings, false).expect_err("it is not enough");
        assert!(why.contains(says), "{why}");
    }
}

#[test]
fn each_round_has_every_pair_once_in_an_order_of_its_own() {
    let names = |names: [&str; 3]| names.map(str::to_owned).to_vec();
    let turns = planned(&names(["a", "b", "c"]), &names(["x", "y", "z"]), 2, 7);
    assert_eq!(turns.len(), 18);
    let pairs = |round: usize| -> Vec<String> {
        turns.iter().filter(|turn| turn.round == round).map(|turn| format!("{}{}", turn.unit, turn.appraiser)).collect()
    };
    let (mut first, mut second) = (pairs(1), pairs(2));
    assert_ne!(first, second);
    first.sort();
    second.sort();
    first.dedup();
    assert!(first.len() == 9 && first == second);
    assert_eq!(turns, planned(&names(["a", "b", "c"]), &names(["x", "y", "z"]), 2, 7));
}
