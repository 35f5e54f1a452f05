//! No measurand is left out: each has a test of its coverage here, or a reason why not.

use railproof::measure::CATALOGUE;
use std::path::Path;

const COUNT: &str = "a count of whole things: exact, so that there is nothing to cover";

/// Measurands without a test of their coverage, and why.
const UNTESTED: &[(&str, &str)] = &[
    ("levels out of order", COUNT),
    ("doubled steps", COUNT),
    ("missing steps", COUNT),
    ("extra steps", COUNT),
    ("end-stop bounces", COUNT),
    ("missed end stops", COUNT),
    ("dead controls", COUNT),
    ("control bounces", COUNT),
    ("segment errors", COUNT),
    ("lit segments", COUNT),
    ("lit segments out of order", COUNT),
    ("unanswered commands", COUNT),
    ("refused commands", COUNT),
    ("wrong reports", COUNT),
    ("unexpected restarts", COUNT),
    ("objections", COUNT),
];

/// The other files of this folder.
fn tests() -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/measure/honesty");
    let files = std::fs::read_dir(folder).expect("the folder is there").flatten().map(|entry| entry.path());
    let others = files.filter(|path| !path.ends_with("catalogue.rs"));
    others.map(|path| std::fs::read_to_string(path).expect("a test can be read")).collect()
}

#[test]
fn every_measurand_is_covered_or_has_a_reason() {
    let tests = tests();
    let wrong: Vec<String> = CATALOGUE
        .iter()
        .filter_map(|measurand| {
            let named = UNTESTED.iter().filter(|entry| entry.0 == measurand.name).count();
            match (tests.contains(&format!("\"{}\"", measurand.name)), named) {
                (true, 0) | (false, 1) => None,
                (true, _) => Some(format!("`{}` has a test; take it off the list of those without", measurand.name)),
                (false, 0) => Some(format!("`{}` has neither a test of its coverage nor a reason", measurand.name)),
                (false, _) => Some(format!("`{}` is on the list twice", measurand.name)),
            }
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    for (name, why) in UNTESTED {
        assert!(CATALOGUE.iter().any(|measurand| measurand.name == *name), "there is no `{name}` ({why})");
    }
}
