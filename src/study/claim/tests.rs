use super::*;
use crate::record::stored::{Measured, Requirement};

fn shipped() -> Record {
    serde_json::from_str(include_str!("../../../tests/data/records/conforms-2.json")).expect("a record of format 2")
}

/// The first requirement on a measurand.
fn requirement<'r>(record: &'r mut Record, measurand: &str) -> &'r mut Requirement {
    let all = record.checks.iter_mut().flat_map(|check| &mut check.requirements);
    all.into_iter().find(|one| one.measurand == measurand).expect("it was measured")
}

fn measured<'r>(record: &'r mut Record, measurand: &str) -> &'r mut Measured {
    requirement(record, measurand).readings[0].measured.as_mut().expect("a value")
}

fn find<'c>(claim: &'c Claim, measurand: &str) -> &'c Compared {
    claim.compared.iter().find(|one| one.measurand == measurand).unwrap_or_else(|| panic!("no {measurand}"))
}

#[test]
fn a_run_is_as_it_was_itself() {
    let record = shipped();
    let claim = Claim::of(&record, &record);
    assert!(claim.same_jig && !claim.compared.is_empty());
    for one in &claim.compared {
        assert_eq!((one.change, one.told), (0.0, Told::AsShipped), "{one:?}");
        assert!(one.e_n.is_none_or(|e_n| e_n == 0.0), "{one:?}");
    }
    assert!(claim.changes().is_empty());
}

/// Outside: E_n = (x − X)/√(U(x)² + U(X)²), ISO 13528:2022, 9.7; how: from memory
#[test]
fn on_two_jigs_e_n_is_as_the_standard_has_it() {
    let (before, mut after) = (shipped(), shipped());
    after.plan.inputs.iter_mut().for_each(|input| input.sha256 = "0".repeat(64));
    let value = measured(&mut after, "pack series resistance");
    let (uncertainty, freedom) = (value.standard_uncertainty, value.degrees_of_freedom);
    value.value += 5.0 * uncertainty;
    let claim = Claim::of(&before, &after);
    let one = find(&claim, "pack series resistance");
    assert!(!claim.same_jig && freedom.is_none_or(|freedom| freedom > 50.0));
    let expected = 5.0 / (2.0_f64.sqrt() * student::two_sided_quantile(COVERAGE, f64::INFINITY));
    assert!((one.e_n.unwrap() - expected).abs() < 0.02 * expected, "{:?} {expected}", one.e_n);
}

#[test]
fn doubt_that_one_jig_shares_is_no_doubt_in_the_change() {
    let (before, mut after) = (shipped(), shipped());
    measured(&mut after, "travel length").value += 0.1;
    let same = Claim::of(&before, &after);
    after.plan.inputs.iter_mut().for_each(|input| input.sha256 = "0".repeat(64));
    let other = Claim::of(&before, &after);
    let doubt = |claim| find(claim, "travel length").expanded_uncertainty;
    assert!(doubt(&same) < doubt(&other), "{} {}", doubt(&same), doubt(&other));
}

#[test]
fn a_change_is_proven_only_where_it_stands_against_all_others() {
    let (mut before, mut after) = (shipped(), shipped());
    let one = find(&Claim::of(&before, &after), "pack series resistance").expanded_uncertainty;
    measured(&mut after, "pack series resistance").value += 1.1 * one;
    assert_eq!(find(&Claim::of(&before, &after), "pack series resistance").told, Told::Slightly);
    requirement(&mut before, "pack series resistance").upper = Some(1.0);
    let slight = Claim::of(&before, &after);
    assert_eq!(find(&slight, "pack series resistance").told, Told::Perhaps);
    assert!(slight.changes().is_empty() && slight.perhaps().count() == 1);
    measured(&mut after, "pack series resistance").value += 3.0 * one;
    let plain = Claim::of(&before, &after);
    assert_eq!(plain.changes().first().map(|one| one.measurand.as_str()), Some("pack series resistance"));
}

#[test]
fn what_has_no_value_or_none_that_is_a_number_is_not_compared() {
    let (before, mut after) = (shipped(), shipped());
    measured(&mut after, "pack series resistance").value = f64::NAN;
    let claim = Claim::of(&before, &after);
    assert!(claim.compared.iter().all(|one| one.measurand != "pack series resistance" || one.change.is_finite()));
    assert!(claim.not_compared.iter().any(|(name, _)| *name == "pack series resistance"));
    requirement(&mut after, "pack series resistance").readings.clear();
    assert!(Claim::of(&before, &after).not_compared.iter().any(|(name, _)| *name == "pack series resistance"));
    let mut nothing = shipped();
    nothing.checks.clear();
    assert!(Claim::of(&before, &nothing).compared.is_empty());
}

#[test]
fn a_count_that_must_be_nought_and_is_not_has_changed() {
    let (before, mut after) = (shipped(), shipped());
    measured(&mut after, "missing steps").value = 4.0;
    let claim = Claim::of(&before, &after);
    assert_eq!((find(&claim, "missing steps").told, find(&claim, "missing steps").e_n), (Told::Changed, None));
}
