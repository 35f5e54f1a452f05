//! What comes of lines whose truth is known.

use super::*;
use crate::stats::student;
use crate::study::{Quantity, Tolerated};

/// Values of a normal distribution, evenly by probability, shuffled.
fn normal(count: usize, centre: f64, deviation: f64) -> Vec<f64> {
    let shuffled = (0..count).map(|place| place * 37 % count);
    let quantile = |place: usize| student::one_sided_quantile((place as f64 + 0.5) / count as f64, f64::INFINITY);
    shuffled.map(|place| centre + deviation * quantile(place)).collect()
}

fn sample(values: Vec<f64>) -> Sample {
    let tolerance = Some(Tolerated { text: "8 to 20".into(), lower: Some(8.0), upper: Some(20.0) });
    let quantity =
        Quantity { check: "c".into(), measurand: "m".into(), reading: String::new(), unit: "mm".into(), tolerance };
    Sample { quantity, values, doubts: vec![], moments: vec![], groups: vec![], subgroups: vec![] }
}

fn one(sample: Sample) -> Result<Row, String> {
    let (mut rows, refused) = rows(vec![sample], &Settings::default());
    rows.pop().ok_or_else(|| refused[0].why.clone())
}

#[test]
fn a_steady_normal_line() {
    let row = one(sample(normal(101, 16.0, 2.0))).expect("values");
    assert!(matches!(row.path, Path::Normal), "{:?}", row.normality);
    let overall = row.overall.expect("limits");
    assert!((overall.nearer.value - 2.0 / 3.0).abs() < 0.02 && (overall.width.expect("two").value - 1.0).abs() < 0.02);
    assert_eq!(row.without_jig, Err("the jig's share is not known"));
    assert!(row.drift.is_some_and(|(_, probability)| probability > 0.05), "{:?}", row.drift);
}

#[test]
fn the_jigs_share_is_taken_out_and_not_more_than_there_is() {
    let with = |doubt: f64| one(Sample { doubts: vec![doubt; 101], ..sample(normal(101, 14.0, 2.0)) }).expect("values");
    let row = with(1.2);
    let (with_jig, without) = (row.overall.expect("limits").nearer.value, row.without_jig.expect("a share"));
    assert!((without.nearer.value / with_jig - 1.25).abs() < 0.01, "{without:?}");
    assert_eq!(with(2.5).without_jig, Err("the jig's own doubt explains all of the spread"));
}

#[test]
fn what_is_not_normal_goes_by_percentiles() {
    let skewed = |count: usize| normal(count, 0.0, 0.2).iter().map(|value| 12.0 * value.exp()).collect::<Vec<f64>>();
    let row = one(sample(skewed(301))).expect("values");
    let index = row.overall.expect("limits").nearer.value;
    // By hand: limits 8 and 20 in logarithms lie 2.03 and 2.55 deviations of 0.2 from ln 12.
    let expected = (12.0 - 8.0) / (12.0 - 12.0 * (-0.6_f64).exp());
    assert!(matches!(row.path, Path::LogNormal) && (index - expected).abs() < 0.02, "{index} {expected}");
    assert_eq!(row.short, None, "there is no Cpk of such values");
    let two_heaps: Vec<f64> = normal(400, 11.0, 0.3).into_iter().chain(normal(400, 17.0, 0.3)).collect();
    let row = one(sample(two_heaps.clone())).expect("values");
    assert!(matches!(row.path, Path::Empirical) && row.overall.is_some());
    let few = one(sample(two_heaps.into_iter().step_by(10).collect())).expect("values");
    assert!(matches!(few.path, Path::None(why) if why.contains("741")) && few.overall.is_none());
}

#[test]
fn a_step_and_the_group_behind_it_are_found() {
    let values: Vec<f64> = normal(40, 14.0, 1.0).into_iter().chain(normal(40, 16.0, 1.0)).collect();
    let groups = (0..80).map(|place| if place < 40 { "L2207" } else { "L2301" }.to_owned()).collect();
    let moments = (0..80).map(|place| format!("day {place}")).collect();
    let row = one(Sample { groups, moments, ..sample(values) }).expect("values");
    let step = row.step.expect("a step");
    assert!((38..=42).contains(&step.at) && step.probability < 1e-6, "{step:?}");
    assert_eq!(step.moment, Some(format!("day {}", step.at)));
    assert!(row.groups_differ.is_some_and(|probability| probability < 1e-6));
    assert_eq!(row.groups.iter().map(|group| group.name.as_str()).collect::<Vec<_>>(), ["L2207", "L2301"]);
    assert!(!row.signals.is_empty());
}

#[test]
fn too_little_is_refused_with_what_is_missing() {
    assert!(one(sample(vec![1.0, 2.0])).expect_err("few").contains("it takes 8"));
    assert!(one(sample(vec![0.1 + 0.2; 20])).expect_err("constant").contains("are the same"));
    let uneven = ["a", "a", "b", "b", "b", "c", "c", "c"].map(str::to_owned).to_vec();
    let why = one(Sample { subgroups: uneven, ..sample(normal(8, 14.0, 1.0)) }).expect_err("uneven");
    assert!(why.contains("not of one size"), "{why}");
}
