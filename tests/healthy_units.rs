//! Healthy units of many seeds against the outgoing plan: none is rejected, hardly any is left undecided.

mod common;
#[path = "common/cores.rs"]
mod cores;
#[path = "common/counted.rs"]
mod counted;

use common::Simulated;
use cores::on_all_cores;
use counted::Counted;
use railproof::decide::Decision;
use railproof::sim::WorldSettings;

const SEEDS: u64 = 200;
/// At most 1 % undecided.
const UNDECIDED_MAX: usize = 2;

#[test]
fn two_hundred_healthy_units_pass() {
    let told = on_all_cores(1..=SEEDS, || {
        let simulated = Simulated::shipped("outgoing");
        move |seed| {
            let world = WorldSettings { seed, ..WorldSettings::default() };
            let outcome = simulated.run(&world, &mut Counted::default());
            let checks = outcome.checks.iter().filter(|check| check.decision != Decision::Conforms);
            let names: Vec<_> = checks.map(|check| simulated.plan.checks[check.check].name.as_str()).collect();
            (outcome.decision, format!("seed {seed}: {} in {names:?}", outcome.decision.words()))
        }
    });
    let poor: Vec<_> = told.into_iter().filter(|(decision, _)| *decision != Decision::Conforms).collect();
    let told: Vec<&str> = poor.iter().map(|(_, text)| text.as_str()).collect();
    assert!(poor.iter().all(|(decision, _)| *decision == Decision::Undecided), "{}", told.join("\n"));
    assert!(poor.len() <= UNDECIDED_MAX, "{}", told.join("\n"));
}
